"""A few figures as a small table in a notebook, instead of lines of code that print them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters.registry import measure, measures
from gainlib.text import signed

__all__ = ["Figures", "tell"]

_SPOKEN = {"vu": "VU", "ppm": "PPM", "rms": "RMS (AES17)"}


class Figures:
    """A small table: `columns` are its headings, `rows` a name and a text for each of them; made by `tell`.

    Attributes
    ----------
    columns : tuple of str
        What each figure is.
    rows : tuple of (str, tuple of str)
        Whose figures, and each as it is printed.

    Examples
    --------
    >>> Figures(["peak"], [("voice", ["−6.0 dBFS"])])
    voice: peak −6.0 dBFS
    """

    def __init__(self, columns: Sequence[str], rows: Sequence[tuple[str, Sequence[str]]]) -> None:
        self.columns = tuple(columns)
        self.rows = tuple((name, tuple(figures)) for name, figures in rows)

    def __repr__(self) -> str:
        return "\n".join(
            (f"{name}: " if name else "") + ", ".join(map(" ".join, zip(self.columns, figures, strict=True)))
            for name, figures in self.rows
        )

    def _repr_html_(self) -> str:
        named = any(name for name, _ in self.rows)
        heads = ([""] if named else []) + [escape(each) for each in self.columns]
        lines = [f"<tr>{''.join(f'<th scope=col>{each}</th>' for each in heads)}</tr>"]
        for name, figures in self.rows:
            cells = "".join(f"<td style='font-variant-numeric:tabular-nums'>{escape(each)}</td>" for each in figures)
            lines.append(f"<tr>{f'<th scope=row>{escape(name)}</th>' if named else ''}{cells}</tr>")
        return f"<table>{''.join(lines)}</table>"


def tell(what: Audio | Mapping[str, Audio | Sequence[float | str]], *columns: str) -> Figures:
    """Read a recording, or several side by side, and tell the figures in a small table.

    Parameters
    ----------
    what : Audio or mapping of str to Audio or to figures
        One recording; or names with a recording each, `(n, channels)`; or names with figures that are there already.
    columns : str
        For recordings the names of measures, such as "peak_dbfs". For figures what each of them is, with its unit
        behind a comma, such as "reduction, dB"; a text stands as it is, and a number has one decimal, a count none.

    Returns
    -------
    Figures
        As the last line of a cell it shows itself; printed it is a line for each recording.

    Raises
    ------
    GainError
        For a measure that there is not, and for a row with too many figures or too few.

    Examples
    --------
    >>> tell(Audio([0.5] * 480, 48000, "a step"), "peak_dbfs")
    peak −6.0 dBFS
    >>> tell({"softer": [0.74], "louder": [16.7]}, "turned down by, dB")
    softer: turned down by 0.7 dB
    louder: turned down by 16.7 dB
    """
    rows = []
    headings: list[str] = []
    for name, given in {"": what}.items() if isinstance(what, Audio) else what.items():
        if isinstance(given, Audio):
            headings = [_heading(each, read=True) for each in columns]
            rows.append((name, [measures()[each].printed(float(measure(each, given))) for each in columns]))
            continue
        if len(given) != len(columns):
            raise GainError(f"{name!r} has {len(given)} figures and there are {len(columns)} columns; give as many.")
        headings = [_heading(each, read=False) for each in columns]
        rows.append((name, [_printed(figure, each) for figure, each in zip(given, columns, strict=True)]))
    return Figures(headings, rows)


def _heading(column: str, *, read: bool) -> str:
    """What stands above a column: a measure's name without its unit, in words; a heading without its unit."""
    if not read:
        return column.rpartition(", ")[0] or column
    unit = measures()[column].unit.lower()
    words = column.removesuffix(f"_{unit}").split("_") if unit else column.split("_")
    return " ".join(_SPOKEN.get(each, each) for each in words)


def _printed(figure: float | str, column: str) -> str:
    if isinstance(figure, str):
        return figure
    unit = column.rpartition(", ")[2] if ", " in column else ""
    return signed(figure, 0 if isinstance(figure, int) else 1, unit, plus=False)
