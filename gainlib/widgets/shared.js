// What the widgets of a page share: one module, loaded once however many widgets import it.

// Each player's state by the channel of its bench, and the audio contexts by rate.
export const players = new Map();
export const contexts = new Map();

// Whether a recorder of this page hears the room now, whether it was said that loudspeakers would be heard too, and a take
// that no kernel has yet, its recorder being gone.
export const microphone = { open: false, warned: false, left: null };

// Has the page run what stands below `el`, up to the next heading; gives back whether it does so (`gainlib/page`).
export function runBelow(el) {
  const asked = new CustomEvent("gainlib-run-below", { bubbles: true, cancelable: true });
  return !el.dispatchEvent(asked);
}

// BokehJS once it is there: the first picture asks for it, and all of them wait for `arrived`.
export const bokeh = { library: null, askedAt: -Infinity };
bokeh.arrived = new Promise((resolve) => {
  bokeh.take = (library) => {
    bokeh.library = library;
    resolve(library);
  };
});

let count = 0;

// An id that no other widget of the page has.
export const newId = (word) => `gainlib-${word}-${Date.now()}-${++count}`;

// An element with its properties, its attributes (what is no property) and what stands inside.
export function make(tag, given = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name in made) made[name] = value;
    else made.setAttribute(name, value);
  }
  made.append(...inside);
  return made;
}

// The same for a shape of a drawing.
export function drawn(tag, given, ...inside) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(given)) made.setAttribute(name, value);
  made.append(...inside);
  return made;
}

// Calls `update` whenever one of these traits changes; gives back what ends that.
export function follow(model, names, update) {
  names.forEach((name) => model.on(`change:${name}`, update));
  return () => names.forEach((name) => model.off(`change:${name}`, update));
}

// Of the row under a bench the key Tab stops at one button; an arrow key goes along the row from there. Where a slider or a
// list has an arrow's key for itself, the others lead on. `stop` is given to the part of the row in which that button is.
const ALONG = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };
const OWN = [["input[type=range]", ["ArrowLeft", "ArrowRight"]], ["select", ["ArrowUp", "ArrowDown"]]];
const IN_ROW = "button, select, input";
export function alongRow(el, stop = null) {
  for (const each of el.querySelectorAll(IN_ROW)) each.tabIndex = each === stop ? 0 : -1;
  const pressed = (event) => {
    const { key, target } = event;
    if (!(key in ALONG) || event.ctrlKey || event.metaKey || event.altKey || event.shiftKey || !target.matches(IN_ROW)) return;
    if (OWN.some(([those, keys]) => target.matches(those) && keys.includes(key))) return;
    const row = target.closest(".gainlib-row") ?? el;
    const all = [...row.querySelectorAll(IN_ROW)].filter((each) => each.offsetParent && !each.disabled);
    event.preventDefault();
    event.stopImmediatePropagation();
    all[(all.indexOf(target) + ALONG[key] + all.length) % all.length].focus();
  };
  el.addEventListener("keydown", pressed, true);
}

// Calls `found` with the box around `el` that fits a selector, as soon as `el` stands in one; gives back what ends that.
export function whenInside(el, selector, found) {
  let waiting = 0;
  const look = () => {
    const box = el.closest(selector);
    if (box) found(box);
    else waiting = requestAnimationFrame(look);
  };
  look();
  return () => cancelAnimationFrame(waiting);
}

// What a bench folds away until it is asked for: once it was, every bench of this browser's pages has it, until it is
// folded away again.
const UNFOLDED = "gainlib-unfolded";
const shelf = () => { try { return window.localStorage; } catch { return null; } };
let unfolded = Boolean(shelf()?.getItem(UNFOLDED));
export function unfold(on = true) {
  unfolded = on;
  if (on) shelf()?.setItem(UNFOLDED, "1");
  else shelf()?.removeItem(UNFOLDED);
  window.dispatchEvent(new CustomEvent(UNFOLDED));
}

// The button that does it, and what ends that it follows.
export function unfolding() {
  const button = make("button", { type: "button", className: "gainlib-unfolding" });
  const show = () => {
    const on = unfolded;
    document.documentElement.classList.toggle(UNFOLDED, on);
    button.textContent = on ? "Less" : "More";
    button.title = on ? "Show the usual buttons only" : "Another stage to listen to, volume; keep, compare and copy settings";
    button.setAttribute("aria-expanded", String(on));
  };
  button.onclick = () => unfold(!unfolded);
  window.addEventListener(UNFOLDED, show);
  show();
  return { button, stop: () => window.removeEventListener(UNFOLDED, show) };
}

// What scrolls the page around `el`, and the part of the window in which that shows something.
export function scroller(el) {
  let found = el.parentElement;
  while (found && !(found.scrollHeight > found.clientHeight && /auto|scroll/.test(getComputedStyle(found).overflowY))) {
    found = found.parentElement;
  }
  found ??= document.scrollingElement;
  const { top, bottom } = found === document.scrollingElement ? { top: 0, bottom: innerHeight } : found.getBoundingClientRect();
  return { found, top: Math.max(0, top), bottom: Math.min(innerHeight, bottom) };
}

const MARGIN = 6;

// Brings what lies between two elements into view, with as little movement as can be; its top where not all of it fits.
export function bring(from, to = from) {
  const { found, top, bottom } = scroller(from);
  const first = from.getBoundingClientRect().top - top - MARGIN;
  const last = to.getBoundingClientRect().bottom - bottom + MARGIN;
  if (first < 0 || last > 0) found.scrollBy({ top: first < 0 ? first : Math.min(first, last), behavior: "instant" });
}

// Whether all of it is on screen, from top to bottom.
export function inView(...elements) {
  const { top, bottom } = scroller(elements[0]);
  return elements.every((each) => {
    const box = each.getBoundingClientRect();
    return box.top >= top - 1 && box.bottom <= bottom + 1;
  });
}

// Where no kernel hears it any more nothing is sent; the headline says so.
export function tell(model, content) {
  try {
    model.send(content);
  } catch (fault) {
    console.info("gainlib: not sent", content.kind, String(fault));
  }
}

const ELSEWHERE = "This lesson is open in another tab or window; it goes on there. "
  + "To go on here, choose Run > Run All Cells; the other then says the same.";

// Of what stands first in a cell: says so where another page ran the cell and took it away, and hears when the kernel
// goes. A page that runs a cell itself has taken its widgets away before the kernel does, so none of them hears of it.
// Where the extension of gainlib/page is there, it says both once above the page, and what is said here is hidden.
export function stands(model, el) {
  const kernel = model.widget_manager?.kernel;
  watch(kernel, model.widget_manager);
  const heard = ({ kind, by }) => {
    const output = kind === "taken away" && by !== kernel?.clientId && el.closest(".jp-OutputArea-output");
    if (!kernel || !output || output.nextElementSibling?.matches(".gainlib-elsewhere")) return;
    output.after(make("p", { className: "gainlib-message gainlib-elsewhere", role: "alert" }, ELSEWHERE));
  };
  model.on("msg:custom", heard);
  return () => model.off("msg:custom", heard);
}

export const GO_ON = "To go on, choose Run > Run All Cells.";

// Calls `told` with whether no kernel answers any more, whenever that changes. The notebook marks it on the boxes around
// our parts, not on the parts: `selector` names the box.
export function whenGone(el, selector, told) {
  let before = false;
  let box = null;
  const look = () => {
    const now = box.classList.contains("jupyter-widgets-disconnected");
    if (now === before) return;
    before = now;
    told(now);
  };
  const watch = new MutationObserver(look);
  const stop = whenInside(el, selector, (found) => {
    box = found;
    watch.observe(box, { attributes: true, attributeFilter: ["class"] });
    look();
  });
  return () => {
    stop();
    watch.disconnect();
  };
}

// A kernel that ends or begins anew knows nothing of the widgets of a page. The notebook marks them when it was told to
// by its own menu, or when the kernel died; when the kernel was ended from elsewhere, its own messages say so.
const watched = new WeakSet();
function watch(kernel, manager) {
  if (!kernel?.anyMessage || watched.has(kernel)) return;
  watched.add(kernel);
  let session = "";
  kernel.disposed.connect(() => manager.disconnect());
  kernel.anyMessage.connect((_, { msg, direction }) => {
    if (direction !== "recv" || msg.channel !== "iopub") return;
    const { msg_type: kind, session: by } = msg.header;
    // That it restarts or is dead is the server's word, in a session of the server's.
    const another = !["restarting", "dead"].includes(msg.content.execution_state) && by !== session;
    if (kind === "shutdown_reply" || (another && session)) manager.disconnect();
    if (another) session = by;
  });
}

// What the page moves, in turns. Each turn is sent whole, with its number; until the kernel has seen the last of them, what
// it says is of an earlier state, so `get` gives what was set here. `el` is marked as long, so that what is asked of the
// kernel can wait: a crowd of moves is sent with a delay, and a message of another widget would overtake the last of them.
// `answered` is called when the kernel has seen the last turn, and stands where `get` then says.
export function turns(model, el, answered = () => {}) {
  let turn = Math.max(model.get("seen"), model.get("moved").turn ?? 0);
  let mine = {};
  const seen = () => {
    if (model.get("seen") < turn) return;
    mine = {};
    delete el.dataset.gainlibWaiting;
    answered();
  };
  model.on("change:seen", seen);
  return {
    get: (name) => (name in mine ? mine[name] : model.get(name)),
    send(values) {
      mine = { ...mine, ...values };
      // Another view of the same input, in another window, may have taken turns meanwhile.
      turn = Math.max(turn, model.get("seen"), model.get("moved").turn ?? 0) + 1;
      el.dataset.gainlibWaiting = "1";
      model.set("moved", { turn, values: mine });
      model.save_changes();
    },
    stop: () => model.off("change:seen", seen),
  };
}

// Comes back when nothing in `place` waits any more, after `longest` ms at the latest.
export async function arrived(place, longest = 10_000) {
  const latest = performance.now() + longest;
  while (place?.querySelector("[data-gainlib-waiting]") && performance.now() < latest) {
    await new Promise((resolve) => setTimeout(resolve, 15));
  }
}

// Units as they are also written.
const SPELLED = { h: ["hours", "hour"], s: ["seconds", "second", "sec"], ms: ["milliseconds"], dB: ["decibels", "decibel"] };

// A number as it was typed: a comma or a point for decimals, any minus, its unit behind it; NaN for anything else.
export function typed(text, unit = "") {
  const bare = text.replace(/[\s\u00a0\u202f]/g, "").replace(/[−–]/g, "-").replace(",", ".");
  const endings = [unit.replace(/\s/g, ""), ...(SPELLED[unit] ?? [])].filter(Boolean);
  const ending = endings.find((each) => bare.toLowerCase().endsWith(each.toLowerCase())) ?? "";
  const digits = ending ? bare.slice(0, -ending.length) : bare;
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(digits) ? Number(digits) : NaN;
}

// What keeps a typed text from being a number between two bounds, in words; "" where nothing does. `whole` writes a number.
export function unread(text, unit, low, high, whole) {
  const value = typed(text, unit);
  const limits = `${whole(low)} to ${whole(high)}`;
  if (value >= low && value <= high) return "";
  if (!Number.isNaN(value)) return `${whole(value)} is out of reach; give ${limits}.`;
  const other = /^[\s+−–-]*[\d.,]+\s*([a-zµ%]+)$/i.exec(text.trim());
  if (other && unit) return `“${text.trim()}” is in ${other[1]}; give a number in ${unit}, ${limits}.`;
  return `“${text.trim()}” is not a number${unit ? ` in ${unit}` : ""}; give ${limits}.`;
}

// A field for a number that stands elsewhere: `now` gives its text, `take` is handed what was typed. Enter and leaving the
// field hand it over, Escape goes back; `show` brings it to where the number stands, but not under the fingers.
export function numberField(now, take) {
  const field = make("input", { type: "text", inputMode: "decimal", autocomplete: "off", spellcheck: false });
  let shown = "";
  const put = () => { shown = field.value = now(); field.dispatchEvent(new Event("input")); };
  const commit = () => {
    const text = field.value;
    if (text !== shown) take(text);
    put();
  };
  field.addEventListener("focus", () => field.select());
  field.addEventListener("blur", commit);
  field.addEventListener("keydown", (event) => {
    if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
    if (event.key === "Enter") { event.preventDefault(); commit(); field.select(); }
    if (event.key === "Escape") { put(); field.select(); }
  });
  return { field, put, show: () => { if (document.activeElement !== field) put(); } };
}

// Notebook shortcuts of one letter (x cuts a cell) fire unless the focused element itself carries this attribute; with
// it Ctrl+S would not save either. The window hears a key before the notebook does, so it is put on for plain keys only.
const OURS = ":is(.gainlib-bench, .gainlib-exercise, .gainlib-book, .gainlib-answer, .gainlib-prediction, .gainlib-take, .gainlib-writing) "
  + ":is(input, button, select, textarea, summary)";
window.addEventListener("keydown", (event) => {
  if (!event.target.matches?.(OURS)) return;
  if (event.ctrlKey || event.metaKey || event.altKey) event.target.removeAttribute("data-lm-suppress-shortcuts");
  else event.target.setAttribute("data-lm-suppress-shortcuts", "true");
}, true);
