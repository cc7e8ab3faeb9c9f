// One line that opens what is longer below it, and folds it away again.
import { follow, make, stands } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-fold");
    const button = make("button", { type: "button" });
    const note = make("span", { className: "gainlib-note" });
    el.append(button, note);
    button.onclick = () => {
      model.set("unfolded", !model.get("unfolded"));
      model.save_changes();
    };
    const show = () => {
      button.textContent = `${model.get("unfolded") ? "▾" : "▸"} ${model.get("title")}`;
      button.setAttribute("aria-expanded", String(model.get("unfolded")));
      note.textContent = model.get("note");
    };
    show();
    const stops = [stands(model, el), follow(model, ["unfolded", "title", "note"], show)];
    return () => stops.forEach((stop) => stop());
  },
};
