// One of a few values: a native select, or a checkbox for what is only on or off.
let count = 0;

export default {
  render({ model, el }) {
    const id = `gainlib-pick-${Date.now()}-${++count}`;
    const make = (tag, props) => Object.assign(document.createElement(tag), props);
    el.classList.add("gainlib-pick");
    const label = make("label", { htmlFor: id });
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint` });
    complaint.setAttribute("role", "alert");
    const onOff = model.get("switch");
    const field = onOff ? make("input", { type: "checkbox", id }) : make("select", { id });
    field.setAttribute("data-lm-suppress-shortcuts", "true");
    field.setAttribute("aria-describedby", complaint.id);
    const state = make("span", { className: "gainlib-pick-state" });
    state.setAttribute("aria-hidden", "true");
    const beside = make("span", { className: "gainlib-pick-field" });
    beside.append(field, ...(onOff ? [state] : []));
    el.append(label, beside, complaint);
    const update = () => {
      label.textContent = model.get("label");
      field.setAttribute("aria-label", model.get("name"));
      const chosen = model.get("chosen");
      if (onOff) {
        field.checked = chosen === 1;
        state.textContent = model.get("options")[chosen];
      } else {
        field.replaceChildren(...model.get("options").map((text, value) => make("option", { value, text })));
        field.value = chosen;
      }
      complaint.textContent = model.get("complaint");
    };
    const turns = window.gainlib.turns(model, el);
    field.addEventListener("change", () => {
      model.set("complaint", "");
      model.set("chosen", onOff ? Number(field.checked) : Number(field.value));
      turns.send();
      update();
    });
    const followed = ["chosen", "options", "label", "name", "complaint"];
    followed.forEach((name) => model.on(`change:${name}`, update));
    update();
    return () => {
      followed.forEach((name) => model.off(`change:${name}`, update));
      turns.stop();
    };
  },
};
