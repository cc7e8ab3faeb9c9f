"""The one way to write a file: whole or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from gainlib.errors import GainError
from gainlib.storage.paths import given_path
from gainlib.text import path_text, printable, reason_of

__all__ = ["atomic_files", "atomic_path", "atomic_write", "fault_of_disk"]

_HALF = ".half-"
_PROBE_BYTES = 1024 * 1024  # no less than a library writes at once, so that a disk with little left says so


def atomic_write(
    path: str | os.PathLike[str],
    content: str | bytes,
    *,
    private: bool = False,
    shared: bool = False,
    make_folder: bool = False,
    then: str = "",
) -> Path:
    """Write a file whole or not at all, a text as UTF-8 with its line ends as they are; gives the path back.

    What stands there is replaced in one step, and only when the new file is on the disk. A new file gets the access
    that the umask leaves; it is for its owner only where it is `private`, and other users may read it where it is
    `shared`, whatever the umask. With `make_folder` its folder is made, where it is not there. Raises GainError, with
    the system's reason and `then` behind it.

    >>> folder = Path(tempfile.mkdtemp())
    >>> atomic_write(folder / "note.txt", "one line").read_text()
    'one line'
    >>> [each.name for each in folder.iterdir()]
    ['note.txt']
    >>> atomic_write(folder / "nowhere" / "note.txt", "one line", then="; make it first")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: .../nowhere/note.txt cannot be written (no such file or directory); make it first.
    """
    with atomic_path(path, private=private, shared=shared, make_folder=make_folder, then=then) as half:
        half.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return Path(path)


@contextlib.contextmanager
def atomic_path(
    path: str | os.PathLike[str],
    *,
    private: bool = False,
    shared: bool = False,
    make_folder: bool = False,
    then: str = "",
) -> Iterator[Path]:
    """A file beside `path` to be written, which takes its place when all went well, and is gone when not.

    For what must be given a path to write to; else as `atomic_write`. An OSError within is told as a GainError.

    >>> folder = Path(tempfile.mkdtemp())
    >>> with atomic_path(folder / "note.txt") as half:
    ...     _ = half.write_text("one line")
    >>> [each.name for each in folder.iterdir()]
    ['note.txt']
    """
    where = given_path(path)
    # A name of its own and as short as can be: the file's own may be as long as the system allows.
    half = where.with_name(f"{_HALF}{secrets.token_hex(4)}{where.suffix[-16:]}")
    if make_folder:
        try:
            where.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise GainError(f"{_meant(where.parent)} cannot be made ({reason_of(fault)}){then}.") from fault
    try:
        # The system takes the umask off here; to ask for it would change it for every thread.
        os.close(os.open(half, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600 if private else 0o666))
        try:
            yield half
            with half.open("r+b") as written:
                os.fsync(written.fileno())
            if shared:
                half.chmod(0o644)
            os.replace(half, where)
        finally:
            half.unlink(missing_ok=True)
    except OSError as fault:
        raise GainError(f"{_meant(where)} cannot be written ({reason_of(fault)}){then}.") from fault


@contextlib.contextmanager
def atomic_files(folder: str | os.PathLike[str], *, then: str = "") -> Iterator[Path]:
    """A folder to be filled with files that take their places in `folder` together when all went well.

    `folder` is made where it is not there, its parent is not. When not all went well, nothing is left behind. An
    OSError within is told as a GainError, with the system's reason and `then` behind it.

    >>> folder = Path(tempfile.mkdtemp()) / "copies"
    >>> with atomic_files(folder) as half:
    ...     _ = (half / "a.txt").write_text("one"), (half / "b.txt").write_text("two")
    >>> sorted(each.name for each in folder.iterdir())
    ['a.txt', 'b.txt']
    """
    where = given_path(folder)
    made, half = not where.exists(), None
    try:
        where.mkdir(exist_ok=True)
        half = Path(tempfile.mkdtemp(prefix=_HALF, dir=where))
        yield half
        for file in sorted(half.iterdir()):
            os.replace(file, where / file.name)
    except OSError as fault:
        raise GainError(f"{printable(where)} cannot be written to ({reason_of(fault)}){then}.") from fault
    finally:
        if half is not None:
            shutil.rmtree(half, ignore_errors=True)
        if made and where.is_dir() and not any(where.iterdir()):
            where.rmdir()


def fault_of_disk(half: Path) -> OSError | None:
    """What the system says when a half-written file shall grow by a little; None where it may.

    For a library that knows no more of a full disk than that something went wrong.

    >>> fault_of_disk(Path(tempfile.mkdtemp()) / "new.half")
    """
    try:
        with half.open("ab") as file:
            file.write(bytes(_PROBE_BYTES))
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        return fault
    return None


def _meant(path: Path) -> str:
    """The file that is meant, also where it is written as one of several."""
    return path_text(Path(*(part for part in path.parts if not part.startswith(_HALF))))
