"""Open the page on which an exercise is written."""

from __future__ import annotations

from pathlib import Path

from gainlib.authoring.draft import read_draft
from gainlib.authoring.new_exercise import require_name
from gainlib.cli.one_cell import open_cell
from gainlib.exercises.collection import read_content

__all__ = ["NOTEBOOK", "open_writing"]

NOTEBOOK = "write-exercise.ipynb"


def open_writing(name: str, *, port: int, browser: bool) -> Path:
    """Open the page for the exercise of that name here, and stay until JupyterLab is ended; gives the file's path.

    Raises GainError for a name that cannot be one, and for a file that is there and says more than the page can show.
    """
    file = Path(f"{require_name(name)}.toml").resolve()
    if file.exists():
        read_draft(read_content(file), file.name)
    says = (
        "# Writing an exercise\n\nFill in the parts from top to bottom. What is written is a text file, "
        f"`{file.name}`, which you may also change as text."
    )
    code = f"import gainlib as gl\ngl.write_exercise({str(file)!r})"
    open_cell(says, code, NOTEBOOK, f"{file} on a page", what="The page", port=port, browser=browser)
    return file
