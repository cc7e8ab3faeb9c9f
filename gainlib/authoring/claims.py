"""What a proof claims of an exercise, one function a claim: each notes what is wrong, worth a look, or shown."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from gainlib.authoring.evidence import (
    Evidence,
    FoundAnswer,
    Look,
    describe_found,
    describe_numbers,
    describe_settings,
)
from gainlib.authoring.search import Answer, halton, on_step, spread_answers
from gainlib.exercises import author_answer, check
from gainlib.exercises.model import Question
from gainlib.exercises.questions import ExpectedAnswer, expected_answers
from gainlib.exercises.readings import DIFFERENCES, LEVEL_UNITS
from gainlib.exercises.tables import SlipEntry
from gainlib.exercises.variant import Variant
from gainlib.storage.entry_faults import Place
from gainlib.text import counted, listed, printed_number

__all__ = [
    "Rates",
    "author_keeps_a_margin",
    "author_passes",
    "checks_can_fail_alone",
    "every_bound_can_be_met_and_missed",
    "every_variant_can_be_solved",
    "few_answers_pass",
    "guessing_fails",
    "no_answer_serves_for_all",
    "questions_have_one_answer",
    "slips_meet_their_sentences",
    "start_fails",
    "verdict_seldom_errs",
]

MOST_SEARCHED = 6  # variants that are searched with a grid of their own
MOST_PAIRS = 40  # learners of whom one hands in what is right for the other
MOST_NEAR = 1 / 3  # of such answers; if more pass, who sits beside somebody needs no answer of their own


def questions_have_one_answer(evidence: Evidence) -> None:
    """Each ask has one right answer in every variant."""
    for index, ask in enumerate(evidence.spec.asks):
        faulty = [(each, expected_answers(each, evidence.renderings)[index]) for each in evidence.variants]
        faulty = [(variant, truth) for variant, truth in faulty if truth.fault]
        if faulty:
            variants = [variant for variant, _ in faulty]
            evidence.note_fault(
                ("asks", index),
                f"the ask {ask.title!r} has no one right answer {evidence.describe(variants)}: {faulty[0][1].fault}.",
            )
        outside = [
            each
            for each in evidence.variants
            if ask.expected is not None and not _typed(expected_answers(each, evidence.renderings)[index])
        ]
        if outside:
            right = expected_answers(outside[0], evidence.renderings)[index]
            evidence.note_fault(
                ("asks", index, "from"),
                f"what is right for {ask.title!r} cannot be typed {evidence.describe(outside)}: "
                f"it is {right.measured}.",
            )


def start_fails(evidence: Evidence) -> None:
    """The answer of somebody who has moved nothing fails, and meets no slip."""
    if not evidence.count:
        return
    starts = [evidence.look(each, each.start | evidence.right_answers(each)) for each in evidence.variants]
    passing = [each.variant for each in starts if not any(each.sides[: evidence.count])]
    if passing:
        evidence.note_fault(("moves",), f"the start passes already {evidence.describe(passing)}; begin further away.")
    else:
        evidence.shown.append(f"The start fails {evidence.everywhere}.")
    slipped = [each for each in starts if each.slips and not each.passed]
    if slipped:
        name = slipped[0].slips[0]
        evidence.note_remark(
            evidence.slip_place(name),
            f"the start already meets the slip {name!r} {evidence.describe([each.variant for each in slipped])}; "
            "the learner has done nothing wrong yet.",
        )


def author_passes(evidence: Evidence) -> dict[int, Look]:
    """The author's answer where it passes, by the variant's index."""
    looks = [evidence.look(each, author_answer(each)) for each in evidence.variants]
    _rides_within_reach(evidence, ("solution",), "your answer", looks)
    missed = [each for each in looks if not each.passed]
    if missed:
        first = missed[0]
        why = ""
        index = first.failed[0]
        if index >= evidence.count:
            truth = expected_answers(first.variant)[index - evidence.count]
            given = truth.printed(first.answer.get(truth.question.name))
            measured = "" if isinstance(truth.right, float) or not truth.measured else f" ({truth.measured})"
            right = truth.measured if isinstance(truth.right, float) else truth.printed(truth.right)
            why = f" {truth.question.title}: you give {given}; what is measured or worked out gives {right}{measured}."
        else:
            line = check(first.variant, first.answer).lines[index]
            why = f" {line.title}: {line.sentence}"
        titles = [each.title for each in evidence.spec.checks] + [each.title for each in evidence.spec.asks]
        beside = [titles[each] for each in first.failed[1:]]
        if beside:
            why += f" Failing there as well: {', '.join(beside)}."
        evidence.note_fault(
            ("solution",), f"your answer fails {evidence.describe([each.variant for each in missed])}.{why}"
        )
    else:
        evidence.shown.append(f"The author's answer passes {evidence.everywhere}.")
    held = [each for each in looks if each.passed and each.slips]
    if held:
        name = held[0].slips[0]
        evidence.note_remark(
            evidence.slip_place(name), f"the author's answer looks like the slip {name!r}; narrow its when."
        )
    return {index: each for index, each in enumerate(looks) if each.passed}


def _rides_within_reach(evidence: Evidence, place: Place, whose: str, looks: Sequence[Look]) -> None:
    """Rides that nobody can draw, since a point of them lies beyond what the move allows."""
    for move in [each for each in looks[0].variant.controls if each.points] if looks else ():
        beyond = [
            (look.variant, seconds, gain_db)
            for look in looks
            for seconds, gain_db in look.answer.get(move.path, ())
            if not move.low - 1e-9 <= gain_db <= move.high + 1e-9
        ]
        if beyond:
            variant, seconds, gain_db = max(beyond, key=lambda each: abs(each[2]))
            gain, low, high = map(move.printed, (gain_db, move.low, move.high))
            evidence.note_fault(
                place,
                f"{whose} rides to {gain} at {printed_number(seconds, 's')}, with {describe_numbers(variant)}; "
                f"{move.label} goes from {low} to {high}. Give it more reach, or the answer less strength or most_db.",
            )


def author_keeps_a_margin(evidence: Evidence, solved: dict[int, Look]) -> float | None:
    """How near the author's answers come to a bound, in dB; None where no bound is a level."""
    found: list[tuple[float, str, Variant]] = []
    for look in solved.values():
        for entry, reading, value in zip(evidence.spec.checks, look.variant.checks, look.values, strict=True):
            room = reading.room(value)
            if reading.unit(look.variant.session) in LEVEL_UNITS and math.isfinite(room):
                found.append((room, entry.title, look.variant))
    for index, ask in enumerate(evidence.spec.asks):
        _margin_of_question(evidence, index, ask.title, [look.variant for look in solved.values()])
    if not found:
        return None
    room, title, variant = min(found, key=lambda each: each[0])
    where = f", {evidence.describe([variant])}" if len(evidence.variants) > 1 else ""
    evidence.shown.append(f"The author's answer comes as near as {room:.1f} dB to a bound: {title}{where}.")
    return round(room, 6)


def _margin_of_question(evidence: Evidence, index: int, title: str, variants: list[Variant]) -> None:
    """How far the author's closed form lies from what is right, or the right choice from the next."""
    if not variants:
        return
    truths = [expected_answers(variant)[index] for variant in variants]
    first = truths[0]
    if isinstance(first.right, float):
        name = first.question.name
        off = max(
            abs(float(author_answer(variant)[name]) - float(truth.right))  # type: ignore[arg-type]
            for variant, truth in zip(variants, truths, strict=True)
        )
        unit = DIFFERENCES.get(first.question.unit, first.question.unit)
        evidence.shown.append(
            f"{title}: your own answer lies within {off:.2g} of what is right; {first.within:g} {unit} are allowed."
            if off > first.within / 1000
            else f"{title}: your own answer is what is right, to a thousandth of what is allowed."
        )
        if off > first.within / 2:
            evidence.note_remark(("solution",), f"{title}: your own answer takes up more than half of what is allowed.")
        return
    margin = min(truth.margin for truth in truths)
    unit = DIFFERENCES.get(first.unit, first.unit)
    if math.isfinite(margin):
        evidence.shown.append(f"{title}: the right choice stands {margin:.1f} {unit} from the next, or from a bound.")
        if unit in LEVEL_UNITS and margin < 0.5:
            evidence.note_remark(
                ("asks", index, "by"),
                f"{title}: {margin:.1f} {unit} between the right choice and the next are hard to tell apart.",
            )


def slips_meet_their_sentences(evidence: Evidence) -> None:
    """The answer of each slip fails, meets its own sentence and no other."""
    sound = 0
    for index, slip in enumerate(evidence.spec.slips):
        looks = [evidence.slipped(variant, slip) for variant in evidence.variants]
        place: Place = ("slips", index)
        _rides_within_reach(evidence, (*place, "answer"), f"the answer of the slip {slip.name!r}", looks)
        faults = len(evidence.faults)
        for at, ask in enumerate(evidence.spec.asks):
            reach = [_within_reach(each.answer.get(ask.name), each.variant.questions[at]) for each in looks]
            outside = [each for each, within in zip(looks, reach, strict=True) if not within]
            if outside and ask.name in slip.answer:
                evidence.note_fault(
                    ("asks", at, "from"),
                    f"the answer of the slip {slip.name!r} cannot be typed "
                    f"{evidence.describe([each.variant for each in outside])}: it is {outside[0].answer[ask.name]:g}; "
                    f"widen from and to of the ask {ask.title!r}.",
                )
        passing = [each.variant for each in looks if each.passed]
        if evidence.slip_may_be_right(slip) and len(passing) < len(looks):
            # A name that is right for some learners is a slip for the others alone.
            looks = [each for each in looks if not each.passed]
            passing = []
        if passing:
            evidence.note_fault(
                (*place, "answer"), f"the answer of the slip {slip.name!r} passes {evidence.describe(passing)}."
            )
        unmet = [each for each in looks if slip.name not in each.slips]
        if unmet:
            evidence.note_fault(
                (*place, "when"),
                f"the answer of the slip {slip.name!r} does not meet its own when "
                f"{evidence.describe([each.variant for each in unmet])}.{_falls_short_of(evidence, slip, unmet[0])}",
            )
        others = [each for each in looks if set(each.slips) - {slip.name}]
        if others:
            other = next(each for each in others[0].slips if each != slip.name)
            evidence.note_fault(
                (*place, "answer"),
                f"the answer of the slip {slip.name!r} meets the slip {other!r} as well "
                f"{evidence.describe([each.variant for each in others])}; make their when exclude each other.",
            )
        sound += len(evidence.faults) == faults
    if evidence.spec.slips and sound == len(evidence.spec.slips):
        evidence.shown.append(f"Each slip's answer meets its own sentence and no other; slips: {sound}.")


@dataclass(frozen=True)
class Rates:
    """How often the verdict errs, as far as it is known what is right and what is wrong.

    Of `right` answers of the author `right_refused` fail, of the `beside` ones, one step of a control off,
    `beside_refused`; of `wrong` answers (starts and slips) `wrong_accepted` pass. Of those that are right for `another`
    learner, near and far ones alike, `another_accepted` pass; where what is drawn lies near, they may.
    """

    right: int = 0
    right_refused: int = 0
    beside: int = 0
    beside_refused: int = 0
    wrong: int = 0
    wrong_accepted: int = 0
    another: int = 0
    another_accepted: int = 0

    @property
    def sentence(self) -> str:
        """Both errors, each beside the number of answers it was counted in."""
        said = f"Right answers refused: {self.right_refused} of {self.right} of yours"
        said += f", {self.beside_refused} of {self.beside} one step beside it" if self.beside else ""
        said += (
            f". Wrong answers accepted: {self.wrong_accepted} of {self.wrong} starts and slips" if self.wrong else ""
        )
        if self.another:
            said += f". Another learner's right answer passes in {self.another_accepted} of {self.another} cases"
        return f"{said}."


def verdict_seldom_errs(evidence: Evidence, solved: dict[int, Look]) -> Rates:
    """How many right answers are refused and how many wrong ones accepted, of those known for what they are."""
    variants = evidence.variants
    ends = [index for index in (variants.index(each) for each in evidence.ends()) if index in solved]
    beside = [
        evidence.look(variants[index], answer)
        for index in ends
        for answer in _one_step_beside(variants[index], solved[index].answer)
    ]
    wrong = [evidence.look(each, each.start | evidence.right_answers(each)) for each in variants if evidence.count]
    for slip in evidence.spec.slips:
        looks = [evidence.slipped(each, slip) for each in variants]
        failing = [each for each in looks if not each.passed]
        wrong += failing if evidence.slip_may_be_right(slip) and failing else looks
    count = len(variants)
    own = list(solved.values())
    pairs = [(own[mine], own[theirs]) for mine, theirs in _pairs(len(own), MOST_PAIRS)]
    pairs = [(mine, theirs) for mine, theirs in pairs if mine.answer.keys() == theirs.answer.keys()]
    another = [evidence.look(mine.variant, theirs.answer) for mine, theirs in pairs]
    rates = Rates(
        count, count - len(solved), len(beside), sum(not each.passed for each in beside),
        len(wrong), sum(each.passed for each in wrong), len(another), sum(each.passed for each in another),
    )  # fmt: skip
    evidence.shown.append(rates.sentence)
    near = sum(
        look.passed and mine.answer != theirs.answer for look, (mine, theirs) in zip(another, pairs, strict=True)
    )
    if near > MOST_NEAR * len(another):
        evidence.note_remark(
            ("varies",),
            f"another learner's answer passes here in {near} of {len(another)} cases, since their numbers lie near: "
            "draw them farther apart (a larger step), or over a wider range, or narrow the bounds.",
        )
    return rates


def _pairs(count: int, most: int) -> list[tuple[int, int]]:
    """Pairs of two of so many, spread evenly over near and far ones; all of them where there are no more."""
    if count * (count - 1) <= most:
        return list(itertools.permutations(range(count), 2))
    found: dict[tuple[int, int], None] = {}
    for first, second in halton(2):
        mine, theirs = int(first * count), int(second * (count - 1))
        found[mine, theirs + (theirs >= mine)] = None
        if len(found) == most:
            break
    return list(found)


def _one_step_beside(variant: Variant, answer: Answer) -> Iterator[Answer]:
    """The answer with one control one step lower or higher, a ride as a whole."""
    for move in variant.controls:
        for sign in (-1, 1) if not move.options else ():
            at = answer[move.path]
            if move.points:
                yield answer | {
                    move.path: tuple((seconds, on_step(move, gain_db + sign * move.step)) for seconds, gain_db in at)
                }
            elif move.low <= at + sign * move.step <= move.high:
                yield answer | {move.path: at + sign * move.step}


def _falls_short_of(evidence: Evidence, slip: SlipEntry, look: Look) -> str:
    """What the first reading that keeps an answer from its slip reads, and what the slip's when wants."""
    variant = look.variant
    for when in slip.when if evidence.count else ():
        if when.ask is None:
            session = variant.session.replaced({move.path: look.answer[move.path] for move in variant.controls})
            reading = variant.reading(when)
            value = evidence.renderings.read(session).value(reading)
            if reading.side(value):
                name = reading.probe.name
                return f" There {name} is {reading.printed(value, session)}; wanted: {reading.wanted(session)}."
    return ""


def every_variant_can_be_solved(
    evidence: Evidence, solved: dict[int, Look]
) -> tuple[list[dict[str, Any]], list[FoundAnswer]]:
    """The variants in which neither the author's answer passes nor a search finds one that does; and what it found."""
    unsolved: list[Variant] = []
    left = [each for index, each in enumerate(evidence.variants) if index not in solved]
    passing: list[Look] = []
    last, parts = len(left) - 1, MOST_SEARCHED - 1
    searched = (
        [left[at] for at in sorted({round(last * part / parts) for part in range(MOST_SEARCHED)})] if left else []
    )
    for variant in searched:
        hints = [each.answer for each in evidence.looks if each.passed][-1:]
        best = evidence.search(variant, frozenset(), hints)
        # a search moves controls; what is asked beside the checks it cannot answer
        failed = [index for index in best.failed if index < evidence.count]
        if not failed:
            passing.append(best)
        else:
            unsolved.append(variant)
            near = "; ".join(
                f"{evidence.spec.checks[index].title} stays {'below' if best.sides[index] == 'low' else 'above'} "
                f"its bound, at {best.values[index]:g}"
                for index in failed
            )
            evidence.note_fault(
                ("checks", failed[0], "title"),
                f"no answer was found that passes with {describe_numbers(variant)}; the nearest is "
                f"{describe_settings(variant, best.answer)}: {near}.",
            )
    # Of the first and the last the middle of what passes is looked for, since a rule is made from two.
    found = [evidence.found(each, centred=index in (0, len(passing) - 1)) for index, each in enumerate(passing)]
    if found:
        both = [*zip(passing, found, strict=True)]
        telling = [(look, each) for look, each in both if each.passes] if len(both) > 2 else []
        told = "; ".join(
            f"with {describe_numbers(look.variant)}: {describe_found(look.variant, each)}"
            for look, each in telling or both[:2]
        )
        evidence.note_remark(
            ("solution",),
            f"a search found an answer in {len(found)} of the {counted(len(searched), 'variant')} that it tried "
            f"where yours fails, {told}.",
        )
    if len(left) > len(searched):
        more = counted(len(left) - len(searched), "more variant")
        evidence.note_remark(("solution",), f"not searched: {more} in which yours fails.")
    if not left:
        # The author's rule may pass by one lucky spot; a search that does not know it says how it is for a learner.
        ends = evidence.ends()
        looks = [evidence.search(each, frozenset(), []) for each in ends]
        blind = [each.variant for each in looks if not each.passed]
        found = [evidence.found(each, centred=False) for each in looks if each.passed]
        if blind:
            evidence.note_remark(
                ("checks",), f"a search that does not know your answer found none {evidence.describe(blind)}."
            )
        else:
            told = "; ".join(
                f"{describe_numbers(each)}: {describe_found(each, answer)}"
                for each, answer in zip(ends, found, strict=True)
            )
            looked = counted(len(ends), "variant")
            evidence.shown.append(f"A search that does not know the author's answer finds one in {looked} ({told}).")
    return [each.values for each in unsolved], found


def few_answers_pass(evidence: Evidence) -> list[Look]:
    """Evenly spread answers in every variant: how tight the exercise is."""
    spread: list[Look] = []
    each_count = max(1, math.ceil(evidence.spread / len(evidence.variants)))
    points = halton(len(evidence.spec.moves))
    for variant in evidence.variants:
        answers = spread_answers(variant, points, each_count)
        right = evidence.right_answers(variant)
        in_order = sorted(answers, key=lambda each: tuple(map(str, each.values())))
        spread += [evidence.look(variant, each | right) for each in in_order]
    passing = sum(each.passed for each in spread)
    share = 100 * passing / len(spread)
    said = f"{share:.1f} %" if passing else "none"
    evidence.shown.append(f"Of {len(spread)} answers spread evenly over the controls {said} pass.")
    if share > 50:
        evidence.note_remark(("checks",), f"{share:.0f} % of all answers pass; guessing is enough.")
    twice = [each for each in spread if len(each.slips) > 1 and not each.passed]
    if twice:
        first = twice[0]
        evidence.note_remark(
            evidence.slip_place(first.slips[1]),
            f"the answer {describe_settings(first.variant, first.answer)} with {describe_numbers(first.variant)} "
            f"meets two slips, {first.slips[0]!r} and {first.slips[1]!r}; only the first is told.",
        )
    return spread


def guessing_fails(evidence: Evidence) -> float:
    """The share of guesses that are right by chance: of each ask, and of all together."""
    share = 1.0
    for index, ask in enumerate(evidence.spec.asks):
        truth = expected_answers(evidence.variants[0])[index]
        chance = _chance(truth)
        share *= chance
        if chance > 0.5:
            evidence.note_remark(("asks", index), f"{ask.title}: {100 * chance:.0f} % of all guesses are right.")
    what = "both" if len(evidence.spec.asks) == 2 else "all"
    of_all = f" {what} asks" if len(evidence.spec.asks) > 1 else " the ask"
    evidence.shown.append(f"A guess gets{of_all} right in {100 * share:.2g} % of cases.")
    return share


def no_answer_serves_for_all(evidence: Evidence, solved: dict[int, Look]) -> None:
    """One answer that passes in all variants, so that a class could copy it."""
    if evidence.all_variants == 1 and evidence.spec.kind != "record":  # there each learner has a take of their own
        evidence.note_remark(
            ("varies",), "nothing varies: every learner gets the same numbers, and a class could copy one answer."
        )
    if len(evidence.variants) < 2 or len(solved) < len(evidence.variants):
        return
    same = [
        index
        for index in range(len(evidence.spec.asks))
        if _constant([expected_answers(each)[index] for each in evidence.variants])
    ]
    for index in same if evidence.count or len(same) < len(evidence.spec.asks) else ():
        evidence.note_remark(
            ("asks", index), f"{evidence.spec.asks[index].title}: the answer is the same {evidence.everywhere}."
        )
    if len(same) < len(evidence.spec.asks):
        evidence.shown.append("No one answer to the asks serves for all variants.")
        return
    if not evidence.count:
        evidence.note_fault(
            ("varies",), f"one answer passes {evidence.everywhere}; let something vary that changes it."
        )
        return
    ends = sorted({0, len(evidence.variants) // 2, len(evidence.variants) - 1})
    tried = [solved[index].answer for index in ends]
    tried += [each.answer for each in evidence.looks if each.passed][:: max(1, len(evidence.looks) // 20)]
    order = [evidence.variants[0], evidence.variants[-1], *evidence.variants[1:-1]]
    for answer in tried:
        if all(set(each.start) <= set(answer) and evidence.look(each, answer).passed for each in order):
            evidence.note_fault(
                ("varies",),
                f"one answer passes {evidence.everywhere}: {describe_settings(order[0], answer)}; "
                "let something vary that moves it.",
            )
            return
    evidence.shown.append(f"None of {len(tried)} passing answers serves for all variants.")


def every_bound_can_be_met_and_missed(evidence: Evidence) -> None:
    """Checks that nothing can miss, and bounds that nothing can reach."""
    for index, entry in enumerate(evidence.spec.checks):
        values = [each.values[index] for each in evidence.looks]
        sides = {each.sides[index] for each in evidence.looks}
        span = f"{min(values):g} to {max(values):g}"
        if sides == {""} and evidence.spec.kind == "record":
            evidence.note_remark(
                ("checks", index, "title"),
                f"the check {entry.title!r} is met by the take that stands in, whatever its gain; see that another "
                "take can miss it.",
            )
            continue
        if sides == {""}:
            evidence.note_fault(
                ("checks", index, "title"),
                f"the check {entry.title!r} cannot fail: all {len(values)} answers that were measured "
                f"read {span}, within its bounds.",
            )
            continue
        if "" not in sides:
            evidence.note_fault(
                ("checks", index, "reads"),
                f"the bounds of the check {entry.title!r} cannot be reached: all {len(values)} answers that were "
                f"measured read {span}.",
            )
        for side, bound in (("low", entry.reads.at_least), ("high", entry.reads.at_most)):
            if bound is not None and side not in sides:
                word = "below its at_least" if side == "low" else "above its at_most"
                evidence.note_remark(
                    ("checks", index, side),
                    f"no answer brings the check {entry.title!r} {word}; its sentence {side} is never said.",
                )


def checks_can_fail_alone(evidence: Evidence) -> dict[str, bool]:
    """Whether each check can be the only one to fail; searched for where no answer has shown it yet."""
    found: dict[str, bool] = {}
    checks = evidence.spec.checks
    for index, entry in enumerate(checks):
        if len(checks) == 1 or all(not each.sides[index] for each in evidence.looks):
            continue
        alone = any(each.failed == (index,) for each in evidence.looks)
        if not alone:
            # In the variant where it failed with the fewest others: elsewhere a drawn word may leave it out of reach.
            near = min(
                (each for each in evidence.looks if each.sides[index]), key=lambda each: len(each.failed)
            ).variant
            alone = evidence.search(near, frozenset({index}), [author_answer(near)]).failed == (index,)
        found[entry.title] = alone
        if not alone:
            companions = [set(each.failed) - {index} for each in evidence.looks if each.sides[index]]
            always = [each for each in sorted(set.intersection(*companions)) if each < evidence.count]
            with_it = (
                f"whenever it failed, {listed(checks[each].title for each in always)} failed as well"
                if always
                else "whenever it failed, one or another of the others failed as well"
            )
            evidence.note_remark(
                ("checks", index, "title"),
                f"the check {entry.title!r} was never the only one to fail in {len(evidence.looks)} answers: "
                f"{with_it}.",
            )
    if found and all(found.values()):
        evidence.shown.append(f"Each of the {len(checks)} checks can be the only one to fail.")
    elif any(found.values()):
        evidence.shown.append(f"{sum(found.values())} of the {len(checks)} checks can be the only one to fail.")
    return found | questions_can_be_missed_alone(evidence)


def questions_can_be_missed_alone(evidence: Evidence) -> dict[str, bool]:
    """Whether each ask can be the only one to be missed: everything else right, and one wrong answer to it."""
    found: dict[str, bool] = {}
    variant = evidence.variants[0]
    for index, ask in enumerate(evidence.spec.asks):
        wrong = _wrong(expected_answers(variant)[index])
        if wrong is None:
            evidence.note_fault(
                ("asks", index), f"the ask {ask.title!r} cannot be missed: every answer to it is right."
            )
            continue
        look = evidence.look(variant, author_answer(variant) | {ask.name: wrong})
        found[ask.title] = look.failed == (evidence.count + index,)
    if found and all(found.values()):
        evidence.shown.append(f"Each ask can be the only one that is missed; asks: {len(found)}.")
    return found


def _typed(truth: ExpectedAnswer) -> bool:
    return bool(truth.fault) or (isinstance(truth.right, float) and _within_reach(truth.right, truth.question))


def _within_reach(answer: Any, asked: Question) -> bool:
    """Whether a number lies where it may be typed; any other answer does."""
    return asked.form != "number" or answer is None or asked.low <= answer <= asked.high


def _chance(truth: ExpectedAnswer) -> float:
    """The share of guesses at an ask that are right."""
    ask = truth.question
    if ask.form == "order":
        return 1.0 / math.factorial(len(ask.choices))
    if ask.form == "choice":
        return 1.0 / len(ask.choices)
    return min(1.0, 2.0 * truth.within / (ask.high - ask.low))


def _wrong(truth: ExpectedAnswer) -> Any:
    """An answer to an ask that is wrong; None where there is none."""
    ask = truth.question
    tries: Iterable[Any] = ask.choices
    if ask.form in ("number", "seconds"):
        tries = (ask.low, ask.high)
    elif ask.form == "order":
        tries = itertools.permutations(ask.choices)
    return next((each for each in tries if not truth.accepts(each)), None)


def _constant(truths: Sequence[ExpectedAnswer]) -> bool:
    """Whether one answer to an ask is right in all these variants."""
    if isinstance(truths[0].right, float):
        rights = [float(each.right) for each in truths if isinstance(each.right, float)]
        return max(rights) - min(rights) <= 2 * truths[0].within
    return len({each.right for each in truths}) == 1
