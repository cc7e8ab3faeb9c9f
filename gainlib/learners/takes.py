"""What a learner recorded: the folder `takes`, to which a take is only ever added."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.learners.course_folder import course_folder
from gainlib.sound_file import write
from gainlib.text import path_text, reason_of

__all__ = ["keep_take", "kept_takes", "takes_folder"]

FOLDER = "takes"


def takes_folder(start: str | os.PathLike[str] | None = None) -> Path:
    """Where takes are kept: in the learner's folder, outside one in the folder given (the current one unless given).

    >>> takes_folder("home").name
    'takes'
    """
    return (course_folder(start) or Path(start or ".").absolute()) / FOLDER


def kept_takes(folder: Path) -> tuple[Path, ...]:
    """The takes in a folder, the newest first; none where there is no such folder.

    >>> kept_takes(Path("no such folder"))
    ()
    """
    try:
        return tuple(sorted(folder.glob("take-*.wav"), key=lambda each: each.stem, reverse=True))
    except OSError:
        return ()


def keep_take(take: Audio, folder: Path, when: datetime | None = None) -> Path:
    """Write a take as a float WAV, sample by sample as it arrived, under a name that no other has; gives the path.

    The name tells when. Raises GainError, with the system's reason, where the folder or the file cannot be written.

    >>> import tempfile
    >>> import numpy as np
    >>> home, beep, noon = Path(tempfile.mkdtemp()), Audio(np.zeros(480), 48000), datetime(2026, 3, 1, 12, 0, 7)
    >>> [keep_take(beep, home / "takes", noon).name for _ in range(2)]
    ['take-2026-03-01-12-00-07.wav', 'take-2026-03-01-12-00-07-2.wav']
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise GainError(
            f"the folder {path_text(folder)} cannot be made ({reason_of(fault)}); make it first."
        ) from fault
    name = f"take-{when or datetime.now():%Y-%m-%d-%H-%M-%S}"
    path, number = folder / f"{name}.wav", 1
    while path.exists():
        number += 1
        path = folder / f"{name}-{number}.wav"
    return write(path, take, subtype="FLOAT")
