// Every ladder in a row: what is heard now in words, the runs by day as a picture, and the button that runs it.
import { drawn, follow, make, stands, tell } from "./shared.js";

const WIDTH = 300;
const HEIGHT = 78;
const EDGE = 12;
const FOOT = 14; // for the days below
const DAY_MS = 86_400_000;
const LEAST_DAYS = 14;

// Up is clearer, down is finer; each run stands at its day with what it is sure of.
function picture(row, first, days) {
  const x = (day) => EDGE + ((Date.parse(day) - first) / DAY_MS / days) * (WIDTH - 2 * EDGE);
  const y = (rung) => EDGE + (Math.max(0, Math.min(row.rungs - 1, rung)) / (row.rungs - 1)) * (HEIGHT - 2 * EDGE - FOOT);
  const frame = [0, row.rungs - 1].map((rung) => drawn(
    "line", { x1: 0, x2: WIDTH, y1: y(rung), y2: y(rung), class: "gainlib-ladder-row" },
  ));
  const marks = row.runs.flatMap((run) => {
    const at = { x1: x(run.day), x2: x(run.day), y1: y(run.rung - run.error), y2: y(run.rung + run.error) };
    const dot = drawn("circle", { cx: x(run.day), cy: y(run.rung), r: 4, class: "gainlib-ladder-right" });
    dot.append(drawn("title", {}, run.said));
    return [drawn("line", { ...at, class: "gainlib-ear-sure" }), dot];
  });
  const ends = row.runs.length > 1 ? [row.runs[0], row.runs.at(-1)] : row.runs;
  const apart = ends.length < 2 || x(ends[1].day) - x(ends[0].day) > 50;
  const labels = (apart ? ends : ends.slice(-1)).map((run) => drawn(
    "text", { x: Math.min(x(run.day), WIDTH - 20), y: HEIGHT - 3, "text-anchor": "middle" }, run.label,
  ));
  const path = drawn("polyline", {
    points: row.runs.map((run) => `${x(run.day)},${y(run.rung)}`).join(" "), class: "gainlib-ladder-path",
  });
  const svg = drawn("svg", { width: WIDTH, height: HEIGHT, role: "img" }, ...frame, path, ...marks, ...labels);
  svg.setAttribute("aria-label", row.runs.map((run) => run.said).join("; "));
  return svg;
}

export default {
  render({ model, el }) {
    el.classList.add("gainlib-ear");
    const sentence = make("p", { className: "gainlib-verdict-head", role: "status" });
    const list = make("div", { className: "gainlib-ear-rows" });
    const key = make("p", { className: "gainlib-note" });
    el.append(sentence, list, key);
    const show = () => {
      sentence.textContent = model.get("sentence");
      const rows = model.get("rows");
      const every = rows.flatMap((row) => row.runs.map((run) => Date.parse(run.day)));
      const first = Math.min(...every);
      const days = Math.max(LEAST_DAYS, (Math.max(...every) - first) / DAY_MS);
      list.replaceChildren(...rows.map((row) => {
        const next = row.name === model.get("next");
        const run = make("button", { type: "button", textContent: next ? "Run it now" : "Run it", className: next ? "gainlib-check" : "" });
        run.setAttribute("aria-label", `${run.textContent}: ${row.title}`);
        run.onclick = () => tell(model, { kind: "open", name: row.name });
        const words = make("div", {}, make("strong", {}, row.title), make("p", {}, row.said));
        const days_ = make("div", { className: "gainlib-ladder-track" }, ...(row.runs.length ? [picture(row, first, days)] : []));
        return make("div", { className: "gainlib-ear-row" }, words, days_, run);
      }));
      key.textContent = every.length
        ? "Each dot is a run, at its day; the stroke is how sure it is. The upper line is the first rung, the lower one the last, the finest." : "";
    };
    show();
    const stops = [stands(model, el), follow(model, ["sentence", "rows", "next"], show)];
    return () => stops.forEach((stop) => stop());
  },
};
