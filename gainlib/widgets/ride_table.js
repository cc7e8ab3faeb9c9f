// Breakpoints of a ride in a table of fields; a picture of the same bench places and drags them too.
import { follow, make, numberField, turns, typed, unread } from "./shared.js";

const PAUSE_MS = 1000;
const NONE = "No points yet: click here or in the picture to add one.";
const APART = 0.01; // seconds between two points at least

export default {
  render({ model, el }) {
    el.classList.add("gainlib-ride");
    const caption = make("caption", { textContent: model.get("label") });
    const heads = ["seconds", "gain, dB", ""].map((textContent) => make("th", { textContent, scope: "col" }));
    const body = make("tbody");
    const table = make("table", { "aria-label": model.get("name") }, caption, make("thead", {}, make("tr", {}, ...heads)), body);
    const add = make("button", { type: "button", textContent: "Add a point" });
    const complaint = make("p", { className: "gainlib-complaint", role: "alert" });
    const said = make("p", { className: "gainlib-unseen", role: "status" });
    el.append(table, add, complaint, said);

    const sent = turns(model, el, () => update());
    const { get } = sent;
    const round = (value, digits) => Number(value.toFixed(digits));
    const points = () => get("points").map((each) => [...each]);
    let editedAt = -Infinity;
    const complain = (words) => { complaint.textContent = words; };
    const refuse = (words) => {
      sent.send({ unread: words });
      complain(words);
    };
    const set = (to, begins = true) => {
      sent.send({ points: to, unread: "", ...(begins ? { stroke: get("stroke") + 1 } : {}) });
      complain("");
      show();
    };
    // Two columns of figures: how each is written, how far an arrow key goes, between which bounds it may be.
    const columns = [
      { name: "seconds", unit: "s", digits: 2, step: 0.1, bounds: () => [0, get("seconds")] },
      { name: "gain in dB", unit: "dB", digits: 1, step: 0.5, bounds: () => [get("low"), get("high")] },
    ];
    const written = (value, digits) => value.toFixed(digits).replace("-", "−");
    // What cannot be is refused in words; the points stay as they were.
    const change = (index, which, value, stamp) => {
      const to = points();
      if (!to[index]) return; // taken away meanwhile
      to[index][which] = value;
      const at = to.map(([seconds]) => seconds);
      if (at[index - 1] >= at[index]) return void refuse(`Point ${index + 1} must come later than point ${index}.`);
      if (at[index + 1] <= at[index]) return refuse(`Point ${index + 1} must come earlier than point ${index + 2}.`);
      const begins = stamp - editedAt > PAUSE_MS;
      editedAt = stamp;
      return set(to, begins);
    };
    const figure = (index, which) => {
      const { name, unit, digits, step, bounds } = columns[which];
      const now = () => written(get("points")[index]?.[which] ?? 0, digits);
      const whole = (value) => `${written(value, digits).replace(/\.0+$/, "")} ${unit}`;
      const made = numberField(now, (text) => {
        const fault = unread(text, unit, ...bounds(), whole);
        if (fault) refuse(`Point ${index + 1}: ${fault}`);
        else change(index, which, typed(text, unit), performance.now());
      });
      made.field.setAttribute("aria-label", `${get("name")}, point ${index + 1}, ${name}`);
      made.field.title = `Up and down arrow: by ${step} ${unit}`;
      made.field.addEventListener("keydown", (event) => {
        const sign = { ArrowUp: 1, ArrowDown: -1 }[event.key];
        if (!sign) return;
        event.preventDefault();
        const [low, high] = bounds();
        const from = typed(made.field.value, unit);
        const value = (Number.isNaN(from) ? get("points")[index][which] : from) + sign * step;
        change(index, which, round(Math.min(Math.max(value, low), high), 3), event.timeStamp);
        made.put();
      });
      return made;
    };
    const rows = [];
    const row = (index) => {
      const figures = [figure(index, 0), figure(index, 1)];
      const away = make("button", { type: "button", textContent: "Remove", onclick: () => remove(index) });
      away.setAttribute("aria-label", `Remove point ${index + 1} of ${get("name")}`);
      const inside = [...figures.map((each) => each.field), away];
      return { figures, line: make("tr", {}, ...inside.map((each) => make("td", {}, each))) };
    };
    const none = make("tr", { className: "gainlib-ride-empty" }, make("td", { colSpan: 3, textContent: NONE }));
    none.onclick = () => add.click();
    // Rows are added and taken away at the end, and filled anew: what is being typed in stays where it is.
    const show = () => {
      while (rows.length > get("points").length) rows.pop().line.remove();
      none.remove();
      rows.forEach(({ figures }) => figures.forEach((each) => each.show()));
      while (rows.length < get("points").length) {
        rows.push(row(rows.length));
        body.append(rows.at(-1).line);
        rows.at(-1).figures.forEach((each) => each.put());
      }
      if (!rows.length) body.append(none);
    };
    const remove = (index) => {
      set(points().filter((_, each) => each !== index));
      (body.rows[Math.min(index, body.rows.length - 1)]?.querySelector("button") ?? add).focus();
      said.textContent = `Point ${index + 1} removed.`;
    };
    const place = (seconds, gain) => {
      const to = points();
      const at = round(Math.min(Math.max(seconds, 0), get("seconds")), 3);
      if (to.some(([each]) => Math.abs(each - at) < APART)) return -1;
      const index = to.filter(([each]) => each < at).length;
      to.splice(index, 0, [at, round(Math.min(Math.max(gain, get("low")), get("high")), 1)]);
      set(to);
      return index;
    };
    add.onclick = () => {
      const now = get("points");
      const last = now.at(-1);
      const room = last ? get("seconds") - last[0] : get("seconds");
      const index = !last ? place(0, 0) : room > 0.1 ? place(last[0] + Math.min(1, room), last[1])
        : place((now[0][0] + last[0]) / 2, last[1]);
      if (index < 0) return complain("There is no room for another point here; move one first.");
      body.rows[index]?.querySelector("input").focus();
      said.textContent = `Point ${index + 1} added.`;
    };
    let held = -1;
    const drawn = ({ detail }) => {
      if (detail.channel !== get("channel")) return;
      if (detail.act === "hold") {
        held = detail.index;
        sent.send({ stroke: get("stroke") + 1 });
      }
      if (detail.act === "place") held = place(detail.seconds, detail.gain_db);
      if (detail.act === "remove") {
        set(points().filter((_, each) => each !== detail.index));
        held = -1;
      }
      if (detail.act === "drag" && held >= 0 && held < get("points").length) {
        const to = points();
        const least = held ? to[held - 1][0] + APART : 0;
        const most = held + 1 < to.length ? to[held + 1][0] - APART : get("seconds");
        to[held] = [
          round(Math.min(Math.max(detail.seconds, least), most), 3),
          round(Math.min(Math.max(detail.gain_db, get("low")), get("high")), 1),
        ];
        set(to, false);
      }
    };
    const update = () => {
      show();
      complain(get("unread") || get("complaint"));
    };
    const stops = [
      follow(model, ["points", "complaint"], update),
      follow(model, ["label"], () => { caption.textContent = get("label"); }),
    ];
    window.addEventListener("gainlib-ride", drawn);
    show();
    return () => {
      stops.forEach((stop) => stop());
      sent.stop();
      window.removeEventListener("gainlib-ride", drawn);
    };
  },
};
