"""Open one exercise as a learner would see it, and keep nothing."""

from __future__ import annotations

from pathlib import Path

from gainlib.authoring.messages import FileFault
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import Verification
from gainlib.classroom.class_file import require_learner
from gainlib.cli.authoring import print_proof
from gainlib.cli.one_cell import open_cell
from gainlib.errors import GainError
from gainlib.exercises import Exercise, load
from gainlib.exercises.collection import own_name
from gainlib.learners.naming import require_text

__all__ = ["NOTEBOOK", "faulty", "try_exercise"]

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
    whose = learner if class_file is None else f"{learner} of {class_file.name}"
    says = (
        f"# Trying an exercise\n\nThis is what the learner {whose} gets. After a change to the file click the cell "
        "below and press Shift+Enter. Nothing is kept in anybody's progress."
    )
    told = f"{given} as the learner {learner} gets it"
    code = _code(given, learner, class_file)
    open_cell(says, code, NOTEBOOK, told, folder, what="The exercise", port=port, browser=browser)
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


def _code(given: str, learner: str, class_file: Path | None) -> str:
    where = str(Path(given).resolve()) if given.endswith(".toml") else given
    of_class = "" if class_file is None else f", class_file={str(class_file.resolve())!r}"
    return f"import gainlib as gl\ngl.exercise({where!r}, learner={learner!r}{of_class})"
