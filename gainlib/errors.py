"""The one error that gainlib raises for bad input."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

__all__ = ["GainError", "suggest"]


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
    close = difflib.get_close_matches(word, known, n=1)
    return f"did you mean {close[0]}?" if close else f"known are {', '.join(known)}."
