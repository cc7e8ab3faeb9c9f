"""A notebook of one cell, opened in a folder of its own."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import typer

from gainlib.cli.meanwhile import COMPILE_LOOPS
from gainlib.cli.saying import say
from gainlib.learners.jupyter_server import serve
from gainlib.page import code_digest
from gainlib.storage import atomic_write

__all__ = ["cell_notebook", "open_cell"]


def cell_notebook(says: str, code: str) -> str:
    """The text of a notebook that says something and has one cell of code.

    >>> "gl.contents()" in cell_notebook("Look.", "gl.contents()")
    True
    """
    content = {
        "cells": [
            {"cell_type": "markdown", "id": "what-this-is", "metadata": {}, "source": says},
            {
                "cell_type": "code", "id": "exercise", "metadata": {}, "execution_count": None, "outputs": [],
                "source": code,
            },
        ],
        "metadata": {
            "gainlib": {"lesson": True},
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }  # fmt: skip
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


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
    notebook = atomic_write(folder / page, cell_notebook(says, code), make_folder=True, then=then)
    say(f"{told}, in {notebook}.")
    serve(
        folder, typer.echo, place=place, port=port, browser=browser, page=page, what=what, meanwhile=COMPILE_LOOPS,
        runs=[code_digest([code])],
    )  # fmt: skip
