"""Open one exercise as a learner would see it, and keep nothing."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

import typer

from gainlib.authoring.messages import FileFault
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import Verification
from gainlib.classroom.class_file import require_learner
from gainlib.cli.authoring import print_proof
from gainlib.cli.meanwhile import COMPILE_LOOPS
from gainlib.cli.saying import say
from gainlib.errors import GainError
from gainlib.exercises import Exercise, load
from gainlib.exercises.collection import own_name
from gainlib.learners.jupyter_server import serve
from gainlib.learners.naming import require_text
from gainlib.page import code_digest
from gainlib.storage import atomic_write

__all__ = ["NOTEBOOK", "faulty", "trial_notebook", "try_exercise"]

NOTEBOOK = "try-exercise.ipynb"


def try_exercise(
    given: str, learner: str, folder: Path | None, *, class_file: Path | None = None, port: int, browser: bool
) -> bool:
    """Open the exercise and stay until JupyterLab is ended; False when the file has faults, which are printed.

    Raises GainError for a file that cannot be read, an unknown name, and a folder that cannot be written to.
    """
    require_text("--learner", learner)
    found = faulty(given, learner, class_file)
    if found is not None:
        print_proof(found)
        return False
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="gainlib-try-", ignore_cleanup_errors=True) as made:
            own = Path(made, "exercise"), Path(made, "jupyter")
            _opened(given, learner, class_file, *own, port=port, browser=browser)
    else:
        _opened(given, learner, class_file, folder.expanduser(), None, port=port, browser=browser)
    return True


def faulty(given: str, learner: str, class_file: Path | None = None) -> Verification | None:
    """What `prove` would say of a file with faults; None for one that can be opened for this learner.

    Raises GainError for a class file that cannot be used, and for a learner who is not in it.
    """
    name, file = given, Path(given)
    made: Exercise | None
    if given.endswith(".toml"):
        made, faults, _ = validate(file)
        name = own_name(file)
    else:
        made, faults = load(given), ()
    if made is not None:
        if class_file is not None:
            require_learner(class_file, learner)
        try:
            made.variant(learner)
        except GainError as fault:
            faults = (FileFault(None, str(fault).replace("\n", " ")),)
    return Verification(name, file, faults) if faults else None


def trial_notebook(given: str, learner: str, class_file: Path | None = None) -> str:
    """A notebook of one cell that opens the exercise; the text of its file.

    >>> "gl.exercise('recording/leave-room', learner='Ada')" in trial_notebook("recording/leave-room", "Ada")
    True
    """
    whose = learner if class_file is None else f"{learner} of {class_file.name}"
    say = (
        f"# Trying an exercise\n\nThis is what the learner {whose} gets. After a change to the file click the cell "
        "below and press Shift+Enter. Nothing is kept in anybody's progress."
    )
    content = {
        "cells": [
            {"cell_type": "markdown", "id": "what-this-is", "metadata": {}, "source": say},
            {
                "cell_type": "code", "id": "exercise", "metadata": {}, "execution_count": None, "outputs": [],
                "source": _code(given, learner, class_file),
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


def _code(given: str, learner: str, class_file: Path | None) -> str:
    where = str(Path(given).resolve()) if given.endswith(".toml") else given
    of_class = "" if class_file is None else f", class_file={str(class_file.resolve())!r}"
    return f"import gainlib as gl\ngl.exercise({where!r}, learner={learner!r}{of_class})"


def _opened(
    given: str, learner: str, class_file: Path | None, folder: Path, place: Path | None, *, port: int, browser: bool
) -> None:
    notebook = folder / NOTEBOOK
    then = "; name a folder that you may write to"
    atomic_write(notebook, trial_notebook(given, learner, class_file), make_folder=True, then=then)
    say(f"{given} as the learner {learner} gets it, in {notebook}.")
    serve(
        folder,
        typer.echo,
        place=place,
        port=port,
        browser=browser,
        page=NOTEBOOK,
        what="The exercise",
        meanwhile=COMPILE_LOOPS,
        runs=[code_digest([_code(given, learner, class_file)])],
    )
