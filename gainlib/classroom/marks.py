"""A folder of hand-ins marked for a class: what was read, what each learner gets, and why something gets no mark."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from gainlib.classroom.class_file import ClassFile
from gainlib.classroom.intake import IncomingFile, walk_folder
from gainlib.classroom.marking import Work, engine_digest, mark_answers, own_values, task_digest
from gainlib.classroom.store import HandedFile, Store
from gainlib.classroom.workers import run_on_workers
from gainlib.errors import GainError
from gainlib.exercises import Exercise
from gainlib.learners.hand_in_file import HandIn, read_hand_in
from gainlib.learners.learners_file import load_entry

__all__ = ["ExerciseMark", "LearnerMark", "Marks", "mark_folder"]

OnProgress = Callable[[str, int, int], None]
"""Called with what is done, how much of it and of how much (0 where that is not known)."""


@dataclass(frozen=True)
class ExerciseMark:
    """What a learner gets for one exercise: points of the class, the mark itself, or why there is none."""

    exercise: Exercise
    out_of: float
    points: float = 0.0
    fault: str = ""
    attempts: int = 0
    work: Work | None = field(default=None, repr=False)
    mark: Mapping[str, Any] = field(default_factory=dict, repr=False)

    @property
    def answered(self) -> bool:
        """Whether an answer was handed in and marked."""
        return bool(self.mark) and not self.fault

    @property
    def passed(self) -> bool:
        """Whether every check is met."""
        return self.answered and bool(self.mark["passed"])

    @property
    def share(self) -> float:
        """Points as a share of the full ones, 0 to 1, before anything is taken off for lateness."""
        return self.points / self.out_of


@dataclass(frozen=True)
class LearnerMark:
    """One line of the mark sheet: a learner, the hand-in that counts, each exercise, the total after lateness."""

    learner_id: str
    name: str
    file: HandedFile | None
    made: datetime | None
    days_late: int
    penalty_percent: float
    exercises: tuple[ExerciseMark, ...]
    remarks: tuple[str, ...]

    @property
    def out_of(self) -> float:
        """The points of a full hand-in."""
        return round(sum(each.out_of for each in self.exercises), 2)

    @property
    def before_lateness(self) -> float:
        """The points of all exercises."""
        return round(sum(each.points for each in self.exercises), 2)

    @property
    def total(self) -> float:
        """The points that count."""
        return round(self.before_lateness * (1 - self.penalty_percent / 100), 2)

    @property
    def percent(self) -> float:
        """The points that count, in percent of the full ones."""
        return round(100 * self.total / self.out_of, 1)


class Marks:
    """A marked folder: `lines()` gives a mark line for every learner, `not_marked()` every file that got none.

    `answers` is how many different answers count, `marked_before` how many of them an earlier run had marked.
    Lines are made one at a time from the store, so a large class takes no more memory than a small one.
    """

    def __init__(
        self, class_file: ClassFile, exercises: Mapping[str, Exercise], store: Store, answers: int, before: int
    ) -> None:
        self.class_file = class_file
        self.exercises = exercises
        self.store = store
        self.answers, self.marked_before = answers, before

    def learners(self) -> list[tuple[str, str]]:
        """Id and name: of the roster in its order, or of everybody who handed in, where the class has no roster."""
        roster = [(each.id, each.name) for each in self.class_file.learners]
        return roster or self.store.learners()

    def lines(self) -> Iterator[LearnerMark]:
        """The mark line of each learner."""
        for learner_id, name in self.learners():
            yield self.line(learner_id, name)

    def line(self, learner_id: str, name: str) -> LearnerMark:
        """The mark line of one learner."""
        file = self.store.counted(learner_id)
        answers = {each[0]: each for each in self.store.answers(learner_id)}
        exercises = []
        for entry in self.class_file.exercises:
            exercise = self.exercises[entry.name]
            worth = entry.points if entry.points is not None else exercise.out_of
            exercises.append(self._exercise(exercise, worth, answers.get(entry.name)))
        made = datetime.fromisoformat(file.made) if file else None
        remarks = [f"Not marked: {each}" for each in self._strange(answers)]
        others = [each for each in self.store.names(learner_id) if each.casefold() != name.casefold()]
        if others:
            remarks.append(f"The hand-in carries the name {', '.join(repr(each) for each in others[:3])}.")
        return LearnerMark(
            learner_id=learner_id,
            name=name,
            file=file,
            made=made,
            days_late=self.class_file.days_late(made) if made else 0,
            penalty_percent=self.class_file.penalty_percent(made) if made else 0.0,
            exercises=tuple(exercises),
            remarks=tuple(remarks),
        )

    def _exercise(
        self, exercise: Exercise, worth: float, answer: tuple[str, str | None, str | None, int, str] | None
    ) -> ExerciseMark:
        if answer is None:
            return ExerciseMark(exercise, worth)
        _, key, work, attempts, fault = answer
        if key is None or work is None:
            return ExerciseMark(exercise, worth, fault=fault, attempts=attempts)
        mark = self.store.mark(key) or {"fault": "it could not be marked: the worker that had it ended, twice."}
        done = Work.of(work)
        fault = fault or str(mark.get("fault", ""))
        if fault:
            return ExerciseMark(exercise, worth, fault=fault, attempts=attempts, work=done, mark=mark)
        points = round(worth * float(mark["points"]) / float(mark["out_of"]), 2)
        return ExerciseMark(exercise, worth, points, attempts=attempts, work=done, mark=mark)

    def _strange(self, answers: Mapping[str, tuple[str, str | None, str | None, int, str]]) -> Iterator[str]:
        """Answers to what is no exercise of the class, or that are there twice."""
        for name, (_, _, _, _, fault) in answers.items():
            if name not in self.exercises:
                yield f"{name[:80]}: {fault}"

    def not_marked(self) -> Iterator[tuple[str, str]]:
        """Every file and every answer that got no mark, with the sentence that says why; earlier hand-ins as well."""
        for file, counts in self.store.files():
            if file.fault:
                yield file.place, file.fault
            elif not counts:
                yield file.place, f"an earlier hand-in of {file.learner}; the latest counts."
        for learner_id, name in self.learners():
            line = self.line(learner_id, name)
            if line.file:
                for each in line.exercises:
                    if each.fault:
                        yield f"{line.file.place}, {each.exercise.name}", each.fault
                for remark in line.remarks:
                    if remark.startswith("Not marked: "):
                        yield line.file.place, remark.removeprefix("Not marked: ")


def mark_folder(
    folder: str | os.PathLike[str],
    class_file: ClassFile,
    store: Store,
    *,
    home: Path,
    workers: int = 1,
    cluster: str = "",
    any_version: bool = False,
    on_progress: OnProgress = lambda what, done, of: None,
) -> Marks:
    """Read every hand-in of a folder and mark what has no mark yet; each bad file is noted and every good one marked.

    `home` is the folder of the class file, from which exercises of one's own are seen. Answers to another version of an
    exercise get no mark, unless `any_version` lets the present one be used. The marks are the same with any number of
    workers and in any order. Raises GainError for a folder or an exercise that cannot be used.
    """
    exercises, sources = {}, {}
    for entry in class_file.exercises:
        exercises[entry.name] = load_entry(entry, home)
        sources[entry.name] = str((home / entry.file).resolve()) if entry.file else entry.name
    every = count = before = 0

    def to_do() -> Iterator[Work]:
        nonlocal every, count, before
        seen = 0
        for seen, found in enumerate(walk_folder(folder), start=1):
            _noted(found, class_file, exercises, sources, store, any_version)
            on_progress("reading hand-ins", seen, 0)
            store.write()
        on_progress("reading hand-ins", seen, seen)
        store.choose()
        every, without = store.to_do()
        count = before = every - without
        on_progress("marking answers", count, every)
        yield from store.work()

    for work, mark in run_on_workers(mark_answers, to_do(), workers=workers, cluster=cluster, ahead=True):
        if mark is not None and mark.get("kept", True):
            store.add_mark(work.key, mark)
        count += 1
        on_progress("marking answers", count, every)
        store.write()
    store.write(now=True)
    return Marks(class_file, exercises, store, every, before)


def _noted(
    found: IncomingFile,
    class_file: ClassFile,
    exercises: Mapping[str, Exercise],
    sources: Mapping[str, str],
    store: Store,
    any_version: bool,
) -> None:
    """Note one file and, where it is a good hand-in, the work that its answers are."""
    digest = hashlib.sha256(found.content).hexdigest()[:32] if found.content else ""
    try:
        if found.fault:
            raise GainError(found.fault)
        hand_in = read_hand_in(found.content)
        _require_of_class(hand_in, class_file)
    except GainError as why:
        store.add_file(HandedFile(found.place, digest, fault=str(why)))
        return
    learner = hand_in.learner.id
    made = hand_in.made_at.isoformat(timespec="milliseconds")
    store.add_file(HandedFile(found.place, digest, learner, hand_in.learner.name, made))
    done: set[str] = set()
    for answer in hand_in.answers:
        exercise = exercises.get(answer.exercise)
        if answer.exercise in done:
            continue  # the first counts; a second by the same name says nothing that could be trusted more
        done.add(answer.exercise)
        fault, work = "", None
        if exercise is None:
            fault = "it is no exercise of this class."
        elif answer.exercise_digest != exercise.digest and not any_version:
            fault = (
                "it answers another version of the exercise than the present one; "
                "where the task is still the same, mark with --any-version."
            )
        elif answer.values != own_values(exercise, learner, class_file.key):
            fault = "it answers other numbers than this learner's own."
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
        store.add_answer(found.place, learner, answer.exercise, work, answer.attempts, fault)


def _require_of_class(hand_in: HandIn, class_file: ClassFile) -> None:
    if hand_in.of_class.tag != class_file.tag:
        raise GainError(f"it was made for another class ({hand_in.of_class.title!r:.80}).")
    if class_file.learners and hand_in.learner.id not in class_file.roster:
        raise GainError(f"its learner id {hand_in.learner.id!r:.80} is not on the roster.")
