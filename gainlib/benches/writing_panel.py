"""The page on which an exercise is written: fields above and below a bench, readings that follow it, and the proof."""

from __future__ import annotations

import dataclasses
from html import escape
from pathlib import Path
from typing import Any

import ipywidgets

from gainlib.authoring.completion import reading_of_check
from gainlib.authoring.draft import DraftCheck
from gainlib.authoring.new_exercise import require_name
from gainlib.authoring.verification import Verification
from gainlib.benches.exercise_writer import CHAINS, ExerciseWriter
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.errors import GainError
from gainlib.meters import measures
from gainlib.stages import stage_kinds
from gainlib.storage import given_path, lesson_files
from gainlib.text import counted
from gainlib.widgets.base import Text
from gainlib.widgets.form import Form

__all__ = ["WrittenExercise", "write_exercise"]

LEVELS = {"1 easy": 1, "2 middling": 2, "3 hard": 3}
STANDINGS = ("common practice", "published", "derived", "from memory")
NONE = "nothing"


class WritingPanel(Panel):
    """Six parts from top to bottom, in the order in which an exercise comes about."""

    def __init__(self, writer: ExerciseWriter) -> None:
        self.writer = writer
        super().__init__([writer.on_change(self._follow), writer.on_bench(self._stand)])
        self.task = Form(heading="1 The task", changed=self._task_changed)
        self.sound = Form(heading="2 What learners hear", changed=self._sound_changed, pressed=self._sound_pressed)
        self.shown = Form(heading="", pressed=self._shown_pressed)
        self.readings = Text()
        self.measure = Form(pressed=self._measure_pressed)
        self.moves = Form(heading="5 What learners move, and what differs among them", changed=self._moves_changed)
        self.checks = Form(heading="4 What is measured", changed=self._checks_changed, pressed=self._checks_pressed)
        self.wrong = Form(pressed=self._wrong_pressed)
        self.proof = Form(heading="6 The file and its proof", pressed=self._prove_pressed)
        self.result = Text()
        self._follows_bench = writer.bench.on_move(lambda _: self._read())
        self.box = ipywidgets.VBox(self._parts()).add_class("gainlib-writing")
        self._follow()

    def _parts(self) -> list[Any]:
        above = Text(
            value='<h3 class="gainlib-form-heading">3 Stand the bench, and say what that is</h3>'
            "<p>First where learners begin, then what is right. What you moved in between is what they will move.</p>"
        )
        return [
            self.task, self.sound, above, self.writer.bench.panel.box, self.shown, self.measure, self.readings,
            self.wrong, self.checks, self.moves, self.proof, self.result,
        ]  # fmt: skip

    def _stand(self) -> None:
        """Put another bench in the place of the last."""
        self._follows_bench()
        self._follows_bench = self.writer.bench.on_move(lambda _: self._read())
        parts = list(self.box.children)
        parts[3] = self.writer.bench.panel.box
        self.box.children = parts

    # --- from the draft to the page ---

    def _follow(self) -> None:
        self._task()
        self._sound()
        self._shown()
        self._measure()
        self._moves()
        self._checks()
        self._wrong()
        self._proof()
        self._read()

    def _task(self) -> None:
        draft = self.writer.draft
        self._put(
            self.task,
            [
                {"name": "title", "label": "Title", "form": "line"},
                {"name": "lesson", "label": "Lesson", "form": "choice", "options": list(lesson_files())},
                {"name": "level", "label": "Level", "form": "choice", "options": list(LEVELS)},
                {
                    "name": "goal", "label": "What one can do afterwards", "form": "line", "wide": True,
                    "hint": "left empty: said from what is moved",
                },
                {
                    "name": "brief", "label": "What is asked; an empty line begins a paragraph", "form": "prose",
                    "hint": "left empty: said from what is measured",
                },
            ],
            {
                "title": draft.title, "lesson": draft.lesson, "level": list(LEVELS)[draft.level - 1],
                "goal": draft.goal, "brief": draft.brief,
            },
        )  # fmt: skip

    def _sound(self) -> None:
        writer = self.writer
        start, end = writer.draft.between or (None, None)
        same = next((name for name, rows in CHAINS.items() if self._alike(rows)), "a chain of your own")
        chains = [*CHAINS, *(["a chain of your own"] if same not in CHAINS else [])]
        self._put(
            self.sound,
            [
                {"name": "take", "label": "Recording", "form": "choice", "options": list(writer.recordings)},
                {"name": "start", "label": "from", "form": "number", "unit": "s"},
                {"name": "end", "label": "to", "form": "number", "unit": "s"},
                {"name": "chain", "label": "It passes", "form": "choice", "options": chains, "wide": True},
                {"name": "stages", "label": f"Stages in order: {', '.join(writer.taps)}.", "form": "told"},
                {"name": "kind", "label": "One stage more", "form": "choice", "options": sorted(stage_kinds())},
                {"name": "gone", "label": "One stage less", "form": "choice", "options": list(writer.taps)},
                {"name": "add", "label": "Add it at the end", "form": "button"},
                {"name": "remove", "label": "Take it away", "form": "button"},
            ],
            {
                "take": writer.draft.take, "start": start, "end": end, "chain": same,
                "kind": self.sound.values.get("kind", "Compressor"), "gone": writer.taps[-1],
            },
        )  # fmt: skip

    def _alike(self, rows: tuple[Any, ...]) -> bool:
        return [each["stage"] for each in rows] == [each["stage"] for each in self.writer.draft.stages]

    def _shown(self) -> None:
        self._put(
            self.shown,
            [
                {"name": "begin", "label": "Learners begin here", "form": "button"},
                {"name": "right", "label": "This is right", "form": "button", "main": True},
            ],
            {},
        )

    def _moves(self) -> None:
        writer = self.writer
        moved = {each.path: each for each in writer.draft.moves}
        names = {control.name: path for path, control in writer.numbers.items()}
        vary = next(iter(writer.draft.varies), None)
        fields: list[dict[str, Any]] = [{"name": "which", "label": "Learners move", "form": "heading"}]
        fields += [
            {"name": f"move {path}", "label": control.name, "form": "tick"} for path, control in writer.settings.items()
        ]
        values: dict[str, Any] = {f"move {path}": path in moved for path in writer.settings}
        fields += [
            {"name": "each", "label": "Each learner has another number", "form": "heading"},
            {"name": "vary", "label": "of", "form": "choice", "options": [NONE, *names]},
        ]
        values["vary"] = NONE if vary is None else writer.numbers[vary.path].name
        if vary is not None:
            unit = writer.numbers[vary.path].unit
            for name, label in (("low", "from"), ("high", "to"), ("step", "in steps of")):
                fields.append({"name": name, "label": label, "form": "number", "unit": unit})
                values[name] = getattr(vary, name)
            told = f"The brief prints it as {{{vary.name}}}. Which controls follow it is found as you write the file."
            fields.append({"name": "told", "label": told, "form": "told"})
        self._put(self.moves, fields, values)

    def _checks(self) -> None:
        writer = self.writer
        told = "Nothing is measured yet: choose it above, below the bench."
        fields: list[dict[str, Any]] = [] if writer.draft.checks else [{"name": "none", "form": "told", "label": told}]
        values: dict[str, Any] = {}
        for index, each in enumerate(writer.draft.checks):
            unit = reading_of_check(each).unit(writer.bench.session)
            fields += [
                {"name": f"{index} head", "label": f"{each.reading} after {each.at}", "form": "heading"},
                {"name": f"{index} title", "label": "Headed", "form": "line"},
                {"name": f"{index} at_least", "label": "at least", "form": "number", "unit": unit},
                {"name": f"{index} at_most", "label": "at most", "form": "number", "unit": unit},
                {"name": f"{index} points", "label": "points", "form": "number"},
                {
                    "name": f"{index} low", "label": "Said when it is too low; {off} prints how far", "form": "line",
                    "wide": True, "hint": "left empty: said from what is moved",
                },
                {
                    "name": f"{index} high", "label": "Said when it is too high", "form": "line", "wide": True,
                    "hint": "left empty: said from what is moved",
                },
                {"name": f"{index} source", "label": "Where the target comes from", "form": "line"},
                {"name": f"{index} standing", "label": "which is", "form": "choice", "options": list(STANDINGS)},
                {"name": f"away {index}", "label": "Measure this no more", "form": "button"},
            ]  # fmt: skip
            values |= {
                f"{index} {name}": getattr(each, name)
                for name in ("title", "at_least", "at_most", "points", "low", "high", "source", "standing")
            }
        self._put(self.checks, fields, values)

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
        fields: list[dict[str, Any]] = [
            {
                "name": "told", "form": "told",
                "label": "A wrong answer that you expect: stand the bench so, and write what is said to it.",
            },
            {"name": "name", "label": "A name for it, for you alone", "form": "line"},
            {"name": "say", "label": "What is said to it", "form": "prose"},
            {"name": "wrong", "label": "This is wrong", "form": "button"},
        ]  # fmt: skip
        for index, each in enumerate(self.writer.draft.slips):
            fields += [
                {"name": f"slip {index}", "label": each.name, "form": "heading"},
                {"name": f"said {index}", "label": f"{self._settings(each.answer)}. “{each.say}”", "form": "told"},
                {"name": f"away {index}", "label": "Take it away", "form": "button"},
            ]
        self._put(self.wrong, fields, {"name": "", "say": ""})

    def _proof(self) -> None:
        self._put(
            self.proof,
            [
                {
                    "name": "file",
                    "label": f"The file, kept after each change: {self.writer.file}",
                    "form": "told",
                },
                {"name": "quick", "label": "Look quickly", "form": "button"},
                {"name": "prove", "label": "Prove it", "form": "button", "main": True},
            ],
            {},
        )
        self.result.value = _proof_html(self.writer)

    def _read(self) -> None:
        """The table of what is measured: where learners begin, in the right answer, and on the bench as it stands."""
        writer = self.writer
        session = writer.bench.session
        rows = []
        begins = {path: writer.begins(path) for path in writer.settings}
        for each in writer.draft.checks:
            reading = reading_of_check(each)
            columns = [self._read_at(each, begins), self._read_at(each, writer.draft.right), self._read_at(each, None)]
            told = []
            for value in columns:
                if value is None:
                    told.append("–")
                    continue
                side = reading.side(value)
                told.append(f"{reading.printed(value, session)} {f'○ too {side}' if side else '● met'}")
            wanted = (
                reading.wanted(session) if each.at_least is not None or each.at_most is not None else "no bound yet"
            )
            rows.append([each.title, wanted, *told])
        head = "".join(f"<th>{name}</th>" for name in ("Measured", "wanted", "begins", "right", "now on the bench"))
        body = "".join(f"<tr>{''.join(f'<td>{escape(each)}</td>' for each in row)}</tr>" for row in rows)
        table = f'<table class="gainlib-writing-readings"><tr>{head}</tr>{body}</table>' if rows else ""
        right = f"<p>Right: {escape(self._settings(writer.draft.right))}.</p>" if writer.draft.right else ""
        self.readings.value = right + table

    def _read_at(self, check: DraftCheck, settings: Any) -> float | None:
        if settings is not None and not settings:
            return None
        try:
            return self.writer.read(check, settings)
        except GainError:
            return None

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
            form.said = f"Not taken: {fault}"
            self._follow()

    def _task_changed(self, values: dict[str, Any]) -> None:
        given = {name: values[name].strip() for name in ("title", "goal", "brief")}
        level = LEVELS[values["level"]]
        self._done(self.task, lambda: self.writer.change(**given, lesson=values["lesson"], level=level))

    def _sound_changed(self, values: dict[str, Any]) -> None:
        draft = self.writer.draft
        given: dict[str, Any] = {}
        if values["take"] != draft.take:
            given |= {"take": values["take"], "between": None}
        elif None not in (values["start"], values["end"]) and (values["start"], values["end"]) != draft.between:
            given["between"] = (float(values["start"]), float(values["end"]))
        elif values["start"] is None and values["end"] is None and draft.between is not None:
            given["between"] = None
        if values["chain"] in CHAINS and not self._alike(CHAINS[values["chain"]]):
            given["stages"] = CHAINS[values["chain"]]
        if given:
            self._done(self.sound, lambda: self.writer.change(**given))

    def _sound_pressed(self, name: str) -> None:
        values = self.sound.values
        if name == "add":
            self._done(self.sound, lambda: self.writer.add_stage(values["kind"]), f"{values['kind']} is added.")
        else:
            self._done(self.sound, lambda: self.writer.remove_stage(values["gone"]), f"{values['gone']} is taken away.")

    def _shown_pressed(self, name: str) -> None:
        if name == "begin":
            self._done(self.shown, self.writer.begin_here, "Learners begin with the bench as it stands now.")
        else:
            self._done(self.shown, self.writer.this_is_right, "That is right: what you moved is what learners move.")

    def _moves_changed(self, values: dict[str, Any]) -> None:
        moved = {each.path for each in self.writer.draft.moves}
        for path in self.writer.settings:
            if values.get(f"move {path}", path in moved) != (path in moved):
                wanted = bool(values[f"move {path}"])
                self._done(self.moves, lambda path=path, wanted=wanted: self.writer.move(path, wanted))
        names = {control.name: path for path, control in self.writer.numbers.items()}
        vary = next(iter(self.writer.draft.varies), None)
        path = names.get(values.get("vary", NONE), "")
        ends = [values.get(each) for each in ("low", "high", "step")]
        if path != ("" if vary is None else vary.path):
            self._done(self.moves, lambda: self.writer.vary(path))
        elif vary is not None and ends != [vary.low, vary.high, vary.step] and None not in ends:
            low, high, step = (float(each or 0.0) for each in ends)
            self._done(self.moves, lambda: self.writer.vary(path, low, high, step))

    def _checks_changed(self, values: dict[str, Any]) -> None:
        made = []
        for index, each in enumerate(self.writer.draft.checks):
            given = {
                name: values.get(f"{index} {name}", getattr(each, name))
                for name in ("title", "at_least", "at_most", "points", "low", "high", "source", "standing")
            }
            made.append(dataclasses.replace(each, **given))
        if tuple(made) != self.writer.draft.checks:
            self._done(self.checks, lambda: self.writer.change(checks=tuple(made)))

    def _measure_pressed(self, _name: str) -> None:
        values = self.measure.values
        said = "It is in the table, with bounds around what is right; change them in part 4."
        self._done(self.measure, lambda: self.writer.add_check(values["reading"], values["at"]), said)

    def _checks_pressed(self, name: str) -> None:
        kept = [each for at, each in enumerate(self.writer.draft.checks) if f"away {at}" != name]
        self._done(self.checks, lambda: self.writer.change(checks=tuple(kept)))

    def _wrong_pressed(self, name: str) -> None:
        values = self.wrong.values
        if name == "wrong":
            said = "Kept. Stand the bench right again before you go on."
            self._done(self.wrong, lambda: self.writer.this_is_wrong(values["name"], values["say"]), said)
        else:
            kept = [each for at, each in enumerate(self.writer.draft.slips) if f"away {at}" != name]
            self._done(self.wrong, lambda: self.writer.change(slips=tuple(kept)))

    def _prove_pressed(self, name: str) -> None:
        self.proof.busy = True

        def told(doing: str, answers: int) -> None:
            if answers % 20 == 0:
                self.proof.said = f"{doing}: {counted(answers, 'answer')} measured"

        def work() -> str:
            proof = self.writer.prove(quick=name == "quick", progress=told)
            return _headline(proof)

        try:
            self._done(self.proof, work)
        finally:
            self.proof.busy = False

    def _free(self) -> None:
        self._follows_bench()
        self.writer.bench.close()
        super()._free()


def _headline(proof: Verification) -> str:
    if proof.proven:
        sit = f'gl.exercise("{proof.file.name}", learner="Bea")'
        return f"Proven, in {counted(proof.variants, 'variant')}. To sit it yourself, in a cell of your own: {sit}"
    if proof.sound:
        return "Nothing wrong at a quick look. Prove it before you give it out."
    return f"Not proven, {counted(len(proof.faults), 'thing')} to mend."


def _proof_html(writer: ExerciseWriter) -> str:
    """What the last proof says, and the file as it was written."""
    proof = writer.proof
    if proof is None:
        return ""
    rows = [("wrong", each.text) for each in proof.faults] + [("look at", each.text) for each in proof.remarks]
    rows += [("shown", each) for each in proof.shown]
    if proof.not_looked_at:
        rows.append(("not yet", "; ".join(proof.not_looked_at)))
    body = "".join(f"<tr><th>{word}</th><td>{escape(said)}</td></tr>" for word, said in rows)
    lines = enumerate(writer.file.read_text(encoding="utf-8").rstrip().split("\n"), 1)
    text = "\n".join(f"{number:3d}  {line}" for number, line in lines)
    return (
        f'<table class="gainlib-writing-readings">{body}</table>'
        f"<details><summary>The file, as it was written</summary><pre>{escape(text)}</pre></details>"
    )


class WrittenExercise(ShownByPanel[WritingPanel]):
    """An exercise on the page on which it is written; `writer` does the same without a browser.

    Made by `gainlib.write_exercise(...)`.
    """

    def __init__(self, writer: ExerciseWriter) -> None:
        self.writer = writer

    def _make_panel(self) -> WritingPanel:
        return WritingPanel(self.writer)

    def __repr__(self) -> str:
        return f"<exercise being written: {self.writer.file}>"


def write_exercise(name: str | Path) -> WrittenExercise:
    """A page on which an exercise of kind `set` is written and proven; as the last line of a cell it shows itself.

    Choose a recording and what it passes, stand the bench where learners begin and where it is right, say what is
    measured; which settings follow what is drawn for each learner is found by trying. The exercise file is the truth:
    one that is there already is read, unless it says more than the page can show.

    Parameters
    ----------
    name : str or Path
        The exercise file, such as "levels/hot-bass.toml"; small letters, digits and hyphens, in a folder or not.

    Returns
    -------
    WrittenExercise
        `writer` holds what was said so far.

    Raises
    ------
    GainError
        For a name that cannot be one, and for a file that cannot be shown as a page without losing something.

    Examples
    --------
    >>> import tempfile
    >>> page = write_exercise(tempfile.mkdtemp() + "/hot-bass.toml")
    >>> page.writer.draft.title
    'Hot bass'
    """
    file = given_path(name)
    file = file if file.suffix == ".toml" else file.with_name(f"{file.name}.toml")
    require_name(file.stem)
    return WrittenExercise(ExerciseWriter(file))
