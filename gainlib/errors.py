"""The one error that gainlib raises for bad input."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable

__all__ = ["GainError", "closest", "escaped", "suggest", "told"]

_JOINERS = "\u200c\u200d"
"""What joins and parts letters, without which some scripts are misspelt."""
_LONG_WORD = re.compile(r"\S{300,}")
_LONGEST_SENTENCE = 2500


class GainError(ValueError):
    """Bad input, told in one sentence: the name, what arrived, what is wanted, what to do.

    Several faults are several sentences, each on a line of its own. Whatever a sentence quotes, no character in it ends
    its line, moves a terminal's cursor or turns the direction of reading, and no word is longer than a screen: `told`.

    >>> raise GainError("release_ms is 0; it must be above 0 ms.")
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: release_ms is 0; it must be above 0 ms.
    """

    def __init__(self, *sentences: str) -> None:
        super().__init__(*map(told, sentences))

    def __str__(self) -> str:
        return "\n".join(self.args)

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows instead of a traceback: the sentence alone."""
        return [f"gainlib: {self}"]


def escaped(text: str) -> str:
    """A text on one line that shows what it holds: control and direction characters and half characters by their code.

    Letters of any script stay as they are.

    >>> print(escaped("tief\\x1b[2J\\u202egnal\\n"), escaped("ドラム"))
    tief\\x1b[2J\\u202egnal\\n ドラム
    """
    if text.isprintable():
        return text
    return "".join(
        ascii(each)[1:-1]
        if unicodedata.category(each) in ("Cc", "Cf", "Cs", "Zl", "Zp") and each not in _JOINERS
        else each
        for each in text
    )


def told(sentence: str) -> str:
    """A sentence as a message has it: `escaped`, and what it quotes no longer than one reads.

    >>> len(told("take is " + "x" * 5000)), told("the gain is 3 dB.")
    (169, 'the gain is 3 dB.')
    """
    text = _LONG_WORD.sub(lambda word: f"{word[0][:120]}…{word[0][-40:]}", escaped(sentence))
    return text if len(text) <= _LONGEST_SENTENCE else f"{text[:_LONGEST_SENTENCE]}…"


def suggest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant, or list them all.

    >>> suggest("peak_dbf", ["peak_dbfs", "rms_dbfs"])
    'did you mean peak_dbfs?'
    """
    known = sorted(known)
    near = closest(word, known)
    return f"did you mean {near}?" if near else f"known are {', '.join(known)}."


def closest(word: str, known: Iterable[str]) -> str:
    """The known word that was probably meant, one of the same parts before one that looks alike; empty for none.

    >>> closest("peak_dbf", ["peak_dbfs", "rms_dbfs"]), closest("loud", ["peak_dbfs"])
    ('peak_dbfs', '')
    >>> closest("sum_equal_db", ["sum_same_db", "equal_sum_db"])
    'equal_sum_db'
    """
    known, words = sorted(known), sorted(word.split("_"))
    reordered = [each for each in known if sorted(each.split("_")) == words]
    return next(iter([*reordered, *difflib.get_close_matches(word, known, n=1)]), "")
