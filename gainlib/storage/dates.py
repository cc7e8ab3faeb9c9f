"""What the date of a file tells."""

from __future__ import annotations

import os
import time

__all__ = ["is_settled"]

_COARSEST_SECONDS = 2.0
"""A stick's file system keeps the time of a writing to 2 s (*published*: Microsoft, FAT32 File System Specification,
1.03, Date and Time Formats), most disks' to the tick of the system's clock, 1 to 16 ms (*common practice*)."""


def is_settled(found: os.stat_result) -> bool:
    """Whether a file that is written anew from now on will have another date than it has: once the last is 2 s ago.

    Until then its size and date do not tell whether it is what was read of it, so it is to be read again.

    >>> import tempfile
    >>> with tempfile.NamedTemporaryFile() as made:
    ...     os.utime(made.name, (1e9, 1e9))
    ...     is_settled(os.stat(made.name))
    True
    """
    return time.time() - found.st_mtime > _COARSEST_SECONDS
