"""The learner's record: one JSON file with an id, a name and every attempt."""

from __future__ import annotations

import contextlib
import json
import math
import os
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Variant, Verdict
from gainlib.learners.course_folder import course_folder
from gainlib.storage import atomic_write
from gainlib.text import describe_value, reason_of

__all__ = ["Progress"]

FILE = "progress.json"
SCHEMA = "gainlib progress"
VERSION = 1
UNSAVED = "unsaved"
LONGEST_TEXT = 200
MOST_IN_A_ROW = 1000


@dataclass(frozen=True)
class Progress:
    """One learner's id, name and attempts, kept in `progress.json` of the learner's folder.

    `note` says what the learner should know about the file, such as a damaged one that was set aside; it is empty when
    all is well.

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

    @classmethod
    def here(cls) -> Progress:
        """The progress of the learner's folder that the current folder lies in, else of the current folder.

        A new file is made where there is none. Nothing is raised: where the folder cannot be written to, `note` says
        so, and the id is one that everybody shares who cannot save.
        """
        return cls.at(course_folder() or Path.cwd())

    @classmethod
    def at(cls, folder: str | os.PathLike[str], *, name: str = "", make: bool = True) -> Progress:
        """The progress kept in this folder; made, with a new id and this name, where there is none.

        With `make=False` nothing is made, and the id is empty where there is no file.
        """
        file = Path(folder) / FILE
        found = _found(file)
        if not make or (found.learner_id and (not name or name == found.learner_name)):
            return found
        if found.learner_id == UNSAVED or (found.note and _newer(file)):
            return found
        name = name or found.learner_name
        made = cls(file, found.learner_id or secrets.token_hex(16), name, found.attempts, found.note)
        try:
            made._write(then=", so nothing is kept; work in a folder of your own")
        except GainError as fault:
            return cls(file, found.learner_id or UNSAVED, name, found.attempts, str(fault))
        return made

    def best(self, exercise: str) -> tuple[float, float] | None:
        """The most points that any attempt at this exercise got, and out of how many; None for no attempt."""
        scores = [(each["points"], each["out_of"]) for each in self.attempts if each["exercise"] == exercise]
        return max(scores) if scores else None

    def passed(self, exercise: str) -> bool:
        """Whether any attempt at this exercise passed."""
        return any(each["passed"] for each in self.attempts if each["exercise"] == exercise)

    def record(self, variant: Variant, answer: object, verdict: Verdict, hints_used: int = 0, *, draw: int = 0) -> str:
        """Keep an attempt; gives a sentence that says what was saved and where, or why nothing could be.

        `draw` counts the fresh numbers that the exercise book drew for this exercise; 0 are the learner's own.
        """
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
        if draw:
            attempt["draw"] = draw
        if _newer(self.file):
            return f"Not saved: {self.file} was written by a newer gainlib; update gainlib to go on with it."
        # Another notebook may have saved since this one read the file, so it is read again.
        now = _found(self.file)
        if now.learner_id == UNSAVED:
            return f"Not saved: {now.note}"
        learner_id = now.learner_id or (secrets.token_hex(16) if self.learner_id == UNSAVED else self.learner_id)
        after = Progress(self.file, learner_id, now.learner_name or self.learner_name, (*now.attempts, attempt))
        note = f"{now.note} " if now.note else ""
        try:
            after._write(then="; work in a folder of your own")
        except GainError as fault:
            return f"{note}Not saved: {fault}"
        count = sum(each["exercise"] == attempt["exercise"] for each in after.attempts)
        points = f"{attempt['points']:g} of {attempt['out_of']:g} points"
        return f"{note}Saved in {self.file}: attempt {count} at {attempt['exercise']}, {points}."

    def _write(self, then: str = "") -> None:
        content = {
            "schema": SCHEMA,
            "version": VERSION,
            "learner": {"id": self.learner_id, "name": self.learner_name},
            "attempts": list(self.attempts),
        }
        text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        atomic_write(self.file, text, private=True, then=then)


def _found(file: Path) -> Progress:
    """What the file holds; a damaged one is set aside, and what can be saved of the learner's id is."""
    try:
        text = file.read_text(encoding="utf-8")
    except FileNotFoundError:
        return Progress(file, "")
    except OSError as fault:
        note = f"{file} cannot be read ({reason_of(fault)}), so nothing is kept here; work in a folder of your own."
        return Progress(file, UNSAVED, note=note)
    except UnicodeDecodeError:
        text = file.read_bytes().decode("utf-8", "replace")
        return _set_aside(file, text)
    try:
        content = json.loads(text)
        learner = content["learner"]
        if content["schema"] != SCHEMA or not isinstance(learner["id"], str) or not learner["id"]:
            raise ValueError
        if content["version"] > VERSION:
            note = f"{file} was written by a newer gainlib, so nothing is saved; update gainlib to go on with it."
            return Progress(file, learner["id"], str(learner.get("name", "")), note=note)
        attempts = tuple(_attempt(each) for each in content["attempts"])
        return Progress(file, learner["id"], str(learner["name"]), attempts)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return _set_aside(file, text)


def _attempt(entry: Any) -> dict[str, Any]:
    """An attempt as it was written, refused where a later reader would stumble."""
    if not isinstance(entry["exercise"], str) or not isinstance(entry["passed"], bool):
        raise ValueError
    if not all(isinstance(entry[name], int | float) and math.isfinite(entry[name]) for name in ("points", "out_of")):
        raise ValueError
    return dict(entry)


def _set_aside(file: Path, text: str) -> Progress:
    stamp = datetime.now(UTC).strftime("%Y-%m-%d %H.%M.%S")
    aside = file.with_name(f"progress (damaged, kept {stamp}).json")
    count = 1
    while aside.exists():
        count += 1
        aside = file.with_name(f"progress (damaged, kept {stamp}, {count}).json")
    saved = re.search(r'"id":\s*"([0-9a-f]{32})"', text)
    named = re.search(r'"id":\s*"[0-9a-f]{32}",\s*"name":\s*("(?:[^"\\]|\\.){0,200}")', text)
    learner_id = saved[1] if saved else ""
    name = ""
    if named:
        with contextlib.suppress(ValueError):
            name = json.loads(named[1])
    try:
        os.rename(file, aside)
    except OSError as fault:
        note = f"{file} is damaged and cannot be set aside ({reason_of(fault)}), so nothing is kept here."
        return Progress(file, learner_id or UNSAVED, name, note=note)
    note = f"{FILE} was damaged; it is kept as {aside.name}, and a new one was begun."
    # Without an id the caller makes a new one and writes the file; with one the file must be begun here.
    found = Progress(file, learner_id, name, note=note)
    if learner_id:
        with contextlib.suppress(GainError):
            found._write()
    return found


def _newer(file: Path) -> bool:
    try:
        return bool(json.loads(file.read_text(encoding="utf-8"))["version"] > VERSION)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return False


def _kept(answer: object) -> Any:
    """An answer as JSON can hold it: numbers as numbers, anything else as it is shown."""
    try:
        given = dict(answer) if isinstance(answer, Mapping) else None
    except Exception:  # a learner's answer may be any object at all
        given = None
    if given is None:
        return describe_value(answer)
    kept = list(given.items())[:100]
    return {str(key)[:200] if isinstance(key, str) else describe_value(key): _plain(value) for key, value in kept}


def _plain(value: object, depth: int = 0) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str) and len(value) <= LONGEST_TEXT:
        return value
    # The points of a ride are pairs in a row, an order is a row of names.
    if isinstance(value, list | tuple) and len(value) <= MOST_IN_A_ROW and depth < 2:
        return [_plain(each, depth + 1) for each in value]
    try:
        number = float(value)  # type: ignore[arg-type]
    except Exception:
        return describe_value(value)
    return number if math.isfinite(number) and not isinstance(value, str) else describe_value(value)
