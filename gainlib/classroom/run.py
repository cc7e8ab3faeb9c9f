"""One marking of a class from folder to report: what `gainlib mark` does, and what it says of it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gainlib.classroom.anonymous import AnonymousMarks
from gainlib.classroom.changes import Changes, changes_page
from gainlib.classroom.class_file import read_class
from gainlib.classroom.feedback import PageWork, feedback_pages
from gainlib.classroom.grade_profile import read_profile
from gainlib.classroom.grades import Grades
from gainlib.classroom.item_analysis import analyse_items
from gainlib.classroom.mark_sheet import MarkSheet
from gainlib.classroom.marking import mark_answers
from gainlib.classroom.marks import EARLIER, LearnerMark, Marks, OnProgress, mark_folder
from gainlib.classroom.report import class_report
from gainlib.classroom.similarity import MarkedAnswer, find_alike
from gainlib.classroom.start_files import edition_given_out, edition_of
from gainlib.classroom.store import Store
from gainlib.errors import GainError
from gainlib.html.figures import SCRIPT, bokeh_script
from gainlib.learners.naming import file_names
from gainlib.storage import Cell, atomic_write, write_csv, write_workbook
from gainlib.text import counted, with_decimals
from gainlib.workers import run_on_workers

__all__ = ["Marking", "mark_class"]

MOST_LISTED = 200
ANONYMOUS = "without-names"
"""The folder, beside the other results, of a marking without names."""
FEEDBACK = ("whole", "light", "none")


@dataclass(frozen=True)
class Marking:
    """What a marking did: where its results are, and how much got a mark."""

    out: Path
    learners: int
    handed_in: int
    answers: int
    marked_before: int
    not_marked: int
    superseded: int
    pages: int
    unusable: int
    to_look_at: int
    changed: int = 0
    sent: tuple[str, ...] = ()
    edition: str = ""
    given_out: str = ""
    earlier: int = 0

    @property
    def text(self) -> str:
        """What was done, a line for each sentence."""
        before = f", {self.marked_before} of them marked before" if self.marked_before else ""
        what = "answer" if self.answers == 1 else "different answers"
        without = f"{self.not_marked} got no mark" if self.not_marked else "Everything got a mark"
        if self.superseded:
            earlier = counted(self.superseded, "hand-in")
            without += f", and {earlier} gave way to another of the same learner"
        without += "; not-marked.csv says why." if self.not_marked or self.superseded else "."
        more, look = counted(self.unusable, "more learner"), counted(self.to_look_at, "learner")
        stands_out = f"From {more} only files came that cannot be read or marked.\n" if self.unusable else ""
        stands_out += f"Look at {look} first: something stands out, report.html says what.\n" if self.to_look_at else ""
        if self.earlier:
            stands_out += f"Of that {counted(self.earlier, 'answer')} to an exercise that you changed since: where the "
            stands_out += "task is still the same, write any_version = true at it in the class file, and mark again.\n"
        if self.changed:
            whose = counted(self.changed, "learner")
            stands_out += f"The marks of {whose} changed since the last marking; changes.html says why.\n"
        if self.given_out not in ("", self.edition):
            stands_out += f"The start file beside the class is of edition {self.given_out}: learners do not have "
            stands_out += "what you changed since. Write it again: gainlib new-class FILE --again\n"
        stands_out += f"The marks rest on edition {self.edition} of the class.\n"
        sent = "".join(f", {each}" for each in self.sent)
        return (
            f"{self.handed_in} of {self.learners} learners handed in; {self.answers} {what}{before}.\n{without}\n"
            f"{stands_out}In {self.out}: report.html, marks.xlsx, marks.csv{', feedback' if self.pages else ''}{sent}."
        )

    def as_dict(self) -> dict[str, Any]:
        """The same for a script."""
        return {**asdict(self), "out": str(self.out)}


def mark_class(
    folder: str | os.PathLike[str],
    class_file: str | os.PathLike[str],
    out: str | os.PathLike[str] | None = None,
    *,
    workers: int = 1,
    cluster: str = "",
    feedback: str = "whole",
    any_version: bool = False,
    grades: Sequence[str | os.PathLike[str]] = (),
    anonymous: bool = False,
    on_progress: OnProgress = lambda what, done, of: None,
) -> Marking:
    """Mark a folder of hand-ins and write mark sheet, feedback pages and class report; says what it did.

    The results lie beside the class file, in `marks-of-` and its name, unless `out` names another folder. `grades` are
    files of profiles, for each of which the grades are written as it asks for. An `anonymous` marking writes sheet,
    pages and report with a code for each learner, into a folder of their own, and nothing else. Raises
    GainError where something cannot be read or written; a bad hand-in is no such thing, it is listed.
    """
    if feedback not in FEEDBACK:
        raise GainError(f"--feedback is {feedback!r}; it must be one of {', '.join(FEEDBACK)}.")
    source = Path(class_file)
    of_class = read_class(source)
    target = Path(out) if out is not None else source.with_name(f"marks-of-{source.stem}")
    if Path(folder).resolve() == target.resolve() or Path(folder).resolve() in target.resolve().parents:
        raise GainError(f"{target} lies in the folder of the hand-ins; name another with --out.")
    if anonymous and (grades or not of_class.learners):
        why = "grades go out with names" if grades else "the class file has no roster"
        raise GainError(f"--anonymous cannot be followed: {why}; leave it out.")
    profiles = {Path(each).stem: read_profile(each, of_class) for each in grades}
    if feedback != "whole" and any(each.pages for each in profiles.values()):
        raise GainError(f"--feedback is {feedback!r}; a profile asks for pages to be sent, so let it be whole.")
    with Store(target / "marks.sqlite") as store:
        marks = mark_folder(
            folder, of_class, store, home=source.parent, workers=workers, cluster=cluster, any_version=any_version,
            on_progress=on_progress,
        )  # fmt: skip
        if anonymous:
            target /= ANONYMOUS
            marks = AnonymousMarks.of(marks)
        changes = Changes(store)
        sending = [Grades(marks, profile, name) for name, profile in profiles.items()]
        pages = _Pages(marks, target / "feedback", feedback == "light") if feedback != "none" else None
        note = [changes.note, *(each.add for each in sending)] if not anonymous else []
        results = _Results(marks, target, [*note, *([pages.note] if pages else [])])
        results.write()
        if not anonymous:
            changes.keep(datetime.now(UTC))
            atomic_write(target / "changes.html", changes_page(store, of_class.title), private=True)
        if pages and (wrong := pages.write(workers, cluster, on_progress)):
            results.without += wrong
            results.write()
        own = file_names(learner_id for learner_id, _ in marks.learners())
        pages_of = {each: target / "feedback" / f"for-{name}.html" for each, name in own.items()}
        there = {each: page for each, page in pages_of.items() if page.is_file()}
        sent = [file for each in sending for file in each.write(target, there)]
    figures = results.figures
    return Marking(
        target, figures.learners, figures.handed_in, marks.answers, marks.marked_before,
        len(results.without) - results.superseded, results.superseded, pages.count if pages else 0,
        len(figures.unusable), len(figures.to_look_at), len({each.learner_id for each in changes.found}),
        tuple(each.name for each in sent), edition_of(of_class, marks.exercises), edition_given_out(source),
        sum(why == EARLIER for _, why in results.without),
    )  # fmt: skip


class _Results:
    """Sheets and report of a marking. Each mark line is worked out once, for all of them and for all who `note` it.

    `without` is what got no mark, and grows with the pages that could not be made.
    """

    def __init__(self, marks: Marks, target: Path, note: Sequence[Callable[[LearnerMark], None]]) -> None:
        self._marks, self._target = marks, target
        sheet = MarkSheet(list(marks.exercises), marks.shown_roster, marks.class_file.csv.decimal)
        self._rows: list[Sequence[Cell]] = [sheet.heading]
        of_lines: list[tuple[str, str]] = []

        def lines() -> Iterator[LearnerMark]:
            for line in marks.lines():
                self._rows.append(sheet.row(line))
                of_lines.extend(line.without_mark)
                for each in note:
                    each(line)
                yield line

        groups = {each.id: each.group for each in marks.shown_roster.values() if each.group}
        self.figures = analyse_items(lines(), groups)
        wrong: list[tuple[str, str]] = []
        pairs = find_alike(
            _given(marks), self.figures.learners, _ranges(marks), lambda mine, theirs: _fits(marks, mine, theirs), wrong
        )
        self._pairs = [
            replace(each, learner=marks.shown_id(each.learner), other=marks.shown_id(each.other)) for each in pairs
        ]
        self.without = marks.shown_without([*marks.files_without_mark(), *of_lines, *wrong])
        self.superseded = marks.superseded()

    def write(self) -> None:
        """Write them, over those that are there."""
        marks, target, form = self._marks, self._target, self._marks.class_file.csv.form
        write_csv(target / "marks.csv", self._rows, form, private=True, make_folder=True)
        not_marked: list[tuple[Cell, ...]] = [("file", "why"), *self.without]
        write_csv(target / "not-marked.csv", not_marked, form, private=True)
        slips: list[tuple[Cell, ...]] = [("exercise", "slip", "learners", "what was said")]
        for each in self.figures.exercises:
            slips += [
                (each.exercise.name, slip.name, slip.count, with_decimals(slip.said, form.decimal))
                for slip in each.slips
            ]
        sheets: list[tuple[str, Sequence[Sequence[Cell]]]] = [
            ("Marks", self._rows),
            ("Not marked", not_marked),
            ("Slips", slips),
        ]
        write_workbook(target / "marks.xlsx", sheets, private=True)
        report = class_report(
            marks.class_file, self.figures, self._pairs, marks.shown_names(), self.without[:MOST_LISTED],
            len(self.without), self.superseded, edition_of(marks.class_file, marks.exercises),
        )  # fmt: skip
        atomic_write(target / "report.html", report, private=True)


class _Pages:
    """The feedback pages of a marking: each mark line is noted, then the pages that are not there yet are written.

    `count` is of how many learners there is one. Of a line nothing is kept, so that of a page that is to be written is
    worked out again, which takes less than a hundredth of the time that the page does.
    """

    def __init__(self, marks: Marks, folder: Path, light: bool) -> None:
        self._marks, self._folder, self._light = marks, folder, light
        self._names = file_names(marks.shown_id(learner_id) for learner_id, _ in marks.learners())
        self._to_do: list[str] = []
        self.count = 0

    def note(self, line: LearnerMark) -> None:
        """Note whether a page is to be written: for all who have points, unless one is there, made from the same."""
        if not line.has_points:
            return
        self.count += 1
        file = f"for-{self._names[line.learner_id]}.html"
        made = self._marks.store.page(self._kept(file)) if (self._folder / file).is_file() else ""
        if not made or made != self._work(line).digest:
            self._to_do.append(line.learner_id)

    def write(self, workers: int, cluster: str, on_progress: OnProgress) -> list[tuple[str, str]]:
        """Write them, and give what could not be written and why: an earlier page of it tells other marks, and goes."""
        marks, wrong = self._marks, list[tuple[str, str]]()
        if self._light:
            atomic_write(self._folder / SCRIPT, bokeh_script(), make_folder=True)
        learners = {marks.shown_id(each[0]): each for each in marks.learners()}
        works = (self._work(marks.line(*learners[each])) for each in self._to_do)
        of, there = self.count, self.count - len(self._to_do)
        made = run_on_workers(feedback_pages, works, workers=workers, cluster=cluster)
        for done, (work, page) in enumerate(made, start=there + 1):
            text, fault = page or ("", "it could not be made: the worker that had it ended, twice.")
            if fault:
                wrong.append((f"feedback/{work.file}", fault))
                (self._folder / work.file).unlink(missing_ok=True)
                self.count -= 1
            else:
                atomic_write(self._folder / work.file, text, private=True, make_folder=True)
                marks.store.add_page(self._kept(work.file), work.digest)
                marks.store.write()
            on_progress("writing feedback", done, of)
        on_progress("writing feedback", of, of)
        return wrong

    def _work(self, line: LearnerMark) -> PageWork:
        file = f"for-{self._names[line.learner_id]}.html"
        return PageWork.of(line, self._marks.class_file.title, file, self._light)

    def _kept(self, file: str) -> str:
        """By what name the store knows a page; that of a learner with a code is another one."""
        return file if self._folder.parent.name != ANONYMOUS else f"{ANONYMOUS}/{file}"


def _given(marks: Marks) -> Iterator[list[MarkedAnswer]]:
    """The marked answers to one exercise after the other."""
    for name in marks.exercises:
        given = []
        for learner, work, mark in marks.store.of_exercise(name):
            if not mark["fault"]:
                share = mark["points"] / mark["out_of"]
                given.append(MarkedAnswer(learner, name, work.values, work.answer, mark["passed"], share))
        yield given


def _ranges(marks: Marks) -> dict[str, dict[str, float]]:
    return {
        name: {move.path: move.high - move.low for move in exercise.variant("anyone").controls}
        for name, exercise in marks.exercises.items()
    }


def _fits(marks: Marks, mine: MarkedAnswer, theirs: MarkedAnswer) -> bool:
    """Whether an answer passes under another learner's numbers."""
    own = next(each.work for each in marks.store.answers(mine.learner) if each.exercise == mine.exercise and each.work)
    work = replace(own, values=dict(theirs.values), hints_used=0)
    found = marks.store.mark(work.key)
    if found is None:
        found = mark_answers([work])[0]
        if found.get("kept", True):
            marks.store.add_mark(work.key, found)
    return bool(found.get("passed"))
