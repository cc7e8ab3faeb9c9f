// The field in which a learner writes a name, and who works here.
import { follow, make, tell } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-answer", "gainlib-questions", "gainlib-name");
    const field = make("input", { type: "text", autocomplete: "off", spellcheck: false });
    const keep = make("button", { type: "button", className: "gainlib-check", textContent: "Keep this name" });
    const said = make("p", { role: "status" });
    keep.onclick = () => tell(model, { kind: "name", name: field.value });
    field.onkeydown = (event) => {
      if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
      if (event.key === "Enter") { event.preventDefault(); keep.click(); }
    };
    el.append(make("div", { className: "gainlib-book-row" }, make("label", {}, "Your name ", field), keep), said);
    const show = () => {
      said.textContent = model.get("said");
      if (document.activeElement !== field) field.value = model.get("name");
    };
    show();
    return follow(model, ["said", "name"], show);
  },
};
