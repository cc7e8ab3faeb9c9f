"""The question that is asked before anything is shown, and who follows what is answered."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

import traitlets

from gainlib.errors import GainError
from gainlib.widgets.as_left import as_left
from gainlib.widgets.assets import PREDICTION_STYLES, script
from gainlib.widgets.base import CourseWidget
from gainlib.widgets.course_questions import require_course_question

__all__ = ["Prediction", "answered", "follow_answer", "predict"]

# What was asked in this kernel, by name: a later cell of a lesson finds the answer there.
_asked: dict[str, Prediction] = {}
_following: dict[str, Callable[[], None]] = {}


class Prediction(CourseWidget):
    """A question with choices, or one that wants a number; `answer` stays None until one is given.

    >>> Prediction(name="demo", question="How many dB is twice the amplitude?", unit="dB").answer is None
    True
    """

    _esm = script("predict.js")
    _css = PREDICTION_STYLES

    question = traitlets.Unicode("").tag(sync=True)
    choices = traitlets.List(traitlets.Unicode()).tag(sync=True)
    unit = traitlets.Unicode("").tag(sync=True)
    chosen = traitlets.Int(-1).tag(sync=True)
    number = traitlets.Float(None, allow_none=True).tag(sync=True)

    def __init__(self, name: str, question: str, choices: Sequence[str] = (), unit: str = "") -> None:
        self.name = name
        super().__init__(question=question, choices=list(choices), unit=unit)

    @property
    def answer(self) -> str | float | None:
        """The choice as its text, or the number; None while nothing was answered."""
        if self.choices:
            return str(self.choices[self.chosen]) if 0 <= self.chosen < len(self.choices) else None
        return None if self.number is None or not math.isfinite(self.number) else float(self.number)

    def take_up(self, answer: object) -> None:
        """Stand at an answer that was given earlier, where it is one to this question."""
        if self.choices:
            self.chosen = self.choices.index(answer) if answer in self.choices else -1
        elif isinstance(answer, float) and math.isfinite(answer):
            self.number = answer

    def static_html(self) -> str:
        """The question and its choices."""
        choices = "".join(f"<li>{escape(each)}</li>" for each in self.choices)
        return f"<p><strong>{escape(self.question)}</strong></p><ul>{choices}</ul>"


def predict(name: str, question: str | None = None, *, choices: Sequence[str] = (), unit: str = "") -> Prediction:
    """Ask before showing: a question with choices, or for a number with its unit. No answer is fine too.

    The same name asked again replaces the earlier question; an answer to the very same question is kept, in a learner's
    folder also when the kernel is restarted. A question of the course's own lessons is known by its name alone.

    Parameters
    ----------
    name : str
        What `compare` asks for it by.
    question : str, optional
        One question, of your own.
    choices : sequence of str, optional
        Two or more.
    unit : str, optional
        The unit of the number that is asked for.

    Returns
    -------
    Prediction
        As the last line of a cell it shows itself; `answer` is None until it is given.

    Raises
    ------
    GainError
        For a single choice, when neither choices nor a unit are given, and for a name alone that the course has not.

    Examples
    --------
    >>> predict("loud", "Which is louder?", choices=["the first", "the second"]).answer is None
    True
    >>> predict("shout").question
    'How far above the verse will the shout peak?'
    """
    if question is None:
        known = require_course_question(name, "give your own as well, gl.predict(name, question, unit=…)")
        question, choices, unit = known.question, known.choices, known.unit
    if len(choices) == 1 or (not choices and not unit):
        raise GainError(f"the question {name!r} has {len(choices)} choices and no unit; give two choices or a unit.")
    earlier = _asked.pop(name, None)
    asked = _asked[name] = Prediction(name, question, choices, unit)
    if (place := as_left("prediction", name, question, tuple(choices), unit)) is not None:
        asked.take_up(place.found.get("answer"))
        asked.observe(lambda _: place.keep({} if asked.answer is None else {"answer": asked.answer}), _ANSWER)
    if earlier is not None:
        if (earlier.question, earlier.choices, earlier.unit) == (asked.question, asked.choices, asked.unit):
            asked.chosen, asked.number = earlier.chosen, earlier.number
        earlier.close()
    asked.observe(lambda _: _tell(name), _ANSWER)
    _tell(name)
    return asked


_ANSWER = ["chosen", "number"]


def answered(name: str) -> Prediction | None:
    """What was asked under that name, with its answer; None where nothing was.

    >>> answered("never asked") is None
    True
    """
    return _asked.get(name)


def follow_answer(name: str, update: Callable[[], None]) -> None:
    """Call `update` whenever that question is asked or answered, in place of who followed it before."""
    _following[name] = update


def _tell(name: str) -> None:
    if name in _following:
        _following[name]()
