"""A notebook of one cell, opened in a folder of its own."""

from __future__ import annotations

import tempfile
from pathlib import Path

import typer

from gainlib.cli.meanwhile import COMPILE_LOOPS
from gainlib.cli.saying import say
from gainlib.learners.jupyter_server import serve
from gainlib.page import code_digest
from gainlib.storage import atomic_write, page_with_a_cell

__all__ = ["open_cell"]


def open_cell(
    says: str, code: str, page: str, told: str, folder: Path | None = None, *, what: str, port: int, browser: bool
) -> None:
    """Write the notebook and stay until JupyterLab is ended; without a folder it is written into one that is removed.

    `told` is what the command says of it, the notebook's path put behind. Raises GainError for a folder that cannot be
    written to.
    """
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True) as made:
            _opened(says, code, page, told, Path(made, "exercise"), Path(made, "jupyter"), what, port, browser)
    else:
        _opened(says, code, page, told, folder.expanduser(), None, what, port, browser)


def _opened(
    says: str, code: str, page: str, told: str, folder: Path, place: Path | None, what: str, port: int, browser: bool
) -> None:
    then = "; name a folder that you may write to"
    notebook = atomic_write(folder / page, page_with_a_cell({"what-this-is": says}, code), make_folder=True, then=then)
    say(f"{told}, in {notebook}.")
    serve(
        folder, typer.echo, place=place, port=port, browser=browser, page=page, what=what, meanwhile=COMPILE_LOOPS,
        runs=[code_digest([code])],
    )  # fmt: skip
