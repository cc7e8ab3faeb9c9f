"""A path as somebody gives it, or one sentence where no file of this system can have it."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from gainlib.errors import GainError
from gainlib.text import describe_value, path_text, reason_of

__all__ = ["given_path"]

_ABOUT_NAMES = (errno.ENAMETOOLONG, errno.EINVAL, errno.ELOOP)


def given_path(path: str | os.PathLike[str]) -> Path:
    """The path, whether or not anything is there; GainError where nothing ever can be, or it is no path.

    To be asked once where a path comes in, since `exists`, `resolve` and their like raise for such a path.

    >>> given_path("stems/kick.wav").name
    'kick.wav'
    >>> given_path("x" * 5000)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: xxx...xxx can be no file's name (file name too long); give another.
    """
    try:
        os.lstat(path)
    except (OSError, ValueError) as fault:
        if not isinstance(fault, OSError) or fault.errno in _ABOUT_NAMES:
            raise GainError(f"{path_text(path)} can be no file's name ({reason_of(fault)}); give another.") from fault
    except TypeError as fault:
        raise GainError(f"a path is {describe_value(path)}; give text such as 'stems/kick.wav'.") from fault
    return Path(path)
