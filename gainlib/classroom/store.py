"""The marks store: one SQLite file with what was found in the folder, and each mark by the digest of all it depends on.

A mark that is there is never made again; a run that was killed goes on from the last that was written.
"""

from __future__ import annotations

import json
import os
import sqlite3
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib.classroom.marking import Work
from gainlib.errors import GainError

__all__ = ["HandedFile", "Store"]

_TABLES = """
CREATE TABLE IF NOT EXISTS marks (key TEXT PRIMARY KEY, mark TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS pages (name TEXT PRIMARY KEY, digest TEXT NOT NULL) WITHOUT ROWID;
DROP TABLE IF EXISTS files;
DROP TABLE IF EXISTS answers;
CREATE TABLE files (
  place TEXT, digest TEXT, learner TEXT, name TEXT, made TEXT, fault TEXT, counts INTEGER DEFAULT 0);
CREATE TABLE answers (
  place TEXT, learner TEXT, exercise TEXT, key TEXT, work TEXT, attempts INTEGER, fault TEXT);
"""
_SECONDS_BETWEEN_WRITES = 0.5


@dataclass(frozen=True)
class HandedFile:
    """One file of the folder: whose it is and when it was made, or the sentence that says why it gets no mark."""

    place: str
    digest: str
    learner: str = ""
    name: str = ""
    made: str = ""
    fault: str = ""


class Store:
    """The marks of one class in one file; open it with `with`. What was found is written new in each run."""

    def __init__(self, file: str | os.PathLike[str]) -> None:
        self.file = Path(file)
        try:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            self._base = sqlite3.connect(self.file, isolation_level=None, timeout=5)
            self._base.execute("PRAGMA synchronous=NORMAL")
            self._base.execute("BEGIN IMMEDIATE")
            self._base.execute("ROLLBACK")
            self._base.executescript(_TABLES)
            self.file.chmod(0o600)  # names and marks
        except (sqlite3.Error, OSError) as fault:
            raise GainError(
                f"{self.file} cannot be used ({str(fault).lower()}); end another marking, or move the file away."
            ) from fault
        self._last_write = time.monotonic()
        self._base.execute("BEGIN")

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Write what is to be written, and let the file go."""
        self._base.commit()
        self._base.close()

    def write(self, *, now: bool = False) -> None:
        """Make what was added safe against a killed process; at most twice a second unless `now`."""
        if now or time.monotonic() - self._last_write > _SECONDS_BETWEEN_WRITES:
            self._base.commit()
            self._base.execute("BEGIN")
            self._last_write = time.monotonic()

    def add_file(self, file: HandedFile) -> None:
        """Note one file of the folder."""
        self._base.execute(
            "INSERT INTO files (place, digest, learner, name, made, fault) VALUES (?, ?, ?, ?, ?, ?)",
            (file.place, file.digest, file.learner, file.name, file.made, file.fault),
        )

    def add_answer(self, place: str, learner: str, exercise: str, work: Work | None, attempts: int, fault: str) -> None:
        """Note one answer of a file: the work that marks it, or why it gets no mark."""
        self._base.execute(
            "INSERT INTO answers VALUES (?, ?, ?, ?, ?, ?, ?)",
            (place, learner, exercise, work.key if work else None, work.text if work else None,
             attempts, fault),
        )  # fmt: skip

    def choose(self) -> None:
        """Let the latest good hand-in of each learner count, whatever the order of the files; note it of the others."""
        self._base.execute(
            "UPDATE files SET counts = 1 WHERE rowid IN (SELECT rowid FROM (SELECT rowid, row_number() OVER "
            "(PARTITION BY learner ORDER BY made DESC, digest DESC, place) AS nth FROM files WHERE fault = '') "
            "WHERE nth = 1)"
        )
        self._base.execute("CREATE INDEX by_learner ON answers (learner)")
        self._base.execute("CREATE INDEX files_by_learner ON files (learner)")
        self._base.execute("DELETE FROM answers WHERE place NOT IN (SELECT place FROM files WHERE counts = 1)")
        self.write(now=True)

    def to_do(self) -> tuple[int, int]:
        """How many different answers count, and how many of them have no mark yet."""
        every, without = self._base.execute(
            "SELECT count(DISTINCT answers.key), count(DISTINCT CASE WHEN marks.key IS NULL THEN answers.key END) "
            "FROM answers LEFT JOIN marks USING (key) WHERE answers.key IS NOT NULL"
        ).fetchone()
        return int(every), int(without)

    def work(self) -> Iterator[Work]:
        """What has no mark yet, sorted by exercise, each once."""
        reading = self._base.cursor()
        last = ("", "")
        while True:
            # In portions, since marks are added meanwhile.
            rows = reading.execute(
                "SELECT DISTINCT exercise, key, work FROM answers WHERE key NOT NULL AND (exercise, key) > (?, ?) "
                "AND key NOT IN (SELECT key FROM marks) ORDER BY exercise, key LIMIT 500",
                last,
            ).fetchall()
            if not rows:
                return
            for exercise, key, work in rows:
                last = (exercise, key)
                yield Work.of(work)

    def add_mark(self, key: str, mark: dict[str, Any]) -> None:
        """Keep a mark; one that is there stays."""
        self._base.execute("INSERT OR IGNORE INTO marks VALUES (?, ?)", (key, json.dumps(mark, ensure_ascii=False)))

    def mark(self, key: str) -> dict[str, Any] | None:
        """The mark of that key, if there is one."""
        found = self._base.execute("SELECT mark FROM marks WHERE key = ?", (key,)).fetchone()
        return dict(json.loads(found[0])) if found else None

    def counted(self, learner: str) -> HandedFile | None:
        """The hand-in of a learner that counts."""
        row = self._base.execute(
            "SELECT place, digest, learner, name, made, fault FROM files WHERE counts = 1 AND learner = ?", (learner,)
        ).fetchone()
        return HandedFile(*row) if row else None

    def answers(self, learner: str) -> list[tuple[str, str | None, str | None, int, str]]:
        """The answers of a learner that count: exercise, key, work, attempts, fault."""
        return list(
            self._base.execute(
                "SELECT exercise, key, work, attempts, fault FROM answers WHERE learner = ? ORDER BY exercise",
                (learner,),
            )
        )

    def of_exercise(self, exercise: str) -> Iterator[tuple[str, str, str]]:
        """Every answer to an exercise that counts: learner, key, work."""
        yield from self._base.execute(
            "SELECT learner, key, work FROM answers WHERE exercise = ? AND key IS NOT NULL ORDER BY learner",
            (exercise,),
        )

    def files(self) -> Iterator[tuple[HandedFile, bool]]:
        """Every file that was found, with whether it counts, by place."""
        for *row, counts in self._base.execute(
            "SELECT place, digest, learner, name, made, fault, counts FROM files ORDER BY place, digest"
        ):
            yield HandedFile(*row), bool(counts)

    def names(self, learner: str) -> list[str]:
        """The names that the good hand-ins under this id carry, each once."""
        return [
            str(each[0])
            for each in self._base.execute(
                "SELECT DISTINCT name FROM files WHERE learner = ? AND fault = '' AND name != '' ORDER BY name",
                (learner,),
            )
        ]

    def learners(self) -> list[tuple[str, str]]:
        """Id and name of everybody whose hand-in counts, by id."""
        return [
            (str(each[0]), str(each[1]))
            for each in self._base.execute("SELECT learner, name FROM files WHERE counts = 1 ORDER BY learner")
        ]

    def page(self, name: str) -> str:
        """The digest of what a feedback page was made from; empty for one that was not made."""
        found = self._base.execute("SELECT digest FROM pages WHERE name = ?", (name,)).fetchone()
        return str(found[0]) if found else ""

    def add_page(self, name: str, digest: str) -> None:
        """Note that a page was made from this."""
        self._base.execute("INSERT OR REPLACE INTO pages VALUES (?, ?)", (name, digest))
