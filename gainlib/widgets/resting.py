"""When a kernel pauses, as IPython tells it: after a cell, and when nothing was moved for a while."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

from gainlib.flow.buffers import PAUSE_SECONDS, give_back

__all__ = ["rest_in_pauses"]


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
