"""The page on which an exercise is written: fields above and below a bench, readings that follow it, and the proof."""

from __future__ import annotations

from html import escape
from typing import Any

import ipywidgets

from gainlib.authoring.entry_form import (
    OF_THE_FILE,
    as_labelled,
    entry_fields,
    entry_values,
    entry_with,
    setting_fields,
    setting_values,
    setting_with,
)
from gainlib.authoring.one_line import value_from, value_line
from gainlib.benches.exercise_writer import CHAINS, ExerciseWriter, Told
from gainlib.benches.panel import Panel
from gainlib.benches.proof_told import headline, proof_html, proven
from gainlib.benches.writing_tables import tables_of
from gainlib.errors import GainError
from gainlib.exercises.tables import (
    EXERCISE_KINDS,
    Given,
    LadderEntry,
)  # fmt: skip
from gainlib.meters import measures
from gainlib.stages import stage_kinds
from gainlib.storage import lesson_files
from gainlib.widgets.base import Text
from gainlib.widgets.form import Form

__all__ = ["WritingPanel"]

LEVELS = {"1 easy": 1, "2 middling": 2, "3 hard": 3}
KINDS = {
    "set": "move controls until what is measured is right",
    "ride": "draw a gain ride",
    "session": "put many strips right",
    "reckon": "work out a number",
    "find": "say which strip, stage or moment",
    "judge": "say which version is which, by ear",
    "hear": "find what one can just hear",
    "record": "record a take of one's own",
}
NO_BOUNDS = ("reads.at_least", "reads.at_most", "reads.is")
"""What a rung that is read has no use for."""
OF_GIVEN = ("take", "strip", "strips", "buses", "groups", "between")


class WritingPanel(Panel):
    """The parts of an exercise in the order in which it comes about, from top to bottom: those that its kind has."""

    def __init__(self, writer: ExerciseWriter) -> None:
        self.writer = writer
        super().__init__([writer.on_change(self._follow), writer.on_bench(self._stand)])
        self.task = Form(changed=self._task_changed)
        self.sound = Form(changed=self._sound_changed, pressed=self._sound_pressed)
        self.shown = Form(pressed=self._shown_pressed)
        self.readings = Text()
        self.measure = Form(pressed=self._measure_pressed)
        self.moves = Form(changed=self._moves_changed)
        self.vary = Form(pressed=self._vary_pressed)
        self.wrong = Form(pressed=self._wrong_pressed)
        self.answer = Form(changed=self._answer_changed, pressed=self._answer_pressed)
        self.ladder = Form(changed=self._ladder_changed)
        self.seen = Form(changed=self._seen_changed)
        self.proof = Form(pressed=self._prove_pressed)
        self.result = Text()
        self.above = Text()
        self._stage = ""
        self.tables = tables_of(writer)
        self._follows_bench = writer.bench.on_move(lambda _: self._read())
        self.box = ipywidgets.VBox([]).add_class("gainlib-writing")
        self._arrange()
        self._follow()

    def _has(self, table: str) -> bool:
        """Whether this kind of exercise has these entries."""
        return table not in EXERCISE_KINDS[self.writer.draft.kind][1]

    def _needs(self, table: str) -> bool:
        return table in EXERCISE_KINDS[self.writer.draft.kind][0]

    def _arrange(self) -> None:
        """The parts that this kind of exercise has, numbered in their order."""
        tables, count = self.tables, 0
        parts: list[Any] = []

        def part(heading: str, *widgets: Any) -> None:
            nonlocal count
            count += 1
            parts.append(Text(value=f'<h3 class="gainlib-form-heading">{count} {escape(heading)}</h3>'))
            parts.extend(widgets)

        strips = [tables[each].form for each in ("strips", "buses")] if self.writer.several else []
        groups = [tables["groups"].form] if self.writer.draft.get("given", "groups") else []
        part("The task", self.task)
        part("What learners hear", *strips, *groups, self.sound)
        part("Stand the bench, and say what that is", self.above, self.writer.bench.panel.box, self.shown)
        if self.writer.draft.kind == "judge":
            parts += [self.wrong, tables["candidates"].form]
        if self._has("checks"):
            part(OF_THE_FILE["checks"], self.measure, self.readings, tables["checks"].form)
        if self._has("asks"):
            part(OF_THE_FILE["asks"], *([] if self._has("checks") else [self.readings]), tables["asks"].form)
        if self._has("ladder"):
            part(OF_THE_FILE["ladder"], self.ladder)
        if self._has("moves"):
            part(OF_THE_FILE["moves"], self.moves, tables["moves"].form)
        if self._has("prompts"):
            part(OF_THE_FILE["prompts"], tables["prompts"].form)
        if self._has("varies"):
            part(OF_THE_FILE["varies"], self.vary, tables["varies"].form, tables["plant"].form)
        if self._has("solution"):
            part(OF_THE_FILE["solution"], self.answer)
        if self._has("slips"):
            wrong = [self.wrong] if self._has("checks") else []
            part("Wrong answers that you expect, and hints", *wrong, tables["slips"].form, tables["hints"].form)
        part("What learners see", self.seen)
        part("The file and its proof", self.proof, self.result)
        self.box.children = parts

    def _stand(self) -> None:
        """Put another bench in the place of the last."""
        self._follows_bench()
        self._follows_bench = self.writer.bench.on_move(lambda _: self._read())
        self._arrange()

    # --- from the draft to the page ---

    def _follow(self) -> None:
        self._task()
        self._sound()
        self._shown()
        self._measure()
        self._moves()
        self._vary()
        self._wrong()
        self._answer()
        self._ladder()
        self._seen()
        for each in self.tables.values():
            each.follow()
        self._proof()
        self._read()

    def _task(self) -> None:
        draft = self.writer.draft
        kind: list[dict[str, Any]] = [{"name": "told", "label": f"{draft.kind}: {KINDS[draft.kind]}", "form": "told"}]
        if not self.writer.file.exists():
            options = [[name, f"{name}: {said}"] for name, said in KINDS.items()]
            kind = [{"name": "kind", "label": OF_THE_FILE["kind"], "form": "choice", "options": options, "wide": True}]
        self._put(
            self.task,
            [
                *kind,
                {"name": "title", "label": OF_THE_FILE["title"], "form": "line"},
                {"name": "lesson", "label": OF_THE_FILE["lesson"], "form": "choice", "options": self._lessons()},
                {"name": "level", "label": OF_THE_FILE["level"], "form": "choice", "options": list(LEVELS)},
                {
                    "name": "goal", "label": OF_THE_FILE["goal"], "form": "line", "wide": True,
                    "hint": "left empty: said from what is moved",
                },
                {
                    "name": "brief",
                    "label": OF_THE_FILE["brief"],
                    "form": "prose", "hint": "left empty: said from what is measured",
                },
            ],
            {
                "kind": draft.kind, "title": draft.get("title", unless=""), "lesson": draft.get("lesson", unless=""),
                "level": list(LEVELS)[draft.get("level", unless=1) - 1], "goal": draft.get("goal", unless=""),
                "brief": draft.get("brief", unless=""),
            },
        )  # fmt: skip

    def _lessons(self) -> list[str]:
        known = [*lesson_files(), *lesson_files(self.writer.file.parent)]
        own = self.writer.draft.get("lesson", unless="")
        return list(dict.fromkeys([*known, *([own] if own else [])]))

    def _sound(self) -> None:
        writer, stands = self.writer, self.sound.values
        given = writer.draft.get("given")
        fields: list[dict[str, Any]] = []
        values: dict[str, Any] = {}
        if not writer.several:
            take = [{"name": "take", "label": "Recording", "form": "choice", "options": list(writer.recordings)}]
            if given.get("signal"):
                take = [each for each in entry_fields(Given) if each["name"].startswith("signal.")]
            same = next((name for name, rows in CHAINS.items() if self._alike(rows)), "a chain of your own")
            chains = [*CHAINS, *(["a chain of your own"] if same not in CHAINS else [])]
            fields += [*take, {"name": "strip", "label": "What the strip is called", "form": "line"}]
            fields.append({"name": "chain", "label": "It passes", "form": "choice", "options": chains})
            shown = entry_values(Given, given)
            values |= {each["name"]: shown[each["name"]] for each in fields if each["name"] in shown} | {"chain": same}
        start, end = given.get("between") or (None, None)
        fields += [
            {"name": "start", "label": OF_THE_FILE["between"], "form": "number", "unit": "s"},
            {"name": "end", "label": "to", "form": "number", "unit": "s"},
        ]
        values |= {"start": start, "end": end}
        stage = stands.get("stage") if stands.get("stage") in writer.stages else next(iter(writer.stages), "")
        self._stage = str(stage)
        if len(writer.draft.channels) > 1:
            fields.append(
                {
                    "name": "channel",
                    "label": "On the bench, and below",
                    "form": "choice",
                    "options": list(writer.draft.channels),
                }
            )
            values["channel"] = writer.channel
        fields.append(
            {"name": "order", "label": f"Stages in order: {', '.join(writer.stages) or 'none'}.", "form": "told"}
        )
        if stage:
            fields.append(
                {"name": "stage", "label": "Settings of the stage", "form": "choice", "options": list(writer.stages)}
            )
            row = self._stage_row(stage)
            kind = stage_kinds()[row["stage"]]
            fields += [{**each, "name": f"set {each['name']}"} for each in setting_fields(kind)]
            values |= {"stage": stage} | {f"set {name}": value for name, value in setting_values(kind, row).items()}
            fields.append({"name": "remove", "label": "Take this stage away", "form": "button"})
        fields += [
            {"name": "kind", "label": "One stage more", "form": "choice", "options": sorted(stage_kinds())},
            {"name": "add", "label": f"Put it behind {stage}" if stage else "Put it in", "form": "button"},
        ]
        values["kind"] = stands.get("kind", "Compressor")
        self._put(self.sound, fields, values)

    def _stage_row(self, stage: str) -> dict[str, Any]:
        place = self.writer.draft.channels[self.writer.channel]
        return dict(self.writer.draft.get(*place)[self.writer.stages.index(stage)])

    def _alike(self, rows: tuple[Any, ...]) -> bool:
        own = self.writer.draft.get("given", "stages", unless=())
        return [each["stage"] for each in rows] == [each["stage"] for each in own]

    def _shown(self) -> None:
        right = (
            [{"name": "right", "label": "This is right", "form": "button", "main": True}]
            if self._needs("moves")
            else []
        )
        begin = "Learners begin here" if self._needs("moves") else "This is what is given"
        told = "First where learners begin, then what is right. What you moved in between is what they will move."
        if not self._needs("moves"):
            told = "Stand it as learners find it, before anything is drawn or put wrong."
        elif self.writer.draft.get("plant"):
            told = (
                "It stands as given, before anything is put wrong below. Stand it right, and say so: "
                "what is put wrong is what learners find."
            )
        self.above.value = f"<p>{told}</p>"
        self._put(self.shown, [{"name": "begin", "label": begin, "form": "button"}, *right], {})

    def _moves(self) -> None:
        writer = self.writer
        fields: list[dict[str, Any]] = [
            {"name": f"move {path}", "label": control.name, "form": "tick"} for path, control in writer.settings.items()
        ]
        values: dict[str, Any] = {f"move {path}": path in writer.moves for path in writer.settings}
        self._put(self.moves, fields, values)

    def _vary(self) -> None:
        names = {path: control.name for path, control in self.writer.numbers.items()}
        stands = self.vary.values.get("vary")
        options = [[path, name] for path, name in names.items()]
        fields: list[dict[str, Any]] = [
            {"name": "vary", "label": "Each learner has another", "form": "choice", "options": options},
            {"name": "differ", "label": "Let it differ", "form": "button"},
        ]
        self._put(self.vary, fields if names else [], {"vary": stands if stands in names else next(iter(names), "")})

    def _measure(self) -> None:
        writer, stands = self.writer, self.measure.values
        known = measures()
        options = [[name, f"{name}: {known[name].meaning}" if name in known else name] for name in writer.readings]
        taps = list(writer.taps)
        self._put(
            self.measure,
            [
                {"name": "reading", "label": "Measure", "form": "choice", "options": options, "wide": True},
                {"name": "at", "label": "after the stage", "form": "choice", "options": taps},
                {"name": "add", "label": "Measure this", "form": "button"},
            ],
            {
                "reading": stands.get("reading", "peak_dbfs"),
                "at": stands["at"] if stands.get("at") in taps else taps[-1],
            },
        )

    def _wrong(self) -> None:
        version = self.writer.draft.kind == "judge"
        told = "Stand the bench as one of the versions, and name it; learners see A, B, C." if version else (
            "A wrong answer that you expect: stand the bench so, and write what is said to it."
        )  # fmt: skip
        name, say = ("Name of the version", "What it was, told when all is right") if version else (
            "A name for it, for you alone", "What is said to it"
        )  # fmt: skip
        fields: list[dict[str, Any]] = [
            {"name": "told", "form": "told", "label": told},
            {"name": "name", "label": name, "form": "line"},
            {"name": "say", "label": say, "form": "prose"},
            {"name": "wrong", "label": "This is a version" if version else "This is wrong", "form": "button"},
        ]
        self._put(self.wrong, fields, {"name": "", "say": ""} | self.wrong.values)

    def _answer(self) -> None:
        """The author's own answer, a line each; a choice is a word, anything else a value or a rule."""
        draft = self.writer.draft
        solution = draft.get("solution", unless={})
        asks = {each.get("name"): each for each in draft.get("asks", unless=())}
        fields: list[dict[str, Any]] = []
        values: dict[str, Any] = {}
        for key in dict.fromkeys([*solution, *(each for each in asks if each)]):
            title = asks[key].get("title", key) if key in asks else self._called(key)
            line = self._answer_line(solution[key]) if key in solution else ""
            hint = self._answer_hint(asks.get(key))
            wide = len(line or hint) > 18
            fields.append({"name": f"answer {key}", "label": title, "form": "line", "hint": hint, "wide": wide})
            values[f"answer {key}"] = line
        if self._needs("moves"):
            more = {"name": "path", "label": "One setting more, by its path", "form": "line"}
            fields.append({**more, "options": list(self.writer.settings)})
            fields.append({"name": "add", "label": "Add it", "form": "button"})
            values["path"] = ""
        self._put(self.answer, fields, values)

    def _called(self, path: str) -> str:
        control = self.writer.settings.get(path)
        return f"{control.name} ({path})" if control else path

    def _answer_hint(self, ask: Any) -> str:
        if ask is None:
            return "4, or 14 − level"
        if ask.get("expected") is not None:
            return "−14, 6 + level, or sum_db(level, −20)"
        if ask.get("order"):
            return "the names in order, with commas"
        return "seconds" if ask.get("among") == "seconds" else "a name, or a drawn word as {word}"

    def _answer_line(self, value: Any) -> str:
        if isinstance(value, str):
            return value
        if isinstance(value, list) and all(isinstance(each, str) for each in value):
            return ", ".join(value)
        return value_line(value)

    def _ladder(self) -> None:
        if self._has("ladder"):
            self._put(
                self.ladder,
                entry_fields(LadderEntry, leave=NO_BOUNDS, taps=self.writer.taps, paths=list(self.writer.settings)),
                entry_values(LadderEntry, self.writer.draft.get("ladder", unless={})),
            )

    def _seen(self) -> None:
        fields = [
            each
            for each in entry_fields(Given, leave=OF_GIVEN, taps=self.writer.taps)
            if not each["name"].startswith("signal")
        ]
        values = entry_values(Given, self.writer.draft.get("given"))
        shown = {each["name"]: values[each["name"]] for each in fields}
        if self._has("candidates") or self._has("ladder"):
            fields.append({"name": "matched", "label": "All are played equally loud", "form": "tick"})
            shown["matched"] = self.writer.draft.get("matched", unless=True)
        self._put(self.seen, fields, shown)

    def _proof(self) -> None:
        self._put(
            self.proof,
            [
                {"name": "file", "label": f"The file, kept after each change: {self.writer.file}", "form": "told"},
                {"name": "quick", "label": "Look quickly", "form": "button"},
                {"name": "prove", "label": "Prove it", "form": "button", "main": True},
            ],
            {},
        )
        if self.writer.proof is None:  # what was said of an earlier state is not so of this one
            self.proof.said = ""
        self.result.value = proof_html(self.writer.proof, self.writer.file, as_labelled)

    def _read(self) -> None:
        """The tables of what is measured and asked: where learners begin, in the right answer, and on the bench now."""
        whose, checks, asks = self.writer.told()
        said = f"<p>As one learner has it: {escape(whose)}.</p>" if whose else ""
        if self._needs("moves") and self.writer.right:
            said += f"<p>Right on the bench: {escape(self._settings(self.writer.right))}.</p>"
        told = "" if checks or asks or not self._has("checks") else "<p>Nothing is measured yet: choose it above.</p>"
        measured = _table(
            ("Measured", "wanted", "begins", "right", "now on the bench"),
            checks,
            ("title", "wanted", "begins", "right", "now"),
        )
        asked = _table(("Asked", "what is right", "your own answer"), asks, ("title", "wanted", "right"))
        self.readings.value = said + told + measured + asked

    def _settings(self, answer: Any) -> str:
        controls = self.writer.settings
        return ", ".join(f"{controls[path].name} {controls[path].printed(value)}" for path, value in answer.items())

    def _put(self, form: Form, fields: list[dict[str, Any]], values: dict[str, Any]) -> None:
        with form.hold_sync():
            if form.values != values:
                form.values = values
            if form.fields != fields:
                form.fields = fields

    # --- from the page to the draft ---

    def _done(self, form: Form, work: Any, said: str = "") -> None:
        """Do what was asked for on a form; what cannot be done is said there, and the form goes back."""
        try:
            form.said = work() or said
        except GainError as fault:
            self._follow()
            form.said = f"Not taken: {as_labelled(str(fault))}"

    def _task_changed(self, values: dict[str, Any]) -> None:
        writer = self.writer
        if values.get("kind", writer.draft.kind) != writer.draft.kind:

            def begin() -> None:
                writer.begin_with(values["kind"])
                self.tables = tables_of(writer)
                self._arrange()
                self._follow()

            self._done(self.task, begin)
            return
        given = {name: values[name].strip() for name in ("title", "goal", "brief")}
        level = LEVELS[values["level"]]
        self._done(self.task, lambda: writer.change(**given, lesson=values["lesson"], level=level))

    def _sound_changed(self, values: dict[str, Any]) -> None:
        writer = self.writer
        given = writer.draft.get("given")
        if values.get("channel", writer.channel) != writer.channel:
            self._done(self.sound, lambda: writer.choose(values["channel"]))
            return
        changed: dict[str, Any] = {}
        if not writer.several:
            if not given.get("signal") and values.get("take") != given.get("take"):
                self._done(self.sound, lambda: writer.change(take=values["take"], between=None))
                return
            own = {name: each for name, each in values.items() if name == "strip" or name.startswith("signal.")}
            row = entry_with(Given, given, own)
            if row != given:
                self._done(self.sound, lambda: writer.put("given", value=row))
                return
            if values["chain"] in CHAINS and not self._alike(CHAINS[values["chain"]]):
                changed["stages"] = CHAINS[values["chain"]]
        ends = (values.get("start"), values.get("end"))
        if None not in ends and list(ends) != list(given.get("between") or ()):
            changed["between"] = (float(ends[0] or 0.0), float(ends[1] or 0.0))
        elif ends == (None, None) and given.get("between"):
            changed["between"] = None
        if changed:
            self._done(self.sound, lambda: writer.change(**changed))
            return
        stage = self._stage
        if values.get("stage") == stage and stage in writer.stages:
            row = self._stage_row(stage)
            typed = {name.removeprefix("set "): each for name, each in values.items() if name.startswith("set ")}

            def put() -> None:
                made = setting_with(stage_kinds()[row["stage"]], row, typed)
                if made != row:
                    place = writer.draft.channels[writer.channel]
                    writer.put(*place, writer.stages.index(stage), value=made)

            self._done(self.sound, put)
        else:
            self._sound()

    def _sound_pressed(self, name: str) -> None:
        values = self.sound.values
        stage = values.get("stage", "")
        if name == "add":
            self._done(self.sound, lambda: self.writer.add_stage(values["kind"], stage), f"{values['kind']} is added.")
        else:
            self._done(self.sound, lambda: self.writer.remove_stage(stage), f"{stage} is taken away.")

    def _shown_pressed(self, name: str) -> None:
        if name == "begin":
            self._done(self.shown, self.writer.begin_here, "Kept: that is what is given now.")
        else:
            self._done(self.shown, self.writer.this_is_right, "That is right: what you moved is what learners move.")

    def _moves_changed(self, values: dict[str, Any]) -> None:
        moved = set(self.writer.moves)
        for path in self.writer.settings:
            if values.get(f"move {path}", path in moved) != (path in moved):
                wanted = bool(values[f"move {path}"])
                self._done(self.moves, lambda path=path, wanted=wanted: self.writer.move(path, wanted))

    def _vary_pressed(self, _name: str) -> None:
        path = str(self.vary.values.get("vary", ""))
        said = (
            "It differs from learner to learner now, as told below; which controls follow it is found when you prove."
        )
        if path in self.writer.numbers:
            self._done(self.vary, lambda: self.writer.vary(path), said)

    def _measure_pressed(self, _name: str) -> None:
        values = self.measure.values

        def work() -> None:
            self.tables["checks"].chosen = len(self.writer.draft.get("checks", unless=()))
            self.writer.add_check(values["reading"], values["at"])

        self._done(self.measure, work, "It is in the table, with bounds around what is right; change them below.")

    def _wrong_pressed(self, _name: str) -> None:
        name, say = self.wrong.values["name"], self.wrong.values["say"]
        version = self.writer.draft.kind == "judge"

        def work() -> None:
            (self.writer.this_is_a_version if version else self.writer.this_is_wrong)(name, say)
            self.wrong.values = {"name": "", "say": ""}

        self._done(
            self.wrong,
            work,
            "Kept as a version." if version else "Kept. Stand the bench right again before you go on.",
        )

    def _answer_changed(self, values: dict[str, Any]) -> None:
        draft = self.writer.draft
        asks = {each.get("name"): each for each in draft.get("asks", unless=())}
        solution = draft.get("solution", unless={})

        def work() -> None:
            changed = draft
            for field, text in values.items():
                key = field.removeprefix("answer ")
                before = self._answer_line(solution[key]) if key in solution else ""
                if field == key or text == before:
                    continue
                changed = changed.put(
                    "solution", key, value=self._answer_of(text.strip(), asks.get(key), solution.get(key))
                )
            if changed is not draft:
                self.writer.put("solution", value=changed.get("solution"))

        self._done(self.answer, work)

    def _answer_of(self, text: str, ask: Any, before: Any) -> Any:
        if not text:
            return None
        if ask is not None and ask.get("order"):
            return [each.strip() for each in text.split(",")]
        if (ask is not None and ask.get("expected") is None and ask.get("among") != "seconds") or isinstance(
            before, str
        ):
            return text.strip('"')
        return value_from(text)

    def _answer_pressed(self, _name: str) -> None:
        path = str(self.answer.values.get("path", "")).strip()
        if path:
            self._done(self.answer, lambda: self.writer.put("solution", path, value=0))

    def _ladder_changed(self, values: dict[str, Any]) -> None:
        row = self.writer.draft.get("ladder", unless={})
        self._done(self.ladder, lambda: self.writer.put("ladder", value=entry_with(LadderEntry, row, values)))

    def _seen_changed(self, values: dict[str, Any]) -> None:
        writer = self.writer
        row, matched = writer.draft.get("given"), values.get("matched")
        given = {name: each for name, each in values.items() if name != "matched"}
        if matched not in (None, writer.draft.get("matched", unless=True)):
            self._done(self.seen, lambda: writer.put("matched", value=matched))
        else:
            self._done(self.seen, lambda: writer.put("given", value=entry_with(Given, row, given)))

    def _prove_pressed(self, name: str) -> None:
        self._done(
            self.proof,
            lambda: headline(proven(self.proof, lambda told: self.writer.prove(quick=name == "quick", progress=told))),
        )

    def _free(self) -> None:
        self._follows_bench()
        self.writer.bench.close()
        super()._free()


def _table(head: tuple[str, ...], rows: tuple[Told, ...], columns: tuple[str, ...]) -> str:
    if not rows:
        return ""
    names = "".join(f"<th>{name}</th>" for name in head)
    body = "".join(f"<tr>{''.join(f'<td>{escape(getattr(row, each))}</td>' for each in columns)}</tr>" for row in rows)
    return f'<table class="gainlib-writing-readings"><tr>{names}</tr>{body}</table>'
