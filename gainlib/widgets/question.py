"""What an exercise asks for in words or figures, as native inputs below its bench."""

from __future__ import annotations

from typing import Any

import traitlets

from gainlib.widgets.assets import script
from gainlib.widgets.base import MovedWidget, setting_html

__all__ = ["QuestionInput"]


class QuestionInput(MovedWidget):
    """One question: a number with its unit, a choice, an order, or a moment in seconds.

    The page says in words what cannot be taken: what is no number is in `text` as it was typed, and `number` is then
    None; a number that is out of range is answered as it is. `chosen` counts the choices from 0 and is -1 while none is
    made; `order` is empty until each has its place. With `channel` a moment can be taken over from the player of the
    bench on that channel.
    """

    _esm = script("question.js")

    form = traitlets.Unicode("number").tag(sync=True)
    title = traitlets.Unicode("").tag(sync=True)
    unit = traitlets.Unicode("").tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(0.0).tag(sync=True)
    choices = traitlets.List(traitlets.Unicode()).tag(sync=True)
    channel = traitlets.Unicode("").tag(sync=True)
    number = traitlets.Float(None, allow_none=True).tag(sync=True)
    text = traitlets.Unicode("").tag(sync=True)
    chosen = traitlets.Int(-1).tag(sync=True)
    order = traitlets.List(traitlets.Int()).tag(sync=True)

    @property
    def value(self) -> float | str | list[str] | None:
        """What was answered; None while nothing was."""
        if self.form == "choice":
            return self.choices[self.chosen] if 0 <= self.chosen < len(self.choices) else None
        if self.form == "order":
            places = [self.choices[each] for each in self.order if 0 <= each < len(self.choices)]
            return places if len(places) == len(self.choices) else None
        return self.text or self.number

    def follow(self, value: Any) -> None:
        """Show another answer; None for none."""
        with self.hold_sync():
            if self.form == "choice":
                self.chosen = -1 if value is None else self.choices.index(value)
            elif self.form == "order":
                self.order = [] if value is None else [self.choices.index(each) for each in value]
            else:
                self.number, self.text = (None, value) if isinstance(value, str) else (value, "")

    def static_html(self) -> str:
        """The question, and of what kind its answer is."""
        return setting_html(self.title, f"… {' or '.join(self.choices) or self.unit}")
