// One question below a bench: a number with its unit, a choice, an order, or a moment; native inputs, complaints in words.
import { follow, make, newId, turns, typed } from "./shared.js";

export default {
  render({ model, el }) {
    const id = newId("question");
    const get = (name) => model.get(name);
    const sent = turns(model, el);
    el.classList.add("gainlib-question");
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint`, role: "alert" });
    const said = make("p", { className: "gainlib-question-said", id: `${id}-said`, role: "status" });
    const send = (name, value) => { model.set(name, value); sent.send(); };
    const clear = () => { complaint.textContent = ""; };
    const written = (value) => String(value).replace("-", "−");
    const whole = (value) => `${written(value)} ${get("unit")}`.trim();
    let show = () => {};
    let leave = () => {};

    // A number, or a moment in seconds.
    const number = () => {
      const field = make("input", { type: "text", id, inputMode: "decimal", autocomplete: "off", spellcheck: false });
      field.setAttribute("aria-describedby", `${complaint.id} ${said.id}`);
      const limits = `${whole(get("low"))} to ${whole(get("high"))}`;
      const read = () => {
        const value = typed(field.value, get("unit"));
        return Number.isFinite(value) && value >= get("low") && value <= get("high") ? value : null;
      };
      const complain = () => {
        const text = field.value.trim();
        const value = typed(text, get("unit"));
        if (!text || read() !== null) clear();
        else if (Number.isFinite(value)) complaint.textContent = `${whole(value)} is out of reach; give ${limits}.`;
        else complaint.textContent = `“${text}” is not a number${get("unit") ? ` in ${get("unit")}` : ""}; give ${limits}.`;
        if (complaint.textContent) field.setAttribute("aria-invalid", "true");
        else field.removeAttribute("aria-invalid");
        // A comma may be meant otherwise, so what it was taken for is said.
        said.textContent = read() !== null && text.includes(",") ? `Taken as ${whole(read())}.` : "";
      };
      field.addEventListener("input", () => {
        if (complaint.textContent) complain();
        if (read() !== get("number")) send("number", read());
      });
      field.addEventListener("change", complain);
      field.addEventListener("keydown", (event) => {
        if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
        if (event.key === "Enter") { event.preventDefault(); complain(); field.select(); }
      });
      const line = make("span", { className: "gainlib-question-field" }, field, make("span", { textContent: get("unit") }));
      el.append(make("label", { htmlFor: id, textContent: get("title") }), line);
      if (get("form") === "seconds" && get("channel")) {
        let place = null;
        const take = make("button", { type: "button", textContent: "Take the player’s place", disabled: true });
        const moved = ({ detail }) => {
          if (detail.channel !== get("channel")) return;
          place = Number(detail.seconds.toFixed(2));
          take.disabled = false;
          take.textContent = `Take the player’s place, ${place.toFixed(1)} s`;
        };
        take.onclick = () => {
          field.value = written(place);
          complain();
          send("number", read());
          said.textContent = `Taken: ${whole(place)}.`;
        };
        window.addEventListener("gainlib-position", moved);
        window.addEventListener("gainlib-seek", moved);
        leave = () => {
          window.removeEventListener("gainlib-position", moved);
          window.removeEventListener("gainlib-seek", moved);
        };
        line.append(take);
      }
      show = () => {
        if (document.activeElement === field || read() === get("number")) return;
        field.value = get("number") === null ? "" : written(get("number"));
        complain();
      };
    };

    const group = () => {
      const box = make("fieldset", {}, make("legend", { textContent: get("title") }));
      el.append(box);
      return box;
    };

    const choice = () => {
      const box = group();
      const fields = get("choices").map((text, index) => {
        const field = make("input", { type: "radio", name: id, value: index });
        field.addEventListener("change", () => send("chosen", index));
        box.append(make("label", { className: "gainlib-question-choice" }, field, text));
        return field;
      });
      show = () => fields.forEach((field, index) => { field.checked = index === get("chosen"); });
    };

    // A place for each; what is put in the place of another takes that other's place, so that none stands twice.
    const order = () => {
      const box = group();
      const names = get("choices");
      let places = names.map(() => -1);
      const fields = names.map((_, place) => {
        const field = make("select");
        field.append(make("option", { value: -1, text: "–" }), ...names.map((text, value) => make("option", { value, text })));
        field.setAttribute("aria-label", `${get("title")}: place ${place + 1} of ${names.length}`);
        field.addEventListener("change", () => {
          const put = Number(field.value);
          const other = places.indexOf(put);
          if (put >= 0 && other >= 0 && other !== place) places[other] = places[place];
          places[place] = put;
          draw();
          said.textContent = `Now: ${places.map((each) => (each < 0 ? "–" : names[each])).join(", ")}.`;
          const done = places.every((each) => each >= 0);
          if (done || get("order").length) send("order", done ? [...places] : []);
        });
        box.append(make("label", { className: "gainlib-question-choice" }, `${place + 1}. `, field));
        return field;
      });
      const draw = () => fields.forEach((field, place) => { field.value = places[place]; });
      show = () => {
        if (get("order").length) places = [...get("order")];
        draw();
      };
    };

    ({ number, seconds: number, choice, order })[get("form")]();
    el.append(said, complaint);
    show();
    const update = () => show();
    const stop = follow(model, ["number", "chosen", "order"], update);
    return () => {
      leave();
      sent.stop();
      stop();
    };
  },
};
