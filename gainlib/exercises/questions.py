"""The questions of an exercise: what is right, measured on the session as given; and an answer held against it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gainlib.errors import GainError
from gainlib.exercises.each_strip import within_part
from gainlib.exercises.model import Question
from gainlib.exercises.readings import COUNTED, DIFFERENCES, Reading, Renderings, reading_of, value_of, words_of
from gainlib.exercises.tables import AskEntry, Drawn, WhenEntry, fill_in
from gainlib.exercises.variant import Variant
from gainlib.flow import Session
from gainlib.meters import clipped_runs, momentary_lufs
from gainlib.text import describe_value, printed_number, signed

__all__ = ["ExpectedAnswer", "expected_answers"]

TIE = 1e-9


@dataclass(frozen=True)
class ExpectedAnswer:
    """What is right for one ask: a number, the label of a choice, labels in order, or a moment in seconds.

    `read` is what was read of each choice, in `unit`, `told` the same as it is printed, `counted` what a number without
    a unit is of; `margin` is how far the right choice stands from the next. `fault` says why there is no right answer,
    and is empty in a sound exercise.
    """

    question: Question
    right: float | str | tuple[str, ...]
    within: float = 0.0
    read: dict[str, float] = field(default_factory=dict, hash=False)
    told: dict[str, str] = field(default_factory=dict, hash=False)
    margin: float = math.inf
    unit: str = ""
    counted: str = ""
    fault: str = ""

    def accepts(self, answer: object) -> bool:
        """Whether an answer that could be read is right."""
        if self.fault:
            return False
        if isinstance(self.right, float):
            return isinstance(answer, float) and abs(answer - self.right) <= self.within + TIE * max(1.0, abs(answer))
        return answer == self.right

    def side(self, answer: object) -> str:
        """Where an answer lies: "" for right, "low" or "high" for a number, "wrong" for a choice."""
        if self.accepts(answer):
            return ""
        if isinstance(self.right, float) and isinstance(answer, float):
            return "low" if answer < self.right else "high"
        return "wrong"

    def printed(self, answer: object) -> str:
        """An answer, or what is right, as a sentence prints it."""
        if isinstance(answer, float):
            return printed_number(answer, self.question.unit)
        return " before ".join(answer) if isinstance(answer, tuple) else str(answer)

    @property
    def measured(self) -> str:
        """What was measured: the right number as finely as its tolerance asks, or the reading of the right choice."""
        if isinstance(self.right, float):
            digits = next((count for count in range(4) if self.within >= 10.0**-count), 4)
            return signed(self.right, digits, self.question.unit, plus=False)
        labels = self.right if isinstance(self.right, tuple) else (self.right,)
        return ", ".join(self.told[label] for label in labels if label in self.told)

    @property
    def measured_in_words(self) -> str:
        """The same with what is counted, where that is no unit."""
        told = self.measured
        return f"{told} {self.counted.removesuffix('s') if told == '1' else self.counted}".rstrip()

    def off(self, answer: object) -> str:
        """How far off a number is, roughly, so that it stays something to work out: 5 to 10 dB."""
        if not isinstance(answer, float) or not isinstance(self.right, float) or self.accepts(answer):
            return "nothing"
        distance = abs(answer - self.right)
        if not math.isfinite(distance):
            return "a long way"
        decade = 10.0 ** math.floor(math.log10(distance))
        steps = [decade, 2 * decade, 5 * decade, 10 * decade]
        low, high = next(pair for pair in itertools.pairwise(steps) if distance < pair[1] or pair[1] == steps[-1])
        unit = DIFFERENCES.get(self.question.unit, self.question.unit)
        return f"{low:g} to {high:g} {unit}".rstrip()


def expected_answers(variant: Variant, renderings: Renderings | None = None) -> tuple[ExpectedAnswer, ...]:
    """What is right for each ask, measured or reckoned from the session as given; worked out once for a variant."""
    if "expected answers" not in variant.worked_out:
        chain = renderings or Renderings()
        asked = zip(variant.exercise.spec.asks, variant.questions, strict=True)
        variant.worked_out["expected answers"] = tuple(
            _expected_answer(entry, ask, variant, chain) for entry, ask in asked
        )
    known: tuple[ExpectedAnswer, ...] = variant.worked_out["expected answers"]
    return known


def _expected_answer(entry: AskEntry, ask: Question, variant: Variant, renderings: Renderings) -> ExpectedAnswer:
    """What is right for this ask in this variant; GainError where it cannot be measured at all."""
    if entry.expected is not None:
        within = entry.within or 0.0
        value = value_of(entry.expected, variant.values, variant.session, renderings)
        if not math.isfinite(value):
            return ExpectedAnswer(ask, value, within, fault=f"what is expected is {describe_value(value)}")
        return ExpectedAnswer(ask, value, within)
    if entry.among == "seconds":
        return _moment(entry, ask, variant, renderings)
    assert entry.by is not None
    readings = dict(_of_each(entry, ask, variant, renderings))
    if not readings:
        raise GainError(f"nothing can be read for the ask {ask.name!r}; no choice has what by names.")
    read = {label: value for label, (_, value) in readings.items()}
    told = {label: reading.printed(value, variant.session, plus=False) for label, (reading, value) in readings.items()}
    first = next(iter(readings.values()))[0]
    unit, counted = first.unit(variant.session), COUNTED.get(first.probe.name, "")
    right: str | tuple[str, ...]
    if any(math.isnan(value) for value in read.values()):
        right, margin, fault = "", 0.0, "two silences cannot be compared"
    elif entry.order:
        right = tuple(sorted(read, key=lambda label: read[label], reverse=entry.order == "falling"))
        margin = min(abs(read[one] - read[two]) for one, two in itertools.pairwise(right))
        fault = "" if margin > TIE else "two of them read the same"
    else:
        right, margin, fault = _picked(entry, {label: pair[0] for label, pair in readings.items()}, read)
    return ExpectedAnswer(ask, right, read=read, told=told, margin=margin, unit=unit, counted=counted, fault=fault)


def _picked(entry: AskEntry, readings: dict[str, Reading], read: dict[str, float]) -> tuple[str, float, str]:
    """The label that is right, how far it stands from the next, and why there is none."""
    if entry.pick in ("largest", "smallest"):
        sign = 1.0 if entry.pick == "largest" else -1.0
        ranked = sorted(read, key=lambda label: sign * read[label], reverse=True)
        margin = abs(read[ranked[0]] - read[ranked[1]]) if len(ranked) > 1 else math.inf
        if math.isnan(margin) or margin <= TIE:
            return "", 0.0, f"{ranked[0]} and {ranked[1]} read the same"
        return ranked[0], margin, ""
    inside = [label for label, value in read.items() if not readings[label].side(value)]
    if not inside:
        return "", 0.0, "none of them lies within the bounds"
    if entry.pick != "first" and len(inside) > 1:
        return "", 0.0, f"{inside[0]} and {inside[1]} both lie within the bounds"
    right = inside[0]
    rooms = [abs(readings[label].room(value)) for label, value in read.items()]
    return right, min(rooms), ""


def _of_each(
    entry: AskEntry, ask: Question, variant: Variant, renderings: Renderings
) -> Iterable[tuple[str, tuple[Reading, float]]]:
    """What `by` reads of each choice, by its label; a choice that has nothing of the kind is left out."""
    assert entry.by is not None
    if entry.among is None:
        for candidate in variant.candidates:
            reading = reading_of(entry.by, variant.values, candidate.session)
            yield candidate.label, (reading, renderings.read(candidate.session).value(reading))
        return
    read = renderings.read(variant.session)
    for label in ask.choices:
        of_choice = choice_reading(entry, label, variant.values, variant.session)
        if of_choice is not None:
            yield label, (of_choice, read.value(of_choice))


def choice_reading(entry: AskEntry, label: str, drawn: Drawn, session: Session) -> Reading | None:
    """What is read of one strip or one stage; None for a strip without that stage, a stage that does not tell it."""
    assert entry.by is not None
    if entry.among == "strips":
        by = within_part(entry.by, label)
        stage = fill_in(entry.by.at or (entry.by.setting or "").rpartition("/")[0], words_of(drawn))
        if stage not in session.channel(label).stage_names and stage not in [
            send.name for send in session.channel(label).sends
        ]:
            return None
        return reading_of(by, drawn, session)
    part = fill_in(entry.of or "", words_of(drawn))
    by = within_part(entry.by, part)
    try:
        return reading_of(by, drawn, session, at=f"{part}/{label}")
    except GainError:
        if by.told is None:
            raise
        return None  # not every stage tells it


def _moment(entry: AskEntry, ask: Question, variant: Variant, renderings: Renderings) -> ExpectedAnswer:
    tap = fill_in(entry.at or "", words_of(variant.values))
    rendering = renderings.read(variant.session).rendering
    audio, within, fault = rendering.at(tap), entry.within or 0.0, ""
    rate_hz = audio.rate_hz
    if entry.moment == "first clipped run":
        own = rendering.level(tap).clipped
        runs = rendering.clipped(tap) if own else clipped_runs(audio.samples)
        if not len(runs):
            return ExpectedAnswer(ask, math.nan, within, fault="nothing is clipped there")
        return ExpectedAnswer(ask, float(runs.start.min()) / rate_hz, within)
    if entry.moment == "highest peak":
        levels = np.abs(audio.samples).max(axis=1)
        at = int(levels.argmax())
        reach = int((within + 0.05) * rate_hz)
        rest = max(levels[: max(0, at - reach)].max(initial=0.0), levels[at + reach :].max(initial=0.0))
        top = float(levels[at])
        if top == 0.0:
            return ExpectedAnswer(ask, math.nan, within, fault="it is silent")
        margin = 20.0 * math.log10(top / rest) if rest > 0.0 else math.inf
        fault = "another moment peaks as high" if margin < 0.05 else ""
        return ExpectedAnswer(ask, at / rate_hz, within, margin=margin, unit="dB", fault=fault)
    momentary = np.asarray(momentary_lufs(audio.samples, rate_hz))
    if not len(momentary) or not np.isfinite(momentary).any():
        return ExpectedAnswer(ask, math.nan, within, fault="it is silent or shorter than 0.4 s")
    # Value k is of the 400 ms that end at 0.40 s + k x 0.01 s; the moment is their middle.
    return ExpectedAnswer(ask, 0.2 + 0.01 * int(momentary.argmax()), within)


# --- what was answered ---


def label_of(named: object, variant: Variant) -> Any:
    """A strip's, stage's or candidate's name (or a row of them) as the labels that the learner sees."""
    if isinstance(named, list):
        return tuple(label_of(each, variant) for each in named)
    name = fill_in(str(named), words_of(variant.values))
    return next((each.label for each in variant.candidates if each.name == name), name)


def meets(when: WhenEntry, answers: dict[str, Any], variant: Variant, renderings: Renderings) -> bool:
    """Whether an answer to an ask is the one that a slip looks for; a right answer is no slip."""
    truth = next(each for each in expected_answers(variant, renderings) if each.question.name == when.ask)
    given = answers.get(truth.question.name)
    if given is None or truth.accepts(given):
        return False
    if when.near is not None:
        aim = value_of(when.near, variant.values, variant.session, renderings)
        return isinstance(given, float) and abs(given - aim) <= (when.within or truth.within) + TIE
    return bool(given == label_of(when.is_, variant))
