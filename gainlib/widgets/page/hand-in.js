// The button that hands in, and what it did; the notebook's shortcuts stay out while it has the focus.
export default {
  render({ model, el }) {
    el.classList.add("gainlib-desk");
    const who = document.createElement("p");
    const button = document.createElement("button");
    const said = document.createElement("div");
    button.type = "button";
    button.className = "gainlib-check";
    button.textContent = "Hand in my answers";
    button.setAttribute("data-lm-suppress-shortcuts", "true");
    said.setAttribute("role", "status");
    el.append(who, button, said);
    const show = () => {
      who.textContent = model.get("who");
      button.hidden = !model.get("may");
      button.disabled = false;
      said.replaceChildren(
        ...model.get("said").map((text) => Object.assign(document.createElement("p"), { textContent: text })),
      );
    };
    button.onclick = () => {
      button.disabled = true;
      model.send({ kind: "hand in" });
    };
    const followed = ["who", "may", "said", "done"];
    for (const each of followed) model.on(`change:${each}`, show);
    show();
    return () => { for (const each of followed) model.off(`change:${each}`, show); };
  },
};
