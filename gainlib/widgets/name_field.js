// The field in which a learner writes a name, and who works here.
import { follow, make, tell } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-answer", "gainlib-questions", "gainlib-name");
    const field = make("input", { type: "text", autocomplete: "off", spellcheck: false });
    const keep = make("button", { type: "submit", className: "gainlib-check", textContent: "Keep this name" });
    const said = make("p", { role: "status" });
    const form = make("form", { className: "gainlib-book-row" }, make("label", {}, "Your name ", field), keep);
    form.onsubmit = (event) => {
      event.preventDefault();
      tell(model, { kind: "name", name: field.value });
    };
    el.append(form, said);
    const show = () => {
      said.textContent = model.get("said");
      if (document.activeElement !== field) field.value = model.get("name");
    };
    show();
    return follow(model, ["said", "name"], show);
  },
};
