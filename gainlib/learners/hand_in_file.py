"""The hand-in as a file: what it holds, never a score, and how one that comes from anywhere is read.

Nothing in it is executed, and nothing is believed but what the marking measures again.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import Field, PrivateAttr, StringConstraints, ValidationError, field_validator

from gainlib.errors import GainError
from gainlib.exercises.tables import Number
from gainlib.learners.learners_file import ShortText
from gainlib.storage.entry_faults import Entry, describe_first
from gainlib.storage.foreign import decoded, json_value
from gainlib.text import describe_value

__all__ = ["LARGEST_HAND_IN_BYTES", "HandIn", "HandedAnswer", "read_hand_in", "signature_of"]

SCHEMA = "gainlib hand-in"
VERSION = 1
LARGEST_HAND_IN_BYTES = 512 * 1024

Text = Annotated[str, StringConstraints(max_length=200)]
Point = Annotated[list[Number], Field(min_length=2, max_length=2)]
Value = (
    bool | Number | Text | Annotated[list[Point], Field(max_length=500)] | Annotated[list[Text], Field(max_length=50)]
)


class HandedAnswer(Entry):
    """A learner's answer to one exercise: which exercise and numbers it is for, what was set, hints taken, when."""

    exercise: ShortText
    exercise_digest: ShortText
    values: Annotated[dict[ShortText, bool | Number | Text], Field(max_length=64)]
    answer: Annotated[dict[ShortText, Value], Field(max_length=100)]
    hints_used: Annotated[int, Field(ge=0, le=100)]
    attempts: Annotated[int, Field(ge=1, le=1_000_000)]
    time: ShortText


class Who(Entry):
    """The learner of a hand-in."""

    id: ShortText
    name: Text


class OfClass(Entry):
    """The class of a hand-in: its title, a short word from which its key cannot be told, and the edition it was in."""

    title: ShortText
    tag: ShortText
    edition: ShortText = ""


class Course(Entry):
    """The version of the course, and the digest of the exercises as they were."""

    gainlib: ShortText
    digest: ShortText


class HandIn(Entry):
    """What a learner hands in, as it is kept in the file."""

    schema_: Literal["gainlib hand-in"] = Field(alias="schema")
    version: Literal[1]
    of_class: OfClass = Field(alias="class")
    learner: Who
    course: Course
    made: ShortText
    answers: Annotated[list[HandedAnswer], Field(max_length=500)]
    signed: ShortText = ""
    _content: dict[str, Any] = PrivateAttr(default_factory=dict)

    @field_validator("made")
    @classmethod
    def _a_time(cls, made: str) -> str:
        when = datetime.fromisoformat(made)
        if when.tzinfo is None:
            raise ValueError("no time zone")
        try:
            when.astimezone(UTC)
        except OverflowError as fault:  # hours before the first day of the calendar, or after the last one
            raise ValueError("beyond the calendar") from fault
        return made

    @property
    def made_at(self) -> datetime:
        """When it was made, by the clock of the learner's computer."""
        return datetime.fromisoformat(self.made).astimezone(UTC)

    def is_signed_with(self, key: str) -> bool:
        """Whether who made this held the key, and nothing was changed since."""
        return hmac.compare_digest(signature_of(self._content, key).encode(), self.signed.encode())


def signature_of(content: Mapping[str, Any], key: str) -> str:
    """The signature of a hand-in with a learner's key: HMAC-SHA-256 of all entries but the signature itself.

    The entries in the order of their names, without blanks: so another layout of the file changes nothing.

    >>> signature_of({"a": 1, "b": 2.5}, "key") == signature_of({"b": 2.5, "signed": "x", "a": 1}, "key")
    True
    """
    entries = {name: each for name, each in content.items() if name != "signed"}
    text = json.dumps(entries, sort_keys=True, separators=(",", ":"))
    return hmac.new(key.encode(), text.encode(), hashlib.sha256).hexdigest()


def read_hand_in(content: bytes) -> HandIn:
    """The hand-in in these bytes; a GainError says in one sentence what is wrong with those that hold none.

    Nothing in it is executed, and nothing is believed but what the marking measures again.

    >>> read_hand_in(b"{")
    Traceback (most recent call last):
    ...
    gainlib.errors.GainError: it is cut off or not JSON (line 1).
    """
    found = json_value(decoded(content, "it", LARGEST_HAND_IN_BYTES, "a hand-in"))
    if not isinstance(found, dict) or found.get("schema") != SCHEMA:
        raise GainError("it is JSON, but not a hand-in.")
    version = found.get("version")
    if isinstance(version, int) and not isinstance(version, bool) and version > VERSION:
        raise GainError(f"it was made by a newer gainlib (version {version} of the file); update gainlib.")
    try:
        hand_in = HandIn.model_validate(found)
        hand_in._content = found
        return hand_in
    except ValidationError as fault:
        raise GainError(_told(fault)) from fault
    except (OverflowError, RecursionError) as fault:
        raise GainError("it holds a number beyond all bounds.") from fault


def _told(fault: ValidationError) -> str:
    first: Any = fault.errors(include_url=False)[0]
    place = first["loc"]
    if place == ("made",):
        return f"made is {describe_value(first.get('input'))}; it must be a time with its zone."
    if len(place) > 3 and place[2] in ("answer", "values"):  # a union tells of all its members; one is enough
        return (
            f"{place[3]!r:.60} of answer {place[1] + 1} is {describe_value(first.get('input'))}, which answers nothing."
        )
    return describe_first(fault, HandIn)
