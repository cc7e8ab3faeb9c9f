"""An exercise that is being written: a draft, the bench on which it is shown, and the file that comes of it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from gainlib.authoring.completion import bounds_around, complete, name_of_reading, reading_of_check
from gainlib.authoring.draft import Draft, DraftCheck, DraftMove, DraftSlip, DraftVary, read_draft, stage_names
from gainlib.authoring.known_proofs import keep_proof
from gainlib.authoring.verification import Verification, verify
from gainlib.benches.bench_panel import Bench
from gainlib.benches.controls import Control, Pick, Range
from gainlib.benches.events import Event
from gainlib.errors import GainError, suggest
from gainlib.exercises.collection import read_content
from gainlib.exercises.readings import MeasuredRendering, stage_readings
from gainlib.meters import measures
from gainlib.sound_file import sounds_in
from gainlib.stages import choices_of, settings_of, stage_kinds
from gainlib.storage import atomic_write, bundled_folder

__all__ = ["CHAINS", "ExerciseWriter"]

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
    "trim alone": ({"stage": "Trim", "gain_db": 0.0},),
}
"""What a recording may pass, to begin with."""


class ExerciseWriter:
    """One exercise of kind `set` in the making: stand the bench, say what that is, measure, write, prove.

    `draft` is what has been shown so far, `bench` where it is shown, `file` the exercise file, which is written after
    each change and proven by `prove`. The file is the truth: one that says more than the page can show is refused, and
    so is one that somebody changed meanwhile, so that nothing is lost. A function given to `on_change` is called after
    each change, one given to `on_bench` when there is another bench.

    >>> import tempfile
    >>> writer = ExerciseWriter(Path(tempfile.mkdtemp(), "hot-bass.toml"))
    >>> writer.draft.title, writer.taps
    ('Hot bass', ('source', 'preamp', 'converter', 'trim'))
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self.on_change, self.on_bench = Event(), Event()
        self.proof: Verification | None = None
        self._written = ""
        if file.exists():
            self._written = read_content(file)
            self.draft = read_draft(self._written, file.name)
        else:
            take = next((each for each in self.recordings if "/" not in each), "media/lead-voice.flac")
            title = file.stem.replace("-", " ").capitalize()
            strip = _strip_of(take)
            self.draft = Draft(title=title, take=take, strip=strip, stages=next(iter(CHAINS.values())))
        self.bench = self._make_bench(self.draft)

    # --- what can be chosen ---

    @property
    def recordings(self) -> tuple[str, ...]:
        """The recordings beside the exercise, then the course's own, as a file names them."""
        beside = [each.name for each in sounds_in(self.file.parent)]
        return (*beside, *(f"media/{each.name}" for each in sounds_in(bundled_folder("media"))))

    @property
    def taps(self) -> tuple[str, ...]:
        """The stages in order, as a check names them."""
        return tuple(stage_names(self.draft.stages))

    @property
    def settings(self) -> dict[str, Range | Pick]:
        """Every control of the bench by the short path of its setting."""
        return {_short(path): each for path, each in self.bench.controls.items() if isinstance(each, Range | Pick)}

    @property
    def numbers(self) -> dict[str, Range]:
        """Those of them that are numbers."""
        return {path: each for path, each in self.settings.items() if isinstance(each, Range)}

    @property
    def readings(self) -> dict[str, str]:
        """What can be measured, each with what it is: a measure, or what a stage of the chain tells."""
        kinds = {str(row["stage"]) for row in self.draft.stages}
        told = [name for name, by in stage_readings().items() if "every stage" in by or kinds & set(by)]
        return dict.fromkeys(measures(), "measure") | {name: "told" for name in told if name not in measures()}

    @property
    def values(self) -> dict[str, Any]:
        """How the bench stands, by the short paths."""
        return {_short(path): value for path, value in self.bench.values.items()}

    # --- what is shown ---

    def change(self, **given: Any) -> None:
        """Put other entries into the draft: title, brief, take, between and the like; GainError if that cannot be."""
        changed = dataclasses.replace(self.draft, **given)
        if {"take", "between", "stages"} & given.keys():
            changed = self._without_lost(dataclasses.replace(changed, strip=_strip_of(changed.take)))
            bench = self._make_bench(changed)  # what is wrong is told before anything of the draft is lost
            self._keep(changed)
            old, self.bench = self.bench, bench
            self.on_bench.tell()
            old.close()
            self.on_change.tell()
        else:
            self._take(changed)

    def add_stage(self, kind: str) -> None:
        """One more stage at the end of the chain; a second of its kind gets a name of its own."""
        if kind not in stage_kinds():
            raise GainError(f"{kind!r} is no stage; {suggest(kind, stage_kinds())}")
        row: dict[str, Any] = {"stage": kind}
        plain = stage_kinds()[kind].kind.lower()
        count = sum(each.startswith(plain) for each in self.taps)
        if count:
            row["name"] = f"{plain} {count + 1}"
        if kind in ("Converter", "OutboardInsert"):
            row["alignment"] = "EBU R 68"
        self.change(stages=(*self.draft.stages, row))

    def remove_stage(self, name: str) -> None:
        """Take a stage away, and with it what moved it, measured it and varied it."""
        kept = tuple(row for row, each in zip(self.draft.stages, self.taps, strict=True) if each != name)
        if not kept:
            raise GainError("one stage must stay; add another first.")
        self.change(stages=kept)

    def begin_here(self) -> None:
        """Learners begin with the bench as it stands now."""
        rows = []
        for row, name in zip(self.draft.stages, self.taps, strict=True):
            usual = stage_kinds()[str(row["stage"])]
            own = {
                path.partition("/")[2]: value for path, value in self.values.items() if path.partition("/")[0] == name
            }
            defaults = {field.name: field.default for field in dataclasses.fields(usual)}
            rows.append({**row, **{key: each for key, each in own.items() if key in row or each != defaults.get(key)}})
        self._take(dataclasses.replace(self.draft, stages=tuple(rows)))

    def this_is_right(self) -> None:
        """The bench as it stands now is the author's answer; what was moved since the beginning is for learners."""
        moved = [path for path, value in self.values.items() if value != self.begins(path)]
        known = {each.path for each in self.draft.moves}
        drawn = {each.path for each in self.draft.varies}
        if still := drawn & set(moved):
            label = self.settings[still.pop()].name
            raise GainError(f"{label} differs from learner to learner; put it back to where learners begin.")
        moves = [*self.draft.moves, *(self._move(path) for path in moved if path not in known | drawn)]
        if not moves:
            raise GainError("nothing was moved from where learners begin; move what they are to move, and press again.")
        right = {each.path: self.values[each.path] for each in moves}
        self._take(dataclasses.replace(self.draft, moves=tuple(moves), right=right))

    def this_is_wrong(self, name: str, say: str) -> None:
        """The bench as it stands now is a wrong answer, and this is said to it."""
        if not name.strip() or not say.strip():
            raise GainError("a wrong answer needs a name, which learners do not see, and the sentence that meets it.")
        if not self.draft.right:
            raise GainError("say first what is right: stand the bench, and press “This is right”.")
        answer = {each.path: self.values[each.path] for each in self.draft.moves}
        others = tuple(each for each in self.draft.slips if each.name != name)
        self.draft = dataclasses.replace(self.draft, slips=(*others, DraftSlip(name.strip(), answer, say.strip())))
        self.on_change.tell()

    def move(self, path: str, wanted: bool) -> None:
        """Let learners move a setting, or not any more."""
        moves = tuple(each for each in self.draft.moves if each.path != path)
        right = {key: value for key, value in self.draft.right.items() if key != path}
        if wanted:
            moves = (*moves, self._move(path))
            right = {**right, path: self.values[path]}
        slips = tuple(
            dataclasses.replace(each, answer={path: each.answer.get(path, self.begins(path)) for path in right})
            for each in self.draft.slips
        )
        self._take(dataclasses.replace(self.draft, moves=moves, right=right, slips=slips))

    def vary(self, path: str, low: float | None = None, high: float | None = None, step: float | None = None) -> None:
        """Let a number differ from learner to learner, 6 of its steps to both sides unless said; no path for none."""
        varies: tuple[DraftVary, ...] = ()
        if path:
            control = self.numbers[path]
            begins = float(self.begins(path))
            by = control.step if step is None else step
            least = max(control.low, begins - 6 * by) if low is None else low
            most = min(control.high, begins + 6 * by) if high is None else high
            name = re.sub(r"[^a-z0-9]+", "_", path.partition("/")[0])
            varies = (DraftVary(name, path, least, most, by),)
        moves = tuple(each for each in self.draft.moves if each.path != path)
        right = {key: value for key, value in self.draft.right.items() if key != path}
        self._take(dataclasses.replace(self.draft, varies=varies, moves=moves, right=right, follows={}))

    def add_check(self, reading: str, at: str) -> None:
        """Measure one thing more, with bounds around what it reads in the right answer, or now where there is none."""
        known = self.readings
        if reading not in known:
            raise GainError(f"{reading!r} is nothing that can be measured here; {suggest(reading, known)}")
        check = DraftCheck(known[reading], reading, at, title=name_of_reading(reading, at))
        value = self.read(check, self.draft.right or None)
        least, most = bounds_around(value, reading_of_check(check).unit(self.bench.session))
        made = dataclasses.replace(check, at_least=least, at_most=most)
        self._take(dataclasses.replace(self.draft, checks=(*self.draft.checks, made)))

    def read(self, check: DraftCheck, settings: Mapping[str, Any] | None = None) -> float:
        """What a check reads on the bench as it stands, or at other settings."""
        rendering = self.bench.rendering
        if settings is not None:
            rendering = self.bench.session.replaced(dict(settings)).render(after=rendering)
        return MeasuredRendering(rendering).value(reading_of_check(check))

    # --- the file ---

    def write(self) -> Path:
        """Work out what was left open, and write the file; GainError for what keeps it from being an exercise."""
        if not self.draft.right:
            raise GainError("say first what is right: stand the bench, and press “This is right”.")
        if not self.draft.checks:
            raise GainError("nothing is measured yet; choose what is measured, and press “Measure this”.")
        self._take(complete(self.draft, self.file))
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

    def _make_bench(self, draft: Draft) -> Bench:
        session = draft.session(self.file.parent)
        controls = []
        for stage in session.strips[0].stages:
            for name, each in settings_of(stage).items():
                value = float(getattr(stage, name))
                controls.append(Control(f"{stage.name}/{name}", min(each.low, value), max(each.high, value)))
            controls += [Control(f"{stage.name}/{name}") for name in choices_of(stage)]
        made = Bench(session, controls, draft.views, title="")
        known = {_short(each) for each in made.controls}
        made.move_all({path: value for path, value in draft.right.items() if path in known})
        return made

    def _take(self, draft: Draft) -> None:
        """Go on from this draft, the file first."""
        self._keep(draft)
        self.on_change.tell()

    def _keep(self, draft: Draft) -> None:
        """Write the file, unless somebody else has written it meanwhile."""
        there = read_content(self.file) if self.file.exists() else ""
        if there != self._written:
            raise GainError(f"{self.file.name} was changed elsewhere meanwhile; run the cell again to go on from that.")
        atomic_write(self.file, draft.text, make_folder=True, then="; name a folder that you may write to")
        self.draft, self._written, self.proof = draft, draft.text, None

    def _without_lost(self, draft: Draft) -> Draft:
        """The draft without what names a stage that is no more."""
        names = set(stage_names(draft.stages))

        def stands(path: str) -> bool:
            return path.partition("/")[0] in names

        return dataclasses.replace(
            draft,
            varies=tuple(each for each in draft.varies if stands(each.path)),
            moves=tuple(each for each in draft.moves if stands(each.path)),
            right={path: value for path, value in draft.right.items() if stands(path)},
            checks=tuple(each for each in draft.checks if stands(each.at)),
            slips=(),
            follows={},
        )

    def begins(self, path: str) -> Any:
        """How a setting stands where learners begin."""
        stage, _, setting = path.partition("/")
        row = next(row for row, name in zip(self.draft.stages, self.taps, strict=True) if name == stage)
        if setting in row:
            return row[setting]
        return {each.name: each.default for each in dataclasses.fields(stage_kinds()[str(row["stage"])])}[setting]

    def _move(self, path: str) -> DraftMove:
        control = self.settings[path]
        if isinstance(control, Pick):
            return DraftMove(path, options=control.options)
        return DraftMove(path, control.low, control.high, control.step)


def _short(path: str) -> str:
    """A path without the only strip's name."""
    return path if path.count("/") == 1 else path.partition("/")[2]


def _strip_of(take: str) -> str:
    """What the strip of a recording is called."""
    return re.sub(r"[/\s]+", " ", Path(take).stem).strip()[:40] or "take"
