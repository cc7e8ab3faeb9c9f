// The three sounds of a trial as three buttons, what the last answer was worth, and the run as a picture.
import { drawn, follow, make, tell, whenGone } from "./shared.js";

const ROW_PX = 16;
const TRIAL_PX = 14;
const NAMES_PX = 78;

// A row for each rung, the clearest on top, and along it the trials: filled where the answer was right, open where not.
function picture(steps, run) {
  const width = NAMES_PX + TRIAL_PX * Math.max(run.length + 1, 24);
  const height = ROW_PX * steps.length;
  const y = (rung) => ROW_PX * (rung + 0.5);
  const rows = steps.map((text, rung) => [
    drawn("line", { x1: NAMES_PX, x2: width, y1: y(rung), y2: y(rung), class: "gainlib-ladder-row" }),
    drawn("text", { x: NAMES_PX - 8, y: y(rung) + 4, "text-anchor": "end" }, text),
  ]);
  const at = run.map(([rung], index) => [NAMES_PX + TRIAL_PX * (index + 0.8), y(rung)]);
  const path = drawn("polyline", { points: at.map((each) => each.join(",")).join(" "), class: "gainlib-ladder-path" });
  const dots = run.map(([, right], index) => drawn(
    "circle", { cx: at[index][0], cy: at[index][1], r: 4, class: right ? "gainlib-ladder-right" : "gainlib-ladder-wrong" },
  ));
  const svg = drawn("svg", { width, height, role: "img" }, ...rows.flat(), path, ...dots);
  const right = run.filter((each) => each[1]).length;
  svg.setAttribute("aria-label", `The run: ${run.length} trials, ${right} right.`);
  return svg;
}

export default {
  render({ model, el }) {
    el.classList.add("gainlib-ladder");
    const question = make("legend", { textContent: model.get("question") });
    const buttons = [1, 2, 3].map((number) => {
      const made = make("button", { type: "button", textContent: String(number) });
      made.setAttribute("aria-label", `${number}: ${model.get("question")}`);
      made.setAttribute("aria-keyshortcuts", String(number));
      return made;
    });
    const picks = make("div", { className: "gainlib-ladder-picks" }, ...buttons);
    const said = make("p", { className: "gainlib-ladder-said", role: "status" });
    const progress = make("p", { className: "gainlib-ladder-progress" });
    const result = make("div", { className: "gainlib-ladder-result", "aria-live": "polite" });
    const again = make("button", { type: "button", textContent: "Run it again" });
    const track = make("div", { className: "gainlib-ladder-track" });
    const key = make("p", { className: "gainlib-ladder-progress", textContent: "● right  ○ wrong; each row is a rung, the clearest on top." });
    const box = make("fieldset", {}, question, picks, said, progress, result, track, key);
    el.append(box);
    let waiting = -1;
    const pick = (number) => {
      // One answer a trial, whatever is pressed until the kernel has heard it.
      if (model.get("result").length || waiting === model.get("trial")) return;
      waiting = model.get("trial");
      tell(model, { kind: "pick", interval: number, trial: waiting });
    };
    buttons.forEach((each, index) => { each.onclick = () => pick(index + 1); });
    again.onclick = () => { waiting = -1; tell(model, { kind: "again" }); };
    // The figures are heard in the whole exercise, also where Play has the focus.
    const pressed = (event) => {
      if (!["1", "2", "3"].includes(event.key) || event.ctrlKey || event.metaKey || event.altKey) return;
      if (!event.target.closest?.(".gainlib-exercise")?.contains(el) || event.target.matches("input[type=text]")) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      pick(Number(event.key));
    };
    window.addEventListener("keydown", pressed, true);
    const heard = ({ detail }) => {
      if (detail.channel !== model.get("channel")) return;
      model.get("intervals").forEach(([begin, end], index) => {
        buttons[index].classList.toggle("gainlib-sounds", detail.seconds >= begin && detail.seconds < end);
      });
    };
    window.addEventListener("gainlib-position", heard);
    const show = () => {
      const ended = model.get("result").length > 0;
      said.textContent = model.get("said") || "Press Play, listen to all three, then pick. The keys 1, 2 and 3 do it too.";
      progress.textContent = ended ? "" : model.get("progress");
      const [head, ...rest] = model.get("result");
      result.replaceChildren(...(ended ? [
        make("p", { className: "gainlib-verdict-head", textContent: head }),
        ...rest.map((textContent) => make("p", { textContent })),
        make("p", { className: "gainlib-saved", textContent: model.get("saved") }), again,
      ] : []));
      picks.hidden = ended;
      buttons.forEach((each) => { each.disabled = ended; });
      // The names of the rungs tell how far it is; before the end the picture would be looked at, and not listened to.
      track.hidden = key.hidden = !ended;
      track.replaceChildren(...(ended ? [picture(model.get("steps"), model.get("run"))] : []));
    };
    const stops = [
      follow(model, ["trial", "result", "saved", "said", "progress", "run"], show),
      whenGone(el, ".gainlib-exercise", (gone) => buttons.forEach((each) => { each.disabled = gone || model.get("result").length > 0; })),
    ];
    show();
    return () => {
      window.removeEventListener("keydown", pressed, true);
      window.removeEventListener("gainlib-position", heard);
      stops.forEach((stop) => stop());
    };
  },
};
