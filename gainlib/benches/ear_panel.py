"""A learner's ear: every listening ladder with what was heard on which day, and which comes next."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import ipywidgets

from gainlib.benches.events import Event
from gainlib.benches.exercise_panel import OpenExercise
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, exercise_names, load
from gainlib.exercises.ladder import TRIALS, Ladder, ladder_of, staircase_of
from gainlib.exercises.staircase import Estimate
from gainlib.learners.enrolment import own_variant
from gainlib.learners.progress import Progress
from gainlib.text import counted, short_day
from gainlib.widgets.ear_page import EarPage

__all__ = ["Ear", "LadderHistory", "RunHeard", "ear"]

LAST_RUNS = 3
"""So many runs together say where an ear stands now: one alone may be off by a third."""


@dataclass(frozen=True)
class RunHeard:
    """One run that went to its end: the day, where on the ladder it ended, and the size that is just heard."""

    day: date
    estimate: Estimate
    size: float


@dataclass(frozen=True, eq=False)
class LadderHistory:
    """One ladder and every run of it, the earliest first."""

    exercise: Exercise
    ladder: Ladder
    runs: tuple[RunHeard, ...]

    @property
    def sentence(self) -> str:
        """What is heard now, over the last three runs, and what was heard at first."""
        if not self.runs:
            return "Not tried yet."
        last = self.runs[-LAST_RUNS:]
        size = statistics.median(each.size for each in last)
        over = "Your one run" if len(self.runs) == 1 else f"Over your last {counted(len(last), 'run')}"
        first = "" if len(self.runs) <= LAST_RUNS else f" First: {self.ladder.named(self.runs[0].size)}."
        return f"{over}: {self.ladder.named(size)}.{first}"


class EarPanel(Panel):
    """The widgets of the page: the ladders with their days, and below them the one that is open."""

    def __init__(self, of: Ear) -> None:
        super().__init__([of.on_change(self._follow), of.on_open(self._stand)])
        self.ear = of
        self.page = EarPage()
        self.page.on_msg(self._asked)
        self.box = ipywidgets.VBox([self.page])
        self.box.add_class("gainlib-book")
        self._follow()
        if of.opened is not None:
            self._stand()

    def _follow(self) -> None:
        self.page.follow(self.ear.sentence, [_row(each) for each in self.ear.histories], self.ear.next.exercise.name)

    def _stand(self) -> None:
        assert self.ear.opened is not None
        self.box.children = [self.page, self.ear.opened.panel.box]

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "open" and content.get("name") in self.ear.exercises:
            self.ear.open(content["name"])

    def _free(self) -> None:
        if self.ear.opened is not None:
            self.ear.opened.close()
        self.box.children = [self.page]
        super()._free()


def _row(history: LadderHistory) -> dict[str, Any]:
    """A ladder as the page shows it; days as they are written, places in rungs."""
    entry = history.ladder.entry
    return {
        "name": history.exercise.name,
        "title": history.exercise.title,
        "said": history.sentence,
        "rungs": len(entry.rungs),
        "runs": [
            {
                "day": each.day.isoformat(),
                "label": f"{each.day.day} {each.day:%b}",
                "rung": each.estimate.rung,
                "error": each.estimate.error_rungs,
                "said": f"{short_day(each.day)}: {history.ladder.named(each.size)}",
            }
            for each in history.runs
        ],
    }


class Ear(ShownByPanel[EarPanel]):
    """Every listening ladder of the course with the learner's runs; as the last line of a cell it shows itself.

    `histories` are the ladders with what was heard on which day, `next` is the one to run now, `sentence` says what
    today holds, `open(name)` opens a ladder, which is then in `opened`. A function given to `on_change` is called when
    a run has ended, one given to `on_open` when a ladder was opened. Made by `gainlib.ear()`.
    """

    def __init__(self, progress: Progress, today: Callable[[], date] = date.today) -> None:
        self.progress, self.today = progress, today
        self.exercises: dict[str, Exercise] = {name: load(name) for name in exercise_names("hear")}
        self.opened: OpenExercise | None = None
        self.on_change, self.on_open = Event(), Event()

    @property
    def histories(self) -> tuple[LadderHistory, ...]:
        """Each ladder with its runs that went to their end, in the order of their names."""
        attempts = Progress.at(self.progress.file.parent, make=False).attempts
        return tuple(
            _history(exercise, own_variant(exercise, self.progress), attempts) for exercise in self.exercises.values()
        )

    @property
    def next(self) -> LadderHistory:
        """The ladder to run now: one that was never run, else the one that was run longest ago."""
        return min(self.histories, key=lambda each: (each.runs[-1].day if each.runs else date.min, each.exercise.level))

    @property
    def sentence(self) -> str:
        """What today holds, in words."""
        histories = self.histories
        done = sum(run.day == self.today() for each in histories for run in each.runs)
        title = f"“{self.next.exercise.title}”"
        if done:
            return f"Done for today: {counted(done, 'run')}. Tomorrow comes {title}; you may go on now as well."
        if any(each.runs for each in histories):
            return f"Five minutes for today: {title}"
        return f"Five minutes a day train an ear. Begin with {title}"

    def open(self, name: str) -> OpenExercise:
        """Open a ladder. Raises GainError for one that is not there."""
        if name not in self.exercises:
            raise GainError(f"there is no ladder {name!r}; {suggest(str(name), self.exercises)}")
        if self.opened is not None:
            self.opened.close()
        exercise = self.exercises[name]
        self.opened = OpenExercise(exercise, own_variant(exercise, self.progress), self.progress, kept=True)
        self.opened.on_check(self.on_change.tell)
        self.on_open.tell()
        return self.opened

    def _make_panel(self) -> EarPanel:
        return EarPanel(self)

    def __repr__(self) -> str:
        lines = [f"{each.exercise.name}: {each.exercise.title} {each.sentence}" for each in self.histories]
        return "\n".join([f"<ear: {self.sentence}>", *lines])


def ear() -> Ear:
    """Your ear: what you can just hear, day by day, and the listening ladder that comes next.

    The runs are those of your progress, from lessons, from the exercise book and from here.

    Returns
    -------
    Ear
        As the last line of a cell it shows itself.

    Examples
    --------
    >>> "hearing/step-in-level" in ear().exercises
    True
    """
    return Ear(Progress.here())


def _history(exercise: Exercise, variant: Any, attempts: tuple[Mapping[str, Any], ...]) -> LadderHistory:
    ladder, runs = ladder_of(variant), []
    for attempt in attempts:
        run = _run(ladder, attempt) if attempt["exercise"] == exercise.name else None
        if run is not None:
            runs.append(run)
    return LadderHistory(exercise, ladder, tuple(runs))


def _run(ladder: Ladder, attempt: Mapping[str, Any]) -> RunHeard | None:
    """A kept attempt as a run; None where it did not end, or was of another ladder, or cannot be read."""
    answer = attempt.get("answer")
    if not isinstance(answer, dict) or attempt.get("exercise_digest") != ladder.variant.exercise.digest:
        return None
    try:
        found = staircase_of(ladder.variant, answer.get(TRIALS)).estimate
        day = datetime.fromisoformat(str(attempt.get("time"))).astimezone().date()
    except (GainError, ValueError, OverflowError, OSError):
        return None
    size = answer.get("threshold")
    if found is None or not isinstance(size, int | float):
        return None
    return RunHeard(day, found, float(size))
