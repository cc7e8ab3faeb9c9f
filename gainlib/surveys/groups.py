"""Groups of stems: who is in which, by patterns or by folders, and the one trim that all of a group share."""

from __future__ import annotations

import fnmatch
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal

from gainlib.errors import GainError
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice
from gainlib.surveys.trims import Trim, apply_trim
from gainlib.text import printable

__all__ = ["Groups", "group_stems", "share_trims"]

Groups = Mapping[str, Sequence[str]] | Literal["folders"]
"""File names or patterns by the names of groups, or "folders": the stems of a folder are a group."""


def group_stems(files: Sequence[tuple[Path, str]], groups: Groups) -> tuple[dict[str, str], list[str]]:
    """The group of each stem that is in one, by the stems' files and names; and a note on each pattern that fits none.

    Raises GainError for a stem that two groups claim.

    >>> group_stems((), {"drums": ["kick*"]})
    ({}, ['No file fits kick* of the group drums.'])
    """
    if groups == "folders":
        return {name: printable(path.resolve().parent.name) for path, name in files}, []
    found: dict[str, str] = {}
    notes = []
    for name, patterns in groups.items():
        for pattern in patterns:
            fitting = [each for each in files if fnmatch.fnmatchcase(each[0].name, pattern)]
            if not fitting:
                notes.append(f"No file fits {printable(pattern)} of the group {printable(name)}.")
            for path, stem in fitting:
                if found.setdefault(stem, name) != name:
                    raise GainError(
                        f"{printable(path.name)} is in the groups {printable(found[stem])} and {printable(name)}; "
                        "make one of the patterns narrower."
                    )
    return found, notes


def share_trims(stems: Sequence[Stem], trims: Sequence[Trim], of: Mapping[str, str], practice: Practice) -> list[Trim]:
    """The trims with one for all stems of a group, the lowest of theirs, so that the balance in a group stays.

    `of` has the group of each stem that is in one; a silent stem keeps its own.

    >>> share_trims((), (), {}, Practice())
    []
    """
    lowest: dict[str, float] = {}
    for trim in trims:
        if trim.stem in of and trim.held not in ("silence", "lacks"):
            group = of[trim.stem]
            lowest[group] = min(lowest.get(group, trim.gain_db), trim.gain_db)
    shared = []
    for stem, trim in zip(stems, trims, strict=True):
        gain_db = lowest.get(of.get(stem.name, ""), trim.gain_db)
        if stem.name not in of or trim.held == "silence":
            shared.append(trim)
        else:
            held = trim.held if gain_db == trim.gain_db else "group"
            shared.append(apply_trim(stem, gain_db, practice, held=held, group=of[stem.name]))
    return shared
