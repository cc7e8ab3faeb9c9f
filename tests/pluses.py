"""A plus belongs to a gain, a move and a difference with a direction: where a sentence gives it to anything else."""

from __future__ import annotations

import re

_PLUS = re.compile(r"\+\d[\d.]*[\s\N{NO-BREAK SPACE}]*(?:dB|LU)\b")
_A_CHANGE = re.compile(
    r"\b(gain|faders?|trims?|makeup|rides?|sends?|over|beside|against|raised?|lower|louder|softer|adds"
    r"|(chang|com)es? (by|in at)|came in|recorded at|comes back|fixed at|stood at|stands? at|points? (of|at)|set|counts"
    r"|to \+)\b",
    re.IGNORECASE,
)
_AN_AMOUNT = re.compile(
    r"\b(crest|(phrase|dynamic|loudness) range|noise floor|headroom|left up|turned down (at most )?by|reduction|up to"
    r"|down to|quietest to|knee|drive|you said)\b",
    re.IGNORECASE,
)


def wrong_pluses(text: str) -> list[str]:
    """The clauses that print an amount, or an answer that was typed, with a plus.

    >>> wrong_pluses("Gain +3 dB. Crest factor: +12.1 dB.")
    ['Crest factor: +12.1 dB']
    """
    clauses = re.split(r"[.?!;]\s|\n", text)
    return [
        each.strip().rstrip(".")
        for each in clauses
        if _PLUS.search(each) and (_AN_AMOUNT.search(each) or not _A_CHANGE.search(each))
    ]


def wrong_in_outputs(outputs) -> list[str]:
    """The same in what a cell of a notebook shows; a row of a table is read without its name, which is a setting."""
    wrong = []
    for data in (each.get("data", {}) for each in outputs or ()):
        for line in data.get("text/plain", "").splitlines():
            if line.startswith("<"):  # of a panel, which no page shows
                continue
            wrong += wrong_pluses(line.partition(": ")[2] or line if "<table>" in data.get("text/html", "") else line)
    return wrong
