"""Handing in: the best answers of a learner's progress become one small file, and a copy goes to the class."""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from html import escape
from pathlib import Path
from typing import Any

from gainlib import __version__
from gainlib.errors import GainError
from gainlib.learners.course_folder import course_folder
from gainlib.learners.enrolment import HUB_USER, Enrolment, brought_up_to_date
from gainlib.learners.hand_in_file import LARGEST_HAND_IN_BYTES, SCHEMA, VERSION, signature_of
from gainlib.learners.naming import plain_name
from gainlib.learners.progress import LOCK, Progress
from gainlib.learners.standing import Standing, standings
from gainlib.storage import atomic_write, given_path, held_alone
from gainlib.storage.foreign import read_json
from gainlib.text import reason_of

__all__ = ["FOLDER", "HandedIn", "hand_in", "latest_hand_in"]

FOLDER = "hand-ins"


@dataclass(frozen=True)
class HandedIn:
    """What handing in did, in words; a notebook shows the sentences."""

    file: Path | None
    sentences: tuple[str, ...]

    @property
    def text(self) -> str:
        """All of it, a line for each sentence."""
        return "\n".join(self.sentences)

    def __repr__(self) -> str:
        return self.text

    def _repr_html_(self) -> str:
        return "".join(f"<p>{escape(each)}</p>" for each in self.sentences)


def hand_in(folder: str | os.PathLike[str] | None = None, to: str | os.PathLike[str] | None = None) -> HandedIn:
    """Write the learner's best answers of this folder (the current course, unless given) as one file; says what it did.

    Of each exercise of the class the attempt with the most points goes in, at its own numbers, with the most hints
    that were taken up to it. The file is written whole or not at all, into `hand-ins`, beside every earlier one, and
    copied to the class's collecting folder, or to `to`. When nothing changed, no new file is made.

    Raises GainError where the learner is in no class, or nothing can be written.
    """
    home = given_path(folder or course_folder() or Path.cwd())
    here = brought_up_to_date(home)
    if here is None:
        raise GainError(
            "this folder belongs to no class, so there is nobody to hand in to; "
            "with your class's start file: gainlib open FILE."
        )
    progress = Progress.at(home, make=False)
    found, unread = standings(here, progress)
    answers = [_handed(each) for each in found if each.best]
    without = [f"“{each.exercise.title}”" for each in found if not each.best]
    older = [f"“{each.exercise.title}”" for each in found if each.outdated]
    again = f"Answered in an earlier version of the exercise: {', '.join(older)}. Answer it again, then hand in again."
    told_why = [again] if older else []
    told_why += [f"Left out: {each}" for each in unread.values()]
    if not answers:
        hindered = f" {told_why[-1]}" if unread else ""
        raise GainError(f"there is no answer to hand in yet; check one exercise of your class first.{hindered}")
    edition = here.of.edition
    versions = [[each.exercise.name, each.exercise.digest] for each in found]
    content = {
        "schema": SCHEMA,
        "version": VERSION,
        "class": {"title": here.of.title, "tag": here.of.tag} | ({"edition": edition} if edition else {}),
        "learner": {"id": here.learner_id, "name": progress.learner_name or here.name or os.environ.get(HUB_USER, "")},
        "course": {"gainlib": __version__, "digest": _digest(versions)},
        "made": datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "answers": answers,
    }
    own = home / FOLDER
    try:
        own.mkdir(exist_ok=True)
        with held_alone(home / LOCK):  # two at one moment would have one name
            earlier = latest_hand_in(own)
            # Nothing changed where it would come out the same at the same time, signature included.
            if earlier is not None and earlier[1] == _signed(content | {"made": earlier[1].get("made")}, here):
                file, text = earlier[0], earlier[0].read_text(encoding="utf-8")
                said = f"Nothing changed since {file.name}, so that is your hand-in."
            else:
                text = json.dumps(_signed(content, here), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
                if len(text.encode()) > LARGEST_HAND_IN_BYTES:
                    raise GainError(
                        f"the hand-in comes to more than {LARGEST_HAND_IN_BYTES // 1024} kB; shorten a ride."
                    )
                file = _free(own, here.learner_id, str(content["made"]))
                atomic_write(file, text, then=", so nothing is handed in")
                said = f"Written: {file}."
        copied = "Give this file to your teacher: it lies in your own folder and is sent nowhere."
        if target := to or here.of.collect:
            place = Path(target)
            if not place.is_dir():
                raise GainError(f"{place} is not a folder that can be reached; your hand-in is {file}, hand that in.")
            copy = place / file.name
            if not copy.exists():
                # The teacher is another user of the computer, and must be able to read it.
                atomic_write(copy, text, shared=True, then=", so nothing is handed in")
            copied = f"Handed in: a copy is in {place}."
    except OSError as fault:
        reason = reason_of(fault)
        raise GainError(f"{fault.filename or own} cannot be written ({reason}), so nothing is handed in.") from fault
    count = len(answers)
    holds = (
        f"It holds your id, your name and your answers to {count} of {len(here.of.exercises)} exercises, and no points."
    )
    missing = [f"Without an answer: {', '.join(without)}."] if without else []
    return HandedIn(file, (said, copied, holds, *missing, *told_why))


def _handed(standing: Standing) -> dict[str, Any]:
    """The best attempt at an exercise, as a hand-in holds it."""
    attempt = standing.best or {}
    answer = attempt.get("answer")
    return {
        "exercise": standing.exercise.name,
        "exercise_digest": str(attempt.get("exercise_digest", "")),
        "values": standing.values,
        "answer": answer if isinstance(answer, dict) else {},
        "hints_used": standing.hints_used,
        "attempts": len(standing.attempts),
        "time": str(attempt.get("time", "")),
    }


def latest_hand_in(folder: Path) -> tuple[Path, dict[str, Any]] | None:
    """The last hand-in of this folder, with what it holds; None where there is none.

    >>> latest_hand_in(Path("no-such-folder"))
    """
    found = []
    for file in folder.glob("*.json"):
        try:
            content = read_json(file, LARGEST_HAND_IN_BYTES, "a hand-in")
            found.append((str(content["made"]), file, content))
        except (GainError, KeyError, TypeError):
            continue
    return max(found, key=lambda each: (each[0], each[1].name))[1:] if found else None


def _signed(content: dict[str, Any], here: Enrolment) -> dict[str, Any]:
    return content | {"signed": signature_of(content, here.key)} if here.of.signs else content


def _free(folder: Path, learner_id: str, made: str) -> Path:
    """A name that no earlier hand-in has: the learner's id and the time."""
    stamp = re.sub(r"\D", "", made)
    name = f"hand-in {plain_name(learner_id)} {stamp[:8]}-{stamp[8:14]}-{stamp[14:]}"
    count = 1
    while (file := folder / f"{name}{f' ({count})' if count > 1 else ''}.json").exists():
        count += 1
    return file


def _digest(content: object) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]
