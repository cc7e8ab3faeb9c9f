"""What comes back: an exercise that was missed is asked again after one, three and seven days."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

__all__ = ["COMES_BACK_DAYS", "Missed", "missed"]

COMES_BACK_DAYS = (1, 3, 7)
"""How long a missed exercise stays away: after the miss, and then after each time that it was passed when it was due.
A growing distance between repetitions (*common practice*; the figures are a choice of this course)."""


@dataclass(frozen=True)
class Missed:
    """An exercise that was missed: when it is due, and how often it has been passed when it was due."""

    exercise: str
    due: date
    repeated: int

    def is_due(self, today: date) -> bool:
        """Whether it should be asked on this day.

        >>> Missed("recording/leave-room", date(2030, 3, 2), 0).is_due(date(2030, 3, 1))
        False
        """
        return self.due <= today


def missed(attempts: Iterable[Mapping[str, Any]], zone: tzinfo | None = None) -> tuple[Missed, ...]:
    """What was missed and is not yet done with, the one that is due first in front; today plays no part in it.

    A miss is due again one day later, whatever is passed meanwhile. Passed on that day or later it comes back three
    days after that, then seven, then no more; a miss at any time begins anew. Days are those of `zone`, by default
    this computer's. An attempt whose time cannot be read is left out.

    >>> missed([{"exercise": "a/b", "passed": False, "time": "2030-03-01T18:00:00Z"}])[0].repeated
    0
    """
    days = [(when, each) for each in attempts if (when := _when(each.get("time"))) is not None]
    known: dict[str, Missed] = {}
    for when, each in sorted(days, key=lambda pair: pair[0]):
        name, day = str(each["exercise"]), when.astimezone(zone).date()
        before = known.get(name)
        if not each["passed"]:
            known[name] = Missed(name, day + timedelta(COMES_BACK_DAYS[0]), 0)
        elif before is not None and before.is_due(day):
            repeated = before.repeated + 1
            if repeated == len(COMES_BACK_DAYS):
                del known[name]
            else:
                known[name] = Missed(name, day + timedelta(COMES_BACK_DAYS[repeated]), repeated)
    return tuple(sorted(known.values(), key=lambda each: (each.due, each.exercise)))


def _when(told: object) -> datetime | None:
    try:
        when = datetime.fromisoformat(str(told))
        when.astimezone()  # a time at the edge of what a calendar holds cannot be turned into another zone's
    except (ValueError, OverflowError, OSError):
        return None
    return when if when.tzinfo is not None else None
