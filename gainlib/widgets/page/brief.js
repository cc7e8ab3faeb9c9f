// The title of an exercise, its goal and its brief; a blank line in the text begins a paragraph.
export default {
  render({ model, el }) {
    el.classList.add("gainlib-brief");
    const make = (tag, className, text) => Object.assign(document.createElement(tag), { className, textContent: text });
    const paragraphs = model.get("brief").split(/\n\s*\n/).map((each) => make("p", "", each.replace(/\s+/g, " ").trim()));
    el.append(make("h3", "gainlib-brief-title", model.get("title")), ...paragraphs);
    if (model.get("note")) el.append(make("p", "gainlib-note", model.get("note")));
  },
};
