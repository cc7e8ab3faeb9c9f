// One control: a native range input, and its value in figures, which can be typed over.
import { follow, make, newId, turns, typed as numberOf } from "./shared.js";

const PAUSE_MS = 1000; // key presses closer together than this are one step for undo

export default {
  render({ model, el }) {
    const id = newId("range");
    const get = (name) => model.get(name);
    el.classList.add("gainlib-range");
    const label = make("label", { htmlFor: id });
    const range = make("input", { type: "range", id });
    const typed = make("input", { type: "text", inputMode: "decimal", autocomplete: "off", spellcheck: false });
    typed.setAttribute("aria-describedby", `${id}-complaint`);
    const unit = make("span", { className: "gainlib-unit" });
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint`, role: "alert" });
    const end = make("p", { className: "gainlib-end" });
    el.append(label, range, make("span", { className: "gainlib-figures" }, typed, unit), end, complaint);

    const number = (value) => {
      const size = Math.abs(value).toFixed(get("digits"));
      const zero = Number(size) === 0;
      return (zero ? "" : value < 0 ? "−" : get("signed") ? "+" : "") + size;
    };
    const whole = (value) => `${number(value)} ${get("unit")}`.trim();
    const fit = () => { typed.style.width = `${Math.max(typed.value.length, 3) + 0.6}ch`; };
    const show = () => {
      const value = get("value");
      typed.value = number(value);
      fit();
      end.textContent = value >= get("high") ? "at its highest" : value <= get("low") ? "at its lowest" : "";
      range.setAttribute("aria-valuetext", whole(value) + (end.textContent ? `, ${end.textContent}` : ""));
      const share = (Math.min(Math.max(value, get("low")), get("high")) - get("low")) / (get("high") - get("low"));
      range.style.setProperty("--gainlib-share", `${100 * share}%`);
    };
    const update = () => {
      label.textContent = get("label");
      range.min = get("low");
      range.max = get("high");
      range.step = get("step");
      range.value = get("value");
      range.setAttribute("aria-label", get("name"));
      typed.setAttribute("aria-label", `${get("name")} in figures, ${get("unit")}`.replace(/, $/, ""));
      range.title = `Delete or double-click: back to ${whole(get("start"))}`;
      range.setAttribute("aria-keyshortcuts", "Delete");
      unit.textContent = get("unit");
      show();
    };
    const complain = () => {
      complaint.textContent = get("complaint");
      typed.setAttribute("aria-invalid", String(get("complaint") !== ""));
    };
    const sent = turns(model, el);
    let pressedAt = -Infinity;
    const stroke = () => model.set("stroke", get("stroke") + 1);
    const set = (value) => {
      model.set("complaint", "");
      model.set("value", value);
      sent.send();
      complaint.textContent = "";
      typed.removeAttribute("aria-invalid");
      show();
    };
    range.addEventListener("pointerdown", stroke);
    range.addEventListener("keydown", (event) => {
      if (event.timeStamp - pressedAt > PAUSE_MS) stroke();
      pressedAt = event.timeStamp;
    }, true);
    range.addEventListener("input", () => set(Number(range.value)));
    range.addEventListener("dblclick", () => { stroke(); set(get("start")); range.value = get("value"); });
    range.addEventListener("keydown", (event) => {
      if (event.key === "Delete" || event.key === "Backspace") {
        event.preventDefault();
        set(get("start"));
        range.value = get("value");
      }
    });
    const refuse = (words) => {
      complaint.textContent = words;
      typed.setAttribute("aria-invalid", "true");
      show();
    };
    const commit = () => {
      const value = numberOf(typed.value, get("unit"));
      if (value === numberOf(number(get("value")))) { complain(); return; }
      const limits = `${whole(get("low"))} to ${whole(get("high"))}`;
      if (Number.isNaN(value)) refuse(`“${typed.value.trim()}” is not a number; give ${limits}.`);
      else if (value < get("low") || value > get("high")) refuse(`${whole(value)} is out of reach; give ${limits}.`);
      else { stroke(); set(value); range.value = value; }
    };
    typed.addEventListener("input", fit);
    typed.addEventListener("focus", () => typed.select());
    typed.addEventListener("blur", commit);
    typed.addEventListener("keydown", (event) => {
      if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
      if (event.key === "Enter") { event.preventDefault(); commit(); typed.select(); }
      if (event.key === "Escape") { show(); typed.select(); }
    });
    const stops = [
      follow(model, ["value", "start", "low", "high", "step", "digits", "unit", "label", "name"], update),
      follow(model, ["complaint"], complain),
    ];
    update();
    return () => {
      stops.forEach((stop) => stop());
      sent.stop();
    };
  },
};
