// A Bokeh figure whose named sources follow the model's columns, in the inks of the page's theme.
const page = (window.gainlib ??= {});

function haveBokeh(model) {
  // The first picture asks the kernel for BokehJS; the others wait, and ask again if it did not answer.
  page.bokeh ??= new Promise((resolve) => { page.bokehArrived = resolve; });
  const arrived = (message, buffers) => {
    if (message.kind !== "bokeh" || page.Bokeh) return;
    const theirs = window.Bokeh;
    const script = document.createElement("script");
    script.textContent = new TextDecoder().decode(buffers[0]);
    document.head.append(script);
    page.Bokeh = window.Bokeh;
    if (theirs) window.Bokeh = theirs;
    page.bokehArrived(page.Bokeh);
  };
  const ask = () => {
    if (page.Bokeh) return;
    if (window.Bokeh?.version === model.get("bokeh_version")) {
      page.Bokeh = window.Bokeh;
      page.bokehArrived(page.Bokeh);
    } else if (!(page.bokehAsked > Date.now() - 4000)) {
      page.bokehAsked = Date.now();
      model.send({ kind: "bokeh" });
    }
  };
  model.on("msg:custom", arrived);
  ask();
  const again = setInterval(ask, 1000);
  const late = new Promise((resolve) => setTimeout(() => resolve(null), 15000));
  return Promise.race([page.bokeh, late]).finally(() => {
    clearInterval(again);
    model.off("msg:custom", arrived);
  });
}

function unpacked(columns) {
  const sources = {};
  for (const [name, packed] of Object.entries(columns)) {
    sources[name] = {};
    for (const [column, values] of Object.entries(packed)) {
      const bytes = values.f4;
      sources[name][column] = bytes
        ? new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength))
        : values;
    }
  }
  return sources;
}

const dark = () => document.body.dataset.jpThemeLight === "false";

function inked(doc, inks) {
  const style = getComputedStyle(document.body);
  const theirs = (name, or) => style.getPropertyValue(name).trim() || or;
  const colour = (ink) => {
    const ours = inks[ink][dark() ? 1 : 0];
    if (ink === "paper") return theirs("--jp-layout-color0", ours);
    return ours;
  };
  const font = theirs("--jp-ui-font-family", "system-ui, sans-serif");
  for (const model of doc._all_models.values()) {
    for (const tag of model.tags ?? []) {
      const [prop, ink] = String(tag).split("=");
      if (!ink || !(ink in inks)) continue;
      const scalar = model.type === "Figure" || model.type.endsWith("Axis") || model.type === "Grid" || model.type === "Span";
      model.setv({ [prop]: scalar ? colour(ink) : { value: colour(ink) } });
    }
    if (model.type.endsWith("Axis")) model.setv({ axis_label_text_font: font, major_label_text_font: font });
    if (model.type === "Text") model.setv({ text_font: { value: font } });
  }
}

async function render({ model, el }) {
  let gone = false;
  const undo = [];
  el.classList.add("gainlib-picture");
  const id = `gainlib-picture-${Math.random().toString(36).slice(2)}`;
  const heading = document.createElement("p");
  heading.className = "gainlib-heading";
  const place = document.createElement("div");
  place.id = id;
  place.className = "gainlib-place";
  place.setAttribute("role", "figure");
  const words = document.createElement("p");
  words.id = `${id}-words`;
  place.setAttribute("aria-describedby", words.id);
  el.append(heading, place, words);
  const say = () => {
    heading.textContent = model.get("captioned") ? model.get("heading") : "";
    heading.hidden = !model.get("captioned");
    words.className = model.get("captioned") ? "gainlib-caption" : "gainlib-unseen";
    words.textContent = model.get("sentence");
    place.setAttribute("aria-label", model.get("heading"));
  };
  say();
  for (const name of ["heading", "sentence", "captioned"]) {
    model.on(`change:${name}`, say);
    undo.push(() => model.off(`change:${name}`, say));
  }
  const start = async () => {
    const Bokeh = await haveBokeh(model);
    while (!gone && !el.isConnected) await new Promise(requestAnimationFrame);
    if (gone) return;
    if (!Bokeh) {
      place.textContent = "This picture is not running: run the cell again.";
      return;
    }
    const views = await Bokeh.embed.embed_item(JSON.parse(model.get("spec")), id);
    const roots = [...(views.roots ?? views)];
    const doc = roots[0].model.document;
    const close = () => {
      for (const view of roots) {
        Bokeh.index.delete?.(view);
        view.remove();
      }
      doc.clear();
      const at = Bokeh.documents.indexOf(doc);
      if (at >= 0) Bokeh.documents.splice(at, 1);
    };
    if (gone) return close();
    const draw = () => {
      for (const [name, data] of Object.entries(unpacked(model.get("columns")))) {
        const source = doc.get_model_by_name(name);
        if (source) source.data = data;
      }
    };
    const ink = () => inked(doc, model.get("inks"));
    const follow = (event) => {
      if (event.detail.channel !== model.get("channel")) return;
      const cursor = doc.get_model_by_name("cursor");
      if (cursor) cursor.location = event.detail.seconds;
    };
    ink();
    draw();
    const theme = new MutationObserver(ink);
    theme.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light", "data-jp-theme-name"] });
    model.on("change:columns", draw);
    window.addEventListener("gainlib-position", follow);
    undo.push(() => {
      theme.disconnect();
      model.off("change:columns", draw);
      window.removeEventListener("gainlib-position", follow);
      close();
    });
  };
  start();
  return () => {
    gone = true;
    undo.forEach((each) => each());
  };
}

export default { render };
