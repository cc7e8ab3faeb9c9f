// A group of labelled fields, native inputs all, and buttons; what cannot be read is said below its field.
import { GO_ON, arrived, follow, make, newId, tell, turns, typed, whenGone } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-form");
    const id = newId("form");
    const heading = make("h3", { className: "gainlib-form-heading" });
    const box = make("div", { className: "gainlib-form-fields" });
    const said = make("p", { className: "gainlib-form-said", role: "status" });
    el.append(heading, box, said);
    const sent = turns(model, el, () => show());
    let shown = {}; // by the field's name: what brings it to a value
    const put = (name, value) => sent.send({ values: { ...sent.get("values"), [name]: value } });
    const press = async (name) => {
      said.textContent = "…";
      el.setAttribute("aria-busy", "true");
      await arrived(el.closest(".gainlib-writing"), 10_000);
      tell(model, { kind: "press", name });
    };

    const text = (field, tag) => {
      const input = make(tag, { id: `${id}-${field.name}`, autocomplete: "off", placeholder: field.hint ?? "" });
      if (tag === "textarea") input.rows = 3;
      input.addEventListener("change", () => put(field.name, input.value));
      input.addEventListener("keydown", (event) => { if (!event.ctrlKey && !event.metaKey) event.stopPropagation(); });
      shown[field.name] = (value) => { if (document.activeElement !== input) input.value = value ?? ""; };
      if (tag !== "input" || !field.options?.length) return input;
      const list = make("datalist", { id: `${input.id}-options` });
      list.append(...field.options.map((value) => make("option", { value })));
      input.setAttribute("list", list.id);
      return make("span", { className: "gainlib-form-proposed" }, input, list);
    };
    const number = (field, complaint) => {
      const input = make("input", { type: "text", inputMode: "decimal", id: `${id}-${field.name}`, autocomplete: "off" });
      const written = (value) => (value === null || value === undefined ? "" : String(value).replace("-", "−"));
      input.addEventListener("change", () => {
        const bare = input.value.trim();
        const value = bare ? typed(bare, field.unit ?? "") : null;
        complaint.textContent = Number.isNaN(value) ? `“${bare}” is not a number${field.unit ? ` in ${field.unit}` : ""}.` : "";
        if (!Number.isNaN(value)) put(field.name, value);
      });
      input.addEventListener("keydown", (event) => { if (!event.ctrlKey && !event.metaKey) event.stopPropagation(); });
      shown[field.name] = (value) => { if (document.activeElement !== input) input.value = written(value); };
      return make("span", { className: "gainlib-form-number" }, input, ` ${field.unit ?? ""}`);
    };
    const choice = (field) => {
      const input = make("select", { id: `${id}-${field.name}` });
      const named = field.options.map((option) => (Array.isArray(option) ? option : [option, option]));
      input.append(...named.map(([value, text]) => make("option", { value, text })));
      input.addEventListener("change", () => put(field.name, input.value));
      shown[field.name] = (value) => { input.value = value; };
      return input;
    };
    const tick = (field) => {
      const input = make("input", { type: "checkbox", id: `${id}-${field.name}` });
      input.addEventListener("change", () => put(field.name, input.checked));
      shown[field.name] = (value) => { input.checked = Boolean(value); };
      return input;
    };

    const part = (field) => {
      if (field.form === "heading") return make("h4", { className: "gainlib-form-group", textContent: field.label });
      if (field.form === "told") return make("p", { className: "gainlib-form-told", textContent: field.label });
      if (field.form === "button") {
        const button = make("button", { type: "button", textContent: field.label, disabled: model.get("busy") });
        if (field.name === model.get("fields").find((each) => each.main)?.name) button.classList.add("gainlib-check");
        button.onclick = () => press(field.name);
        return button;
      }
      const complaint = make("span", { className: "gainlib-complaint", role: "alert" });
      const label = make("label", { htmlFor: `${id}-${field.name}`, textContent: field.label });
      const made = { line: () => text(field, "input"), prose: () => text(field, "textarea"), number: () => number(field, complaint),
        choice: () => choice(field), tick: () => tick(field) }[field.form]();
      const kind = field.wide ? "wide" : field.form;
      const parts = field.form === "tick" ? [made, label] : [label, made];
      return make("div", { className: `gainlib-form-field gainlib-form-${kind}` }, ...parts, complaint);
    };
    const show = () => {
      const values = sent.get("values");
      Object.entries(shown).forEach(([name, update]) => update(values[name]));
    };
    // Buttons that stand behind one another share a row.
    const draw = () => {
      const held = document.activeElement?.id;
      shown = {};
      heading.textContent = model.get("heading");
      const parts = [];
      for (const field of model.get("fields")) {
        const made = part(field);
        const last = parts.at(-1);
        if (field.form !== "button") parts.push(made);
        else if (last?.classList.contains("gainlib-form-buttons")) last.append(made);
        else parts.push(make("div", { className: "gainlib-form-buttons" }, made));
      }
      box.replaceChildren(...parts);
      show();
      if (held?.startsWith(id)) document.getElementById(held)?.focus();
    };
    const say = () => {
      said.textContent = model.get("said");
      el.removeAttribute("aria-busy");
    };
    const busy = () => box.querySelectorAll("button").forEach((each) => { each.disabled = model.get("busy"); });
    draw(); say();
    const stops = [
      follow(model, ["fields", "heading"], draw), follow(model, ["values"], show), follow(model, ["said", "pressed_at"], say),
      follow(model, ["busy"], busy), sent.stop,
      whenGone(el, ".gainlib-writing", (gone) => { said.textContent = gone ? `No kernel answers. ${GO_ON}` : model.get("said"); }),
    ];
    return () => stops.forEach((stop) => stop());
  },
};
