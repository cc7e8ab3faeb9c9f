"""Where gainlib keeps what is not the learner's work: a folder of this user's own that lies in no course folder.

A course folder is zipped, mailed, shared and carried on sticks, so what programs obey (settings, kernels, compiled
loops) must not be taken from it.
"""

from __future__ import annotations

import atexit
import functools
import os
import shutil
import stat
import tempfile
from pathlib import Path

import platformdirs

__all__ = ["made_private", "state_folder"]

ELSEWHERE = "GAINLIB_STATE"
"""The environment variable that names another folder for it."""


def state_folder() -> Path:
    """The folder, made where it is not there: for this user only, whatever the umask.

    It is the one that GAINLIB_STATE names, else where this system keeps such things of a user's. Where neither can be
    written to it is one in the system's folder for temporary files, which may be gone after the next start.

    >>> state_folder().is_dir()
    True
    """
    wanted = os.environ.get(ELSEWHERE, "")
    usual = Path(wanted) if os.path.isabs(wanted) else platformdirs.user_state_path("gainlib", appauthor=False)
    if usual.is_absolute() and made_private(usual):
        return usual
    # Others can make a folder of this name there, or a link: then it is not this user's.
    user = os.geteuid() if hasattr(os, "geteuid") else os.environ.get("USERNAME", "user")
    fallback = Path(tempfile.gettempdir(), f"gainlib-{user}")
    return fallback if not fallback.is_symlink() and made_private(fallback) else _thrown_away()


def made_private(folder: Path) -> bool:
    """Make a folder that only this user can open, or close one that is there; False where it cannot be so.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp(), "own")
    >>> made_private(folder), folder.is_dir()
    (True, True)
    """
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if os.name != "nt":
            found = folder.stat()
            if not stat.S_ISDIR(found.st_mode) or found.st_uid != os.geteuid():
                return False
            if stat.S_IMODE(found.st_mode) != 0o700:
                folder.chmod(0o700)
        return os.access(folder, os.W_OK | os.X_OK)
    except OSError:
        return False


@functools.cache
def _thrown_away() -> Path:
    made = tempfile.mkdtemp(prefix="gainlib-")
    atexit.register(shutil.rmtree, made, ignore_errors=True)
    return Path(made)
