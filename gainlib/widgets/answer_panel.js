// Check and hint buttons, the hints that were taken, and the verdict with a word and a shape for each check.
import { GO_ON, arrived, bring, follow, make, tell, whenGone } from "./shared.js";

const PATIENCE_MS = 10_000;
const LONGEST_MS = 120_000; // an answer that is judged before its last move arrived costs an attempt
const BUSY = "The kernel has not answered for some seconds: it is busy with another cell. What you "
  + "asked for follows when it is free.";
const GONE = `No kernel answers, so nothing can be checked. ${GO_ON}`;

export default {
  render({ model, el }) {
    el.classList.add("gainlib-answer");
    const check = make("button", { type: "button", className: "gainlib-check", textContent: "Check my answer" });
    const hint = make("button", { type: "button" });
    const hints = make("ol", { className: "gainlib-hints", "aria-live": "polite" });
    const verdict = make("div", { className: "gainlib-verdict", "aria-live": "polite" });
    const missing = make("p", { className: "gainlib-missing", role: "alert" });
    const row = make("div", { className: "gainlib-answer-row" }, check, hint);
    el.append(row, missing, hints, verdict);
    const offer = () => {
      const done = model.get("verdict").passed ? "No hint is needed" : "No more hints";
      hint.textContent = model.get("offer") || done;
      hint.disabled = !model.get("offer");
    };
    const taken = () => hints.replaceChildren(...model.get("hints").map((textContent) => make("li", { textContent })));
    const stale = () => verdict.classList.toggle("gainlib-stale", model.get("stale"));
    const lack = () => { missing.textContent = model.get("missing"); };
    const met = (passed, text) => make("span", { className: passed ? "gainlib-met" : "gainlib-not-met", textContent: text });
    const say = () => {
      const said = model.get("verdict");
      if (!said.head) return;
      const head = make("p", { className: "gainlib-verdict-head" }, met(said.passed, said.passed ? "● " : "○ "), said.head);
      const lines = said.lines.map((line) => make(
        "li", {}, met(line.passed, line.passed ? "● met" : "○ not met"), " ", make("strong", {}, line.title),
        ` (${line.points}): ${line.sentence}`,
      ));
      const more = [...said.notes, ...(said.told ?? []), said.slip, said.hint].filter(Boolean);
      verdict.replaceChildren(
        head, make("ul", {}, ...lines), ...more.map((textContent) => make("p", { textContent })),
        make("p", { className: "gainlib-saved", textContent: model.get("saved") }),
        make("p", { className: "gainlib-moved", textContent: "You have changed your answer since; check again." }),
      );
      stale();
    };
    // What is asked for waits until the last move anywhere in this exercise has reached the kernel.
    // Then the next is asked for when this has been answered, and a second press meanwhile asks for nothing more: one
    // after BUSY only says the same again, and the kernel answers it once.
    const waiting = new Set();
    let asked = Promise.resolve();
    let again = null;
    let leave = null;
    const answer = (kind) => new Promise((resolve) => {
      const after = model.get("answered");
      let patience = 0;
      const send = () => {
        again = null;
        patience = setTimeout(() => { missing.textContent = BUSY; again = send; }, PATIENCE_MS);
        tell(model, { kind, after });
      };
      leave = () => {
        clearTimeout(patience);
        again = leave = null;
        stop();
        resolve();
      };
      const stop = follow(model, ["answered"], leave);
      send();
    });
    const ask = (kind) => {
      again?.();
      if (waiting.has(kind)) return;
      waiting.add(kind);
      el.setAttribute("aria-busy", "true");
      asked = asked.then(async () => {
        const patience = setTimeout(() => { missing.textContent = BUSY; }, PATIENCE_MS);
        await arrived(el.closest(".gainlib-exercise"), LONGEST_MS);
        clearTimeout(patience);
        await answer(kind);
        // What came stands below the buttons, and so perhaps below the window; the focus stays on the button.
        requestAnimationFrame(() => bring(row, kind === "hint" ? hints : verdict));
        waiting.delete(kind);
        if (!waiting.size) el.removeAttribute("aria-busy");
      });
    };
    check.onclick = () => ask("check");
    hint.onclick = () => ask("hint");
    const followed = { offer, hints: taken, verdict: () => { say(); offer(); }, saved: say, stale, missing: lack, answered: lack };
    const stops = Object.entries(followed).map(([name, update]) => follow(model, [name], update));
    offer(); taken(); say(); lack();
    stops.push(whenGone(el, ".gainlib-exercise", (gone) => {
      leave?.();
      missing.textContent = gone ? GONE : "";
      check.disabled = hint.disabled = gone;
      if (!gone) offer();
    }));
    return () => stops.forEach((stop) => stop());
  },
};
