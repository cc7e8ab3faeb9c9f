"""The question before anything is shown, and the answer beside what was then measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

import traitlets

from gainlib.errors import GainError
from gainlib.text import signed
from gainlib.widgets.as_left import as_left
from gainlib.widgets.assets import PREDICTION_STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["Comparison", "Prediction", "compare", "predict"]

_DISTANCES = {"dBFS": "dB", "dBTP": "dB", "dBu": "dB", "dBV": "dB", "LUFS": "LU"}
"""The unit in which two levels lie apart."""

# What was asked in this kernel, by name: a later cell of a lesson finds the answer there.
_asked: dict[str, Prediction] = {}


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


def predict(name: str, question: str, *, choices: Sequence[str] = (), unit: str = "") -> Prediction:
    """Ask before showing: a question with choices, or for a number with its unit. No answer is fine too.

    The same name asked again replaces the earlier question; an answer to the very same question is kept, in a learner's
    folder also when the kernel is restarted.

    Parameters
    ----------
    name : str
        What `compare` asks for it by.
    question : str
        One question.
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
        For a single choice, or when neither choices nor a unit are given.

    Examples
    --------
    >>> predict("loud", "Which is louder?", choices=["the first", "the second"]).answer is None
    True
    """
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
    return asked


_ANSWER = ["chosen", "number"]


class Comparison:
    """A prediction beside what was measured, in one sentence.

    >>> compare("never asked", 10.04, unit="dB").sentence
    'You made no prediction. Measured: 10.0 dB.'
    """

    def __init__(self, answer: str | float | None, measured: str | float, unit: str = "", digits: int = 1) -> None:
        self.answer, self.measured, self.unit, self.digits = answer, measured, unit, digits

    @property
    def sentence(self) -> str:
        """What was said, what is, and how far apart."""
        found = self._told(self.measured)
        if self.answer is None:
            return f"You made no prediction. {self._is}: {found}."
        if isinstance(self.answer, str) or isinstance(self.measured, str):
            right = self.answer == self.measured
            return f"You said: “{self.answer}” " + ("That is right." if right else f"What happens: “{self.measured}”")
        said = f"You said: {self._told(self.answer)}. {self._is}: {found}"
        off = self.answer - self.measured
        if abs(off) < 0.5:
            return f"{said}. Very close."
        distance = signed(abs(off), self.digits, _DISTANCES.get(self.unit, self.unit), plus=False)
        return f"{said}. You were {distance} too {'high' if off > 0 else 'low'}."

    @property
    def _is(self) -> str:
        return "What happens" if isinstance(self.measured, str) else "Measured"

    def _told(self, value: str | float) -> str:
        return value.rstrip(".") if isinstance(value, str) else signed(value, self.digits, self.unit, plus=False)

    def __repr__(self) -> str:
        return self.sentence

    def _repr_html_(self) -> str:
        return f"<p style='font-size:1.1em;max-width:44em'>{escape(self.sentence)}</p>"


def compare(name: str, measured: str | float, *, unit: str = "", digits: int = 1) -> Comparison:
    """What was predicted under that name beside what was measured.

    Parameters
    ----------
    name : str
        The name that `predict` was given.
    measured : str or float
        What happens; a text for a question with choices.
    unit : str
        The unit of a number.
    digits : int
        How many decimals of a number are printed.

    Returns
    -------
    Comparison
        As the last line of a cell it shows itself; `sentence` says it.

    Examples
    --------
    >>> compare("never asked", "it clips").sentence
    'You made no prediction. What happens: it clips.'
    """
    asked = _asked.get(name)
    return Comparison(asked.answer if asked else None, measured, unit, digits)
