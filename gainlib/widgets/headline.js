// The sentence above a bench, announced when a move has ended; and the message when no kernel answers the bench.
import { GO_ON, follow, make, players, stands, tell, whenGone, whenInside } from "./shared.js";

const SETTLED_MS = 700;
const PATIENCE_MS = 8000;
const GONE = "No kernel answers this bench: it was stopped or restarted, or the notebook was opened without one. "
  + `What you see is the last picture. ${GO_ON}`;
const BUSY = "The kernel is busy with another cell: it has not answered for some seconds. What you moved follows when it is free.";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-headline");
    const what = make("strong");
    const advice = make("span");
    const line = make("p", { className: "gainlib-headline-line" }, what, " ", advice);
    const title = make("p", { className: "gainlib-title" });
    const message = make("p", { className: "gainlib-message", role: "alert", hidden: true });
    const spoken = make("div", { className: "gainlib-unseen", role: "status", "aria-live": "polite" });
    el.append(message, title, line, spoken);
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

    const show = (words) => { message.textContent = words; message.hidden = !words; };
    const fields = (bench) => bench?.querySelectorAll("input, button, select, textarea") ?? [];
    let gone = false;
    let bench = null;
    const hold = () => {
      for (const each of fields(bench)) if (!each.disabled) { each.disabled = true; each.dataset.gainlibHeld = "1"; }
      for (const each of players.values()) if (each.bench === bench) each.stop?.();
    };
    const free = () => {
      for (const each of fields(bench)) if (each.dataset.gainlibHeld) { each.disabled = false; delete each.dataset.gainlibHeld; }
    };
    const told = (now) => {
      gone = now;
      bench.classList.toggle("gainlib-gone", now);
      (now ? hold : free)();
      show(now ? GONE : "");
    };
    // Other parts of the bench may be drawn after this one.
    const soon = [100, 1000, 3000].map((after) => setTimeout(() => { if (gone) hold(); }, after));

    // A kernel that died without a word is found out by asking, once after each move.
    let patience = 0;
    const ask = () => {
      if (gone || patience) return;
      tell(model, { kind: "there" });
      patience = setTimeout(() => { patience = 0; if (!gone) show(BUSY); }, PATIENCE_MS);
    };
    const heard = (content) => {
      if (content.kind !== "here") return;
      clearTimeout(patience);
      patience = 0;
      if (!gone) show("");
    };
    const stops = [
      stands(model, el),
      whenInside(el, ".gainlib-bench", (found) => {
        bench = found;
        bench.addEventListener("change", ask);
      }),
      whenGone(el, ".gainlib-bench", told),
      follow(model, ["what", "advice", "title", "trouble"], update),
    ];
    model.on("msg:custom", heard);
    update();
    return () => {
      stops.forEach((stop) => stop());
      [timer, patience, ...soon].forEach(clearTimeout);
      bench?.removeEventListener("change", ask);
      model.off("msg:custom", heard);
    };
  },
};
