"""What a command does before it imports anything: it takes no module from the folder that it is called in, and hears
Ctrl-C."""

from __future__ import annotations

import os
import sys
from types import TracebackType

__all__ = ["ENDED", "hear_the_end", "leave_out_the_current_folder"]

ENDED = "ended before its end; only what is told as done or written is."
"""What is said where Ctrl-C ends a command that has no more to tell about it."""
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


def hear_the_end() -> None:
    """Have Ctrl-C end this process with a sentence and the status 2 while it imports, as it does later."""
    told = sys.excepthook

    def hook(kind: type[BaseException], fault: BaseException, trace: TracebackType | None) -> None:
        if kind is not KeyboardInterrupt:
            told(kind, fault, trace)
            return
        print(f"gainlib: {ENDED}", file=sys.stderr)
        raise SystemExit(2)

    sys.excepthook = hook
