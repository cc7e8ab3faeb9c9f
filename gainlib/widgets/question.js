// One question below a bench: a number with its unit, a choice, an order, or a moment; native inputs, complaints in words.
import { follow, make, newId, turns, typed, unread } from "./shared.js";

const LONGEST = 60; // of a text that is no number

export default {
  render({ model, el }) {
    const id = newId("question");
    const sent = turns(model, el, () => show());
    const { get } = sent;
    el.classList.add("gainlib-question");
    const complaint = make("p", { className: "gainlib-complaint", id: `${id}-complaint`, role: "alert" });
    const said = make("p", { className: "gainlib-question-said", id: `${id}-said`, role: "status" });
    const written = (value) => String(value).replace("-", "−");
    const whole = (value) => `${written(value)} ${get("unit")}`.trim();
    let show = () => {};
    let leave = () => {};

    // A number, or a moment in seconds.
    const number = () => {
      const field = make("input", { type: "text", id, inputMode: "decimal", autocomplete: "off", spellcheck: false });
      field.setAttribute("aria-describedby", `${complaint.id} ${said.id}`);
      const fault = () => (field.value.trim() ? unread(field.value, get("unit"), get("low"), get("high"), whole) : "");
      // What cannot be taken goes as it was typed, so that a check can name it.
      const read = () => {
        const text = field.value.trim();
        const number = typed(text, get("unit"));
        return Number.isFinite(number) ? { number, text: "" } : { number: null, text: text.slice(0, LONGEST) };
      };
      const stands = () => {
        const { number, text } = read();
        return number === get("number") && text === get("text");
      };
      const complain = () => {
        complaint.textContent = fault();
        if (complaint.textContent) field.setAttribute("aria-invalid", "true");
        else field.removeAttribute("aria-invalid");
        // A comma may be meant otherwise, so what it was taken for is said.
        said.textContent = !fault() && field.value.includes(",") ? `Taken as ${whole(read().number)}.` : "";
      };
      field.addEventListener("input", () => {
        if (complaint.textContent) complain();
        if (!stands()) sent.send(read());
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
          sent.send(read());
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
        if (document.activeElement === field || stands()) return;
        field.value = get("number") === null ? get("text") : written(get("number"));
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
        field.addEventListener("change", () => sent.send({ chosen: index }));
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
          if (done || get("order").length) sent.send({ order: done ? [...places] : [] });
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
    const stop = follow(model, ["number", "text", "chosen", "order"], update);
    return () => {
      leave();
      sent.stop();
      stop();
    };
  },
};
