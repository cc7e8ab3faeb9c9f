"""The proof that an exercise is sound: rendered and measured, in every variant or in many."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gainlib.authoring import claims
from gainlib.authoring.evidence import Evidence, FoundAnswer, Look
from gainlib.authoring.ladder_claims import ladder_is_sound
from gainlib.authoring.messages import FileFault
from gainlib.authoring.text_lint import check_texts
from gainlib.authoring.validation import validate
from gainlib.errors import GainError
from gainlib.exercises.collection import exercise_names, load, own_name
from gainlib.storage import bundled_folder
from gainlib.storage.positions import line_of
from gainlib.text import counted, describe_value
from gainlib.workers import run_on_workers

__all__ = ["Verification", "verify", "verify_all"]

Progress = Callable[[str, int], None]

RIGHT, START, OWN, SLIPS = "what is right", "the start", "your own answer", "slips"
SEARCH, SPREAD, FOR_ALL = "a search for an answer", "answers spread evenly", "whether one answer serves for all"
RATES, ALONE, LADDER = "how often the verdict errs", "each check alone", "the ladder"
PARTS = [RIGHT, START, OWN, SLIPS, RATES, SEARCH, SPREAD, FOR_ALL, ALONE]
"""What is looked at, in order."""
OF_CHECKS = (SEARCH, SPREAD)


@dataclass(frozen=True)
class Verification:
    """What proving one exercise gives: what is wrong, what is worth a look, what was shown, and the figures.

    `faults` are what makes it unsound, each with its line; `remarks` what an author should look at, such as a check
    that never fails alone; `shown` what was proven, a sentence each. `variants` is how many were tried, of
    `all_variants`; `answers` how many evenly spread answers were measured and `passing` how many of them passed;
    `guesses` is the share of guesses at the asks that are right by chance, 1 where nothing is asked.
    `rates` are how often the verdict errs; `narrowest_db` is how near the author's answers come to a bound, None where
    no bound is a level. `found` are the answers that searches found: where the author's fails, else in a few variants
    without knowing the author's.
    `not_looked_at` says what a quick look leaves for the proof, or one that was `ended` (by Ctrl-C); a proof leaves
    nothing.
    """

    name: str
    file: Path
    faults: tuple[FileFault, ...]
    remarks: tuple[FileFault, ...] = ()
    shown: tuple[str, ...] = ()
    variants: int = 0
    all_variants: int = 0
    unsolved: tuple[dict[str, Any], ...] = ()
    answers: int = 0
    passing: int = 0
    guesses: float = 1.0
    narrowest_db: float | None = None
    fails_alone: dict[str, bool] = field(default_factory=dict)
    rates: claims.Rates = field(default_factory=claims.Rates)
    found: tuple[FoundAnswer, ...] = ()
    not_looked_at: tuple[str, ...] = ()
    ended: bool = False

    @property
    def sound(self) -> bool:
        """Whether nothing is wrong with what was looked at."""
        return not self.faults

    @property
    def proven(self) -> bool:
        """Whether everything was looked at and nothing is wrong."""
        return self.sound and not self.not_looked_at

    def as_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        told = dataclasses.asdict(self) | {"file": str(self.file)}
        return {"name": self.name, "file": told["file"], "proven": self.proven} | told


def verify(
    exercise: str | Path,
    *,
    variants: int = 200,
    quick: bool = False,
    progress: Progress = lambda doing, answers: None,
) -> Verification:
    """Show that an exercise is sound, or everything that is wrong with it: a name of the collection or a TOML file.

    First each fault of the file; in a file without any, every variant (or `variants` of them, the ends of all ranges
    among them) is rendered and measured: the start fails, the author's answer passes, each slip's answer meets its
    sentence and no other, a search finds an answer that passes. Nothing is drawn by chance: the spread answers are a
    Halton sequence (*published*: J. H. Halton, Numerische Mathematik 2, 1960), so two proofs of a file are equal.
    `quick` looks at a few variants and searches for nothing: `not_looked_at` says what is left. `progress` is called
    with what is looked at and how many answers were measured. Ctrl-C ends it with what was shown until then. Raises
    GainError when the file cannot be read or there is no such exercise.

    >>> verify("recording/leave-room", variants=2).sound
    True
    """
    if isinstance(variants, bool) or not isinstance(variants, int) or variants < 1:
        raise GainError(f"variants is {describe_value(variants)}; give a whole number of 1 or more.")
    own = str(exercise).endswith(".toml")
    file = Path(exercise) if own else _bundled(str(exercise))
    name = own_name(file) if own else str(exercise)
    made, faults, lines = validate(file, name)
    if made is None:
        return Verification(name, file, faults)
    try:
        made.takes  # noqa: B018  (read once; its faults are the file's)
    except GainError as fault:
        return Verification(name, file, (FileFault(line_of(lines, ("given", "take")), str(fault).replace("\n", " ")),))
    evidence = Evidence(made, lines, variants, quick=quick, progress=progress)
    if own and name in exercise_names() and file.resolve() != _bundled(name).resolve():
        said = f"an exercise of the course is called {name} too, and no class can have both; rename file or folder."
        evidence.note_remark((), said)
    return _verify(evidence, quick)


def verify_all(
    exercises: Sequence[str],
    *,
    variants: int = 200,
    quick: bool = False,
    workers: int = 1,
    progress: Callable[[str, str, int], None] = lambda name, doing, answers: None,
) -> Iterator[Verification]:
    """The proof of each exercise as it comes, `workers` of them side by side; none is left out but after an early end.

    `progress` is called with the exercise's name as well; of more workers, with none, as they begin and after each.
    Raises GainError as `verify` does.

    >>> [proof.sound for proof in verify_all(["recording/leave-room", "levels/two-tracks"], quick=True)]
    [True, True]
    """
    if workers == 1:
        for name in exercises:
            told = functools.partial(progress, name)
            yield (proof := verify(name, variants=variants, quick=quick, progress=told))
            if proof.ended:
                return
        return
    progress("", "", 0)
    work = functools.partial(_verified, variants, quick)
    for name, found in run_on_workers(work, exercises, workers=workers, weight=lambda name: 1.0):
        if found is None:
            raise GainError(f"{name} could not be proven: the worker that had it ended, twice; prove it alone.")
        yield found
        progress("", "", 0)


def _verified(variants: int, quick: bool, exercises: list[str]) -> list[Verification]:
    return [verify(each, variants=variants, quick=quick) for each in exercises]


def _left_by_quick_look(evidence: Evidence) -> tuple[str, ...]:
    left = evidence.all_variants - len(evidence.variants)
    told = [f"{left} of {counted(evidence.all_variants, 'variant')}"] if left else []
    if evidence.count:
        told += ["whether a search finds an answer", "how many of all answers pass"]
        told += ["whether each check can be missed, and missed alone"]
    return (*told, "whether one answer serves for all variants")


def _bundled(name: str) -> Path:
    if name in exercise_names():
        return bundled_folder("exercises").joinpath(*name.split("/")).with_suffix(".toml")
    return load(name).file  # says that there is none, and the nearest name


def _left_when_ended(evidence: Evidence) -> tuple[str, ...]:
    parts = [LADDER] if evidence.spec.ladder else [each for each in PARTS if evidence.count or each not in OF_CHECKS]
    left = parts[parts.index(evidence.doing) :] if evidence.doing in parts else parts
    return (f"{left[0]} to its end", *left[1:])


def _verify(evidence: Evidence, quick: bool) -> Verification:
    """Every claim in order; at a quick look those that need neither a search nor many answers."""
    unsolved: list[dict[str, Any]] = []
    found: list[FoundAnswer] = []
    narrowest: float | None = None
    spread: list[Look] = []
    guesses = 1.0
    alone: dict[str, bool] = {}
    rates = claims.Rates()
    ended = False
    try:
        evidence.begin(RIGHT)
        claims.questions_have_one_answer(evidence)
        if evidence.spec.ladder is not None:
            evidence.begin(LADDER)
            ladder_is_sound(evidence)
        elif not evidence.faults:
            evidence.begin(START)
            claims.start_fails(evidence)
            evidence.begin(OWN)
            solved = claims.author_passes(evidence)
            narrowest = claims.author_keeps_a_margin(evidence, solved)
            evidence.begin(SLIPS)
            claims.slips_meet_their_sentences(evidence)
            if not quick:
                evidence.begin(RATES)
                rates = claims.verdict_seldom_errs(evidence, solved)
            if evidence.count and not quick:
                evidence.begin(SEARCH)
                unsolved, found = claims.every_variant_can_be_solved(evidence, solved)
                evidence.begin(SPREAD)
                spread = claims.few_answers_pass(evidence)
            if evidence.spec.asks:
                guesses = claims.guessing_fails(evidence)
            if not quick:
                evidence.begin(FOR_ALL)
                claims.no_answer_serves_for_all(evidence, solved)
                claims.every_bound_can_be_met_and_missed(evidence)
        if evidence.looks and not evidence.faults and not quick:
            evidence.begin(ALONE)
            alone = claims.checks_can_fail_alone(evidence)
    except GainError as fault:
        evidence.note_fault(("given",), f"it cannot be rendered and measured: {fault}")
    except KeyboardInterrupt:
        ended = True
    check_texts(evidence)
    left = _left_when_ended(evidence) if ended else _left_by_quick_look(evidence) if quick else ()
    return Verification(
        name=evidence.exercise.name,
        file=evidence.exercise.file,
        faults=tuple(evidence.faults),
        remarks=tuple(evidence.remarks),
        shown=tuple(evidence.shown),
        variants=len(evidence.variants),
        all_variants=evidence.all_variants,
        unsolved=tuple(unsolved),
        answers=len(spread),
        passing=sum(look.passed for look in spread),
        guesses=guesses,
        narrowest_db=narrowest,
        fails_alone=alone,
        rates=rates,
        found=tuple(found),
        not_looked_at=left,
        ended=ended,
    )
