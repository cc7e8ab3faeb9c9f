// One control: a native range input, and its value in figures, which can be typed over.
let count = 0;

const PAUSE_MS = 1000; // key presses closer together than this are one step for undo

export default {
  render({ model, el }) {
    const id = `gainlib-range-${Date.now()}-${++count}`;
    const get = (name) => model.get(name);
    el.classList.add("gainlib-range");
    const make = (tag, props) => Object.assign(document.createElement(tag), props);
    const label = make("label", { htmlFor: id });
    const range = make("input", { type: "range", id });
    const figures = make("span", { className: "gainlib-figures" });
    const typed = make("input", { type: "text", inputMode: "decimal", autocomplete: "off", spellcheck: false });
    const unit = make("span", { className: "gainlib-unit" });
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint` });
    complaint.setAttribute("role", "alert");
    const end = make("p", { className: "gainlib-end" });
    figures.append(typed, unit);
    el.append(label, range, figures, end, complaint);
    for (const each of [range, typed]) each.setAttribute("data-lm-suppress-shortcuts", "true");
    typed.setAttribute("aria-describedby", complaint.id);

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
    const turns = window.gainlib.turns(model, el);
    let pressedAt = -Infinity;
    const stroke = () => model.set("stroke", get("stroke") + 1);
    const set = (value) => {
      model.set("complaint", "");
      model.set("value", value);
      turns.send();
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
      const text = typed.value.trim().replace(get("unit"), "").trim().replace(/[−–]/g, "-").replace(",", ".");
      if (text === number(get("value")).replace("−", "-")) { complain(); return; }
      const value = Number(text);
      const limits = `${whole(get("low"))} to ${whole(get("high"))}`;
      if (text === "" || !Number.isFinite(value)) refuse(`“${typed.value.trim()}” is not a number; give ${limits}.`);
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
    const followed = ["value", "start", "low", "high", "step", "digits", "unit", "label", "name"];
    followed.forEach((name) => model.on(`change:${name}`, update));
    model.on("change:complaint", complain);
    update();
    return () => {
      followed.forEach((name) => model.off(`change:${name}`, update));
      model.off("change:complaint", complain);
      turns.stop();
    };
  },
};
