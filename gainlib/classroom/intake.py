"""What lies in a folder of hand-ins: every file, archives included, each with its content or a sentence why not.

Nothing is unpacked to disk, no link is followed, and nothing is read beyond the size of a hand-in.
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
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.classroom.guard import noting
from gainlib.errors import GainError
from gainlib.learners.hand_in_file import LARGEST_HAND_IN_BYTES
from gainlib.text import printable, reason_of

__all__ = ["IncomingFile", "walk_folder"]

MOST_FILES = 200_000
MOST_IN_AN_ARCHIVE = 20_000
"""Twice the largest class that was tried; beyond it an archive was made to keep somebody waiting."""
LARGEST_ARCHIVE_BYTES = 64 * 1024**2
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, struct.error, OSError, ValueError, RuntimeError, EOFError
)  # fmt: skip
_CLUTTER = {".ds_store", "thumbs.db", "desktop.ini", "__macosx"}


@dataclass(frozen=True)
class IncomingFile:
    """One file: where it lies in the folder, and what it holds; or why it cannot be read."""

    place: str
    content: bytes = b""
    fault: str = ""

    @property
    def digest(self) -> str:
        """The digest of its content; empty for one without."""
        return hashlib.sha256(self.content).hexdigest()[:32] if self.content else ""


def walk_folder(folder: str | os.PathLike[str]) -> Iterator[IncomingFile]:
    """Every file in a folder and in the folders in it, in the order of their names; those in a zip archive as well.

    What is no plain file, leads out of the folder, or is too large is given with a sentence and without its content.
    Raises GainError when the folder itself cannot be read, or holds more than 200,000 files.

    >>> import tempfile
    >>> list(walk_folder(tempfile.mkdtemp()))
    []
    """
    home = Path(folder)
    if not home.is_dir():
        raise GainError(f"{home} is not a folder; give the folder with the hand-ins.")
    for count, each in enumerate(_walked(home, home, 0)):
        if count >= MOST_FILES:
            raise GainError(f"{home} holds more than {MOST_FILES} files; give the folder with the hand-ins alone.")
        yield each


def _walked(home: Path, folder: Path, depth: int) -> Iterator[IncomingFile]:
    try:
        entries = sorted(os.scandir(folder), key=lambda each: each.name)
    except OSError as fault:
        if folder == home:
            raise GainError(f"{home} cannot be read ({reason_of(fault)}); check its permissions.") from fault
        yield IncomingFile(_shown(folder, home), fault=f"it cannot be opened ({reason_of(fault)}).")
        return
    for entry in entries:
        if entry.name.lower() not in _CLUTTER:
            wrong: list[tuple[str, str]] = []
            with noting(wrong, _shown(Path(entry.path), home)):
                yield from _found(home, entry, depth)
            yield from (IncomingFile(place, fault=why) for place, why in wrong)


def _found(home: Path, entry: os.DirEntry[str], depth: int) -> Iterator[IncomingFile]:
    """What one entry of a folder is or holds."""
    path = Path(entry.path)
    place = _shown(path, home)
    try:
        kind = entry.stat(follow_symlinks=False)
        if stat.S_ISLNK(kind.st_mode):
            yield IncomingFile(place, fault="it is a link; links are not followed, put the file itself there.")
        elif stat.S_ISDIR(kind.st_mode):
            if depth >= 20:
                yield IncomingFile(place, fault="it lies more than 20 folders deep.")
            else:
                yield from _walked(home, path, depth + 1)
        elif not stat.S_ISREG(kind.st_mode):
            yield IncomingFile(place, fault="it is no plain file.")
        elif entry.name.lower().endswith(".zip"):
            yield from _archived(path, place, kind.st_size)
        elif not entry.name.lower().endswith(".json"):
            yield IncomingFile(place, fault="it is no hand-in; those end with .json.")
        elif kind.st_size > LARGEST_HAND_IN_BYTES:
            yield IncomingFile(place, fault=_TOO_LARGE)
        else:
            with path.open("rb") as file:
                yield IncomingFile(place, file.read(LARGEST_HAND_IN_BYTES + 1))
    except OSError as fault:
        yield IncomingFile(place, fault=f"it cannot be read ({reason_of(fault)}).")


_TOO_LARGE = f"it is larger than {LARGEST_HAND_IN_BYTES // 1024} kB; a hand-in is a small file."


def _archived(path: Path, place: str, size: int) -> Iterator[IncomingFile]:
    """The files in an archive, read where they are: nothing is unpacked, so nothing can land anywhere."""
    if size > LARGEST_ARCHIVE_BYTES:
        yield IncomingFile(place, fault="it is an archive of more than 64 MB; unpack it and give the folder.")
        return
    try:
        with zipfile.ZipFile(path) as archive:
            if len(archive.filelist) > MOST_IN_AN_ARCHIVE:
                raise GainError(
                    f"it is an archive of {len(archive.filelist)} files, and more than {MOST_IN_AN_ARCHIVE} are not "
                    "read; unpack it and give the folder."
                )
            times: Counter[str] = Counter()
            for member in sorted(archive.infolist(), key=lambda each: (each.filename, each.header_offset)):
                times[member.filename] += 1
                again = f" ({times[member.filename]})" if times[member.filename] > 1 else ""
                yield from _member(archive, member, f"{place}{again}")
    except GainError:
        raise
    except _DAMAGED as fault:
        yield IncomingFile(place, fault=f"it is a damaged archive ({str(fault)[:80].rstrip('.').lower()}).")


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, place: str) -> Iterator[IncomingFile]:
    name = member.filename
    inside = f"{place}: {printable(name)[:300]}"
    parts = PurePosixPath(name.replace("\\", "/")).parts
    if member.is_dir() or not parts or any(part.lower() in _CLUTTER for part in parts):
        return
    if name.startswith(("/", "\\")) or ".." in parts or ":" in name:
        yield IncomingFile(inside, fault="its path leads out of the archive, so it is not read.")
    elif stat.S_ISLNK(member.external_attr >> 16):
        yield IncomingFile(inside, fault="it is a link; links are not followed.")
    elif name.lower().endswith(".zip"):
        yield IncomingFile(inside, fault="it is an archive in an archive; unpack the outer one.")
    elif not name.lower().endswith(".json"):
        yield IncomingFile(inside, fault="it is no hand-in; those end with .json.")
    elif member.flag_bits & 1:
        yield IncomingFile(inside, fault="it is locked with a password.")
    else:
        try:
            with archive.open(member) as file:
                # What an archive says of its sizes is not to be relied on, so the reading itself has an end.
                content = file.read(LARGEST_HAND_IN_BYTES + 1)
        except _DAMAGED as fault:
            yield IncomingFile(inside, fault=f"it cannot be unpacked ({str(fault)[:80].rstrip('.').lower()}).")
            return
        yield (
            IncomingFile(inside, fault=_TOO_LARGE)
            if len(content) > LARGEST_HAND_IN_BYTES
            else IncomingFile(inside, content)
        )


def _shown(path: Path, home: Path) -> str:
    return printable(path.relative_to(home).as_posix())[:300]
