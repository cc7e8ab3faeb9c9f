// Undo, redo, reset, two kept settings and the settings as text: by button, and by key anywhere on the bench.
import { alongRow, arrived, follow, make, tell, unfold, unfolding, whenInside } from "./shared.js";

const typing = (target) => target.matches("select, textarea, input:not([type=range]):not([type=checkbox])");

export default {
  render({ model, el }) {
    el.classList.add("gainlib-toolbar");
    el.setAttribute("role", "toolbar");
    el.setAttribute("aria-label", "Settings: take back, compare, copy");
    const get = (name) => model.get(name);
    const said = make("p", { className: "gainlib-said", role: "status" });
    const keys = new Map();
    const button = (text, key, does) => {
      const made = make("button", { type: "button", textContent: text, onclick: does });
      made.setAttribute("aria-keyshortcuts", key.length > 1 ? `Shift+${key.at(-1)}` : key);
      // What was used by its key is seen from then on.
      keys.set(key, () => { if (more.contains(made)) unfold(); does(); });
      return made;
    };
    // What is asked for waits until the last move has reached the kernel.
    let asked = Promise.resolve();
    const ask = (kind) => { asked = asked.then(() => arrived(bench)).then(() => tell(model, { kind })); };
    const undo = button("Undo", "u", () => ask("undo"));
    const redo = button("Redo", "Shift+u", () => ask("redo"));
    const keeps = { A: button("Keep as A", "t", () => ask("keep A")), B: button("Keep as B", "Shift+t", () => ask("keep B")) };
    const other = button("Compare A and B", "g", () => ask("other"));
    const copy = button("Copy as text", "w", () => ask("copy"));
    const reset = make("button", {
      type: "button", textContent: "Reset", title: "Every control back to where it started", onclick: () => ask("reset"),
    });
    const names = { undo: "Undo", redo: "Redo" };
    const unfolds = unfolding();
    const more = make("div", { className: "gainlib-more" }, redo, keeps.A, keeps.B, other, copy);
    // The keys of what is folded away are told with it.
    const told_keys = make("p", { className: "gainlib-keys" }, "Keys: p play · q before or after · u undo · "
      + "arrows along this row · Shift + arrow: finest step · Delete: back to its start", make("span", { className: "gainlib-more" },
      " · Shift + u redo · t, Shift + t keep as A, B · g compare · w copy"));
    const text = make("textarea", { readOnly: true, hidden: true, rows: 5, className: "gainlib-settings-text" });
    text.setAttribute("aria-label", "The settings as text");
    el.append(make("div", { className: "gainlib-now" }, undo, reset, unfolds.button), more, said, text, told_keys);
    alongRow(el);

    const show = () => {
      for (const [each, name] of [[undo, "undo"], [redo, "redo"]]) {
        each.disabled = !get(name);
        each.title = get(name) ? `${names[name]}: ${get(name)} (key ${name === "undo" ? "u" : "Shift+u"})` : "";
      }
      const kept = get("kept");
      for (const slot of ["A", "B"]) keeps[slot].setAttribute("aria-pressed", String(kept.includes(slot)));
      other.disabled = kept.length < 2;
      const at = get("at");
      other.textContent = kept.length < 2 ? "Compare A and B" : at ? `Now ${at}: go to ${at === "A" ? "B" : "A"}` : "Go to A";
    };
    // How the bench came to stand so, until something is moved; what a button says comes after it.
    const note = () => { said.textContent = get("note"); };
    const told = async (message) => {
      if (message.kind === "say") said.textContent = message.text;
      if (message.kind !== "text") return;
      text.value = message.text;
      text.hidden = false;
      text.rows = Math.min(message.text.split("\n").length + 1, 14);
      try {
        await navigator.clipboard.writeText(message.text);
        said.textContent = "The settings are copied as text; they stand below too.";
      } catch {
        said.textContent = "The settings as text stand below: select and copy them.";
        text.focus();
        text.select();
      }
    };
    const pressed = (event) => {
      if (event.ctrlKey || event.metaKey || event.altKey || typing(event.target)) return;
      const key = event.shiftKey ? `Shift+${event.key.toLowerCase()}` : event.key;
      const player = event.shiftKey ? null : [...bench.querySelectorAll(".gainlib-player button")]
        .find((each) => each.getAttribute("aria-keyshortcuts") === key);
      const does = keys.get(key) ?? (player && (() => player.click()));
      if (!does || bench.classList.contains("gainlib-gone")) return;
      event.preventDefault();
      // Asked for even where the button is off: the kernel says why not, and a quick second press is not lost.
      does();
    };
    let bench = null;
    const stops = [
      whenInside(el, ".gainlib-bench", (found) => {
        bench = found;
        bench.addEventListener("keydown", pressed);
      }),
      unfolds.stop,
      follow(model, ["undo", "redo", "kept", "at"], show),
      follow(model, ["note"], note),
    ];
    model.on("msg:custom", told);
    show();
    note();
    return () => {
      stops.forEach((stop) => stop());
      bench?.removeEventListener("keydown", pressed);
      model.off("msg:custom", told);
    };
  },
};
