"""Several versions to judge by ear and eye: a player with a button for each, and pictures of the one that is heard."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import ipywidgets

from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering, Session
from gainlib.views import View, view
from gainlib.widgets.assets import width_classes
from gainlib.widgets.cell_display import close_tree
from gainlib.widgets.headline import HeadlineLine
from gainlib.widgets.picture import Picture, remark_on
from gainlib.widgets.player import Player

__all__ = ["CandidatePlayer", "Candidates"]


class CandidatePlayer(Player):
    """Plays one of several versions at a time, all at one loudness unless `matching` is off.

    By how much each was lowered is not said: that would tell which was the loudest.
    """

    def __init__(
        self,
        uid: str,
        renderings: Mapping[str, Rendering],
        tap: str,
        chosen: Callable[[str], object],
        *,
        matched: bool,
        remark: str = "",
    ) -> None:
        super().__init__(uid, lambda _: None, slots=list(renderings), matching=matched, remark=remark)
        self._chosen = chosen
        self._hold(dict(renderings), tap, [])

    def _words(self, gains_db: dict[str, float]) -> str:
        return f"all at the same level ({self._by})"

    def _asked(self, widget: object, content: dict[str, Any], buffers: object) -> None:
        if content.get("kind") == "choose" and content.get("slot") in self.slots:
            self._chosen(content["slot"])
        elif content.get("kind") != "ended":  # nothing moves here; what is heard is measured when it is sent
            super()._asked(widget, content, buffers)


class Candidates:
    """The bench of an exercise that is judged by ear and eye: `chosen` is the candidate that is shown and heard.

    Nothing on it moves, and no headline says what the question asks for. `box` has the widgets, made at once.
    """

    def __init__(
        self,
        sessions: Mapping[str, Session],
        views: Sequence[str | View] = (),
        *,
        listen: str | None = None,
        matched: bool = True,
    ) -> None:
        if len(sessions) < 2:
            raise GainError(f"there are {len(sessions)} candidates; give 2 or more to choose from.")
        self.renderings = {label: session.render() for label, session in sessions.items()}
        self.views = tuple(view(each) for each in views)
        self.chosen = next(iter(self.renderings))
        first = self.renderings[self.chosen]
        self.listen = "/".join(first.session.tap(listen)) if listen else first.last_tap
        self.matched = matched
        self.closed = False
        self.uid = uuid.uuid4().hex
        self.pictures = [
            Picture(each.figure(first), each.columns(first), channel=self.uid, heading=self._headed(each),
                    sentence=self._said(each))
            for each in self.views
        ]  # fmt: skip
        self.player = CandidatePlayer(
            self.uid, self.renderings, self.listen, self.choose, matched=matched, remark=remark_on(self.pictures)
        )
        self.line = HeadlineLine(what=f"Hear {_listed(list(self.renderings))}, then answer below.")
        self.box = ipywidgets.VBox([self.line, *map(self._standing, self.views, self.pictures), self.player])
        self.box.add_class("gainlib-bench")

    def choose(self, label: str) -> Candidates:
        """Show another candidate. Raises GainError for one that is not there."""
        if label not in self.renderings:
            raise GainError(f"there is no candidate {label!r}; {suggest(str(label), self.renderings)}")
        self.chosen = label
        now = self.renderings[label]
        for each, picture in zip(self.views, self.pictures, strict=True):
            picture.heading = self._headed(each)
            picture.show(each.columns(now), self._said(each))
        return self

    def _standing(self, each: View, picture: Picture) -> Any:
        """A picture as it is, or one with stages as columns in a strip that keeps their names apart."""
        if not (stages := each.taps(self.renderings[self.chosen])):
            return picture
        strip = ipywidgets.VBox([picture])
        strip.add_class("gainlib-strip")
        for name in width_classes(len(stages), each.right_px(self.renderings[self.chosen])):
            strip.add_class(name)
        return strip

    def _headed(self, each: View) -> str:
        return f"{self.chosen}: {each.heading(self.renderings[self.chosen])}"

    def _said(self, each: View) -> str:
        return f"{self.chosen}: {each.sentence(self.renderings[self.chosen])}"

    def close(self) -> None:
        """Free every widget."""
        if not self.closed:
            self.closed = True
            close_tree(self.box)


def _listed(labels: list[str]) -> str:
    return f"{', '.join(labels[:-1])} and {labels[-1]}"
