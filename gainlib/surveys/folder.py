"""Which sound files are meant by files, folders and patterns, and what each is called."""

from __future__ import annotations

import functools
import glob
import os
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from gainlib.sound_file import is_sound, sounds_in
from gainlib.storage import given_path
from gainlib.text import counted, printable

__all__ = ["INVENTORY_FILES", "FoundFiles", "find_files", "in_order"]

INVENTORY_FILES = ("checksums.sha256", "inventory.csv", "inventory.txt")
"""What an inventory's files are called, which lie beside the sound files that they list."""

_NAMED = 4


@dataclass(frozen=True)
class FoundFiles:
    """The files with their names, in order; what was asked for and is not there; and what is worth saying."""

    files: tuple[tuple[Path, str], ...]
    missing: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def find_files(given: Iterable[str | os.PathLike[str]]) -> FoundFiles:
    """The sound files that files, folders and patterns stand for, each once, those of a folder in order of name.

    A folder stands for the sound files in it, known by their endings; folders in it are not looked into, a pattern
    such as `stems/**/*.wav` does. Hidden files are left out of both. What else a folder holds is told in a note.

    >>> from gainlib.storage import bundled_folder
    >>> [name for _, name in find_files([bundled_folder("media")]).files][:3]
    ['backing-voices', 'bass', 'guitar']
    """
    paths: list[Path] = []
    missing: list[tuple[str, str]] = []
    notes: list[str] = []
    for each in given:
        where = given_path(each)
        if where.is_dir():
            inside = _sounds_in(where)
            paths += inside
            below = sorted(printable(one.name) for one in where.iterdir() if one.is_dir() and _sounds_in(one))
            if below:
                names = ", ".join(below[:5]) + (" and more" if len(below) > 5 else "")
                notes.append(
                    f"{printable(where)} has folders with sound files in it ({names}), which were not looked into; "
                    "name them as well to survey them."
                )
            notes += _passed_over(where)
            if not inside:
                missing.append((printable(each), f"{printable(each)} holds no sound files; name a folder that does."))
        elif where.exists():
            paths.append(where)
        elif matching := _matching(os.fspath(each)):
            paths += matching
        else:
            missing.append(
                (printable(each), f"{printable(each)} is not there; check the name and the folder you are in.")
            )
    seen: dict[str, Path] = {}
    real_folder = functools.cache(os.path.realpath)  # of thousands of files there are few folders
    for path in paths:
        real = os.path.realpath(path) if path.is_symlink() else os.path.join(real_folder(path.parent), path.name)
        known = seen.setdefault(real, path)
        if len(path.parts) < len(known.parts):  # a link to a folder above leads to each file by ever longer ways
            seen[real] = path
    return FoundFiles(_named(list(seen.values())), tuple(missing), tuple(notes))


def _sounds_in(folder: Path) -> list[Path]:
    return sorted(sounds_in(folder), key=lambda path: in_order(path.name))


def _passed_over(folder: Path) -> list[str]:
    """A sentence on what lies in a folder and is not surveyed, and why; hidden files and folders are not told."""
    kinds: dict[str, list[str]] = {}
    for each in sorted(folder.iterdir(), key=lambda path: in_order(path.name)):
        if each.name.startswith(".") or each.name in INVENTORY_FILES or os.path.isdir(each) or is_sound(each):
            continue
        if os.path.isfile(each):
            kind = "no sound by its ending"
        elif each.is_symlink() and not os.path.exists(each):
            kind = "a broken link"
        else:
            kind = "a pipe or a device"
        kinds.setdefault(kind, []).append(printable(each.name))
    if not kinds:
        return []
    told = [
        f"{', '.join(names[:_NAMED])}{f' and {len(names) - _NAMED} more' if len(names) > _NAMED else ''} "
        f"({kind if len(names) == 1 else f'each {kind}'})"
        for kind, names in kinds.items()
    ]
    count = sum(map(len, kinds.values()))
    return [f"{counted(count, 'file')} in {printable(folder)} passed over: {'; '.join(told)}."]


def _matching(pattern: str) -> list[Path]:
    if not glob.has_magic(pattern):
        return []
    return [path for each in sorted(glob.glob(pattern, recursive=True), key=in_order) if is_sound(path := Path(each))]


def in_order(name: str) -> list[tuple[int, int, str]]:
    """Names in the order in which a person counts: take 2 before take 10.

    >>> sorted(("take 10", "take 2"), key=in_order)
    ['take 2', 'take 10']
    """
    parts = re.split(r"([0-9]+)", name.casefold())
    return [(0, int(each), "") if index % 2 else (1, 0, each) for index, each in enumerate(parts)]


def _named(paths: list[Path]) -> tuple[tuple[Path, str], ...]:
    """A name for each file, as short as tells it from the others."""
    for name_of in (
        lambda path: path.stem,
        lambda path: path.name,
        lambda path: f"{path.parent.name}/{path.name}",
        lambda path: path.as_posix(),
    ):
        names = [printable(name_of(path)) for path in paths]
        if len(set(names)) == len(names):
            break
    counts: Counter[str] = Counter()
    for index, name in enumerate(names):
        counts[name] += 1
        names[index] = name if counts[name] == 1 else f"{name} ({counts[name]})"
    return tuple(zip(paths, names, strict=True))
