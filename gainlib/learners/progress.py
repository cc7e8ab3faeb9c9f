"""The learner's record: who it is in one JSON file, and beside it every attempt as a line that is only ever added."""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Variant, Verdict
from gainlib.learners.course_folder import course_folder
from gainlib.storage import append_line, atomic_write, given_path, held_alone
from gainlib.storage.foreign import json_value
from gainlib.text import counted, describe_value, printable, reason_of

__all__ = ["Progress"]

FILE = "progress.json"
ATTEMPTS = "attempts.jsonl"
LOCK = ".progress.lock"
SCHEMA = "gainlib progress"
VERSION = 1
UNSAVED = "unsaved"
LONGEST_TEXT = 200
MOST_IN_A_ROW = 1000


@dataclass(frozen=True)
class Progress:
    """One learner's id, name and attempts, kept in `progress.json` and `attempts.jsonl` of the learner's folder.

    `note` says what the learner should know about the files, such as a damaged one that was set aside; it is empty
    when all is well.

    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> Progress.at(folder).learner_id == Progress.at(folder).learner_id
    True
    """

    file: Path
    learner_id: str
    learner_name: str = ""
    attempts: tuple[dict[str, Any], ...] = ()
    note: str = ""
    _own: str = field(default_factory=lambda: secrets.token_hex(4), repr=False, compare=False)

    @classmethod
    def here(cls) -> Progress:
        """The progress of the learner's folder that the current folder lies in, else of the current folder.

        A new file is made where there is none. Nothing is raised: where the folder cannot be written to, `note` says
        so, and the id is one that everybody shares who cannot save.
        """
        return cls.at(course_folder() or _here())

    @classmethod
    def at(cls, folder: str | os.PathLike[str], *, name: str = "", make: bool = True) -> Progress:
        """The progress kept in this folder; made, with a new id and this name, where there is none.

        With `make=False` nothing is made, and the id is empty where there is no file. Raises GainError for a name that
        no folder can have.
        """
        home = given_path(folder)
        found = _found(home)
        if make and not found.closed and (found.damaged or found.lacks(name)):
            with held_alone(home / LOCK) as why:
                found = _mended(home, alone=not why)
                if not found.closed and found.lacks(name):
                    made = replace(found, learner_id=found.learner_id or secrets.token_hex(16), name=name or found.name)
                    try:
                        _write(home, made, then=", so nothing is kept; work in a folder of your own")
                        found = made
                    except GainError as fault:
                        found = replace(made, learner_id=found.learner_id or UNSAVED, note=str(fault))
        return cls(home / FILE, found.learner_id, found.name, (*found.earlier, *found.attempts), found.note)

    def best(self, exercise: str) -> tuple[float, float] | None:
        """The most points that any attempt at this exercise got, and out of how many; None for no attempt."""
        scores = [(each["points"], each["out_of"]) for each in self.attempts if each["exercise"] == exercise]
        return max(scores) if scores else None

    def passed(self, exercise: str) -> bool:
        """Whether any attempt at this exercise passed."""
        return any(each["passed"] for each in self.attempts if each["exercise"] == exercise)

    def attempts_at(self, variant: Variant, draw: int = 0) -> list[dict[str, Any]]:
        """The attempts at this very exercise with these very numbers, the earliest first."""
        values = _kept(variant.values)
        sought = (variant.exercise.name, variant.exercise.digest, values, draw)
        keys = ("exercise", "exercise_digest", "values")
        return [each for each in self.attempts if (*(each.get(key) for key in keys), each.get("draw", 0)) == sought]

    def record(
        self,
        variant: Variant,
        answer: object,
        verdict: Verdict,
        hints_used: int = 0,
        *,
        draw: int = 0,
        pointed: bool = True,
    ) -> str:
        """Keep an attempt; gives a sentence that says what was saved and where, or why nothing could be.

        What was told as saved stays, whoever else writes to the folder. Nothing is raised, whatever the answer is and
        whatever the disk does. `draw` counts the fresh numbers that the exercise book drew for this exercise; 0 are the
        learner's own. The sentence tells the points where `pointed`.
        """
        try:
            attempt: dict[str, Any] = {
                "exercise": variant.exercise.name,
                "exercise_digest": variant.exercise.digest,
                "values": dict(variant.values),
                "answer": _kept(answer),
                "points": float(verdict.points),
                "out_of": float(verdict.out_of),
                "passed": bool(verdict.passed),
                "hints_used": hints_used if isinstance(hints_used, int) else 0,
                "time": datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
            }
            points = f", {verdict.points:g} of {verdict.out_of:g} points" if pointed else ""
            return self._recorded({**attempt, "draw": draw} if draw else attempt, points)
        except Exception as fault:  # a check goes on, whatever the machine does; what could not be saved is told
            return f"Not saved: {printable(self.file.parent)} cannot be used ({reason_of(fault)})."

    def _recorded(self, attempt: dict[str, Any], points: str) -> str:
        home = self.file.parent
        line = _line(attempt)
        with held_alone(home / LOCK) as why:
            # Another notebook may have written since this one read who the learner is.
            found = _head(home)
            if found.damaged:
                found = _mended(home, alone=not why)
            if found.closed:
                return f"Not saved: {found.note}"
            note = f"{found.note} " if found.note else ""
            # Where nobody can be kept from writing meanwhile, each has a file of its own to add to.
            file = home / (f"attempts-{self._own}.jsonl" if why else ATTEMPTS)
            try:
                if not found.learner_id:
                    own = secrets.token_hex(16) if self.learner_id == UNSAVED else self.learner_id
                    _write(home, replace(found, learner_id=own, name=self.learner_name), then=_ELSEWHERE)
                append_line(file, line, private=True, then=_ELSEWHERE)
            except GainError as fault:
                return f"{note}Not saved: {fault}"
            name = attempt["exercise"]
            count = sum(each["exercise"] == name for each in found.earlier) + _count(home, name)
        alone = f" This folder cannot be locked ({why}), so this notebook keeps a file of its own there." if why else ""
        return f"{note}Saved: attempt {count}{points}.{alone}"


def _here() -> Path:
    try:
        return Path.cwd()
    except OSError:  # the folder was removed behind the notebook's back
        return Path()


_ELSEWHERE = "; work in a folder of your own"


@dataclass(frozen=True)
class _Found:
    """What stands in a folder: `earlier` are the attempts in FILE itself, where gainlib 0.1 kept them.

    `damaged` tells which files cannot be used as they are; where `closed`, nothing may be written.
    """

    learner_id: str = ""
    name: str = ""
    earlier: tuple[dict[str, Any], ...] = ()
    attempts: tuple[dict[str, Any], ...] = ()
    note: str = ""
    damaged: tuple[Path, ...] = ()
    closed: bool = False

    def lacks(self, name: str) -> bool:
        """Whether there is nobody yet, or one who is called otherwise."""
        return not self.learner_id or name not in ("", self.name)


def _head(home: Path) -> _Found:
    """Who the learner is, and what gainlib 0.1 kept beside; the attempts since are not looked at."""
    file = home / FILE
    try:
        return _who(file, _bytes(file)) if file.exists() else _Found()
    except OSError as fault:
        return _unreadable(file, fault)


def _found(home: Path) -> _Found:
    """What the files hold, as far as it can be read; nothing is written."""
    found = _head(home)
    attempts: list[dict[str, Any]] = []
    damaged = list(found.damaged)
    files = [] if found.closed else _files(home)
    for file in files:
        try:
            read, broken = _read_lines(_bytes(file))
        except OSError as fault:
            return _unreadable(file, fault, found)
        attempts += read
        damaged += [file] if broken else []
    if len(files) > 1:
        attempts.sort(key=lambda each: str(each.get("time", "")))
    note = found.note or (f"A part of {damaged[0].name} cannot be read." if damaged else "")
    return replace(found, attempts=tuple(attempts), damaged=tuple(damaged), note=note)


def _unreadable(file: Path, fault: OSError, found: _Found = _Found()) -> _Found:
    note = f"{printable(file)} cannot be read ({reason_of(fault)}), so nothing is kept here{_ELSEWHERE}."
    return replace(found, learner_id=found.learner_id or UNSAVED, note=note, closed=True)


def _files(home: Path) -> list[Path]:
    """The files of attempts: the one for all, and those of notebooks that could not lock it."""
    return [each for each in sorted(home.glob("attempts*.jsonl")) if _OURS.fullmatch(each.name)]


def _count(home: Path, exercise: str) -> int:
    """How many attempts at an exercise stand in the files, told by how their lines begin: a check reads no more."""
    begin = _line({"exercise": exercise})[:-1].encode("utf-8") + b","
    contents = [_bytes(file) for file in _files(home)]
    return sum(each.startswith(begin) + each.count(b"\n" + begin) for each in contents)


_OURS = re.compile(r"attempts(-[0-9a-f]{8})?\.jsonl")


def _bytes(file: Path) -> bytes:
    if not file.is_file():  # a pipe would never end
        raise OSError("it is no file")
    return file.read_bytes()


def _who(file: Path, content: bytes) -> _Found:
    """The learner of `progress.json`, and the attempts that an earlier gainlib kept in it."""
    try:
        held = json_value(content.decode("utf-8"))
        learner = held["learner"]
        if held["schema"] != SCHEMA or not isinstance(learner["id"], str) or not learner["id"]:
            raise ValueError
        if held["version"] > VERSION:
            newer = f"{printable(file)} was written by a newer gainlib, so nothing is saved; update gainlib to go on."
            return _Found(learner["id"], str(learner.get("name", "")), note=newer, closed=True)
        attempts = tuple(_attempt(each) for each in held["attempts"])
        return _Found(learner["id"], str(learner["name"]), attempts)
    except _UNUSABLE:
        return _salvaged(file, content.decode("utf-8", "replace"))


def _salvaged(file: Path, text: str) -> _Found:
    """What can still be read of a damaged `progress.json`: the learner's id and name, and each attempt on its own."""
    saved = re.search(r'"id":\s*"([0-9a-f]{32})"', text)
    named = re.search(r'"id":\s*"[0-9a-f]{32}",\s*"name":\s*("(?:[^"\\]|\\.){0,200}")', text)
    name = ""
    if named:
        with contextlib.suppress(ValueError):
            name = _sound(json.loads(named[1]))
    attempts, broken, at = [], 0, 0
    while broken < _MOST_BROKEN and (begun := _BEGUN.search(text, at)):
        try:
            entry, at = _LAX.raw_decode(text, begun.start())
            attempts.append(_cleaned(entry))
        except _UNUSABLE:
            broken += 1
            at = max(at, begun.end())
    return _Found(saved[1] if saved else "", name, tuple(attempts), damaged=(file,))


_LAX = json.JSONDecoder()
_BEGUN = re.compile(r'\{\s*"exercise"\s*:')
_MOST_BROKEN = 1000


def _read_lines(content: bytes) -> tuple[list[dict[str, Any]], int]:
    """The attempts in a file of lines, and how many lines hold none that can be used as it is."""
    lines = [line for line in content.split(b"\n") if line.strip()]
    with contextlib.suppress(*_UNUSABLE):  # all at once where all is well, which takes half the time
        read = [_attempt(each) for each in json_value(f"[{b','.join(lines).decode('utf-8')}]")]
        if len(read) == len(lines):
            return read, 0
    read, broken = [], 0
    for line in lines:
        try:
            read.append(_attempt(json_value(line.decode("utf-8"))))
        except _UNUSABLE:
            broken += 1
            with contextlib.suppress(*_UNUSABLE):
                read.append(_cleaned(_LAX.decode(line.decode("utf-8", "replace"))))
    return read, broken


def _mended(home: Path, *, alone: bool) -> _Found:
    """What the files hold, when what is damaged was set aside and what can be read of it has taken its place.

    Where another could write meanwhile, a file of attempts is left as it is, since what is added would be lost.
    """
    found = _found(home)
    for file in found.damaged:
        if file.name != FILE and not alone:
            continue
        content = _bytes(file)
        aside = _beside(file)
        try:
            atomic_write(aside, content, private=True)
        except GainError as fault:
            note = f"{printable(file)} is damaged and cannot be set aside ({fault})"
            closed = file.name == FILE
            return replace(found, learner_id=found.learner_id or UNSAVED, note=note, closed=closed, damaged=())
        good = found.earlier if file.name == FILE else _read_lines(content)[0]
        note = f"{file.name} was damaged; it is kept as {aside.name}, and {_goes_on(len(good))}."
        found = replace(found, note=note)
        with contextlib.suppress(GainError):
            if file.name != FILE:
                atomic_write(file, "".join(f"{_line(each)}\n" for each in good), private=True)
            elif found.learner_id:  # without an id the caller makes one, and writes the file
                _write(home, found)
    return replace(found, damaged=())


def _goes_on(count: int) -> str:
    return (
        f"{counted(count, 'attempt')} that can be read in it {'goes' if count == 1 else 'go'} on"
        if count
        else "a new one was begun"
    )


def _beside(file: Path) -> Path:
    """A free name that tells of the damaged file."""
    stamp, count = datetime.now(UTC).strftime("%Y-%m-%d %H.%M.%S"), 1
    while (
        aside := file.with_name(f"{file.stem} (damaged, kept {stamp}{f', {count}' if count > 1 else ''}){file.suffix}")
    ).exists():
        count += 1
    return aside


def _write(home: Path, found: _Found, then: str = "") -> None:
    """Write who the learner is, with the attempts that stand there already."""
    content = {
        "schema": SCHEMA,
        "version": VERSION,
        "learner": {"id": found.learner_id, "name": _sound(found.name)},
        "attempts": list(found.earlier),
    }
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    atomic_write(home / FILE, text, private=True, then=then)


def _line(attempt: Mapping[str, Any]) -> str:
    return json.dumps(attempt, ensure_ascii=False, allow_nan=False)


_UNUSABLE = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)


def _attempt(entry: Any) -> dict[str, Any]:
    """An attempt as it was written, refused where a later reader would stumble."""
    if not isinstance(entry["exercise"], str) or not isinstance(entry["passed"], bool):
        raise ValueError
    if not all(isinstance(entry[name], int | float) and math.isfinite(entry[name]) for name in ("points", "out_of")):
        raise ValueError
    return dict(entry)


def _cleaned(entry: Any) -> dict[str, Any]:
    """What can be kept of an attempt that holds what no file can: a number that is none, half a sign."""
    whole = _attempt(entry)
    hints, draw = whole.get("hints_used"), whole.get("draw")
    kept = {
        "exercise": _sound(whole["exercise"]),
        "exercise_digest": _plain(whole.get("exercise_digest", "")),
        "values": _kept(whole.get("values", {})),
        "answer": _kept(whole.get("answer", {})),
        "points": float(whole["points"]),
        "out_of": float(whole["out_of"]),
        "passed": whole["passed"],
        "hints_used": hints if isinstance(hints, int) and 0 <= hints < 1000 else 0,
        "time": _plain(whole.get("time", "")),
    }
    return {**kept, "draw": draw} if isinstance(draw, int) and 0 < draw < 10**9 else kept


def _kept(answer: object) -> Any:
    """An answer as JSON can hold it: numbers as numbers, anything else as it is shown."""
    try:
        if not isinstance(answer, Mapping):
            return describe_value(answer)
        kept = list(dict(answer).items())[:100]
        return {
            _sound(key[:200]) if isinstance(key, str) else describe_value(key): _plain(value) for key, value in kept
        }
    except Exception:  # a learner's answer may be any object at all
        return "an answer that cannot be kept"


def _plain(value: object, depth: int = 0) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str) and len(value) <= LONGEST_TEXT:
        return _sound(value)
    # The points of a ride are pairs in a row, an order is a row of names.
    if isinstance(value, list | tuple) and len(value) <= MOST_IN_A_ROW and depth < 2:
        return [_plain(each, depth + 1) for each in value]
    try:
        number = float(value)  # type: ignore[arg-type]
    except Exception:
        return describe_value(value)
    return number if math.isfinite(number) and not isinstance(value, str) else describe_value(value)


def _sound(text: str) -> str:
    """A text that can be written: half a sign, which no file can hold, becomes a question mark."""
    return text.encode("utf-8", "replace").decode("utf-8")
