"""Dates as a teacher types them: what cannot be used is told with the date as it should stand."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

from gainlib.errors import GainError
from gainlib.storage.entry_faults import Fault, Place
from gainlib.text import describe_value

__all__ = ["date_faults", "meant_date", "typed_date", "untangled_dates"]

_HOUR = time(18)
"""What a sentence proposes where only the day was typed."""
_YEAR_FIRST = re.compile(r"(\d{4})[-./](\d{1,2})[-./](\d{1,2})")
_DAY_FIRST = re.compile(r"(\d{1,2})\s?[.]\s?(\d{1,2})\s?[.]\s?(\d{4})")
_EITHER_FIRST = re.compile(r"(\d{1,2})[-/](\d{1,2})[-/](\d{4})")
_CLOCK = re.compile(r"(?<![\d+-])(\d{1,2})[:.h](\d{2})(?::\d{2}(?:\.\d+)?)?(?!\d)")
_ENTRY = r"""(?<![\w-])({names})\s*=\s*(["']?)([^"'\n#,}}\]]*)["']?"""


def typed_date(given: str, what: str) -> datetime:
    """The moment that a text names, by this computer's clock where it has no time zone; `what` is what a sentence says.

    >>> typed_date("2027-01-15T18:00+01:00", "--due") == datetime.fromisoformat("2027-01-15T17:00Z")
    True

    Raises GainError for any other way of writing it, with the way that is wanted.
    """
    try:
        return datetime.fromisoformat(given).astimezone() if _YEAR_FIRST.match(given) else _refused(given, what)
    except (ValueError, OverflowError):
        return _refused(given, what)


def _refused(given: str, what: str) -> datetime:
    found = _meant(given)
    if isinstance(found, datetime):
        raise GainError(f"{what} is {describe_value(given)}; write {found:%Y-%m-%dT%H:%M}.")
    raise GainError(f"{what} is {describe_value(given)}{found}; give a date and a time such as 2027-01-15T18:00.")


def meant_date(given: str) -> datetime | None:
    """The moment that a text seems to mean, without a time zone; None where it could be more than one, or none.

    >>> meant_date("28.11.2026"), meant_date("3/4/2026")
    (datetime.datetime(2026, 11, 28, 18, 0), None)
    """
    found = _meant(given)
    return found if isinstance(found, datetime) else None


def _meant(given: str) -> datetime | str:
    """The moment that a text seems to mean; else what a sentence adds to it, where no calendar or clock has it."""
    text = given.strip()
    if found := _YEAR_FIRST.search(text):
        year, month, day = map(int, found.groups())
    elif found := _DAY_FIRST.search(text):
        day, month, year = map(int, found.groups())
    elif found := _EITHER_FIRST.search(text):
        first, second, year = map(int, found.groups())
        if first <= 12 and second <= 12 and first != second:
            return ""
        day, month = (first, second) if first > 12 else (second, first)
    else:
        return ""
    try:
        named = datetime.combine(date(year, month, day), time())
    except ValueError:
        return ", a day that no calendar has"
    clock = _CLOCK.search(text[found.end() :])
    hour, minute = map(int, clock.groups()) if clock else (_HOUR.hour, _HOUR.minute)
    if minute > 59 or (hour, minute) > (24, 0):
        return ", a time that no clock has"
    try:
        return named + timedelta(hours=hour, minutes=minute)  # 24:00 is the midnight after that day
    except OverflowError:
        return ""


def _told(where: str, shown: str, meant: datetime | str, day: bool = False) -> str:
    if day:
        if isinstance(meant, str):
            return f"{where} is {shown}{meant}; write year, month and day, such as 2026-11-28."
        return f"{where} is {shown}; write {meant:%Y-%m-%d}."
    if isinstance(meant, str):
        return f"{where} is {shown}{meant}; write year, month, day, time and zone, such as 2026-11-28T18:00:00+01:00."
    try:
        whole = meant.astimezone().isoformat(timespec="seconds")
    except (OverflowError, OSError, ValueError):
        return _told(where, shown, "")
    return f"{where} is {shown}; write {whole} without quotes (the end, {whole[19:]}, is this computer's time zone)."


def date_faults(value: Any, place: Place = ()) -> Iterator[Fault]:
    """Each entry `due` in a file's tables that is no moment with its time zone, with the sentence on it."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inside:
        if key != "due":
            yield from date_faults(each, (*place, key))
        elif isinstance(each, datetime) and each.tzinfo is not None:
            continue
        elif isinstance(each, date):
            meant = each if isinstance(each, datetime) else datetime.combine(each, _HOUR)
            yield (*place, key), _told("due", f"{each.isoformat()}, without a time zone", meant)
        else:
            shown = str(each) if type(each) is int and abs(each) < 10**12 else describe_value(each)
            yield (*place, key), _told("due", shown, _meant(each) if isinstance(each, str) else "")


def untangled_dates(text: str, days: Sequence[str] = ()) -> tuple[str, list[str]]:
    """A text in TOML with each date that no TOML is put right, and the sentences on them with their lines.

    Those are the entries `due`, which are moments; or the `days`, if they are given.

    >>> untangled_dates("due = 28.11.2026 18:00")[1][0][:45]
    'line 1: due is 28.11.2026 18:00; write 2026-1'
    >>> untangled_dates("assigned = 2.11.2026", days=["assigned"])[1]
    ['line 1: assigned is 2.11.2026; write 2026-11-02.']
    """
    told = []
    lines = text.split("\n")
    entry = re.compile(_ENTRY.format(names="|".join(days or ["due"])))
    for index, line in enumerate(lines):
        found = None if line.lstrip().startswith("#") else entry.search(line)
        if not found or found[2] or _is_toml(shown := found[3].strip()):
            continue
        told.append(f"line {index + 1}: {_told(found[1], shown[:40], _meant(shown), bool(days))}")
        lines[index] = f"{line[: found.start(3)]}2026-01-01T00:00:00Z{line[found.end(3) :]}"
    return "\n".join(lines), told


def _is_toml(shown: str) -> bool:
    """Whether TOML reads it as a moment or a day; TOML 1.0.0 wants the seconds as well."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\d([Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[-+]\d\d:\d\d)?)?", shown):
        return False
    try:
        datetime.fromisoformat(shown.upper())
    except ValueError:
        return isinstance(_meant(shown), datetime)  # a zone beyond all bounds: TOML's own sentence tells it
    return True
