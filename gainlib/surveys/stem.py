"""One stem measured from its file, a block at a time, so that its length does not matter."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import power_from_rms_dbfs
from gainlib.errors import GainError
from gainlib.meters import (
    ClippedRuns,
    ClippedRunsMeter,
    FlatTopsMeter,
    LevelHistogram,
    LevelMeter,
    Meters,
    NoiseUnderSoundMeter,
    WindowMeter,
)
from gainlib.meters.hum import LOW_END_A_WINDOW, Hum, find_hum, low_end
from gainlib.meters.streaming import Growing, Readings
from gainlib.meters.windows import NOBODY_PLAYS_DBFS, WINDOW_SECONDS
from gainlib.sound_file import SoundFile, require_sound, state_of
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.damage import Damage, DamageMeter
from gainlib.surveys.noise import Noise, QuietWindows, judge_noise
from gainlib.surveys.sides import Sides, compare_sides

__all__ = ["OUTLINE_STEPS", "Stem", "StemMeter", "Stopped", "block_frames", "measure_stem", "sound_checksum"]

OUTLINE_STEPS = 400
"""How many steps a stem's small waveform has at most."""

_READ_AT_ONCE = 90_000  # more do not fit into a processor's own cache, of fewer the interpreter's share grows
_COARSE = frozenset(("PCM_S8", "PCM_U8", "ULAW", "ALAW"))
_ENVELOPE_MINUTES = 10


class Stopped(Exception):
    """The survey was asked to end while this stem was measured."""


@dataclass(frozen=True, eq=False)
class Stem:
    """What was read of one file. `readings` are by the names of `gainlib.measures()`, the worst channel's of each.

    `lacks` says of each measure that could not be read why not; `per_channel` has the channels' own peak and level;
    `clipped` and `flat` where it was clipped, to the sample; `sounds` the seconds from the first to the last sound,
    None for silence; `starts_at` the sample at which a broadcast WAV says that it starts; `noise` what its quiet is;
    `damage` what is torn in it; `tops_dbfs` the height of its flat tops, -inf without; `used_bits` how many bits of its
    words are in use, None where that is not told. `envelope` is the sum of its channels at 1000 values a second,
    `apart` the difference of two; `sound_sha256` is the checksum of its samples as they are read, whatever file holds
    them; `file_bytes`, `file_modified` its file's size and date.
    """

    name: str
    path: Path
    form: str
    coding: str
    rate_hz: int
    channels: int
    frames: int
    starts_at: int | None
    readings: Mapping[str, float]
    lacks: Mapping[str, str]
    per_channel: Mapping[str, tuple[float, ...]]
    clipped: ClippedRuns
    flat: ClippedRuns
    sounds: tuple[float, float] | None
    pair: Sides | None
    noise: Noise
    damage: tuple[Damage, ...]
    tops_dbfs: float
    used_bits: int | None
    levels: LevelHistogram = field(repr=False)
    lowest: NDArray[np.float32] = field(repr=False)
    highest: NDArray[np.float32] = field(repr=False)
    envelope: NDArray[np.float32] = field(repr=False)
    apart: NDArray[np.float32] = field(repr=False)
    sound_sha256: str = field(default="", repr=False)
    file_bytes: int = 0
    file_modified: float = 0.0

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.frames / self.rate_hz

    @property
    def silent(self) -> bool:
        """Whether nothing in it is louder than -70 dBFS, AES17."""
        return self.sounds is None

    @property
    def bits(self) -> int | None:
        """The word length of a fixed-point file, None for floats and lossy codings."""
        return {"PCM_S8": 8, "PCM_U8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}.get(self.coding)


def block_frames(rate_hz: int) -> int:
    """How many samples are read at a time: whole windows of 50 ms, below two seconds or so."""
    width = max(1, round(WINDOW_SECONDS * rate_hz))
    return width * max(1, _READ_AT_ONCE // width)


def measure_stem(
    path: Path,
    name: str,
    *,
    tick: Callable[[float], None] = lambda share: None,
    stop: Callable[[], bool] = lambda: False,
) -> Stem:
    """Read one file to its end and measure it, in the same few megabytes for a second or for hours.

    `tick` hears what share of the file was done since the last time; when `stop` says so, Stopped is raised. Raises
    GainError for a file that cannot be read to its end, for one that is written while it is read, and for samples that
    are not numbers.

    >>> from gainlib.storage import bundled
    >>> stem = measure_stem(bundled("media/kick.flac"), "kick")
    >>> stem.name, stem.readings["flat_tops"], sorted(set(COLUMNS) - set(stem.readings))
    ('kick', 0.0, ['noise_under_sound_dbfs'])
    """
    with SoundFile(path) as recording:
        before = state_of(recording.path)
        meter = StemMeter(recording.rate_hz, recording.channels, name, recording.coding, recording.frames)
        for block in recording.blocks(block_frames(recording.rate_hz)):
            if stop():
                raise Stopped
            meter.push(block)
            tick(len(block) / recording.frames)
        try:
            changed = state_of(recording.path) != before
        except OSError as fault:
            raise GainError(
                f"{name} was taken away while it was measured; survey it again when it is there."
            ) from fault
        if changed:
            raise GainError(f"{name} was changed while it was measured; survey it again when it is written.")
        return meter.stem(path, recording)


def sound_checksum(path: Path, stop: Callable[[], bool] = lambda: False) -> str:
    """The checksum of a file's samples, as a Stem has it.

    >>> from gainlib.storage import bundled
    >>> path = bundled("media/kick.flac")
    >>> sound_checksum(path) == measure_stem(path, "kick").sound_sha256
    True
    """
    digest = hashlib.sha256()
    with SoundFile(path) as recording:
        for block in recording.blocks(block_frames(recording.rate_hz)):
            if stop():
                raise Stopped
            digest.update(np.ascontiguousarray(block).data)
    return digest.hexdigest()


_Kind = TypeVar("_Kind")


class StemMeter:
    """All that is told of one recording, in one pass: the measures, and what draws it and compares it with others.

    `coding` is its file's, as libsndfile names it: of words of 24 bits it is told how many are in use. `frames` is how
    many samples a channel its file says that it has, 0 where it does not say.

    >>> meter = StemMeter(48000, 1, "tone")
    >>> meter.push(np.full((4800, 1), 0.5))
    >>> round(meter.measures.of_all()["peak_dbfs"], 2)
    -6.02
    """

    def __init__(self, rate_hz: int, channels: int, name: str, coding: str = "", frames: int = 0) -> None:
        self.name = name
        self._in_words_of_24 = coding == "PCM_24"
        self.measures = Meters(rate_hz, channels, COLUMNS)
        self._levels = self._meter("peak_dbfs", LevelMeter)
        self._windows = self._meter("active_rms_dbfs", WindowMeter)
        self._meter("noise_under_sound_dbfs", NoiseUnderSoundMeter).expect(frames)
        self._difference = 0.0  # of two channels, squared and added up
        self._products = Growing((), np.float64)
        self._digest = hashlib.sha256()
        self._outline = Growing((2,), np.float32)
        self._envelope, self._apart = Growing((), np.float32), Growing((), np.float32)
        self._damage = DamageMeter(rate_hz, channels)
        self._quiet = QuietWindows(channels, self._windows.width)
        self._codes = 0
        self._envelope_left = 0 if self._windows.width < LOW_END_A_WINDOW else _ENVELOPE_MINUTES * 60 * 20

    def _meter(self, name: str, kind: type[_Kind]) -> _Kind:
        meter = self.measures.meter(name)
        assert isinstance(meter, kind)
        return meter

    def push(self, block: Samples) -> None:
        """Take the next samples `(n, channels)`: whole windows of 50 ms, but for the last block."""
        rows = np.ascontiguousarray(block.T)
        figures = self.measures.figures_of(rows.T)
        if not figures.plain:
            require_sound(block, self.name, self.measures.samples)
        self.measures.take(block, rows.T, figures)
        self._digest.update(np.ascontiguousarray(block).data)
        self._damage.take(rows.T, figures.peaks)
        if self._in_words_of_24 and not self._codes & 0xFF:
            self._codes |= int(np.bitwise_or.reduce(np.rint(rows * 2.0**23).astype(np.int64), axis=None))
        self._outline.add(np.stack((figures.lowest.min(axis=1), figures.highest.max(axis=1)), axis=1))
        # The last window may be short: it is left out of the levels, as the measures have it, but seen.
        full, width = figures.full, figures.width
        if len(rows) == 2:
            products, apart = loops.window_products(rows[0], rows[1], width)
            self._difference += float(apart.sum())
            self._products.add(products[:full] / width)
        if full:
            variances = np.maximum(figures.squares[:full] / width - (figures.sums[:full] / width) ** 2, 0.0)
            self._quiet.take(rows[:, : full * width], variances)
            if self._envelope_left > 0:
                self._follow(rows[:, : full * width], full)

    def _follow(self, inside: Samples, full: int) -> None:
        lows = [low_end(each, self._windows.width) for each in inside]
        self._envelope.add(sum(lows[1:], start=lows[0]))
        if len(lows) == 2:
            self._apart.add(lows[0] - lows[1])
        self._envelope_left -= full

    def stem(self, path: Path, recording: SoundFile) -> Stem:
        """All of it as a Stem."""
        channels, lacks = self.measures.readings(), self.measures.lacks()
        readings = self.measures.of_all(channels)
        noise = self._noise(channels, readings.get("noise_under_sound_dbfs", -math.inf))
        if noise.floor_dbfs is None:
            del readings["noise_floor_dbfs"]
            lacks["noise_floor_dbfs"] = noise.why
        if noise.under_sound_dbfs is None and readings.pop("noise_under_sound_dbfs", None) is not None:
            told = noise.floor_dbfs is not None
            lacks["noise_under_sound_dbfs"] = (
                "its pauses tell its noise." if told else "no noise could be told under its sound."
            )
        tops = self._meter("flat_tops", FlatTopsMeter)
        flat, height = tops.reading(), tops.height_dbfs
        if recording.coding in _COARSE and readings["flat_tops"]:
            # Neighbours stand at one height in a word of few bits, without being cut off.
            readings["flat_tops"], height = 0.0, -math.inf
            flat = ClippedRuns(flat.start[:0], flat.length[:0], flat.channel[:0])
        file = recording.path.stat()
        return Stem(
            name=self.name, path=path, form=recording.form, coding=recording.coding, rate_hz=recording.rate_hz,
            channels=recording.channels, frames=recording.frames, starts_at=recording.starts_at,
            readings=readings, lacks=lacks,
            per_channel={each: tuple(channels[each].tolist()) for each in ("peak_dbfs", "active_rms_dbfs", "rms_dbfs")},
            clipped=self._meter("clipped_runs", ClippedRunsMeter).reading(), flat=flat, sounds=self._sounds(),
            pair=self._pair(), noise=noise, damage=tuple(self._damage.reading()),
            tops_dbfs=height, used_bits=self._used_bits(),
            levels=self._windows.level_histogram(), **self._drawn(), envelope=self._envelope.all().copy(),
            apart=self._apart.all().copy(),
            sound_sha256=self._digest.hexdigest(), file_bytes=file.st_size, file_modified=file.st_mtime,
        )  # fmt: skip

    def _noise(self, read: Mapping[str, Readings], under_sound_dbfs: float) -> Noise:
        active = float(read["active_rms_dbfs"].max())
        search = find_hum(self._envelope.all() / self.measures.channels, active)
        judged = self._judged(read, search.hum, active, under_sound_dbfs)
        return replace(judged, hum_told_from_dbfs=search.told_from_dbfs)

    def _judged(self, read: Mapping[str, Readings], hum: Hum | None, active: float, under_sound_dbfs: float) -> Noise:
        windows = self._windows
        seconds = self.measures.samples / self.measures.rate_hz
        if not windows.windows:
            return Noise(None, hum, "it is too short to tell its noise from its sound.")
        return judge_noise(
            self._quiet, under_sound_dbfs, windows.variances, read["noise_floor_dbfs"], active, self.measures.rate_hz,
            seconds, hum,
        )  # fmt: skip

    def _used_bits(self) -> int | None:
        """How many bits of a 24-bit word are ever set; None for other words and for silence."""
        if not self._codes:
            return None
        return 24 - ((self._codes & -self._codes).bit_length() - 1)

    def _sounds(self) -> tuple[float, float] | None:
        """From the first to the last window in which somebody plays."""
        heard = np.flatnonzero(self._windows.powers.max(axis=1) > power_from_rms_dbfs(NOBODY_PLAYS_DBFS))
        if len(heard) == 0:
            return None
        width, samples, rate_hz = self._windows.width, self.measures.samples, self.measures.rate_hz
        return int(heard[0]) * width / rate_hz, min((int(heard[-1]) + 1) * width, samples) / rate_hz

    def _pair(self) -> Sides | None:
        """The first two channels against each other, where there are two and both sound."""
        if len(self._levels.mean_squares) != 2:
            return None
        products = self._products.all()
        powers = self._windows.powers[: len(products)]  # what sounds only behind the last window is in none
        if not (powers > 0).any(axis=0).all():
            return None
        both, apart = self._envelope.all(), self._apart.all()
        width = self._windows.width
        return compare_sides(
            powers, products, self._difference / self.measures.samples,
            ((both + apart) / 2, (both - apart) / 2), width / self.measures.rate_hz,
        )  # fmt: skip

    def _drawn(self) -> dict[str, NDArray[np.float32]]:
        lows, highs = self._outline.all().T
        starts = np.unique(np.arange(min(OUTLINE_STEPS, len(lows))) * len(lows) // min(OUTLINE_STEPS, len(lows)))
        return {"lowest": np.minimum.reduceat(lows, starts), "highest": np.maximum.reduceat(highs, starts)}
