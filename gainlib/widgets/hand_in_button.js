// The button that hands in, and what it did.
import { follow, make, tell } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-answer");
    const who = make("p");
    const button = make("button", { type: "button", className: "gainlib-check", textContent: "Hand in my answers" });
    const said = make("div", { role: "status" });
    el.append(who, button, said);
    const show = () => {
      who.textContent = model.get("who");
      button.hidden = !model.get("may");
      button.disabled = false;
      said.replaceChildren(...model.get("said").map((textContent) => make("p", { textContent })));
    };
    button.onclick = () => {
      button.disabled = true;
      tell(model, { kind: "hand in" });
    };
    show();
    return follow(model, ["who", "may", "said", "done"], show);
  },
};
