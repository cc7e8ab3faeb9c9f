"""The proof that an exercise is sound: rendered and measured, in every variant or in many."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises.exercise import (
    Exercise,
    Move,
    Place,
    Variant,
    drawable,
    draws_of,
    exercise_names,
    load,
    own_name,
    printed_setting,
)
from gainlib.exercises.faults import Fault, faults_of, line_of
from gainlib.exercises.spec import Reading, shown
from gainlib.exercises.verdict import met_slips, reading_side, reading_unit, reading_value
from gainlib.flow import Rendering

__all__ = ["Proof", "prove"]

ANSWERS = 400  # evenly spread answers over all variants together
LEAST_ANSWERS = 2  # in each variant
COARSE = 120  # answers on the first grid of a search
STARTS = 3  # of the grid's best, to go on from
MOST_STEPS = 120  # answers that are tried from each of them
MOST_SEARCHED = 6  # variants that are searched with a grid of their own
LEVEL_UNITS = ("dB", "dBFS", "dBTP", "dBu", "LUFS", "LU")

Answer = dict[str, float]


@dataclass(frozen=True)
class Proof:
    """What proving one exercise gives: what is wrong, what is worth a look, what was shown, and the figures.

    `faults` are what makes it unsound, each with its line; `remarks` what an author should look at, such as a check
    that never fails alone; `shown` what was proven, a sentence each. `variants` is how many were tried, of
    `all_variants`; `answers` how many evenly spread answers were measured and `passing` how many of them passed.
    `narrowest_db` is how near the author's answers come to a bound; None where no bound is a level.
    """

    name: str
    file: Path
    faults: tuple[Fault, ...]
    remarks: tuple[Fault, ...] = ()
    shown: tuple[str, ...] = ()
    variants: int = 0
    all_variants: int = 0
    unsolved: tuple[dict[str, float], ...] = ()
    answers: int = 0
    passing: int = 0
    narrowest_db: float | None = None
    fails_alone: dict[str, bool] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def as_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "name": self.name,
            "file": str(self.file),
            "proven": self.sound,
            "faults": [{"line": each.line, "said": each.said} for each in self.faults],
            "remarks": [{"line": each.line, "said": each.said} for each in self.remarks],
            "shown": list(self.shown),
            "variants": self.variants,
            "all_variants": self.all_variants,
            "unsolved": [dict(each) for each in self.unsolved],
            "answers": self.answers,
            "passing": self.passing,
            "narrowest_db": self.narrowest_db,
            "fails_alone": dict(self.fails_alone),
        }


def prove(exercise: str | Path, *, variants: int = 200) -> Proof:
    """Show that an exercise is sound, or everything that is wrong with it: a name of the collection or a TOML file.

    First each fault of the file; in a file without any, every variant (or `variants` of them, the ends of all ranges
    among them) is rendered and measured: the start fails, the author's answer passes, each slip's answer meets its
    sentence and no other, a search finds an answer that passes. Nothing is drawn by chance: the spread answers are a
    Halton sequence (*published*: J. H. Halton, Numerische Mathematik 2, 1960), so two proofs of a file are equal.
    Raises GainError when the file cannot be read or there is no such exercise.

    >>> prove("recording/leave-room", variants=2).sound
    True
    """
    if isinstance(variants, bool) or not isinstance(variants, int) or variants < 1:
        raise GainError(f"variants is {shown(variants)}; give a whole number of 1 or more.")
    own = str(exercise).endswith(".toml")
    file = Path(exercise) if own else _bundled(str(exercise))
    name = own_name(file) if own else str(exercise)
    made, faults, lines = faults_of(file, name)
    if made is None:
        return Proof(name, file, faults)
    try:
        made.take  # noqa: B018  (read once; its faults are the file's)
    except GainError as fault:
        return Proof(name, file, (Fault(line_of(lines, ("given", "take")), str(fault)),))
    return _Prover(made, lines, variants).proof()


def _bundled(name: str) -> Path:
    if name in exercise_names():
        from gainlib.audio import bundled_folder

        return bundled_folder("exercises").joinpath(*name.split("/")).with_suffix(".toml")
    return load(name).file  # says that there is none, and the nearest name


@dataclass(frozen=True, eq=False)
class _Seen:
    """One answer measured: the value of each check and on which side it missed, and the slips that it meets."""

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


class _Prover:
    """One exercise under proof; every answer that is measured is kept as evidence."""

    def __init__(self, exercise: Exercise, lines: dict[Place, int], most: int) -> None:
        self.exercise, self.spec, self.lines = exercise, exercise.spec, lines
        self.faults: list[Fault] = []
        self.remarks: list[Fault] = []
        self.shown: list[str] = []
        self.seen: list[_Seen] = []
        self._last: Rendering | None = None
        self._known: dict[tuple[Any, ...], _Seen] = {}
        drawn, self.all_variants = _drawn(exercise, most)
        self.variants: list[Variant] = []
        for values in drawn:
            try:
                self.variants.append(exercise.with_values(values))
            except GainError as fault:
                self._fault(("varies",), f"with {values} the exercise cannot be made: {fault}")

    def proof(self) -> Proof:
        """Everything in order."""
        unsolved: list[dict[str, float]] = []
        narrowest: float | None = None
        spread: list[_Seen] = []
        try:
            self._start()
            solved = self._solution()
            narrowest = self._narrowest(solved)
            self._slips()
            unsolved = self._unsolved(solved)
            spread = self._spread()
            self._one_for_all(solved)
            self._sides()
        except GainError as fault:
            self._fault(("given",), f"it cannot be rendered and measured: {fault}")
        alone = self._alone() if spread else {}
        self._texts()
        return Proof(
            name=self.exercise.name,
            file=self.exercise.file,
            faults=tuple(self.faults),
            remarks=tuple(self.remarks),
            shown=tuple(self.shown),
            variants=len(self.variants),
            all_variants=self.all_variants,
            unsolved=tuple(unsolved),
            answers=len(spread),
            passing=sum(each.passed for each in spread),
            narrowest_db=narrowest,
            fails_alone=alone,
        )

    # --- what is told ---

    def _fault(self, place: Place, said: str) -> None:
        self.faults.append(Fault(line_of(self.lines, place), said))

    def _remark(self, place: Place, said: str) -> None:
        self.remarks.append(Fault(line_of(self.lines, place), said))

    @property
    def _everywhere(self) -> str:
        count = len(self.variants)
        if count == 1:
            return "in the only variant" if self.all_variants == 1 else "in the variant looked at"
        looked = "" if count == self.all_variants else f" looked at (of {self.all_variants})"
        return f"in all {count} variants{looked}"

    def _in(self, variants: Sequence[Variant]) -> str:
        """Variants as a sentence names them: the first with its numbers, and how many there are."""
        if len(self.variants) == 1:
            return "in the only variant" if self.all_variants == 1 else f"with {_numbers(variants[0])}"
        if len(variants) == len(self.variants):
            return self._everywhere
        some = f"with {_numbers(variants[0])}"
        return some if len(variants) == 1 else f"in {len(variants)} of {len(self.variants)} variants, first {some}"

    # --- what is measured ---

    def _look(self, variant: Variant, answer: Answer) -> _Seen:
        key = (*variant.values.values(), *(answer[move.path] for move in variant.moves))
        if key in self._known:
            return self._known[key]
        rendering = variant.session.replaced(answer).render(after=self._last)
        self._last = rendering
        readings: dict[tuple[object, ...], float] = {}

        def read(reading: Reading, rendering: Rendering) -> float:
            what = (reading.measure, reading.at, tuple(reading.seconds or ()), reading.setting)
            if what not in readings:
                readings[what] = reading_value(reading, rendering)
            return readings[what]

        values = tuple(read(check.reads, rendering) for check in self.spec.checks)
        sides = tuple(reading_side(check.reads, value) for check, value in zip(self.spec.checks, values, strict=True))
        seen = _Seen(variant, answer, values, sides, met_slips(variant, rendering, read))
        self._known[key] = seen
        self.seen.append(seen)
        return seen

    def _start(self) -> None:
        starts = [self._look(each, {move.path: move.start for move in each.moves}) for each in self.variants]
        passing = [each.variant for each in starts if each.passed]
        if passing:
            self._fault(("moves",), f"the start passes already {self._in(passing)}; begin further away.")
        else:
            self.shown.append(f"The start fails {self._everywhere}.")
        slipped = [each for each in starts if each.slips and not each.passed]
        if slipped:
            name = slipped[0].slips[0]
            self._remark(
                self._slip_place(name),
                f"the start already meets the slip {name!r} {self._in([each.variant for each in slipped])}; "
                "the learner has done nothing wrong yet.",
            )

    def _solution(self) -> dict[int, _Seen]:
        """The author's answer where it passes, by the variant's index."""
        looks = [self._look(each, each.solution) for each in self.variants]
        missed = [each for each in looks if not each.passed]
        if missed:
            lines = missed[0].variant.check(missed[0].answer).lines
            first = next((line for line in lines if not line.passed), None)
            why = f" {first.title}: {first.sentence}" if first else ""
            self._fault(("solution",), f"your answer fails {self._in([each.variant for each in missed])}.{why}")
        else:
            self.shown.append(f"The author's answer passes {self._everywhere}.")
        held = [each for each in looks if each.passed and each.slips]
        if held:
            name = held[0].slips[0]
            self._remark(self._slip_place(name), f"the author's answer looks like the slip {name!r}; narrow its when.")
        return {index: each for index, each in enumerate(looks) if each.passed}

    def _narrowest(self, solved: dict[int, _Seen]) -> float | None:
        found: list[tuple[float, str, Variant]] = []
        for seen in solved.values():
            for check, value in zip(self.spec.checks, seen.values, strict=True):
                unit = self._unit(check.reads)
                room = _room(check.reads, value)
                if unit in LEVEL_UNITS and math.isfinite(room):
                    found.append((room, check.title, seen.variant))
        if not found:
            return None
        room, title, variant = min(found, key=lambda each: each[0])
        where = f", {self._in([variant])}" if len(self.variants) > 1 else ""
        self.shown.append(f"The author's answer comes as near as {room:.1f} dB to a bound: {title}{where}.")
        return round(room, 6)

    def _slips(self) -> None:
        sound = 0
        for index, slip in enumerate(self.spec.slips):
            looks = [self._look(each, each.amounts(slip.answer)) for each in self.variants]
            place: Place = ("slips", index)
            faults = len(self.faults)
            passing = [each.variant for each in looks if each.passed]
            if passing:
                self._fault((*place, "answer"), f"the answer of the slip {slip.name!r} passes {self._in(passing)}.")
            unmet = [each.variant for each in looks if slip.name not in each.slips]
            if unmet:
                self._fault(
                    (*place, "when"),
                    f"the answer of the slip {slip.name!r} does not meet its own when {self._in(unmet)}.",
                )
            others = [each for each in looks if set(each.slips) - {slip.name}]
            if others:
                other = next(each for each in others[0].slips if each != slip.name)
                self._fault(
                    (*place, "answer"),
                    f"the answer of the slip {slip.name!r} meets the slip {other!r} as well "
                    f"{self._in([each.variant for each in others])}; make their when exclude each other.",
                )
            sound += len(self.faults) == faults
        if self.spec.slips and sound == len(self.spec.slips):
            self.shown.append(f"Each slip's answer meets its own sentence and no other; slips: {sound}.")

    def _unsolved(self, solved: dict[int, _Seen]) -> list[dict[str, float]]:
        """The variants in which neither the author's answer passes nor a search finds one that does."""
        unsolved: list[Variant] = []
        left = [each for index, each in enumerate(self.variants) if index not in solved]
        found = 0
        for variant in left[:MOST_SEARCHED]:
            hints = [each.answer for each in self.seen if each.passed][-1:]
            best = self._search(variant, frozenset(), hints)
            if best.passed:
                found += 1
            else:
                unsolved.append(variant)
                checks = self.spec.checks
                near = "; ".join(
                    f"{checks[index].title} stays {'below' if best.sides[index] == 'low' else 'above'} "
                    f"its bound, at {best.values[index]:g}"
                    for index in best.failed
                )
                self._fault(
                    ("checks", best.failed[0], "title"),
                    f"no answer was found that passes with {_numbers(variant)}; the nearest is "
                    f"{_settings(variant, best.answer)}: {near}.",
                )
        if left and found:
            self._remark(("solution",), f"a search found an answer in {found} of the variants where yours fails.")
        if len(left) > MOST_SEARCHED:
            self._remark(("solution",), f"{len(left) - MOST_SEARCHED} more variants fail and were not searched.")
        if not left:
            # The author's rule may pass by one lucky spot; a search that does not know it says how it is for a learner.
            ends = self._ends()
            blind = [each for each in ends if not self._search(each, frozenset(), []).passed]
            if blind:
                self._remark(("checks",), f"a search that does not know your answer found none {self._in(blind)}.")
            else:
                self.shown.append(f"A search that does not know the author's answer finds one in {_looked(ends)}.")
        return [each.values for each in unsolved]

    def _ends(self) -> list[Variant]:
        """The first, the middle and the last variant."""
        count = len(self.variants)
        return [self.variants[index] for index in sorted({0, count // 2, count - 1})]

    def _spread(self) -> list[_Seen]:
        """Evenly spread answers in every variant: how tight the exercise is."""
        spread: list[_Seen] = []
        each_count = max(LEAST_ANSWERS, math.ceil(ANSWERS / len(self.variants)))
        points = _halton(len(self.spec.moves))
        for variant in self.variants:
            answers = [_snapped(variant, next(points)) for _ in range(each_count)]
            spread += [self._look(variant, each) for each in sorted(answers, key=lambda each: tuple(each.values()))]
        passing = sum(each.passed for each in spread)
        share = 100 * passing / len(spread)
        said = f"{share:.1f} %" if passing else "none"
        self.shown.append(f"Of {len(spread)} answers spread evenly over the controls {said} pass.")
        if share > 50:
            self._remark(("checks",), f"{share:.0f} % of all answers pass; guessing is enough.")
        twice = [each for each in spread if len(each.slips) > 1 and not each.passed]
        if twice:
            first = twice[0]
            self._remark(
                self._slip_place(first.slips[1]),
                f"the answer {_settings(first.variant, first.answer)} with {_numbers(first.variant)} meets two slips, "
                f"{first.slips[0]!r} and {first.slips[1]!r}; only the first is told.",
            )
        return spread

    def _one_for_all(self, solved: dict[int, _Seen]) -> None:
        """One answer that passes in all variants, so that a class could copy it."""
        if len(self.variants) < 2 or len(solved) < len(self.variants):
            return
        tried: list[Answer] = []
        for index in sorted({0, len(self.variants) // 2, len(self.variants) - 1}):
            tried.append(solved[index].answer)
        tried += [each.answer for each in self.seen if each.passed][:: max(1, len(self.seen) // 20)]
        order = [self.variants[0], self.variants[-1], *self.variants[1:-1]]
        for answer in tried:
            if all(self._look(each, answer).passed for each in order):
                self._fault(
                    ("varies",),
                    f"one answer passes {self._everywhere}: {_settings(order[0], answer)}; "
                    "let something vary that moves it.",
                )
                return
        self.shown.append(f"None of {len(tried)} passing answers serves for all variants.")

    def _sides(self) -> None:
        """Checks that nothing can miss, and bounds that nothing can reach."""
        for index, check in enumerate(self.spec.checks):
            values = [each.values[index] for each in self.seen]
            sides = {each.sides[index] for each in self.seen}
            span = f"{min(values):g} to {max(values):g}"
            if sides == {""}:
                self._fault(
                    ("checks", index, "title"),
                    f"the check {check.title!r} cannot fail: all {len(values)} answers that were measured "
                    f"read {span}, within its bounds.",
                )
                continue
            if "" not in sides:
                self._fault(
                    ("checks", index, "reads"),
                    f"the bounds of the check {check.title!r} cannot be reached: all {len(values)} answers that were "
                    f"measured read {span}.",
                )
            for side, bound in (("low", check.reads.at_least), ("high", check.reads.at_most)):
                if bound is not None and side not in sides:
                    word = "below its at_least" if side == "low" else "above its at_most"
                    self._remark(
                        ("checks", index, side),
                        f"no answer brings the check {check.title!r} {word}; its sentence {side} is never said.",
                    )

    def _alone(self) -> dict[str, bool]:
        """Whether each check can be the only one to fail; searched for where no answer has shown it yet."""
        found: dict[str, bool] = {}
        checks = self.spec.checks
        for index, check in enumerate(checks):
            if len(checks) == 1 or all(not each.sides[index] for each in self.seen):
                continue
            alone = any(each.failed == (index,) for each in self.seen)
            if not alone:
                middle = self.variants[len(self.variants) // 2]
                alone = self._search(middle, frozenset({index}), [middle.solution]).failed == (index,)
            found[check.title] = alone
            if not alone:
                companions = [set(each.failed) - {index} for each in self.seen if each.sides[index]]
                always = sorted(set.intersection(*companions))
                with_it = (
                    f"whenever it failed, {_and(checks[each].title for each in always)} failed as well"
                    if always
                    else "whenever it failed, one or another of the others failed as well"
                )
                self._remark(
                    ("checks", index, "title"),
                    f"the check {check.title!r} was never the only one to fail in {len(self.seen)} answers: {with_it}.",
                )
        if found and all(found.values()):
            self.shown.append(f"Each of the {len(checks)} checks can be the only one to fail.")
        elif any(found.values()):
            self.shown.append(f"{sum(found.values())} of the {len(checks)} checks can be the only one to fail.")
        return found

    def _texts(self) -> None:
        """Numbers in the texts that no check with their unit would accept."""
        texts: list[tuple[Place, str, str]] = [(("brief",), "the brief", self.spec.brief)]
        texts += [(("hints", at, "text"), f"hint {at + 1}", hint.text) for at, hint in enumerate(self.spec.hints)]
        for at, check in enumerate(self.spec.checks):
            for side in ("low", "high", "good"):
                texts.append((("checks", at, side), f"{side} of check {at + 1}", getattr(check, side) or ""))
        bounds: dict[str, list[Reading]] = {}
        for check in self.spec.checks:
            bounds.setdefault(self._unit(check.reads), []).append(check.reads)
        remarks = len(self.remarks)
        for place, name, text in texts:
            for number, unit in _numbers_in(text):
                held = bounds.get(unit, [])
                if held and not any(_room(each, number) >= 0 for each in held):
                    wanted = _and(_bounds(each) for each in held)
                    self._remark(place, f"{name} says {number:g} {unit}; the checks want {wanted} {unit}.")
        if len(self.remarks) == remarks:
            self.shown.append("No text promises another number than the checks use.")

    # --- the search ---

    def _miss(self, seen: _Seen, failing: frozenset[int]) -> float:
        """How far an answer is from passing all checks but `failing`, which shall fail; 0 where it is there."""
        total = 0.0
        for index, (check, value) in enumerate(zip(self.spec.checks, seen.values, strict=True)):
            room = _room(check.reads, value)
            if index in failing:
                total += 0.0 if seen.sides[index] else 0.1 + _part(room)
            elif seen.sides[index]:
                total += 0.1 + _part(-room)
        return total

    def _search(self, variant: Variant, failing: frozenset[int], hints: Iterable[Answer]) -> _Seen:
        """The best answer that a grid over the moves finds, then steps along and across them, halved each time."""

        def miss(seen: _Seen) -> float:
            return self._miss(seen, failing)

        looks: list[_Seen] = []
        for answer in (*hints, *_grid(variant)):
            looks.append(self._look(variant, answer))
            if miss(looks[-1]) == 0:
                return looks[-1]
        best = min(looks, key=miss)
        # Several places to go on from: a count such as that of clipped runs is flat over wide parts of the grid.
        for here in sorted(looks, key=miss)[:STARTS]:
            steps_left, share = MOST_STEPS, 0.25
            while steps_left > 0:
                steps = {move.path: max(move.step, share * (move.high - move.low)) for move in variant.moves}
                moved = False
                for answer in itertools.islice(_around(variant, here.answer, steps), steps_left):
                    steps_left -= 1
                    near = self._look(variant, answer)
                    if miss(near) == 0:
                        return near
                    if miss(near) < miss(here):
                        here, moved = near, True
                        break
                if not moved:
                    if all(steps[move.path] == move.step for move in variant.moves):
                        break
                    share /= 2
            best = min(best, here, key=miss)
        return best

    def _unit(self, reading: Reading) -> str:
        return reading_unit(reading, self._last) if self._last else ""

    def _slip_place(self, name: str) -> Place:
        return ("slips", next(at for at, slip in enumerate(self.spec.slips) if slip.name == name))


def _drawn(exercise: Exercise, most: int) -> tuple[list[dict[str, float]], int]:
    """The values of each variant to look at, at most so many, and how many there are in all."""
    varies = exercise.spec.varies
    if not varies:
        return [{}], 1
    counts = [draws_of(vary) for vary in varies.values()]
    total = math.prod(counts)
    if total <= most:
        chosen: Iterable[tuple[int, ...]] = itertools.product(*(range(count) for count in counts))
    else:
        all_ends = itertools.product(*((0, count - 1) for count in counts))
        ends = itertools.islice(all_ends, most if 2 ** len(counts) <= most else max(1, most // 2))
        points = _halton(len(counts))
        spread = (
            tuple(min(count - 1, int(part * count)) for part, count in zip(point, counts, strict=True))
            for point in points
        )
        picked = dict.fromkeys(ends)
        for each in itertools.islice(spread, 20 * most):
            if len(picked) >= most:
                break
            picked[each] = None
        chosen = sorted(picked)
    return [
        {name: drawable(vary, at) for (name, vary), at in zip(varies.items(), each, strict=True)} for each in chosen
    ], total


def _halton(dimensions: int) -> Iterator[tuple[float, ...]]:
    """Points that fill a cube evenly, one after the other: in each dimension the radical inverse to its own prime."""
    primes = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53)[:dimensions]
    for count in itertools.count(1):
        point = []
        for base in primes:
            value, weight, left = 0.0, 1.0 / base, count
            while left:
                left, digit = divmod(left, base)
                value += digit * weight
                weight /= base
            point.append(value)
        yield tuple(point)


def _on_step(move: Move, value: float) -> float:
    steps = round((min(max(value, move.low), move.high) - move.low) / move.step)
    return min(round(move.low + steps * move.step, 9), move.high)


def _snapped(variant: Variant, point: Sequence[float]) -> Answer:
    return {move.path: at_part(move, part) for move, part in zip(variant.moves, point, strict=True)}


def at_part(move: Move, part: float) -> float:
    """The value at a part of a move's range, 0 to 1, on its steps.

    >>> at_part(Move("trim/gain_db", -24.0, 12.0, 0.5, 0.0, "Trim"), 0.26)
    -14.5
    """
    return _on_step(move, move.low + part * (move.high - move.low))


def _grid(variant: Variant) -> list[Answer]:
    """A coarse grid over the moves; with many moves, where a grid would have two points each, evenly spread answers."""
    count = int(COARSE ** (1 / len(variant.moves)) + 1e-9)
    if count < 4:
        return [_snapped(variant, point) for point in itertools.islice(_halton(len(variant.moves)), COARSE)]
    parts = [index / (count - 1) for index in range(count)]
    return [_snapped(variant, point) for point in itertools.product(parts, repeat=len(variant.moves))]


def _around(variant: Variant, answer: Answer, steps: dict[str, float]) -> Iterator[Answer]:
    """The answers one step away, along each move and, for two together, across them."""
    paths = {move.path: move for move in variant.moves}
    ways = [{path: sign} for path in paths for sign in (-1, 1)]
    if len(paths) <= 5:
        ways += [{one: a, two: b} for one, two in itertools.combinations(paths, 2) for a in (-1, 1) for b in (-1, 1)]
    for way in ways:
        yield answer | {path: _on_step(paths[path], answer[path] + sign * steps[path]) for path, sign in way.items()}


def _room(reading: Reading, value: float) -> float:
    """From a value to the nearest bound, negative outside; infinite inside where there is none that near."""
    low = math.inf if reading.at_least is None else value - reading.at_least
    high = math.inf if reading.at_most is None else reading.at_most - value
    return min(low, high)


def _part(distance: float) -> float:
    """A distance of any size as a part of 1, so that no check drowns another."""
    return 1.0 if math.isinf(distance) else max(distance, 0.0) / (max(distance, 0.0) + 10.0)


def _numbers(variant: Variant) -> str:
    return ", ".join(f"{name} {text}" for name, text in variant.printed.items()) or "the only numbers"


def _settings(variant: Variant, answer: Answer) -> str:
    return ", ".join(
        f"{move.label} {printed_setting(answer[move.path], move.unit, move.step)}" for move in variant.moves
    )


def _looked(variants: Sequence[Variant]) -> str:
    if len(variants) == 1:
        return "the only variant"
    return f"{len(variants)} variants ({'; '.join(_numbers(each) for each in variants)})"


def _and(parts: Iterable[str]) -> str:
    unlike = list(dict.fromkeys(parts))
    return unlike[0] if len(unlike) == 1 else f"{', '.join(unlike[:-1])} and {unlike[-1]}"


def _bounds(reading: Reading) -> str:
    low, high = reading.at_least, reading.at_most
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    return f"at most {high:g}" if high is not None else f"at least {low:g}"


_PROMISED = re.compile(
    r"([-−–]?\d+(?:[.,]\d+)?)(?:\s*(?:to|and|or|–|…)\s*([-−–]?\d+(?:[.,]\d+)?))?\s*(dBFS|dBTP|dBu|LUFS|LU|dB)\b"
)


def _numbers_in(text: str) -> Iterator[tuple[float, str]]:
    """The numbers with a level's unit in a text, `-15 dBFS` or `-17 to -13 dBFS`."""
    for found in _PROMISED.finditer(text):
        for part in (found[1], found[2]):
            if part:
                yield float(re.sub("[−–]", "-", part).replace(",", ".")), found[3]
