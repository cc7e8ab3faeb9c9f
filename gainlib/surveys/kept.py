"""What a survey has measured, kept until it is whole, so that one that was ended or killed goes on from there."""

from __future__ import annotations

import contextlib
import functools
import os
import pickle
import sqlite3
import threading
import time
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from gainlib.sound_file import state_of
from gainlib.state import made_private, state_folder
from gainlib.storage import is_settled
from gainlib.surveys.stem import Stem

__all__ = ["FileWork", "KeptStems"]

KEPT_AFTER_SECONDS = 10.0
"""A survey that is done by then is done again as soon as read."""

_SECONDS_BETWEEN_WRITES = 1.0
_LONGEST_KEPT_SECONDS = 30 * 86_400.0
_TABLE = """
CREATE TABLE IF NOT EXISTS files (
  path BLOB PRIMARY KEY, state TEXT, engine TEXT, at REAL, stem BLOB) WITHOUT ROWID;
"""


@dataclass(frozen=True)
class FileWork:
    """One file to be measured: as it was found here, and by which gainlib (a digest of its sources).

    `state` is what changes when it is written anew, empty where that would not be seen by its date.

    >>> FileWork("bass.wav", "bass", 4, 0, "0123456789abcdef").name
    'bass'
    """

    path: str
    name: str
    size: int
    modified_ns: int
    engine: str
    state: str = ""

    @classmethod
    def of(cls, path: Path, name: str, engine: str) -> FileWork:
        """The work that a file is now; one that is not there any more is empty."""
        try:
            found, state = path.stat(), " ".join(map(str, state_of(path)))
        except OSError:
            return cls(os.fspath(path), name, 0, 0, engine)
        state = state if is_settled(found) else ""
        return cls(os.fspath(path), name, found.st_size, found.st_mtime_ns, engine, state)

    @functools.cached_property
    def key(self) -> bytes:
        """Its path with no links in it; names need not be text."""
        return os.fsencode(os.path.realpath(self.path))


class KeptStems:
    """Stems by their files, in this user's own folder; what cannot be kept or read is measured, and nothing is said.

    `file` is where. Stems are pickled: the folder is as private as that of the compiled loops, which are run.
    """

    def __init__(self) -> None:
        self.file = state_folder() / "surveys" / "measured.sqlite"
        self._base: sqlite3.Connection | None = None
        self._lock = threading.Lock()
        self._waiting: list[tuple[FileWork, Stem]] = []
        self._kept = False
        self._last_write = time.monotonic() + KEPT_AFTER_SECONDS - _SECONDS_BETWEEN_WRITES

    def of(self, work: FileWork) -> Stem | None:
        """The stem of a file that has not changed since it was measured, by the same gainlib."""
        if not work.state or not self.file.exists():
            return None
        asked = (work.key, work.state, work.engine)
        with self._lock, contextlib.suppress(sqlite3.Error, OSError, pickle.PickleError, AttributeError, EOFError):
            row = self._opened().execute("SELECT stem FROM files WHERE path = ? AND state = ? AND engine = ?", asked)
            found = row.fetchone()
            stem = None if found is None else pickle.loads(found[0])
            if isinstance(stem, Stem):
                self._kept = True
                return replace(stem, name=work.name, path=Path(work.path))
        return None

    def add(self, work: FileWork, stem: Stem) -> None:
        """Keep a stem; it is written when the survey has taken some time already."""
        if not work.state or stem.file_bytes != work.size:
            return  # it has changed, or may have, without being seen
        with self._lock:
            self._kept = True
            self._waiting.append((work, stem))
            if time.monotonic() - self._last_write >= _SECONDS_BETWEEN_WRITES:
                self._write()

    def leave(self) -> bool:
        """Write what is not written yet, for the next survey, and let the file go; whether anything is kept."""
        with self._lock:
            self._write()
            self._close()
            return self._kept and not self._waiting

    def forget(self, works: Iterable[FileWork]) -> None:
        """Take away what is kept of these files, and let the file go."""
        with self._lock:
            self._waiting.clear()
            if self._base is not None:
                with contextlib.suppress(sqlite3.Error):
                    self._base.executemany("DELETE FROM files WHERE path = ?", ((each.key,) for each in works))
                    self._base.commit()
                    self._base.execute("VACUUM")
            self._close()

    def _write(self) -> None:
        if not self._waiting:
            return
        now = time.time()
        with contextlib.suppress(sqlite3.Error, OSError, pickle.PickleError):
            base = self._opened()
            base.executemany(
                "INSERT OR REPLACE INTO files VALUES (?, ?, ?, ?, ?)",
                (
                    (work.key, work.state, work.engine, now, pickle.dumps(stem, protocol=5))
                    for work, stem in self._waiting
                ),
            )
            base.execute("DELETE FROM files WHERE at < ?", (now - _LONGEST_KEPT_SECONDS,))
            base.commit()
            self._waiting.clear()
        self._last_write = time.monotonic()

    def _opened(self) -> sqlite3.Connection:
        if self._base is None:
            if not made_private(self.file.parent):
                raise OSError(f"{self.file.parent} cannot be used")
            self._base = sqlite3.connect(self.file, timeout=5, check_same_thread=False)
            self._base.execute("PRAGMA synchronous=NORMAL")
            self._base.executescript(_TABLE)
        return self._base

    def _close(self) -> None:
        if self._base is not None:
            with contextlib.suppress(sqlite3.Error):
                self._base.close()
            self._base = None
