// The sentence above a bench. It is shown at once and announced when a move has ended.
const SETTLED_MS = 700;

export default {
  render({ model, el }) {
    el.classList.add("gainlib-headline");
    const line = document.createElement("p");
    const what = document.createElement("strong");
    const advice = document.createElement("span");
    line.append(what, " ", advice);
    line.className = "gainlib-headline-line";
    const title = document.createElement("p");
    title.className = "gainlib-title";
    const spoken = document.createElement("div");
    spoken.className = "gainlib-unseen";
    spoken.setAttribute("role", "status");
    spoken.setAttribute("aria-live", "polite");
    el.append(title, line, spoken);
    let timer = 0;
    const update = () => {
      const trouble = model.get("trouble");
      line.classList.toggle("gainlib-trouble", trouble);
      // A number and its unit stay on one line.
      const joined = (name) => model.get(name).replace(/ (dBFS|dB|times)\b/g, "\u00a0$1");
      what.textContent = (trouble ? "▼ " : "") + joined("what");
      advice.textContent = joined("advice");
      title.textContent = model.get("title");
      title.hidden = !model.get("title");
      clearTimeout(timer);
      timer = setTimeout(() => { spoken.textContent = `${model.get("what")} ${model.get("advice")}`; }, SETTLED_MS);
    };
    const followed = ["what", "advice", "title", "trouble"];
    followed.forEach((name) => model.on(`change:${name}`, update));
    update();
    return () => {
      clearTimeout(timer);
      followed.forEach((name) => model.off(`change:${name}`, update));
    };
  },
};
