// One of a few values: a native select, or a checkbox for what is only on or off.
import { follow, make, newId, turns } from "./shared.js";

export default {
  render({ model, el }) {
    const id = newId("pick");
    el.classList.add("gainlib-pick");
    const label = make("label", { htmlFor: id });
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint`, role: "alert" });
    const onOff = model.get("switch");
    const field = onOff ? make("input", { type: "checkbox", id }) : make("select", { id });
    field.setAttribute("aria-describedby", complaint.id);
    const state = make("span", { className: "gainlib-pick-state", "aria-hidden": "true" });
    el.append(label, make("span", { className: "gainlib-pick-field" }, field, ...(onOff ? [state] : [])), complaint);
    const sent = turns(model, el, () => update());
    const update = () => {
      label.textContent = model.get("label");
      field.setAttribute("aria-label", model.get("name"));
      const chosen = sent.get("chosen");
      if (onOff) {
        field.checked = chosen === 1;
        state.textContent = model.get("options")[chosen];
      } else {
        field.replaceChildren(...model.get("options").map((text, value) => make("option", { value, text })));
        field.value = chosen;
      }
      complaint.textContent = sent.get("complaint");
    };
    field.addEventListener("change", () => {
      sent.send({ chosen: onOff ? Number(field.checked) : Number(field.value), complaint: "" });
      update();
    });
    const stop = follow(model, ["chosen", "options", "label", "name", "complaint"], update);
    update();
    return () => {
      stop();
      sent.stop();
    };
  },
};
