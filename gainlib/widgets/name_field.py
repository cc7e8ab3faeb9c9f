"""Who works in this folder: the learner's name in a field, kept with their progress."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.learners.course_folder import course_folder
from gainlib.learners.naming import require_text
from gainlib.learners.progress import Progress
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["NameField", "learner"]


class NameField(CourseWidget):
    """A field for a name, which is kept when its button is pressed; `name` is what is kept, `said` a sentence on it.

    >>> NameField().said
    'Nobody has said yet who works here.'
    """

    _esm = script("name_field.js")
    _css = STYLES

    name = traitlets.Unicode("").tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)

    def __init__(self) -> None:
        super().__init__()
        self._tell(Progress.at(_folder(), make=False))
        self.on_msg(self._asked)

    def take(self, name: str) -> None:
        """Keep this name from now on; `said` tells why not where it cannot be. Nothing is raised."""
        try:
            self._tell(_kept(name))
        except GainError as fault:
            self.said = f"Not kept: {fault}"

    def static_html(self) -> str:
        """Who works here."""
        return f"<p>{escape(self.said)}</p>"

    def _tell(self, found: Progress) -> None:
        self.name = found.learner_name
        who = f"You are {self.name}." if self.name else "Nobody has said yet who works here."
        self.said = " ".join(filter(None, [who, found.note]))

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "name":
            self.take(content.get("name", ""))

    def __repr__(self) -> str:
        return self.said


def learner(name: str = "") -> NameField:
    """Who works in this folder, in a field; with a name, that name is kept with the progress from now on.

    Answers stay where they are when the name changes. Without a name nothing is written until one is typed.

    Parameters
    ----------
    name
        The learner's name, one line of 1 to 200 characters; left out, it is only told who works here.

    Returns
    -------
    NameField
        As the last line of a cell it shows itself; `name` is the name that is kept.

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
    if name:
        _kept(name)
    return NameField()


def _kept(name: str) -> Progress:
    return Progress.at(_folder(), name=require_text("the name", name))


def _folder() -> Path:
    return course_folder() or Path.cwd()
