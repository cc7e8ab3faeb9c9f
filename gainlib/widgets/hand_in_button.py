"""The button in a notebook that hands in a learner's answers, and says what it did."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.learners import submission
from gainlib.learners.enrolment import brought_up_to_date
from gainlib.learners.submission import HandedIn
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["HandInButton", "hand_in"]


class HandInButton(CourseWidget):
    """A button that hands in when it is pressed, and only then; `said` has the sentences of the last time.

    `who` says in which class the learner is; without one there is no button, and it says how to enter one.
    """

    _esm = script("hand_in_button.js")
    _css = STYLES

    who = traitlets.Unicode("").tag(sync=True)
    may = traitlets.Bool(False).tag(sync=True)
    said = traitlets.List(traitlets.Unicode()).tag(sync=True)
    done = traitlets.Int(0).tag(sync=True)

    def __init__(self) -> None:
        super().__init__()
        self.look()
        self.on_msg(self._asked)

    def look(self) -> None:
        """Tell anew in which class the learner is."""
        try:
            here = brought_up_to_date()
        except GainError as fault:
            self.who, self.may = f"You cannot hand in: {fault}", False
            return
        self.may = here is not None
        if here is None:
            self.who = "You are in no class, so there is nobody to hand in to."
        else:
            name = f"{here.name} ({here.learner_id})" if here.name else here.learner_id
            # When it is due stands with what is set, which is told anew whenever one comes back to the page.
            self.who = f"You are {name} in {here.of.title}."

    def press(self) -> HandedIn | None:
        """Hand in; what is said about it is in `said`. None where it could not be done."""
        handed = None
        with self.hold_sync():
            try:
                handed = submission.hand_in()
                self.said = list(handed.sentences)
            except GainError as fault:
                self.said = [f"Not handed in: {fault}"]
            self.done += 1  # so that the button comes back, even where the same is said again
        return handed

    def static_html(self) -> str:
        """Who would hand in."""
        return f"<p>{escape(self.who)}</p>"

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "hand in":
            self.press()
        elif content.get("kind") == "look":
            self.look()

    def __repr__(self) -> str:
        return f"<hand-in: {' '.join([self.who, *self.said])}>"


def hand_in() -> HandInButton:
    """A button that hands in your answers to the exercises of your class; as the last line of a cell it shows itself.

    Nothing is written before it is pressed. The file lies in `hand-ins` of the course folder, beside every earlier
    one; it holds your id, your name, your answers and when you gave them, and no points.

    Returns
    -------
    HandInButton
        `may` says whether there is a class to hand in to.

    Examples
    --------
    >>> hand_in().may
    False
    """
    return HandInButton()
