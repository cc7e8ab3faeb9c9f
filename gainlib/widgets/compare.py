"""What is so, beside what was predicted: shown once the prediction was given, or when it is asked for."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.text import signed
from gainlib.widgets.as_left import as_left
from gainlib.widgets.assets import PREDICTION_STYLES, script
from gainlib.widgets.base import CourseWidget
from gainlib.widgets.course_questions import course_question, require_course_question
from gainlib.widgets.predict import answered, follow_answer

__all__ = ["Comparison", "compare"]

_DISTANCES = {"dBFS": "dB", "dBTP": "dB", "dBu": "dB", "dBV": "dB", "LUFS": "LU"}
"""The unit in which two levels lie apart."""

# What was compared in this kernel, by name.
_shown: dict[str, Comparison] = {}


class Comparison(CourseWidget):
    """A prediction beside what was measured; `sentence` is empty, on the page as well, until it may be read.

    >>> Comparison("never asked", 10.04, unit="dB").show_me().sentence
    'You made no prediction. Measured: 10.0 dB.'
    """

    _esm = script("compare.js")
    _css = PREDICTION_STYLES

    question = traitlets.Unicode("").tag(sync=True)
    sentence = traitlets.Unicode("").tag(sync=True)

    def __init__(
        self, name: str, found: str | float, unit: str = "", digits: int = 1, question: str = "", *, read: bool = True
    ) -> None:
        super().__init__(question=question)
        self.name, self.found, self.unit, self.digits = name, found, unit, digits
        self._is = "Measured" if read and not isinstance(found, str) else "The answer"
        self.asked_for = False
        self.on_msg(self._pressed)

    def show_me(self) -> Comparison:
        """Show it, prediction or none."""
        self.asked_for = True
        self.follow()
        return self

    def follow(self) -> None:
        """Say what there is to say, now that the prediction is what it is."""
        asked = answered(self.name)
        answer = asked.answer if asked else None
        self.sentence = self._against(answer) if self.asked_for or answer is not None else ""

    @property
    def answer_sentence(self) -> str:
        """What is right, or what is measured, whatever was predicted."""
        return f"{self._is}: {self._told(self.found)}."

    def static_html(self) -> str:
        """The question, and below it what can be folded out."""
        folded = (
            f"<details class='gainlib-folded'><summary>Show me</summary><p>{escape(self.answer_sentence)}</p></details>"
        )
        return f"<p><strong>{escape(self.question)}</strong></p>{folded}"

    def answer_html(self) -> str:
        """The question with its answer."""
        return f"<p><strong>{escape(self.question)}</strong></p><p>{escape(self.answer_sentence)}</p>"

    def _against(self, answer: str | float | None) -> str:
        """What was said, what is, and how far apart."""
        if answer is None:
            return f"You made no prediction. {self.answer_sentence}"
        if isinstance(answer, str) or isinstance(self.found, str):
            right = answer == self.found
            return f"You said: “{answer}” " + ("That is right." if right else f"The answer: “{self.found}”")
        said = f"You said: {self._told(answer)}. {self.answer_sentence}"
        off = answer - self.found
        if abs(off) < 0.5:
            return f"{said} Very close."
        distance = signed(abs(off), self.digits, _DISTANCES.get(self.unit, self.unit), plus=False)
        return f"{said} You were {distance} too {'high' if off > 0 else 'low'}."

    def _told(self, value: str | float) -> str:
        return value.rstrip(".") if isinstance(value, str) else signed(value, self.digits, self.unit, plus=False)

    def _pressed(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "show me":
            self.show_me()

    def __repr__(self) -> str:
        return self.sentence or f"<the answer to {self.question!r}, not shown yet>"


def compare(
    name: str, measured: str | float | None = None, *, unit: str | None = None, digits: int | None = None
) -> Comparison:
    """What was predicted under that name beside what is so, once it was predicted or the button “Show me” was pressed.

    Parameters
    ----------
    name : str
        The name that `predict` was given.
    measured : str or float, optional
        A measured number; of your own question with choices the right one. A question of the course's own lessons
        that is not measured has its answer beside the lessons, so that no cell shows it.
    unit : str, optional
        The unit of a number, unless it is that of the question.
    digits : int, optional
        How many decimals of a number are printed, 1 unless the course has it otherwise.

    Returns
    -------
    Comparison
        As the last line of a cell it shows itself, and follows the prediction. `sentence` says it, and is empty until
        then; `show_me()` is the button.

    Raises
    ------
    GainError
        For a name alone of which the course has no answer.

    Examples
    --------
    >>> compare("never asked", "It clips.").sentence
    ''
    >>> compare("never asked", "It clips.").show_me().sentence
    'You made no prediction. The answer: It clips.'
    """
    known, asked, read = course_question(name), answered(name), measured is not None
    if measured is None:
        rest = "give what is so as well, gl.compare(name, measured)"
        known = require_course_question(name, rest)
        measured = known.answer
        if measured is None:
            raise GainError(f"the answer to {name!r} is measured; {rest}.")
    if unit is None:
        unit = asked.unit if asked else known.unit if known else ""
    if digits is None:
        digits = known.digits if known else 1
    question = asked.question if asked else known.question if known else ""
    made = Comparison(name, measured, unit, digits, question, read=read)
    earlier = _shown.pop(name, None)
    _shown[name] = made
    place = as_left("comparison", name, question)
    made.asked_for = bool(
        (earlier and earlier.question == question and earlier.asked_for) or (place and place.found.get("asked for"))
    )
    if place is not None:
        made.observe(lambda _: place.keep({"asked for": True} if made.asked_for else {}), "sentence")
    if earlier is not None:
        earlier.close()
    follow_answer(name, made.follow)
    made.follow()
    return made
