"""The one reader of TOML and the one of JSON: what anybody's file holds, or one sentence on why it cannot be used."""

from __future__ import annotations

import json
import math
import os
import re
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeGuard

from gainlib.errors import GainError
from gainlib.text import describe_value, path_text, reason_of

__all__ = [
    "LARGEST_NOTEBOOK_BYTES",
    "Place",
    "decoded",
    "describe_place",
    "is_number",
    "json_value",
    "read_bytes",
    "read_json",
    "read_text",
    "read_toml",
    "toml_table",
]

Place = tuple[str | int, ...]
"""Where an entry stands in a file, such as `("checks", 0, "reads")`."""
LARGEST_NOTEBOOK_BYTES = 64 * 1024 * 1024
DEEPEST = 64
"""How many tables and rows may stand in each other; no file of the course has ten."""
WIDEST_INTEGER = 2**63
"""*Published*: TOML 1.0.0 has integers of 64 bits; in JSON (RFC 8259, 6) no program need read more."""

# The reader of TOML takes the square of a dotted key's parts, which makes minutes of a file within its bound.
_MANY_PARTS = re.compile(rf"""(?<![\w-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){{{DEEPEST}}}""")
_LONG_NUMBER = re.compile(r"[0-9][0-9_]{999}")


def read_text(path: str | os.PathLike[str], most_bytes: int, kind: str) -> str:
    """The text of a file in UTF-8, with its line ends as they are and without a mark; as `read_bytes`.

    Raises GainError for what is no such text.
    """
    return decoded(read_bytes(path, most_bytes, kind), Path(path).name, most_bytes, kind)


def read_bytes(path: str | os.PathLike[str], most_bytes: int, kind: str) -> bytes:
    """The bytes of a file of at most so many.

    `kind` is what the file should be, such as "an exercise". Raises GainError for what is not there, is no file, cannot
    be read, or is larger.

    >>> import tempfile
    >>> read_bytes(tempfile.mkdtemp() + "/list.toml", 1000, "a list")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: .../list.toml is not there; check the name and the folder.
    """
    try:
        if not stat.S_ISREG(os.stat(path).st_mode):  # a pipe would be waited for
            raise GainError(f"{path_text(path)} cannot be read as {kind}, since it is no file; check the name.")
        with open(path, "rb") as file:
            return _of_size(file.read(most_bytes + 1), Path(path).name, most_bytes, kind)
    except FileNotFoundError as fault:
        raise GainError(f"{path_text(path)} is not there; check the name and the folder.") from fault
    except (OSError, ValueError) as fault:  # a ValueError is a name that no file can have
        if isinstance(fault, GainError):
            raise
        raise GainError(
            f"{path_text(path)} cannot be read ({reason_of(fault)}); check the name and the folder."
        ) from fault


def _of_size(content: bytes, name: str, most_bytes: int, kind: str) -> bytes:
    if len(content) > most_bytes:
        most = f"{most_bytes // 1024**2} MB" if most_bytes >= 1024**2 else f"{most_bytes // 1024} kB"
        raise GainError(f"{name} is larger than {most}, the most that {kind} may have.")
    return content


def decoded(content: bytes, name: str, most_bytes: int, kind: str) -> str:
    """The text of these bytes, as `read_text` has it."""
    try:
        return _of_size(content, name, most_bytes, kind).decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise GainError(f"{name} is not UTF-8 text (byte {fault.start}); save it as UTF-8.") from fault


def read_toml(path: str | os.PathLike[str], most_bytes: int, kind: str) -> dict[str, Any]:
    """The entries of a TOML file; as `read_text` and `toml_table`."""
    return toml_table(read_text(path, most_bytes, kind), Path(path).name)


def toml_table(text: str, name: str) -> dict[str, Any]:
    """The entries of a text in TOML; `name` is what a sentence calls it. Raises GainError where they cannot be used.

    That is for what is no TOML, is nested deeper than 64 tables and rows, or holds a whole number of more than 64 bits
    or one beyond floating point. `nan` and `inf` are words of TOML, so they stay for the entry's own check.

    >>> toml_table("gain_db = -3.0", "it"), toml_table("gain_db = 1e400", "it")
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: it holds a number beyond all bounds: 1e400.
    """
    try:
        if _MANY_PARTS.search(text):
            raise RecursionError
        found = tomllib.loads(text, parse_float=lambda number: _in_bounds(number, name))
    except RecursionError as fault:
        raise GainError(f"{name} is not valid TOML: nested too deep.") from fault
    except tomllib.TOMLDecodeError as fault:
        reason = str(fault).rstrip(".")
        raise GainError(f"{name} is not valid TOML: {reason[0].lower()}{reason[1:]}.") from fault
    except ValueError as fault:
        raise _long_number(fault, text, name) from fault
    _require_usable(found, name, f"{name} is not valid TOML: nested too deep.")
    return found


def read_json(path: str | os.PathLike[str], most_bytes: int, kind: str) -> Any:
    """What a JSON file holds; as `read_text` and `json_value`."""
    return json_value(read_text(path, most_bytes, kind), Path(path).name)


def json_value(text: str, name: str = "it") -> Any:
    """What a text in JSON holds; `name` is what a sentence calls it. Raises GainError where it cannot be used.

    That is for what is no JSON (RFC 8259, so neither NaN nor Infinity), has an entry twice, is nested deeper than 64
    objects and rows, holds a whole number of more than 64 bits or one beyond floating point, or half a character.

    >>> json_value('{"points": NaN}')
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: it holds NaN, which is no number.
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        table = dict(pairs)
        if len(table) < len(pairs):
            rest = iter(table)
            twice = next(key for key, _ in pairs if key != next(rest, None))
            raise GainError(f"the entry {describe_value(twice)} is there twice in {name}.")
        return table

    def no_number(word: str) -> Any:
        raise GainError(f"{name} holds {word}, which is no number.")

    if not text.strip():
        raise GainError(f"{name} is empty.")
    try:
        found = json.loads(
            text,
            parse_constant=no_number,
            parse_float=lambda number: _in_bounds(number, name),
            object_pairs_hook=once,
        )
    except RecursionError as fault:
        raise GainError(f"{name} is nested too deep.") from fault
    except json.JSONDecodeError as fault:
        raise GainError(f"{name} is cut off or not JSON (line {fault.lineno}).") from fault
    except ValueError as fault:
        raise _long_number(fault, text, name) from fault
    _require_usable(found, name, f"{name} is nested too deep.")
    return found


def _in_bounds(number: str, name: str) -> float:
    """A number with a point or an exponent; refused where it is written in digits and beyond floating point."""
    value = float(number)
    if math.isinf(value) and "inf" not in number:
        raise GainError(f"{name} holds a number beyond all bounds: {number[:20]}{'…' if len(number) > 20 else ''}.")
    return value


def _long_number(fault: ValueError, text: str, name: str) -> GainError:
    """What Python says of a whole number of thousands of digits."""
    if isinstance(fault, GainError):
        return fault
    long = _LONG_NUMBER.search(text)
    line = f" (at line {text.count(chr(10), 0, long.start()) + 1})" if long else ""
    return GainError(f"{name} holds a number beyond all bounds{line}.")


def _require_usable(found: Any, name: str, too_deep: str) -> None:
    """Refuse what a later reader would stumble over, without a call for each level."""
    level: list[Any] = [found]
    usable = True
    for _ in range(DEEPEST + 1):
        below: list[Any] = []
        for value in level:
            if isinstance(value, dict):
                below += value
                below += value.values()
            elif isinstance(value, list):
                below += value
            elif _fault_of(value):
                usable = False
        level = below
    if level:
        raise GainError(too_deep)
    if not usable:
        place, said = next(_faults_in(found, ()))
        raise GainError(f"{name} holds {said}{f' ({where})' if (where := describe_place(place)) else ''}.")


def _fault_of(value: Any) -> str:
    """What is wrong with a text or a number; empty where nothing is."""
    if isinstance(value, str):
        # Half of a pair of UTF-16 stands alone in it, which no file can hold and no screen show.
        half = not value.isascii() and any("\ud800" <= each <= "\udfff" for each in value)
        return f"half a character: {describe_value(value)}" if half else ""
    beyond = type(value) is int and not -WIDEST_INTEGER <= value < WIDEST_INTEGER
    return "a number beyond all bounds" if beyond else ""


def _faults_in(value: Any, place: Place) -> Iterator[tuple[Place, str]]:
    """Each fault with its place, in a value that is nested no deeper than is allowed."""
    if isinstance(value, dict | list):
        for key, each in value.items() if isinstance(value, dict) else enumerate(value):
            if said := _fault_of(key):
                yield place, said
            yield from _faults_in(each, (*place, key))
    elif said := _fault_of(value):
        yield place, said


def is_number(value: object) -> TypeGuard[float]:
    """Whether a value is a number; a switch is none.

    >>> is_number(3), is_number(0.5), is_number(True), is_number("3")
    (True, True, False, False)
    """
    return isinstance(value, int | float) and not isinstance(value, bool)


def describe_place(place: Place) -> str:
    """Where an entry stands, in words; empty for the whole of a file.

    >>> describe_place(("checks", 0, "reads"))
    'reads of check 1'
    """
    parts: list[str] = []
    for part in place:
        if isinstance(part, int) and not parts:
            parts.append(f"row {part + 1}")
        elif isinstance(part, int):
            one = "bus" if parts[-1] == "buses" else parts[-1].removesuffix("s")
            parts[-1] = f"{one} {part + 1}"
        elif part != "[key]":
            parts.append(str(part))
    return " of ".join(reversed(parts))
