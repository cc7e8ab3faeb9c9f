"""The class as a learner's computer knows it: a key, exercises with their points, due date, and who the learner may be.

A start file has it, and there are two kinds. One of a learner's own holds their id and the key that is theirs, from
which no other's can be told. The one for all holds the class's key, from which everybody's follows, and the ids and
names to choose from; or, where the teacher leaves names out, a code for each id, by which a mistyped one is noticed and
from which no id can be told. A learner has the same numbers by either. The teacher's file has all this and the roster.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import Field, StringConstraints, ValidationError

from gainlib.errors import GainError
from gainlib.exercises import Exercise, load
from gainlib.storage.entry_faults import Entry, describe_first
from gainlib.storage.foreign import read_toml
from gainlib.text import describe_value, listed

__all__ = [
    "ClassBasis",
    "ClassExercise",
    "ClassTakes",
    "Learner",
    "LearnersFile",
    "PackedFile",
    "code_of",
    "load_entry",
    "read_class_file",
    "validate_class",
]

LARGEST_CLASS_BYTES = 32 * 1024 * 1024
ENDING = ".gainclass"
MOST_FILES = 2000
ROLES = {"required": "", "optional": "for practice", "bonus": "bonus"}
"""What is said of an exercise by how its points count."""

ShortText = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Key = Annotated[str, StringConstraints(min_length=16, max_length=200)]
Worth = Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]


class ClassExercise(Entry):
    """An exercise of the class: its name, its file if it is not in the collection, and what it is worth.

    `role` says how its points count: to the full marks, to none (for practice), or on top of the full marks. With
    `any_version` an answer to an earlier version of it is marked by the present one.
    """

    name: ShortText
    file: ShortText | None = None
    points: Worth | None = None
    role: Literal["required", "optional", "bonus"] = "required"
    any_version: bool = False

    def worth(self, exercise: Exercise) -> float:
        """The full points of this exercise in the class; none where it is not marked unless the class says so."""
        usual = exercise.out_of if exercise.is_marked else 0.0
        return self.points if self.points is not None else usual


class ClassBasis(Entry):
    """What both files of a class hold."""

    version: Literal[1, 2]
    title: ShortText
    key: Key
    exercises: Annotated[list[ClassExercise], Field(min_length=1, max_length=500)]
    due: datetime | None = None
    collect: ShortText | None = None

    @property
    def tag(self) -> str:
        """A short word for this class that a hand-in carries, and from which the key cannot be told."""
        return code_of(self.key, "class")

    @property
    def signs(self) -> bool:
        """Whether hand-ins are signed; those of classes that gainlib 0.1 made are not."""
        return self.version > 1

    def key_of(self, learner_id: str) -> str:
        """The key that draws a learner's numbers and signs their hand-ins; that of another does not follow from it.

        It is HMAC-SHA-256 of the id, keyed with the class's key; in a class that gainlib 0.1 made, the class's itself.
        """
        return _mac(self.key, "own key", learner_id)[:32] if self.signs else self.key


class Learner(Entry):
    """A learner as a class names them."""

    id: ShortText
    name: ShortText


class PackedFile(Entry):
    """A file that a start file holds: an exercise of the teacher's own, or a recording of one."""

    path: ShortText
    bytes: Annotated[int, Field(ge=0)]
    sha256: Annotated[str, StringConstraints(pattern=r"[0-9a-f]{64}")]


class ClassTakes(Entry):
    """The media set that a class is taught on: its title and the SHA-256 of its table, and nothing of its sound."""

    title: ShortText
    sha256: Annotated[str, StringConstraints(pattern=r"[0-9a-f]{64}")]


class LearnersFile(ClassBasis):
    """What a learner's computer gets of a class.

    For all: `key` is the class's, and `learners` are those to choose from; without names `ids` holds a code for each.
    Of one's own: `key` is that of `learner`, and `own_tag` is the class's tag, which does not follow from it. `files`
    lists what comes along, `edition` tells one state of the class from another, and `made` which of two is the later.
    """

    schema_: Literal["gainlib class for learners"] = Field(alias="schema")
    ids: Annotated[list[ShortText], Field(max_length=100_000)] = Field(default_factory=list)
    learners: Annotated[list[Learner], Field(max_length=100_000)] = Field(default_factory=list)
    learner: Learner | None = None
    own_tag: ShortText = Field("", alias="tag")
    edition: ShortText = ""
    made: datetime | None = None
    files: Annotated[list[PackedFile], Field(max_length=MOST_FILES)] = Field(default_factory=list)
    takes: ClassTakes | None = None

    @property
    def tag(self) -> str:
        """A short word for this class that a hand-in carries, and from which the key cannot be told."""
        return self.own_tag or super().tag

    def key_of(self, learner_id: str) -> str:
        """The key that draws a learner's numbers and signs their hand-ins; in a file of one's own, its key."""
        return self.key if self.learner else super().key_of(learner_id)

    def knows(self, learner_id: str) -> bool:
        """Whether the id is one of this class that the file may be used by; a class without a roster knows every id."""
        if self.learner:
            return learner_id == self.learner.id
        if self.learners:
            return any(each.id == learner_id for each in self.learners)
        return not self.ids or code_of(self.key, "id", learner_id) in self.ids

    def name_of(self, learner_id: str) -> str:
        """The learner's name, where the file has it; else empty."""
        known = [self.learner] if self.learner else self.learners
        return next((each.name for each in known if each.id == learner_id), "")

    @property
    def files_digest(self) -> str:
        """A short word for the exercises and recordings that come along, the same for the same ones."""
        rows = sorted([each.path, each.sha256] for each in self.files)
        return hashlib.sha256(json.dumps(rows).encode()).hexdigest()[:16]


Kind = TypeVar("Kind", bound=ClassBasis)


def code_of(key: str, *about: str) -> str:
    """A short code of something in a class, from which neither the key nor the thing can be told."""
    return _mac(key, *about)[:16]


def _mac(key: str, *about: str) -> str:
    return hmac.new(key.encode(), json.dumps(about).encode(), hashlib.sha256).hexdigest()


def load_entry(entry: ClassExercise, home: Path) -> Exercise:
    """The exercise of an entry; a file of the teacher's own lies where the entry says, seen from `home`."""
    # The folder of a class that is only being made is not there yet, and no way leads through it and up again.
    exercise = load(os.path.normpath(home.resolve() / entry.file)) if entry.file else load(entry.name)
    if exercise.name != entry.name:
        raise GainError(f"{entry.file} is {exercise.name}; the class file calls it {entry.name!r}. Use one name.")
    return exercise


def read_class_file(file: Path, model: type[Kind]) -> Kind:
    """The class of a TOML file. Raises GainError, with file and entry, for one that cannot be used."""
    return validate_class(read_toml(file, LARGEST_CLASS_BYTES, "a class file"), model, file)


def validate_class(content: dict[str, Any], model: type[Kind], file: Path) -> Kind:
    """The class of these entries; GainError, with file and entry, where they cannot be used."""
    (wanted,) = get_args(model.model_fields["schema_"].annotation)
    if (found := content.get("schema")) != wanted:
        other = {
            "gainlib class": f"the teacher's file, with all that is known of the class; give the one with {ENDING}",
            "gainlib class for learners": "the learners' part of a class; give the teacher's file",
        }
        why = other.get(str(found), f"not a class file: schema is {describe_value(found)} and must be {wanted!r}")
        raise GainError(f"{file.name} is {why}.")
    try:
        made = model.model_validate(content)
    except ValidationError as fault:
        raise GainError(f"{file.name}: {describe_first(fault, model)}") from fault
    if isinstance(made, LearnersFile) and (made.learner is None) != (not made.own_tag):
        raise GainError(f"{file.name} has one of learner and tag; a file of one's own has both, one for all neither.")
    if made.due is not None and made.due.tzinfo is None:
        raise GainError(f"{file.name}: due has no time zone; write for example {made.due.isoformat()}+01:00.")
    names = [each.name for each in made.exercises]
    if len(set(names)) < len(names):
        twice = next(each for each in names if names.count(each) > 1)
        files = list(dict.fromkeys(each.file or "the collection" for each in made.exercises if each.name == twice))
        if len(files) > 1:
            said = f"{listed(files)} are called {twice}; give each a name or a folder of its own."
            raise GainError(f"{file.name}: {said}")
        raise GainError(f"{file.name}: the exercise {twice} is there twice; name it once.")
    return made
