"""The digests by which a page knows the course's own code."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.storage import bundled_folder, lesson_name
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, read_json

__all__ = ["EXTENSIONS", "SHIPPED", "code_digest", "course_digests"]

EXTENSIONS = Path(__file__).with_name("labextensions")
"""The folder that JupyterLab is told to look for extensions in."""
SHIPPED = EXTENSIONS / "gainlib" / "static" / "digests.json"
"""Name of a lesson or of another notebook -> digest of its code, as the page reads it where its settings have none."""


def code_digest(cells: Iterable[str]) -> str:
    """The code of a notebook's cells as one number; the page's script makes the same of what it shows.

    >>> code_digest(["x = 1"]) == code_digest(["x", " = 1"])
    False
    """
    text = json.dumps(list(cells), ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", errors="surrogatepass")).hexdigest()


def course_digests() -> dict[str, str]:
    """The digest of each lesson by its name, of the contents and of the exercise book by the name of the file.

    >>> len(course_digests()["contents.ipynb"])
    64
    """
    folders = (bundled_folder("lessons"), bundled_folder("exercises"))
    found = {}
    for file in sorted(each for folder in folders for each in folder.glob("*.ipynb")):
        try:
            made = read_json(file, LARGEST_NOTEBOOK_BYTES, "a lesson")
            if _is_lesson(made):
                found[lesson_name(file.name) or file.name] = code_digest(_code(made))
        except (
            GainError,
            KeyError,
            TypeError,
        ):  # where one learns in the course's own folder, which is not what is meant
            continue
    return found


def _is_lesson(notebook: Any) -> bool:
    return notebook["metadata"].get("gainlib", {}).get("lesson") is True


def _code(notebook: Any) -> list[str]:
    return ["".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code"]
