"""What a class's marks say about the exercises: how hard each is, what it tells apart, which slips were met."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from gainlib.classroom.marks import ForeignNumbers, LearnerMark
from gainlib.exercises import Exercise
from gainlib.exercises.ladder import Ladder, ladder_of

__all__ = [
    "CheckFigures",
    "ClassFigures",
    "ExerciseFigures",
    "GroupFigures",
    "SlipFigures",
    "analyse_items",
    "discrimination",
]

FEWEST = 5
"""Below this many answers a share or a correlation says nothing."""
HELP_BELOW = 0.6
REPEAT_FROM = 0.3
"""What so large a share of a class cannot do, or takes wrong in the same way, is better taught again."""


def discrimination(share: Sequence[float], rest: Sequence[float]) -> float | None:
    """How far an item goes along with the rest of the marks: the correlation of its points with all other points.

    From −1 to 1; None for fewer than 5 answers, or where either does not vary. *Published*: the item-rest correlation,
    corrected for the item's own part in the total (Henrysson, Psychometrika 28, 1963).

    >>> discrimination([0, 0, 0, 1, 1, 1], [1, 2, 3, 4, 5, 6])
    0.878
    """
    first, second = np.asarray(share, dtype=float), np.asarray(rest, dtype=float)
    if len(first) < FEWEST or np.ptp(first) < 1e-9 or np.ptp(second) < 1e-9:
        return None
    return round(float(np.corrcoef(first, second)[0, 1]), 3)


@dataclass(frozen=True)
class CheckFigures:
    """One check: how many of those who answered met it, and how far it goes along with the rest."""

    title: str
    met: float
    discrimination: float | None


@dataclass(frozen=True)
class SlipFigures:
    """A known wrong answer: its name, what was said to it, and how many met it."""

    name: str
    said: str
    count: int


@dataclass(frozen=True)
class ExerciseFigures:
    """One exercise: how many answered and passed, the mean share of its points, its checks, its slips, who needs help.

    `difficulty` is the mean share of the points among those who answered: 1 for an exercise that all can do.
    """

    exercise: Exercise
    answered: int
    passed: int
    difficulty: float | None
    discrimination: float | None
    checks: tuple[CheckFigures, ...]
    slips: tuple[SlipFigures, ...]
    need_help: tuple[str, ...]
    without_answer: tuple[str, ...]
    attempts: tuple[int, ...] = ()
    hints: int = 0

    @property
    def effort(self) -> str:
        """How many attempts the answers took, and how many took a hint, in words."""
        if not self.attempts:
            return ""
        low, high, middle = min(self.attempts), max(self.attempts), float(np.median(self.attempts))
        span = f"{low}" if low == high else f"{low} to {high}, the middle one {middle:g}"
        hints = f"{self.hints} of {self.answered} took a hint" if self.hints else "no hints"
        return f"attempts: {span}; {hints}"

    @property
    def repeat(self) -> str:
        """Why this should be taught again, in words; empty where most can do it, or too few answered."""
        if self.difficulty is None or self.answered < FEWEST:
            return ""
        said = []
        if len(self.need_help) >= REPEAT_FROM * self.answered:
            said.append(
                f"{len(self.need_help)} of {self.answered} got less than {100 * HELP_BELOW:g}\u00a0% of its points"
            )
        worst = min(self.checks, key=lambda each: each.met, default=None)
        if worst and worst.met < 0.5:
            said.append(f"{round(worst.met * self.answered)} of {self.answered} met “{worst.title}”")
        if self.slips and self.slips[0].count >= max(2, REPEAT_FROM * self.answered):
            said.append(f"the slip of {self.slips[0].count} was “{self.slips[0].name}”")
        return "; ".join(said)

    @property
    def words(self) -> str:
        """What the two figures mean, in words."""
        if self.difficulty is None or self.answered < FEWEST:
            return f"{self.answered} answers; too few to say more"
        hard = "hard" if self.difficulty < 0.4 else "of middling difficulty" if self.difficulty < 0.85 else "easy"
        tells = self.discrimination
        if tells is None:
            return f"{hard}; all answers or all other points are alike, so nothing can be compared"
        if tells < -0.1:
            return f"{hard}; those who are good at the rest do it worse: read its text again"
        if tells < 0.1 and self.difficulty < 0.4:
            return f"{hard} for good and weak alike: teach it again before you ask it again"
        well = "well" if tells >= 0.3 else "a little" if tells >= 0.1 else "hardly"
        return f"{hard}; tells {well} who is good at the rest"


@dataclass(frozen=True)
class GroupFigures:
    """One group of the class: its learners, how many handed in, and the percentages of those."""

    name: str
    learners: int
    percents: tuple[float, ...]

    @property
    def median(self) -> float | None:
        """The middle of the percentages of those who handed in."""
        return round(float(np.median(self.percents)), 1) if self.percents else None


@dataclass(frozen=True)
class HearingFigures:
    """One listening ladder: the rung and the size that each learner just hears, who ran it to its end; no marks.

    `names` are the rungs as they are written, the clearest first.
    """

    exercise: Exercise
    rungs: tuple[float, ...]
    sizes: tuple[float, ...]
    names: tuple[str, ...]

    @property
    def words(self) -> str:
        """How the class hears, in words: the middle, from where to where half of it lies, the ends."""
        ladder = _ladder(self.exercise)
        if len(self.sizes) < FEWEST:
            heard = ", ".join(ladder.printed(each) for each in self.sizes)
            return f"{len(self.sizes)} ran it to its end: {heard}"
        low, first, middle, third, high = (
            ladder.printed(float(each)) for each in np.quantile(self.sizes, [0, 0.25, 0.5, 0.75, 1])
        )
        return (
            f"{len(self.sizes)} ran it to its end; the middle one just hears {middle}, "
            f"half of them {first} to {third}, all {low} to {high}"
        )


def _ladder(exercise: Exercise) -> Ladder:
    """A ladder as any learner has it: its rungs are the same for all."""
    return ladder_of(exercise.with_values({name: each.at(0) for name, each in exercise.parameters.items()}))


@dataclass(frozen=True)
class ClassFigures:
    """All of a class: who handed in, how the totals spread, what a teacher should look at, each exercise.

    `unusable` are those of whom only files came that cannot be read or marked, `to_look_at` names with remarks,
    `foreign` ids with the answers that are for other numbers than their own. `exempt` need not do anything that counts;
    `percents` are without them.
    """

    learners: int
    handed_in: int
    late: int
    percents: tuple[float, ...]
    nothing: tuple[str, ...]
    unusable: tuple[str, ...]
    to_look_at: tuple[tuple[str, tuple[str, ...]], ...]
    foreign: tuple[tuple[str, ForeignNumbers], ...]
    exercises: tuple[ExerciseFigures, ...]
    exempt: tuple[str, ...] = ()
    groups: tuple[GroupFigures, ...] = ()
    hearing: tuple[HearingFigures, ...] = ()

    @property
    def to_repeat(self) -> tuple[ExerciseFigures, ...]:
        """What to teach again, the most points lost first."""
        hard = [each for each in self.exercises if each.repeat]
        return tuple(sorted(hard, key=lambda each: (each.difficulty or 0.0, each.exercise.name)))

    @property
    def median(self) -> float | None:
        """The middle of the percentages of those who handed in."""
        return round(float(np.median(self.percents)), 1) if self.percents else None


@dataclass
class _Gathered:
    shares: list[float] = field(default_factory=list)
    rest: list[float] = field(default_factory=list)
    passed: int = 0
    checks: dict[str, list[tuple[float, float]]] = field(default_factory=dict)
    slips: Counter[str] = field(default_factory=Counter)
    said: dict[str, str] = field(default_factory=dict)
    attempts: list[int] = field(default_factory=list)
    hints: int = 0
    need_help: list[str] = field(default_factory=list)
    without: list[str] = field(default_factory=list)


def analyse_items(lines: Iterable[LearnerMark], group_of: Mapping[str, str] = MappingProxyType({})) -> ClassFigures:
    """The figures of a class from its mark lines, which are gone through once; `group_of` gives a learner's group."""
    groups: dict[str, list[float | None]] = {}
    gathered: dict[str, _Gathered] = {}
    exercises: dict[str, Exercise] = {}
    percents: list[float] = []
    nothing: list[str] = []
    unusable: list[str] = []
    to_look_at: list[tuple[str, tuple[str, ...]]] = []
    foreign: list[tuple[str, ForeignNumbers]] = []
    exempt: list[str] = []
    heard: dict[str, list[list[float]]] = {}
    learners = late = 0
    for line in lines:
        learners += 1
        if group := group_of.get(line.learner_id):
            groups.setdefault(group, []).append(line.percent if line.file and not line.exempt else None)
        if line.remarks:
            to_look_at.append((line.name, line.remarks))
        foreign += [(line.learner_id, each) for each in line.foreign]
        if line.exempt:
            exempt.append(line.name)
        elif line.file is None:
            (unusable if line.unusable or line.fault else nothing).append(line.name)
        else:
            percents.append(line.percent)
            late += line.days_late > 0
        for each in line.exercises:
            exercises[each.exercise.name] = each.exercise
            if each.answered and not each.exempt and "heard" in each.mark:
                heard.setdefault(each.exercise.name, []).append(each.mark["heard"])
            if not each.out_of:
                continue  # what is no mark is neither hard nor easy
            own = gathered.setdefault(each.exercise.name, _Gathered())
            if not each.answered or each.exempt:
                if line.file is not None and not each.exempt and each.role == "required":
                    own.without.append(line.name)
                continue
            own.shares.append(each.share)
            measured = math.fsum(other.measured for other in line.exercises if not other.exempt)
            own.rest.append(measured - each.measured)
            own.passed += each.passed
            own.attempts.append(each.attempts)
            own.hints += bool(each.work and each.work.hints_used)
            if each.share < HELP_BELOW:
                own.need_help.append(line.name)
            for title, met, points, out_of, _ in each.mark["lines"]:
                worth = each.out_of * points / float(each.mark["out_of"]) if out_of else 0.0
                own.checks.setdefault(title, []).append((float(met), measured - worth))
            if slip := each.mark["slip"]:
                own.slips[slip] += 1
                own.said.setdefault(slip, each.mark["slip_said"])
    return ClassFigures(
        learners=learners,
        handed_in=len(percents),
        exempt=tuple(exempt),
        late=late,
        percents=tuple(percents),
        nothing=tuple(nothing),
        unusable=tuple(unusable),
        to_look_at=tuple(to_look_at),
        foreign=tuple(foreign),
        groups=tuple(
            GroupFigures(name, len(of), tuple(each for each in of if each is not None))
            for name, of in sorted(groups.items())
        ),
        exercises=tuple(_figures(exercises[name], own) for name, own in gathered.items()),
        hearing=tuple(_hearing(exercises[name], runs) for name, runs in heard.items()),
    )


def _hearing(exercise: Exercise, runs: Sequence[Sequence[float]]) -> HearingFigures:
    rungs, sizes = zip(*runs, strict=True)
    ladder = _ladder(exercise)
    return HearingFigures(exercise, rungs, sizes, tuple(ladder.printed(each) for each in ladder.sizes))


def _figures(exercise: Exercise, own: _Gathered) -> ExerciseFigures:
    return ExerciseFigures(
        exercise=exercise,
        answered=len(own.shares),
        passed=own.passed,
        difficulty=round(math.fsum(own.shares) / len(own.shares), 3) if own.shares else None,
        discrimination=discrimination(own.shares, own.rest),
        checks=tuple(
            CheckFigures(
                title,
                round(sum(met for met, _ in pairs) / len(pairs), 3),
                discrimination([met for met, _ in pairs], [rest for _, rest in pairs]),
            )
            for title, pairs in own.checks.items()
        ),
        slips=tuple(
            SlipFigures(name, own.said[name], count)
            for name, count in sorted(own.slips.items(), key=lambda each: (-each[1], each[0]))
        ),
        need_help=tuple(own.need_help),
        without_answer=tuple(own.without),
        attempts=tuple(own.attempts),
        hints=own.hints,
    )
