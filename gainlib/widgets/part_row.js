// Which part of a long take is worked on: a slider over its length, the loudest half minute, and all of it when asked.
import { follow, make, tell } from "./shared.js";

export default {
  render({ model, el }) {
    el.classList.add("gainlib-part-row");
    const get = (name) => model.get(name);
    const words = make("span", { className: "gainlib-part-words", role: "status" });
    const from = make("input", { type: "range", min: 0, step: 1, className: "gainlib-seek" });
    from.setAttribute("aria-label", "Where the part begins");
    const loudest = make("button", { type: "button", textContent: "Loudest part" });
    const all = make("button", { type: "button" });
    const complaint = make("p", { className: "gainlib-complaint", role: "alert" });
    el.append(words, from, loudest, all, complaint);
    const clock = (seconds) => {
      const whole = Math.round(seconds);
      const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, String(whole % 60).padStart(2, "0")];
      return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
    };
    const said = () => { from.setAttribute("aria-valuetext", `from ${clock(Number(from.value))}`); };
    // While it is dragged the place is told; the part is rendered where it is let go.
    from.oninput = () => { words.textContent = `From ${clock(Number(from.value))} …`; said(); };
    from.onchange = () => tell(model, { kind: "from", start: Number(from.value) });
    loudest.onclick = () => tell(model, { kind: "loudest" });
    all.onclick = () => { all.disabled = true; tell(model, { kind: "all" }); };
    const show = () => {
      const busy = get("done") < 1;
      from.max = Math.max(0, get("longest") - get("seconds"));
      from.value = get("start");
      from.hidden = get("whole");
      words.textContent = get("words");
      all.hidden = get("whole") && !busy;
      all.disabled = busy;
      all.textContent = busy ? `Rendering all: ${Math.round(get("done") * 100)} %` : get("offer");
      complaint.textContent = get("complaint");
      said();
    };
    show();
    return follow(model, ["words", "start", "seconds", "longest", "whole", "offer", "done", "complaint"], show);
  },
};
