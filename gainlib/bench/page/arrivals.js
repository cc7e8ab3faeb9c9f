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

  // Where no kernel hears it any more nothing is sent; the headline says so.
  tell(model, content) {
    try {
      model.send(content);
    } catch (fault) {
      console.info("gainlib: not sent", content.kind, String(fault));
    }
  },
});
