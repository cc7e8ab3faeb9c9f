"""Sound files read and written: the only place that opens the library for them."""

from __future__ import annotations

import contextlib
import ctypes
import math
import os
import platform
import sys
import threading
import weakref
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio, Samples, checked_samples, part_frames, require_memory
from gainlib.broadcast import Broadcast, put_broadcast, read_broadcast
from gainlib.decoding import DECODED_ENDINGS, Decoded, is_decoded
from gainlib.errors import GainError
from gainlib.storage import atomic_path, bundled, bundled_folder, fault_of_disk, given_path
from gainlib.text import counted, describe_value, lasting, reason_of, spaced

__all__ = [
    "LONG_SECONDS",
    "SOUND_ENDINGS",
    "SoundFile",
    "is_sound",
    "read",
    "require_sound",
    "sounds_in",
    "state_of",
    "write",
    "write_blocks",
]

SOUND_ENDINGS = DECODED_ENDINGS | frozenset(
    (
        "aif", "aifc", "aiff", "au", "avr", "caf", "flac", "htk", "iff", "ircam", "mp1", "mp2", "mp3", "nist", "oga",
        "ogg", "opus", "paf", "pvf", "rf64", "sd2", "sds", "sf", "snd", "svx", "voc", "w64", "wav", "wave", "wve", "xi",
    )
)  # fmt: skip
"""The endings by which a folder's sound files are known; any file that is named itself is tried."""

LONG_SECONDS = 60.0
"""A recording that lasts longer stays in its file, and a bench works on a part of it (the course's choice)."""

_AT_ONCE = 1 << 16
"""So many samples a channel are read or written at a time."""

_LOUDEST = 1e10
"""Of a recording; full scale is 1."""

_SAMPLE_BY_SAMPLE = ("PCM_", "FLOAT", "DOUBLE", "ULAW", "ALAW", "ALAC", "DECODED")
"""Codings of which any sample is had without those before it, as libsndfile names them (FLAC is PCM to it)."""

_LOW_BYTE_FIRST = ("WAV", "WAVEX", "RF64", "W64")
"""Forms whose words stand low byte first, unless their header says otherwise."""

_LOSSY = ("VORBIS", "OPUS", "MPEG")
_RUN_UP_SECONDS = 2.0
"""Before a part of a long lossy file: many times what a decoder carries along, and next to nothing to decode."""
_MAY_LACK = 16_384
"""So many samples at its end may the header of a lossy file promise and its coding not hold: the last block's rest."""

_LONGEST_PLAIN_WAV = 4_000_000_000
"""Bytes of samples, taken as 64-bit ones, from which a WAV gets the long header; the plain one counts to 2^32."""


def is_sound(path: Path) -> bool:
    """Whether a file of a folder is a sound file, by its ending; no hidden one is.

    >>> is_sound(bundled_folder("media") / "bass.flac"), is_sound(bundled_folder("media") / "README.md")
    (True, False)
    """
    return path.suffix.removeprefix(".").lower() in SOUND_ENDINGS and not path.name.startswith(".") and path.is_file()


def sounds_in(folder: Path) -> list[Path]:
    """The sound files of a folder by name; none where it cannot be read.

    >>> [each.name for each in sounds_in(bundled_folder("media"))][:3]
    ['backing-voices.flac', 'bass.flac', 'guitar.flac']
    """
    try:
        return sorted(each for each in folder.iterdir() if is_sound(each))
    except OSError:
        return []


def read(path: str | os.PathLike[str], *, seconds: tuple[float, float] | None = None) -> Audio:
    """A sound file as Audio, whole or a part of it: any format that libsndfile or ffmpeg reads, full scale ±1.0.

    Parameters
    ----------
    path : str or path
        The file; `media/lead-voice.flac` and the like, where it is not there, is looked up among the course's stems.
    seconds : (float, float), optional
        Where the part begins and ends, in seconds from the start of the file, to the nearest sample; only that much
        is held. The samples are those that the whole has there, to the last bit. Of a coding that carries something
        from sample to sample (MP3, Vorbis, Opus, ADPCM) the file is decoded from its start up to there, so a late part
        of a long one takes a while; of all others reading begins at the part.

    Returns
    -------
    Audio
        Of shape (n, channels), float32 where that holds each sample to the last bit, as it does those of 24 bits,
        else float64; named as the file. A recording of more than a minute stays in its file: its samples are read when
        they are asked for, and what is measured, cut or put on a bench is read a stretch at a time. A file that was
        changed meanwhile is then refused.

    Raises
    ------
    GainError
        For a file that is missing, a folder, empty, no sound file, truncated, or not of samples that can be sound
        (numbers up to +200 dBFS); for a part that is empty or reaches outside; and where samples that are asked for
        would need more than 800 MB of memory (35 minutes of stereo at 48 kHz), or of a large file more than 80 bytes
        for each byte on disk, 8 GB, or what is free: it says how much it would be before anything is read. Silence
        packs well, a small file may hold hours.

    Examples
    --------
    >>> read("media/lead-voice.flac").rate_hz
    48000
    >>> read("media/lead-voice.flac", seconds=(2.0, 2.5)).seconds
    0.5
    """
    if seconds is not None:
        seconds = _two_numbers(seconds)
    with SoundFile(path) as recording:
        where = recording.path.absolute()
        if where.is_relative_to(bundled_folder("media")):
            # The course's own are short: held whole once, and parts are cut from that.
            samples = _stems.get(where)
            if samples is None:
                samples = _stems[where] = _narrow(recording.part(0, recording.frames))
            whole = Audio(checked_samples(samples, str(path)), recording.rate_hz, where.stem, where)
            return whole if seconds is None else whole.between(*seconds)
        if seconds is None and recording.seconds > LONG_SECONDS and recording.again:
            return _AudioOnDisk(recording, path)
        start, end = (
            (0, recording.frames) if seconds is None else part_frames(*seconds, recording.frames, recording.rate_hz)
        )
        recording.require_memory(end - start)
        samples = _narrow(recording.part(start, end))
        require_sound(samples, str(path))
        return Audio(samples, recording.rate_hz, where.stem, where if seconds is None else None)


def _two_numbers(seconds: Any) -> tuple[float, float]:
    if isinstance(seconds, tuple | list) and len(seconds) == 2:
        with contextlib.suppress(TypeError, ValueError, OverflowError):
            return float(seconds[0]), float(seconds[1])
    said = describe_value(seconds)
    raise GainError(f"seconds is {said}; give the beginning and the end of the part, such as seconds=(0, 60).")


def require_sound(samples: Samples, name: str, start: int = 0) -> None:
    """Refuse samples that no recording holds, and say which: what is not a number, or beyond +200 dBFS.

    `samples` are `(n, channels)`, the first of them sample `start` of what is called `name`. Below that bound no level,
    power or sum of any recording goes beyond what a number can be, single precision included.

    >>> require_sound(np.zeros((4, 1)), "take")
    """
    for first in range(0, len(samples), _AT_ONCE):
        # Written so that what is not a number is found as well.
        sound = np.abs(samples[first : first + _AT_ONCE]) <= _LOUDEST
        if not sound.all():
            at, channel = (int(each) for each in np.argwhere(~sound)[0])
            value = float(samples[first + at, channel])
            why = "every sample must be a number" if not math.isfinite(value) else "no recording comes near that"
            raise GainError(
                f"{name} holds {value:g} at sample {start + first + at}, channel {channel + 1}; {why}: export it again."
            )


class _AudioOnDisk(Audio):
    """A long recording that stays in its file; whoever asks for samples has them, whole or in part, and holds them."""

    def __init__(self, recording: SoundFile, given: str | os.PathLike[str]) -> None:
        where = recording.path.absolute()
        for name, value in {
            "rate_hz": recording.rate_hz, "name": where.stem, "path": where, "_given": given,
            "_frames": recording.frames, "_channels": recording.channels, "_state": state_of(where),
            "_bytes": float(where.stat().st_size), "_nbytes": recording.bytes_for(recording.frames), "_held": None,
            "_ogg": recording.form == "OGG",
        }.items():  # fmt: skip
            object.__setattr__(self, name, value)

    _given: str | os.PathLike[str]
    _frames: int
    _channels: int
    _bytes: float
    _nbytes: int
    _state: tuple[int, ...]
    _held: weakref.ref[Samples] | None
    _ogg: bool

    @property
    def samples(self) -> Samples:
        """All of them, read anew unless somebody holds them still."""
        held = None if self._held is None else self._held()
        if held is None:
            with self._opened() as recording:
                recording.require_memory(recording.frames)
                read = _narrow(recording.part(0, recording.frames))
            require_sound(read, str(self._given))
            # Views hold on to what they are cut from, so that is what is looked after.
            held = read if read.base is None else read.base
            object.__setattr__(self, "_held", weakref.ref(held))
        return checked_samples(held, self.name)

    @property
    def frames(self) -> int:
        return self._frames

    @property
    def channels(self) -> int:
        return self._channels

    @property
    def on_disk(self) -> bool:
        return True

    @property
    def seeks_slowly(self) -> bool:
        return self._ogg

    @property
    def bytes_on_disk(self) -> float:
        return self._bytes

    @property
    def nbytes(self) -> int:
        return self._nbytes

    def blocks(self) -> Iterator[Samples]:
        with self._opened() as recording:
            at = 0
            for block in recording.blocks(_AT_ONCE):
                require_sound(block, str(self._given), at)
                at += len(block)
                yield block

    def stretches(self, bounds: Iterable[tuple[int, int]]) -> Iterator[Samples]:
        with self._opened() as recording:
            for start, end in bounds:
                yield self._part(recording, start, end, 0.0)

    def between(self, start_seconds: float, end_seconds: float) -> Audio:
        start, end = part_frames(start_seconds, end_seconds, self.frames, self.rate_hz)
        with self._opened() as recording:
            return Audio(self._part(recording, start, end, _RUN_UP_SECONDS), self.rate_hz, self.name)

    def _part(self, recording: SoundFile, start: int, end: int, run_up: float) -> Samples:
        recording.require_memory(end - start)
        part = _narrow(recording.part(start, end, run_up=run_up))
        require_sound(part, str(self._given), start)
        return part

    def _opened(self) -> SoundFile:
        assert self.path is not None
        recording = SoundFile(self.path)
        if state_of(self.path) != self._state:
            recording.close()
            raise GainError(f"{self._given} was changed since it was read; read it again.")
        return recording

    def __eq__(self, other: object) -> bool:
        if isinstance(other, _AudioOnDisk) and (self.path, self._state) == (other.path, other._state):
            return True
        if not isinstance(other, Audio):
            return NotImplemented
        same_form = (self.rate_hz, self.frames, self.channels) == (other.rate_hz, other.frames, other.channels)
        return same_form and super().__eq__(other)

    def __hash__(self) -> int:
        return super().__hash__()

    def __reduce__(self) -> tuple[Any, ...]:
        return Audio, (self.samples, self.rate_hz, self.name, self.path)


def state_of(path: Path) -> tuple[int, ...]:
    """What changes when a file is written anew, or when another one takes its name.

    >>> state_of(bundled("media/kick.flac")) == state_of(bundled("media/kick.flac"))
    True
    """
    told = path.stat()
    return told.st_dev, told.st_ino, told.st_size, told.st_mtime_ns


def _narrow(samples: Samples) -> Samples:
    """The samples in half the room, where they lose nothing by it."""
    if samples.dtype == np.float32:
        return samples
    with np.errstate(over="ignore", invalid="ignore"):
        narrow = samples.astype(np.float32)
    return narrow if np.array_equal(narrow, samples) else samples


_stems: weakref.WeakValueDictionary[Path, Samples] = weakref.WeakValueDictionary()
"""The course's own stems that are in use, whole or in part: a lesson's benches and its exercises take the same ones."""


class SoundFile:
    """A sound file that is open to be read a stretch at a time, however long it is; use it in a `with` statement.

    `rate_hz`, `channels`, `frames` (samples a channel) and `seconds` are those of its header; `form` and `coding` are
    libsndfile's names, such as WAV and PCM_24; `broadcast` is what a broadcast WAV says of itself, and `starts_at` the
    sample at which it says that it starts in its session, None where it does not say. Raises GainError as `read` does,
    for a file that cannot be opened here, for one that breaks off in `blocks`. A file of a lossy coding may hold a few
    samples less than its header says: `frames` is what it holds once it was read to its end.

    >>> with SoundFile("media/lead-voice.flac") as recording:
    ...     recording.rate_hz, recording.coding, sum(len(block) for block in recording.blocks(4800)) == recording.frames
    (48000, 'PCM_24', True)
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        import soundfile

        self._given = path
        self._decoded: Decoded | None = None
        self.path = where = bundled(path)
        if not where.exists():
            raise GainError(f"{path} is not there; check the name and the folder you are in ({Path.cwd()}).")
        if where.is_dir():
            raise GainError(f"{path} is a folder; name one sound file in it.")
        if not where.is_file():
            raise GainError(f"{path} is not a file but a device or a pipe; name a sound file.")
        size = where.stat().st_size
        if size == 0:
            raise GainError(f"{path} is empty (0 bytes); copy or export it again.")
        if is_decoded(where):
            self._decoded = Decoded(where, path)
        opened = where if self._decoded is None else self._decoded.wav
        try:
            promised, self.broadcast = _promised_bytes(where), read_broadcast(where)
            # As bytes, since a name need not be text in the encoding that the library would ask for.
            with _unheard:
                self._sound = soundfile.SoundFile(opened if os.name == "nt" else os.fsencode(opened))
        except (soundfile.LibsndfileError, RuntimeError, OSError, TypeError) as fault:
            self._forget_decoded()
            raise self._unreadable(fault) from fault
        if promised > size:
            self.close()
            raise self._truncated()
        self.channels, self.rate_hz = int(self._sound.channels), int(self._sound.samplerate)
        self.frames, self.form, self.coding = int(self._sound.frames), self._sound.format, self._sound.subtype
        self._at = 0
        if self._decoded is not None:
            self.form, self.coding = where.suffix.removeprefix(".").upper(), "DECODED"
        if self.channels < 1 or self.frames < 1 or self.rate_hz < 1:
            self.close()
            what = "channels" if self.channels < 1 else "samples"
            raise GainError(f"{path} holds no {what}; copy or export it again.")

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.frames / self.rate_hz

    @property
    def starts_at(self) -> int | None:
        """The sample at which a broadcast WAV says that it starts."""
        return None if self.broadcast is None else self.broadcast.starts_at

    @property
    def texts(self) -> dict[str, str]:
        """What its header tells a person: title, artist, comment and the like, without the program that wrote it."""
        return {name: text for name, text in self._sound.copy_metadata().items() if name != "software" and text}

    @property
    def wide(self) -> bool:
        """Whether its samples need double precision; single precision holds those of all others exactly."""
        return self.coding in ("PCM_32", "ALAC_32", "DOUBLE") or self.form == "SDS"

    @property
    def again(self) -> bool:
        """Whether it is opened again in no time, which what ffmpeg has to decode first is not."""
        return self._decoded is None

    @property
    def seeks(self) -> bool:
        """Whether any sample is had without those before it, the same to the last bit."""
        return bool(self.coding.startswith(_SAMPLE_BY_SAMPLE))

    def may_hold(self, frames: int) -> bool:
        """Whether so many samples are what its header says, or of a lossy coding a few less, which it may not hold."""
        return 0 < frames <= self.frames and self.frames - frames <= (
            _MAY_LACK if self.coding.startswith(_LOSSY) else 0
        )

    def bytes_for(self, frames: int) -> int:
        """What so many of its samples take while they are read: of the wide ones single and double precision."""
        return frames * self.channels * (12 if self.wide else 4)

    def require_memory(self, frames: int) -> None:
        """Refuse to read so many samples at once where they would need too much memory."""
        form = f"{counted(self.channels, 'channel')}, {spaced(self.rate_hz)} Hz"
        if frames == self.frames:
            what = f"{self._given} lasts {lasting(self.seconds)} ({form}); read whole it"
            then = "take a part, such as seconds=(0, 60), or survey it, which reads any length"
        else:
            what, then = f"{lasting(frames / self.rate_hz)} of {self._given} ({form})", "take a shorter part"
        require_memory(self.bytes_for(frames), what, then, on_disk=self.path.stat().st_size)

    def part(self, start: int, end: int, *, run_up: float | None = None) -> Samples:
        """The samples from `start` up to `end`, `(n, channels)`, float32 unless `wide`; as reading the whole has them.

        With `run_up` a part of a lossy file is gone to, its decoder started so many seconds before: what that carries
        along is there when the part begins, and nothing differs but what it may round. GainError where the file breaks
        off before.
        """
        try:
            samples = np.empty((end - start, self.channels), dtype=np.float64 if self.wide else np.float32)
        except (MemoryError, ValueError) as fault:
            raise self._unreadable(fault) from fault
        # Of a coding whose samples stand for themselves the part is gone to; any other is run through up to it, since
        # a decoder that starts anew in the middle gives other samples, if only by a rounding.
        first_read = 0
        if self.seeks:
            first_read = start
        elif run_up is not None and self.coding.startswith(_LOSSY):
            first_read = max(0, start - round(run_up * self.rate_hz))
        if first_read > self._at or start < self._at:
            self._sought(first_read)
        at = self._at
        for block in self._stretches(_AT_ONCE, at, end):
            first = max(start - at, 0)
            if first < len(block):
                samples[at + first - start : at + len(block) - start] = block[first:]
            at += len(block)
        return samples if at - start >= len(samples) else samples[: max(0, at - start)].copy()

    def blocks(self, frames: int, *, start: int = 0) -> Iterator[Samples]:
        """Stretches of `frames` samples `(n, channels)` from `start` on, the last one shorter; float32 unless `wide`.

        The samples are as the file holds them, not looked at: they may be infinite or not a number in a float file.
        """
        if start != self._at:
            self._sought(start)
        return self._stretches(frames, start, self.frames)

    def _stretches(self, frames: int, at: int, end: int) -> Iterator[Samples]:
        while at < end:
            block = self._read(min(frames, end - at), "float64" if self.wide else "float32")
            if not len(block):
                if not self.may_hold(at):
                    raise self._truncated()
                self.frames = at
                return
            at += len(block)
            yield block

    def close(self) -> None:
        """Let go of the file."""
        self._sound.close()
        self._forget_decoded()

    def _forget_decoded(self) -> None:
        if self._decoded is not None:
            self._decoded.close()

    def __enter__(self) -> SoundFile:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def _read(self, frames: int, dtype: str) -> Samples:
        import soundfile

        try:
            with _unheard:
                if self._as_words:
                    samples = self._words(frames)
                else:
                    samples = self._sound.read(frames, dtype=dtype, always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError, OSError, MemoryError, ValueError) as fault:
            raise self._unreadable(fault) from fault
        self._at += len(samples)
        return samples

    @property
    def _as_words(self) -> bool:
        """Whether its samples are had from their words."""
        low_first = self.form in _LOW_BYTE_FIRST and self._sound.endian == "FILE"
        return (self.coding == "PCM_16" and not self.wide) or (self.coding == "PCM_24" and low_first)

    def _words(self, frames: int) -> Samples:
        """The next samples from their words as they lie in the file: what the library's own floats are, to the bit.

        Its own way to floats takes each sample by itself, and four times as long.
        """
        import soundfile

        if self.coding == "PCM_16":
            short: NDArray[np.int16] = self._sound.read(frames, dtype="int16", always_2d=True)
            return np.multiply(short, np.float32(2.0**-15), dtype=np.float32)
        # Each word is seen with the byte before it, as the low byte of 32 bits, and that byte taken out. The words are
        # had from libsndfile itself, which soundfile hands out by no name of its own.
        held = np.empty(1 + 3 * frames * self.channels, np.uint8)
        place = soundfile._ffi.from_buffer(held[1:])
        got = soundfile._snd.sf_read_raw(self._sound._file, place, len(held) - 1) // (3 * self.channels)
        words = np.ndarray((got, self.channels), "<i4", held, strides=(3 * self.channels, 3))
        samples: Samples = np.multiply(words & -256, np.float32(2.0**-31), dtype=np.float32)
        return samples

    def _sought(self, start: int) -> None:
        import soundfile

        try:
            with _unheard:
                self._sound.seek(start)
        except (soundfile.LibsndfileError, RuntimeError, OSError) as fault:
            raise self._unreadable(fault) from fault
        self._at = start

    def _unreadable(self, fault: BaseException) -> GainError:
        reason = reason_of(fault)
        if any(word in reason for word in ("internal", "error", "pointer", "sf_")):
            reason = "it is damaged"  # what the library says of its own inside tells nobody anything
        return GainError(f"{self._given} could not be read as a sound file ({reason}); export it as WAV or FLAC.")

    def _truncated(self) -> GainError:
        return GainError(
            f"{self._given} is truncated: it holds less than its own header says; copy or export it again."
        )


def write(path: str | os.PathLike[str], audio: Audio, *, subtype: str | None = None, overwrite: bool = False) -> Path:
    """Audio into a sound file, whole or not at all; gives the path back.

    Parameters
    ----------
    path : str or path
        Its ending chooses the format: `.wav`, `.flac`, `.ogg` and what else libsndfile writes.
    audio : Audio
        A fixed-point file cannot hold more than full scale, so samples beyond ±1.0 are refused there rather than
        clipped unseen.
    subtype : str, optional
        The coding as libsndfile names it; 24-bit PCM where the format has it.
    overwrite : bool
        Whether a file that is there is replaced.

    Returns
    -------
    Path
        Where it is written.

    Raises
    ------
    GainError
        For an ending or coding that libsndfile does not know, samples beyond full scale, a folder that is missing or
        read-only, a full disk, and a file that is there already.

    Examples
    --------
    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> write(f"{folder}/tone.wav", Audio(np.zeros(480), 48000)).name
    'tone.wav'
    """
    import soundfile

    where, kind, coding = _place(path, subtype, overwrite)
    if coding.startswith("PCM"):
        _require_room(max(float(np.abs(block).max()) for block in audio.blocks()), coding)
    kind = _long_form(kind, audio.frames, audio.channels)
    with (
        _whole(where) as half,
        soundfile.SoundFile(half, "w", audio.rate_hz, audio.channels, format=kind, subtype=coding) as sound,
    ):
        for block in audio.blocks():
            # A stretch at a time: the Vorbis encoder puts what it is given on the stack, and a minute is too much.
            for start in range(0, len(block), _AT_ONCE):
                sound.write(_in_codes(block[start : start + _AT_ONCE], coding))
    return where


def write_blocks(
    path: str | os.PathLike[str],
    blocks: Iterator[Samples],
    rate_hz: int,
    channels: int,
    *,
    frames: int,
    subtype: str | None = None,
    overwrite: bool = False,
    broadcast: Callable[[], Broadcast] | None = None,
    texts: Mapping[str, str] | None = None,
) -> Path:
    """Blocks of samples `(n, channels)`, `frames` in all, into one sound file, whole or not at all; gives the path.

    As `write`, for what is too long to be held at once. A WAV of more than 4 GB gets the 64-bit header that EBU Tech
    3306 defines. `broadcast` is asked, when all blocks are written, what a WAV is to say of itself; `texts` are a
    title, a comment and the like, as `SoundFile.texts` has them. What goes wrong while the blocks are made leaves no
    file behind either.

    >>> import tempfile
    >>> folder = tempfile.mkdtemp()
    >>> write_blocks(f"{folder}/long.wav", iter([np.zeros((480, 2))] * 10), 48000, 2, frames=4800).name
    'long.wav'
    """
    import soundfile

    where, kind, coding = _place(path, subtype, overwrite)
    kind = _long_form(kind, frames, channels)
    written = 0
    with _whole(where) as half:
        with soundfile.SoundFile(half, "w", rate_hz, channels, format=kind, subtype=coding) as sound:
            for name, text in (texts or {}).items():
                setattr(sound, name, text)
            for block in blocks:
                if coding.startswith("PCM"):
                    _require_room(float(np.abs(block).max(initial=0.0)), coding)
                sound.write(_in_codes(block, coding))
                written += len(block)
        if broadcast is not None:
            put_broadcast(half, broadcast())
        if not written == frames == soundfile.info(half).frames or _promised_bytes(half) > half.stat().st_size:
            raise OSError("the disk took less than was written")
    return where


def _place(path: str | os.PathLike[str], subtype: str | None, overwrite: bool) -> tuple[Path, str, str]:
    """Where a file goes, its format and its coding, or a GainError that says why it cannot."""
    import soundfile

    where = given_path(path)
    kind = where.suffix.removeprefix(".").upper()
    kind = {"AIF": "AIFF", "OGA": "OGG", "OPUS": "OGG"}.get(kind, kind)
    if kind not in soundfile.available_formats():
        raise GainError(f"{path} ends in {where.suffix or 'nothing'}; give an ending such as .wav or .flac.")
    coding = subtype or ("PCM_24" if soundfile.check_format(kind, "PCM_24") else soundfile.default_subtype(kind))
    if not soundfile.check_format(kind, coding):
        raise GainError(f"subtype is {coding!r}; {kind} files take {', '.join(soundfile.available_subtypes(kind))}.")
    if where.exists() and not overwrite:
        raise GainError(f"{path} is there already; choose another name or say overwrite=True.")
    if not where.parent.is_dir():
        raise GainError(f"the folder {where.parent} is not there; make it first.")
    return where, kind, coding


def _long_form(kind: str, frames: int, channels: int) -> str:
    """The format, of a WAV that the plain header cannot count the one with the long header."""
    return "RF64" if kind == "WAV" and frames * channels * 8 > _LONGEST_PLAIN_WAV else kind


def _require_room(peak: float, coding: str) -> None:
    """Refuse samples beyond full scale where the coding ends there."""
    if peak > 1.0:
        raise GainError(
            f"the audio reaches {20 * math.log10(peak):+.2f} dBFS and {coding} ends at 0 dBFS; "
            "trim it first or write a float file (subtype='FLOAT')."
        )


@contextlib.contextmanager
def _whole(where: Path) -> Iterator[Path]:
    """A neighbour of the file to be written, which takes its place when all went well, and else is gone."""
    import soundfile

    with atomic_path(where, then="; nothing was left behind") as half:
        try:
            yield half
        # soundfile asserts that all was written, which is how a full disk may show.
        except (soundfile.LibsndfileError, RuntimeError, AssertionError, OSError) as fault:
            raise fault_of_disk(half) or OSError(reason_of(fault)) from fault


def _in_codes(samples: Samples, coding: str) -> Samples | NDArray[np.int32]:
    """Samples as libsndfile must get them so that a fixed-point file holds the nearest code, +1.0 the highest one.

    Handing over float64 lets libsndfile scale by 2^(N-1) - 1 for some formats, which would change every sample.
    """
    bits = {"PCM_16": 16, "PCM_24": 24, "PCM_32": 32}.get(coding)
    if bits is None:
        return samples
    top = 2 ** (bits - 1)
    codes = np.clip(np.rint(np.asarray(samples, dtype=np.float64) * top), -top, top - 1)
    shifted: NDArray[np.int32] = np.left_shift(codes.astype(np.int64), 32 - bits).astype(np.int32)
    return shifted


def _promised_bytes(where: Path) -> int:
    """The size that a RIFF or FORM header promises, 0 for none (a stream's open length is none)."""
    with where.open("rb") as file:
        head = file.read(8)
    order = {b"RIFF": "little", b"FORM": "big"}.get(head[:4])
    if order is None or len(head) < 8:
        return 0
    promised = int.from_bytes(head[4:8], "little" if order == "little" else "big")
    return 0 if promised in (0, 0xFFFFFFFF) else promised + 8


class _Unheard:
    """What C libraries print of themselves is led nowhere in a `with` statement: the MP3 decoder does on damaged files.

    The decoders inside libsndfile print with C's stdio, and nothing in it turns that off. Here C's own `stdout` and
    `stderr` point to nowhere meanwhile. To lead the file descriptors 1 and 2 there instead would be heard by everybody:
    what Python itself prints in another thread, such as the survey's bar, and a process that is started meanwhile would
    be lost; those pass the descriptors, not C's stdio, and go on. Any number of threads may be inside at once: the
    first leads away, the last one back. Where C's streams cannot be led elsewhere (Windows, musl) all is left as it is.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._streams: list[ctypes.c_void_p] | None = None
        self._own: list[int | None] = []
        self._nowhere: int | None = None

    def __enter__(self) -> None:
        with self._lock:
            self._inside += 1
            if self._inside == 1:
                if self._streams is None:
                    self._find()
                for stream in self._streams or ():
                    self._own.append(stream.value)
                    stream.value = self._nowhere

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        with self._lock:
            self._inside -= 1
            if self._inside == 0:
                for stream, own in zip(self._streams or (), self._own, strict=True):
                    stream.value = own
                self._own.clear()

    def _find(self) -> None:
        """C's variables, where they are variables: in glibc and on macOS."""
        self._streams = []
        names = {"darwin": ("__stdoutp", "__stderrp")}.get(sys.platform, ("stdout", "stderr"))
        if sys.platform != "darwin" and platform.libc_ver()[0] != "glibc":
            return
        with contextlib.suppress(AttributeError, OSError, ValueError):
            libc = ctypes.CDLL(None)
            libc.fopen.restype = ctypes.c_void_p
            self._nowhere = libc.fopen(os.devnull.encode(), b"w")
            if self._nowhere:
                self._streams = [ctypes.c_void_p.in_dll(libc, name) for name in names]


_unheard = _Unheard()
