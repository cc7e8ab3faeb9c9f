"""What a command does before it imports anything: it takes no module from the folder that it is called in."""

from __future__ import annotations

import os
import sys

__all__ = ["leave_out_the_current_folder"]

_OURS = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))


def leave_out_the_current_folder() -> None:
    """Have this process, and whatever it starts, import nothing from where PYTHONPATH names no whole path.

    An empty entry, as a colon too many leaves one, means the current folder, and that may be a stranger's. No program
    can keep Python from taking there what it imports before a program begins: `sitecustomize`, and the program itself.
    """
    given = os.environ.get("PYTHONPATH", "")
    if not given:
        return
    entries = given.split(os.pathsep)
    whole = [each for each in entries if os.path.isabs(each)]
    os.environ["PYTHONPATH"] = os.pathsep.join(whole)
    left_out = {os.path.abspath(each) for each in entries if not os.path.isabs(each)} - {*whole, _OURS}
    sys.path[:] = [each for each in sys.path if os.path.abspath(each) not in left_out]
