"""Every fault of an exercise file at once, each with its line and in a teacher's words."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from gainlib.errors import nearest
from gainlib.exercises.collection import build_exercise, own_name, read_content
from gainlib.exercises.entry_faults import describe_fault
from gainlib.exercises.given import Places
from gainlib.exercises.tables import (
    KINDS,
    PLAIN,
    Spec,
    known_entries,
    number_in_quotes,
    plain_number,
    shown,
)
from gainlib.exercises.variant import Exercise

__all__ = ["Fault", "faults_of", "line_of", "lines_of"]

MOST_MENDINGS = 40
SIGN = "[-+−–—]"
NUMBER = rf"{SIGN}?\d+(?:\.\d+)?"


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with a file: its line, counted from 1, where it has one, and what to do about it."""

    line: int | None
    said: str

    @property
    def text(self) -> str:
        """The fault with its line in front."""
        return f"line {self.line}: {self.said}" if self.line else self.said


def faults_of(file: Path, name: str = "") -> tuple[Exercise | None, tuple[Fault, ...], dict[Places, int]]:
    """The exercise if its file is without fault, else None and all faults; and the line of each entry.

    What can be guessed (a comma for a point, a unit behind a number, a wrong name with a near one) is told and then
    read as it was meant, so that the faults behind it are found in the same run. The file itself is not changed.
    Raises GainError for a file that cannot be read at all.
    """
    text = read_content(file)
    found: list[Fault] = []
    entries, text = _parsed(text, found)
    if entries is None:
        return None, tuple(found), {}
    lines = lines_of(text)
    kind = entries.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        near = nearest(str(kind)[:80], KINDS)
        said = "the entry kind is missing; known are " + ", ".join(KINDS) + "."
        found.append(Fault(line_of(lines, ("kind",)), f"kind is {shown(kind)}; {near}" if kind is not None else said))
        entries["kind"] = near.removeprefix("did you mean ").removesuffix("?")
        if entries["kind"] not in KINDS:
            return None, _in_order(found), lines
    unsure: set[Places] = set()
    spec = _shaped(entries, lines, found, unsure)
    if spec is None:
        return None, _in_order(found), lines
    exercise, senseless = build_exercise(name or own_name(file), file, spec, text.encode())
    found += [
        Fault(line_of(lines, place), said)
        for place, said in senseless
        if not any(each[: len(place)] == place for each in unsure)  # what follows from a fault that is told already
    ]
    return None if found else exercise, _in_order(found), lines


def line_of(lines: dict[Places, int], place: Places) -> int | None:
    """The line of an entry, or of the nearest one around it that the file has.

    >>> line_of({("checks", 0): 3}, ("checks", 0, "reads"))
    3
    """
    while place and place not in lines:
        place = place[:-1]
    return lines.get(place)


def lines_of(text: str) -> dict[Places, int]:
    """The line of each entry of a TOML text that is sound, by its place.

    >>> lines_of('a = [1,\\n 2]\\n[[b]]\\nc.d = "x"')[("b", 0, "c", "d")]
    4
    """
    return _Scan(text).lines


def _in_order(found: list[Fault]) -> tuple[Fault, ...]:
    unlike = dict.fromkeys(found)
    return tuple(sorted(unlike, key=lambda fault: fault.line or 10**6))


# --- the text ---


def _parsed(text: str, found: list[Fault]) -> tuple[dict[str, Any] | None, str]:
    """The entries of a text, with the usual slips of the pen told and mended; None where that does not help."""
    try:
        return tomllib.loads(text), text
    except (tomllib.TOMLDecodeError, RecursionError):
        pass
    mended, open_quotes = [], ""
    for number, line in enumerate(text.split("\n"), 1):
        said_of_it: list[str] = []
        line, open_quotes = _mended(line, open_quotes, said_of_it.append)
        found += [Fault(number, said) for said in said_of_it]
        mended.append(line)
    text = "\n".join(mended)
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as fault:
        reason = str(fault)
        at = re.search(r"\s*\(at (?:line (\d+), column \d+|end of document)\)", reason)
        plain = reason[: at.start()] if at else reason
        line_number = int(at[1]) if at and at[1] else text.count("\n") + 1 if at else None
        plain = plain.rstrip(".")
        quoted = text.split("\n")[line_number - 1].strip()[:60] if line_number else ""
        said = f"this is not valid TOML: {plain[0].lower()}{plain[1:]}"
        said += f", at {quoted!r}; look for a missing quote, comma or bracket." if quoted else "."
    except RecursionError:
        line_number, said = None, "this is not valid TOML: nested too deep."
    found.append(Fault(line_number, f"{said} What stands behind it was not looked at."))
    return None, text


# What an author types, what to say, what was meant: for the part of a line that is no text and no comment.
_SLIPS_OF_THE_PEN: tuple[tuple[re.Pattern[str], str, Callable[[re.Match[str]], str]], ...] = (
    (
        re.compile(r"(?<=[=\[,])(\s*)[−–—]\s*(?=\d)"),
        "a long dash stands for minus; type the hyphen of the keyboard: -",
        lambda found: f"{found[1]}-",
    ),
    (
        re.compile(rf"(=\s*{SIGN}?\d+),(\d+)(?=\s*[A-Za-z%]*\s*(?:[,}}\]\0]|$))"),
        "a comma stands in a number; write its decimals behind a point",
        lambda found: f"{found[1]}.{found[2]}",
    ),
    (
        re.compile(rf"(=\s*{NUMBER})\s*(?!e[-+\d])[A-Za-z%]+"),
        "a unit stands behind a number; leave the unit out, it belongs in the name",
        lambda found: found[1],
    ),
    (re.compile(r"[“”„]"), "curly quotation marks; type straight ones", lambda found: '"'),
)
_BARE_TEXT = re.compile(r"^(\s*[\w./-]+\s*=\s*)(?!true\b|false\b|inf\b|nan\b)([A-Za-z][^\"'\[\]{}#=]*?)(\s*\0?)$")


def _mended(line: str, open_quotes: str, tell: Callable[[str], None]) -> tuple[str, str]:
    """One line with the slips of the pen told and mended; and the quotes that are still open at its end."""
    if "“" in line and not open_quotes and '"' not in line:
        tell(f"{_SLIPS_OF_THE_PEN[-1][1]}, in {line.strip()[:60]}")
        line = re.sub(r"[“”„]", '"', line)
    if "\0" in line:
        return line, open_quotes  # no text at all, which the reader of TOML says
    parts: list[tuple[bool, str]] = []  # whether it is text or comment, and the characters
    at = 0
    while at < len(line):
        if open_quotes:
            end = line.find(open_quotes, at)
            end = len(line) if end < 0 else end + len(open_quotes)
            closed = line[at:end].endswith(open_quotes)
            parts.append((True, line[at:end]))
            open_quotes = "" if closed else open_quotes
            at = end
            continue
        quoted = re.compile(r'"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*').search(line, at)
        parts.append((False, line[at : quoted.start() if quoted else len(line)]))
        if quoted is None:
            break
        if quoted[0] in ('"""', "'''"):
            open_quotes = quoted[0]
        parts.append((True, quoted[0]))
        at = quoted.end()
    # Texts are out of reach of the patterns, as a character that none of them knows.
    texts = [part for is_text, part in parts if is_text]
    plain = "".join("\0" if is_text else part for is_text, part in parts)
    for pattern, said, meant in _SLIPS_OF_THE_PEN:
        for slip in pattern.finditer(plain):
            want = meant(slip).strip(" =,[")
            tell(f"{said}: {want}" if want not in ("-", '"') else said)
        plain = pattern.sub(meant, plain)
    bare = _BARE_TEXT.match(plain)
    if bare and not (bare[3].endswith("\0") and not texts[-1].startswith("#")):
        tell(f'a text stands without quotes; write {bare[1].strip()} "{bare[2]}".')
        plain = f'{bare[1]}"{bare[2]}"{bare[3]}'
    pieces = plain.split("\0")
    return pieces[0] + "".join(text + piece for text, piece in zip(texts, pieces[1:], strict=True)), open_quotes


class _Scan:
    """Walks once over a sound TOML text and notes the line of each key and each list item."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.lines: dict[Places, int] = {}
        self.lists: dict[Places, int] = {}
        prefix: Places = ()
        while self._skip():
            if self.text.startswith("[[", self.at):
                self.at += 2
                prefix = self._under(self._key())
                self.lists[prefix] = self.lists.get(prefix, -1) + 1
                prefix = (*prefix, self.lists[prefix])
                self._note(prefix)
                self.at = self.text.index("]]", self.at) + 2
            elif self.text[self.at] == "[":
                self.at += 1
                prefix = self._under(self._key())
                self._note(prefix)
                self.at = self.text.index("]", self.at) + 1
            else:
                self._pair(prefix)

    def _under(self, key: Places) -> Places:
        """The key of a header, the last item put in where a list of tables is on the way."""
        place: Places = ()
        for index, part in enumerate(key):
            place = (*place, part)
            if place in self.lists and index + 1 < len(key):
                place = (*place, self.lists[place])
        return place

    def _note(self, place: Places) -> None:
        line = self.text.count("\n", 0, self.at) + 1
        for end in range(1, len(place) + 1):
            self.lines.setdefault(place[:end], line)

    def _skip(self) -> bool:
        """Go to the next character that says something; False at the end."""
        found = re.compile(r"(?:\s|#[^\n]*)*").match(self.text, self.at)
        self.at = found.end() if found else self.at
        return self.at < len(self.text)

    def _key(self) -> Places:
        parts: list[str] = []
        while True:
            self._skip()
            if self.text[self.at] in "\"'":
                start = self.at
                self._value(())
                parts.append(next(iter(tomllib.loads(f"{self.text[start : self.at]} = 1"))))
            else:
                bare = re.compile(r"[A-Za-z0-9_-]*").match(self.text, self.at)
                assert bare is not None
                parts.append(bare[0])
                self.at = bare.end()
            self._skip()
            if self.at >= len(self.text) or self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _pair(self, prefix: Places) -> None:
        self._skip()
        start = self.at
        place = (*prefix, *self._key())
        self.at, after = start, self.at
        self._note(place)
        self.at = self.text.index("=", after) + 1
        self._skip()
        self._value(place)

    def _value(self, place: Places) -> None:
        rest = self.text[self.at]
        if rest in "{[":
            close, index = {"{": "}", "[": "]"}[rest], 0
            self.at += 1
            while self._skip() and self.text[self.at] != close:
                if rest == "{":
                    self._pair(place)
                else:
                    self._note((*place, index))
                    self._value((*place, index))
                    index += 1
                if self._skip() and self.text[self.at] == ",":
                    self.at += 1
            self.at += 1
            return
        forms = r'"""(?:[^\\]|\\.)*?"{3,5}|\'\'\'.*?\'{3,5}|"(?:[^"\\]|\\.)*"|\'[^\']*\'|[^,\]}\n#]*'
        found = re.compile(forms, re.DOTALL).match(self.text, self.at)
        assert found is not None
        self.at = found.end()


# --- the shape ---


def _shaped(entries: dict[str, Any], lines: dict[Places, int], found: list[Fault], unsure: set[Places]) -> Spec | None:
    """The entries as a spec; what is wrong with their shape is told, and mended where it is plain what was meant.

    Where it is not, something that is allowed stands in, and the place is noted as unsure.
    """
    told_of: set[Places] = set()
    for _ in range(MOST_MENDINGS):
        try:
            return Spec.model_validate(entries)
        except ValidationError as fault:
            faults = fault.errors()
        mended = False
        elsewhere = {each["loc"][-1] for each in faults if each["type"] == "extra_forbidden" and len(each["loc"]) > 1}
        renamed: set[Places] = set()
        for each in faults:
            place: Places = tuple(each["loc"])
            if each["type"] == "extra_forbidden":
                near = nearest(str(place[-1]), known_entries(place[:-1]))
                renamed.add((*place[:-1], near.removeprefix("did you mean ").removesuffix("?")))
        for each in faults:
            place = tuple(each["loc"])
            missing = each["type"] == "missing"
            if missing and (place in renamed or (len(place) == 1 and place[0] in elsewhere)):
                continue  # it is there under a wrong name or in a wrong place, which is told already
            if place not in told_of:
                told_of.add(place)
                at = line_of(lines, place[:-1] if missing else place)
                found.append(Fault(at, describe_fault(each)))
            mended = _as_meant(entries, place, each, unsure) or mended
        if not mended:
            return None
    return None


def _as_meant(entries: dict[str, Any], place: Places, fault: Any, unsure: set[Places]) -> bool:
    """Change the entries to what was probably meant, or to what is allowed there; False where neither is known."""
    if fault["type"] != "extra_forbidden" and place[-1] in ("base", PLAIN):
        place = place[:-1]  # a number or a text that stands for a whole table
    *way, last = place
    owner: Any = entries
    for part in way:
        try:
            owner = owner[part]
        except (KeyError, IndexError, TypeError):
            return False
    if fault["type"] == "extra_forbidden" and isinstance(owner, dict) and last in owner:
        value = owner.pop(last)
        if way and last in known_entries(()):
            entries.setdefault(str(last), value)
            return True
        near = nearest(str(last), known_entries(tuple(way)))
        if near.startswith("did you mean "):
            owner.setdefault(near.removeprefix("did you mean ").removesuffix("?"), value)
        else:
            unsure.add(place)
        return True
    given = fault.get("input")
    if isinstance(given, str) and number_in_quotes(given) and fault["type"] in ("float_type", "int_type", "model_type"):
        number = plain_number(given)
        whole = fault["type"] == "int_type"
        if not (whole and "." in number):
            owner[last] = int(number) if whole else float(number)
            return True
    allowed = _allowed(fault)
    if allowed is None or "[key]" in place:
        return False
    owner[last] = allowed
    unsure.add(place)
    return True


def _allowed(fault: Any) -> Any:
    """A value that stands in for one that is not allowed, so that the search goes on; None where there is none."""
    context = fault.get("ctx", {})
    if fault["type"] in ("greater_than_equal", "less_than_equal"):
        bound = context.get("ge", context.get("le"))
        return bound if isinstance(fault["input"], int) and float(bound).is_integer() else float(bound)
    if fault["type"] == "greater_than":
        return context["gt"] + 1.0
    if fault["type"] == "literal_error":
        return str(context["expected"]).split(",")[0].split(" or ")[0].strip(" '")
    return {"string_type": "-", "string_too_short": "-", "float_type": 1.0, "int_type": 1}.get(fault["type"])
