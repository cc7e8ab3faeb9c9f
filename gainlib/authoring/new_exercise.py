"""A first exercise file for an author: sound already, each entry explained, to be changed piece by piece."""

from __future__ import annotations

import re
from importlib import resources
from pathlib import Path

from gainlib.errors import GainError, nearest
from gainlib.exercises.tables import KINDS, shown

__all__ = ["new_exercise"]

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
    plain = name.removesuffix(".toml") if isinstance(name, str) else ""
    if len(plain) > LONGEST_NAME or not NAME.fullmatch(plain):
        raise GainError(f"the name is {shown(name)}; give small letters, digits and hyphens, such as levels/hot-bass.")
    if kind not in KINDS:
        raise GainError(f"kind is {shown(kind)}; {nearest(str(kind)[:80], KINDS)}")
    text = (resources.files("gainlib") / "authoring" / "templates" / f"{kind}.toml").read_text(encoding="utf-8")
    file = (folder or Path()) / f"{plain}.toml"
    title = plain.rpartition("/")[2].replace("-", " ").capitalize()
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("x", encoding="utf-8", newline="\n") as out:
            out.write(text.replace("TITLE", title))
    except FileExistsError as fault:
        raise GainError(f"{file} is there already; choose another name, or move the file away.") from fault
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise GainError(f"{file} cannot be written ({reason}); go to a folder that you may write to.") from fault
    return file
