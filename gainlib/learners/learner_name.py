"""Who works in this folder: the learner's name, kept with their progress."""

from __future__ import annotations

import html
from dataclasses import dataclass
from pathlib import Path

from gainlib.learners.course_folder import course_folder
from gainlib.learners.naming import require_text
from gainlib.learners.progress import Progress

__all__ = ["LearnerName", "learner"]


@dataclass(frozen=True)
class LearnerName:
    """Who works in this folder; shows itself as one sentence.

    >>> LearnerName("Ada", Path("progress.json"))
    You are Ada. Your name is kept in progress.json, and your answers beside it.
    """

    name: str
    file: Path
    note: str = ""

    def __repr__(self) -> str:
        who = (
            f"You are {self.name}." if self.name else "No name yet: write yours between the quotes and run this again."
        )
        kept = f"Your name is kept in {self.file.name}, and your answers beside it." if self.name else ""
        return " ".join(filter(None, [who, self.note or kept]))

    def _repr_html_(self) -> str:
        return f"<p style='font-size:1.1em;max-width:44em'>{html.escape(repr(self))}</p>"


def learner(name: str = "") -> LearnerName:
    """Who works in this folder; with a name, that name is kept with the progress from now on.

    Answers stay where they are when the name changes. Without a name nothing is written.

    Parameters
    ----------
    name
        The learner's name, one line of 1 to 200 characters; left out, it is only told who works here.

    Returns
    -------
    LearnerName
        The name and the file that it is kept in; as the last line of a cell it shows itself as one sentence.

    Raises
    ------
    GainError
        For a name that is not one line of 1 to 200 characters.

    Examples
    --------
    >>> import contextlib, tempfile
    >>> with contextlib.chdir(tempfile.mkdtemp()):
    ...     learner("Ada").name
    'Ada'
    """
    folder = course_folder() or Path.cwd()
    found = Progress.at(folder, name=require_text("the name", name)) if name else Progress.at(folder, make=False)
    return LearnerName(found.learner_name, found.file, found.note)
