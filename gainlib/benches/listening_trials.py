"""A listening ladder as it is open: one line, below it the player of a trial, the three to choose from, the result."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets

from gainlib.benches.ladder_run import LadderRun
from gainlib.benches.panel import Panel
from gainlib.errors import GainError
from gainlib.flow import Session
from gainlib.stages import Trim
from gainlib.widgets.brief import BriefText
from gainlib.widgets.cell_display import close_tree
from gainlib.widgets.fold import Fold
from gainlib.widgets.ladder_trials import LadderTrials
from gainlib.widgets.player import Player

__all__ = ["LadderPanel", "ListeningTrials", "TrialPlayer"]


class TrialPlayer(Player):
    """Plays one trial round and round, each from its beginning; only what is to be judged differs in it."""

    def __init__(self, uid: str) -> None:
        super().__init__(uid, lambda _: None, slots=["after"], matching=False, afresh=True)

    def present(self, run: LadderRun) -> None:
        """Take up the trial that is to be answered; when a run has ended it falls silent."""
        if run.ended:
            self.send({"kind": "stop"})
            return
        # The sound is a take that nothing is done to, so it goes the way of all that is heard.
        rendering = Session.of(run.audio, [Trim()], name=f"trial {run.count}").render()
        self._hold({"after": rendering}, rendering.last_tap, [])


class ListeningTrials:
    """The widgets of a run in one `box`; `saved` gives what was kept of it, asked when it has ended.

    Nothing in it is seen that could be heard: no picture, no level, and the odd one is in no message to the page.
    """

    def __init__(self, run: LadderRun, saved: Callable[[], str]) -> None:
        self.run, self._saved = run, saved
        uid = uuid.uuid4().hex
        self.player = TrialPlayer(uid)
        steps = [run.ladder.printed(each) for each in run.ladder.sizes]
        self.trials = LadderTrials(channel=uid, question=run.ladder.question, steps=steps)
        self.trials.on_msg(self._asked)
        self._stop = run.on_trial(self._follow)
        self.box = ipywidgets.VBox([self.player, self.trials])
        self.box.add_class("gainlib-bench")
        self._follow()

    def _follow(self) -> None:
        run = self.run
        self.player.present(run)
        found = run.threshold
        self.trials.follow(
            intervals=[list(each) for each in run.intervals],
            said=run.said,
            progress=run.progress,
            run=[[rung, odd == picked] for rung, (odd, picked) in zip(run.staircase.visited, run.trials, strict=True)]
            if found
            else [],
            result=list(found.sentences) if found else [],
            saved=self._saved() if found else "",
            trial=run.count,
        )

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        kind = content.get("kind")
        if kind == "pick" and content.get("trial") == self.run.count and not self.run.ended:
            try:
                self.run.pick(content.get("interval", 0))
            except GainError:  # a page sends 1, 2 or 3
                return
        elif kind == "again":
            self.run.begin()

    def close(self) -> None:
        """Free every widget."""
        self._stop()
        close_tree(self.box)


class LadderPanel(Panel):
    """A ladder under one line of the page, which opens it; nothing is rendered before.

    `attempts` are what the record holds of it, of which the last is told beside the line.
    """

    def __init__(
        self,
        run: LadderRun,
        brief: BriefText,
        saved: Callable[[], str],
        attempts: Sequence[Mapping[str, Any]],
        *,
        folded: bool,
    ) -> None:
        super().__init__([])
        self.run, self.brief, self._saved = run, brief, saved
        self.listening: ListeningTrials | None = None
        self.line = Fold(title=f"Train your ear: {brief.title}", note=_last(run, attempts), unfolded=not folded)
        brief.title = ""  # the line above is its heading
        self.line.observe(lambda _: self._stand(), "unfolded")
        self.box = ipywidgets.VBox()
        self.box.add_class("gainlib-exercise")
        self._stand()

    def _stand(self) -> None:
        if self.line.unfolded and self.listening is None:
            self.listening = ListeningTrials(self.run, self._saved)
        if self.listening is not None and not self.line.unfolded:
            self.listening.player.send({"kind": "stop"})
        below = [self.brief, self.listening.box] if self.listening is not None and self.line.unfolded else []
        self.box.children = [self.line, *below]

    def _free(self) -> None:
        if self.listening is not None:
            self.listening.close()
        close_tree(self.brief)
        self.box.children = [self.line]
        super()._free()


def _last(run: LadderRun, attempts: Sequence[Mapping[str, Any]]) -> str:
    """What the last run came to, in a few words; how long one takes where there was none."""
    for attempt in reversed(attempts):
        answer = attempt.get("answer")
        size = answer.get("threshold") if isinstance(answer, dict) else None
        if isinstance(size, int | float):
            return f"Last time: {run.ladder.named(float(size))}."
    return "About five minutes."
