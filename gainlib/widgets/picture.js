// A Bokeh figure whose named sources follow the model's columns, in the inks of the page's theme.
import { bokeh, follow, make, newId, players, tell } from "./shared.js";

function haveBokeh(model) {
  // The first picture asks the kernel for BokehJS; the others wait, and ask again if it did not answer.
  const arrived = (message, buffers) => {
    if (message.kind !== "bokeh" || bokeh.library) return;
    const theirs = window.Bokeh;
    document.head.append(make("script", { textContent: new TextDecoder().decode(buffers[0]) }));
    const ours = window.Bokeh;
    if (theirs) window.Bokeh = theirs;
    bokeh.take(ours);
  };
  const ask = () => {
    if (bokeh.library) return;
    if (window.Bokeh?.version === model.get("bokeh_version")) bokeh.take(window.Bokeh);
    else if (bokeh.askedAt <= Date.now() - 4000) {
      bokeh.askedAt = Date.now();
      model.send({ kind: "bokeh" });
    }
  };
  model.on("msg:custom", arrived);
  ask();
  const again = setInterval(ask, 1000);
  const late = new Promise((resolve) => setTimeout(() => resolve(null), 15000));
  // A kernel that is busy with the cells below answers when they are done: the asking ends before, the listening not.
  bokeh.arrived.then(() => model.off("msg:custom", arrived));
  return Promise.race([bokeh.arrived, late]).finally(() => clearInterval(again));
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
    if (ink === "background") return theirs("--jp-layout-color0", ours);
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

const KEPT_MS = 1200;
const TWICE_MS = 400;

// The last picture goes into the saved notebook, for when it is opened without a kernel. The page alone keeps it.
function kept(model, view, el) {
  try {
    model.set("still", view.export("png", true).canvas.toDataURL("image/png"));
    el.gainlibStill = model.get("still"); // where the page around it finds it when the notebook is saved
  } catch (fault) {
    console.warn("gainlib: the last picture could not be kept", fault);
  }
}

// Where a pointer is in the figure's own units; null outside its frame.
function placed(event, place, view) {
  const box = place.getBoundingClientRect();
  const frame = view.frame.bbox;
  // A page that is zoomed by the notebook scales both.
  const scale = box.width / view.bbox.width || 1;
  const x = ((event.clientX - box.left) / scale - frame.left) / frame.width;
  const y = ((event.clientY - box.top) / scale - frame.top) / frame.height;
  const { x_range, y_range } = view.model;
  return {
    inside: x >= 0 && x <= 1 && y >= 0 && y <= 1,
    x: x_range.start + x * (x_range.end - x_range.start),
    y: y_range.end - y * (y_range.end - y_range.start),
    pixels: (seconds, value) => [
      box.left + (frame.left + frame.width * (seconds - x_range.start) / (x_range.end - x_range.start)) * scale,
      box.top + (frame.top + frame.height * (y_range.end - value) / (y_range.end - y_range.start)) * scale,
    ],
  };
}

// A click on a picture with a time axis goes to that place; on one with a ride, points are placed, dragged, taken away.
function pointed(place, view, doc, channel) {
  const timed = Boolean(doc.get_model_by_name("cursor"));
  const ride = doc.get_model_by_name("ride");
  if (!timed && !ride) return () => {};
  place.classList.add(ride ? "gainlib-drawable" : "gainlib-timed");
  const tell = (name, detail) => window.dispatchEvent(new CustomEvent(name, { detail: { channel, ...detail } }));
  let held = null;
  let last = { index: -1, at: 0 };
  const near = (event) => {
    const { seconds, gain_db } = ride.data;
    const { pixels } = placed(event, place, view);
    return Array.from(seconds).findIndex((each, index) => {
      const [x, y] = pixels(each, gain_db[index]);
      return Math.hypot(event.clientX - x, event.clientY - y) < 12;
    });
  };
  const down = (event) => {
    if (!ride || event.button) return;
    const at = placed(event, place, view);
    if (!at.inside) return;
    held = near(event);
    // A second press on a point takes it away.
    const again = held >= 0 && held === last.index && event.timeStamp - last.at < TWICE_MS;
    last = { index: held, at: event.timeStamp };
    event.preventDefault();
    if (again) {
      tell("gainlib-ride", { act: "remove", index: held });
      held = null;
      return;
    }
    place.setPointerCapture(event.pointerId);
    tell("gainlib-ride", { act: held < 0 ? "place" : "hold", index: held, seconds: at.x, gain_db: at.y });
  };
  const drag = (event) => {
    if (held === null) return;
    const at = placed(event, place, view);
    tell("gainlib-ride", { act: "drag", seconds: at.x, gain_db: at.y });
  };
  const up = () => { held = null; };
  const click = (event) => {
    const at = placed(event, place, view);
    if (!ride && at.inside) tell("gainlib-seek", { seconds: at.x });
  };
  const heard = { pointerdown: down, pointermove: drag, pointerup: up, pointercancel: up, click };
  for (const [name, each] of Object.entries(heard)) place.addEventListener(name, each);
  return () => {
    for (const [name, each] of Object.entries(heard)) place.removeEventListener(name, each);
  };
}

const FALL_DB = 24; // a mark falls by so many decibels in a second
const MARKS_MS = 40; // between two drawings of the marks: a frame more costs the whole page a layout
const CALM_MS = 1000; // the same where the system asks for less motion
const SETTLED_MS = 400; // so long after a move the levels are asked for anew, sooner where the kernel is quick
const SOON_MS = 150;
const HALF = 0.3; // half of a mark's width, in columns
const REACH = 400; // so many moments at most are looked through for one drawing

// Marks that move with the sound over the columns of a figure: peak, RMS, and a held maximum for each. The kernel sends
// the levels of each moment once; where the sound is says the player, by the clock of what is heard.
function living(model, place, view, channel) {
  const canvas = make("canvas", { className: "gainlib-marks" });
  canvas.setAttribute("aria-hidden", "true");
  place.append(canvas);
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  let [turn, wait, sentAt, timer, pulse, at, last, inSight] = [++living.turns, SETTLED_MS, 0, 0, 0, 0, -1, true];
  let tracks = null;
  let shown = [];
  let held = [];
  const player = () => players.get(channel);
  const sounds = () => Boolean(player()?.loop?.playing) && player().slot !== "before";
  const ask = () => {
    clearTimeout(timer);
    timer = 0;
    if (!sounds() || sentAt) return;
    sentAt = performance.now();
    tell(model, { kind: "tracks", turn, start: player().start });
  };
  const forget = () => {
    turn = ++living.turns;
    tracks = null;
    held = [];
    paint();
    clearTimeout(timer);
    timer = setTimeout(ask, wait);
  };
  const arrived = (message, buffers) => {
    if (message.kind !== "tracks") return;
    wait = Math.min(SETTLED_MS, Math.max(SOON_MS, 3 * (performance.now() - sentAt)));
    sentAt = 0;
    if (message.turn !== turn || message.start !== player()?.start) { if (!timer) ask(); return; }
    const levels = buffers.map((each) => new Uint8Array(each.buffer, each.byteOffset, each.byteLength));
    tracks = { ...message, levels, moments: Math.max(...levels.map((each) => each.length)) };
    shown = levels.map(() => message.floor);
    held = levels.map(() => message.floor);
    last = -1;
    begin();
  };
  const paint = () => {
    const { frame: { bbox: inner }, bbox } = view;
    const scale = window.devicePixelRatio || 1;
    const [width, height] = [Math.round(bbox.width * scale), Math.round(bbox.height * scale)];
    if (canvas.width !== width || canvas.height !== height) {
      Object.assign(canvas, { width, height });
      Object.assign(canvas.style, { width: `${bbox.width}px`, height: `${bbox.height}px` });
    }
    const pen = canvas.getContext("2d");
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    pen.clearRect(0, 0, bbox.width, bbox.height);
    const { x_range: across, y_range: up } = view.model;
    const x = (stage) => inner.left + (inner.width * (stage - across.start)) / (across.end - across.start);
    const y = (db) => inner.top + (inner.height * (up.end - Math.min(db, up.end))) / (up.end - up.start);
    const wide = HALF * (x(1) - x(0));
    const ink = (name) => model.get("inks")[name][dark() ? 1 : 0];
    held.forEach((db, index) => {
      const [stage, name] = [index >> 1, index % 2 ? "rms" : "peak"];
      pen.fillStyle = ink(name);
      if (tracks && sounds() && shown[index] > tracks.floor) {
        const thick = name === "peak" ? 4 : 2;
        pen.globalAlpha = 0.3;
        if (name === "rms") pen.fillRect(x(stage) - wide / 2, y(shown[index]), wide, y(tracks.floor) - y(shown[index]));
        pen.globalAlpha = 1;
        pen.fillRect(x(stage) - wide, y(shown[index]) - thick / 2, 2 * wide, thick);
      }
      // The held maximum: a short tick at either side.
      if (tracks && db > tracks.floor) {
        for (const side of [-1, 1]) pen.fillRect(x(stage) + side * (wide + 4) - 3, y(db) - 1, 6, 2);
      }
    });
  };
  const draw = () => {
    const now = performance.now();
    pulse = 0;
    if (!sounds() || !inSight) { last = -1; paint(); return; }
    begin();
    if (!tracks || tracks.start !== player().start) { if (!timer) ask(); return; }
    const moment = Math.floor((player().position() - tracks.start) / tracks.moment) % tracks.moments;
    if (moment === last || !(moment >= 0)) return;
    // Every moment since the last drawing, so that no peak is missed.
    const gone = last < 0 ? 1 : (moment - last + tracks.moments) % tracks.moments;
    const fall = calm.matches ? Infinity : (FALL_DB * (now - at)) / 1000;
    [last, at] = [moment, now];
    for (const [index, levels] of tracks.levels.entries()) {
      let most = 0;
      for (let back = 0; back < Math.min(gone, REACH); back++) {
        most = Math.max(most, levels[(moment - back + tracks.moments) % tracks.moments] ?? 0);
      }
      const db = tracks.floor + tracks.step * most;
      shown[index] = Math.max(db, shown[index] - fall);
      held[index] = Math.max(db, held[index]);
    }
    canvas.gainlibShown = { shown, held, moment };
    paint();
  };
  const begin = () => {
    if (pulse || !inSight || !sounds()) return;
    pulse = setTimeout(draw, calm.matches && tracks ? CALM_MS : MARKS_MS);
  };
  const told = ({ detail }) => { if (detail.channel === channel) begin(); };
  const sight = new IntersectionObserver(([entry]) => { inSight = entry.isIntersecting; begin(); });
  sight.observe(place);
  model.on("msg:custom", arrived);
  model.on("change:columns", forget);
  window.addEventListener("gainlib-position", told);
  return () => {
    sight.disconnect();
    clearTimeout(timer);
    clearTimeout(pulse);
    model.off("msg:custom", arrived);
    model.off("change:columns", forget);
    window.removeEventListener("gainlib-position", told);
    canvas.remove();
  };
}

living.turns = 0; // of all pictures, so that no answer is taken for another's

// A picture is read as its sentence and moved by its controls: the key Tab goes by.
function noStop(root) {
  for (const each of root.querySelectorAll("*")) {
    if (each.tabIndex >= 0) each.tabIndex = -1;
    if (each.shadowRoot) noStop(each.shadowRoot);
  }
}

async function render({ model, el }) {
  let gone = false;
  el.classList.add("gainlib-picture");
  const id = newId("picture");
  const heading = make("p", { className: "gainlib-heading" });
  const place = make("div", { id, className: "gainlib-place", role: "figure", "aria-describedby": `${id}-words` });
  const words = make("p", { id: `${id}-words` });
  el.append(heading, place, words);
  const say = () => {
    heading.textContent = model.get("captioned") ? model.get("heading") : "";
    heading.hidden = !model.get("captioned");
    words.className = model.get("captioned") ? "gainlib-caption" : "gainlib-unseen";
    words.textContent = model.get("sentence");
    place.setAttribute("aria-label", model.get("heading"));
  };
  say();
  const stop = follow(model, ["heading", "sentence", "captioned"], say);
  let close = () => {};
  let turn = 0;
  const start = async () => {
    const mine = ++turn;
    if (!bokeh.library && model.get("still")) {
      place.replaceChildren(make("img", { className: "gainlib-still", alt: "", src: model.get("still") }));
    }
    const Bokeh = await haveBokeh(model);
    while (!gone && !el.isConnected) await new Promise(requestAnimationFrame);
    if (gone || mine !== turn) return;
    if (!Bokeh) {
      if (!model.get("still")) place.textContent = "This picture waits for the kernel. If no cell is running, run this one again.";
      bokeh.arrived.then(() => { if (!gone && mine === turn) start(); });
      return;
    }
    close();
    close = () => {};
    place.replaceChildren();
    const views = await Bokeh.embed.embed_item(JSON.parse(model.get("spec")), id);
    const roots = [...(views.roots ?? views)];
    const picture = roots.find((each) => each.frame) ?? roots[0];
    const doc = picture.model.document;
    const ends = [];
    const end = () => {
      ends.forEach((each) => each());
      for (const view of roots) {
        Bokeh.index.delete?.(view);
        view.remove();
      }
      doc.clear();
      const at = Bokeh.documents.indexOf(doc);
      if (at >= 0) Bokeh.documents.splice(at, 1);
    };
    if (gone || mine !== turn) return end();
    close = end;
    noStop(place);
    let timer = 0;
    const keep = () => {
      clearTimeout(timer);
      timer = setTimeout(() => requestIdleCallback(() => { if (close === end) kept(model, picture, el); }), KEPT_MS);
    };
    const draw = () => {
      for (const [name, data] of Object.entries(unpacked(model.get("columns")))) {
        const source = doc.get_model_by_name(name);
        if (source) source.data = data;
      }
      keep();
    };
    const ink = () => { inked(doc, model.get("inks")); keep(); };
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
    ends.push(
      () => clearTimeout(timer),
      () => theme.disconnect(),
      () => model.off("change:columns", draw),
      () => window.removeEventListener("gainlib-position", follow),
      pointed(place, picture, doc, model.get("channel")),
      model.get("living") ? living(model, place, picture, model.get("channel")) : () => {},
    );
  };
  start();
  model.on("change:spec", start);
  return () => {
    gone = true;
    model.off("change:spec", start);
    stop();
    close();
  };
}

export default { render };
