"""The proof that an exercise is sound: rendered and measured, in every variant or in many."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gainlib.audio import bundled_folder
from gainlib.authoring.messages import Fault, faults_of, line_of
from gainlib.authoring.search import halton, part_of, search, spread_answers
from gainlib.errors import GainError
from gainlib.exercises import answer_from, author_answer, check, truths_of
from gainlib.exercises.collection import exercise_names, load, own_name
from gainlib.exercises.given import Places
from gainlib.exercises.parameters import ORDER
from gainlib.exercises.questions import Truth
from gainlib.exercises.readings import DIFFERENCES, LEVEL_UNITS, Reading, Renderings, printed_number, reading_of
from gainlib.exercises.tables import PLACEHOLDER, Slip, shown
from gainlib.exercises.variant import Exercise, Variant
from gainlib.exercises.verdict import met_slips, reaches

__all__ = ["Proof", "prove"]

ANSWERS = 400  # evenly spread answers over all variants together
MOST_LOOKS = 480  # answers that one search may try
MOST_SEARCHED = 6  # variants that are searched with a grid of their own
LEAST_VARIANTS = 4
LEAST_LOOKS = 24
# What a proof may cost, in milliseconds as they were measured once; a count of looks, so that two proofs are equal.
MOST_VARIANTS_MS = 300_000.0  # for what is looked at in every variant; far beyond a usual file
BUDGET_MS, BUDGET_MS_A_VARIANT, MOST_BUDGET_MS = 700.0, 150.0, 30_000.0
MEASURE_MS = 0.2  # for each second of one channel at 48 kHz
MEASURES_MS = {"thd_percent": 500.0, "thd_n_percent": 500.0}

Answer = dict[str, Any]


@dataclass(frozen=True)
class Proof:
    """What proving one exercise gives: what is wrong, what is worth a look, what was shown, and the figures.

    `faults` are what makes it unsound, each with its line; `remarks` what an author should look at, such as a check
    that never fails alone; `shown` what was proven, a sentence each. `variants` is how many were tried, of
    `all_variants`; `answers` how many evenly spread answers were measured and `passing` how many of them passed;
    `guesses` is the share of guesses at the asks that are right by chance, 1 where nothing is asked.
    `narrowest_db` is how near the author's answers come to a bound; None where no bound is a level.
    """

    name: str
    file: Path
    faults: tuple[Fault, ...]
    remarks: tuple[Fault, ...] = ()
    shown: tuple[str, ...] = ()
    variants: int = 0
    all_variants: int = 0
    unsolved: tuple[dict[str, Any], ...] = ()
    answers: int = 0
    passing: int = 0
    guesses: float = 1.0
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
            "guesses": self.guesses,
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
        made.takes  # noqa: B018  (read once; its faults are the file's)
    except GainError as fault:
        return Proof(name, file, (Fault(line_of(lines, ("given", "take")), str(fault)),))
    return _Prover(made, lines, variants).proof()


def _bundled(name: str) -> Path:
    if name in exercise_names():
        return bundled_folder("exercises").joinpath(*name.split("/")).with_suffix(".toml")
    return load(name).file  # says that there is none, and the nearest name


@dataclass(frozen=True, eq=False)
class _Seen:
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


class _Prover:
    """One exercise under proof; every answer that is measured is kept as evidence."""

    def __init__(self, exercise: Exercise, lines: dict[Places, int], most: int) -> None:
        self.exercise, self.spec, self.lines = exercise, exercise.spec, lines
        self.faults: list[Fault] = []
        self.remarks: list[Fault] = []
        self.shown: list[str] = []
        self.seen: list[_Seen] = []
        self.count = len(self.spec.checks)
        self._renderings = Renderings()
        self._known: dict[tuple[Any, ...], _Seen] = {}
        budget = min(BUDGET_MS + BUDGET_MS_A_VARIANT * most, MOST_BUDGET_MS) / _look_ms(exercise)
        each = (2 + len(self.spec.slips)) if self.spec.checks else max(1, len(self.spec.candidates))
        affordable = int(MOST_VARIANTS_MS / each / _look_ms(exercise))
        drawn, self.all_variants = _drawn(exercise, min(most, max(LEAST_VARIANTS, affordable)))
        # Beside the variants themselves a part of the budget goes to the spread answers, the rest to searches.
        self.spread = min(ANSWERS, max(LEAST_LOOKS, int(budget / 3)))
        self.looks = min(MOST_LOOKS, max(LEAST_LOOKS, int(budget / 9)))
        self.variants: list[Variant] = []
        for values in drawn:
            try:
                self.variants.append(exercise.with_values(values))
            except GainError as fault:
                self._fault(("varies",), f"with {values} the exercise cannot be made: {fault}")

    def proof(self) -> Proof:
        """Everything in order."""
        unsolved: list[dict[str, Any]] = []
        narrowest: float | None = None
        spread: list[_Seen] = []
        guesses = 1.0
        try:
            self._truths()
            if not self.faults:
                self._start()
                solved = self._solution()
                narrowest = self._narrowest(solved)
                self._slips()
                if self.count:
                    unsolved = self._unsolved(solved)
                    spread = self._spread()
                if self.spec.asks:
                    guesses = self._guesses()
                self._one_for_all(solved)
                self._sides()
        except GainError as fault:
            self._fault(("given",), f"it cannot be rendered and measured: {fault}")
        alone = self._alone() if self.seen and not self.faults else {}
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
            guesses=guesses,
            narrowest_db=narrowest,
            fails_alone=alone,
        )

    # --- what is told ---

    def _fault(self, place: Places, said: str) -> None:
        self.faults.append(Fault(line_of(self.lines, place), said))

    def _remark(self, place: Places, said: str) -> None:
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
        key = (*variant.values.values(), *(answer.get(name) for name in self._names(variant)))
        if key in self._known:
            return self._known[key]
        values: tuple[float, ...] = ()
        sides: list[str] = []
        read = None
        if self.count:
            moves = {move.path: answer[move.path] for move in variant.moves}
            read = self._renderings.read(variant.session.replaced(moves))
            values = tuple(read.value(reading) for reading in variant.checks)
            sides = [reading.side(value) for reading, value in zip(variant.checks, values, strict=True)]
        for truth in truths_of(variant, self._renderings):
            sides.append(truth.side(answer[truth.ask.name]) if truth.ask.name in answer else "wrong")
        slips = met_slips(variant, read, answer, self._renderings)
        seen = _Seen(variant, answer, values, tuple(sides), slips)
        self._known[key] = seen
        self.seen.append(seen)
        return seen

    @staticmethod
    def _names(variant: Variant) -> Iterator[str]:
        yield from (move.path for move in variant.moves)
        yield from (ask.name for ask in variant.asks)

    def _right(self, variant: Variant) -> Answer:
        """What is right for each ask, to put beside moves."""
        return {truth.ask.name: truth.right for truth in truths_of(variant, self._renderings)}

    def _truths(self) -> None:
        """Each ask has one right answer in every variant."""
        for index, ask in enumerate(self.spec.asks):
            faulty = [(each, truths_of(each, self._renderings)[index]) for each in self.variants]
            faulty = [(variant, truth) for variant, truth in faulty if truth.fault]
            if faulty:
                variants = [variant for variant, _ in faulty]
                self._fault(
                    ("asks", index),
                    f"the ask {ask.title!r} has no one right answer {self._in(variants)}: {faulty[0][1].fault}.",
                )
            outside = [
                each
                for each in self.variants
                if ask.expected is not None and not _typed(truths_of(each, self._renderings)[index])
            ]
            if outside:
                right = truths_of(outside[0], self._renderings)[index]
                self._fault(
                    ("asks", index, "from"),
                    f"what is right for {ask.title!r} cannot be typed {self._in(outside)}: it is {right.measured}.",
                )

    def _start(self) -> None:
        if not self.count:
            return
        starts = [self._look(each, each.start | self._right(each)) for each in self.variants]
        passing = [each.variant for each in starts if not any(each.sides[: self.count])]
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
        looks = [self._look(each, author_answer(each)) for each in self.variants]
        missed = [each for each in looks if not each.passed]
        if missed:
            first = missed[0]
            why = ""
            index = first.failed[0]
            if index >= self.count:
                truth = truths_of(first.variant)[index - self.count]
                given = truth.printed(first.answer.get(truth.ask.name))
                measured = "" if isinstance(truth.right, float) or not truth.measured else f" ({truth.measured})"
                right = truth.measured if isinstance(truth.right, float) else truth.printed(truth.right)
                why = f" {truth.ask.title}: you give {given}; what is measured or reckoned gives {right}{measured}."
            else:
                line = check(first.variant, first.answer).lines[index]
                why = f" {line.title}: {line.sentence}"
            titles = [each.title for each in self.spec.checks] + [each.title for each in self.spec.asks]
            beside = [titles[each] for each in first.failed[1:]]
            if beside:
                why += f" Failing there as well: {', '.join(beside)}."
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
            for entry, reading, value in zip(self.spec.checks, seen.variant.checks, seen.values, strict=True):
                room = reading.room(value)
                if reading.unit(seen.variant.session) in LEVEL_UNITS and math.isfinite(room):
                    found.append((room, entry.title, seen.variant))
        for index, ask in enumerate(self.spec.asks):
            self._narrowest_of(index, ask.title, [seen.variant for seen in solved.values()])
        if not found:
            return None
        room, title, variant = min(found, key=lambda each: each[0])
        where = f", {self._in([variant])}" if len(self.variants) > 1 else ""
        self.shown.append(f"The author's answer comes as near as {room:.1f} dB to a bound: {title}{where}.")
        return round(room, 6)

    def _narrowest_of(self, index: int, title: str, variants: list[Variant]) -> None:
        """How far the author's closed form lies from what is right, or the right choice from the next."""
        if not variants:
            return
        truths = [truths_of(variant)[index] for variant in variants]
        first = truths[0]
        if isinstance(first.right, float):
            name = first.ask.name
            off = max(
                abs(float(author_answer(variant)[name]) - float(truth.right))  # type: ignore[arg-type]
                for variant, truth in zip(variants, truths, strict=True)
            )
            unit = DIFFERENCES.get(first.ask.unit, first.ask.unit)
            self.shown.append(
                f"{title}: your own answer lies within {off:.2g} {unit} of what is right; {first.within:g} are allowed."
                if off > 0
                else f"{title}: your own answer is what is right, to the last figure."
            )
            if off > first.within / 2:
                self._remark(("solution",), f"{title}: your own answer takes up more than half of what is allowed.")
            return
        margin = min(truth.margin for truth in truths)
        unit = DIFFERENCES.get(first.unit, first.unit)
        if math.isfinite(margin):
            self.shown.append(f"{title}: the right choice stands {margin:.1f} {unit} from the next, or from a bound.")
            if unit in LEVEL_UNITS and margin < 0.5:
                self._remark(
                    ("asks", index, "by"),
                    f"{title}: {margin:.1f} {unit} between the right choice and the next are hard to tell apart.",
                )

    def _slips(self) -> None:
        sound = 0
        for index, slip in enumerate(self.spec.slips):
            looks = []
            for variant in self.variants:
                answer = answer_from(variant, slip.answer)
                # What a slip does not name is right, or where it starts.
                looks.append(self._look(variant, variant.start | self._right(variant) | answer))
            place: Places = ("slips", index)
            faults = len(self.faults)
            passing = [each.variant for each in looks if each.passed]
            choice = all(when.is_ is not None for when in slip.when if when.ask) and any(w.ask for w in slip.when)
            if choice and len(passing) < len(looks):
                # A name that is right for some learners is a slip for the others alone.
                looks = [each for each in looks if not each.passed]
                passing = []
            if passing:
                self._fault((*place, "answer"), f"the answer of the slip {slip.name!r} passes {self._in(passing)}.")
            unmet = [each for each in looks if slip.name not in each.slips]
            if unmet:
                self._fault(
                    (*place, "when"),
                    f"the answer of the slip {slip.name!r} does not meet its own when "
                    f"{self._in([each.variant for each in unmet])}.{self._short_of(slip, unmet[0])}",
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

    def _short_of(self, slip: Slip, seen: _Seen) -> str:
        """What the first reading that keeps an answer from its slip reads, and what the slip's when wants."""
        variant = seen.variant
        for when in slip.when if self.count else ():
            if when.ask is None:
                session = variant.session.replaced({move.path: seen.answer[move.path] for move in variant.moves})
                reading = reading_of(when, variant.values, session)
                value = self._renderings.read(session).value(reading)
                if reading.side(value):
                    name = reading.probe.name
                    return f" There {name} is {reading.printed(value, session)}; wanted: {reading.wanted(session)}."
        return ""

    def _unsolved(self, solved: dict[int, _Seen]) -> list[dict[str, Any]]:
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
                near = "; ".join(
                    f"{self.spec.checks[index].title} stays {'below' if best.sides[index] == 'low' else 'above'} "
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
        each_count = max(1, math.ceil(self.spread / len(self.variants)))
        points = halton(len(self.spec.moves))
        for variant in self.variants:
            answers = spread_answers(variant, points, each_count)
            right = self._right(variant)
            in_order = sorted(answers, key=lambda each: tuple(map(str, each.values())))
            spread += [self._look(variant, each | right) for each in in_order]
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

    def _guesses(self) -> float:
        """The share of guesses that are right by chance: of each ask, and of all together."""
        share = 1.0
        for index, ask in enumerate(self.spec.asks):
            truth = truths_of(self.variants[0])[index]
            chance = _chance(truth)
            share *= chance
            if chance > 0.5:
                self._remark(("asks", index), f"{ask.title}: {100 * chance:.0f} % of all guesses are right.")
        what = "both" if len(self.spec.asks) == 2 else "all"
        of_all = f" {what} asks" if len(self.spec.asks) > 1 else " the ask"
        self.shown.append(f"A guess gets{of_all} right in {100 * share:.2g} % of cases.")
        return share

    def _one_for_all(self, solved: dict[int, _Seen]) -> None:
        """One answer that passes in all variants, so that a class could copy it."""
        if self.all_variants == 1:
            self._remark(
                ("varies",), "nothing varies: every learner gets the same numbers, and a class could copy one answer."
            )
        if len(self.variants) < 2 or len(solved) < len(self.variants):
            return
        same = [
            index
            for index in range(len(self.spec.asks))
            if _constant([truths_of(each)[index] for each in self.variants])
        ]
        for index in same if self.count or len(same) < len(self.spec.asks) else ():
            self._remark(("asks", index), f"{self.spec.asks[index].title}: the answer is the same {self._everywhere}.")
        if len(same) < len(self.spec.asks):
            self.shown.append("No one answer to the asks serves for all variants.")
            return
        if not self.count:
            self._fault(("varies",), f"one answer passes {self._everywhere}; let something vary that changes it.")
            return
        tried: list[Answer] = []
        for index in sorted({0, len(self.variants) // 2, len(self.variants) - 1}):
            tried.append(solved[index].answer)
        tried += [each.answer for each in self.seen if each.passed][:: max(1, len(self.seen) // 20)]
        order = [self.variants[0], self.variants[-1], *self.variants[1:-1]]
        for answer in tried:
            if all(set(each.start) <= set(answer) and self._look(each, answer).passed for each in order):
                self._fault(
                    ("varies",),
                    f"one answer passes {self._everywhere}: {_settings(order[0], answer)}; "
                    "let something vary that moves it.",
                )
                return
        self.shown.append(f"None of {len(tried)} passing answers serves for all variants.")

    def _sides(self) -> None:
        """Checks that nothing can miss, and bounds that nothing can reach."""
        for index, entry in enumerate(self.spec.checks):
            values = [each.values[index] for each in self.seen]
            sides = {each.sides[index] for each in self.seen}
            span = f"{min(values):g} to {max(values):g}"
            if sides == {""}:
                self._fault(
                    ("checks", index, "title"),
                    f"the check {entry.title!r} cannot fail: all {len(values)} answers that were measured "
                    f"read {span}, within its bounds.",
                )
                continue
            if "" not in sides:
                self._fault(
                    ("checks", index, "reads"),
                    f"the bounds of the check {entry.title!r} cannot be reached: all {len(values)} answers that were "
                    f"measured read {span}.",
                )
            for side, bound in (("low", entry.reads.at_least), ("high", entry.reads.at_most)):
                if bound is not None and side not in sides:
                    word = "below its at_least" if side == "low" else "above its at_most"
                    self._remark(
                        ("checks", index, side),
                        f"no answer brings the check {entry.title!r} {word}; its sentence {side} is never said.",
                    )

    def _alone(self) -> dict[str, bool]:
        """Whether each check can be the only one to fail; searched for where no answer has shown it yet."""
        found: dict[str, bool] = {}
        checks = self.spec.checks
        for index, entry in enumerate(checks):
            if len(checks) == 1 or all(not each.sides[index] for each in self.seen):
                continue
            alone = any(each.failed == (index,) for each in self.seen)
            if not alone:
                middle = self.variants[len(self.variants) // 2]
                alone = self._search(middle, frozenset({index}), [author_answer(middle)]).failed == (index,)
            found[entry.title] = alone
            if not alone:
                companions = [set(each.failed) - {index} for each in self.seen if each.sides[index]]
                always = [each for each in sorted(set.intersection(*companions)) if each < self.count]
                with_it = (
                    f"whenever it failed, {_and(checks[each].title for each in always)} failed as well"
                    if always
                    else "whenever it failed, one or another of the others failed as well"
                )
                self._remark(
                    ("checks", index, "title"),
                    f"the check {entry.title!r} was never the only one to fail in {len(self.seen)} answers: {with_it}.",
                )
        if found and all(found.values()):
            self.shown.append(f"Each of the {len(checks)} checks can be the only one to fail.")
        elif any(found.values()):
            self.shown.append(f"{sum(found.values())} of the {len(checks)} checks can be the only one to fail.")
        return found | self._asks_alone()

    def _asks_alone(self) -> dict[str, bool]:
        """Whether each ask can be the only one to be missed: everything else right, and one wrong answer to it."""
        found: dict[str, bool] = {}
        variant = self.variants[0]
        for index, ask in enumerate(self.spec.asks):
            wrong = _wrong(truths_of(variant)[index])
            if wrong is None:
                self._fault(("asks", index), f"the ask {ask.title!r} cannot be missed: every answer to it is right.")
                continue
            seen = self._look(variant, author_answer(variant) | {ask.name: wrong})
            found[ask.title] = seen.failed == (self.count + index,)
        if found and all(found.values()):
            self.shown.append(f"Each ask can be the only one that is missed; asks: {len(found)}.")
        return found

    def _texts(self) -> None:
        """Numbers in the texts that no check with their unit would accept, and sentences that give the answer away."""
        for index, ask in enumerate(self.spec.asks):
            for side in ("low", "high", "wrong"):
                words = set(PLACEHOLDER.findall(getattr(ask, side) or ""))
                if told := sorted(words & {"measured", "wanted"}):
                    self._remark(
                        ("asks", index, side),
                        f"{side} of the ask {ask.name} tells {{{told[0]}}}, which gives the answer away.",
                    )
        if not self.count or not self.variants:
            return
        texts: list[tuple[Places, str, str]] = [(("brief",), "the brief", self.spec.brief)]
        texts += [(("hints", at, "text"), f"hint {at + 1}", hint.text) for at, hint in enumerate(self.spec.hints)]
        for at, entry in enumerate(self.spec.checks):
            for side in ("low", "high", "good"):
                texts.append((("checks", at, side), f"{side} of check {at + 1}", getattr(entry, side) or ""))
        bounds: dict[str, list[Reading]] = {}
        for variant in self._ends():
            for reading in variant.checks:
                bounds.setdefault(reading.unit(variant.session), []).append(reading)
        remarks = len(self.remarks)
        for place, name, text in texts:
            for number, unit in _numbers_in(text):
                held = bounds.get(unit, [])
                if held and not any(each.room(number) >= 0 for each in held):
                    wanted = _and(_bounds(each) for each in held)
                    self._remark(place, f"{name} says {number:g} {unit}; the checks want {wanted} {unit}.")
        if len(self.remarks) == remarks:
            self.shown.append("No text promises another number than the checks use.")

    # --- the search ---

    def _miss(self, seen: _Seen, failing: frozenset[int]) -> float:
        """How far an answer is from passing all checks but `failing`, which shall fail; 0 where it is there."""
        total = 0.0
        for index, (reading, value) in enumerate(zip(seen.variant.checks, seen.values, strict=True)):
            room = reading.room(value)
            if index in failing:
                total += 0.0 if seen.sides[index] else 0.1 + part_of(room)
            elif seen.sides[index]:
                total += 0.1 + part_of(-room)
        return total

    def _search(self, variant: Variant, failing: frozenset[int], hints: Iterable[Answer]) -> _Seen:
        right = self._right(variant)
        return search(
            variant,
            lambda answer: self._look(variant, right | answer),
            lambda seen: self._miss(seen, failing),
            lambda seen: seen.answer,
            aims=lambda seen: _aims(seen, failing),
            begin=hints,
            most=self.looks,
        )

    def _slip_place(self, name: str) -> Places:
        return ("slips", next(at for at, slip in enumerate(self.spec.slips) if slip.name == name))


def _aims(seen: _Seen, failing: frozenset[int]) -> Iterator[tuple[str, float]]:
    """Which number to move, and by how much, so that a check comes to the middle of its bounds, or out of them."""
    variant = seen.variant
    numbers = [move for move in variant.moves if not move.options and not move.points]
    for index, (reading, value) in enumerate(zip(variant.checks, seen.values, strict=True)):
        if bool(seen.sides[index]) == (index in failing) or not math.isfinite(value):
            continue
        low, high = reading.least, reading.most
        aim = (low + high) / 2 if low is not None and high is not None else high if high is not None else low or 0.0
        if index in failing:
            aim = high + 1.0 if high is not None else (low or 0.0) - 1.0
        for move in reversed(numbers):
            if reaches(move.path, reading, variant):
                yield move.path, aim - value
                yield move.path, value - aim


def _look_ms(exercise: Exercise) -> float:
    """What one look costs, roughly: every stage of every strip and bus made anew, every reading taken."""
    session = exercise.with_values({name: draw.at(0) for name, draw in exercise.draws.items()}).session
    seconds = {strip.name: strip.take.seconds * strip.take.rate_hz / 48_000 for strip in session.strips}
    longest = max(seconds.values())
    total = 0.0
    for chain in session.chains:
        stages = sum(stage.cost_ms for stage in chain.chain)
        total += stages * seconds.get(chain.name, 2 * longest)  # a bus has two channels, as a rule
    read = [entry.reads for entry in exercise.spec.checks] + [ask.by for ask in exercise.spec.asks if ask.by]
    return total + longest * sum(MEASURES_MS.get(each.measure or "", MEASURE_MS) for each in read)


def _typed(truth: Truth) -> bool:
    return bool(truth.fault) or (isinstance(truth.right, float) and truth.ask.low <= truth.right <= truth.ask.high)


def _chance(truth: Truth) -> float:
    """The share of guesses at an ask that are right."""
    ask = truth.ask
    if ask.form == "order":
        return 1.0 / math.factorial(len(ask.choices))
    if ask.form == "choice":
        return 1.0 / len(ask.choices)
    return min(1.0, 2.0 * truth.within / (ask.high - ask.low))


def _wrong(truth: Truth) -> Any:
    """An answer to an ask that is wrong; None where there is none."""
    ask = truth.ask
    tries: Iterable[Any] = ask.choices
    if ask.form in ("number", "seconds"):
        tries = (ask.low, ask.high)
    elif ask.form == "order":
        tries = itertools.permutations(ask.choices)
    return next((each for each in tries if not truth.accepts(each)), None)


def _constant(truths: Sequence[Truth]) -> bool:
    """Whether one answer to an ask is right in all these variants."""
    if isinstance(truths[0].right, float):
        rights = [float(each.right) for each in truths if isinstance(each.right, float)]
        return max(rights) - min(rights) <= 2 * truths[0].within
    return len({each.right for each in truths}) == 1


def _drawn(exercise: Exercise, most: int) -> tuple[list[dict[str, float | str | bool]], int]:
    """The values of each variant to look at, at most so many, and how many there are in all."""
    draws = exercise.draws
    if not draws:
        return [{}], 1
    counts = [draw.count for draw in draws.values()]
    total = math.prod(counts)
    if total <= most:
        chosen: Iterable[tuple[int, ...]] = itertools.product(*(range(count) for count in counts))
    else:
        ends = itertools.islice(_corners(counts), most if 2 ** len(counts) <= most else max(2, most // 2))
        points = halton(len(counts))
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
    return [{name: draws[name].at(at) for name, at in zip(draws, each, strict=True)} for each in chosen], total


def _corners(counts: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """The first or the last of everything, each combination followed by its opposite: two differ in all they can."""
    for lasts in itertools.product((False, True), repeat=len(counts) - 1):
        corner = (False, *lasts)
        yield tuple((count - 1) * last for count, last in zip(counts, corner, strict=True))
        yield tuple((count - 1) * (not last) for count, last in zip(counts, corner, strict=True))


def _numbers(variant: Variant) -> str:
    told = [f"{name} {text}" for name, text in variant.printed.items()]
    if ORDER in variant.values:
        told.append(f"the candidates in the order {variant.values[ORDER]}")
    return ", ".join(told) or "the only numbers"


def _settings(variant: Variant, answer: Mapping[str, Any]) -> str:
    said = []
    for move in variant.moves:
        value = answer[move.path]
        if move.points:
            said.append(f"{move.label} with {len(value)} points")
        elif move.options:
            said.append(f"{move.label} {shown(value)}")
        else:
            said.append(f"{move.label} {printed_number(value, move.unit, move.step)}")
    return ", ".join(said)


def _looked(variants: Sequence[Variant]) -> str:
    if len(variants) == 1:
        return "the only variant"
    return f"{len(variants)} variants ({'; '.join(_numbers(each) for each in variants)})"


def _and(parts: Iterable[str]) -> str:
    unlike = list(dict.fromkeys(parts))
    return unlike[0] if len(unlike) == 1 else f"{', '.join(unlike[:-1])} and {unlike[-1]}"


def _bounds(reading: Reading) -> str:
    low, high = reading.least, reading.most
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
