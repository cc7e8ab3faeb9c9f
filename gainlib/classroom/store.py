"""The marks store: one SQLite file with what was found in the folder, and each mark by the digest of all it depends on.

A mark that is there is never made again; a run that was killed goes on from the last that was written.
"""

from __future__ import annotations

import json
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from gainlib.classroom.decisions import WhichCounts
from gainlib.classroom.marking import Work
from gainlib.errors import GainError

__all__ = ["HandedFile", "KeptAnswer", "Store"]

_TABLES = """
CREATE TABLE IF NOT EXISTS marks (key TEXT PRIMARY KEY, mark TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS pages (name TEXT PRIMARY KEY, digest TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS told (learner TEXT PRIMARY KEY, line TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS changes (at TEXT NOT NULL, rows TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS seen (digest TEXT PRIMARY KEY, at TEXT NOT NULL) WITHOUT ROWID;
DROP TABLE IF EXISTS files;
DROP TABLE IF EXISTS answers;
CREATE TABLE files (
  place TEXT, digest TEXT, learner TEXT, name TEXT, made TEXT, answers INTEGER, ahead INTEGER, late INTEGER,
  numbers TEXT, fault TEXT,
  counts INTEGER DEFAULT 0);
CREATE TABLE answers (
  file INTEGER, learner TEXT, exercise TEXT, key TEXT, work TEXT, attempts INTEGER, fault TEXT);
"""
_FILE = "place, digest, learner, name, made, answers, ahead, late, numbers, fault"
_SECONDS_BETWEEN_WRITES = 0.5


@dataclass(frozen=True)
class HandedFile:
    """One file of the folder: whose it is, when it was made, how many answers it holds; or why it gets no mark.

    `ahead` is for a time that was still to come when the file was first seen, `late` for one after the due date. With
    a `fault`, `learner` is whom it seems to be from.
    """

    place: str
    digest: str
    learner: str = ""
    name: str = ""
    made: str = ""
    answers: int = 0
    ahead: bool = False
    late: bool = False
    numbers: str = ""
    fault: str = ""

    @property
    def foreign_numbers(self) -> dict[str, dict[str, Any]]:
        """By exercise, the numbers that it answers and that are not its learner's own."""
        return dict(json.loads(self.numbers)) if self.numbers else {}

    @property
    def made_at(self) -> datetime:
        """When it was made, by the clock of the learner's computer."""
        return datetime.fromisoformat(self.made)


@dataclass(frozen=True)
class KeptAnswer:
    """One answer of a file: the work that marks it, or why it gets no mark; and its mark, once there is one."""

    exercise: str
    work: Work | None
    attempts: int
    fault: str = ""
    mark: dict[str, Any] | None = None


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

    def __exit__(self, kind: object, fault: BaseException | None, *_: object) -> None:
        try:
            self.close()
        except sqlite3.Error as at_end:
            fault = fault or at_end
        if isinstance(fault, sqlite3.Error):
            raise GainError(
                f"{self.file} cannot be used any more ({str(fault).lower()}); what was marked before stands in it, so "
                "make room or mend the disk and mark again."
            ) from fault

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

    def first_seen(self, digest: str, now: datetime) -> datetime:
        """When a marking first met a file of this content: `now`, unless an earlier one did."""
        self._base.execute("INSERT OR IGNORE INTO seen VALUES (?, ?)", (digest, now.isoformat()))
        (at,) = self._base.execute("SELECT at FROM seen WHERE digest = ?", (digest,)).fetchone()
        return datetime.fromisoformat(at)

    def add_file(self, file: HandedFile, answers: Sequence[KeptAnswer] = ()) -> None:
        """Note one file of the folder, with its answers."""
        added = self._base.execute(f"INSERT INTO files ({_FILE}) VALUES ({', '.join('?' * 10)})", astuple(file))
        for each in answers:
            work = each.work
            self._base.execute(
                "INSERT INTO answers VALUES (?, ?, ?, ?, ?, ?, ?)",
                (added.lastrowid, file.learner, each.exercise, work.key if work else None,
                 work.text if work else None, each.attempts, each.fault),
            )  # fmt: skip

    def choose(self, rule: WhichCounts = "latest") -> None:
        """Let a good hand-in of each learner count by that rule, whatever the order of the files.

        One that is dated ahead counts only where there is no other. For the best in time all that are in time count,
        until `settle` is told which of them is the best.
        """
        order = f"ahead, {'' if rule == 'latest' else 'late, '}made DESC, digest DESC, place"
        self._base.execute(
            f"UPDATE files SET counts = 1 WHERE rowid IN (SELECT rowid FROM (SELECT rowid, row_number() OVER "
            f"(PARTITION BY learner ORDER BY {order}) AS nth FROM files WHERE fault = '') WHERE nth = 1)"
        )
        if rule == "best in time":
            self._base.execute("UPDATE files SET counts = 1 WHERE fault = '' AND NOT ahead AND NOT late")
        self._base.execute("CREATE INDEX by_learner ON answers (learner)")
        self._base.execute("CREATE INDEX by_exercise ON answers (exercise, key)")
        self._base.execute("CREATE INDEX files_by_learner ON files (learner)")
        self._only_counting()

    def _only_counting(self) -> None:
        self._base.execute("DELETE FROM answers WHERE file NOT IN (SELECT rowid FROM files WHERE counts = 1)")
        self.write(now=True)

    def contested(self) -> Iterator[tuple[str, list[tuple[int, list[KeptAnswer]]]]]:
        """Each learner of whom several hand-ins count still: their numbers and answers, the latest first."""
        rows = self._base.execute("SELECT learner FROM files WHERE counts = 1 GROUP BY learner HAVING count(*) > 1")
        for (learner,) in rows.fetchall():
            files = self._base.execute(
                "SELECT rowid FROM files WHERE counts = 1 AND learner = ? ORDER BY made DESC, digest DESC, place",
                (learner,),
            ).fetchall()
            yield learner, [(file, self.answers(learner, file)) for (file,) in files]

    def settle(self, best: Iterable[tuple[str, int]]) -> None:
        """Let one hand-in of each of these learners count, by its number, and none of their others."""
        for learner, file in best:
            self._base.execute("UPDATE files SET counts = 0 WHERE learner = ? AND rowid != ?", (learner, file))
        self._only_counting()

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
            # In portions, since marks are added meanwhile; each begins in the index where the last one ended.
            rows = reading.execute(
                "SELECT exercise, key, work FROM answers WHERE key NOT NULL AND (exercise, key) > (?, ?) "
                "AND NOT EXISTS (SELECT 1 FROM marks WHERE marks.key = answers.key) "
                "GROUP BY exercise, key ORDER BY exercise, key LIMIT 500",
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

    def answers(self, learner: str, file: int | None = None) -> list[KeptAnswer]:
        """The answers of a learner that count, or those of one of their hand-ins, by its number."""
        return [
            KeptAnswer(exercise, Work.of(work) if work else None, attempts, fault, json.loads(mark) if mark else None)
            for exercise, work, attempts, fault, mark in self._base.execute(
                "SELECT exercise, work, attempts, fault, mark FROM answers LEFT JOIN marks USING (key) "
                "WHERE learner = ? AND ifnull(file = ?, 1) ORDER BY exercise",
                (learner, file),
            )
        ]

    def of_exercise(self, exercise: str) -> Iterator[tuple[str, Work, dict[str, Any]]]:
        """Every marked answer to an exercise that counts: learner, work, mark."""
        for learner, work, mark in self._base.execute(
            "SELECT learner, work, mark FROM answers JOIN marks USING (key) WHERE exercise = ? ORDER BY learner",
            (exercise,),
        ):
            yield learner, Work.of(work), json.loads(mark)

    def files(self, learner: str | None = None) -> Iterator[tuple[HandedFile, bool]]:
        """Every file that was found, or those of a learner, with whether it counts, by place."""
        of = "" if learner is None else "WHERE learner = ?"
        for *row, counts in self._base.execute(
            f"SELECT {_FILE}, counts FROM files {of} ORDER BY place, digest", () if learner is None else (learner,)
        ):
            yield HandedFile(*row), bool(counts)

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

    def has_told(self) -> bool:
        """Whether an earlier marking came to its end."""
        return self._base.execute("SELECT 1 FROM told LIMIT 1").fetchone() is not None

    def told(self, learner: str) -> dict[str, Any] | None:
        """What the last marking told of a learner, if it told anything."""
        found = self._base.execute("SELECT line FROM told WHERE learner = ?", (learner,)).fetchone()
        return dict(json.loads(found[0])) if found else None

    def keep_told(self, lines: Iterable[tuple[str, str]], changes: tuple[str, str] | None) -> None:
        """Keep what this marking told of each learner, and what it changed with its time, both or neither."""
        self._base.execute("DELETE FROM told")
        self._base.executemany("INSERT INTO told VALUES (?, ?)", lines)
        if changes:
            self._base.execute("INSERT INTO changes VALUES (?, ?)", changes)
        self.write(now=True)

    def changes(self, most: int) -> list[tuple[str, list[dict[str, str]]]]:
        """What the last markings changed, with their times, the newest first."""
        found = self._base.execute("SELECT at, rows FROM changes ORDER BY rowid DESC LIMIT ?", (most,))
        return [(at, json.loads(rows)) for at, rows in found]
