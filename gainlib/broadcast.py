"""What a broadcast WAV says of itself: the `bext` chunk, read from a file and put into one."""

from __future__ import annotations

import math
import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import BinaryIO

__all__ = ["LOUDNESS", "Broadcast", "put_broadcast", "read_broadcast"]

LOUDNESS = (
    "loudness_lufs", "loudness_range_lu", "true_peak_dbtp", "momentary_max_lufs", "short_term_max_lufs",
)  # fmt: skip
"""The measures that version 2 of the chunk holds, in their order there."""

_FORM = struct.Struct("<256s32s32s10s8sQH64s5h180x")
_LONG_ENOUGH = 346  # up to the time reference, all that a reader of any version needs
_NOT_SET = 0x7FFF
_HIGHEST = 99.99
_MOST_CHUNKS = 64  # more than any file has before its samples
_LONGEST_BYTES = 1 << 20
_SHIFTED_BYTES = 1 << 20


@dataclass(frozen=True)
class Broadcast:
    """The fields of a `bext` chunk; `starts_at` counts samples since midnight, None where the chunk is too short.

    Texts are as the chunk has them, up to the first zero; `loudness` by the names of `gainlib.measures()`, without
    those that are not set. Source: *published*, EBU Tech 3285 version 2, the offsets as others quote it; that 0x7FFF
    means not set and that values beyond 99.99 count for nothing is *from memory*. `ixml` is what an iXML chunk beside
    it holds, a recorder's notes, as it stands there.

    >>> chunk = Broadcast(starts_at=172_800_000, loudness={"loudness_lufs": -23.0}).as_bytes()
    >>> len(chunk), chunk[412:414].hex(), Broadcast.from_bytes(chunk).starts_at
    (602, '04f7', 172800000)
    """

    description: str = ""
    originator: str = ""
    reference: str = ""
    date: str = ""
    time: str = ""
    starts_at: int | None = None
    umid: bytes = bytes(64)
    loudness: dict[str, float] | None = None
    history: str = ""
    ixml: bytes = b""

    @classmethod
    def from_bytes(cls, chunk: bytes) -> Broadcast:
        """The fields of a chunk's content of any version, as far as it goes."""
        description, originator, reference, date, time, start, version, umid, *levels = _FORM.unpack(
            chunk[: _FORM.size].ljust(_FORM.size, b"\0")
        )
        # Version 0 has no UMID and 0 and 1 no loudness: what stands there is reserve.
        return cls(
            _text(description), _text(originator), _text(reference), _text(date), _text(time),
            starts_at=start if len(chunk) >= _LONG_ENOUGH else None,
            umid=umid if version >= 1 else bytes(64),
            loudness={
                name: value / 100.0
                for name, value in zip(LOUDNESS, levels, strict=True)
                if version >= 2 and value != _NOT_SET and abs(value) <= 100.0 * _HIGHEST
            },
            history=_text(chunk[_FORM.size :]),
        )  # fmt: skip

    def as_bytes(self) -> bytes:
        """The content of the chunk, version 2; a level that is none or beyond 99.99 is written as not set."""
        levels = [(self.loudness or {}).get(name, math.nan) for name in LOUDNESS]
        texts = (self.description, self.originator, self.reference, self.date, self.time)
        return _FORM.pack(
            *(each.encode("latin-1", "replace") for each in texts),
            self.starts_at or 0,
            2,
            self.umid,
            *(round(100.0 * each) if abs(each) <= _HIGHEST else _NOT_SET for each in levels),
        ) + self.history.encode("latin-1", "replace")


def _text(field: bytes) -> str:
    return field.partition(b"\0")[0].decode("latin-1")


def read_broadcast(path: Path) -> Broadcast | None:
    """What a WAV or RF64 says of itself, before its samples or behind them; None where it says nothing.

    >>> from gainlib.storage import bundled
    >>> read_broadcast(bundled("media/kick.flac"))
    """
    found: dict[bytes, bytes] = {}
    with path.open("rb") as file:
        for name, start, size in _chunks(file):
            if name in (b"bext", b"iXML") and name not in found and (name == b"bext" or size <= _LONGEST_BYTES):
                file.seek(start)
                found[name] = file.read(min(size, _LONGEST_BYTES))
    if b"bext" not in found:
        return None
    return replace(Broadcast.from_bytes(found[b"bext"]), ixml=found.get(b"iXML", b""))


def _chunks(file: BinaryIO) -> Iterator[tuple[bytes, int, int]]:
    """Each chunk of a WAV: its name, where its content begins, how long that is."""
    head = file.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        return
    long_bytes, at, end = None, 12, os.fstat(file.fileno()).st_size
    for _ in range(_MOST_CHUNKS):
        if at > end:  # a damaged length may be beyond what a file can be
            return
        file.seek(at)
        chunk = file.read(8)
        if len(chunk) < 8:
            return
        name, size = chunk[:4], int.from_bytes(chunk[4:], "little")
        if name == b"ds64" and long_bytes is None:
            long_bytes = int.from_bytes(file.read(16)[8:], "little")
        if name == b"data" and size == 0xFFFFFFFF:
            if long_bytes is None:
                return
            size = long_bytes
        yield name, at + 8, size
        at += 8 + size + size % 2


def _chunk(name: bytes, content: bytes) -> bytes:
    content += bytes(len(content) % 2)  # some readers of RF64 do not know that an odd chunk is padded
    return name + len(content).to_bytes(4, "little") + content


def put_broadcast(path: Path, broadcast: Broadcast) -> None:
    """Put the chunks before the samples of a WAV or RF64 that was just written and has none; what is behind moves back.

    Raises OSError where that cannot be done.
    """
    chunk = _chunk(b"bext", broadcast.as_bytes()) + (_chunk(b"iXML", broadcast.ixml) if broadcast.ixml else b"")
    with path.open("r+b") as file:
        head = file.read(12)
        file.seek(0)
        first = next(_chunks(file), None)
        at = 12 if first is None or first[0] != b"ds64" else first[1] + first[2]
        size = int.from_bytes(head[4:8], "little")
        if head[:4] == b"RF64":
            file.seek(20)
            whole = int.from_bytes(file.read(8), "little") + len(chunk)
            file.seek(20)
            file.write(whole.to_bytes(8, "little"))
        elif size + len(chunk) < 0xFFFFFFFF:
            file.seek(4)
            file.write((size + len(chunk)).to_bytes(4, "little"))
        else:
            raise OSError("the file would be longer than a plain WAV can be")
        end = file.seek(0, os.SEEK_END)
        while end > at:
            start = max(at, end - _SHIFTED_BYTES)
            file.seek(start)
            block = file.read(end - start)
            file.seek(start + len(chunk))
            file.write(block)
            end = start
        file.seek(at)
        file.write(chunk)
