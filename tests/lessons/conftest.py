"""The lessons' own text, for tests that hold its numbers."""

from __future__ import annotations

import json

import pytest

from gainlib.storage import bundled_folder


@pytest.fixture(scope="session")
def lesson_text():
    """The whole text of a lesson, cells joined, by its file name without ending."""

    def text(name: str) -> str:
        notebook = json.loads((bundled_folder("lessons") / f"{name}.ipynb").read_text(encoding="utf-8"))
        return "\n".join("".join(cell["source"]) for cell in notebook["cells"])

    return text


@pytest.fixture(scope="session")
def lesson_start():
    """The names that the first code cell of a lesson gives: its recording and its chain, by its file name."""

    def names(name: str) -> dict:
        notebook = json.loads((bundled_folder("lessons") / f"{name}.ipynb").read_text(encoding="utf-8"))
        first = next(cell for cell in notebook["cells"] if cell["cell_type"] == "code")
        given: dict = {}
        exec("".join(first["source"]), given)
        return given

    return names
