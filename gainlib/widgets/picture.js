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
  const ride = doc.get_model_by_name("ride");
  if (!timed(view) && !ride) return () => {};
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

// What moves with the sound is painted on a layer over the figure, which is not drawn anew. `fit` lays it over the figure's
// frame and says whether that emptied it; `draw` is called where the sound is now, while the picture is in sight.
function layer(place, view, channel, className, draw) {
  const canvas = make("canvas", { className: `gainlib-over ${className}` });
  canvas.setAttribute("aria-hidden", "true");
  place.append(canvas);
  const pen = canvas.getContext("2d");
  let inSight = true;
  let seconds = null;
  const told = ({ detail }) => {
    if (detail.channel !== channel) return;
    seconds = detail.seconds;
    if (inSight) draw(seconds);
  };
  const sight = new IntersectionObserver(([entry]) => {
    inSight = entry.isIntersecting;
    if (inSight && seconds !== null) draw(seconds);
  });
  sight.observe(place);
  window.addEventListener("gainlib-position", told);
  const fit = () => {
    const { left, top, width, height } = view.frame.bbox;
    const scale = window.devicePixelRatio || 1;
    const [wide, high] = [Math.round(width * scale), Math.round(height * scale)];
    const at = `translate(${left}px, ${top}px)`;
    if (canvas.width === wide && canvas.height === high && canvas.style.transform === at) return false;
    Object.assign(canvas, { width: wide, height: high });
    // Where the window has become narrower since, the layer does not stand out until the next drawing fits it.
    Object.assign(canvas.style, {
      width: `${width}px`, maxWidth: `calc(100% - ${left}px)`, height: `${height}px`, transform: at,
    });
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    return true;
  };
  return {
    canvas, pen, fit,
    stop() {
      sight.disconnect();
      window.removeEventListener("gainlib-position", told);
      canvas.remove();
    },
  };
}

// Whether time runs along a figure.
const timed = (view) => (view.model.tags ?? []).includes("time along");

// The line that follows the player.
function following(model, place, view, channel) {
  let last = -1;
  const draw = (seconds) => {
    const { start, end } = view.model.x_range;
    const { width, height } = view.frame.bbox;
    if (over.fit()) last = -1;
    const x = Math.round((width * (seconds - start)) / (end - start));
    over.canvas.gainlibShown = { seconds, x };
    if (x === last) return;
    if (last >= 0) over.pen.clearRect(last - 2, 0, 4, height);
    over.pen.fillStyle = model.get("inks").text[dark() ? 1 : 0];
    over.pen.fillRect(x - 0.75, 0, 1.5, height);
    last = x;
  };
  const over = layer(place, view, channel, "gainlib-line", draw);
  return over.stop;
}

const FALL_DB = 24; // a mark falls by so many decibels in a second
const SETTLED_MS = 400; // so long after a move the levels are asked for anew, sooner where the kernel is quick
const SOON_MS = 150;
const AWAY = 0.36; // so far left of a column's middle, where its figures stand, in columns
const HALF = [0.08, 12]; // half of a mark's width at most, in columns and in pixels
const REACH = 400; // so many moments at most are looked through for one drawing
const KEY = ["peak now", "RMS now", "highest"];

// Marks that move with the sound beside the figures of each column: peak, RMS, and a held maximum for each. The kernel
// sends the levels of each moment once; where the sound is says the player, by the clock of what is heard.
function living(model, place, view, channel) {
  const calm = matchMedia("(prefers-reduced-motion: reduce)");
  const key = make("div", { className: "gainlib-key", hidden: true }, ...KEY.map((text) => make("span", {}, make("i"), text)));
  key.setAttribute("aria-hidden", "true");
  for (const [index, ink] of ["peak", "rms", "text"].entries()) key.children[index].dataset.ink = ink;
  place.append(key);
  let [turn, wait, sentAt, timer, at, last, sounded] = [++living.turns, SETTLED_MS, 0, 0, 0, -1, ""];
  const known = {}; // the levels of "before" and of "after"
  let [shown, held, painted] = [[], [], []];
  const lifted = () => unpacked({ stages: { lift: model.get("columns").stages?.lift ?? [] } }).stages.lift;
  let lifts = lifted();
  const player = () => players.get(channel);
  const sounds = () => Boolean(player()?.loop?.playing);
  const tracks = () => {
    const found = known[player()?.slot];
    return found?.start === player()?.start ? found : null;
  };
  const ask = () => {
    clearTimeout(timer);
    timer = 0;
    if (!sounds() || sentAt || tracks()) return;
    sentAt = performance.now();
    tell(model, { kind: "tracks", turn, start: player().start, slot: player().slot });
  };
  const forget = () => {
    lifts = lifted();
    turn = ++living.turns;
    delete known.after; // only "after" moves
    if (player()?.slot !== "before") { held = []; paint(false); }
    clearTimeout(timer);
    timer = setTimeout(ask, wait);
  };
  const arrived = (message, buffers) => {
    if (message.kind !== "tracks") return;
    wait = Math.min(SETTLED_MS, Math.max(SOON_MS, 3 * (performance.now() - sentAt)));
    sentAt = 0;
    if (message.turn !== turn) { if (!timer) ask(); return; }
    const levels = buffers.map((each) => new Uint8Array(each.buffer, each.byteOffset, each.byteLength));
    known[message.slot] = { ...message, levels, moments: Math.max(...levels.map((each) => each.length)) };
    sounded = "";
  };
  const paint = (live) => {
    const { width, height } = view.frame.bbox;
    if (over.fit() || (!held.length && painted.length)) {
      painted = [];
      over.pen.clearRect(0, 0, width, height);
    }
    key.hidden = !held.length;
    const { x_range: across, y_range: up } = view.model;
    const column = width / (across.end - across.start);
    const half = Math.min(HALF[0] * column, HALF[1]);
    const floor = known[sounded]?.floor;
    for (let stage = 0; 2 * stage < held.length; stage++) {
      const x = Math.round((stage - AWAY - across.start) * column);
      // In front of a converter a level stands at its dBu.
      const lift = lifts[stage] ?? 0;
      const y = (db) => Math.round((height * (up.end - Math.min(db + lift, up.end))) / (up.end - up.start));
      const levels = [2 * stage, 2 * stage + 1].flatMap((index) => [live ? shown[index] : floor, held[index]]).map(y);
      const now = `${dark()} ${levels}`;
      if (now === painted[stage]) continue;
      painted[stage] = now;
      over.pen.clearRect(x - half - 6, 0, 2 * half + 12, height);
      for (const [index, name] of ["peak", "rms"].entries()) {
        const [moment, most] = [levels[2 * index], levels[2 * index + 1]];
        over.pen.fillStyle = model.get("inks")[name][dark() ? 1 : 0];
        if (moment < y(floor)) {
          over.pen.globalAlpha = 0.35;
          if (index) over.pen.fillRect(x - half, moment, 2 * half, y(floor) - moment);
          over.pen.globalAlpha = 1;
          over.pen.fillRect(x - half, moment - 2, 2 * half, index ? 2 : 4);
        }
        // The held maximum: a short tick at either side.
        if (most < y(floor)) for (const side of [-1, 1]) over.pen.fillRect(x + side * (half + 3) - 3, most - 1, 6, 2);
      }
    }
  };
  const draw = (seconds) => {
    const now = performance.now();
    const found = tracks();
    if (!sounds()) { last = -1; paint(false); return; }
    if (!found) {
      if (sounded !== player().slot) { held = []; paint(false); }
      if (!timer) ask();
      return;
    }
    if (sounded !== player().slot) {
      sounded = player().slot;
      [shown, held, last] = [found.levels.map(() => found.floor), found.levels.map(() => found.floor), -1];
    }
    const moment = Math.floor((seconds - found.start) / found.moment) % found.moments;
    if (moment === last || !(moment >= 0)) return;
    // Every moment since the last drawing, so that no peak is missed.
    const gone = last < 0 ? 1 : (moment - last + found.moments) % found.moments;
    const fall = calm.matches ? Infinity : (FALL_DB * (now - at)) / 1000;
    [last, at] = [moment, now];
    for (const [index, levels] of found.levels.entries()) {
      let most = 0;
      for (let back = 0; back < Math.min(gone, REACH); back++) {
        most = Math.max(most, levels[(moment - back + found.moments) % found.moments] ?? 0);
      }
      const db = found.floor + found.step * most;
      shown[index] = Math.max(db, shown[index] - fall);
      held[index] = Math.max(db, held[index]);
    }
    over.canvas.gainlibShown = { shown, held, moment, slot: sounded };
    paint(true);
  };
  const over = layer(place, view, channel, "gainlib-marks", draw);
  model.on("msg:custom", arrived);
  model.on("change:columns", forget);
  return () => {
    over.stop();
    key.remove();
    clearTimeout(timer);
    model.off("msg:custom", arrived);
    model.off("change:columns", forget);
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
        // Of a scale beside the picture only its ends move.
        if (source?.type === "Range1d") source.setv({ start: data.start[0], end: data.end[0] });
        else if (source) source.data = data;
      }
      keep();
    };
    const ink = () => { inked(doc, model.get("inks")); keep(); };
    ink();
    draw();
    const theme = new MutationObserver(ink);
    theme.observe(document.body, { attributes: true, attributeFilter: ["data-jp-theme-light", "data-jp-theme-name"] });
    model.on("change:columns", draw);
    ends.push(
      () => clearTimeout(timer),
      () => theme.disconnect(),
      () => model.off("change:columns", draw),
      pointed(place, picture, doc, model.get("channel")),
      timed(picture) ? following(model, place, picture, model.get("channel")) : () => {},
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
