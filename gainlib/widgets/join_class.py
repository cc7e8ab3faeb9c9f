"""Joining a class on a page: a start file is chosen, one says who one is, and the folder is that learner's."""

from __future__ import annotations

import contextlib
import os
import tempfile
from html import escape
from pathlib import Path
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.learners.course_folder import course_folder
from gainlib.learners.enrolment import HUB_CLASS, Enrolment, enrol, enrolled, learner_of
from gainlib.learners.learners_file import ENDING
from gainlib.learners.progress import Progress
from gainlib.learners.start_file import StartFile, read_start_file
from gainlib.storage import atomic_write
from gainlib.text import counted, moment_in_words
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["JoinClass", "join_class"]

LARGEST_HERE_BYTES = 200_000_000


class JoinClass(CourseWidget):
    """Where a start file is chosen; `take` reads one, `join` enters its class, `said` tells what came of it.

    `who` invites who is in no class, `people` are those to choose from, `asks` is "who" where one must say who one is,
    and "yes" where the file says it; `known` is the id of who is in this class already.

    >>> JoinClass().who
    'In a class? Open the start file that your teacher gave you; its name ends with .gainclass.'
    """

    _esm = script("join_class.js")
    _css = STYLES

    who = traitlets.Unicode("").tag(sync=True)
    invites = traitlets.Unicode("Join a class").tag(sync=True)
    may = traitlets.Bool(True).tag(sync=True)
    opened = traitlets.Bool(False).tag(sync=True)
    said = traitlets.List(traitlets.Unicode()).tag(sync=True)
    people = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    asks = traitlets.Unicode("").tag(sync=True)
    known = traitlets.Unicode("").tag(sync=True)
    answered = traitlets.Int(0).tag(sync=True)
    wanted = traitlets.Int(0).tag(sync=True)
    received = traitlets.Int(0).tag(sync=True)
    joined = traitlets.Int(0).tag(sync=True)

    def __init__(self) -> None:
        super().__init__()
        self._coming: list[bytes] = []
        self._name = ""
        self._size = 0
        self._found: StartFile | None = None
        self._place: tempfile.TemporaryDirectory[str] | None = None
        try:
            self._show(enrolled())
        except GainError as fault:
            self.who = f"Your class cannot be read: {fault}"
        self.on_msg(self._asked)

    def take(self, name: str, content: bytes) -> None:
        """Read a start file, and ask who joins; `said` tells why not where it is none. Nothing is raised."""
        self._drop()
        try:
            place = tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True)
            self._place = place
            file = atomic_write(Path(place.name) / f"start{ENDING}", content, private=True)
            try:
                self._found = read_start_file(file)
            except GainError as fault:
                raise GainError(str(fault).replace(file.name, name)) from fault
        except GainError as fault:
            self.said = [f"Not opened: {fault}"]
            return
        of = self._found.of
        with contextlib.suppress(GainError):  # a class that is damaged is replaced
            here = enrolled()
            self.known = here.learner_id if here and here.of.tag == of.tag and of.knows(here.learner_id) else ""
        self.people = [[each.id, each.name] for each in of.learners] if not of.learner else []
        self.asks = "yes" if of.learner else "who"
        due = f", due {moment_in_words(of.due)}" if of.due else ""
        whose = f"It is the start file of {of.learner.name}. " if of.learner else ""
        self.said = [f"{whose}{of.title}: {counted(len(of.exercises), 'exercise')}{due}."]

    def join(self, learner_id: str = "") -> Enrolment | None:
        """Enter the class that was read; None, and `said` tells why, where it cannot be."""
        home = course_folder()
        try:
            if self._found is None:
                raise GainError("choose your class's start file first.")
            if home is None:
                raise GainError("this page lies in no folder of a learner's; close it, then: gainlib open FILE.")
            if not learner_id and not self._found.of.learner:
                raise GainError("say who you are.")
            here = enrol(home, self._found.path, learner_of(self._found, learner_id), follow=False)
            if here.name and not Progress.at(home, make=False).learner_name:
                Progress.at(home, name=here.name)
        except GainError as fault:
            self.said = [f"Not joined: {str(fault).replace('--learner', 'the id')}"]
            self.answered += 1
            return None
        with self.hold_sync():
            self._drop()
            self._show(here)
            top = f"You are {here.name or here.learner_id} in {here.of.title}. What is set stands on top of this page."
            self.said = [top, *here.news]
            self.joined += 1
        return here

    def static_html(self) -> str:
        """How one joins a class; nothing for who is in one."""
        return f"<p>{escape(self.who)}</p>" if self.who else ""

    def close(self) -> None:
        """Free it, and what was read."""
        self._drop()
        super().close()

    def _show(self, here: Enrolment | None) -> None:
        self.opened = here is None
        self.may = not os.environ.get(HUB_CLASS)
        if here is None:
            self.who = f"In a class? Open the start file that your teacher gave you; its name ends with {ENDING}."
        else:
            self.who = ""  # whoever may hand in is told so there
            self.invites = "Open a newer start file, or another class's"

    def _drop(self) -> None:
        self._coming, self._found, self.people, self.asks, self.known = [], None, [], "", ""
        self.wanted = self.received = 0
        if self._place is not None:
            self._place.cleanup()
            self._place = None

    def _asked(self, _widget: object, content: dict[str, Any], buffers: list[Any]) -> None:
        kind = content.get("kind")
        if kind == "file":
            self._begin(content.get("name"), content.get("size"))
        elif kind == "part" and buffers and self.wanted and content.get("from") == self.received:
            self._coming.append(bytes(buffers[0]))
            if sum(map(len, self._coming)) > self._size:
                self._drop()
                self.said = ["Not opened: it came otherwise than it was announced; choose it again."]
            elif sum(map(len, self._coming)) == self._size:
                self.take(self._name, b"".join(self._coming))
            else:
                self.received = sum(map(len, self._coming))
        elif kind == "join":
            self.join(str(content.get("learner", "")))

    def _begin(self, name: object, size: object) -> None:
        self._drop()
        name = name if isinstance(name, str) and name.isprintable() else f"the file{ENDING}"
        if not isinstance(size, int) or not 0 < size <= LARGEST_HERE_BYTES:
            self.said = [
                f"Not opened: {name} is empty, or larger than {LARGEST_HERE_BYTES // 1_000_000} MB; a larger one is "
                "opened by: gainlib open FILE."
            ]
            return
        self._name, self._size = name, size
        self.said = [f"Reading {name} …"]
        self.wanted = size

    def __repr__(self) -> str:
        return f"<join a class: {' '.join([self.who, *self.said])}>"


def join_class() -> JoinClass:
    """Where a learner joins a class by its start file; as the last line of a cell it shows itself.

    The file is chosen on the page or dropped there; one for all asks who one is. The exercises that it holds are laid
    in the learner's folder, and stand on the page of contents.

    Returns
    -------
    JoinClass
        `said` tells what came of a file that was chosen.

    Examples
    --------
    >>> join_class().invites
    'Join a class'
    """
    return JoinClass()
