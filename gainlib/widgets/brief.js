// The title of an exercise, its goal and its brief; a blank line in the text begins a paragraph.
import { make, stands } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-brief");
    const paragraphs = model.get("brief").split(/\n\s*\n/).map((text) => text.replace(/\s+/g, " ").trim());
    if (model.get("title")) el.append(make("h3", { className: "gainlib-brief-title", textContent: model.get("title") }));
    el.append(...paragraphs.map((textContent) => make("p", { textContent })));
    if (model.get("note")) el.append(make("p", { className: "gainlib-note", textContent: model.get("note") }));
    return stands(model, el);
  },
};
