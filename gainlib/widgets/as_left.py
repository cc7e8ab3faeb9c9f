"""What stands on a lesson's page but was not checked: kept as it is moved, so that a kernel's restart does not lose it.

Each bench, exercise and prediction has a small file in the hidden part of the learner's folder, known by the notebook,
the cell, and a digest of what it is: one that was changed since begins anew. Only a notebook of a learner's folder that
a Jupyter server opened keeps anything, so a lesson that is run by itself is run as it is written.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.learners.course_folder import MARK, course_folder
from gainlib.storage import atomic_write
from gainlib.storage.foreign import read_json
from gainlib.widgets.cell_display import running_cell

__all__ = ["AsLeft", "as_left"]

NOTEBOOK = "JPY_SESSION_NAME"
FOLDER = "as-left"
LARGEST_BYTES = 128 * 1024
_PAUSE_SECONDS = 0.3


class AsLeft:
    """The file in which the state of one thing on a page is kept.

    >>> import tempfile
    >>> place = AsLeft(Path(tempfile.mkdtemp()) / "bench.json")
    >>> place.keep({"trim/gain_db": -3.0})
    >>> place.found
    {'trim/gain_db': -3.0}
    >>> place.keep({})
    >>> place.found
    {}
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._state: Mapping[str, Any] = {}
        self._waits = False
        self._next = 0.0

    @property
    def found(self) -> dict[str, Any]:
        """What was kept; nothing where there is none, or where it cannot be used."""
        try:
            content = read_json(self.file, LARGEST_BYTES, "what was left")
        except GainError:
            return {}
        return content if isinstance(content, dict) else {}

    def keep(self, state: Mapping[str, Any]) -> None:
        """Keep a state, or with an empty one forget it; during a drag not oftener than three times a second.

        What a cell's own code moves is not kept, since it does so again when it is run. Nothing is raised: what cannot
        be kept is as it would be without this.
        """
        if running_cell().cell is not None:
            return
        self._state = state
        if self._waits:
            return
        try:
            loop = asyncio.get_running_loop()
            # What the move changes on the page goes first; a cell that is run next comes after this.
            loop.call_at(max(loop.time(), self._next), self._write_in, loop)
            self._waits = True
        except RuntimeError:  # outside a kernel nobody comes back to write
            self._write()

    def _write_in(self, loop: asyncio.AbstractEventLoop) -> None:
        self._waits, self._next = False, loop.time() + _PAUSE_SECONDS
        self._write()

    def _write(self) -> None:
        with contextlib.suppress(GainError, OSError, ValueError, TypeError):
            if self._state:
                text = json.dumps(self._state, ensure_ascii=False, allow_nan=False) + "\n"
                atomic_write(self.file, text, private=True, make_folder=True)
            else:
                self.file.unlink(missing_ok=True)


def as_left(kind: str, *about: object) -> AsLeft | None:
    """Where the state of a thing on the page of the open lesson is kept; None where nothing is.

    `about` is what makes it this thing and no other, such as its title and its settings at the start.

    >>> as_left("bench", "Rehearsal") is None  # this is no notebook
    True
    """
    notebook = Path(os.environ.get(NOTEBOOK, ""))
    if notebook.suffix != ".ipynb" or not notebook.is_file():
        return None
    folder = course_folder(notebook.parent)
    if folder is None:
        return None
    name = notebook.resolve().relative_to(folder).as_posix()
    digest = hashlib.sha256(repr((kind, name, running_cell().cell, about)).encode("utf-8", "replace")).hexdigest()
    return AsLeft(folder / MARK / FOLDER / f"{digest[:24]}.json")
