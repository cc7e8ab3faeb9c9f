"""A first exercise file for an author: sound already, each entry explained, to be changed piece by piece."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

from gainlib.errors import GainError, suggest
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.storage import atomic_write
from gainlib.text import describe_value

__all__ = ["new_exercise", "require_name", "template_of"]

NAME = re.compile(r"(?:[a-z0-9]+(?:-[a-z0-9]+)*/)?[a-z0-9]+(?:-[a-z0-9]+)*")
LONGEST_NAME = 80


def new_exercise(name: str, *, kind: str = "set", folder: Path | None = None) -> Path:
    """Write an exercise file that is sound already, with a comment at each entry; gives its path.

    `name` is `name` or `topic/name`; the file goes into `folder` (by default where you are), a topic's folder is made.
    Raises GainError for a name that cannot be one, a kind that is not known, and a file that is there already.

    >>> import tempfile
    >>> new_exercise("levels/hot-bass", folder=Path(tempfile.mkdtemp())).name
    'hot-bass.toml'
    """
    plain = require_name(name)
    text = template_of(kind)
    file = (folder or Path()) / f"{plain}.toml"
    title = plain.rpartition("/")[2].replace("-", " ").capitalize()
    if file.exists() or file.is_symlink():
        raise GainError(f"{file} is there already; choose another name, or move the file away.")
    then = "; go to a folder that you may write to"
    return atomic_write(file, text.replace("TITLE", title), make_folder=True, then=then)


def template_of(kind: object) -> str:
    """The exercise file of that kind that an author begins with; GainError for a kind that is not known.

    >>> template_of("find").splitlines()[4]
    'title  = "TITLE"                      # what it is headed with'
    """
    if not isinstance(kind, str) or kind not in EXERCISE_KINDS:
        raise GainError(f"kind is {describe_value(kind)}; {suggest(str(kind)[:80], EXERCISE_KINDS)}")
    return (resources.files("gainlib") / "authoring" / "templates" / f"{kind}.toml").read_text(encoding="utf-8")


def require_name(name: object) -> str:
    """The name of an exercise without its ending; GainError for what cannot be one.

    >>> require_name("levels/hot-bass.toml")
    'levels/hot-bass'
    """
    plain = name.removesuffix(".toml") if isinstance(name, str) else ""
    if len(plain) > LONGEST_NAME or not NAME.fullmatch(plain):
        raise GainError(
            f"the name is {describe_value(name)}; give small letters, digits and hyphens, such as levels/hot-bass."
        )
    return plain
