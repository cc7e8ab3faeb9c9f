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
    const changed = () => window.dispatchEvent(new CustomEvent("gainlib-class"));
    const look = () => tell(model, { kind: "look" }); // one may have entered a class
    window.addEventListener("gainlib-class", look);
    const ends = [
      follow(model, ["who", "may", "said", "done"], show),
      follow(model, ["done"], changed),
      () => window.removeEventListener("gainlib-class", look),
    ];
    return () => ends.forEach((end) => end());
  },
};
