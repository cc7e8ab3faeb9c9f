"""An exercise that is being written: its file as data, the bench on which it is shown, and the proof."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib.authoring.completion import bounds_around, complete, name_of_reading, reading_of_check
from gainlib.authoring.draft import Draft, read_draft, stage_names
from gainlib.authoring.known_proofs import keep_proof
from gainlib.authoring.new_exercise import template_of
from gainlib.authoring.verification import Verification, verify
from gainlib.benches.bench_panel import Bench
from gainlib.benches.controls import Breakpoints, Control, Pick, Range
from gainlib.benches.events import Event
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, Variant, author_answer, expected_answers
from gainlib.exercises.collection import read_content
from gainlib.exercises.readings import MeasuredRendering, Reading, Renderings, stage_readings
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.flow import Session
from gainlib.meters import measures
from gainlib.sound_file import sounds_in
from gainlib.stages import choices_of, settings_of, stage_kinds
from gainlib.storage import atomic_write, bundled_folder
from gainlib.storage.foreign import is_number, toml_table
from gainlib.text import describe_value

__all__ = ["CHAINS", "ExerciseWriter", "Told"]

CHAINS: dict[str, tuple[Mapping[str, Any], ...]] = {
    "microphone, preamp, converter, trim": (
        {"stage": "Source", "full_scale_dbu": -24.0},
        {"stage": "Preamp", "gain_db": 40.0},
        {"stage": "Converter", "alignment": "EBU R 68"},
        {"stage": "Trim", "gain_db": 0.0},
    ),
    "trim and compressor": ({"stage": "Trim", "gain_db": 0.0}, {"stage": "Compressor"}),
    "trim and saturation": ({"stage": "Trim", "gain_db": 0.0}, {"stage": "Saturation"}),
    "trim and limiter": ({"stage": "Trim", "gain_db": 0.0}, {"stage": "Limiter"}),
    "trim and fader": ({"stage": "Trim", "gain_db": 0.0}, {"stage": "Fader"}),
    "trim and ride": ({"stage": "Trim", "gain_db": 0.0}, {"stage": "Ride"}),
    "trim alone": ({"stage": "Trim", "gain_db": 0.0},),
}
"""What a recording may pass, to begin with."""
MOST_VARIED_STEPS = 6
_STILL_TO_BE_SAID = {
    "bench": "say first what is right: stand the bench, and press “This is right”.",
    "solution": "say first what is right: give your own answer.",
    "checks": "nothing is measured yet; choose what is measured, and press “Measure this”.",
    "asks": "nothing is asked yet; choose what is asked for.",
}


@dataclass(frozen=True)
class Told:
    """One row of what the page reads: what is measured or asked, what is wanted, and how it stands in each column."""

    title: str
    wanted: str
    begins: str = ""
    right: str = ""
    now: str = ""


class ExerciseWriter:
    """One exercise in the making: stand the bench, say what that is, measure or ask, write, prove.

    `draft` is what has been said so far, `bench` where it is shown, `file` the exercise file, which is written after
    each change and proven by `prove`. The file is the truth: nothing of it is changed but what is said here, one that
    the page cannot hold is refused, and so is one that somebody changed meanwhile. A function given to `on_change` is
    called after each change, one given to `on_bench` when there is another bench.

    >>> import tempfile
    >>> writer = ExerciseWriter(Path(tempfile.mkdtemp(), "hot-bass.toml"))
    >>> writer.draft.get("title"), writer.taps
    ('Hot bass', ('source', 'preamp', 'converter', 'trim'))
    """

    def __init__(self, file: Path, kind: str = "set", *, without_notes: bool = False) -> None:
        self.file = file
        self.on_change, self.on_bench = Event(), Event()
        self.proof: Verification | None = None
        self._written = ""
        self._found: set[str] = set()  # settings whose rules were worked out here, and wrong answers whose looks were
        self._looked: set[str] = set()
        self._columns: tuple[Any, ...] = ()
        if file.exists():
            self._written = read_content(file)
            self.draft = read_draft(self._written, file.name, without_notes=without_notes)
        else:
            self.draft = self._first_draft(kind)
        self.channel = next(iter(self.draft.channels))
        self.session = self.draft.session(file.parent)
        self.bench = self._make_bench(self.draft, self.session)

    def begin_with(self, kind: str) -> None:
        """Begin an exercise of another kind, as long as nothing has been said of this one."""
        if self._written:
            raise GainError("this exercise is begun already; begin another one for another kind.")
        self._stand(self._first_draft(kind))
        self.on_change.tell()

    # --- what can be chosen ---

    @property
    def recordings(self) -> tuple[str, ...]:
        """The recordings beside the exercise, then the course's own, as a file names them."""
        beside = [each.name for each in sounds_in(self.file.parent)]
        return (*beside, *(f"media/{each.name}" for each in sounds_in(bundled_folder("media"))))

    @property
    def several(self) -> bool:
        """Whether there are strips with names of their own, which stand in front of each path."""
        return bool(self.draft.get("given", "strips"))

    @property
    def taps(self) -> tuple[str, ...]:
        """The stages in order, as a check names them; of many strips each with its strip."""
        found = []
        for channel, place in self.draft.channels.items():
            names = stage_names(self.draft.get(*place, unless=()))
            found += [f"{channel}/{name}" if self.several else name for name in names]
        return tuple(found)

    @property
    def stages(self) -> tuple[str, ...]:
        """The stages of the chosen strip or bus."""
        return tuple(stage_names(self.draft.get(*self.draft.channels[self.channel], unless=())))

    @property
    def settings(self) -> dict[str, Range | Pick | Breakpoints]:
        """Every control of the bench by the path of its setting, as the file has it."""
        return dict(self.bench.controls)

    @property
    def numbers(self) -> dict[str, Range]:
        """Those of them that are numbers."""
        return {path: each for path, each in self.settings.items() if isinstance(each, Range)}

    @property
    def readings(self) -> dict[str, str]:
        """What can be measured, each with what it is: a measure, or what a stage of the session tells."""
        rows = [row for place in self.draft.channels.values() for row in self.draft.get(*place, unless=())]
        kinds = {str(row["stage"]) for row in rows}
        told = [name for name, by in stage_readings().items() if "every stage" in by or kinds & set(by)]
        return dict.fromkeys(measures(), "measure") | {name: "told" for name in told if name not in measures()}

    @property
    def values(self) -> dict[str, Any]:
        """How the bench stands, by the paths of the settings."""
        return dict(self.bench.values)

    @property
    def moves(self) -> list[str]:
        """What learners move of the settings on the bench."""
        return [path for each in self.draft.get("moves", unless=()) if (path := self._here(each.get("path", "")))]

    @property
    def right(self) -> dict[str, Any]:
        """The author's answer as it stands on the bench, where what is drawn stands as given."""
        stood = self.draft.stood(self.draft.get("solution", unless={}), self.session)
        return {here: value for path, value in stood.items() if (here := self._here(path))}

    def begins(self, path: str) -> Any:
        """How a setting stands as given."""
        return self.bench.controls[path].held(self.session.setting(path))

    # --- what is said ---

    def change(self, **given: Any) -> None:
        """Put entries of the file: title, brief and the like, and of what is given take, between, stages; None is none.

        Raises GainError if that cannot be, and nothing is changed.
        """
        draft = self.draft
        for name, value in given.items():
            raw = (
                [dict(row) for row in value] if name == "stages" else list(value) if isinstance(value, tuple) else value
            )
            draft = draft.put(*(("given",) if name in ("take", "between", "stages") else ()), name, value=raw)
            if name == "take":
                draft = draft.put("given", "strip", value=_strip_of(value)).put("given", "signal", value=None)
        self._take(draft)

    def put(self, *place: str | int, value: Any) -> None:
        """Put one entry of the file, by its place; None takes it away."""
        self._take(self.draft.put(*place, value=value))

    def restore(self, draft: Draft) -> None:
        """Go back to what the file said before."""
        self._take(draft)

    def choose(self, channel: str) -> None:
        """Stand another strip or bus on the bench."""
        if channel not in self.draft.channels:
            raise GainError(f"{channel!r} is no strip and no bus; {suggest(channel, self.draft.channels)}")
        self.channel = channel
        self._stand(self.draft)
        self.on_change.tell()

    def add_stage(self, kind: str, behind: str = "") -> None:
        """One more stage, behind another or at the end; a second of its kind gets a name of its own."""
        if kind not in stage_kinds():
            raise GainError(f"{kind!r} is no stage; {suggest(kind, stage_kinds())}")
        row: dict[str, Any] = {"stage": kind}
        plain = stage_kinds()[kind].kind.lower()
        count = sum(each.startswith(plain) for each in self.stages)
        if count:
            row["name"] = f"{plain} {count + 1}"
        if kind in ("Converter", "OutboardInsert"):
            row["alignment"] = "EBU R 68"
        place = self.draft.channels[self.channel]
        rows = list(self.draft.get(*place, unless=()))
        rows.insert(self.stages.index(behind) + 1 if behind else len(rows), row)
        self._take(self.draft.put(*place, value=rows))

    def remove_stage(self, name: str) -> None:
        """Take a stage away, and with it what moved it, measured it and varied it."""
        place = self.draft.channels[self.channel]
        rows = self.draft.get(*place, unless=())
        kept = [row for row, each in zip(rows, self.stages, strict=True) if each != name]
        if not kept and place[1] != "buses":
            raise GainError("one stage must stay; add another first.")
        self._take(self.draft.put(*place, value=kept))

    def begin_here(self) -> None:
        """The bench as it stands now is what is given: there learners begin, but for what is drawn and put wrong."""
        draft = self.draft
        for path, value in self.values.items():
            if value != self.begins(path):
                draft = draft.with_setting(self.session, path, value)
        self._take(draft)

    def this_is_right(self) -> None:
        """The bench as it stands now is the author's answer; what was moved since the beginning is for learners."""
        moved = [path for path, value in self.values.items() if value != self.begins(path)]
        known = self.moves
        drawn = {each.get("path") for each in self.draft.get("varies", unless={}).values()}
        if still := drawn & set(moved):
            label = self.settings[still.pop()].name
            raise GainError(f"{label} differs from learner to learner; put it back to where learners begin.")
        if not moved and not known:
            raise GainError("nothing was moved from where learners begin; move what they are to move, and press again.")
        draft = self.draft
        for path in moved:
            if path not in known:
                draft = draft.put("moves", len(draft.get("moves", unless=())), value=self._move(path))
        for path in dict.fromkeys([*known, *moved]):
            draft = draft.put("solution", path, value=_raw(self.values[path]))
        self._take(draft)

    def this_is_wrong(self, name: str, say: str) -> None:
        """The bench as it stands now is a wrong answer, and this is said to it."""
        if not name.strip() or not say.strip():
            raise GainError("a wrong answer needs a name, which learners do not see, and the sentence that meets it.")
        if not self.draft.get("solution"):
            raise GainError("say first what is right: stand the bench, and press “This is right”.")
        answer = {path: _raw(self.values[path]) for path in self.moves}
        slip = {"name": name.strip(), "when": [], "answer": answer, "say": say.strip()}
        others = [each for each in self.draft.get("slips", unless=()) if each.get("name") != slip["name"]]
        self._looked.add(name.strip())
        self._take(self.draft.put("slips", value=[*others, slip]))

    def this_is_a_version(self, name: str, say: str) -> None:
        """The bench as it stands now is one of the versions that learners judge."""
        if not re.fullmatch(r"[a-z][a-z0-9_]*", name.strip()):
            raise GainError(f"the version's name is {describe_value(name)}; give small letters, such as squeezed.")
        set_in_it = {path: _raw(value) for path, value in self.values.items() if value != self.begins(path)}
        if not set_in_it:  # the version that is as given sets what another one does
            set_in_it = {path: _raw(self.begins(path)) for path in list(self.values)[:1]}
        others = [each for each in self.draft.get("candidates", unless=()) if each.get("name") != name.strip()]
        made = {"name": name.strip(), "set": set_in_it, **({"say": say.strip()} if say.strip() else {})}
        self._take(self.draft.put("candidates", value=[*others, made]))

    def move(self, path: str, wanted: bool) -> None:
        """Let learners move a setting, or not any more."""
        rows = [each for each in self.draft.get("moves", unless=()) if self._here(each.get("path", "")) != path]
        draft = self.draft.put("moves", value=[*rows, self._move(path)] if wanted else rows)
        for key in list(draft.get("solution", unless={})):
            if self._here(key) == path:
                draft = draft.put("solution", key, value=None)
        if wanted:
            draft = draft.put("solution", path, value=_raw(self.values[path]))
        for at, slip in enumerate(draft.get("slips", unless=())):
            own = {key: value for key, value in slip["answer"].items() if self._here(key) == path}
            rest = {key: value for key, value in slip["answer"].items() if key not in own}
            more = own or {path: _raw(self.begins(path))} if wanted else {}
            draft = draft.put("slips", at, value={**slip, "answer": rest | more})
        self._take(draft)

    def vary(self, path: str, low: float | None = None, high: float | None = None, step: float | None = None) -> None:
        """Let a number differ from learner to learner, 6 of its steps to both sides unless said."""
        control = self.numbers[path]
        begins = float(self.begins(path))
        by = control.step if step is None else step
        least = max(control.low, begins - MOST_VARIED_STEPS * by) if low is None else low
        most = min(control.high, begins + MOST_VARIED_STEPS * by) if high is None else high
        varies = self.draft.get("varies", unless={})
        plain = re.sub(r"[^a-z0-9]+", "_", "_".join(path.split("/")[:-1]).lower()).strip("_") or "drawn"
        name = next((each for each, row in varies.items() if row.get("path") == path), plain)
        draft = self._shown_once(self.draft)
        draft = draft.put("varies", name, value={"path": path, "from": least, "to": most, "step": by})
        if path in self.moves:  # nobody moves what is drawn
            rows = [each for each in draft.get("moves") if self._here(each["path"]) != path]
            draft = draft.put("moves", value=rows).put("solution", path, value=None)
        self._take(draft)

    def vary_no_more(self, name: str) -> None:
        """Draw a value no longer; rules that followed it stand as they stood on the bench."""
        draft, nominal = self._shown_once(self.draft), self.draft.nominal(self.session)

        def plainly(value: Any) -> Any:
            if isinstance(value, dict) and set(value) <= {"base", "plus", "minus", "times"} and name in str(value):
                return self.draft.stood({"x/y": value}, self.session)["x/y"]
            if isinstance(value, dict):
                return {key: plainly(each) for key, each in value.items()}
            return [plainly(each) for each in value] if isinstance(value, list) else value

        if name in nominal:
            draft = Draft(plainly(dict(draft.entries))).put("varies", name, value=None)
        self._take(draft)

    def add_check(self, reading: str, at: str) -> None:
        """Measure one thing more, with bounds around what it reads in the right answer, or now where there is none."""
        known = self.readings
        if reading not in known:
            raise GainError(f"{reading!r} is nothing that can be measured here; {suggest(reading, known)}")
        check: dict[str, Any] = {
            "title": name_of_reading(reading, at), "points": 1.0, "reads": {known[reading]: reading, "at": at},
        }  # fmt: skip
        made = reading_of_check(check, self.session)
        least, most = bounds_around(self.read(made, self.right or None), made.unit(self.session))
        check["reads"] |= {name: each for name, each in (("at_least", least), ("at_most", most)) if each is not None}
        self._take(self.draft.put("checks", len(self.draft.get("checks", unless=())), value=check))

    def read(self, reading: Reading, settings: Mapping[str, Any] | None = None) -> float:
        """What is read on the bench as it stands, or at other settings."""
        rendering = self.bench.rendering
        if settings is not None:
            rendering = self.bench.session.replaced(dict(settings)).render(after=rendering)
        return MeasuredRendering(rendering).value(reading)

    # --- what it comes to ---

    def told(self) -> tuple[str, tuple[Told, ...], tuple[Told, ...]]:
        """Whose numbers are shown, what is measured and what is asked: at the start, in the answer, now."""
        if not self._columns or self._columns[0] is not self.draft:
            self._columns = (self.draft, *self._measured())
        _, whose, checks, asks = self._columns
        now = MeasuredRendering(self.bench.rendering)
        made = []
        for title, reading, session, before in checks:
            told = _standing(reading, now, session)
            made.append(dataclasses.replace(before, title=title, now=told))
        return whose, tuple(made), asks

    def _measured(self) -> tuple[str, list[Any], tuple[Told, ...]]:
        """What does not follow the bench: every check at the start and in the right answer, every ask's answer."""
        whose = ""
        asks: tuple[Told, ...] = ()
        rows: list[tuple[str, Reading]] = []
        begins, right = self.session, self.session.replaced(self.right) if self.right else None
        try:
            variant = self._variant(self.draft.exercise(self.file))
            whose = ", ".join(f"{name} {variant.printed[name]}" for name in variant.printed)
            answer = author_answer(variant) if self.draft.get("solution") else {}
            begins, settings = variant.session, {path: each for path, each in answer.items() if "/" in path}
            right = begins.replaced(settings) if settings else None
            rows = [
                (each.title, reading)
                for each, reading in zip(variant.exercise.spec.checks, variant.checks, strict=True)
            ]
            asks = tuple(
                Told(
                    each.question.title, each.fault or each.printed(each.right),
                    right=each.printed(answer[name]) + (" ● right" if each.accepts(answer[name]) else " ○ not right")
                    if (name := each.question.name) in answer else "–",
                )
                for each in expected_answers(variant)
            )  # fmt: skip
        except (GainError, KeyError, TypeError):
            rows = self._readings_of_a_part()
        chain = Renderings()
        made: list[tuple[str, Reading, Session, Told]] = []
        for title, reading in rows:
            start = _standing(reading, chain.read(begins), begins)
            made.append((title, reading, begins, Told(title, _wanted(reading, begins), start)))
        if right is not None:
            ends = [_standing(reading, chain.read(right), right) for _, reading, _, _ in made]
            made = [(*each[:3], dataclasses.replace(each[3], right=end)) for each, end in zip(made, ends, strict=True)]
        return whose, made, asks

    def _readings_of_a_part(self) -> list[tuple[str, Reading]]:
        """What can be read of an exercise that is not finished."""
        found = []
        for each in self.draft.get("checks", unless=()):
            try:
                reading = reading_of_check(each, self.session, self.draft.nominal(self.session))
            except (GainError, KeyError, ValueError):
                continue
            found.append((str(each.get("title", "")), reading))
        return found

    def _variant(self, exercise: Exercise) -> Variant:
        """The exercise as the bench has it, where its numbers can be drawn so; else one learner's."""
        drawn = exercise.values_for("Ada")
        try:
            return exercise.with_values(drawn | self.draft.nominal(self.session))
        except GainError:
            return exercise.with_values(drawn)

    # --- the file ---

    def write(self) -> Path:
        """Work out what was left open, and write the file; GainError for what keeps it from being an exercise."""
        draft = self.draft
        needs, _ = EXERCISE_KINDS[draft.kind]
        lacking = [each for each in ("solution", "checks", "asks") if each in needs and not draft.get(each)]
        if lacking:
            raise GainError(_STILL_TO_BE_SAID["bench" if "moves" in needs and lacking[0] == "solution" else lacking[0]])
        for at, slip in enumerate(draft.get("slips", unless=())):
            if slip.get("name") in self._looked:
                draft = draft.put("slips", at, "when", value=[])
        made = complete(draft, self.file)
        self._found |= {
            path for path, value in made.get("solution", unless={}).items() if value != draft.get("solution", path)
        }
        self._take(made)
        return self.file

    def prove(
        self, *, quick: bool = False, progress: Callable[[str, int], None] = lambda doing, answers: None
    ) -> Verification:
        """Write the file, and prove it as `gainlib prove` does."""
        self.proof = verify(self.write(), quick=quick, progress=progress)
        keep_proof(self.proof)
        self.on_change.tell()
        return self.proof

    # --- within ---

    def _first_draft(self, kind: str) -> Draft:
        """What the page opens with: of kind `set` a recording and its stages, of any other its sound template."""
        title = self.file.stem.replace("-", " ").capitalize()
        if kind != "set":
            return Draft(toml_table(template_of(kind), kind) | {"title": title})
        take = next((each for each in self.recordings if "/" not in each), "media/lead-voice.flac")
        rows = [dict(each) for each in next(iter(CHAINS.values()))]
        given = {"take": take, "strip": _strip_of(take), "views": ["level diagram"], "stages": rows}
        head = {"title": title, "lesson": "set-recording-level", "kind": "set", "level": 1, "goal": "", "brief": ""}
        return Draft({**head, "given": given, "moves": [], "solution": {}})

    def _here(self, path: str) -> str:
        """A path of the file as the bench has it; empty where no control of the bench is meant."""
        if "{" in path or not path:
            return ""
        return path if path in self.bench.controls else self._as_in_file(self.session, path)

    def _as_in_file(self, session: Session, path: str) -> str:
        try:
            full = session.full_path(path)
        except GainError:
            return ""
        name = full if self.several else full.partition("/")[2]
        return name if name in self.bench.controls else full if full in self.bench.controls else ""

    def _make_bench(self, draft: Draft, session: Session) -> Bench:
        several = bool(draft.get("given", "strips"))
        controls: dict[str, Control] = {}
        for stage in session.channel(self.channel).stages:
            at = f"{self.channel}/{stage.name}" if several else stage.name
            for name, each in settings_of(stage).items():
                value = float(getattr(stage, name))
                path = f"{at}/{name}"
                controls[path] = Control(path, min(each.low, value), max(each.high, value))
            names = [*choices_of(stage), *(["points"] if hasattr(stage, "points") else [])]
            controls |= {f"{at}/{name}": Control(f"{at}/{name}") for name in names}
        for each in draft.get("moves", unless=()):
            path = each.get("path", "")
            full = _full_path(session, path)
            own = full.partition("/")[2]
            if full and not {path, full, own if not several else full} & controls.keys():
                controls[path] = _control(session, each)
        views = draft.get("given", "views") or ("level diagram",)  # whoever writes it looks at something
        made = Bench(session, list(controls.values()), views, title="")
        right = draft.stood(draft.get("solution", unless={}), session)
        wanted = {}
        for path, value in right.items():
            own = path if path in controls else _full_path(session, path).partition("/")[2]
            if own in controls:
                wanted[own] = value
        made.move_all(wanted)
        return made

    def _take(self, draft: Draft) -> None:
        """Go on from this draft, the file first; what is wrong is told before anything is lost."""
        draft = _with_drawn_names(_with_answers_to(draft, self.draft), self.draft)
        if draft.get("given") != self.draft.get("given"):
            self._stand(draft)
        else:
            self._keep(draft)
        self.on_change.tell()

    def _stand(self, draft: Draft) -> None:
        """Another bench for this draft, and the file."""
        before, channel, old = self.session, self.channel, self.bench
        session = draft.session(self.file.parent)
        self.channel = channel if channel in draft.channels else next(iter(draft.channels))
        draft = _without_lost(_with_new_names(draft, self.draft), before, session)
        try:
            bench = self._make_bench(draft, session)
            if draft is not self.draft and self._begun(draft):
                self._keep(draft)
        except GainError:
            self.channel = channel
            raise
        self.draft, self.session, self.bench = draft, session, bench
        self.on_bench.tell()
        old.close()

    def _begun(self, draft: Draft) -> bool:
        return bool(self._written) or draft.kind == self.draft.kind

    def _keep(self, draft: Draft) -> None:
        """Write the file, unless somebody else has written it meanwhile."""
        there = read_content(self.file) if self.file.exists() else ""
        if there != self._written:
            raise GainError(f"{self.file.name} was changed elsewhere meanwhile; run the cell again to go on from that.")
        atomic_write(self.file, draft.text, make_folder=True, then="; name a folder that you may write to")
        self.draft, self._written, self.proof = draft, draft.text, None

    def _shown_once(self, draft: Draft) -> Draft:
        """The draft with what was worked out here as it stood on the bench, so that it is worked out anew."""
        for path in self._found & set(draft.get("solution", unless={})):
            draft = draft.put(
                "solution", path, value=draft.stood({path: draft.get("solution", path)}, self.session)[path]
            )
            for at, each in enumerate(draft.get("moves", unless=())):
                if each.get("path") == path and isinstance(each.get("start"), dict):
                    draft = draft.put("moves", at, "start", value=None)
            for at, slip in enumerate(draft.get("slips", unless=())):
                if isinstance(slip["answer"].get(path), dict):
                    value = draft.stood({path: slip["answer"][path]}, self.session)[path]
                    draft = draft.put("slips", at, "answer", path, value=value)
        self._found.clear()
        return draft

    def _move(self, path: str) -> dict[str, Any]:
        control = self.settings[path]
        if isinstance(control, Pick):
            return {"path": path, "options": list(control.options)}
        if isinstance(control, Breakpoints):
            return {"path": path, "points": True, "from": control.low, "to": control.high}
        return {"path": path, "from": control.low, "to": control.high, "step": control.step}


def _standing(reading: Reading, read: MeasuredRendering, session: Session) -> str:
    """A reading in a column: its value, and whether that is wanted."""
    try:
        value = read.value(reading)
    except GainError:
        return "–"
    side = reading.side(value)
    return f"{reading.printed(value, session)} {f'○ too {side}' if side else '● met'}"


def _wanted(reading: Reading, session: Session) -> str:
    return reading.wanted(session) if reading.least is not None or reading.most is not None else "no bound yet"


def _with_new_names(draft: Draft, before: Draft) -> Draft:
    """The draft in which a strip, bus or stage that was only given another name has it wherever it is named."""
    heads: dict[str, str] = {}
    places = list(before.channels.values())
    if places != list(draft.channels.values()):
        return draft
    several = bool(before.get("given", "strips"))
    for place, was, now in zip(places, before.channels, draft.channels, strict=True):
        if several and was != now and _but_name(before.get(*place[:-1])) == _but_name(draft.get(*place[:-1])):
            heads[was] = now
        rows = before.get(*place, unless=()), draft.get(*place, unless=())
        if len(rows[0]) == len(rows[1]):
            for old, new, row, row_now in zip(*map(stage_names, rows), *rows, strict=True):
                if old != new and _but_name(row) == _but_name(row_now):
                    heads[f"{was}/{old}" if several else old] = f"{now}/{new}" if several else new

    def called(value: Any) -> Any:
        if isinstance(value, Mapping):
            return {
                called(key) if "/" in key else key: each if key in _NAMES_NOTHING else called(each)
                for key, each in value.items()
            }
        if isinstance(value, (list, tuple)):
            return [called(each) for each in value]
        if isinstance(value, str):
            for old, new in heads.items():
                if value == old or value.startswith(f"{old}/"):
                    return new + value[len(old) :]
        return value

    return Draft({**called(draft.entries), "given": draft.entries["given"]}) if heads else draft


def _with_answers_to(draft: Draft, before: Draft) -> Draft:
    """The draft in which a question's answers have the name that it was given, and go where the question went.

    Raises GainError for a name that is taken away, or that another has: whose answer is whose could not be told.
    """
    was, now = ([each.get("name") for each in of.get("asks", unless=())] for of in (before, draft))
    gone, new = [each for each in was if each not in now], [each for each in now if each and each not in was]
    if not any(gone):
        return draft
    if len(was) == len(now) and not new:
        raise GainError(f"each question has a name of its own, since its answer goes by it; give “{gone[0]}” another.")
    called = {gone[0]: new[0]} if len(was) == len(now) and len(gone) == len(new) == 1 else dict.fromkeys(gone)

    def renamed(answer: Mapping[str, Any]) -> dict[str, Any]:
        return {name: each for key, each in answer.items() if (name := called.get(key, key))}

    draft = draft.put("solution", value=renamed(draft.get("solution", unless={})))
    slips = []
    for each in draft.get("slips", unless=()):
        looks = [{**row, "ask": called.get(row["ask"], row["ask"])} if "ask" in row else row for row in each["when"]]
        slip = {**each, "answer": renamed(each["answer"]), "when": [row for row in looks if row.get("ask", True)]}
        slips += [slip] if slip["answer"] else []
    return draft.put("slips", value=slips or None)


def _with_drawn_names(draft: Draft, before: Draft) -> Draft:
    """The draft in which what is drawn, if it was only given another name, has it in each rule, path and text."""
    was, now = (dict(of.get("varies", unless={})) for of in (before, draft))
    gone, new = [each for each in was if each not in now], [each for each in now if each not in was]
    if len(gone) != 1 or len(new) != 1 or was[gone[0]] != now[new[0]]:
        return draft

    old, other = f"{{{gone[0]}}}", f"{{{new[0]}}}"

    def called(value: Any, key: str, as_it_is: bool) -> Any:
        if isinstance(value, Mapping):
            return {name.replace(old, other): called(each, name, as_it_is) for name, each in value.items()}
        if isinstance(value, (list, tuple)):
            return [called(each, key, as_it_is) for each in value]
        if not isinstance(value, str):
            return value
        return new[0] if as_it_is and key in _NAMES_DRAWN and value == gone[0] else value.replace(old, other)

    # In what is given a strip may go `to` a bus of that name.
    return Draft({
        name: each if name == "varies" else called(each, name, name != "given") for name, each in draft.entries.items()
    })  # fmt: skip


def _but_name(row: Mapping[str, Any]) -> dict[str, Any]:
    return {key: each for key, each in row.items() if key != "name"}


# Entries that may hold the name of what is drawn as it is.
_NAMES_DRAWN = {"base", "plus", "minus", "times", "to", "by"}

# Entries that hold words of their own: texts, names of what is drawn, and what an ask is about.
_NAMES_NOTHING = {
    "title", "lesson", "kind", "goal", "brief", "name", "text", "say", "low", "high", "good", "wrong", "source",
    "standing", "unit", "measure", "told", "reckon", "plus", "minus", "ask", "among", "pick", "order", "each",
}  # fmt: skip


def _without_lost(draft: Draft, before: Session, session: Session) -> Draft:
    """The draft without what names a stage that is no more."""

    def lost(path: Any) -> bool:
        if not isinstance(path, str) or "{" in path or not _full_path(before, path):
            return False
        return not _full_path(session, path)

    def tap_lost(tap: Any) -> bool:
        if not isinstance(tap, str) or "{" in tap or not _tap(before, tap):
            return False
        return not _tap(session, tap)

    for name, each in draft.get("varies", unless={}).items():
        if lost(each.get("path")):
            draft = draft.put("varies", name, value=None)
    moves = [each for each in draft.get("moves", unless=()) if not lost(each.get("path"))]
    if len(moves) != len(draft.get("moves", unless=())):
        draft = draft.put("moves", value=moves)
    for path in list(draft.get("solution", unless={})):
        if lost(path):
            draft = draft.put("solution", path, value=None)
    checks = [each for each in draft.get("checks", unless=()) if not tap_lost(each.get("reads", {}).get("at"))]
    if len(checks) != len(draft.get("checks", unless=())):
        draft = draft.put("checks", value=checks or None)
    slips = draft.get("slips", unless=())
    kept = [
        each
        for each in slips
        if not any(map(lost, each["answer"])) and not any(tap_lost(one.get("at")) for one in each.get("when", ()))
    ]
    return draft.put("slips", value=kept or None) if len(kept) != len(slips) else draft


def _full_path(session: Session, path: str) -> str:
    """A path with its strip; empty where there is no such setting."""
    try:
        session.setting(path)
        return str(session.full_path(path))
    except GainError:
        return ""


def _tap(session: Session, tap: str) -> bool:
    try:
        session.tap(tap)
    except GainError:
        return False
    return True


def _control(session: Session, move: Mapping[str, Any]) -> Control:
    """A control for a move of another strip, wide enough for where it stands."""
    value = session.setting(move["path"])
    low, high = move.get("from"), move.get("to")
    if is_number(value) and low is not None and high is not None:
        low, high = min(low, value), max(high, value)
    options = tuple(move["options"]) if move.get("options") else None
    return Control(move["path"], low, high, move.get("step"), options=options)


def _raw(value: Any) -> Any:
    """A value of the bench as a file has it."""
    return [list(each) for each in value] if isinstance(value, tuple) else value


def _strip_of(take: str) -> str:
    """What the strip of a recording is called."""
    return re.sub(r"[/\s]+", " ", Path(take).stem).strip()[:40] or "take"
