"""An exercise, and its variant for one learner: the session at the start, what may be moved, what is asked."""

from __future__ import annotations

import dataclasses
import functools
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.exercises.given import Layout, Start
from gainlib.exercises.model import Candidate, ControlSpec, Hint, Question
from gainlib.exercises.parameters import ORDER, Parameter
from gainlib.exercises.readings import (
    Reading,
    Renderings,
    described_setting,
    reading_of,
    unit_of_setting,
    value_of,
    words_of,
)
from gainlib.exercises.tables import (
    Amount,
    AnswerEntry,
    AskEntry,
    Drawn,
    MoveEntry,
    ReadingEntry,
    Spec,
    ValueEntry,
    fill_in,
    readings_in,
)
from gainlib.flow import FaderGroup, Send, Session
from gainlib.text import describe_value, is_gain, printed_number

__all__ = ["Exercise", "Variant"]

LETTERS = "ABCDE"
RIDE_STEP_DB = 0.1


@dataclass(frozen=True, eq=False)
class Exercise:
    """One task that a learner answers and the library checks; `variant(learner_id)` draws one learner's numbers.

    `rows` tells of each check which one of the file it came from: one for each strip may have come from the same.

    >>> from gainlib.exercises import load
    >>> load("recording/leave-room").level
    1
    """

    name: str
    spec: Spec
    file: Path
    digest: str
    layout: Layout
    parameters: dict[str, Parameter]
    rows: tuple[int, ...] = ()

    @property
    def title(self) -> str:
        """What it is headed with."""
        return self.spec.title

    @property
    def kind(self) -> str:
        """What the learner does: set, ride, session, reckon, find, judge, hear or record."""
        return self.spec.kind

    @property
    def lesson(self) -> str:
        """The lesson that it belongs to, such as `set-recording-level`."""
        return self.spec.lesson

    @property
    def goal(self) -> str:
        """What the learner can do afterwards."""
        return self.spec.goal

    @property
    def level(self) -> int:
        """How hard it is: 1, 2 or 3."""
        return self.spec.level

    @property
    def out_of(self) -> float:
        """The points that a full answer gets."""
        if self.spec.ladder is not None:
            return 1.0  # for a run that went to its end; what was heard is no mark
        return sum(check.points for check in self.spec.checks) + sum(ask.points for ask in self.spec.asks)

    @property
    def is_marked(self) -> bool:
        """Whether a class marks it unless it says otherwise: what an ear can hear is no mark, nor is a take at home."""
        return self.spec.kind not in ("hear", "record")

    @functools.cached_property
    def takes(self) -> dict[str, Audio]:
        """The recordings that the learner gets, by strip; GainError where they end before what is read of them."""
        takes = self.layout.takes
        longest = max([each.seconds for each in takes.values()] + self.layout.made_seconds)
        latest = max((each.seconds[1] for each in readings_in(self.spec) if each.seconds), default=0.0)
        if latest > longest + 0.00005:
            file = self.layout.plan.strips[0].file
            what = file.name if file is not None and len(self.layout.plan.strips) == 1 else "the longest recording"
            raise GainError(f"{self.file.name}: seconds ends at {latest:g} s; {what} ends at {longest:g} s.")
        return takes

    def variant(self, learner_id: str, class_key: str = "") -> Variant:
        """The exercise with the numbers drawn for one learner: the same learner and key give the same numbers.

        Each number is drawn by HMAC-SHA-256 (*published*, RFC 2104 and FIPS 180-4) over learner, exercise and entry,
        keyed with the class key. Raises GainError when the learner or the key is not text.

        >>> from gainlib.exercises import load
        >>> exercise = load("recording/leave-room")
        >>> exercise.variant("ada").values == exercise.variant("ada").values
        True
        """
        return self.with_values(self.values_for(learner_id, class_key))

    def values_for(self, learner_id: str, class_key: str = "") -> dict[str, float | str | bool]:
        """The numbers that `variant` draws for a learner, and nothing is read for it.

        >>> from gainlib.exercises import load
        >>> exercise = load("recording/leave-room")
        >>> exercise.values_for("ada") == exercise.variant("ada").values
        True
        """
        for name, text in (("learner_id", learner_id), ("class_key", class_key)):
            if not isinstance(text, str):
                raise GainError(f"{name} is {describe_value(text)}; give text.")
        if not learner_id:
            raise GainError("learner_id is empty; give the learner's id, a text of any length.")
        return {name: parameter.draw(class_key, learner_id, self.name) for name, parameter in self.parameters.items()}

    def with_values(self, values: Mapping[str, float | str | bool]) -> Variant:
        """The variant of these drawn values, as a hand-in or a proof gives them; refused where they cannot be drawn.

        >>> from gainlib.exercises import load
        >>> load("recording/leave-room").with_values({"level": -24.0}).values
        {'level': -24.0}
        """
        self.takes  # noqa: B018  (read once, and held against what is read of them)
        require_same_names(values, self.parameters, "drawn value", self.file.name)
        drawn = {name: parameter.require(values[name], self.name) for name, parameter in self.parameters.items()}
        start = begin_session(self.spec, self.layout, drawn)
        controls = tuple(build_control(entry, start, drawn) for entry in self.spec.moves)
        for control in controls:
            start.put(control.path, control.start)
        printed = printed_values(self.parameters, start.session, drawn)
        words = words_of(drawn)
        listen = self.spec.given.listen
        return Variant(
            exercise=self,
            values=drawn,
            brief=_paragraphs(fill_in(self.spec.brief, printed)),
            session=self.layout.heard(start),
            controls=controls,
            candidates=_candidates(self.spec, self.layout, start, drawn, printed),
            listen="/".join(start.session.tap(fill_in(listen, words))) if listen else _last_tap(start.session),
            views=tuple(self.spec.given.views),
            parts={name: (begin, end) for name, (begin, end) in self.spec.given.parts.items()},
            hints=tuple(Hint(fill_in(hint.text, printed), hint.cost) for hint in self.spec.hints),
            matched=self.spec.matched,
            printed=printed,
        )


@dataclass(frozen=True, eq=False)
class Variant:
    """The exercise with the numbers drawn for one learner: what is asked, the session at the start, what may be moved.

    `brief` is text, a blank line between paragraphs; `listen` is the tap to be heard, `views` names what is shown,
    `parts` the stretches of the take, in seconds, whose peaks the waveform tells. `candidates` are the versions to
    judge, `matched` whether they are heard at one loudness; `worked_out` keeps what was measured of it once.

    >>> from gainlib.exercises import load
    >>> variant = load("recording/leave-room").variant("ada")
    >>> [move.label for move in variant.controls]
    ['Preamp gain', 'Trim']
    """

    exercise: Exercise
    values: dict[str, float | str | bool]
    brief: str
    session: Session
    controls: tuple[ControlSpec, ...]
    candidates: tuple[Candidate, ...]
    listen: str
    views: tuple[str, ...]
    parts: dict[str, tuple[float, float]]
    hints: tuple[Hint, ...]
    matched: bool
    printed: dict[str, str] = dataclasses.field(repr=False)
    worked_out: dict[str, Any] = dataclasses.field(default_factory=dict, repr=False)

    @functools.cached_property
    def questions(self) -> tuple[Question, ...]:
        """The questions about the session as given."""
        return tuple(build_question(entry, self) for entry in self.exercise.spec.asks)

    @functools.cached_property
    def checks(self) -> tuple[Reading, ...]:
        """What each check reads, with its bounds as numbers."""
        return tuple(self.reading(check.reads) for check in self.exercise.spec.checks)

    def reading(self, entry: ReadingEntry) -> Reading:
        """What an entry reads in an answer, with its bounds; what these are measured of is the session as given."""
        return reading_of(entry, self.values, self.session, bound=self._measured)

    def _measured(self, value: ValueEntry) -> float:
        key = value.model_dump_json()
        if key not in self.worked_out:
            self.worked_out[key] = value_of(value, self.values, self.session, Renderings())
        return float(self.worked_out[key])

    @property
    def start(self) -> dict[str, Any]:
        """The answer of somebody who has moved nothing yet: path -> value."""
        return {control.path: control.start for control in self.controls}


def begin_session(spec: Spec, layout: Layout, drawn: Drawn) -> Start:
    """The session with what was drawn and planted, over silence still."""
    start, words = layout.start(), words_of(drawn)
    for name, vary in spec.varies.items():
        if vary.path is not None:
            start.put(fill_in(vary.path, words), drawn[name])
    for plant in spec.plant:
        path = fill_in(plant.at, words)
        if plant.by is not None:
            start.put(path, round(float(start.value(path)) + plant.by.amount(drawn), 9))
        elif plant.to is not None:
            start.put(path, plain_part(plant.to, drawn))
    return start


def build_control(entry: MoveEntry, start: Start, drawn: Drawn) -> ControlSpec:
    """One move for these drawn values."""
    path = start.full_path(fill_in(entry.path, words_of(drawn)))
    value = plain_part(entry.start, drawn) if entry.start is not None else start.value(path)
    if entry.points:
        value = tuple((float(seconds), float(gain)) for seconds, gain in value)
    elif entry.options is None:
        value = float(value)
    return ControlSpec(
        path=path,
        low=entry.low or 0.0,
        high=entry.high or 0.0,
        step=entry.step or (RIDE_STEP_DB if entry.points else 0.0),
        start=value,
        label=entry.label or control_label(start.session, path),
        unit="dB" if entry.points else unit_of_setting(start.session, path),
        options=tuple(entry.options or ()),
        points=entry.points,
    )


def control_label(session: Session, path: str) -> str:
    """What the control of a setting is called where a file does not say it; `path` is the full one."""
    part, _, name = path.split("/")
    owner, described = session.held(path)[1], described_setting(session, path)
    if isinstance(owner, Send):
        label = owner.name.capitalize() + (", before the fader" if name == "pre_fader" else "")
    elif isinstance(owner, FaderGroup):
        label = "Group fader"
    else:
        # A second stage of a kind is told apart by the name that it was given.
        kind = owner.kind if owner.name == owner.kind.lower() else owner.name.capitalize()
        own = described.label if described else name.replace("_", " ")
        same = own.lower() in (kind.lower(), owner.kind.lower()) or name in ("points", "ride")
        label = kind if same else f"{kind} {own.lower().removeprefix(f'{owner.kind.lower()} ')}"
    return label if len(session.strips) == 1 else f"{label} of {part}"


def plain_part(entry: AnswerEntry, drawn: Drawn) -> Any:
    """A part of an answer that needs nothing but the drawn values: a number, a text, a switch, points."""
    if entry.plain is None:
        return entry.amount(drawn)
    if isinstance(entry.plain, str):
        return fill_in(entry.plain, words_of(drawn))
    if isinstance(entry.plain, list):
        return tuple(
            tuple(figure.amount(drawn) if isinstance(figure, Amount) else figure for figure in each)
            if isinstance(each, list)
            else fill_in(each, words_of(drawn))
            for each in entry.plain
        )
    return entry.plain


def build_question(entry: AskEntry, variant: Variant) -> Question:
    """One ask as it is put to the learner."""
    choices: tuple[str, ...] = ()
    form, low, high, unit = "choice", 0.0, 0.0, ""
    if entry.expected is not None:
        form, low, high, unit = "number", entry.lowest or 0.0, entry.highest or 0.0, entry.unit
    elif entry.among == "seconds":
        part = variant.session.tap(fill_in(entry.at or "", words_of(variant.values)))[0]
        own = [strip.take.seconds for strip in variant.session.strips if strip.name == part]
        longest = max(own or [strip.take.seconds for strip in variant.session.strips])
        form, high, unit = "seconds", round(longest, 3), "s"
    elif entry.among == "strips":
        choices = tuple(strip.name for strip in variant.session.strips)
    elif entry.among == "stages":
        choices = variant.session.channel(fill_in(entry.of or "", words_of(variant.values))).stage_names
    else:
        form = "order" if entry.order else "choice"
        choices = tuple(candidate.label for candidate in variant.candidates)
    return Question(entry.name, entry.title, form, unit, low, high, choices)


def printed_values(parameters: Mapping[str, Parameter], session: Session, drawn: Drawn) -> dict[str, str]:
    """Each drawn value as a text prints it; the order of candidates is nobody's business."""
    printed = {}
    for name, parameter in parameters.items():
        value = drawn[name]
        if name == ORDER:
            continue
        if isinstance(value, bool):
            printed[name] = "on" if value else "off"
        elif isinstance(value, str):
            printed[name] = value
        else:
            unit = parameter.unit
            if parameter.path is not None and not unit:
                unit = unit_of_path(session, fill_in(parameter.path, words_of(drawn)))
            low, high = parameter.numbers or (0.0, 0.0)
            plus = unit in ("dB", "LU") and (is_gain(parameter.path or "") or low < 0.0 < high)
            printed[name] = printed_number(value, unit, parameter.step, plus=plus)
    return printed


def unit_of_path(session: Session, path: str) -> str:
    """The unit of what a path names, a setting or the given signal; empty for what has none."""
    if "/signal/" in f"/{path}":
        return "Hz" if path.endswith("_hz") else "dBFS"
    return unit_of_setting(session, path)


def _candidates(
    spec: Spec, layout: Layout, start: Start, drawn: Drawn, printed: Mapping[str, str]
) -> tuple[Candidate, ...]:
    if not spec.candidates:
        return ()
    entries = {each.name: each for each in spec.candidates}
    names = str(drawn[ORDER]).split(", ") if ORDER in drawn else list(entries)
    made = []
    for letter, name in zip(LETTERS, names, strict=False):
        own = Start(start.session, dict(start.signals))
        for path, part in entries[name].set_.items():
            own.put(fill_in(path, words_of(drawn)), plain_part(part, drawn))
        made.append(Candidate(letter, layout.heard(own), name, fill_in(entries[name].say or "", printed)))
    return tuple(made)


def _last_tap(session: Session) -> str:
    chain = session.main if session.main is not None else session.strips[0]
    return f"{chain.name}/{chain.stage_names[-1]}"


def require_same_names(given: Iterable[str], wanted: Iterable[str], what: str, name: str) -> None:
    given, wanted = list(given), list(wanted)
    for each in given:
        if each not in wanted:
            raise GainError(f"{name} names {each!r}, which is no {what}; {suggest(each, wanted)}")
    for each in wanted:
        if each not in given:
            raise GainError(f"{name} says nothing of the {what} {each!r}; add it.")


def _paragraphs(text: str) -> str:
    """Lines that were broken in the file joined again; a blank line stays."""
    return "\n\n".join(" ".join(part.split()) for part in re.split(r"\n\s*\n", text.strip()))
