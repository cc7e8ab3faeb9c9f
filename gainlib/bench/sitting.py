"""An exercise as a learner sits it: brief, bench, hints and the verdict in words."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import anywidget
import ipywidgets
import traitlets

from gainlib.bench.controls import Control
from gainlib.bench.pages import page_script
from gainlib.bench.shown import close_tree, take_place
from gainlib.bench.state import Bench
from gainlib.classroom import own_variant
from gainlib.exercises import Hint, Progress, Verdict, load
from gainlib.views import Waveform

__all__ = ["Sitting", "exercise"]

_HERE = Path(__file__).parent / "page"


class BriefText(anywidget.AnyWidget):
    """The title of an exercise and what is asked."""

    _esm = _HERE / "brief.js"

    title = traitlets.Unicode("").tag(sync=True)
    goal = traitlets.Unicode("").tag(sync=True)
    brief = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)


class AnswerDesk(anywidget.AnyWidget):
    """The buttons under an exercise, the hints that were taken, and the verdict."""

    _esm = page_script("desk.js")

    hints = traitlets.List(traitlets.Unicode()).tag(sync=True)
    offer = traitlets.Unicode("").tag(sync=True)
    verdict = traitlets.Dict().tag(sync=True)
    stale = traitlets.Bool(False).tag(sync=True)
    saved = traitlets.Unicode("").tag(sync=True)


class Sitting:
    """One learner at one exercise: `bench` holds the answer, `check()` gives the verdict and keeps the attempt.

    `variant` has the learner's numbers, `hints` those that were taken, `verdict` and `saved` what the last check said
    and what was kept. Made by `gainlib.exercise(...)`.
    """

    def __init__(self, name: str | Path, learner: str | None, progress: Progress) -> None:
        self.exercise = load(name)
        self.progress = progress
        self.variant = self.exercise.variant(learner) if learner else own_variant(self.exercise, progress)
        self.bench = Bench(
            self.variant.session,
            [Control(each.path, each.low, each.high, each.step) for each in self.variant.moves],
            [Waveform(parts=self.variant.parts) if each == "waveform" else each for each in self.variant.views],
            listen=self.variant.listen,
            title="",
            advise=False,
        )
        self.hints: tuple[Hint, ...] = ()
        self.verdict: Verdict | None = None
        self.saved = ""
        self._kept = learner is None
        self._panel: SittingPanel | None = None

    def check(self) -> Verdict:
        """Measure the bench as it stands; what is said and saved is in `verdict` and `saved`."""
        answer = self.bench.values
        self.verdict = self.variant.check(answer, len(self.hints))
        if self._kept:
            self.saved = self.progress.record(self.variant, answer, self.verdict, len(self.hints))
        else:
            self.saved = "Not saved: this is another learner's variant, opened to try it."
        if self._panel is not None:
            self._panel.follow()
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
        return f"Show a hint (costs {_points(cost)})" if cost else "Show a hint (free)"

    def close(self) -> None:
        """Close the panel, if there is one."""
        if self._panel is not None:
            self._panel.close()

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
    """The widgets of one sitting: brief, bench, answer desk."""

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
        self.box = ipywidgets.VBox([self.brief, sitting.bench.panel.box, self.desk])
        self.box.add_class("gainlib-sitting")
        self._stop = sitting.bench.on_move(lambda _: self._moved())
        self.follow()

    def follow(self) -> None:
        """Bring the desk to what the sitting holds."""
        sitting = self.sitting
        with self.desk.hold_sync():
            self.desk.hints = [each.text for each in sitting.hints]
            self.desk.offer = sitting.offer
            self.desk.saved = sitting.saved
            self.desk.stale = False
            if (verdict := sitting.verdict) is not None:
                self.desk.verdict = {
                    "passed": verdict.passed,
                    "head": verdict.text.splitlines()[0],
                    "notes": list(verdict.notes),
                    "lines": [
                        {
                            "title": each.title,
                            "passed": each.passed,
                            "points": f"{each.points:g} of {_points(each.out_of)}",
                            "sentence": each.sentence,
                        }
                        for each in verdict.lines
                    ],
                    "slip": verdict.slip or "",
                    "hint": ""
                    if any(each.text in (verdict.hint or "") for each in sitting.hints)
                    else verdict.hint or "",
                }

    def _moved(self) -> None:
        if self.sitting.verdict is not None:
            self.desk.stale = True

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "check":
            self.sitting.check()
        elif content.get("kind") == "hint":
            self.sitting.hint()

    def close(self) -> None:
        """Free every widget."""
        if not self.closed:
            self.closed = True
            self._stop()
            self.sitting.bench.close()
            close_tree(self.box)

    def shown(self, **kwargs: Any) -> Any:
        """What a notebook displays."""
        take_place(self, None)
        return {**self.box._repr_mimebundle_(**kwargs), "text/plain": repr(self.sitting)}


def exercise(name: str | Path, learner: str | None = None) -> Sitting:
    """An exercise with its brief, a bench, hints and a verdict; as the last line of a cell it shows itself.

    The numbers are the learner's own, drawn from the id in the progress of the current folder, where every attempt is
    kept too. With `learner` the variant of that id is shown and nothing is kept. `name` may be the path of a TOML file
    of one's own. Raises GainError for a name that is not in the collection, with the nearest that is.

    >>> sitting = exercise("recording/leave-room", learner="ada")
    >>> sitting.check().passed
    False
    """
    return Sitting(name, learner, Progress(Path("progress.json"), learner) if learner else Progress.here())


def _points(points: float) -> str:
    return f"{points:g} point" if points == 1 else f"{points:g} points"
