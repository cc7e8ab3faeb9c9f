"""The start file of a class: one archive with what a learner's computer needs, the teacher's own exercises included.

It is a zip archive that ends with `.gainclass`. `class.toml` says what the class is and lists every other member with
its size and its SHA-256; those are exercise files and the recordings that lie beside them, below `exercises/`. Nothing
in it is ever executed. What is not listed, leads elsewhere, or is larger than it says is refused before it is laid.
"""

from __future__ import annotations

import hashlib
import lzma
import os
import stat
import struct
import zipfile
import zlib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.errors import GainError
from gainlib.exercises.collection import LARGEST_FILE_BYTES
from gainlib.exercises.given import LARGEST_TAKE_BYTES
from gainlib.learners.learners_file import (
    ENDING,
    LARGEST_CLASS_BYTES,
    MOST_FILES,
    LearnersFile,
    PackedFile,
    read_class_file,
    validate_class,
)
from gainlib.sound_file import SOUND_ENDINGS
from gainlib.storage import atomic_path, given_path
from gainlib.storage.foreign import decoded, toml_table
from gainlib.text import describe_value, memory, reason_of

__all__ = ["StartFile", "fault_of_path", "pack", "read_start_file"]

CLASS = "class.toml"
INSIDE = "exercises/"
LARGEST_BYTES = 1_000_000_000
ANEW = "; ask your teacher to give it to you again"

_MOST_DIRECTORY_BYTES = 2 * 1024 * 1024
_BLOCK_BYTES = 1024 * 1024
_NOT_IN_NAMES = set('<>:"|?*\\')
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{number}" for port in ("com", "lpt") for number in range(10))}
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, ValueError, RuntimeError, EOFError, KeyError,
)  # fmt: skip


@dataclass(frozen=True)
class StartFile:
    """A start file as it was read: `of` is the class, `text` its entries as written; `lay` gets out the rest."""

    path: Path
    of: LearnersFile
    text: str

    def lay(self, folder: Path) -> None:
        """Lay the exercises and their recordings into this folder; what lies there whole is left as it is.

        Raises GainError where a member is damaged, or nothing can be written there; nothing half-written is left.
        """
        missing = [each for each in self.of.files if not _lies(folder / each.path, each.bytes)]
        if not missing:
            return
        try:
            with zipfile.ZipFile(self.path) as archive:
                for each in missing:
                    _lay_one(archive, each, folder / each.path, self.path.name)
        except OSError as fault:
            raise GainError(f"{self.path.name} cannot be read ({reason_of(fault)}){ANEW}.") from fault


def read_start_file(file: str | os.PathLike[str]) -> StartFile:
    """The class in a start file, and what else it holds by name and size. Raises GainError for one that cannot be used.

    >>> import tempfile
    >>> read_start_file(tempfile.mkdtemp() + "/none.gainclass")
    Traceback (most recent call last):
    ...
    gainlib.errors.GainError: none.gainclass is not there; give the start file of your class.
    """
    path = given_path(file)
    name = path.name
    try:
        if not path.exists():
            raise GainError(f"{name} is not there; give the start file of your class.")
        if not path.is_file():
            raise GainError(f"{name} is no file; give the start file of your class, which ends with {ENDING}.")
        if path.stat().st_size > LARGEST_BYTES:
            raise GainError(f"{name} is larger than {memory(LARGEST_BYTES)}, so it is no start file.")
        with path.open("rb") as begin:
            if begin.read(4) != b"PK\x03\x04":
                raise _no_archive(path)
        _require_small_directory(path)
        with zipfile.ZipFile(path) as archive:
            text = _class_text(archive, name)
            found = validate_class(toml_table(text, name), LearnersFile, path)
            _require_as_listed(archive, found, name)
    except GainError:
        raise
    except OSError as fault:
        raise GainError(f"{name} cannot be read ({reason_of(fault)}){ANEW}.") from fault
    except _DAMAGED as fault:
        raise GainError(f"{name} is damaged or cut off{ANEW}.") from fault
    return StartFile(path, found, text)


def pack(target: Path, text: str, files: dict[str, Path], *, private: bool = False) -> Path:
    """Write a start file: the entries of its class, and files by the path that each has in it. Gives the path back."""
    with (
        atomic_path(target, private=private, shared=not private, make_folder=True) as half,
        zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as archive,
    ):
        archive.writestr(CLASS, text)
        for path, file in sorted(files.items()):
            # Sound hardly becomes smaller, and is written once for each learner.
            archive.write(file, INSIDE + path, None if path.endswith(".toml") else zipfile.ZIP_STORED)
    return target


def fault_of_path(path: str) -> str:
    """Why no start file may hold a file under this path; empty where one may.

    >>> fault_of_path("levels/hot-take.toml"), fault_of_path("../x.toml")
    ('', "its path '../x.toml' leads out of the folder")
    """
    parts = path.split("/")
    shown = describe_value(path)
    if len(path) > 200 or not path.isprintable() or set(path) & _NOT_IN_NAMES:
        return f"its path {shown} has a sign that not every computer takes in a name, or is longer than 200"
    if any(part in ("", ".", "..") for part in parts):
        return f"its path {shown} leads out of the folder"
    if len(parts) < 2:
        return f"its path {shown} names no folder"
    if any(part != part.strip(" .") or part.split(".")[0].casefold() in _DEVICES for part in parts):
        return f"its path {shown} has a name that not every computer takes"
    ending = PurePosixPath(path).suffix.removeprefix(".").lower()
    if ending != "toml" and ending not in SOUND_ENDINGS:
        return f"{shown} is neither an exercise nor a recording"
    return ""


def _class_text(archive: zipfile.ZipFile, name: str) -> str:
    members = archive.infolist()
    if len(members) > MOST_FILES + 1:
        raise GainError(f"{name} holds {len(members)} files, more than a start file may.")
    twice = [each for each, count in Counter(member.filename.casefold() for member in members).items() if count > 1]
    if twice:
        raise GainError(f"{name} holds {describe_value(twice[0])} twice{ANEW}.")
    member = next((each for each in members if each.filename == CLASS), None)
    if member is None:
        raise GainError(f"{name} is an archive, but no start file of a class; give the one with {ENDING}.")
    with archive.open(member) as inside:
        return decoded(inside.read(LARGEST_CLASS_BYTES + 1), name, LARGEST_CLASS_BYTES, "a class file")


def _require_as_listed(archive: zipfile.ZipFile, found: LearnersFile, name: str) -> None:
    """Refuse a start file whose members are not those that it lists, or that lists what none may hold."""
    listed = {INSIDE + each.path: each for each in found.files}
    for each in found.files:
        if fault := fault_of_path(each.path):
            raise GainError(f"{name} cannot be used: {fault}.")
        is_exercise = each.path.endswith(".toml")
        if each.bytes > (LARGEST_FILE_BYTES if is_exercise else LARGEST_TAKE_BYTES):
            most = f"{LARGEST_FILE_BYTES // 1024} kB" if is_exercise else f"{LARGEST_TAKE_BYTES // 1024**2} MB"
            raise GainError(f"{name} cannot be used: {describe_value(each.path)} has more than {most}.")
    if sum(each.bytes for each in found.files) > LARGEST_BYTES:
        raise GainError(f"{name} cannot be used: it holds more than {memory(LARGEST_BYTES)}.")
    for member in archive.infolist():
        shown = describe_value(member.filename)
        if member.filename != CLASS and member.filename not in listed:
            raise GainError(f"{name} cannot be used: {shown} lies in it and is not in its list.")
        if member.flag_bits & 1 or stat.S_ISLNK(member.external_attr >> 16):
            raise GainError(f"{name} cannot be used: {shown} is locked or a link.")
        if member.filename != CLASS and member.file_size != listed[member.filename].bytes:
            raise GainError(f"{name} is damaged: {shown} has another size than it says{ANEW}.")
    there = {member.filename for member in archive.infolist()}
    for path in listed:
        if path not in there:
            raise GainError(f"{name} is damaged: {describe_value(path)} is missing in it{ANEW}.")
    known = {each.path for each in found.files}
    for entry in found.exercises:
        if fault := fault_of_path(f"{entry.name}.toml"):  # a page is laid under it
            raise GainError(f"{name} cannot be used: {fault}.")
        if entry.file is not None and (entry.file != f"{entry.name}.toml" or entry.file not in known):
            raise GainError(f"{name} cannot be used: the exercise {describe_value(entry.name)} is not in it.")


def _lay_one(archive: zipfile.ZipFile, listed: PackedFile, target: Path, name: str) -> None:
    damaged = f"{name} is damaged: {describe_value(listed.path)} in it is not what it was{ANEW}."
    digest = hashlib.sha256()
    with atomic_path(target, private=True, make_folder=True, then="; name a folder of your own") as half:
        try:
            # No more comes of a member than the size that it gives, which is the one that is listed.
            with archive.open(INSIDE + listed.path) as inside, half.open("r+b") as out:
                while block := inside.read(_BLOCK_BYTES):
                    digest.update(block)
                    out.write(block)
        except _DAMAGED as fault:
            raise GainError(damaged) from fault
        if digest.hexdigest() != listed.sha256:
            raise GainError(damaged)


def _lies(file: Path, size: int) -> bool:
    try:
        return file.is_file() and file.stat().st_size == size
    except OSError:
        return False


def _no_archive(path: Path) -> GainError:
    """What a file that is no archive is, where it can be told."""
    if path.suffix == ".toml":
        try:
            read_class_file(path, LearnersFile)
        except GainError as fault:
            return fault
        return GainError(
            f"{path.name} is a learners' file of an earlier gainlib; ask your teacher for the one with {ENDING}, "
            "which `gainlib new-class FILE --again` writes."
        )
    return GainError(f"{path.name} is no start file of a class, or it came cut off{ANEW}.")


def _require_small_directory(path: Path) -> None:
    """Refuse an archive whose list of members alone would fill the memory, before that list is read."""
    size = path.stat().st_size
    with path.open("rb") as file:
        file.seek(max(0, size - 65_557))
        tail = file.read()
    at = tail.rfind(b"PK\x05\x06")
    if at < 0 or len(tail) < at + 22:
        raise zipfile.BadZipFile
    if struct.unpack("<I", tail[at + 12 : at + 16])[0] > _MOST_DIRECTORY_BYTES:
        raise GainError(f"{path.name} holds more files than a start file may.")
