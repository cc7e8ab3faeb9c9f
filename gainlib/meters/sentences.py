"""Text with measured figures in it, as a notebook shows text."""

from __future__ import annotations

from gainlib.errors import GainError
from gainlib.text import signed

__all__ = ["Said", "say"]


class Said:
    """A text with its figures in place, shown as a notebook's own text is; made by `say`.

    Attributes
    ----------
    text : str
        What is said, in Markdown.

    Examples
    --------
    >>> Said("It peaks at **−6 dBFS**.")
    It peaks at **−6 dBFS**.
    """

    def __init__(self, text: str) -> None:
        self.text = text

    def __repr__(self) -> str:
        return self.text

    def _repr_markdown_(self) -> str:
        return self.text


class _Figure(float):
    """A number that is printed with so many decimals, one unless it is said, and a real minus."""

    def __format__(self, form: str) -> str:
        plus, digits = form.startswith("+"), form.removeprefix("+") or "1"
        return signed(self, int(digits), "", plus=plus).strip()


def say(text: str, **figures: float) -> Said:
    """Say a sentence with what was measured in it, so that it is true of whatever was measured.

    Parameters
    ----------
    text : str
        What is said, in Markdown. `{name}` stands for the figure of that name with one decimal, `{name:0}` for the same
        in whole numbers, `{name:2}` with two decimals, `{name:+0}` with a plus as well.
    figures : float
        What was measured, by name.

    Returns
    -------
    Said
        As the last line of a cell it shows itself as text; `text` is what it says.

    Raises
    ------
    GainError
        For a name without a figure, a figure that is not named, and a form that is none of these.

    Examples
    --------
    >>> say("The shout peaks {over:0} dB over the verse, at {peak} dBFS.", over=11.7, peak=-4.08)
    The shout peaks 12 dB over the verse, at −4.1 dBFS.
    """
    if unsaid := [name for name in figures if "{" + name not in text]:
        raise GainError(f"the figure {unsaid[0]} stands nowhere in the text; write {{{unsaid[0]}}} where it belongs.")
    try:
        return Said(text.format_map({name: _Figure(value) for name, value in figures.items()}))
    except KeyError as fault:
        raise GainError(f"the text names {fault.args[0]!r}, and no such figure is given; give it as well.") from fault
    except (ValueError, AttributeError, IndexError, TypeError) as fault:
        raise GainError(
            f"the text cannot be filled in ({fault}); write {{name}}, {{name:0}} or {{name:+1}} for a figure."
        ) from fault
