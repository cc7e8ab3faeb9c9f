// One control: a native range input, and its value in figures, which can be typed over.
import { follow, make, newId, numberField, turns, typed as numberOf, unread } from "./shared.js";

const PAUSE_MS = 1000; // key presses closer together than this are one step for undo
const KEYS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 };
const PAGES = { PageUp: 1, PageDown: -1 };
const FINE_MM = 0.25; // 0.1 dB where the taper is finest

// The travel of a fader: straight lines between marks of [mm, value] from the top down, below the last down to nothing.
// The same law as Taper in gainlib/stages/fader.py.
const travel = (marks) => {
  const [lowMm, low] = marks[marks.length - 1];
  const part = (at, column) => {
    const index = marks.findIndex((each) => at >= each[column]);
    return [marks[Math.max(index, 1) - 1], marks[Math.max(index, 1)]];
  };
  return {
    mm(value) {
      if (value < low) return lowMm * 10 ** ((value - low) / 20);
      const [above, below] = part(value, 1);
      return below[0] + (value - below[1]) * (above[0] - below[0]) / (above[1] - below[1]);
    },
    value(mm) {
      if (mm < lowMm) return low + 20 * Math.log10(mm / lowMm);
      const [above, below] = part(mm, 0);
      return below[1] + (mm - below[0]) * (above[1] - below[1]) / (above[0] - below[0]);
    },
  };
};

export default {
  render({ model, el }) {
    const id = newId("range");
    const sent = turns(model, el, () => { update(); complain(); });
    const { get } = sent;
    el.classList.add("gainlib-range");
    const label = make("label", { htmlFor: id });
    const range = make("input", { type: "range", id });
    const unit = make("span", { className: "gainlib-unit" });
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint`, role: "alert" });
    const end = make("p", { className: "gainlib-end" });

    const number = (value) => {
      const size = Math.abs(value).toFixed(get("digits"));
      const zero = Number(size) === 0;
      return (zero ? "" : value < 0 ? "−" : get("signed") ? "+" : "") + size;
    };
    const side = (value) => {
      if (!get("ends").length) return get("unit");
      return Number(value.toFixed(get("digits"))) === 0 ? "middle" : get("ends")[value > 0 ? 1 : 0];
    };
    const whole = (value) => {
      if (!get("ends").length) return `${number(value)} ${get("unit")}`.trim();
      return side(value) === "middle" ? "middle" : `${side(value)} ${number(Math.abs(value))}`;
    };
    const say = (words) => {
      complaint.textContent = words;
      typed.field.setAttribute("aria-invalid", String(words !== ""));
    };
    const complain = () => say(get("unread") || get("complaint"));
    const stroke = () => sent.send({ stroke: get("stroke") + 1 });
    const set = (value, begins = false) => {
      sent.send({ value, unread: "", ...(begins ? { stroke: get("stroke") + 1 } : {}) });
      say("");
      show();
    };
    const take = (text) => {
      const value = numberOf(text, get("unit"));
      const same = value === numberOf(number(get("value")));
      if (same && !get("unread")) return say("");
      const fault = unread(text, get("unit"), get("low"), get("high"), whole);
      if (!fault) return same ? set(get("value")) : set(value, true);
      sent.send({ unread: fault });
      return say(fault);
    };
    const typed = numberField(() => number(get("value")), take);
    const fit = () => { typed.field.style.width = `${Math.max(typed.field.value.length, 3) + 0.6}ch`; };
    typed.field.setAttribute("aria-describedby", `${id}-complaint`);
    typed.field.addEventListener("input", fit);
    el.append(label, range, make("span", { className: "gainlib-figures" }, typed.field, unit), end, complaint);

    // Where the slider stands is a matter of its travel: millimetres where there are marks, else the value itself.
    const law = () => (get("marks").length ? travel(get("marks")) : { mm: (value) => value, value: (at) => at });
    const placed = (value) => law().mm(value);
    const lowest = () => placed(get("low"));
    const highest = () => placed(get("high"));
    const show = () => {
      const value = get("value");
      range.value = placed(value);
      typed.show();
      unit.textContent = side(value);
      end.textContent = value >= get("high") ? "at its highest" : value <= get("low") ? "at its lowest" : "";
      const up = get("marks").length ? `, ${placed(value).toFixed(1)} mm up` : "";
      range.setAttribute("aria-valuetext", whole(value) + up + (end.textContent ? `, ${end.textContent}` : ""));
      const share = (Math.min(Math.max(placed(value), lowest()), highest()) - lowest()) / (highest() - lowest());
      range.style.setProperty("--gainlib-share", `${100 * share}%`);
    };
    // The browser's own steps would round a value that was typed, so it is let stand anywhere, and what a hand does is
    // counted here: a key goes a step on from where the value is, a drag to the next step, with Shift as fine as is shown.
    const step = () => (get("marks").length ? 1 : get("step"));
    const fine = () => (get("marks").length ? FINE_MM : Math.min(get("step"), 10 ** -get("digits")));
    const within = (value) => Number(Math.min(Math.max(value, get("low")), get("high")).toFixed(9));
    const moved = (value, by) => within(law().value(placed(value) + by));
    const near = (at, grid) => within(law().value(lowest() + Math.round((at - lowest()) / grid) * grid));
    const update = () => {
      label.textContent = get("label");
      range.min = lowest();
      range.max = highest();
      range.step = "any";
      range.setAttribute("aria-label", get("name"));
      typed.field.setAttribute("aria-label", `${get("name")} in figures, ${get("unit")}`.replace(/, $/, ""));
      const finer = get("marks").length ? "; an arrow key: by 1 mm, with Shift a quarter of it"
        : fine() < step() ? `; Shift and an arrow key: by ${whole(fine()).replace("+", "")}` : "";
      range.title = `Delete or double-click: back to ${whole(get("start"))}${finer}`;
      range.setAttribute("aria-keyshortcuts", "Delete");
      show();
    };
    const page = () => Math.max(1, Math.round((highest() - lowest()) / 10 / step())) * step();
    let pressedAt = -Infinity;
    let shift = false;
    range.addEventListener("pointerdown", (event) => { shift = event.shiftKey; stroke(); });
    range.addEventListener("pointermove", (event) => { shift = event.shiftKey; });
    range.addEventListener("input", () => set(near(Number(range.value), shift ? fine() : step())));
    range.addEventListener("dblclick", () => set(get("start"), true));
    range.addEventListener("keydown", (event) => {
      const begins = event.timeStamp - pressedAt > PAUSE_MS;
      const go = (value) => {
        event.preventDefault();
        pressedAt = event.timeStamp;
        set(within(value), begins);
        range.dispatchEvent(new Event("change", { bubbles: true })); // as the browser's own key would have
      };
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const { key } = event;
      if (key === "Delete" || key === "Backspace") go(get("start"));
      else if (key in KEYS) go(moved(get("value"), KEYS[key] * (event.shiftKey ? fine() : step())));
      else if (key in PAGES) go(moved(get("value"), PAGES[key] * page()));
      else if (key === "Home") go(get("low"));
      else if (key === "End") go(get("high"));
    }, true);
    const stops = [
      follow(model, ["value", "start", "low", "high", "step", "digits", "unit", "label", "name"], update),
      follow(model, ["complaint"], complain),
    ];
    update();
    typed.put();
    return () => {
      stops.forEach((stop) => stop());
      sent.stop();
    };
  },
};
