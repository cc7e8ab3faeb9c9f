"""How notebooks are given to the page: one that this user has not trusted brings no program along."""

from __future__ import annotations

from typing import Any

from jupyter_server.services.contents.largefilemanager import AsyncLargeFileManager

__all__ = ["CourseContents"]


class CourseContents(AsyncLargeFileManager):
    """The folder's files, as Jupyter gives them, but for the widgets saved in a notebook that is not trusted.

    A saved widget may hold its script, and the page runs it as soon as the notebook is open, trusted or not. A lesson
    needs none of them: its widgets are made anew when its cells run.
    """

    def mark_trusted_cells(self, nb: Any, path: str = "") -> None:
        """Called for each notebook that is opened; it is trusted when this user has signed it, by running or saving."""
        if not self.notary.check_signature(nb):  # type: ignore[no-untyped-call]
            nb.metadata.pop("widgets", None)
        super().mark_trusted_cells(nb, path)  # type: ignore[no-untyped-call]
