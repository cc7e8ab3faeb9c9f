// Breakpoints of a ride in a table of native number inputs; a picture of the same bench places and drags them too.
import { follow, make, turns } from "./shared.js";

const PAUSE_MS = 1000;
const APART = 0.01; // seconds between two points at least

export default {
  render({ model, el }) {
    el.classList.add("gainlib-ride");
    const get = (name) => model.get(name);
    const caption = make("caption", { textContent: get("label") });
    const heads = ["seconds", "gain, dB", ""].map((textContent) => make("th", { textContent, scope: "col" }));
    const body = make("tbody");
    const table = make("table", { "aria-label": get("name") }, caption, make("thead", {}, make("tr", {}, ...heads)), body);
    const add = make("button", { type: "button", textContent: "Add a point" });
    const complaint = make("p", { className: "gainlib-complaint", role: "alert" });
    const said = make("p", { className: "gainlib-unseen", role: "status" });
    el.append(table, add, complaint, said);

    const round = (value, digits) => Number(value.toFixed(digits));
    const points = () => get("points").map((each) => [...each]);
    const stroke = () => model.set("stroke", get("stroke") + 1);
    const sent = turns(model, el);
    let editedAt = -Infinity;
    const complain = (words) => { complaint.textContent = words; };
    const set = (to) => {
      complain("");
      model.set("complaint", "");
      model.set("points", to);
      sent.send();
    };
    // What cannot be is refused in words; the points stay as they were.
    const refused = (to) => {
      const span = `give 0 to ${get("seconds").toFixed(2)} s`;
      for (const [index, [seconds, gain]] of to.entries()) {
        if (!Number.isFinite(seconds) || seconds < 0 || seconds > get("seconds")) return `Point ${index + 1}: ${span}.`;
        if (!Number.isFinite(gain) || gain < get("low") || gain > get("high")) {
          return `Point ${index + 1}: give ${get("low")} to +${get("high")} dB.`;
        }
        if (index && seconds <= to[index - 1][0]) return `Point ${index + 1} must come later than point ${index}.`;
      }
      return "";
    };
    const field = (index, which, name, step) => {
      const made = make("input", { type: "number", step, value: get("points")[index][which].toFixed(which ? 1 : 2) });
      made.setAttribute("aria-label", `${get("name")}, point ${index + 1}, ${name}`);
      made.addEventListener("change", (event) => {
        const to = points();
        to[index][which] = Number.parseFloat(made.value.replace(",", "."));
        const fault = refused(to);
        if (fault) {
          complain(fault);
          made.value = get("points")[index][which].toFixed(which ? 1 : 2);
          return;
        }
        if (event.timeStamp - editedAt > PAUSE_MS) stroke();
        editedAt = event.timeStamp;
        set(to);
      });
      made.addEventListener("keydown", (event) => { if (!event.ctrlKey && !event.metaKey) event.stopPropagation(); });
      return made;
    };
    const show = () => {
      const held = document.activeElement?.getAttribute("aria-label");
      const rows = get("points").map((_, index) => {
        const away = make("button", { type: "button", textContent: "Remove", onclick: () => remove(index) });
        away.setAttribute("aria-label", `Remove point ${index + 1} of ${get("name")}`);
        const inside = [field(index, 0, "seconds", 0.1), field(index, 1, "gain in dB", 0.5), away];
        return make("tr", {}, ...inside.map((each) => make("td", {}, each)));
      });
      const same = body.rows.length === rows.length;
      if (same && body.contains(document.activeElement)) {
        // A field in use is not taken away from under the fingers.
        [...body.querySelectorAll("input")].forEach((each, at) => {
          const now = get("points")[at >> 1][at & 1].toFixed(at & 1 ? 1 : 2);
          if (Number(each.value) !== Number(now)) each.value = now;
        });
        return;
      }
      body.replaceChildren(...rows);
      if (held) [...el.querySelectorAll("input, button")].find((each) => each.getAttribute("aria-label") === held)?.focus();
    };
    const remove = (index) => {
      stroke();
      set(points().filter((_, each) => each !== index));
      show();
      (body.rows[Math.min(index, body.rows.length - 1)]?.querySelector("button") ?? add).focus();
      said.textContent = `Point ${index + 1} removed.`;
    };
    const place = (seconds, gain) => {
      const to = points();
      const at = round(Math.min(Math.max(seconds, 0), get("seconds")), 3);
      if (to.some(([each]) => Math.abs(each - at) < APART)) return -1;
      const index = to.filter(([each]) => each < at).length;
      to.splice(index, 0, [at, round(Math.min(Math.max(gain, get("low")), get("high")), 1)]);
      stroke();
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
      show();
      body.rows[index]?.querySelector("input").focus();
      said.textContent = `Point ${index + 1} added.`;
    };
    let held = -1;
    const drawn = ({ detail }) => {
      if (detail.channel !== get("channel")) return;
      if (detail.act === "hold") { held = detail.index; stroke(); }
      if (detail.act === "place") held = place(detail.seconds, detail.gain_db);
      if (detail.act === "remove") { stroke(); set(points().filter((_, each) => each !== detail.index)); held = -1; }
      if (detail.act === "drag" && held >= 0 && held < get("points").length) {
        const to = points();
        const least = held ? to[held - 1][0] + APART : 0;
        const most = held + 1 < to.length ? to[held + 1][0] - APART : get("seconds");
        to[held] = [
          round(Math.min(Math.max(detail.seconds, least), most), 3),
          round(Math.min(Math.max(detail.gain_db, get("low")), get("high")), 1),
        ];
        set(to);
      }
    };
    const update = () => { show(); complain(get("complaint")); };
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
