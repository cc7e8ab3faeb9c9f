// The front of the exercise book: topic, level, what was missed, the list of what fits, and the button that opens one.
let count = 0;

export default {
  render({ model, el }) {
    const id = `gainlib-book-${Date.now()}-${++count}`;
    const get = (name) => model.get(name);
    const make = (tag, props, ...inside) => {
      const made = Object.assign(document.createElement(tag), props);
      made.append(...inside);
      return made;
    };
    const ours = (field) => {
      field.setAttribute("data-lm-suppress-shortcuts", "true");
      return field;
    };
    el.classList.add("gainlib-book-desk");
    const topic = ours(make("select", {}));
    const level = ours(make("select", {}));
    const missed = ours(make("input", { type: "checkbox" }));
    const missedText = make("span", {});
    const list = ours(make("select", { id, size: 8 }));
    const open = ours(make("button", { type: "button", textContent: "Open with new numbers" }));
    const note = make("p", { className: "gainlib-book-note" });
    const opened = make("p", { className: "gainlib-book-opened" });
    for (const each of [note, opened]) each.setAttribute("role", "status");
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
    const tell = (content) => window.gainlib.tell(model, content);
    const pick = () => tell({ kind: "pick", topic: topic.value, level: Number(level.value), missed: missed.checked });
    for (const each of [topic, level, missed]) each.addEventListener("change", pick);
    const go = () => { if (list.value) tell({ kind: "open", name: list.value }); };
    list.addEventListener("change", () => { model.set("chosen", list.value); model.save_changes(); });
    list.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); go(); } });
    list.addEventListener("dblclick", go);
    open.onclick = go;
    const followed = ["topics", "levels", "missed", "items", "chosen", "note", "opened"];
    followed.forEach((name) => model.on(`change:${name}`, show));
    show();
    return () => followed.forEach((name) => model.off(`change:${name}`, show));
  },
};
