"""An answer measured: every check and ask with points and sentence, the slip that it shows, the hint that is next."""

from __future__ import annotations

import numbers
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises.answers import read_answer
from gainlib.exercises.ladder import TRIALS, ladder_of, staircase_of
from gainlib.exercises.questions import ExpectedAnswer, expected_answers, meets
from gainlib.exercises.readings import MeasuredRendering, Reading, Renderings
from gainlib.exercises.recorded import reported
from gainlib.exercises.staircase import REVERSALS
from gainlib.exercises.tables import AskEntry, CheckEntry, WhenEntry, fill_in
from gainlib.exercises.variant import Variant
from gainlib.text import counted

__all__ = ["CheckLine", "Verdict", "check"]

HALF_DB = 3.0
"""So far below a whole lies what has half of its power."""


@dataclass(frozen=True)
class CheckLine:
    """One check or ask of a verdict: what was measured, what was wanted, and which way to go, in a sentence or two."""

    title: str
    passed: bool
    points: float
    out_of: float
    sentence: str


@dataclass(frozen=True)
class Verdict:
    """What the checking of one answer gives; `text` says all of it in words.

    `slip` is the sentence for a known wrong answer, `hint` the next hint (a hint that costs points is offered, not
    told), `notes` what could not be read in the answer.

    >>> from gainlib.exercises import load
    >>> check(load("recording/leave-room").variant("ada"), {}).points
    0.0
    """

    passed: bool
    points: float
    out_of: float
    lines: tuple[CheckLine, ...]
    slip: str | None = None
    hint: str | None = None
    notes: tuple[str, ...] = ()
    hint_cost: float = 0.0

    @property
    def text(self) -> str:
        """The verdict in words, one line for each thing it says."""
        head = (
            f"{'Passed' if self.passed else 'Not there yet'}: {_plain(self.points)} of {counted(self.out_of, 'point')}"
        )
        if self.hint_cost:
            head += f", {_plain(self.hint_cost)} taken off for hints"
        said = [f"{head}.", *self.notes]
        said += [
            f"{line.title} ({_plain(line.points)} of {counted(line.out_of, 'point')}): {line.sentence}"
            for line in self.lines
        ]
        return "\n".join([*said, *(each for each in (self.slip, self.hint) if each)])

    def __str__(self) -> str:
        return self.text


def check(variant: Variant, answer: object, hints_used: object = 0, renderings: Renderings | None = None) -> Verdict:
    """Measure an answer (path or ask -> value) and say in words what is met, what is not, and which way to go.

    Whatever the answer holds, nothing is raised: what cannot be read is told in a sentence and gets no points.
    `hints_used` is how many hints the learner took; their cost comes off the points. `renderings` may have come from
    another answer to the same exercise: what did not change is taken over from it.

    >>> from gainlib.exercises import author_answer, load
    >>> variant = load("recording/leave-room").variant("ada")
    >>> check(variant, author_answer(variant)).passed
    True
    """
    spec = variant.exercise.spec
    if spec.ladder is not None:
        return _climbed(variant, answer)
    figures = reported(variant, answer)
    answers, unread, notes = ({}, {}, []) if figures is not None else read_answer(variant, answer)
    renderings = renderings or Renderings()
    read: MeasuredRendering | None
    try:
        truths = expected_answers(variant, renderings)
        session = variant.session.replaced({path: answers[path] for path in answers if "/" in path})
        read = figures or (renderings.read(session) if spec.checks else None)
        checks = zip(spec.checks, variant.checks, strict=True) if read else ()
        lines = [_checked(entry, reading, read, variant, unread) for entry, reading in checks]
        if read:
            lines = _one_step(lines, variant, read, unread)
    except GainError as fault:
        lines = [CheckLine(each.title, False, 0.0, each.points, _not_measured(fault)) for each in spec.checks]
        truths, read = (), None
    lines += [_asked(entry, truth, answers, unread, variant) for entry, truth in zip(spec.asks, truths, strict=False)]
    lines += [CheckLine(each.title, False, 0.0, each.points, "Not measured.") for each in spec.asks[len(truths) :]]
    passed = all(line.passed for line in lines)
    if passed:
        lines[-1] = _told_afterwards(lines[-1], variant)
    taken = _taken(hints_used, len(variant.hints))
    earned = sum(line.points for line in lines)
    cost = min(earned, sum(hint.cost for hint in variant.hints[:taken]))
    return Verdict(
        passed=passed,
        points=round(earned - cost, 6),
        out_of=variant.exercise.out_of,
        lines=tuple(lines),
        slip=None if passed or (read is None and not truths) else _met_slip(variant, read, answers, unread, renderings),
        hint=None if passed else _next_hint(variant, taken),
        notes=tuple(notes),
        hint_cost=cost,
    )


def _climbed(variant: Variant, answer: object) -> Verdict:
    """A run of a ladder: a point for one that went to its end, whatever was heard, and the result in words."""
    title, trials = ladder_of(variant).question, answer.get(TRIALS) if isinstance(answer, Mapping) else None
    try:
        run = staircase_of(variant, trials if trials is not None else ())
    except GainError as fault:
        told = f"{str(fault)[:1].upper()}{str(fault)[1:]}"
        return Verdict(False, 0.0, 1.0, (CheckLine(title, False, 0.0, 1.0, told),))
    found = ladder_of(variant).threshold(run)
    if found is None:
        turned = f"the ladder ends after {REVERSALS} turns, and this run had {len(run.reversals)}"
        told = f"{counted(len(run.answers), 'trial')}; {turned}."
        return Verdict(False, 0.0, 1.0, (CheckLine(title, False, 0.0, 1.0, told),))
    return Verdict(True, 1.0, 1.0, (CheckLine(title, True, 1.0, 1.0, " ".join(found.sentences)),))


def met_slips(
    variant: Variant, read: MeasuredRendering | None, answers: Mapping[str, Any], renderings: Renderings | None = None
) -> tuple[str, ...]:
    """The names of the slips that an answer meets; a sound exercise has one at most. `read` is of its session."""
    renderings = renderings or Renderings()
    return tuple(
        slip.name
        for slip in variant.exercise.spec.slips
        if all(_looks_so(when, variant, read, answers, renderings) for when in slip.when)
    )


def _looks_so(
    when: WhenEntry,
    variant: Variant,
    read: MeasuredRendering | None,
    answers: Mapping[str, Any],
    renderings: Renderings,
) -> bool:
    if when.ask is not None:
        return meets(when, dict(answers), variant, renderings)
    if read is None:
        return False
    reading = variant.reading(when)
    return not reading.side(read.value(reading))


def _met_slip(
    variant: Variant,
    read: MeasuredRendering | None,
    answers: Mapping[str, Any],
    unread: Mapping[str, str],
    renderings: Renderings,
) -> str | None:
    for slip in variant.exercise.spec.slips:
        readings = [variant.reading(when) for when in slip.when if when.ask is None]
        readable = not any(reaches(path, reading, variant) for path in unread for reading in readings)
        try:
            met = readable and all(_looks_so(when, variant, read, answers, renderings) for when in slip.when)
        except GainError:
            met = False
        if met:
            return fill_in(slip.say, variant.printed)
    return None


def _not_measured(fault: object) -> str:
    return f"Not measured: {str(fault).rstrip('.')}."


def _checked(
    entry: CheckEntry, reading: Reading, read: MeasuredRendering | None, variant: Variant, unread: Mapping[str, str]
) -> CheckLine:
    assert read is not None
    blocking = list(dict.fromkeys(why for name, why in unread.items() if reaches(name, reading, variant)))
    if blocking:
        return CheckLine(entry.title, False, 0.0, entry.points, _not_measured("; ".join(blocking)))
    try:
        value = read.value(reading)
    except GainError as fault:
        return CheckLine(entry.title, False, 0.0, entry.points, _not_measured(fault))
    session = read.rendering.session
    side = reading.side(value)
    words = {
        **variant.printed,
        "measured": reading.printed(value, session),
        "wanted": reading.wanted(session),
        "off": reading.off(value, read.rendering),
    }
    own = {"low": entry.low, "high": entry.high, "": entry.good}[side]
    if side and reading.options:  # a switch stands wrong to neither side
        own = entry.low or entry.high
    told = fill_in(own, words) if own else ""
    if not own or (side and "{measured}" not in own and "{wanted}" not in own):
        how = (
            ""
            if reading.options
            else {"low": f" That is {words['off']} too low.", "high": f" That is {words['off']} too high.", "": ""}[
                side
            ]
        )
        told = f"{words['measured']}; wanted: {words['wanted']}.{' ' + told if own else how}"
    return CheckLine(entry.title, not side, 0.0 if side else entry.points, entry.points, told)


def _one_step(
    lines: list[CheckLine], variant: Variant, read: MeasuredRendering, unread: Mapping[str, str]
) -> list[CheckLine]:
    """One cure at a time: where a strip misses two levels, the one further on moves as the first is mended.

    So it tells what was measured and no cure of its own, which would be too much by the amount of the first. A control
    of the strip that stands where it should not comes before the levels behind it.
    """
    session = read.rendering.session
    missed: dict[int, tuple[str, float]] = {}
    for index, (line, reading) in enumerate(zip(lines, variant.checks, strict=True)):
        measured = not any(reaches(path, reading, variant) for path in unread)
        if not measured or line.passed or reading.less is not None:
            continue
        if reading.probe.setting is None:
            strip, stage = session.tap(reading.probe.at)
        else:
            strip, stage, _ = session.full_path(reading.probe.setting).split("/")
        names = session.channel(strip).stage_names if strip not in [each.name for each in session.groups] else ()
        if stage in names:
            missed[index] = strip, names.index(stage) - (0.5 if reading.probe.setting is not None else 0.0)
    said = list(lines)
    for index, (strip, place) in missed.items():
        before = min((each[1], at) for at, each in missed.items() if each[0] == strip)[1]
        reading, entry = variant.checks[index], variant.exercise.spec.checks[index]
        if reading.probe.setting is not None:  # it stands where it was put, whatever is mended before it
            continue
        try:
            value = read.value(reading)
        except GainError:
            continue
        own = entry.low if reading.side(value) == "low" else entry.high
        alike = reading.probe.name == variant.checks[before].probe.name
        if missed[before][1] < place and (alike or not own or "{off}" in own):
            figures = f"{reading.printed(value, session)}; wanted: {reading.wanted(session)}."
            told = f"{figures} Mend “{lines[before].title}” first: this moves with it."
            said[index] = replace(lines[index], sentence=told)
    return _hum_first(said, variant, read)


def _hum_first(lines: list[CheckLine], variant: Variant, read: MeasuredRendering) -> list[CheckLine]:
    """Where half of the noise and more is hum, which is missed as well, the noise has no cure of its own."""
    missed = {
        (each.probe.measure, each.probe.at, each.less): index
        for index, each in enumerate(variant.checks)
        if not lines[index].passed
    }
    said = list(lines)
    for (measure, at, less), index in missed.items():
        hum = missed.get(("hum_dbfs", at, less))
        if measure != "noise_floor_dbfs" or hum is None:
            continue
        reading, session = variant.checks[index], read.rendering.session
        try:
            noise_db, hum_db = read.value(reading), read.value(variant.checks[hum])
        except GainError:
            continue
        if hum_db >= noise_db - HALF_DB:
            figures = f"{reading.printed(noise_db, session)}; wanted: {reading.wanted(session)}."
            told = f"{figures} Most of it is hum: mend “{lines[hum].title}” first."
            said[index] = replace(lines[index], sentence=told)
    return said


def _asked(
    entry: AskEntry, truth: ExpectedAnswer, answers: Mapping[str, Any], unread: Mapping[str, str], variant: Variant
) -> CheckLine:
    name = entry.name
    if name not in answers:
        said = unread.get(name, "there is no answer yet")
        end = "" if said.endswith("?") else "."
        return CheckLine(entry.title, False, 0.0, entry.points, f"{said[:1].upper()}{said[1:]}{end}")
    given = answers[name]
    side = truth.side(given)
    words = {
        **variant.printed,
        "answered": truth.printed(given),
        "measured": truth.measured,
        "wanted": truth.printed(truth.right),
        "off": truth.off(given),
    }
    own = {"low": entry.low, "high": entry.high, "wrong": entry.wrong, "": entry.good}[side] or entry.wrong
    own = entry.good if not side else own
    usual = {
        "low": "That is {off} too low.",
        "high": "That is {off} too high.",
        "wrong": "That is not it.",
        "": "It is {measured}." if isinstance(given, float) else f"That is right: {truth.measured_in_words}.",
    }[side]
    text = own or usual
    said = fill_in(text if "{answered}" in text else f"You said: {{answered}}. {text}", words)
    return CheckLine(entry.title, not side, 0.0 if side else entry.points, entry.points, said)


def _told_afterwards(line: CheckLine, variant: Variant) -> CheckLine:
    """The last line with what each candidate was, once all is passed."""
    said = [f"{each.label}: {each.say.rstrip('.')}." for each in variant.candidates if each.say]
    return replace(line, sentence=" ".join([line.sentence, *said])) if said else line


def reaches(path: str, reading: Reading, variant: Variant) -> bool:
    """Whether a move can have a part in what is read: it is the setting, or stands in front of a tap."""
    if "/" not in path:
        return False  # an ask: nothing that is rendered follows it
    strip, stage, _ = path.split("/")
    for probe in (reading.probe, reading.less):
        if probe is None:
            continue
        if probe.setting is not None:
            if path == variant.session.full_path(probe.setting):
                return True
            continue
        tap_strip, tap_stage = variant.session.tap(probe.at)
        names = variant.session.channel(tap_strip).stage_names
        # What strips and buses feed each other is the flow's matter; the safe answer is yes.
        if strip != tap_strip or stage not in names or names.index(stage) <= names.index(tap_stage):
            return True
    return False


def _taken(hints_used: object, count: int) -> int:
    if isinstance(hints_used, bool) or not isinstance(hints_used, numbers.Integral):
        return 0
    return max(0, min(int(hints_used), count))


def _next_hint(variant: Variant, taken: int) -> str | None:
    if taken >= len(variant.hints):
        return None
    hint = variant.hints[taken]
    if hint.cost == 0:
        return f"Hint: {hint.text}"
    return f"A hint is there ({taken + 1} of {len(variant.hints)}); it costs {counted(hint.cost, 'point')}."


def _plain(points: float) -> str:
    return f"{points:g}"
