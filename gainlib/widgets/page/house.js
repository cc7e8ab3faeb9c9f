// What the widgets of the course share in the page.
//
// What the page set and the kernel has not seen yet is marked, so that what is asked of the kernel can wait for it: a
// crowd of moves is sent with a delay, and a message of another widget would overtake the last of them.
Object.assign((window.gainlib ??= {}), {
  // Sends what was set on a model and marks `el` until the kernel has seen it.
  turns(model, el) {
    const seen = () => { if (model.get("seen") === model.get("turn")) delete el.dataset.gainlibWaiting; };
    model.on("change:seen", seen);
    return {
      send() {
        model.set("turn", model.get("turn") + 1);
        el.dataset.gainlibWaiting = "1";
        model.save_changes();
      },
      stop: () => model.off("change:seen", seen),
    };
  },

  // Comes back when nothing in `place` waits any more, after ten seconds at the latest.
  async arrived(place) {
    const latest = performance.now() + 10_000;
    while (place?.querySelector("[data-gainlib-waiting]") && performance.now() < latest) {
      await new Promise((resolve) => setTimeout(resolve, 15));
    }
  },

  // A number as it was typed: a comma or a point for decimals, any minus, its unit behind it; NaN for anything else.
  typed(text, unit = "") {
    const bare = text.replace(/[\s\u00a0\u202f]/g, "").replace(/[−–]/g, "-").replace(",", ".");
    const ending = unit.replace(/\s/g, "");
    const digits = ending && bare.toLowerCase().endsWith(ending.toLowerCase()) ? bare.slice(0, -ending.length) : bare;
    return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(digits) ? Number(digits) : NaN;
  },

  // Where no kernel hears it any more nothing is sent; the headline says so.
  tell(model, content) {
    try {
      model.send(content);
    } catch (fault) {
      console.info("gainlib: not sent", content.kind, String(fault));
    }
  },
});

// Notebook shortcuts of one letter (x cuts a cell) fire unless the focused element itself carries this attribute; with
// it Ctrl+S would not save either. The window hears a key before the notebook does, so it is put on for plain keys only.
window.gainlib.keysApart ??= (() => {
  const ours = ":is(.gainlib-bench, .gainlib-sitting, .gainlib-book) :is(input, button, select, textarea, summary)";
  window.addEventListener("keydown", (event) => {
    if (!event.target.matches?.(ours)) return;
    if (event.ctrlKey || event.metaKey) event.target.removeAttribute("data-lm-suppress-shortcuts");
    else event.target.setAttribute("data-lm-suppress-shortcuts", "true");
  }, true);
  return true;
})();
