"""Open the page on which an exercise is written."""

from __future__ import annotations

from pathlib import Path

from gainlib.authoring.new_exercise import require_name
from gainlib.cli.one_cell import open_cell
from gainlib.errors import GainError, suggest
from gainlib.exercises.tables import EXERCISE_KINDS

__all__ = ["NOTEBOOK", "open_writing"]

NOTEBOOK = "write-exercise.ipynb"


def open_writing(name: str, *, kind: str = "", port: int, browser: bool) -> Path:
    """Open the page for the exercise of that name here, and stay until JupyterLab is ended; gives the file's path.

    `kind` is what learners do, of an exercise that is not there yet. Raises GainError for a name that cannot be one,
    and for a kind that is not known, or of a file that is there.
    """
    file = Path(f"{require_name(name)}.toml").resolve()
    if kind and kind not in EXERCISE_KINDS:
        raise GainError(f"--kind is {kind!r}; {suggest(kind[:80], EXERCISE_KINDS)}")
    if kind and file.exists():
        raise GainError(f"{file.name} is there already, and says itself of which kind it is; leave --kind out.")
    says = (
        "# Writing an exercise\n\nFill in the parts from top to bottom. What is written is a text file, "
        f"`{file.name}`, which you may also change as text."
    )
    code = f"import gainlib as gl\ngl.write_exercise({str(file)!r}{f', kind={kind!r}' if kind else ''})"
    open_cell(says, code, NOTEBOOK, f"{file} on a page", what="The page", port=port, browser=browser)
    return file
