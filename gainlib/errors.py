"""The one error that gainlib raises for bad input."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = ["GainError", "closest", "suggest"]


class GainError(ValueError):
    """Bad input, told in one sentence: the name, what arrived, what is wanted, what to do.

    >>> raise GainError("release_ms is 0; it must be above 0 ms.")
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: release_ms is 0; it must be above 0 ms.
    """

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of a traceback: the sentence alone."""
        return [f"gainlib: {self}"]


def suggest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant, or list them all.

    >>> suggest("peak_dbf", ["peak_dbfs", "rms_dbfs"])
    'did you mean peak_dbfs?'
    """
    known = sorted(known)
    near = closest(word, known)
    return f"did you mean {near}?" if near else f"known are {', '.join(known)}."


def closest(word: str, known: Iterable[str]) -> str:
    """The known word that was probably meant; empty where none is near.

    >>> closest("peak_dbf", ["peak_dbfs", "rms_dbfs"]), closest("loud", ["peak_dbfs"])
    ('peak_dbfs', '')
    """
    return next(iter(difflib.get_close_matches(word, sorted(known), n=1)), "")
