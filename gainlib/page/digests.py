"""The digests of the course's own code."""

from __future__ import annotations

from pathlib import Path

from gainlib.errors import GainError
from gainlib.page.lesson_code import lesson_digest
from gainlib.storage import bundled_folder, lesson_name
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, read_json

__all__ = ["EXTENSIONS", "course_digests"]

EXTENSIONS = Path(__file__).with_name("labextensions")
"""The folder that JupyterLab is told to look for extensions in."""


def course_digests() -> dict[str, str]:
    """The digest of each lesson by its name, of the contents and of the exercise book by the name of the file.

    >>> len(course_digests()["contents.ipynb"])
    64
    """
    folders = (bundled_folder("lessons"), bundled_folder("exercises"))
    found = {}
    for file in sorted(each for folder in folders for each in folder.glob("*.ipynb")):
        try:
            digest = lesson_digest(read_json(file, LARGEST_NOTEBOOK_BYTES, "a lesson"))
        except (
            GainError,
            KeyError,
            TypeError,
        ):  # where one learns in the course's own folder, which is not what is meant
            continue
        if digest:
            found[lesson_name(file.name) or file.name] = digest
    return found
