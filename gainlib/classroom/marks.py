"""A folder of hand-ins marked for a class: what was read, what each learner gets, and why something gets no mark."""

from __future__ import annotations

import functools
import json
import os
from collections.abc import Callable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from gainlib.classroom.class_file import ClassFile, RosterLine
from gainlib.classroom.decisions import Correction, WhichCounts
from gainlib.classroom.guard import noting
from gainlib.classroom.intake import IncomingFile, walk_folder
from gainlib.classroom.marking import Work, engine_digest, mark_answers, own_values
from gainlib.classroom.store import HandedFile, KeptAnswer, Store
from gainlib.classroom.whose import NumberOwners, SeemingLearner
from gainlib.errors import GainError
from gainlib.exercises import Exercise
from gainlib.exercises.contents import task_digest
from gainlib.learners.hand_in_file import HandIn, read_hand_in
from gainlib.learners.learners_file import ClassExercise, load_entry
from gainlib.text import counted, listed, moment_in_words, printable
from gainlib.workers import run_on_workers

__all__ = ["EARLIER", "ExerciseMark", "ForeignNumbers", "LearnerMark", "Marks", "mark_folder"]

OnProgress = Callable[[str, int, int], None]
"""Called with what is done, how much of it and of how much (0 where that is not known)."""


CLOCKS_APART = timedelta(days=1)
"""How far a learner's clock may be ahead of ours: a time zone set wrong is at most this much."""

_OTHER_COUNTS: Mapping[WhichCounts, str] = {
    "latest": "an earlier hand-in of {}; the latest counts.",
    "latest in time": "another hand-in of {}; the latest in time counts.",
    "best in time": "another hand-in of {}; the best in time counts.",
}

EARLIER = (
    "it answers another version of the exercise than the present one; where the task is still the same, write "
    "any_version = true at the exercise in the class file, or mark with --any-version."
)
"""What is said of an answer to a version of an exercise that has been changed since."""

_ENDED = "it could not be marked: the worker that had it ended, twice."


@dataclass(frozen=True)
class ExerciseMark:
    """What a learner gets for one exercise: points of the class, the mark itself, or why there is none.

    `measured` are the points of the answer, `correction` is the teacher's word in their place. `role` says what the
    points count to; who is `exempt` has neither points nor full ones here.
    """

    exercise: Exercise
    out_of: float
    measured: float = 0.0
    fault: str = ""
    attempts: int = 0
    role: str = "required"
    exempt: bool = False
    correction: Correction | None = None
    work: Work | None = field(default=None, repr=False)
    mark: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def points(self) -> float:
        """The points that count: the teacher's where they gave some, else the measured ones."""
        return self.measured if self.corrected_points is None else self.corrected_points

    @property
    def corrected_points(self) -> float | None:
        """The teacher's points instead of the measured ones; None where they gave none."""
        return self.correction.points if self.correction else None

    @property
    def remark(self) -> str:
        """What the teacher says of it; empty where they say nothing."""
        return (self.correction.remark or "") if self.correction else ""

    @property
    def answered(self) -> bool:
        """Whether an answer was handed in and marked."""
        return bool(self.mark) and not self.fault

    @property
    def has_points(self) -> bool:
        """Whether it has points, be they measured or the teacher's."""
        return not self.exempt and (self.answered or self.corrected_points is not None)

    @property
    def told_points(self) -> str:
        """Its points of the full ones, as pages say them; empty for what has none to get."""
        return f"{self.points:g} of {self.out_of:g}" if self.out_of or self.points else ""

    @property
    def counted_points(self) -> float:
        """What it adds to the learner's points."""
        return 0.0 if self.exempt or self.role == "optional" else self.points

    @property
    def counted_out_of(self) -> float:
        """What it adds to the full marks."""
        return self.out_of if self.role == "required" and not self.exempt else 0.0

    @property
    def passed(self) -> bool:
        """Whether every check is met."""
        return self.answered and bool(self.mark["passed"])

    @property
    def share(self) -> float:
        """The measured points as a share of the full ones, 0 to 1, before anything is taken off for lateness."""
        return self.measured / self.out_of if self.out_of else 0.0


@dataclass(frozen=True)
class ForeignNumbers:
    """Answers to other numbers than the learner's own: the ids of those whose they are (maybe none), and in what."""

    place: str
    owners: tuple[str, ...]
    exercises: tuple[str, ...]


@dataclass(frozen=True)
class LearnerMark:
    """One line of the mark sheet: a learner, the hand-in that counts, each exercise, the total after lateness.

    `due` is this learner's own date, `remark` the teacher's word on the whole. `remarks` is what a teacher should look
    at, `strange` what was answered beside the class's exercises, `unusable` the files that seem to be theirs and get no
    mark; `fault` says why the line itself could not be made.
    """

    learner_id: str
    name: str
    file: HandedFile | None
    made: datetime | None
    days_late: int
    penalty_percent: float
    exercises: tuple[ExerciseMark, ...]
    remarks: tuple[str, ...] = ()
    strange: tuple[str, ...] = ()
    unusable: tuple[HandedFile, ...] = ()
    foreign: tuple[ForeignNumbers, ...] = ()
    fault: str = ""
    due: datetime | None = None
    remark: str = ""

    @property
    def out_of(self) -> float:
        """The full marks of this learner, without bonus, practice and what they need not do; 0 for who is exempt."""
        return round(sum(each.counted_out_of for each in self.exercises), 2)

    @property
    def without_mark(self) -> Iterator[tuple[str, str]]:
        """Every answer of the hand-in that got no mark, with the sentence that says why; or why the line has none."""
        if self.fault:
            yield f"the marks of {self.learner_id}", self.fault
        elif self.file:
            for each in self.exercises:
                if each.fault:
                    yield f"{self.file.place}, {each.exercise.name}", each.fault
            yield from ((self.file.place, each) for each in self.strange)

    @property
    def exempt(self) -> bool:
        """Whether this learner need do nothing of what counts."""
        return not self.out_of

    @property
    def has_points(self) -> bool:
        """Whether there is anything to tell: a hand-in, or points that the teacher gave."""
        return self.file is not None or any(each.has_points for each in self.exercises)

    @property
    def made_in_words(self) -> str:
        """When the hand-in that counts was made, in the zone of the due date; empty where there is none."""
        return _in_words(self.made, self.due) if self.made else ""

    @property
    def before_lateness(self) -> float:
        """The points of all exercises, bonus among them."""
        return round(sum(each.counted_points for each in self.exercises), 2)

    @property
    def total(self) -> float:
        """The points that count."""
        return round(self.before_lateness * (1 - self.penalty_percent / 100), 2)

    @property
    def percent(self) -> float:
        """The points that count, in percent of the full ones; above 100 with bonus, 0 for who is exempt."""
        return round(100 * self.total / self.out_of, 1) if self.out_of else 0.0


class Marks:
    """A marked folder: `lines()` gives a mark line for every learner, `files_without_mark()` every file that got none.

    `answers` is how many different answers count, `marked_before` how many of them an earlier run had marked.
    Lines are made one at a time from the store, so a large class takes no more memory than a small one.
    """

    def __init__(
        self,
        class_file: ClassFile,
        exercises: Mapping[str, Exercise],
        store: Store,
        answers: int,
        before: int,
        failed: Mapping[str, str],
    ) -> None:
        self.class_file = class_file
        self.exercises = exercises
        self.store = store
        self.answers, self.marked_before = answers, before
        self._failed = failed

    def learners(self) -> list[tuple[str, str]]:
        """Id and name: of the roster in its order, or of everybody who handed in, where the class has no roster."""
        roster = [(each.id, each.name) for each in self.class_file.learners]
        return roster or [(learner_id, printable(name)) for learner_id, name in self.store.learners()]

    def shown_id(self, learner_id: str) -> str:
        """The id by which sheets and pages tell of a learner."""
        return learner_id

    @property
    def shown_roster(self) -> Mapping[str, RosterLine]:
        """What sheets may tell of the class list."""
        return self.class_file.roster

    def shown_names(self) -> dict[str, str]:
        """The names by which sheets and pages tell of the learners, by their ids there."""
        return dict(self.learners())

    def lines(self) -> Iterator[LearnerMark]:
        """The mark line of each learner."""
        for learner_id, name in self.learners():
            yield self.line(learner_id, name)

    def line(self, learner_id: str, name: str) -> LearnerMark:
        """The mark line of one learner; one that cannot be made says so and stops no other."""
        wrong: list[tuple[str, str]] = []
        with noting(wrong, learner_id):
            return self._line(learner_id, name)
        nothing = tuple(self._without_mark(learner_id, each) for each in self.class_file.exercises)
        return LearnerMark(learner_id, name, None, None, 0, 0.0, nothing, fault=wrong[0][1])

    def _line(self, learner_id: str, name: str) -> LearnerMark:
        files = list(self.store.files(learner_id))
        file = next((each for each, counts in files if counts), None)
        answers = {each.exercise: each for each in self.store.answers(learner_id)} if file else {}
        foreign = tuple(self._foreign(each) for each, _ in files if each.numbers)
        made = file.made_at if file else None
        of_whole = self.class_file.correction_of.get((learner_id, None))
        return LearnerMark(
            learner_id=learner_id,
            name=name,
            file=file,
            made=made,
            days_late=self.class_file.days_late(made, learner_id) if made else 0,
            penalty_percent=self.class_file.penalty_percent(made, learner_id) if made else 0.0,
            due=self.class_file.due_for(learner_id),
            remark=of_whole.remark or "" if of_whole else "",
            exercises=tuple(
                self._exercise(self._without_mark(learner_id, each), answers.get(each.name))
                for each in self.class_file.exercises
            ),
            remarks=tuple(self._remarks(file, name, [each for each, _ in files], foreign)),
            strange=tuple(
                f"{printable(each[:80])}: {answers[each].fault}" for each in answers if each not in self.exercises
            ),
            unusable=tuple(each for each, _ in files if each.fault),
            foreign=foreign,
        )

    def _without_mark(self, learner_id: str, entry: ClassExercise) -> ExerciseMark:
        """An exercise as the class file has it for a learner, before any answer is looked at."""
        exercise = self.exercises[entry.name]
        return ExerciseMark(
            exercise,
            entry.worth(exercise),
            role=entry.role,
            exempt=self.class_file.is_exempt(learner_id, entry.name),
            correction=self.class_file.correction_of.get((learner_id, entry.name)),
        )

    def _exercise(self, of: ExerciseMark, answer: KeptAnswer | None) -> ExerciseMark:
        if answer is None:
            return of
        done = answer.work
        if done is None:
            return replace(of, fault=answer.fault, attempts=answer.attempts)
        mark = answer.mark or {"fault": self._failed.get(done.key, _ENDED)}
        if fault := str(mark.get("fault", "")):
            return replace(of, fault=fault, attempts=answer.attempts, work=done, mark=mark)
        measured = round(of.out_of * float(mark["points"]) / float(mark["out_of"]), 2)
        return replace(of, measured=measured, attempts=answer.attempts, work=done, mark=mark)

    def settle(self) -> None:
        """Let the best hand-in of each learner count, of those of whom several do still; of equal ones the latest."""
        self.store.settle([
            (learner, max(files, key=lambda each: self._points_of(learner, each[1]))[0])
            for learner, files in self.store.contested()
        ])  # fmt: skip

    def _points_of(self, learner_id: str, answers: Sequence[KeptAnswer]) -> float:
        """The measured points of one hand-in, as far as they count."""
        given = {each.exercise: each for each in answers}
        every = (self._exercise(self._without_mark(learner_id, each), given.get(each.name))
                 for each in self.class_file.exercises)  # fmt: skip
        return sum(replace(each, correction=None).counted_points for each in every)

    def _foreign(self, file: HandedFile) -> ForeignNumbers:
        """Whose numbers the answers of a file bear that are for other numbers than its learner's own."""
        numbers = file.foreign_numbers
        return ForeignNumbers(file.place, tuple(self._owners.of(numbers)), tuple(numbers))

    @functools.cached_property
    def _owners(self) -> NumberOwners:
        ids = [each for each, _ in self.learners()]
        return NumberOwners(self.exercises, ids, lambda exercise, learner: self._own(exercise, learner))

    def _own(self, exercise: Exercise, learner_id: str) -> dict[str, Any]:
        return own_values(exercise, learner_id, self.class_file.key_of(learner_id))

    def _remarks(
        self, file: HandedFile | None, name: str, files: Sequence[HandedFile], foreign: Sequence[ForeignNumbers]
    ) -> Iterator[str]:
        """What a teacher should look at before a mark is believed."""
        good = [each for each in files if not each.fault]
        if file and file.ahead:
            yield (
                f"It is dated {self._day(file)}, which was still to come when it was first marked: "
                "a clock was wrong, or somebody wrote it by hand."
            )
        for each in good:
            if each.ahead and each != file:
                day = self._day(each)
                yield f"{each.place} is dated {day}, a day still to come, so it does not count; ask whose it is."
        fullest = max(good, key=lambda each: each.answers, default=None)
        if file and fullest and fullest.answers > file.answers:
            yield (
                f"It holds {counted(file.answers, 'answer')}; the hand-in of {self._day(fullest)} in {fullest.place} "
                f"holds {fullest.answers}."
            )
        for numbers in foreign:
            which = "It" if file and numbers.place == file.place else numbers.place
            yield f"{which} answers {listed(numbers.exercises)} at {self._told(numbers)}, not at this learner's own."
        others = sorted({each.name for each in good if each.name and each.name.casefold() != name.casefold()})
        if others:
            yield f"The hand-in carries the name {', '.join(repr(each) for each in others[:3])}."
        for each in files if file else ():
            if each.fault:
                yield f"{each.place} seems to be theirs as well and cannot be used: {each.fault}"

    def _told(self, foreign: ForeignNumbers) -> str:
        names = dict(self.learners())
        owners = [f"{names[each]} ({each})" for each in foreign.owners]
        if not owners:
            return "numbers that nobody in this class has"
        more = f" or {counted(len(owners) - 3, 'other')}" if len(owners) > 3 else ""
        return f"the numbers of {' or '.join(owners[:3])}{more}"

    def files_without_mark(self) -> Iterator[tuple[str, str]]:
        """Every file that got no mark, with the sentence that says why; earlier hand-ins as well."""
        for file, counts in self.store.files():
            if file.fault:
                yield file.place, file.fault
            elif file.ahead and not counts:
                yield (
                    file.place,
                    (
                        f"it is dated {self._day(file)}, which was still to come when it was first marked; "
                        f"another hand-in of {file.learner} counts."
                    ),
                )
            elif not counts:
                yield file.place, _OTHER_COUNTS[self.class_file.counts].format(file.learner)

    def shown_without(self, rows: Sequence[tuple[str, str]]) -> list[tuple[str, str]]:
        """What sheets and pages may tell of what got no mark."""
        return [*rows]

    def _day(self, file: HandedFile) -> str:
        return _in_words(file.made_at, self.class_file.due)

    def superseded(self) -> int:
        """How many files got no mark for no other reason than that another hand-in of the same learner counts."""
        return sum(not counts and not file.fault and not file.ahead for file, counts in self.store.files())


def _in_words(made: datetime, due: datetime | None) -> str:
    return moment_in_words(made.astimezone(due.tzinfo if due else UTC))


def mark_folder(
    folder: str | os.PathLike[str],
    class_file: ClassFile,
    store: Store,
    *,
    home: Path,
    workers: int = 1,
    cluster: str = "",
    any_version: bool = False,
    now: datetime | None = None,
    on_progress: OnProgress = lambda what, done, of: None,
) -> Marks:
    """Read every hand-in of a folder and mark what has no mark yet; each bad file is noted and every good one marked.

    `home` is the folder of the class file, from which exercises of one's own are seen. Answers to another version of an
    exercise get no mark, unless `any_version`, here or in the class file, lets the present one be used. The marks are
    the same with any number of workers and in any order. Raises GainError for a folder or an exercise that cannot be
    used.

    A hand-in that is dated more than a day after `now` (the present, unless given), when the store first meets it,
    counts only where its learner has no other. A file's own time would be a worse judge: copies, archives and mail
    change it. That first meeting is kept, so that no mark changes by itself when the day has come.
    """
    now = now or datetime.now(UTC)
    seeming = SeemingLearner((each.id, each.name) for each in class_file.learners)
    exercises, sources = {}, {}
    for entry in class_file.exercises:
        exercises[entry.name] = load_entry(entry, home)
        sources[entry.name] = str((home / entry.file).resolve()) if entry.file else entry.name
    by_any_version = {each.name for each in class_file.exercises if any_version or each.any_version}
    every = count = before = 0
    failed: dict[str, str] = {}  # told in this run; the next one tries again

    def to_do() -> Iterator[Work]:
        nonlocal every, count, before
        seen = 0
        for seen, found in enumerate(walk_folder(folder), start=1):
            wrong: list[tuple[str, str]] = []
            with noting(wrong, found.place):
                file, answers = _read(found, class_file, exercises, sources, by_any_version)
                first = store.first_seen(found.digest, now)
                late = class_file.days_late(file.made_at, file.learner) > 0
                store.add_file(replace(file, ahead=file.made_at > first + CLOCKS_APART, late=late), answers)
            for place, why in wrong:
                store.add_file(HandedFile(place, found.digest, seeming.of(place, found.content), fault=why))
            on_progress("reading hand-ins", seen, 0)
            store.write()
        on_progress("reading hand-ins", seen, seen)
        store.choose(class_file.counts)
        every, without = store.to_do()
        count = before = every - without
        on_progress("marking answers", count, every)
        yield from store.work()

    marked = run_on_workers(
        mark_answers, to_do(), workers=workers, cluster=cluster, ahead=True,
        together=lambda work: (work.exercise, work.values),
    )  # fmt: skip
    for work, mark in marked:
        if mark is None:
            failed[work.key] = _ENDED
        elif mark.get("kept", True):
            store.add_mark(work.key, mark)
        else:
            failed[work.key] = str(mark["fault"])
        count += 1
        on_progress("marking answers", count, every)
        store.write()
    store.write(now=True)
    marks = Marks(class_file, exercises, store, every, before, failed)
    marks.settle()
    return marks


def _read(
    found: IncomingFile,
    class_file: ClassFile,
    exercises: Mapping[str, Exercise],
    sources: Mapping[str, str],
    any_version: Set[str],
) -> tuple[HandedFile, list[KeptAnswer]]:
    """One file as a hand-in, and the work that its answers are. Raises GainError for one that gets no mark."""
    if found.fault:
        raise GainError(found.fault)
    hand_in = read_hand_in(found.content)
    _require_of_class(hand_in, class_file)
    learner = hand_in.learner.id
    key = class_file.key_of(learner)
    answers: dict[str, KeptAnswer] = {}
    foreign: dict[str, dict[str, Any]] = {}
    for answer in hand_in.answers:
        exercise = exercises.get(answer.exercise)
        if answer.exercise in answers:
            continue  # the first counts; a second by the same name says nothing that could be trusted more
        why, work = "", None
        if exercise is None:
            why = "it is no exercise of this class."
        elif answer.exercise_digest != exercise.digest and answer.exercise not in any_version:
            why = EARLIER
        elif answer.values != own_values(exercise, learner, key):
            why = "it answers other numbers than this learner's own."
            foreign[exercise.name] = answer.values
        else:
            work = Work(
                exercise=exercise.name,
                source=sources[exercise.name],
                task=task_digest(exercise),
                engine=engine_digest(),
                values=answer.values,
                answer=answer.answer,
                hints_used=answer.hints_used,
            )
        answers[answer.exercise] = KeptAnswer(answer.exercise, work, answer.attempts, why)
    made = hand_in.made_at.isoformat(timespec="milliseconds")
    file = HandedFile(
        found.place, found.digest, learner, hand_in.learner.name, made, len(answers),
        numbers=json.dumps(foreign) if foreign else "", fault=_fault_of_signature(hand_in, class_file, key),
    )  # fmt: skip
    return file, [] if file.fault else list(answers.values())


def _fault_of_signature(hand_in: HandIn, class_file: ClassFile, key: str) -> str:
    """Why a hand-in cannot be taken for its learner's; empty where it can."""
    if hand_in.signed and not hand_in.is_signed_with(key):
        return "its signature does not fit: it was changed after it was made, or somebody else made it."
    if class_file.signs and not hand_in.signed:
        return "it is not signed, so anybody may have written it; the learner hands in again from their course folder."
    return ""


def _require_of_class(hand_in: HandIn, class_file: ClassFile) -> None:
    if hand_in.of_class.tag != class_file.tag:
        raise GainError(f"it was made for another class ({hand_in.of_class.title!r:.80}).")
    if class_file.learners and hand_in.learner.id not in class_file.roster:
        raise GainError(f"its learner id {hand_in.learner.id!r:.80} is not on the roster.")
