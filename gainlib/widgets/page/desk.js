// Check and hint buttons, the hints that were taken, and the verdict with a word and a shape for each check.
const PATIENCE_MS = 10_000;
const BUSY = "The kernel has not answered for some seconds: it is busy with another cell, or gone. Wait for it, or run the "
  + "cell above again.";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-desk");
    const make = (tag, className = "", text = "") =>
      Object.assign(document.createElement(tag), { className, textContent: text });
    const row = make("div", "gainlib-desk-row");
    const check = make("button", "gainlib-check", "Check my answer");
    const hint = make("button");
    const hints = make("ol", "gainlib-hints");
    const verdict = make("div", "gainlib-verdict");
    for (const each of [check, hint]) {
      each.type = "button";
      each.setAttribute("data-lm-suppress-shortcuts", "true");
    }
    for (const each of [hints, verdict]) each.setAttribute("aria-live", "polite");
    const missing = make("p", "gainlib-missing");
    missing.setAttribute("role", "alert");
    row.append(check, hint);
    el.append(row, missing, hints, verdict);
    const offer = () => {
      hint.textContent = model.get("offer") || "No more hints";
      hint.disabled = !model.get("offer");
    };
    const told = () => hints.replaceChildren(...model.get("hints").map((text) => make("li", "", text)));
    const stale = () => verdict.classList.toggle("gainlib-stale", model.get("stale"));
    const lack = () => { missing.textContent = model.get("missing"); };
    const say = () => {
      const said = model.get("verdict");
      if (!said.head) return;
      const head = make("p", "gainlib-verdict-head");
      head.append(make("span", said.passed ? "gainlib-met" : "gainlib-not-met", said.passed ? "● " : "○ "), said.head);
      const lines = make("ul");
      for (const line of said.lines) {
        const item = make("li");
        const shape = make("span", line.passed ? "gainlib-met" : "gainlib-not-met", line.passed ? "● met" : "○ not met");
        item.append(shape, " ", make("strong", "", line.title), ` (${line.points}): ${line.sentence}`);
        lines.append(item);
      }
      const more = [...said.notes, ...(said.told ?? []), said.slip, said.hint].filter(Boolean).map((text) => make("p", "", text));
      const moved = make("p", "gainlib-moved", "You have changed your answer since; check again.");
      verdict.replaceChildren(head, lines, ...more, make("p", "gainlib-saved", model.get("saved")), moved);
      stale();
    };
    // What is asked for waits until the last move anywhere in this exercise has reached the kernel.
    // Then the next is asked for when this has been answered, and a second press meanwhile asks for nothing more.
    const waiting = new Set();
    let asked = Promise.resolve();
    const answer = (kind) => new Promise((resolve) => {
      let patience = 0;
      const done = () => {
        clearTimeout(patience);
        model.off("change:answered", done);
        resolve();
      };
      model.on("change:answered", done);
      patience = setTimeout(() => { missing.textContent = BUSY; done(); }, PATIENCE_MS);
      window.gainlib.tell(model, { kind });
    });
    const ask = (kind) => {
      if (waiting.has(kind)) return;
      waiting.add(kind);
      el.setAttribute("aria-busy", "true");
      asked = asked.then(async () => {
        await window.gainlib.arrived(el.closest(".gainlib-sitting"));
        await answer(kind);
        waiting.delete(kind);
        if (!waiting.size) el.removeAttribute("aria-busy");
      });
    };
    check.onclick = () => ask("check");
    hint.onclick = () => ask("hint");
    const followed = { offer, hints: told, verdict: say, saved: say, stale, missing: lack, answered: lack };
    for (const [name, update] of Object.entries(followed)) model.on(`change:${name}`, update);
    offer(); told(); say(); lack();
    return () => { for (const [name, update] of Object.entries(followed)) model.off(`change:${name}`, update); };
  },
};
