"""An exercise as a learner sits it: brief, bench, what is asked, hints and the verdict in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import anywidget
import ipywidgets
import traitlets

from gainlib.benches.bench import Bench
from gainlib.benches.candidates import Candidates
from gainlib.benches.controls import Control
from gainlib.errors import GainError, suggest
from gainlib.exercises import ControlSpec, Exercise, Hint, Variant, Verdict, check, load
from gainlib.exercises.pictures import view_for
from gainlib.learners.enrolment import own_variant
from gainlib.learners.progress import Progress
from gainlib.text import counted
from gainlib.views import Headline, View
from gainlib.widgets.cell_display import close_tree, take_place
from gainlib.widgets.questions import ask_input
from gainlib.widgets.scripts import page_script
from gainlib.widgets.toolbar import STYLES

__all__ = ["Sitting", "exercise"]

_HERE = Path(__file__).parents[1] / "widgets" / "page"


class BriefText(anywidget.AnyWidget):
    """The title of an exercise and what is asked."""

    _esm = _HERE / "brief.js"

    title = traitlets.Unicode("").tag(sync=True)
    goal = traitlets.Unicode("").tag(sync=True)
    brief = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)


class AnswerDesk(anywidget.AnyWidget):
    """The buttons under an exercise, the hints that were taken, and the verdict.

    `answered` counts what was asked for and done, so that the page knows when it may ask for more.
    """

    _esm = page_script("desk.js")
    _css = STYLES  # an exercise may have no bench that brings it

    hints = traitlets.List(traitlets.Unicode()).tag(sync=True)
    offer = traitlets.Unicode("").tag(sync=True)
    verdict = traitlets.Dict().tag(sync=True)
    stale = traitlets.Bool(False).tag(sync=True)
    saved = traitlets.Unicode("").tag(sync=True)
    missing = traitlets.Unicode("").tag(sync=True)
    answered = traitlets.Int(0).tag(sync=True)


class LookingBench(Bench):
    """A bench to find something out on: its headline does not say what the exercise asks."""

    @property
    def headline(self) -> Headline:
        """Where the answer goes, whatever the signal does."""
        return Headline(f"{'Look and listen' if self.views else 'Listen'}, then answer below.", "", False)


class Sitting:
    """One learner at one exercise: `answer` is what stands on it, `check()` gives the verdict and keeps the attempt.

    `variant` has the learner's numbers, `bench` the controls (None where candidates are judged, which are in
    `candidates`, and where there is nothing to move, to see or to hear), `answers` what was answered to each question,
    `hints` those that were taken, `verdict` and `saved` what the last check said and what was kept; each function in
    `on_check` is called after a check. Made by `gainlib.exercise(...)`.
    """

    def __init__(self, exercise: Exercise, variant: Variant, progress: Progress, *, kept: bool, draw: int = 0) -> None:
        self.exercise, self.variant, self.progress, self.draw = exercise, variant, progress, draw
        views = [view_for(each, variant) for each in variant.views]
        self.candidates: Candidates | None = None
        self.bench: Bench | None = None
        if variant.candidates:
            sessions = {each.label: each.session for each in variant.candidates}
            self.candidates = Candidates(sessions, views, listen=variant.listen, matched=variant.matched)
        elif variant.controls or variant.views or exercise.spec.given.listen:
            looking = bool(variant.questions) and exercise.kind != "session"
            self.bench = (LookingBench if looking else Bench)(
                variant.session,
                [_control(each) for each in variant.controls],
                _with_ride(views, variant),
                listen=variant.listen,
                title="",
                advise=False,
            )
        self.answers: dict[str, Any] = dict.fromkeys((each.name for each in variant.questions), None)
        self.hints: tuple[Hint, ...] = ()
        self.verdict: Verdict | None = None
        self.saved = ""
        self.on_check: list[Callable[[], object]] = []
        self._kept = kept
        self._panel: SittingPanel | None = None

    @property
    def answer(self) -> dict[str, Any]:
        """The settings by path and the answers by name, as a hand-in holds them; what was not answered is left out."""
        moved = {} if self.bench is None else {path: _flat(value) for path, value in self.bench.values.items()}
        return {**moved, **{name: value for name, value in self.answers.items() if value is not None}}

    def reply(self, name: str, value: Any) -> Sitting:
        """Answer a question; None takes the answer back. Raises GainError for a name that is not asked for."""
        if name not in self.answers:
            raise GainError(f"{name!r} is not asked here; {suggest(str(name), self.answers) if self.answers else ''}")
        self.answers[name] = value
        if self._panel is not None and not self._panel.closed:
            self._panel.replied(name)
        return self

    @property
    def missing(self) -> str:
        """What keeps a check from having anything to judge, in words; empty when there is something."""
        if self.variant.controls or not self.answers or any(each is not None for each in self.answers.values()):
            return ""
        titles = [f"“{each.title}”" for each in self.variant.questions]
        return f"Nothing is checked yet: answer {' and '.join(titles)} first."

    def check(self) -> Verdict:
        """Measure the answer as it stands; what is said and saved is in `verdict` and `saved`."""
        answer = self.answer
        self.verdict = check(self.variant, answer, len(self.hints))
        if self._kept:
            self.saved = self.progress.record(self.variant, answer, self.verdict, len(self.hints), draw=self.draw)
        else:
            self.saved = "Not saved: this is another learner's variant, opened to try it."
        if self._panel is not None:
            self._panel.follow()
        for each in self.on_check:
            each()
        return self.verdict

    def hint(self) -> Hint | None:
        """Take the next hint; None when there is no more, or when the exercise is passed and none is needed."""
        if not self.offer:
            return None
        taken = self.variant.hints[len(self.hints)]
        self.hints = (*self.hints, taken)
        if self._panel is not None:
            self._panel.follow()
        return taken

    @property
    def offer(self) -> str:
        """What the next hint costs, in words; empty when there is no more, and once the exercise is passed."""
        if len(self.hints) == len(self.variant.hints) or (self.verdict is not None and self.verdict.passed):
            return ""
        cost = self.variant.hints[len(self.hints)].cost
        return f"Show a hint (costs {counted(cost, 'point')})" if cost else "Show a hint (free)"

    @property
    def told(self) -> tuple[str, ...]:
        """What the chosen candidate was, after a miss; after a pass the verdict itself tells what each was."""
        if self.verdict is None or self.verdict.passed:
            return ()
        return tuple(
            f"You chose {each.label}: {each.say}"
            for each in self.variant.candidates
            if each.say and each.label in self.answers.values()
        )

    def close(self) -> None:
        """Close the panel, if there is one, and the candidates."""
        if self._panel is not None:
            self._panel.close()
        if self.candidates is not None:
            self.candidates.close()

    @property
    def panel(self) -> SittingPanel:
        """The widgets of this exercise, made when first asked for."""
        if self._panel is None or self._panel.closed:
            self._panel = SittingPanel(self)
        return self._panel

    def __repr__(self) -> str:
        return f"<exercise {self.exercise.name}: {self.exercise.title}. {self.variant.brief}>"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        return self.panel.shown(**kwargs)


class SittingPanel:
    """The widgets of one sitting: brief, bench or candidates, questions, answer desk."""

    def __init__(self, sitting: Sitting) -> None:
        self.sitting = sitting
        self.closed = False
        self.brief = BriefText(
            title=sitting.exercise.title,
            goal=sitting.exercise.goal,
            brief=sitting.variant.brief,
            note=sitting.progress.note,
        )
        self.desk = AnswerDesk()
        self.desk.on_msg(self._asked)
        stand, channel = self._standing()
        self.asks = {each.name: ask_input(each, channel) for each in sitting.variant.questions}
        for name, widget in self.asks.items():
            widget.follow(sitting.answers[name])
            widget.observe(lambda _, name=name: self._replied(name), ["number", "chosen", "order"])
        standing = [self.brief, *stand]
        if self.asks:
            standing.append(ipywidgets.VBox(list(self.asks.values())))
            standing[-1].add_class("gainlib-asks")
        self.box = ipywidgets.VBox([*standing, self.desk])
        self.box.add_class("gainlib-sitting")
        self._stop = sitting.bench.on_move(lambda _: self._changed()) if sitting.bench is not None else lambda: None
        self.follow()

    def _standing(self) -> tuple[list[Any], str]:
        """What is looked at and listened to, if anything, and the channel on which its player tells where it is."""
        sitting = self.sitting
        if sitting.bench is not None:
            return [sitting.bench.panel.box], sitting.bench.panel.player.uid
        return ([] if sitting.candidates is None else [sitting.candidates.box]), ""

    def follow(self) -> None:
        """Bring the desk to what the sitting holds."""
        sitting = self.sitting
        with self.desk.hold_sync():
            self.desk.hints = [each.text for each in sitting.hints]
            self.desk.offer = sitting.offer
            self.desk.saved = sitting.saved
            self.desk.stale = False
            self.desk.missing = ""
            if (verdict := sitting.verdict) is not None:
                self.desk.verdict = {
                    "passed": verdict.passed,
                    "head": verdict.text.splitlines()[0],
                    "notes": list(verdict.notes),
                    "lines": [
                        {
                            "title": each.title,
                            "passed": each.passed,
                            "points": f"{each.points:g} of {counted(each.out_of, 'point')}",
                            "sentence": each.sentence,
                        }
                        for each in verdict.lines
                    ],
                    "slip": verdict.slip or "",
                    "told": list(sitting.told),
                    "hint": ""
                    if any(each.text in (verdict.hint or "") for each in sitting.hints)
                    else verdict.hint or "",
                }

    def replied(self, name: str) -> None:
        """Bring one question to the answer that the sitting holds."""
        if self.asks[name].value != self.sitting.answers[name]:
            self.asks[name].follow(self.sitting.answers[name])
        self._changed()

    def _replied(self, name: str) -> None:
        self.sitting.answers[name] = self.asks[name].value
        self._changed()

    def _changed(self) -> None:
        self.desk.missing = ""
        if self.sitting.verdict is not None:
            self.desk.stale = True

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "check":
            if self.sitting.missing:
                self.desk.missing = self.sitting.missing
            else:
                self.sitting.check()
        elif content.get("kind") == "hint":
            self.sitting.hint()
        self.desk.answered += 1

    def close(self) -> None:
        """Free every widget."""
        if not self.closed:
            self.closed = True
            self._stop()
            if self.sitting.bench is not None:
                self.sitting.bench.close()
            close_tree(self.box)

    def shown(self, **kwargs: Any) -> Any:
        """What a notebook displays."""
        take_place(self, None)
        return {**self.box._repr_mimebundle_(**kwargs), "text/plain": repr(self.sitting)}


def exercise(name: str | Path, learner: str | None = None) -> Sitting:
    """An exercise with its brief, a bench, hints and a verdict; as the last line of a cell it shows itself.

    The numbers are the learner's own, drawn from the id in the progress of the current folder, or from the one that
    they have in a class; every attempt is kept in that progress. With `learner` the variant of that id is shown and
    nothing is kept. `name` may be the path of a TOML file of one's own. Raises GainError for a name that is not in the
    collection, with the nearest that is.

    >>> sitting = exercise("recording/leave-room", learner="ada")
    >>> sitting.check().passed
    False
    """
    made = load(name)
    progress = Progress(Path("progress.json"), learner) if learner else Progress.here()
    variant = made.variant(learner) if learner else own_variant(made, progress)
    return Sitting(made, variant, progress, kept=learner is None)


def _control(move: ControlSpec) -> Control:
    if move.points:
        return Control(move.path, move.low, move.high)
    return Control(move.path, move.low, move.high, move.step, options=move.options or None)


def _with_ride(views: Sequence[View], variant: Variant) -> Sequence[str | View]:
    """The views of an exercise, and the picture that a ride is drawn in where one is to be drawn."""
    drawn = any(each.points for each in variant.controls)
    there = any(each.name == "ride" for each in views)
    return [*views, "ride"] if drawn and not there else views


def _flat(value: Any) -> Any:
    """A setting as JSON has it: the points of a ride as lists."""
    return [list(each) for each in value] if isinstance(value, tuple) else value
