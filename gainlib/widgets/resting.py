"""What a kernel lets go of while its learner reads, so that many of them fit on one machine."""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
from typing import Any

from gainlib.flow import let_rest

__all__ = ["give_back", "rest_in_pauses"]

PAUSE_SECONDS = 20.0
_SHORT_SECONDS = 30
"""Up to here a session is rendered again in a moment; the course's recordings last 19 s at most."""


def give_back(*_: object) -> None:
    """Let short renderings rest and give the system back what is free.

    What is moved or heard next is rendered again. glibc alone would keep tens of megabytes that passed through; a
    C library without `malloc_trim` is left to itself.
    """
    let_rest(_SHORT_SECONDS)
    with contextlib.suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def rest_in_pauses(shell: Any) -> None:
    """Give back when a cell has run, and when nothing was moved for 20 s; a shell is asked once."""
    if "gainlib_pause" in shell.__dict__:
        return
    shell.gainlib_pause = None

    def pause_begins(*_: object) -> None:
        # Called after each cell and after each message of a widget; outside a kernel there is no loop, and no pause.
        with contextlib.suppress(RuntimeError):
            loop = asyncio.get_running_loop()
            if shell.gainlib_pause is not None:
                shell.gainlib_pause.cancel()
            shell.gainlib_pause = loop.call_later(PAUSE_SECONDS, give_back)

    shell.events.register("post_run_cell", give_back)
    shell.events.register("post_execute", pause_begins)
