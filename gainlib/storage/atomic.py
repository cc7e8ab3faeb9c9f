"""Files that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

__all__ = ["taking_its_place"]


@contextlib.contextmanager
def taking_its_place(where: Path) -> Iterator[Path]:
    """A file beside `where` to be written, which takes its place when all went well, and is gone when not.

    It gets the access that any new file gets. Raises OSError where the folder or the disk does not take it.

    >>> folder = Path(tempfile.mkdtemp())
    >>> with taking_its_place(folder / "note.txt") as half:
    ...     _ = half.write_text("one line")
    >>> [each.name for each in folder.iterdir()]
    ['note.txt']
    """
    # A name of its own and as short as can be: the file's own may be as long as the system allows.
    handle, name = tempfile.mkstemp(prefix=".half-", suffix=where.suffix[-16:], dir=where.parent)
    os.close(handle)
    half = Path(name)
    try:
        yield half
        mask = os.umask(0)
        os.umask(mask)
        half.chmod(0o666 & ~mask)
        with half.open("rb") as written:
            os.fsync(written.fileno())
        os.replace(half, where)
    finally:
        half.unlink(missing_ok=True)
