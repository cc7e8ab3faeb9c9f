"""A page for each exercise that a teacher set: a notebook that opens it and runs by itself."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable
from pathlib import Path

from gainlib.errors import GainError
from gainlib.learners.learners_file import ClassExercise
from gainlib.storage import atomic_write, page_with_a_cell

__all__ = ["FOLDER", "lay_pages", "page_code", "page_of"]

FOLDER = "set-by-your-teacher"


def page_of(name: str) -> str:
    """Where the page of an exercise lies in the learner's folder.

    >>> page_of("levels/hot-take")
    'set-by-your-teacher/levels/hot-take.ipynb'
    """
    return f"{FOLDER}/{name}.ipynb"


def page_code(name: str) -> str:
    """The one cell of such a page. The page's script knows it by its form, and has it run as the page opens.

    It may, since it opens an exercise by its name and does nothing else, and an exercise is data.

    >>> print(page_code("levels/hot-take"))
    import gainlib as gl
    <BLANKLINE>
    gl.exercise("levels/hot-take")
    """
    return f"import gainlib as gl\n\ngl.exercise({json.dumps(name, ensure_ascii=False)})"


def lay_pages(folder: Path, entries: Iterable[ClassExercise]) -> None:
    """Lay the page of each exercise that has none yet; what lies there is left as it is. Nothing is raised."""
    for each in entries:
        page = folder / page_of(each.name)
        with contextlib.suppress(GainError, OSError):  # the contents say what cannot be opened
            if not page.exists():
                atomic_write(page, _notebook(each.name), make_folder=True)


def _notebook(name: str) -> str:
    texts = {"title": "# Set by your teacher", "by-hand": "Click on the grey cell below and press **Shift + Enter**."}
    return page_with_a_cell(texts, page_code(name), {"by-hand": "by-hand", "exercise": "tool"})
