"""What a proof rests on: the variants of an exercise, every answer that was measured, and what is noted of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gainlib.authoring.messages import FileFault
from gainlib.authoring.sampling import look_ms, sample_variants
from gainlib.authoring.search import Answer, on_step, part_of, reach_around, search
from gainlib.errors import GainError
from gainlib.exercises.model import ControlSpec
from gainlib.exercises.parameters import ORDER
from gainlib.exercises.questions import expected_answers
from gainlib.exercises.readings import LEVEL_UNITS, Reading, Renderings
from gainlib.exercises.solution import answer_from
from gainlib.exercises.tables import SlipEntry
from gainlib.exercises.variant import Exercise, Variant
from gainlib.exercises.verdict import met_slips, reaches
from gainlib.storage.entry_faults import Place
from gainlib.storage.positions import line_of
from gainlib.text import counted, describe_value

__all__ = ["Evidence", "FoundAnswer", "Look", "describe_found", "describe_numbers", "describe_settings"]

MOST_TOLD = 6  # settings of an answer in one sentence
ANSWERS = 400  # evenly spread answers over all variants together
MOST_LOOKS = 480  # answers that one search may try
LEAST_VARIANTS = 4
LEAST_LOOKS = 24
# What a proof may cost, in milliseconds as they were measured once; a count of looks, so that two proofs are equal.
MOST_VARIANTS_MS = 300_000.0  # for what is looked at in every variant; far beyond a usual file
QUICK_MS, LEAST_QUICK_VARIANTS, MOST_QUICK_VARIANTS = 1500.0, 2, 8
BUDGET_MS, BUDGET_MS_A_VARIANT, MOST_BUDGET_MS = 700.0, 150.0, 30_000.0


@dataclass(frozen=True, eq=False)
class Look:
    """One answer measured: the value of each check, where each check and ask missed, the slips that it meets."""

    variant: Variant
    answer: Answer
    values: tuple[float, ...]
    sides: tuple[str, ...]
    slips: tuple[str, ...]

    @property
    def passed(self) -> bool:
        return not any(self.sides)

    @property
    def failed(self) -> tuple[int, ...]:
        return tuple(index for index, side in enumerate(self.sides) if side)


@dataclass(frozen=True)
class FoundAnswer:
    """An answer that a search found in a variant where the author's fails: the variant's numbers, and each setting.

    `passes` tells of each control that is a number from where to where it passes while the others stand; empty where
    that was not looked at.
    """

    values: dict[str, Any]
    answer: Answer
    passes: dict[str, tuple[float, float]]


class Evidence:
    """One exercise under proof; every answer that is measured is kept, and what is wrong or shown is noted.

    `progress` is told what is looked at and how many answers have been measured; `quick` looks at few variants.
    """

    def __init__(
        self,
        exercise: Exercise,
        lines: dict[Place, int],
        most: int,
        *,
        quick: bool = False,
        progress: Callable[[str, int], None] = lambda doing, answers: None,
    ) -> None:
        self.exercise, self.spec, self.lines = exercise, exercise.spec, lines
        self.doing, self._progress = "reading the file", progress
        self.faults: list[FileFault] = []
        self.remarks: list[FileFault] = []
        self.shown: list[str] = []
        self.looks: list[Look] = []
        self.count = len(self.spec.checks)
        self.renderings = Renderings()
        self._known: dict[tuple[Any, ...], Look] = {}
        budget = min(BUDGET_MS + BUDGET_MS_A_VARIANT * most, MOST_BUDGET_MS) / look_ms(exercise)
        each = (2 + len(self.spec.slips)) if self.spec.checks else max(1, len(self.spec.candidates))
        each = each if self.spec.ladder is None else 2 * len(self.spec.ladder.rungs)
        affordable = int((QUICK_MS if quick else MOST_VARIANTS_MS) / each / look_ms(exercise))
        if quick:
            affordable = min(affordable, MOST_QUICK_VARIANTS)
        least = LEAST_QUICK_VARIANTS if quick else LEAST_VARIANTS
        drawn, self.all_variants = sample_variants(exercise, min(most, max(least, affordable)))
        # Beside the variants themselves a part of the budget goes to the spread answers, the rest to searches.
        self.spread = min(ANSWERS, max(LEAST_LOOKS, int(budget / 3)))
        self.most_looks = min(MOST_LOOKS, max(LEAST_LOOKS, int(budget / 9)))
        self.variants: list[Variant] = []
        for values in drawn:
            try:
                self.variants.append(exercise.with_values(values))
            except GainError as fault:
                self.note_fault(("varies",), f"with {values} the exercise cannot be made: {fault}")

    def begin(self, doing: str) -> None:
        """Say what is looked at now."""
        self.doing = doing
        self._progress(doing, len(self.looks))

    def note_fault(self, place: Place, said: str) -> None:
        self.faults.append(FileFault(self._line(place), said))

    def note_remark(self, place: Place, said: str) -> None:
        self.remarks.append(FileFault(self._line(place), said))

    def _line(self, place: Place) -> int | None:
        if len(place) > 1 and place[0] == "checks" and isinstance(place[1], int):
            place = ("checks", self.exercise.rows[place[1]], *place[2:])
        return line_of(self.lines, place)

    @property
    def everywhere(self) -> str:
        count = len(self.variants)
        if count == 1:
            return "in the only variant" if self.all_variants == 1 else "in the variant looked at"
        looked = "" if count == self.all_variants else f" looked at (of {self.all_variants})"
        return f"in all {count} variants{looked}"

    def describe(self, variants: Sequence[Variant]) -> str:
        """Variants as a sentence names them: the first with its numbers, and how many there are."""
        if len(self.variants) == 1:
            return "in the only variant" if self.all_variants == 1 else f"with {describe_numbers(variants[0])}"
        if len(variants) == len(self.variants):
            return self.everywhere
        some = f"with {describe_numbers(variants[0])}"
        return some if len(variants) == 1 else f"in {len(variants)} of {len(self.variants)} variants, first {some}"

    def look(self, variant: Variant, answer: Answer) -> Look:
        key = (*variant.values.values(), *(answer.get(name) for name in self._names(variant)))
        if key in self._known:
            return self._known[key]
        self._progress(self.doing, len(self.looks))
        values: tuple[float, ...] = ()
        sides: list[str] = []
        read = None
        if self.count:
            moves = {move.path: answer[move.path] for move in variant.controls}
            read = self.renderings.read(variant.session.replaced(moves))
            values = tuple(read.value(reading) for reading in variant.checks)
            sides = [reading.side(value) for reading, value in zip(variant.checks, values, strict=True)]
        for truth in expected_answers(variant, self.renderings):
            sides.append(truth.side(answer[truth.question.name]) if truth.question.name in answer else "wrong")
        slips = met_slips(variant, read, answer, self.renderings)
        look = Look(variant, answer, values, tuple(sides), slips)
        self._known[key] = look
        self.looks.append(look)
        return look

    @staticmethod
    def _names(variant: Variant) -> Iterator[str]:
        yield from (move.path for move in variant.controls)
        yield from (ask.name for ask in variant.questions)

    def right_answers(self, variant: Variant) -> Answer:
        """What is right for each ask, to put beside moves."""
        return {truth.question.name: truth.right for truth in expected_answers(variant, self.renderings)}

    def ends(self) -> list[Variant]:
        """The first, the middle and the last variant."""
        count = len(self.variants)
        return [self.variants[index] for index in sorted({0, count // 2, count - 1})]

    def slipped(self, variant: Variant, slip: SlipEntry) -> Look:
        """The answer of a slip; what it does not name is right, or where it starts."""
        return self.look(variant, variant.start | self.right_answers(variant) | answer_from(variant, slip.answer))

    @staticmethod
    def slip_may_be_right(slip: SlipEntry) -> bool:
        """Whether a slip is a name, which is right for some learners and a slip for the others alone."""
        asked = [when for when in slip.when if when.ask]
        return bool(asked) and all(when.is_ is not None for when in asked)

    def slip_place(self, name: str) -> Place:
        return ("slips", next(at for at, slip in enumerate(self.spec.slips) if slip.name == name))

    def _miss(self, look: Look, failing: frozenset[int]) -> float:
        """How far an answer is from passing all checks but `failing`, which shall fail; 0 where it is there."""
        total = 0.0
        for index, (reading, value) in enumerate(zip(look.variant.checks, look.values, strict=True)):
            room = reading.room(value)
            if index in failing:
                total += 0.0 if look.sides[index] else 0.1 + part_of(room)
            elif look.sides[index]:
                total += 0.1 + part_of(-room)
        return total

    def _one_after_another(self, variant: Variant) -> Answer:
        """The checks mended in the order of the flow, each by the last control before it that nothing else needed.

        So somebody works who sees that what is moved in front moves all behind it; for readings that no plain gain
        brings to where they should be, such as a share of distortion.
        """
        answer = variant.start | self.right_answers(variant)
        left = [move for move in variant.controls if not move.options and not move.points]
        depths = [_depth(reading, variant) for reading in variant.checks]
        for index in sorted(range(len(depths)), key=lambda each: depths[each]):
            reading = variant.checks[index]
            for move in [each for each in reversed(left) if reaches(each.path, reading, variant)]:
                found = self._met_along(variant, answer, move, index)
                if found is not None:
                    answer = found
                    left.remove(move)
                    break
        return answer

    def _met_along(self, variant: Variant, answer: Answer, move: ControlSpec, index: int) -> Answer | None:
        """The answer with this control where one check is met, looked for along it; None where it is not found."""

        def at(value: float) -> tuple[Answer, str]:
            tried = answer | {move.path: on_step(move, value)}
            return tried, self.look(variant, tried).sides[index]

        if not self.look(variant, answer).sides[index]:
            return answer
        values = [move.low + part * (move.high - move.low) / 8 for part in range(9)]
        tried = [at(value) for value in values]
        met = [each for each, side in tried if not side]
        if met:
            return met[len(met) // 2]
        ends = next((at for at in range(8) if tried[at][1] != tried[at + 1][1]), None)
        if ends is None:
            return None
        low, high, side = values[ends], values[ends + 1], tried[ends][1]
        while high - low > move.step / 2:
            found, there = at((low + high) / 2)
            if not there:
                return found
            low, high = ((low + high) / 2, high) if there == side else (low, (low + high) / 2)
        return None

    def search(self, variant: Variant, failing: frozenset[int], hints: Iterable[Answer]) -> Look:
        right = self.right_answers(variant)
        hints = list(hints)
        if not failing and any(each.unit(variant.session) not in LEVEL_UNITS for each in variant.checks):
            hints.append(self._one_after_another(variant))
        return search(
            variant,
            lambda answer: self.look(variant, right | answer),
            lambda look: self._miss(look, failing),
            lambda look: look.answer,
            aims=lambda look: _aims(look, failing),
            # A drawn word in a path gives another variant other controls, for which an answer to this one says nothing.
            begin=[each for each in hints if each.keys() >= variant.start.keys()],
            most=self.most_looks,
        )

    def found(self, look: Look, *, centred: bool) -> FoundAnswer:
        """An answer that was found, brought to the middle of what passes along each control where that is wanted."""
        variant, answer = look.variant, look.answer
        passes: dict[str, tuple[float, float]] = {}
        numbers = [move for move in variant.controls if not move.options and not move.points]

        def passing(tried: Answer) -> bool:
            return self.look(variant, tried).passed

        for move in numbers if centred else ():
            low, high = reach_around(move, answer, passing)
            middle = answer | {move.path: on_step(move, (low + high) / 2)}
            answer = middle if passing(middle) else answer
        for move in numbers if centred else ():
            passes[move.path] = reach_around(move, answer, passing)
        return FoundAnswer(variant.values, {move.path: answer[move.path] for move in variant.controls}, passes)


def _depth(reading: Reading, variant: Variant) -> int:
    """How far along its strip a check reads; a bus is behind all strips."""
    session, probe = variant.session, reading.probe
    part, tap = session.tap(probe.at) if probe.at else session.full_path(probe.setting or "").split("/")[:2]
    channels = [each.name for each in session.channels]
    if part not in channels:
        return 0  # a fader group's own
    names = session.channel(part).stage_names
    return 100 * channels.index(part) + (names.index(tap) + 1 if tap in names else 0)


def _aims(look: Look, failing: frozenset[int]) -> Iterator[tuple[str, float]]:
    """Which number to move, and by how much, so that a check comes to the middle of its bounds, or out of them."""
    variant = look.variant
    numbers = [move for move in variant.controls if not move.options and not move.points]
    for index, (reading, value) in enumerate(zip(variant.checks, look.values, strict=True)):
        if bool(look.sides[index]) == (index in failing) or not math.isfinite(value):
            continue
        low, high = reading.least, reading.most
        aim = (low + high) / 2 if low is not None and high is not None else high if high is not None else low or 0.0
        if index in failing:
            aim = high + 1.0 if high is not None else (low or 0.0) - 1.0
        for move in reversed(numbers):
            if reaches(move.path, reading, variant):
                yield move.path, aim - value
                yield move.path, value - aim


def describe_numbers(variant: Variant) -> str:
    """A variant's own numbers as a sentence names them."""
    told = [f"{name} {text}" for name, text in variant.printed.items()]
    if ORDER in variant.values:
        told.append(f"the candidates in the order {variant.values[ORDER]}")
    return ", ".join(told) or "the only numbers"


def describe_found(variant: Variant, found: FoundAnswer) -> str:
    """An answer that was found as a sentence names it: what is moved, and from where to where that passes."""
    moved = [move for move in variant.controls if found.answer[move.path] != move.start]
    told = []
    for move in moved[:MOST_TOLD]:
        said = describe_settings(variant, found.answer, [move])
        low, high = found.passes.get(move.path, (0.0, 0.0))
        if low < high:
            ends = [move.printed(each) for each in (low, high)]
            said += f" ({ends[0].removesuffix(move.unit).strip()} to {ends[1]} pass)"
        told.append(said)
    return ", ".join(told) + (f" and {len(moved) - MOST_TOLD} more" if len(moved) > MOST_TOLD else "")


def describe_settings(variant: Variant, answer: Mapping[str, Any], moves: Sequence[ControlSpec] | None = None) -> str:
    """An answer\'s settings as a sentence names them, by the labels of the controls."""
    said = []
    for move in variant.controls if moves is None else moves:
        value = answer[move.path]
        if move.points:
            said.append(f"{move.label} with {counted(len(value), 'point')}")
        elif move.options:
            said.append(f"{move.label} {describe_value(value)}")
        else:
            said.append(f"{move.label} {move.printed(value)}")
    return ", ".join(said)
