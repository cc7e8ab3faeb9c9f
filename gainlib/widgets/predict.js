// A question with radio choices or a number field, asked before anything is shown.
import { follow, make, newId, stands, typed } from "./shared.js";

export default {
  render({ model, el }) {
    const id = newId("prediction");
    const kept = make("p", { className: "gainlib-prediction-kept", role: "status" });
    const box = make("fieldset", { className: "gainlib-prediction" }, make("legend", { textContent: model.get("question") }));
    const choices = model.get("choices");
    let refused = "";
    const note = () => {
      const answered = choices.length ? model.get("chosen") >= 0 : model.get("number") !== null;
      kept.textContent = refused || (answered ? "Noted. Go on; the answer comes further down." : "No answer is fine too.");
    };
    const fields = choices.map((text, index) => {
      const field = make("input", { type: "radio", name: id });
      field.addEventListener("change", () => {
        model.set("chosen", index);
        model.save_changes();
      });
      box.append(make("label", {}, field, text));
      return field;
    });
    const field = make("input", { type: "text", inputMode: "decimal" });
    if (!choices.length) {
      field.addEventListener("input", () => {
        const value = typed(field.value, model.get("unit"));
        const wrong = Boolean(field.value.trim()) && Number.isNaN(value);
        refused = wrong ? `“${field.value}” is not a number; write one such as 6 or 6.5.` : "";
        model.set("number", Number.isNaN(value) ? null : value);
        model.save_changes();
        note();
      });
      box.append(make("label", {}, `Your guess, in ${model.get("unit")}: `, field));
    }
    const show = () => {
      fields.forEach((each, index) => { each.checked = index === model.get("chosen"); });
      if (document.activeElement !== field) field.value = model.get("number") ?? "";
      note();
    };
    box.append(kept);
    el.append(box);
    show();
    const stops = [stands(model, el), follow(model, ["chosen", "number"], show)];
    return () => stops.forEach((stop) => stop());
  },
};
