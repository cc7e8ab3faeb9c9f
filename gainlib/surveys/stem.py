"""One stem measured from its file, a block at a time, so that its length does not matter."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Recording, Samples
from gainlib.decibels import db_from_power, db_from_ratio, power_from_rms_dbfs, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.meters import ClippedRuns, FlatTopsMeter, LevelHistogram, Loudness, LoudnessMeter, TruePeakMeter, measures
from gainlib.meters.clipping import full_scale_edge
from gainlib.meters.levels import crest_of_db, finite_powers, floor_of_windows_dbfs
from gainlib.meters.loudness import CHANNEL_WEIGHTS, HIGHEST_RATE_HZ, LOWEST_RATE_HZ
from gainlib.meters.phrases import active_of_windows_dbfs
from gainlib.meters.statistics import histogram_of_windows

__all__ = ["COLUMNS", "MEASURED", "Meters", "Pair", "Stem", "Stopped", "block_frames", "measured"]

Readings = NDArray[np.float64]

MEASURED = (
    "peak_dbfs", "true_peak_dbtp", "rms_dbfs", "active_rms_dbfs", "loudness_lufs", "momentary_max_lufs",
    "short_term_max_lufs", "loudness_range_lu", "crest_db", "headroom_db", "noise_floor_dbfs", "dc_offset_dbfs",
    "clipped_runs", "flat_tops",
)  # fmt: skip
"""What is read of each stem, by the names of `gainlib.measures()`."""

COLUMNS = 400
"""How many columns a stem's small waveform has at most."""

WINDOW_SECONDS = 0.05
_SILENCE_POWER = power_from_rms_dbfs(-70.0)  # below it nobody plays, as in `active_rms_dbfs`
_MOST_RUNS = 20_000
_ENVELOPE_MINUTES = 10
_ENVELOPE_A_WINDOW = 50  # 1000 a second: what two microphones on one source have in common lies below 500 Hz


class Stopped(Exception):
    """The survey was asked to end while this stem was measured."""


@dataclass(frozen=True)
class Pair:
    """How two channels stand to each other: correlation (+1 alike, -1 opposite), balance and difference in dB.

    `balance_db` is how far the first lies above the second; `difference_db` the power of their difference against
    theirs, -inf for one signal twice.
    """

    correlation: float
    balance_db: float
    difference_db: float


@dataclass(frozen=True, eq=False)
class Stem:
    """What was read of one file. `readings` are by the names of `gainlib.measures()`, the worst channel's of each.

    `lacks` says of each measure that could not be read why not; `per_channel` has the channels' own peak and level;
    `clipped` and `flat` where it was clipped, to the sample; `sounds` the seconds from the first to the last sound,
    None for silence; `starts_at` the sample at which a broadcast WAV says that it starts.
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
    pair: Pair | None
    levels: LevelHistogram = field(repr=False)
    lowest: NDArray[np.float32] = field(repr=False)
    highest: NDArray[np.float32] = field(repr=False)
    envelope: NDArray[np.float32] = field(repr=False)

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
    """How many samples are read at a time: whole windows of 50 ms, below a second or so."""
    width = max(1, round(WINDOW_SECONDS * rate_hz))
    return width * max(1, 45_000 // width)


def measured(
    path: Path,
    name: str,
    *,
    tick: Callable[[float], None] = lambda share: None,
    stop: Callable[[], bool] = lambda: False,
) -> Stem:
    """Read one file to its end and measure it, in the same few megabytes for a second or for hours.

    `tick` hears what share of the file was done since the last time; when `stop` says so, Stopped is raised. Raises
    GainError for a file that cannot be read to its end and for samples that are not numbers.

    >>> from gainlib.storage import bundled
    >>> stem = measured(bundled("media/kick.flac"), "kick")
    >>> stem.name, stem.readings["flat_tops"], sorted(stem.readings) == sorted(MEASURED)
    ('kick', 0.0, True)
    """
    with Recording(path) as recording:
        meters = Meters(recording.rate_hz, recording.channels, name)
        for block in recording.blocks(block_frames(recording.rate_hz)):
            if stop():
                raise Stopped
            meters.push(block)
            tick(len(block) / recording.frames)
        return meters.stem(path, recording)


class Meters:
    """Everything that is read of one recording, in one pass: `push` its blocks in order, then ask.

    With `levels_only` neither flat tops are looked for nor is anything kept to draw or compare it by.

    >>> meters = Meters(48000, 1, "tone")
    >>> meters.push(np.full((4800, 1), 0.5))
    >>> round(meters.readings()[0]["peak_dbfs"], 2)
    -6.02
    """

    def __init__(self, rate_hz: int, channels: int, name: str, *, levels_only: bool = False) -> None:
        self.rate_hz, self.channels, self.name = rate_hz, channels, name
        self.width = max(1, round(WINDOW_SECONDS * rate_hz))
        self.done = 0
        self.peaks, self.squares, self.sums = np.zeros((3, channels))
        self.products = np.zeros(2)  # of two channels: one times the other, and their difference squared
        self.powers = _Growing((channels,), np.float64)
        self.outline = _Growing((2,), np.float32)
        self.envelope = _Growing((), np.float32)
        self.envelope_left = 0 if levels_only or self.width < _ENVELOPE_A_WINDOW else _ENVELOPE_MINUTES * 60 * 20
        self.true_peak = TruePeakMeter(channels)
        self.loudness: LoudnessMeter | None = None
        if channels in CHANNEL_WEIGHTS and LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
            self.loudness = LoudnessMeter(rate_hz, channels)
        self.flat = None if levels_only else FlatTopsMeter(channels)
        self.clipped = [_Runs() for _ in range(channels)]
        self.first_sound: int | None = None
        self.last_sound = 0

    def push(self, block: Samples) -> None:
        """Take the next samples `(n, channels)`: whole windows of 50 ms, but for the last block."""
        rows = np.ascontiguousarray(block.T)
        # The last window may be short: it is left out of the levels, as the measures have it, but seen and heard.
        full = len(block) // self.width
        powers = self._windows(rows, full)
        tail = rows[:, full * self.width :]
        squares = np.einsum("cn,cn->c", tail, tail, dtype=np.float64)
        squares += powers.sum(axis=0) * self.width if full else 0.0
        if not np.isfinite(squares).all():
            self._refuse(block)
        self.squares += squares
        self.sums += rows.sum(axis=1, dtype=np.float64)
        if len(rows) == 2:
            apart = rows[0] - rows[1]
            self.products += float(np.dot(rows[0], rows[1])), float(np.dot(apart, apart))
        lows, highs = self._extremes(rows)
        tops = np.maximum(highs.max(axis=0), -lows.min(axis=0)).astype(np.float64)
        self.peaks = np.maximum(self.peaks, tops)
        for row, runs, top in zip(rows, self.clipped, tops, strict=True):
            runs.push(row, float(top))
        if full and self.envelope_left > 0:
            self._follow(rows, full)
        self.true_peak.push(block)
        if self.loudness is not None:
            self.loudness.push(block)
        if self.flat is not None:
            self.flat.push_checked(block)
            self.outline.add(np.stack((lows.min(axis=1), highs.max(axis=1)), axis=1))
        if full or not len(self.powers):
            self.powers.add(powers)
            heard = np.flatnonzero(powers.max(axis=1) > _SILENCE_POWER)
            if len(heard):
                if self.first_sound is None:
                    self.first_sound = self.done + int(heard[0]) * self.width
                self.last_sound = self.done + (int(heard[-1]) + 1) * self.width
        self.done += len(block)

    def _windows(self, rows: Samples, full: int) -> Readings:
        """The mean square of each full window `(windows, channels)`; of what is shorter than one, that of the whole."""
        parts = rows[:, : full * self.width].reshape(len(rows), full, self.width) if full else rows[:, None, :]
        powers: Readings = np.einsum("cwn,cwn->wc", parts, parts, dtype=np.float64) / parts.shape[2]
        return powers

    def _extremes(self, rows: Samples) -> tuple[Samples, Samples]:
        """The lowest and highest sample of each window `(windows, channels)`, the short last one too."""
        edges = np.arange(0, rows.shape[1], self.width)
        return np.minimum.reduceat(rows, edges, axis=1).T, np.maximum.reduceat(rows, edges, axis=1).T

    def _follow(self, rows: Samples, full: int) -> None:
        each = self.width // _ENVELOPE_A_WINDOW
        mono = rows[0] if len(rows) == 1 else rows.sum(axis=0)
        parts = mono[: full * self.width].reshape(full, self.width)[:, : each * _ENVELOPE_A_WINDOW]
        parts = parts.reshape(full * _ENVELOPE_A_WINDOW, each)
        # Times a row of ones: several times as fast as a mean along rows this short.
        self.envelope.add(parts @ np.ones(parts.shape[1], dtype=parts.dtype))
        self.envelope_left -= full

    def _refuse(self, block: Samples) -> None:
        """Say which sample is not a number, or that they are too large."""
        finite = np.isfinite(block)
        if not finite.all():
            at, channel = np.argwhere(~finite)[0]
            raise GainError(
                f"{self.name} holds {block[at, channel]} at sample {self.done + int(at)}, channel "
                f"{channel + 1}; every sample must be a number: export it again."
            )
        finite_powers(np.full(1, np.inf))

    def readings(self) -> tuple[dict[str, float], dict[str, str], dict[str, tuple[float, ...]]]:
        """What was read, the worst channel's of each measure; what could not be, and why; and channel by channel."""
        powers, mean_squares = self._powers(), self.squares / max(self.done, 1)
        readings = {
            "peak_dbfs": db_from_ratio(self.peaks),
            "true_peak_dbtp": self.true_peak.reading_dbtp(),
            "rms_dbfs": rms_dbfs_from_power(mean_squares),
            "active_rms_dbfs": active_of_windows_dbfs(powers),
            "crest_db": crest_of_db(self.peaks, mean_squares),
            "headroom_db": -db_from_ratio(self.peaks),
            "noise_floor_dbfs": floor_of_windows_dbfs(powers, 0.05),
            "dc_offset_dbfs": db_from_ratio(np.abs(self.sums / max(self.done, 1))),
            "clipped_runs": np.array([float(each.count()) for each in self.clipped]),
        }
        if self.flat is not None:
            readings["flat_tops"] = self.flat.counts.astype(np.float64)
        of_all = {each: measures()[each].of_all(values) for each, values in readings.items()}
        lacks: dict[str, str] = {}
        if self.loudness is not None:
            read = self.loudness.reading()
            for measure, reading in _PROGRAMME.items():
                try:
                    of_all[measure] = reading(read)
                except GainError as lack:
                    lacks[measure] = str(lack)
        else:
            why = f"loudness is defined for 1 to 6 channels at {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz; "
            why += f"this recording has {self.channels} at {self.rate_hz} Hz."
            lacks = dict.fromkeys(_PROGRAMME, why)
        shown = {each: tuple(readings[each].tolist()) for each in ("peak_dbfs", "active_rms_dbfs", "rms_dbfs")}
        return {each: of_all[each] for each in MEASURED if each in of_all}, lacks, shown

    def stem(self, path: Path, recording: Recording) -> Stem:
        """All of it as a Stem; not for meters that read levels only."""
        assert self.flat is not None
        readings, lacks, per_channel = self.readings()
        sounds = None
        if self.first_sound is not None:
            sounds = (self.first_sound / self.rate_hz, min(self.last_sound, self.done) / self.rate_hz)
        return Stem(
            name=self.name, path=path, form=recording.form, coding=recording.coding, rate_hz=self.rate_hz,
            channels=self.channels, frames=recording.frames, starts_at=recording.starts_at,
            readings=readings, lacks=lacks, per_channel=per_channel,
            clipped=_joined(self.clipped), flat=self.flat.reading(), sounds=sounds, pair=self._pair(),
            levels=histogram_of_windows(self._powers(), 1.0, -90.0), **self._drawn(),
            envelope=self.envelope.all().copy(),
        )  # fmt: skip

    def _powers(self) -> Readings:
        return self.powers.all() if len(self.powers) else np.zeros((1, self.channels))

    def _pair(self) -> Pair | None:
        """The first two channels against each other, where there are two and both sound."""
        if self.channels != 2 or not (self.squares > 0).all():
            return None
        (one, other), (both, apart) = self.squares.tolist(), self.products.tolist()
        return Pair(
            correlation=min(1.0, max(-1.0, both / math.sqrt(one * other))),
            balance_db=db_from_power(one / other),
            difference_db=db_from_power(apart / (one + other)),
        )

    def _drawn(self) -> dict[str, NDArray[np.float32]]:
        lows, highs = self.outline.all().T
        starts = np.unique(np.arange(min(COLUMNS, len(lows))) * len(lows) // min(COLUMNS, len(lows)))
        return {"lowest": np.minimum.reduceat(lows, starts), "highest": np.maximum.reduceat(highs, starts)}


class _Growing:
    """An array to which rows are added: twice as large whenever it is full, so that hours are no list of scraps."""

    def __init__(self, shape: tuple[int, ...], dtype: type[np.floating[Any]]) -> None:
        self._rows: NDArray[Any] = np.empty((4096, *shape), dtype=dtype)
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, rows: NDArray[Any]) -> None:
        last = self._count + len(rows)
        if last > len(self._rows):
            grown = np.empty((max(2 * len(self._rows), last), *self._rows.shape[1:]), dtype=self._rows.dtype)
            grown[: self._count] = self._rows[: self._count]
            self._rows = grown
        self._rows[self._count : last] = rows
        self._count = last

    def all(self) -> NDArray[Any]:
        return self._rows[: self._count]


_PROGRAMME: Mapping[str, Callable[[Loudness], float]] = {
    "loudness_lufs": lambda read: read.integrated_lufs,
    "momentary_max_lufs": lambda read: read.momentary_max_lufs,
    "short_term_max_lufs": lambda read: read.short_term_max_lufs,
    "loudness_range_lu": lambda read: read.range_lu,
}


class _Runs:
    """The clipped runs of one channel, as `clipped_runs` finds them in the whole; positions of the first 20 000."""

    def __init__(self) -> None:
        self.edge = full_scale_edge()
        self.at = 0
        self.counted = 0
        self.starts: list[int] = []
        self.lengths: list[int] = []
        self.open: tuple[int, int, float] | None = None  # start, length so far, side of a run that reaches the end

    def push(self, row: NDArray[np.floating], top: float) -> None:
        if top < self.edge:
            self._close()
            self.at += len(row)
            return
        starts, lengths = loops.runs_beyond(row, -self.edge, self.edge, 1)
        for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
            side = math.copysign(1.0, row[start])
            if start == 0 and self.open is not None and self.open[2] == side:
                self.open = (self.open[0], self.open[1] + length, side)
            else:
                self._close()
                self.open = (self.at + start, length, side)
        self.at += len(row)
        if self.open is not None and sum(self.open[:2]) < self.at:
            self._close()

    def _close(self) -> None:
        if self.open is not None and self.open[1] >= 3:
            self.counted += 1
            if len(self.starts) < _MOST_RUNS:
                self.starts.append(self.open[0])
                self.lengths.append(self.open[1])
        self.open = None

    def count(self) -> int:
        return self.counted + (self.open is not None and self.open[1] >= 3)

    def end(self) -> Iterator[tuple[int, int]]:
        self._close()
        return zip(self.starts, self.lengths, strict=True)


def _joined(channels: list[_Runs]) -> ClippedRuns:
    found = sorted((start, index, length) for index, runs in enumerate(channels) for start, length in runs.end())
    start, channel, length = np.array(found, dtype=np.int64).reshape(-1, 3).T
    return ClippedRuns(start.copy(), length.copy(), channel.copy())
