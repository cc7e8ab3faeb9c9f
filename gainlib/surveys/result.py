"""What a survey found, as data: stems, faults, trims, the sum, and what could not be read."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

from gainlib.errors import GainError, suggest
from gainlib.surveys.checks import Fault
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice, Tempo
from gainlib.surveys.trims import Sum, Trim
from gainlib.text import short_names

__all__ = ["SurveyResult"]


@dataclass(frozen=True, eq=False)
class SurveyResult:
    """What a survey found: `stems`, worst first, their `faults`, `trims`, `sum`, and files that are `unreadable`.

    `stem(name)`, `trim(name)` and `faults_of(name)` find what belongs to one stem; `whole` is False where it was
    ended before its end. Reports, sheets, copies and comparisons are made of it.
    """

    stems: tuple[Stem, ...]
    faults: tuple[Fault, ...]
    trims: tuple[Trim, ...]
    sum: Sum | None
    unreadable: tuple[tuple[str, str], ...]
    practice: Practice
    tempo: Tempo | None = None
    notes: tuple[str, ...] = ()
    title: str = ""
    whole: bool = True
    workers: int = field(default=2, repr=False)

    def stem(self, name: str) -> Stem:
        """The stem of that name; GainError with the nearest name where there is none."""
        if name in self._stems:
            return self._stems[name]
        raise GainError(f"there is no stem {name!r}; {suggest(name, [each.name for each in self.stems])}")

    def trim(self, name: str) -> Trim:
        """The trim of the stem of that name; GainError where there is none."""
        self.stem(name)
        return self._trims[name]

    def faults_of(self, name: str) -> tuple[Fault, ...]:
        """What is wrong with one stem, the worst first."""
        return tuple(self._faults.get(name, ()))

    @functools.cached_property
    def short_names(self) -> dict[str, str]:
        """By each stem's name, the name as a line of a table can hold it; no two read alike."""
        return short_names(each.name for each in self.stems)

    @functools.cached_property
    def _stems(self) -> dict[str, Stem]:
        return {each.name: each for each in self.stems}

    @functools.cached_property
    def _trims(self) -> dict[str, Trim]:
        return {each.stem: each for each in self.trims}

    @functools.cached_property
    def _faults(self) -> dict[str, list[Fault]]:
        found: dict[str, list[Fault]] = {}
        for each in self.faults:
            found.setdefault(each.stem, []).append(each)
        return found

    @property
    def sound(self) -> bool:
        """Whether nothing was found wrong and every file could be read."""
        return self.whole and not self.unreadable and all(each.remark for each in self.faults)
