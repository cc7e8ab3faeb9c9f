"""A file that grows by a line at a time, and who may write to it alone: nothing that stands in it is written again."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from gainlib.errors import GainError
from gainlib.text import printable, reason_of

__all__ = ["append_line", "held_alone"]

_PATIENCE_SECONDS = 5.0


@contextlib.contextmanager
def held_alone(lock: str | os.PathLike[str], patience_seconds: float = _PATIENCE_SECONDS) -> Iterator[str]:
    """Be the only one, of all processes and threads, that holds this lock; gives why it could not be held, else "".

    The lock is a file of its own, which stays: to remove it would let two in. Who is killed lets go of it. On a network
    folder without locks, or where another holds it for longer than the patience, the block is run all the same, and
    what it is given says so; nothing is raised.

    >>> import tempfile
    >>> with held_alone(Path(tempfile.mkdtemp()) / ".lock") as why:
    ...     why
    ''
    """
    from filelock import FileLock, Timeout  # asyncio comes with it: 70 ms that only who writes has to wait

    why = ""
    held = FileLock(lock)
    try:
        held.acquire(timeout=patience_seconds, poll_interval=0.005)
    except Timeout:
        why = "another program holds it"
    except (OSError, NotImplementedError) as fault:
        why = reason_of(fault) if isinstance(fault, OSError) else "no locks available"
    try:
        yield why
    finally:
        if not why:
            with contextlib.suppress(OSError):
                held.release()


def append_line(path: str | os.PathLike[str], line: str, *, private: bool = False, then: str = "") -> Path:
    """Add one line to a file, which is made where it is not there; gives the path back when it is on the disk.

    A line that was cut off before it, as by a killed process, is left as it is and does not swallow this one. Raises
    GainError, with the system's reason and `then` behind it, and then the file is as it was.

    >>> import tempfile
    >>> append_line(append_line(Path(tempfile.mkdtemp()) / "log.jsonl", "1"), "2").read_text()
    '1\\n2\\n'
    """
    where = Path(path)
    try:
        end = None
        file = os.open(where, os.O_RDWR | os.O_CREAT | os.O_APPEND | _BINARY, 0o600 if private else 0o666)
        try:
            end = os.lseek(file, 0, os.SEEK_END)
            left = line.encode("utf-8") + b"\n"
            if end:
                os.lseek(file, end - 1, os.SEEK_SET)
                left = left if os.read(file, 1) == b"\n" else b"\n" + left
            while left:
                left = left[os.write(file, left) :]
            os.fsync(file)
        except BaseException:
            if end is not None:
                with contextlib.suppress(OSError):
                    os.ftruncate(file, end)
            raise
        finally:
            os.close(file)
    except OSError as fault:
        raise GainError(f"{printable(where)} cannot be written ({reason_of(fault)}){then}.") from fault
    return where


_BINARY: int = getattr(os, "O_BINARY", 0)  # Windows would turn line ends
