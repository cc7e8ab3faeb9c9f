// What was predicted beside what is so: a button until it was predicted, and then the sentence.
import { follow, make, stands, tell } from "./shared.js";

export default {
  render({ model, el }) {
    const question = make("p", { className: "gainlib-comparison-question" });
    const offer = make("p", {}, "Answer it further up first, or ");
    const button = make("button", { type: "button", textContent: "Show me" });
    const said = make("p", { className: "gainlib-comparison-said", role: "status", tabIndex: -1 });
    // Shown by a page that holds the explanation back until then (page/).
    offer.append(button, make("span", { className: "gainlib-comparison-rest", textContent: " The explanation comes with it." }));
    el.append(make("div", { className: "gainlib-comparison" }, question, offer, said));
    button.onclick = () => tell(model, { kind: "show me" });
    const show = () => {
      const pressed = document.activeElement === button;
      question.textContent = model.get("question");
      said.textContent = model.get("sentence");
      offer.hidden = Boolean(said.textContent);
      if (pressed && offer.hidden) said.focus();
    };
    show();
    const stops = [stands(model, el), follow(model, ["question", "sentence"], show)];
    return () => stops.forEach((stop) => stop());
  },
};
