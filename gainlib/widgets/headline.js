// The sentence above a bench, announced when a move has ended; and the message when no kernel answers the bench.
import { GO_ON, bring, follow, inView, make, players, scroller, stands, tell, whenGone, whenInside } from "./shared.js";

const SETTLED_MS = 700;
const PATIENCE_MS = 8000;
const GONE = "No kernel answers this bench: it was stopped or restarted, or the notebook was opened without one. "
  + `What you see is the last picture. ${GO_ON}`;
const BUSY = "The kernel is busy with another cell: it has not answered for some seconds. What you moved follows when it is free.";

const SHARE = 0.4; // of the window, at most, is kept for the controls while the further pictures are looked at
const CONTROLS = ".gainlib-below, .gainlib-beside";
const ASIDE = 8; // px that a control keeps from the edge beyond which nothing is seen

// Picture and control stay on screen together: headline and controls stay at the top while the further pictures go by, and
// a control that is reached by key brings its picture along. Where the window is narrower than the stages, picture and
// controls are moved sideways as one.
function together(bench, headline) {
  const part = (selector) => bench.querySelector(selector);
  let brought = 0; // how wide the window of the stages was when the controls were last brought into it
  const fit = () => {
    const [strip, below, beside] = [".gainlib-strip", ".gainlib-below", ".gainlib-beside"].map(part);
    const tall = (each) => each?.getBoundingClientRect().height ?? 0;
    const room = tall(headline) + tall(below) + tall(beside);
    const others = bench.querySelectorAll(":scope > .gainlib-picture").length;
    const { top, bottom } = scroller(bench);
    bench.classList.toggle("gainlib-stays", Boolean(strip) && others > 0 && room < SHARE * (bottom - top));
    if (strip) {
      const least = parseFloat(getComputedStyle(strip).getPropertyValue("--gainlib-least")) || 0;
      const narrow = strip.clientWidth < least;
      strip.classList.toggle("gainlib-narrow", narrow);
      const controls = narrow ? [...below?.querySelectorAll("input, select") ?? []].map((each) => each.getBoundingClientRect()) : [];
      if (controls.length && brought !== strip.clientWidth) {
        // All controls, or from the first on as many as there is room for.
        const { left, right } = strip.getBoundingClientRect();
        const beyond = Math.max(...controls.map((each) => each.right)) - right;
        const before = Math.min(...controls.map((each) => each.left)) - left;
        if (beyond > 0 || before < 0) strip.scrollLeft += Math.min(beyond + ASIDE, before - ASIDE);
      }
      brought = controls.length ? strip.clientWidth : 0;
      strip.style.setProperty("--gainlib-top", `${tall(headline) + tall(below) - tall(strip)}px`);
    }
    beside?.style.setProperty("--gainlib-top", `${tall(headline) + tall(below)}px`);
    // At the bench's end all of them leave together, and none goes under the one above it.
    bench.style.setProperty("--gainlib-under-headline", `${tall(below) + tall(beside)}px`);
    bench.style.setProperty("--gainlib-under-strip", `${tall(beside)}px`);
  };
  const watch = new ResizeObserver(() => requestAnimationFrame(fit));
  const look = () => {
    watch.disconnect();
    for (const each of [bench, headline, ...bench.querySelectorAll(`.gainlib-strip, ${CONTROLS}`)]) watch.observe(each);
    fit();
  };
  const grown = new MutationObserver(look);
  grown.observe(bench, { childList: true });
  const reached = ({ target, relatedTarget }) => {
    const controls = target.closest?.(CONTROLS);
    if (!controls || !target.matches(":focus-visible")) return;
    const pictures = [...bench.querySelectorAll(".gainlib-picture")];
    // Its own picture is whole; or, from one control of the bench to the next, gone under the headline whole while another
    // one is seen.
    const own = part(".gainlib-strip > .gainlib-picture")?.getBoundingClientRect();
    const edge = headline.getBoundingClientRect().bottom;
    const among = bench.contains(relatedTarget) && Boolean(relatedTarget.closest(CONTROLS));
    const covered = own && own.top < edge - 1 && (own.bottom > edge + 1 || !among);
    if (inView(target) && !covered && pictures.some((each) => inView(each))) return;
    bring(bench, controls);
  };
  bench.addEventListener("focusin", reached);
  window.addEventListener("resize", fit);
  look();
  return () => {
    watch.disconnect();
    grown.disconnect();
    bench.removeEventListener("focusin", reached);
    window.removeEventListener("resize", fit);
  };
}

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
    let apart = () => {};
    const stops = [
      () => apart(),
      stands(model, el),
      whenInside(el, ".gainlib-bench", (found) => {
        bench = found;
        bench.addEventListener("change", ask);
        apart = together(bench, el);
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
