// A question with radio choices or a number field; the notebook's shortcuts stay out while one of them has focus.
let count = 0;

function render({ model, el }) {
  const id = `gl-question-${++count}`;
  const box = document.createElement("fieldset");
  const legend = document.createElement("legend");
  const kept = document.createElement("p");
  box.className = "gl-question";
  legend.textContent = model.get("question");
  kept.className = "gl-question-kept";
  kept.setAttribute("role", "status");
  box.append(legend);
  const inputs = [];
  let refused = "";

  const input = (type, text) => {
    const label = document.createElement("label");
    const field = document.createElement("input");
    field.type = type;
    field.setAttribute("data-lm-suppress-shortcuts", "true");
    label.append(...(type === "radio" ? [field, text] : [text, field]));
    box.append(label);
    inputs.push(field);
    return field;
  };
  const note = () => {
    const answered = model.get("choices").length ? model.get("chosen") >= 0 : model.get("number") !== null;
    kept.textContent = refused || (answered ? "Noted. Go on; the answer comes further down." : "No answer is fine too.");
  };

  if (model.get("choices").length) {
    model.get("choices").forEach((text, index) => {
      const field = input("radio", text);
      field.name = id;
      field.addEventListener("change", () => {
        model.set("chosen", index);
        model.save_changes();
      });
    });
  } else {
    const field = input("text", `Your guess, in ${model.get("unit")}: `);
    field.inputMode = "decimal";
    field.addEventListener("input", () => {
      const text = field.value.trim().replace(",", ".").replace("\u2212", "-");
      const value = /^[+-]?(\d+\.?\d*|\.\d+)$/.test(text) ? Number(text) : null;
      refused = text && value === null ? `“${field.value}” is not a number; write one such as 6 or 6.5.` : "";
      model.set("number", value);
      model.save_changes();
      note();
    });
  }
  const show = () => {
    if (model.get("choices").length) inputs.forEach((field, index) => (field.checked = index === model.get("chosen")));
    else if (document.activeElement !== inputs[0]) inputs[0].value = model.get("number") ?? "";
    note();
  };
  box.append(kept);
  el.append(box);
  show();
  model.on("change:chosen", show);
  model.on("change:number", show);
  return () => {
    model.off("change:chosen", show);
    model.off("change:number", show);
  };
}

export default { render };
