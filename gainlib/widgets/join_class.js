// Joining a class: the start file is handed to the kernel in parts, then one says who one is.
import { follow, make, tell } from "./shared.js";

const PART_BYTES = 1 << 20; // a server takes no message of more than 10 MB

export default {
  render({ model, el }) {
    el.classList.add("gainlib-answer", "gainlib-questions", "gainlib-join");
    const head = make("p");
    const fold = make("details");
    const summary = make("summary");
    const field = make("input", { type: "file", accept: ".gainclass" });
    const choose = make("div", { className: "gainlib-book-row" }, make("label", {}, "Start file ", field));
    const names = make("select");
    const id = make("input", { type: "text", autocomplete: "off", spellcheck: false });
    const ask = make("div", { className: "gainlib-book-row" });
    const join = make("button", { type: "button", className: "gainlib-check", textContent: "Join this class" });
    const said = make("div", { role: "status" });
    fold.append(summary, choose, ask);
    el.append(head, fold, said);

    let file = null;
    const part = async () => {
      const from = model.get("received");
      const bytes = await file.slice(from, from + PART_BYTES).arrayBuffer();
      model.send({ kind: "part", from }, undefined, [bytes]);
    };
    const take = (given) => {
      if (!given) return;
      file = given;
      tell(model, { kind: "file", name: file.name, size: file.size });
    };
    const next = () => {
      if (file && model.get("wanted") && model.get("received") < file.size) void part();
    };
    field.onchange = () => take(field.files[0]);
    el.ondragover = (event) => event.preventDefault();
    el.ondrop = (event) => {
      event.preventDefault();
      fold.open = true;
      take(event.dataTransfer.files[0]);
    };
    const enter = () => {
      join.disabled = true;
      tell(model, { kind: "join", learner: model.get("people").length ? names.value : id.value });
    };
    join.onclick = enter;
    id.onkeydown = (event) => {
      if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
      if (event.key === "Enter") { event.preventDefault(); enter(); }
    };

    const show = () => {
      head.textContent = model.get("who");
      head.hidden = !model.get("who");
      fold.hidden = !model.get("may");
      summary.textContent = model.get("invites");
      said.replaceChildren(...model.get("said").map((textContent) => make("p", { textContent })));
    };
    const showAsk = () => {
      const people = model.get("people");
      const asks = model.get("asks");
      join.disabled = false;
      names.replaceChildren(make("option", { value: "", textContent: "Choose your name" }),
        ...people.map(([value, name]) => make("option", { value, textContent: `${name} (${value})` })));
      names.value = model.get("known");
      id.value ||= model.get("known");
      join.textContent = model.get("known") ? "Take over what is new" : "Join this class";
      const who = people.length ? make("label", {}, "Who are you? ", names) : make("label", {}, "Your id ", id);
      ask.replaceChildren(...(asks ? [...(asks === "who" ? [who] : []), join] : []));
      if (asks && el.contains(document.activeElement)) (asks !== "who" ? join : people.length ? names : id).focus();
    };
    const joined = () => {
      fold.open = false;
      field.value = "";
      window.dispatchEvent(new CustomEvent("gainlib-class"));
    };
    fold.open = model.get("opened");
    show();
    showAsk();
    const ends = [
      follow(model, ["who", "may", "invites", "said"], show),
      follow(model, ["asks", "people", "answered", "known"], showAsk),
      follow(model, ["received", "wanted"], next),
      follow(model, ["joined"], joined),
    ];
    return () => ends.forEach((end) => end());
  },
};
