"""An answer measured: every check with its points and its sentence, the slip that it shows, the hint that is next."""

from __future__ import annotations

import math
import numbers
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from gainlib.errors import GainError, nearest
from gainlib.exercises.exercise import filled, printed_setting, setting_of, setting_path
from gainlib.exercises.spec import Check, Reading, shown
from gainlib.flow import Rendering
from gainlib.meters import Measure, measure, measures

if TYPE_CHECKING:
    from gainlib.exercises.exercise import Move, Variant

__all__ = ["CheckLine", "Verdict", "judged"]

MOST_ENTRIES = 100


@dataclass(frozen=True)
class CheckLine:
    """One check of a verdict: what was measured, what was wanted, and which way to go, in one sentence or two."""

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
    >>> variant = load("recording/leave-room").variant("ada")
    >>> variant.check({}).points
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
        head = f"{'Passed' if self.passed else 'Not there yet'}: {_plain(self.points)} of {_points(self.out_of)}"
        if self.hint_cost:
            head += f", {_plain(self.hint_cost)} taken off for hints"
        said = [f"{head}.", *self.notes]
        said += [
            f"{line.title} ({_plain(line.points)} of {_points(line.out_of)}): {line.sentence}" for line in self.lines
        ]
        return "\n".join([*said, *(each for each in (self.slip, self.hint) if each)])

    def __str__(self) -> str:
        return self.text


def judged(variant: Variant, answer: object, hints_used: object) -> Verdict:
    """The verdict on an answer; never raises, whatever the answer is."""
    spec = variant.exercise.spec
    values, unread, notes = _read_answer(variant, answer)
    try:
        rendering = variant.session.replaced(values).render()
    except GainError as fault:
        unread = {move.path: str(fault) for move in variant.moves}
        rendering = variant.session.render()
    lines = tuple(_checked(check, variant, rendering, unread) for check in spec.checks)
    passed = all(line.passed for line in lines)
    slip = None if passed else _met_slip(variant, rendering, unread)
    taken = _taken(hints_used, len(variant.hints))
    earned = sum(line.points for line in lines)
    cost = min(earned, sum(hint.cost for hint in variant.hints[:taken]))
    return Verdict(
        passed=passed,
        points=round(earned - cost, 6),
        out_of=variant.exercise.out_of,
        lines=lines,
        slip=slip,
        hint=None if passed else _next_hint(variant, taken),
        notes=tuple(notes),
        hint_cost=cost,
    )


def met_slips(
    variant: Variant, rendering: Rendering, read: Callable[[Reading, Rendering], float] | None = None
) -> tuple[str, ...]:
    """The names of the slips whose conditions a rendered answer meets; a sound exercise has one at most.

    `read` may be given where readings are remembered.
    """
    value_of = read or reading_value
    return tuple(
        slip.name
        for slip in variant.exercise.spec.slips
        if all(not reading_side(reading, value_of(reading, rendering)) for reading in slip.when)
    )


def _read_answer(variant: Variant, answer: object) -> tuple[dict[str, float], dict[str, str], list[str]]:
    """The values that can be used, for each other move why not, and sentences about what belongs to no move."""
    moves = {move.path: move for move in variant.moves}
    try:
        # A learner's answer may be any object at all, one that fails while it is read included.
        given = dict(answer) if isinstance(answer, Mapping) else None
    except Exception:
        given = None
    if given is None or len(given) > MOST_ENTRIES:
        why = "it holds too much" if given else f"it is {shown(answer)}"
        sentence = f"The answer cannot be read: {why}; a value for each control is wanted."
        return {}, dict.fromkeys(moves, "no value came with the answer"), [sentence]
    values: dict[str, float] = {}
    unread: dict[str, str] = {}
    notes: list[str] = []
    strips = len(variant.session.strips)
    for key, value in given.items():
        path = key if isinstance(key, str) else ""
        if strips == 1 and path.count("/") == 1:
            path = f"{variant.session.strips[0].name}/{path}"
        if path not in moves:
            close = nearest(path[:80], moves) if path else f"known are {', '.join(moves)}."
            notes.append(f"The answer names {shown(key)}, which is not one of the controls; {close}")
            continue
        number, fault = _number(value, moves[path])
        if fault:
            unread[path] = fault
        else:
            values[path] = number
    for path, move in moves.items():
        if path not in values and path not in unread:
            unread[path] = f"no value for {move.label} came with the answer"
    return values, unread, notes


def _number(value: object, move: Move) -> tuple[float, str]:
    fault = f"{move.label} is {shown(value)}; it must be a number"
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        return math.nan, fault
    try:
        number = float(value)
    except Exception:  # a foreign number type may fail in ways of its own
        return math.nan, fault
    if not math.isfinite(number):
        return math.nan, fault
    if not move.low <= number <= move.high:
        came, low, high = (printed_setting(each, move.unit, move.step) for each in (number, move.low, move.high))
        return math.nan, f"{move.label} is {came}; the control goes from {low} to {high}"
    return number, ""


def _checked(check: Check, variant: Variant, rendering: Rendering, unread: Mapping[str, str]) -> CheckLine:
    blocking = list(dict.fromkeys(why for path, why in unread.items() if _reaches(path, check.reads, variant)))
    if blocking:
        sentence = f"Not measured: {'; '.join(blocking)}."
        return CheckLine(check.title, False, 0.0, check.points, sentence)
    value = reading_value(check.reads, rendering)
    side = reading_side(check.reads, value)
    words = {
        **variant.printed,
        "measured": _print(check.reads, value, rendering),
        "wanted": _wanted(check.reads, rendering),
        "off": _off(check.reads, value, rendering),
    }
    own = {"low": check.low, "high": check.high, "": check.good}[side]
    told = filled(own, words) if own else ""
    if not own or (side and "{measured}" not in own and "{wanted}" not in own):
        how = {"low": f" That is {words['off']} too low.", "high": f" That is {words['off']} too high.", "": ""}[side]
        told = f"{words['measured']}; wanted: {words['wanted']}.{' ' + told if own else how}"
    return CheckLine(check.title, not side, 0.0 if side else check.points, check.points, told)


def _reaches(path: str, reading: Reading, variant: Variant) -> bool:
    """Whether a setting can have a part in what is read: it is the setting, or stands in front of the tap."""
    strip, stage, _ = path.split("/")
    if reading.setting is not None:
        return path == setting_path(variant.session, reading.setting)
    tap_strip, tap_stage = variant.session.tap(reading.at or "")
    if strip != tap_strip:
        return True  # what strips feed each other is the flow's matter; the safe answer is yes
    names = variant.session.strip(strip).stage_names
    return names.index(stage) <= names.index(tap_stage)


def reading_value(reading: Reading, rendering: Rendering) -> float:
    """What is read, rounded as it is printed: a learner is judged by the figure on the screen."""
    if reading.setting is not None:
        return float(rendering.session.setting(reading.setting))
    audio = rendering.at(reading.at or "")
    if reading.seconds:
        audio = audio.between(reading.seconds[0], reading.seconds[1])
    name = reading.measure or ""
    value = float(measure(name, audio))
    return value if math.isinf(value) else round(value, measures()[name].digits)


def reading_side(reading: Reading, value: float) -> str:
    if reading.at_least is not None and not value >= reading.at_least:
        return "low"
    if reading.at_most is not None and not value <= reading.at_most:
        return "high"
    return ""


def _holds(reading: Reading, rendering: Rendering) -> bool:
    return not reading_side(reading, reading_value(reading, rendering))


def reading_unit(reading: Reading, rendering: Rendering) -> str:
    if reading.measure:
        return measures()[reading.measure].unit
    known = setting_of(rendering.session, reading.setting or "")
    return known.unit if known else ""


def _print(reading: Reading, value: float, rendering: Rendering, *, bound: bool = False) -> str:
    known: Measure | None = measures()[reading.measure] if reading.measure else None
    if known and not (bound and float(value).is_integer()):
        return known.printed(value)
    return printed_setting(value, reading_unit(reading, rendering), 1.0 if bound else 0.1)


def _wanted(reading: Reading, rendering: Rendering) -> str:
    low, high = reading.at_least, reading.at_most
    unit = reading_unit(reading, rendering)
    if low is not None and high is not None:
        if low == high:
            return f"exactly {_print(reading, low, rendering, bound=True)}"
        first = _print(reading, low, rendering, bound=True).removesuffix(unit).strip()
        return f"{first} to {_print(reading, high, rendering, bound=True)}"
    if high is not None:
        return "none" if high == 0 and not unit else f"at most {_print(reading, high, rendering, bound=True)}"
    return f"at least {_print(reading, low or 0.0, rendering, bound=True)}"


def _off(reading: Reading, value: float, rendering: Rendering) -> str:
    """How far off: to the middle of what is wanted, or to the one bound; a clipped reading tells only the least."""
    if not reading_side(reading, value):
        return "nothing"
    if math.isinf(value):
        return "a long way"
    low, high = reading.at_least, reading.at_most
    aim = (low + high) / 2 if low is not None and high is not None else high if high is not None else low or 0.0
    distance = abs(value - aim)
    unit = {"dBFS": "dB", "dBTP": "dB", "dBu": "dB", "LUFS": "LU"}.get(unit := reading_unit(reading, rendering), unit)
    if not unit:
        return f"{distance:.0f}"
    cut = value > aim and _clipped_within(reading, rendering)
    return f"{'at least' if cut else 'about'} {math.ceil(round(distance * 10, 6)) / 10:.1f} {unit}"


def _clipped_within(reading: Reading, rendering: Rendering) -> bool:
    """Whether a stage up to the tap clipped in the part that was read, so that the true level was higher."""
    if reading.at is None:
        return False
    strip_name, tap = rendering.session.tap(reading.at)
    strip = rendering.session.strip(strip_name)
    rate_hz = strip.take.rate_hz
    start, end = reading.seconds or (0.0, strip.take.seconds)
    for name in strip.stage_names[: strip.stage_names.index(tap) + 1]:
        if rendering.level(f"{strip_name}/{name}").clipped:
            at = rendering.clipped(f"{strip_name}/{name}").start / rate_hz
            if bool(((at >= start) & (at < end)).any()):
                return True
    return False


def _met_slip(variant: Variant, rendering: Rendering, unread: Mapping[str, str]) -> str | None:
    for slip in variant.exercise.spec.slips:
        readable = not any(_reaches(path, reading, variant) for path in unread for reading in slip.when)
        if readable and all(_holds(reading, rendering) for reading in slip.when):
            return filled(slip.say, variant.printed)
    return None


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
    return f"A hint is there ({taken + 1} of {len(variant.hints)}); it costs {_points(hint.cost)}."


def _plain(points: float) -> str:
    return f"{points:g}"


def _points(points: float) -> str:
    return f"{points:g} {'point' if points == 1 else 'points'}"
