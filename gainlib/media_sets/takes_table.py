"""The table of a media set: which file plays which role, where the parts of the song lie; each fault with its line."""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.sound_file import SoundFile, read, sounds_in
from gainlib.storage import bundled_folder, given_path, toml_key, toml_value
from gainlib.storage.foreign import Place, is_number, read_text, toml_table
from gainlib.storage.positions import line_of, lines_of
from gainlib.text import describe_value, path_text, plain

__all__ = ["PARTS", "ROLES", "TABLE", "MediaSet", "bundled_set", "first_table", "read_media_set"]

TABLE = "takes.toml"
LARGEST_BYTES = 64 * 1024
LONGEST_SECONDS = 90.0
"""A bench draws and renders what it is given; the bundled takes last 19 s."""
LONGEST_TITLE = 120
MOST_TOLD = 20
ENTRIES = ("title", "tempo_bpm", "use", "takes", "parts")
_SECONDS = "give where it begins and where it ends in square brackets, in seconds of the files: [9.5, 19]."

ROLES = ("lead voice", "backing voices", "kick", "snare", "hats", "bass", "guitar", "pad", "presenter", "guest")
"""Who or what a take is, in the words of the lessons."""
PARTS = {
    "verse": "the soft part of the song, from its start",
    "chorus": "the loud part of the song",
    "into the chorus": "two lines of the verse and two of the chorus",
    "end": "the last line and the shout after it",
    "last line": "within the end, the line before the shout",
    "shout": "within the end, the loudest word or note",
}
"""The parts that lessons ask for, and what each is."""


@dataclass(frozen=True)
class MediaSet:
    """Takes that belong together: `files` by role, `parts` in seconds from where `use` begins in each file.

    Attributes
    ----------
    title : str
        What the set is called.
    tempo_bpm : float or None
        Beats a minute, where the table tells them.
    lasts : mapping of str to float
        How many seconds of each role are used.
    rates_hz, channels : mapping of str to int
        Of each role.
    digest : str
        The SHA-256 of its table, by which a set is known again wherever its folder lies.
    """

    folder: Path
    title: str
    files: Mapping[str, Path]
    parts: Mapping[str, tuple[float, float]]
    lasts: Mapping[str, float]
    rates_hz: Mapping[str, int]
    channels: Mapping[str, int]
    starts_at: float = 0.0
    tempo_bpm: float | None = None
    digest: str = ""

    def take(self, role: str, part: str = "") -> Audio:
        """The take of that role, or a part of it, as it was recorded; named after the role.

        >>> bundled_set().take("lead voice", "shout")
        lead-voice: 1.07 s, mono, 48 kHz
        """
        whole = 0.0, self.lasts[role]
        start, end = (self.starts_at + at for at in (self.parts[part] if part else whole))
        with SoundFile(self.files[role]) as recording:
            all_of_it = start == 0 and end >= recording.seconds - 0.5 / recording.rate_hz
        found = read(self.files[role], seconds=None if all_of_it else (start, min(end, recording.seconds)))
        return Audio(found.samples, found.rate_hz, role.replace(" ", "-"), found.path)


@functools.cache
def bundled_set() -> MediaSet:
    """The course's own takes.

    >>> bundled_set().parts["shout"]
    (17.73, 18.8)
    """
    return read_media_set(bundled_folder("media"))


def read_media_set(folder: str | os.PathLike[str]) -> MediaSet:
    """The media set in a folder, by its table `takes.toml`. Raises GainError with every fault of the table at once.

    >>> read_media_set("no-such-folder")
    Traceback (most recent call last):
    gainlib.errors.GainError: there is no folder no-such-folder; give the one that your takes and their table lie in.
    """
    home = given_path(folder).expanduser().absolute()
    if not home.is_dir():
        raise GainError(f"there is no folder {path_text(folder)}; give the one that your takes and their table lie in.")
    if not (home / TABLE).exists():
        raise GainError(
            f"{path_text(folder)} has no {TABLE}, the table that says what each take is; write one as DEVELOPERS.md "
            "shows, under Your own takes."
        )
    text = read_text(home / TABLE, LARGEST_BYTES, "a table of takes")
    entries, lines = toml_table(text, TABLE), lines_of(text)
    found = _Table(home, entries)
    if found.faults:
        told = sorted(((line_of(lines, place) or 0, said) for place, said in found.faults), key=lambda each: each[0])
        raise GainError(*(_at(line, said) for line, said in told[:MOST_TOLD]))
    return dataclasses.replace(found.media, digest=hashlib.sha256(text.encode()).hexdigest())


def _at(line: int, said: str) -> str:
    return f"{TABLE}, line {line}: {said}" if line else f"{TABLE}: {said}"


def _number(value: object) -> bool:
    return is_number(value) and math.isfinite(value)


class _Table:
    """The entries of a table, looked at one after the other; `faults` holds each with its place."""

    def __init__(self, home: Path, entries: dict[str, Any]) -> None:
        self.home, self.entries = home, entries
        self.faults: list[tuple[Place, str]] = []
        for name in entries:
            if name not in ENTRIES:
                self._fault((name,), f"there is no entry {describe_value(name)}; {suggest(name[:80], ENTRIES)}")
        title = entries.get("title")
        if not isinstance(title, str) or not title.strip() or len(title) > LONGEST_TITLE:
            self._fault(("title",), f"title is {describe_value(title)}; give what your takes are called, in quotes.")
        tempo = entries.get("tempo_bpm")
        if tempo is not None and not (_number(tempo) and 0 < tempo <= 1000):
            self._fault(("tempo_bpm",), f"tempo_bpm is {describe_value(tempo)}; give beats a minute, such as 100.")
        files = self._files()
        start, last = self._used(files)
        parts = self._parts(start, last)
        self.media = MediaSet(
            home,
            str(title),
            {role: home / self.entries["takes"][role] for role in files},
            parts,
            {role: min(each.seconds, last) - start for role, each in files.items()},
            {role: each.rate_hz for role, each in files.items()},
            {role: each.channels for role, each in files.items()},
            start,
            tempo,
        )

    def _fault(self, place: Place, said: str) -> None:
        self.faults.append((place, said))

    def _named(self, name: str, form: str) -> dict[str, Any]:
        """The table of that name; a fault where it is none."""
        found = self.entries.get(name, {})
        if isinstance(found, dict):
            return found
        self._fault((name,), f"{name} is {describe_value(found)}; it must be a table: {form}")
        return {}

    def _files(self) -> dict[str, SoundFile]:
        """The sound file of each role, closed again."""
        files: dict[str, SoundFile] = {}
        given = self._named("takes", 'a line [takes], and below it lines such as kick = "kick.wav".')
        if not given:
            self._fault(("takes",), 'there is no take; write [takes], and below it lines such as kick = "kick.wav".')
        for role, name in given.items():
            place = ("takes", role)
            if role not in ROLES:
                self._fault(place, f"there is no role {describe_value(role)}; {suggest(role[:80], ROLES)}")
            elif not isinstance(name, str) or not name or _leads_out(name):
                self._fault(place, f"{role} is {describe_value(name)}; name a file in this folder, in quotes.")
            else:
                try:
                    with SoundFile(self.home / name) as recording:
                        files[role] = recording
                except GainError as fault:
                    self._fault(place, f"the take of the role {role} cannot be used: {fault}")
        return files

    def _used(self, files: Mapping[str, SoundFile]) -> tuple[float, float]:
        """Where what is taught with begins and ends, in seconds of the files."""
        longest = max((each.seconds for each in files.values()), default=0.0)
        use = self.entries.get("use", [0.0, longest])
        if not _pair(use):
            self._fault(("use",), f"use is {describe_value(use)}; {_SECONDS}")
            return 0.0, longest
        start, last = float(use[0]), float(use[1])
        if self.entries.get("use") is not None and not 0 <= start < last <= longest + 1e-6:
            self._fault(("use",), f"use is [{start:g}, {last:g}]; the longest take has {longest:.2f} s; {_SECONDS}")
        elif last - start > LONGEST_SECONDS:
            self._fault(
                ("use",) if "use" in self.entries else ("takes",),
                f"{last - start:.0f} s are used, and lessons want a verse and a chorus, {LONGEST_SECONDS:g} s at most; "
                "say which seconds of the files are taught with, such as use = [45.0, 75.0], above the first line in "
                "square brackets.",
            )
        for role, each in files.items():
            if each.seconds <= start < last:
                self._fault(("takes", role), f"{role} ends at {each.seconds:.2f} s, before what is used ({start:g} s).")
        return start, last

    def _parts(self, start: float, last: float) -> dict[str, tuple[float, float]]:
        """The parts of the song, in seconds of what is used."""
        parts: dict[str, tuple[float, float]] = {}
        for name, value in self._named("parts", "a line [parts], and below it lines such as verse = [0, 9.5].").items():
            place = ("parts", name)
            if name not in PARTS:
                self._fault(place, f"there is no part {describe_value(name)}; {suggest(name[:80], PARTS)}")
            elif not _pair(value):
                self._fault(place, f"{name} is {describe_value(value)}; {_SECONDS}")
            elif not start <= value[0] < value[1] <= last + 1e-6:
                said = f"{name} is [{value[0]:g}, {value[1]:g}], and what is used runs from {start:g} to {last:.2f} s"
                self._fault(place, f"{said}; {_SECONDS}")
            else:
                parts[name] = round(value[0] - start, 6), round(value[1] - start, 6)
        for inner in ("last line", "shout"):
            if {inner, "end"} <= parts.keys() and not _within(parts[inner], parts["end"]):
                self._fault(("parts", inner), f"{inner} does not lie within the end; let the end hold both.")
        return parts


def _pair(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(map(_number, value))


def _leads_out(name: str) -> bool:
    return (
        PurePosixPath(name).is_absolute() or bool(PureWindowsPath(name).anchor) or ".." in PureWindowsPath(name).parts
    )


def _within(inner: tuple[float, float], outer: tuple[float, float]) -> bool:
    return outer[0] <= inner[0] and inner[1] <= outer[1]


def first_table(folder: Path) -> str:
    """A table to begin with: the files of a folder, with the role that a name tells, and the parts to be filled in.

    >>> import tempfile
    >>> first_table(Path(tempfile.mkdtemp())).splitlines()[0]
    'title = "Our song"'
    """
    free, takes = list(ROLES), []
    for file in sounds_in(folder):
        role = next((each for each in free if each in plain(file.stem).lower()), "")
        if role:
            free.remove(role)
        takes.append(f"{toml_key(role)} = {toml_value(file.name)}" if role else f"# its role = {toml_value(file.name)}")
    parts = [f"# {toml_key(name)} = [0.0, 9.5]  # {told}" for name, told in PARTS.items()]
    return "\n".join([
        'title = "Our song"',
        "# tempo_bpm = 100",
        "# use = [45.0, 75.0]  # which seconds of the files, where they are longer than a verse and a chorus",
        "",
        f"[takes]  # the roles: {', '.join(ROLES)}",
        *takes,
        "",
        "[parts]  # each begins and ends at these seconds of the files; leave out what your song has not",
        *parts,
        "",
    ])  # fmt: skip
