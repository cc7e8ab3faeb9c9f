"""What is handed over with stems: checksums, and an inventory as a table and as a text."""

from __future__ import annotations

import datetime
import hashlib
import math
import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from gainlib.broadcast import Broadcast
from gainlib.errors import GainError
from gainlib.sound_file import SoundFile
from gainlib.storage import Cell, atomic_files, csv_text, given_path
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.folder import INVENTORY_FILES as FILES
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.sound_changes import CODINGS
from gainlib.text import clock, counted, path_text, printable, reason_of, signed, spaced

__all__ = ["FILES", "require_room", "write_inventory"]

_READ_BYTES = 1 << 20
_APART_LU = 0.2  # a header's loudness has hundredths; more than that is another sound's


@dataclass(frozen=True)
class _Item:
    """One file that is handed over."""

    path: Path
    name: str
    form: str
    coding: str
    rate_hz: int
    channels: int
    frames: int
    said: Broadcast | None
    sha256: str
    size: int
    loudness_lufs: float | None
    true_peak_dbtp: float
    notes: tuple[str, ...]

    @property
    def seconds(self) -> float:
        return self.frames / self.rate_hz

    @property
    def starts_at(self) -> int | None:
        return None if self.said is None else self.said.starts_at


def require_room(folder: str | os.PathLike[str], *, overwrite: bool = False, made_later: Path | None = None) -> Path:
    """The folder, or a GainError where an inventory cannot stand in it; the folder `made_later` is on its way.

    >>> require_room("folder-of-nobody")
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: the folder folder-of-nobody is not there; make it first.
    """
    where = given_path(folder)
    on_its_way = made_later is not None and where.resolve() == given_path(made_later).resolve()
    if where.exists() and not where.is_dir():
        raise GainError(f"{printable(folder)} is a file; name the folder that is handed over.")
    if not where.exists() and not on_its_way:
        raise GainError(f"the folder {printable(folder)} is not there; make it first.")
    there = [each for each in FILES if (where / each).exists()]
    if there and not overwrite:
        raise GainError(f"{there[0]} is in {printable(folder)} already; name another folder or say --overwrite.")
    return where


def write_inventory(
    survey: SurveyResult,
    folder: str | os.PathLike[str],
    *,
    copies: Sequence[Path] = (),
    overwrite: bool = False,
    on: datetime.date | None = None,
) -> tuple[Path, ...]:
    """Write checksums and an inventory of the stems into a folder; gives the three paths.

    `checksums.sha256` is what `sha256sum -c` reads when it is run in that folder; `inventory.csv` is a row a file for a
    table program, `inventory.txt` the same for a person, with what the survey found as notes. With `copies`, as
    `export` gave them, these are listed instead of the originals. `on` is the date that it bears, today's unless given.
    Raises GainError for files that are there already unless `overwrite` is set, and where they cannot be written.
    """
    where = require_room(folder, overwrite=overwrite)
    stems = sorted(survey.stems, key=lambda stem: stem.name)
    paths = list(copies) or [each.path for each in stems]
    with ThreadPoolExecutor(survey.workers) as pool:
        jobs = zip(paths, [each.name for each in stems], strict=True)
        items = list(pool.map(lambda job: _item(survey, *job, trimmed=bool(copies)), jobs))
    with atomic_files(where, then="; choose another folder") as half:
        (half / FILES[0]).write_bytes(b"".join(_checksum_line(each, where) for each in items))
        (half / FILES[1]).write_text(_table(items, where), encoding="utf-8", newline="")
        (half / FILES[2]).write_text(_text(survey, items, where, on or datetime.date.today()), encoding="utf-8")
    return tuple(where / each for each in FILES)


def _item(survey: SurveyResult, path: Path, name: str, *, trimmed: bool) -> _Item:
    stem = survey.stem(name)
    gain_db = survey.trim(name).gain_db if trimmed else 0.0
    loudness = stem.readings.get("loudness_lufs")
    with SoundFile(path) as sound:
        said = sound.broadcast
        known = (sound.form, sound.coding, sound.rate_hz, sound.channels, sound.frames)
    measured = None if loudness is None else COLUMNS["loudness_lufs"].moved(loudness, gain_db)
    notes = [fault.sentence for fault in survey.faults_of(name)]
    if gain_db:
        # Noise and hum are told after the trim; what else has a level has it before.
        notes = [each if "after the trim" in each else f"before the trim: {each}" for each in notes]
        notes.insert(0, f"turned {'up' if gain_db > 0 else 'down'} by {abs(gain_db):.1f} dB, its trim.")
    told = None if said is None else (said.loudness or {}).get("loudness_lufs")
    if told is not None and measured is not None and abs(told - measured) > _APART_LU:
        notes.append(
            f"its header tells {signed(told, 1, 'LUFS')}, measured are {signed(measured, 1, 'LUFS')}: "
            "the header is of another sound."
        )
    return _Item(
        path, name, *known, said, _checksum(path), path.stat().st_size, measured,
        COLUMNS["true_peak_dbtp"].moved(stem.readings["true_peak_dbtp"], gain_db), tuple(notes),
    )  # fmt: skip


def _checksum(path: Path) -> str:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(_READ_BYTES):
                digest.update(block)
    except OSError as fault:
        raise GainError(f"{path_text(path)} cannot be read ({reason_of(fault)}); survey it again.") from fault
    return digest.hexdigest()


def _relative(item: _Item, folder: Path) -> str:
    return os.path.relpath(item.path.resolve(), folder.resolve()).replace(os.sep, "/")


def _checksum_line(item: _Item, folder: Path) -> bytes:
    """A line as `sha256sum` writes it; a name with a line's end or a backslash is told by a backslash before it."""
    name = os.fsencode(_relative(item, folder))
    quoted = name.replace(b"\\", b"\\\\").replace(b"\n", b"\\n").replace(b"\r", b"\\r")
    return (b"\\" if quoted != name else b"") + item.sha256.encode() + b"  " + quoted + b"\n"


def _table(items: Sequence[_Item], folder: Path) -> str:
    rows: list[Sequence[Cell]] = [
        ["file", "format", "coding", "rate_hz", "channels", "samples", "seconds", "starts_at_sample", "start",
         "origination", "description", "loudness_lufs", "true_peak_dbtp", "bytes", "sha256", "notes"]
    ]  # fmt: skip
    for each in items:
        said = each.said
        rows.append(
            [
                printable(_relative(each, folder)), each.form, each.coding, each.rate_hz, each.channels, each.frames,
                Decimal(f"{each.seconds:.6f}"), each.starts_at, _start(each),
                "" if said is None else printable(f"{said.date} {said.time}".strip()),
                "" if said is None else printable(said.description), _cell(each.loudness_lufs),
                _cell(each.true_peak_dbtp), each.size, each.sha256, " ".join(each.notes),
            ]
        )  # fmt: skip
    return csv_text(rows)


def _cell(value: float | None) -> Cell:
    return value if value is None or value == -math.inf else Decimal(f"{value:.1f}")


def _start(item: _Item) -> str:
    return "" if item.starts_at is None else clock(item.starts_at / item.rate_hz)


def _text(survey: SurveyResult, items: Sequence[_Item], folder: Path, on: datetime.date) -> str:
    size = sum(each.size for each in items)
    lines = [
        f"Inventory: {survey.title}" if survey.title else "Inventory",
        f"{on.isoformat()}, {counted(len(items), 'file')}, {size} bytes",
        f"To check that all arrived whole: sha256sum -c {FILES[0]}, in this folder.",
        "",
    ]
    for each in items:
        word = CODINGS.get(each.coding, each.coding)
        form = f"{each.form}, {word}, {spaced(each.rate_hz)} Hz, {counted(each.channels, 'channel')}"
        length = f"{clock(each.seconds)} ({counted(each.frames, 'sample')})"
        start = f", starts at {_start(each)} (sample {each.starts_at})" if each.starts_at is not None else ""
        loudness = "" if each.loudness_lufs is None else f"{signed(each.loudness_lufs, 1, 'LUFS')}, "
        lines += [
            printable(_relative(each, folder)),
            f"  {form}, {length}{start}",
            f"  {loudness}true peak {signed(each.true_peak_dbtp, 1, 'dBTP')}",
        ]
        if each.said is not None and each.said.description.strip():
            lines.append(f"  {printable(each.said.description.strip())}")
        lines += [f"  Note: {note[0].upper()}{note[1:]}" for note in each.notes]
    lines += [f"Not in it: {name}. {sentence}" for name, sentence in survey.unreadable]
    return "\n".join(lines) + "\n"
