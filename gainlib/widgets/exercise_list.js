// The front of the exercise book: topic, level, what was missed, the list of what fits, and the button that opens one.
import { GO_ON, follow, make, newId, stands, tell, whenGone } from "./shared.js";

export default {
  render({ model, el }) {
    const id = newId("book");
    const get = (name) => model.get(name);
    el.classList.add("gainlib-book-list");
    const topic = make("select");
    const level = make("select");
    const missed = make("input", { type: "checkbox" });
    const missedText = make("span");
    const list = make("select", { id, size: 8 });
    const open = make("button", { type: "button", textContent: "Open with new numbers" });
    const note = make("p", { className: "gainlib-book-note", role: "status" });
    const opened = make("p", { className: "gainlib-book-opened", role: "status" });
    el.append(
      make("div", { className: "gainlib-book-row" }, make("label", {}, "Topic ", topic), make("label", {}, "Level ", level),
        make("label", {}, missed, missedText)),
      make("label", { htmlFor: id, textContent: "Exercises" }), list,
      make("div", { className: "gainlib-book-row" }, open, note), opened,
    );
    const options = (field, pairs) => {
      const value = field.value;
      field.replaceChildren(...pairs.map(([each, text]) => make("option", { value: each, text })));
      if (pairs.some(([each]) => each === value)) field.value = value;
    };
    const show = () => {
      options(topic, get("topics"));
      options(level, get("levels"));
      missedText.textContent = get("missed");
      options(list, get("items"));
      list.value = get("chosen");
      open.disabled = !get("items").length;
      note.textContent = get("note");
      opened.textContent = get("opened");
    };
    const pick = () => tell(model, { kind: "pick", topic: topic.value, level: Number(level.value), missed: missed.checked });
    for (const field of [topic, level, missed]) field.addEventListener("change", pick);
    const go = () => { if (list.value) tell(model, { kind: "open", name: list.value }); };
    list.addEventListener("change", () => { model.set("chosen", list.value); model.save_changes(); });
    list.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); go(); } });
    list.addEventListener("dblclick", go);
    open.onclick = go;
    show();
    const stops = [
      stands(model, el),
      whenGone(el, ".gainlib-book", (gone) => { opened.textContent = gone ? `No kernel answers. ${GO_ON}` : get("opened"); }),
      follow(model, ["topics", "levels", "missed", "items", "chosen", "note", "opened"], show),
    ];
    return () => stops.forEach((stop) => stop());
  },
};
