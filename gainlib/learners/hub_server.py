"""A learner's server on a JupyterHub: what the hub starts when somebody signs in, as that user."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

from gainlib import __version__
from gainlib.errors import GainError
from gainlib.jupyter_home import course_place, jupyter_environment
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.jupyter_server import COURSE_OPTIONS
from gainlib.page import course_digests
from gainlib.state import state_folder
from gainlib.text import reason_of

__all__ = ["main", "prepared"]

FOLDER = "gainlib-course"
LOOPS = "NUMBA_CACHE_DIR"


def prepared(home: Path, options: Sequence[str]) -> tuple[list[str], dict[str, str], Path]:
    """Lay the lessons in the learner's home; the server's command, its environment, and the folder that it starts in.

    `options` are the hub's own, and count where they say otherwise. What the hub put into the environment is kept.
    Raises GainError where something cannot be written.
    """
    folder = install_lessons(home / FOLDER, __version__).folder
    place = course_place(folder)
    environment = jupyter_environment(place, list(course_digests().values()))
    command = [*(sys.executable, "-P", "-m", "jupyterhub.singleuser"), f"--ServerApp.root_dir={folder}"]
    return [*command, *COURSE_OPTIONS, *options], environment | _own_loops(), place


def _own_loops() -> dict[str, str]:
    """Loops that were compiled once for all, where the user cannot write to them, are kept as a copy of their own."""
    given = os.environ.get(LOOPS, "")
    if not given or not os.path.isdir(given) or os.access(given, os.W_OK):
        return {}
    own = state_folder() / "loops"
    try:
        shutil.copytree(given, own, dirs_exist_ok=True)
    except OSError as fault:
        print(f"gainlib: {given} cannot be copied ({reason_of(fault)}); loops are compiled again.", file=sys.stderr)
    return {LOOPS: str(own)}


def main() -> None:
    """Become the server; what hinders that is one line for the hub's log."""
    try:
        command, environment, place = prepared(Path.home(), sys.argv[1:])
    except GainError as fault:
        sys.exit(f"gainlib: {fault}")
    os.chdir(place)
    os.execve(command[0], command, environment)


if __name__ == "__main__":
    main()
