"""What an author is told: one sentence with its line for each fault, the usual slips of the pen in TOML among them."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from gainlib.errors import GainError, told
from gainlib.exercises.tables import Spec
from gainlib.storage.foreign import toml_table

__all__ = ["FileFault", "parse_text"]

SIGN = "[-+−–—]"
SEVERAL = [name for name, each in Spec.model_fields.items() if "list[" in str(each.annotation)]
SEVERAL += [f"given.{name}" for name in ("strips", "buses", "groups")]
"""What has a heading for each of its rows."""
NUMBER = rf"{SIGN}?\d+(?:\.\d+)?"


@dataclass(frozen=True)
class FileFault:
    """One thing that is wrong with a file: its line, counted from 1, where it has one, and what to do about it."""

    line: int | None
    said: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "said", told(self.said))

    @property
    def text(self) -> str:
        """The fault with its line in front."""
        return f"line {self.line}: {self.said}" if self.line else self.said


def parse_text(text: str, found: list[FileFault]) -> tuple[dict[str, Any] | None, str]:
    """The entries of a text, with the usual slips of the pen told and mended; None where that does not help."""
    with contextlib.suppress(GainError):
        return toml_table(text, "this"), text
    if "\r" in text.replace("\r\n", "\n"):
        found.append(FileFault(1, "its lines end in a carriage return alone; save it with the usual line ends."))
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    mended, open_quotes, opened = [], "", 0
    for number, line in enumerate(text.split("\n"), 1):
        said_of_it: list[str] = []
        before = open_quotes
        line, open_quotes = _mended(line, open_quotes, said_of_it.append)
        opened = number if open_quotes and not before else opened
        found += [FileFault(number, said) for said in said_of_it]
        mended.append(line)
    text = "\n".join(mended)
    try:
        return toml_table(text, "this"), text
    except GainError as fault:
        said = str(fault)
    if open_quotes:
        found.append(
            FileFault(opened, f"a text that begins here with {open_quotes} is never closed; close it with the same.")
        )
        return None, text
    at = re.search(r"\s*\(at (?:line (\d+)(?:, column \d+)?|end of document)\)\.$", said)
    line_number = int(at[1]) if at and at[1] else text.count("\n") + 1 if at else None
    lines = text.split("\n")
    if line_number and (twice := _said_before(lines, line_number)):
        found.append(FileFault(line_number, f"{twice} What stands behind it was not looked at."))
        return None, text
    quoted = lines[line_number - 1].strip()[:60] if line_number else ""
    if at:
        said = f"{said[: at.start()]}."
    if quoted:
        said = f"{said.rstrip('.')}, at {quoted!r}; look for a missing quote, comma or bracket."
    found.append(FileFault(line_number, f"{said} What stands behind it was not looked at."))
    return None, text


def _said_before(lines: list[str], number: int) -> str:
    """What of a line stands in an earlier one of its table already; empty where nothing does."""
    name = re.match(r"\s*([\w./-]+)\s*=|\s*\[([\w.]+)\]", lines[number - 1])
    for before in range(number - 1, 0, -1) if name else ():
        line = lines[before - 1]
        if name and re.match(rf"\s*({re.escape(name[1])}\s*=)" if name[1] else rf"\s*\[{re.escape(name[2])}\]", line):
            what = name[1] or f"[{name[2]}]"
            return f"{what} stands here a second time, first in line {before}; leave one of the two out."
        if name and name[1] and line.lstrip().startswith("["):
            break
    return ""


# What an author types, what to say, what was meant: for the part of a line that is no text and no comment.
_SLIPS_OF_THE_PEN: tuple[tuple[re.Pattern[str], str, Callable[[re.Match[str]], str]], ...] = (
    (
        re.compile(r"(?<=[=\[,])(\s*)[−–—]\s*(?=\d)"),
        "a long dash stands for minus; type the hyphen of the keyboard: -",
        lambda found: f"{found[1]}-",
    ),
    (
        re.compile(rf"(=\s*{SIGN}?\d{{1,3}}(?:\.\d{{3}})+),(\d+)|(=\s*{SIGN}?\d{{1,3}}(?:,\d{{3}})+)\.(\d+)"),
        "a sign for thousands stands in a number; leave it out, and write the decimals behind a point",
        lambda found: f"{re.sub('[.,]', '', found[1] or found[3])}.{found[2] or found[4]}",
    ),
    (
        re.compile(r"(=\s*)(yes|no|on|off)(?=\s*(?:[,}\]\0]|$))", re.IGNORECASE),
        "yes and no are written true and false, without quotes",
        lambda found: f"{found[1]}{'true' if found[2].lower() in ('yes', 'on') else 'false'}",
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
    (
        re.compile(rf"^(\s*)\[({'|'.join(map(re.escape, SEVERAL))})\]?(?=\s*\0?$)"),
        "there may be more than one of these, so its heading has two brackets on either side",
        lambda found: f"{found[1]}[[{found[2]}]]",
    ),
    (
        re.compile(rf"^(\s*)\[\[({'|'.join(map(re.escape, SEVERAL))})\]?(?=\s*\0?$)"),
        "a bracket is missing; its heading has two on either side",
        lambda found: f"{found[1]}[[{found[2]}]]",
    ),
    (
        re.compile(r"^(\s*[A-Za-z][\w./-]*)(?:\s*:(?=\s*\S)|\s+(?=[-\d\0]))"),
        "no equals sign stands between a name and its value; write one",
        lambda found: f"{found[1]} =",
    ),
    (
        re.compile("[\u00a0\u2007\u202f\u3000\u200b\ufeff]"),
        "a character stands here that cannot be seen, as word processors leave it; type a plain space in its place",
        lambda found: " ",
    ),
    (re.compile(r"[“”„]"), "curly quotation marks; type straight ones", lambda found: '"'),
)
_BARE_TEXT = re.compile(r"^(\s*[\w./-]+\s*=\s*)(?!true\b|false\b|inf\b|nan\b)([A-Za-z][^\"'\[\]{}#=]*?)(\s*\0?)$")


_PATH = re.compile(r'"(?:[A-Za-z]:)?[^"\n]*\\([^"\\\n]+\.\w+)"')
_BACKSLASH = re.compile(r"\\(?![btnfr\"\\uU]|$)")


def _without_backslash(text: str, tell: Callable[[str], None]) -> str:
    """A text in quotes without what is no escape of TOML; of a path the file's name alone."""
    if not _BACKSLASH.search(text):
        return text
    if path := _PATH.fullmatch(text):
        tell(f"a path from elsewhere; put the recording beside this file, and name it alone: {path[1]}")
        return f'"{path[1]}"'
    tell("a backslash stands in a text; leave it out, and in a path write / instead")
    return _BACKSLASH.sub("/", text)


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
            parts.append((True, _without_backslash(line[at:end], tell) if open_quotes[0] == '"' else line[at:end]))
            open_quotes = "" if closed else open_quotes
            at = end
            continue
        quoted = re.compile(r'"""|\'\'\'|"(?:[^"\\]|\\.)*"|\'[^\']*\'|#.*').search(line, at)
        parts.append((False, line[at : quoted.start() if quoted else len(line)]))
        if quoted is None:
            break
        if quoted[0] in ('"""', "'''"):
            open_quotes = quoted[0]
        parts.append((True, _without_backslash(quoted[0], tell) if quoted[0][0] == '"' else quoted[0]))
        at = quoted.end()
    # Texts are out of reach of the patterns, as a character that none of them knows.
    texts = [part for is_text, part in parts if is_text]
    plain = "".join("\0" if is_text else part for is_text, part in parts)
    for pattern, said, meant in _SLIPS_OF_THE_PEN:
        for slip in pattern.finditer(plain):
            want = meant(slip).strip()
            want = "" if want.endswith("=") else want if want.startswith("[[") else want.strip(" =,[")
            tell(f"{said}: {want}" if want not in ("", "-", '"') else said)
        plain = pattern.sub(meant, plain)
    bare = _BARE_TEXT.match(plain)
    if bare and not (bare[3].endswith("\0") and not texts[-1].startswith("#")):
        tell(f'a text stands without quotes; write {bare[1].strip()} "{bare[2]}".')
        plain = f'{bare[1]}"{bare[2]}"{bare[3]}'
    pieces = plain.split("\0")
    return pieces[0] + "".join(text + piece for text, piece in zip(texts, pieces[1:], strict=True)), open_quotes
