"""Where the course's own lessons, exercises and stems lie."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

from gainlib.errors import GainError
from gainlib.storage.paths import given_path

__all__ = ["bundled", "bundled_folder"]


def bundled_folder(kind: str) -> Path:
    """The folder of the course material of that kind: "lessons", "exercises" or "media".

    In an installed package it lies inside; in a source checkout at the top level.

    >>> bundled_folder("media").name
    'media'
    """
    package = Path(str(resources.files("gainlib")))
    inside = package / "_course" / kind
    folder = inside if inside.is_dir() else package.parent / kind
    if not folder.is_dir():
        raise GainError(f"the course's {kind} folder is missing from {package}; install gainlib again.")
    return folder


def bundled(path: str | os.PathLike[str]) -> Path:
    """Where a file is: as the path says, else among the course's own stems when it starts with `media/`.

    Raises GainError where no file can have that path.

    >>> bundled("media/README.md").name
    'README.md'
    """
    here = given_path(path)
    if not here.exists() and not here.is_absolute() and here.parts[:1] == ("media",) and ".." not in here.parts:
        return bundled_folder("media").joinpath(*here.parts[1:])
    return here
