"""Who the learner of a folder is in a class: kept beside their progress, or told by the hub that they signed in to."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import unquote
from urllib.request import url2pathname

from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant
from gainlib.learners.course_folder import LOCK, MARK, course_folder
from gainlib.learners.learners_file import LARGEST_CLASS_BYTES, LearnersFile, home_of_exercises, read_learners_file
from gainlib.learners.naming import require_text
from gainlib.learners.progress import Progress
from gainlib.storage import atomic_write, given_path, held_alone
from gainlib.storage.foreign import read_text

__all__ = ["Enrolment", "enrol", "enrolled", "own_variant"]

CLASS_FILE = "class.toml"
ID_FILE = "learner-id.txt"
HUB_CLASS = "GAINLIB_CLASS"
HUB_USER = "JUPYTERHUB_USER"


@dataclass(frozen=True)
class Enrolment:
    """A learner's id in a class, and what their computer knows of that class; `home` is where its own exercises lie."""

    learner_id: str
    of: LearnersFile
    home: Path

    def variant(self, exercise: Exercise) -> Variant:
        """The exercise with this learner's numbers."""
        return exercise.variant(self.learner_id, self.key)

    @property
    def key(self) -> str:
        """The key that draws this learner's numbers and signs what they hand in."""
        return self.of.key_of(self.learner_id)

    @property
    def name(self) -> str:
        """The learner's name, where the file is their own; else empty."""
        return self.of.learner.name if self.of.learner else ""


def enrol(folder: str | os.PathLike[str], class_file: str | os.PathLike[str], learner_id: str = "") -> Enrolment:
    """Make this folder that of a learner of the class: from now on their numbers are drawn by their id and its key.

    A file of one's own says whose it is, one for all wants the id. The file is copied into the folder's hidden part;
    exercises of the teacher's own stay where they are. Raises GainError for an id that is not in the class, and for the
    teacher's file, since that holds all names.
    """
    source = given_path(class_file).resolve()
    found = read_learners_file(source)
    if not learner_id and not found.learner:
        raise GainError(f"{source.name} is for all of {found.title}; say who you are as well: --learner ID.")
    learner_id = require_text("--learner", learner_id or (found.learner.id if found.learner else ""))
    if found.learner and not found.knows(learner_id):
        raise GainError(
            f"--learner is {learner_id!r}, and {source.name} is the own file of {found.learner.id!r}; "
            "take the file that your teacher gave to you."
        )
    if not found.knows(learner_id):
        raise GainError(f"--learner is {learner_id!r}, which is no id of {found.title}; ask your teacher for yours.")
    mark = Path(folder) / MARK
    # As an address, since a folder's name may hold a line end, a quote or odd bytes, and this is a line of TOML.
    text = f"# from {source.as_uri()}\n" + read_text(source, LARGEST_CLASS_BYTES, "a class file")
    with held_alone(mark / LOCK):  # the class of one with the id of another would be nobody's
        # A key of one's own is for nobody else on this computer.
        atomic_write(mark / CLASS_FILE, text, private=True, make_folder=True, then="; name a folder of your own")
        atomic_write(mark / ID_FILE, learner_id + "\n", then="; name a folder of your own")
    return Enrolment(learner_id, found, home_of_exercises(source, found))


def enrolled(folder: str | os.PathLike[str] | None = None) -> Enrolment | None:
    """Who the learner of this folder (the current course, unless given) is in a class; None for one in no class.

    Under a hub that names a class for all its users, the learner is who signed in. Raises GainError for a class file
    that is damaged, and for one who signed in but is not in the class.
    """
    hub_class, hub_user = os.environ.get(HUB_CLASS), os.environ.get(HUB_USER)
    if hub_class and hub_user:
        found = read_learners_file(hub_class)
        if not found.knows(hub_user):
            raise GainError(f"you signed in as {hub_user!r}, who is not in {found.title}; ask your teacher.")
        return Enrolment(hub_user, found, home_of_exercises(Path(hub_class).resolve(), found))
    mark = Path(folder or course_folder() or Path.cwd()) / MARK
    if not (mark / CLASS_FILE).is_file():
        return None
    found = read_learners_file(mark / CLASS_FILE)
    try:
        home = (mark / CLASS_FILE).read_text(encoding="utf-8").partition("\n")[0].removeprefix("# from ")
        learner_id = (mark / ID_FILE).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise GainError(
            f"{mark / ID_FILE} cannot be read; enter the class again: gainlib open --class FILE --learner ID."
        ) from fault
    return Enrolment(require_text(ID_FILE, learner_id), found, home_of_exercises(_path_of(home), found))


def _path_of(address: str) -> Path:
    """The path that an address names; what is no address is a path already, as older folders have it."""
    if not address.startswith("file:"):
        return Path(address)
    if os.name == "nt":
        return Path(url2pathname(address.removeprefix("file:")))
    return Path(unquote(address.removeprefix("file://"), errors="surrogateescape"))


def own_variant(exercise: Exercise, progress: Progress) -> Variant:
    """The numbers of the learner whose progress this is: drawn for the class, where the exercise is one of its own.

    >>> from gainlib.exercises import load
    >>> import tempfile
    >>> progress = Progress.at(tempfile.mkdtemp())
    >>> own_variant(load("recording/leave-room"), progress).values.keys()
    dict_keys(['level'])
    """
    here = enrolled(progress.file.parent)
    if here is None or exercise.name not in {each.name for each in here.of.exercises}:
        return exercise.variant(progress.learner_id)
    return here.variant(exercise)
