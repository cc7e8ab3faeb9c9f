"""The one list of measures: each has one name, on a bench, in an exercise and in a report."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio, rms_dbfs_from_power
from gainlib.errors import GainError, suggest
from gainlib.meters.ballistics import PpmMeter, PpmType, VuMeter
from gainlib.meters.clipping import ClippedRuns, clipped_runs, flat_runs, flat_tops
from gainlib.meters.distortion import harmonics, thd_n_percent
from gainlib.meters.levels import (
    checked_dc_offset_dbfs,
    checked_peaks_and_powers,
    checked_window_powers,
    crest_of_db,
    floor_of_windows_dbfs,
)
from gainlib.meters.loudness import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, Loudness, checked_loudness
from gainlib.meters.phrases import active_of_windows_dbfs, checked_phrases
from gainlib.meters.true_peak import checked_true_peak_dbtp
from gainlib.text import signed

__all__ = ["Measure", "Measures", "Reader", "measure", "measure_all", "measures"]

Readings = NDArray[np.float64]


class Reader:
    """One recording while it is measured: what several measures share is worked out once.

    >>> Reader(Audio(np.full(480, 0.5), 48000)).peaks.tolist()
    [0.5]
    """

    def __init__(self, audio: Audio) -> None:
        self.audio = audio.in_double

    @functools.cached_property
    def _levels(self) -> tuple[Readings, Readings]:
        return checked_peaks_and_powers(self.audio.samples)

    @property
    def peaks(self) -> Readings:
        """The largest |sample| of each channel."""
        return self._levels[0]

    @property
    def powers(self) -> Readings:
        """The mean square of each channel."""
        return self._levels[1]

    @functools.cached_property
    def windows(self) -> Readings:
        """The mean square of each 50 ms, `(windows, channels)`."""
        return checked_window_powers(self.audio.samples, self.audio.rate_hz, 0.05)

    @functools.cached_property
    def loudness(self) -> Loudness:
        """Everything that BS.1770 reads."""
        return checked_loudness(self.audio.samples, self.audio.rate_hz)

    @functools.cached_property
    def phrase_levels_dbfs(self) -> list[float]:
        """The RMS level of each phrase."""
        found = checked_phrases(self.audio.samples, self.audio.rate_hz, windows=self.windows)
        return [each.rms_dbfs for each in found]


@dataclass(frozen=True)
class Measure:
    """One thing that can be measured: its name, its unit, what it means, what it needs, how it is printed.

    `worst` says which channel's reading stands for the whole: the highest or the lowest; `whole` that there is one
    reading for all channels together. `least_seconds`, `most_channels` and `rates_hz` say which recordings it can
    read, `tone` that it means something on a steady tone only. `digits` and `plus` say how it is printed.

    >>> measures()["peak_dbfs"].printed(-6.02)
    '−6.0 dBFS'
    """

    name: str
    unit: str
    meaning: str
    reading: Callable[[Reader], Readings]
    digits: int = 1
    plus: bool = False
    worst: Literal["highest", "lowest"] = "highest"
    whole: bool = False
    tone: bool = False
    least_seconds: float = 0.0
    most_channels: int | None = None
    rates_hz: tuple[int, int] | None = None

    def printed(self, value: float) -> str:
        """The reading as a person reads it, with its unit."""
        return signed(value, self.digits, self.unit, plus=self.plus)

    @property
    def needs(self) -> str:
        """What it needs, in words; empty where any recording will do.

        >>> measures()["short_term_max_lufs"].needs
        '3 s or more, at most 6 channels, 8000 to 192000 Hz'
        """
        parts = ["a steady tone"] if self.tone else []
        parts += [f"{self.least_seconds:g} s or more"] if self.least_seconds else []
        parts += [f"at most {self.most_channels} channels"] if self.most_channels else []
        parts += [f"{self.rates_hz[0]} to {self.rates_hz[1]} Hz"] if self.rates_hz else []
        return ", ".join(parts)

    def lacks(self, audio: Audio) -> str:
        """What a recording lacks to be measured, as one sentence; empty where it lacks nothing.

        >>> measures()["loudness_lufs"].lacks(Audio(np.zeros(4800), 48000))
        'loudness_lufs needs 0.4 s or more; this recording lasts 0.1 s.'
        """
        # A sample may be missing for the nearest-sample rounding of a window; the meter itself has the last word.
        if audio.seconds < self.least_seconds - 0.5 / audio.rate_hz:
            return f"{self.name} needs {self.least_seconds:g} s or more; this recording lasts {audio.seconds:.3g} s."
        if self.most_channels and audio.channels > self.most_channels:
            return f"{self.name} needs at most {self.most_channels} channels; this recording has {audio.channels}."
        if self.rates_hz and not self.rates_hz[0] <= audio.rate_hz <= self.rates_hz[1]:
            low, high = self.rates_hz
            return f"{self.name} needs a rate of {low} to {high} Hz; this recording has {audio.rate_hz} Hz."
        return ""

    def read(self, audio: Audio) -> Readings:
        """The readings `(channels,)`, or `(1,)` for a measure of the whole; GainError for a recording that lacks."""
        return self.read_from(Reader(audio))

    def read_from(self, reader: Reader) -> Readings:
        """`read` from a Reader that other measures share."""
        lack = self.lacks(reader.audio)
        if lack:
            raise GainError(lack)
        return self.reading(reader)

    def of_all(self, readings: Readings) -> float:
        """The one number that stands for all channels."""
        return float(readings.max() if self.worst == "highest" else readings.min())


class Measures(Mapping[str, Measure]):
    """Every measure by name; in a notebook it shows itself as a table.

    >>> "rms_dbfs" in measures()
    True
    """

    def __init__(self, known: tuple[Measure, ...]) -> None:
        self._known = {each.name: each for each in known}

    def __getitem__(self, name: str) -> Measure:
        if name not in self._known:
            raise GainError(f"{name!r} is not a measure; {suggest(name, self._known)}")
        return self._known[name]

    def __contains__(self, name: object) -> bool:
        return name in self._known

    def __iter__(self) -> Iterator[str]:
        return iter(self._known)

    def __len__(self) -> int:
        return len(self._known)

    def __repr__(self) -> str:
        return "\n".join(f"{each.name:<20} {each.unit or '-':<5} {each.meaning}" for each in self.values())


def _counted(runs_of: Callable[[NDArray[np.floating]], ClippedRuns]) -> Callable[[Reader], Readings]:
    def count(reader: Reader) -> Readings:
        runs = runs_of(reader.audio.samples)
        return np.bincount(runs.channel, minlength=reader.audio.channels).astype(np.float64)

    return count


def _programme(name: str, unit: str, meaning: str, value: Callable[[Loudness], float], least_seconds: float) -> Measure:
    return Measure(
        name,
        unit,
        meaning,
        lambda reader: np.array([value(reader.loudness)]),
        whole=True,
        least_seconds=least_seconds,
        most_channels=6,
        rates_hz=(LOWEST_RATE_HZ, HIGHEST_RATE_HZ),
    )


def _vu_max_dbfs(reader: Reader) -> Readings:
    meter = VuMeter(reader.audio.rate_hz, reader.audio.channels, frames_a_second=1)
    return meter.push_checked(reader.audio.samples).highest_dbfs


def _ppm_max_dbfs(kind: PpmType) -> Callable[[Reader], Readings]:
    def read(reader: Reader) -> Readings:
        meter = PpmMeter(reader.audio.rate_hz, reader.audio.channels, kind=kind, frames_a_second=1)
        return meter.push_checked(reader.audio.samples).highest_dbfs

    return read


def _phrase_range_db(reader: Reader) -> Readings:
    levels = reader.phrase_levels_dbfs
    return np.array([max(levels) - min(levels) if levels else 0.0])


_MEASURES = Measures(
    (
        Measure(
            "peak_dbfs",
            "dBFS",
            "The largest sample; 0 dBFS is full scale.",
            lambda reader: db_from_ratio(reader.peaks),
        ),
        Measure(
            "true_peak_dbtp",
            "dBTP",
            "The highest point of the curve between the samples: what a converter or a lossy coder has to carry.",
            lambda reader: checked_true_peak_dbtp(reader.audio.samples),
        ),
        Measure(
            "rms_dbfs",
            "dBFS",
            "The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS.",
            lambda reader: rms_dbfs_from_power(reader.powers),
        ),
        Measure(
            "active_rms_dbfs",
            "dBFS",
            "The AES17 RMS level while somebody plays; pauses do not count.",
            lambda reader: active_of_windows_dbfs(reader.windows),
        ),
        Measure(
            "crest_db",
            "dB",
            "How far the peak stands above the mathematical RMS: a sine 3 dB, a snare near 20 dB.",
            lambda reader: crest_of_db(reader.peaks, reader.powers),
            plus=True,
        ),
        Measure(
            "headroom_db",
            "dB",
            "What is left from the sample peak up to full scale.",
            lambda reader: -db_from_ratio(reader.peaks),
            plus=True,
            worst="lowest",
        ),
        Measure(
            "dc_offset_dbfs",
            "dBFS",
            "How far the middle of the waveform is from zero, as a peak level.",
            lambda reader: checked_dc_offset_dbfs(reader.audio.samples),
        ),
        Measure(
            "noise_floor_dbfs",
            "dBFS",
            "The AES17 RMS level of the pauses: the quietest twentieth of the recording.",
            lambda reader: floor_of_windows_dbfs(reader.windows, 0.05),
        ),
        Measure(
            "clipped_runs",
            "",
            "How often three neighbouring samples and more stand at full scale.",
            _counted(clipped_runs),
            digits=0,
        ),
        Measure(
            "flat_runs",
            "",
            "How often three neighbouring samples and more stand at the recording's own extreme: clipped before.",
            _counted(flat_runs),
            digits=0,
        ),
        Measure(
            "flat_tops",
            "",
            "How often a crest is cut off at the recording's own extreme: clipped, then turned down, also dithered.",
            _counted(flat_tops),
            digits=0,
        ),
        Measure(
            "phrase_range_db",
            "dB",
            "From the quietest to the loudest phrase, as RMS; 0 dB for one phrase or none.",
            _phrase_range_db,
            plus=True,
            whole=True,
        ),
        _programme(
            "loudness_lufs",
            "LUFS",
            "The integrated loudness of the whole with both gates of BS.1770.",
            lambda read: read.integrated_lufs,
            0.4,
        ),
        _programme(
            "momentary_max_lufs",
            "LUFS",
            "The loudest 400 ms.",
            lambda read: read.momentary_max_lufs,
            0.4,
        ),
        _programme(
            "short_term_max_lufs",
            "LUFS",
            "The loudest 3 s.",
            lambda read: read.short_term_max_lufs,
            3.0,
        ),
        _programme(
            "loudness_range_lu",
            "LU",
            "How far quiet and loud passages lie apart, after EBU Tech 3342.",
            lambda read: read.range_lu,
            3.0,
        ),
        Measure(
            "vu_max_dbfs",
            "dBFS",
            "The highest that a VU meter reaches: the average through a slow pointer, a sine at its peak level.",
            _vu_max_dbfs,
        ),
        Measure(
            "ppm_type1_max_dbfs",
            "dBFS",
            "The highest that a programme meter of type I reaches (5 ms), a sine at its peak level.",
            _ppm_max_dbfs("I"),
        ),
        Measure(
            "ppm_type2_max_dbfs",
            "dBFS",
            "The highest that a programme meter of type II reaches (10 ms), a sine at its peak level.",
            _ppm_max_dbfs("II"),
        ),
        Measure(
            "thd_percent",
            "%",
            "Harmonics 2 to 10 of the strongest tone over that tone.",
            lambda reader: harmonics(reader.audio.samples, reader.audio.rate_hz).thd_percent,
            digits=3,
            tone=True,
        ),
        Measure(
            "thd_n_percent",
            "%",
            "Everything but the strongest tone up to 20 kHz over the whole: distortion and noise.",
            lambda reader: thd_n_percent(reader.audio.samples, reader.audio.rate_hz),
            digits=3,
            tone=True,
        ),
    )
)


def measures() -> Measures:
    """Every measure: its name, unit, meaning and what it needs.

    >>> measures()["crest_db"].unit
    'dB'
    """
    return _MEASURES


def measure(name: str, audio: Audio, *, per_channel: bool = False) -> float | Readings:
    """One number for the recording, the worst channel's; with `per_channel=True` an array `(channels,)`.

    Raises GainError for a name that is not in `measures()`, with the nearest one that is, for anything but Audio, for
    a recording that lacks what the measure needs, and for a measure of the whole asked channel by channel.

    >>> round(measure("peak_dbfs", Audio(np.array([0.0, 0.5]), 48000)), 2)
    -6.02
    """
    chosen = measures()[name]
    if not isinstance(audio, Audio):
        raise GainError(
            f"{name} was asked of {type(audio).__name__}; give Audio: Audio(samples, rate_hz) or read(path)."
        )
    if per_channel and chosen.whole:
        raise GainError(f"{name} is one reading of the whole recording; leave out per_channel.")
    readings = chosen.read(audio)
    return readings if per_channel else chosen.of_all(readings)


def measure_all(audio: Audio, names: Iterable[str] | None = None) -> dict[str, float]:
    """Many numbers for one recording, the worst channel's of each, working out once what they share.

    `names` are measures, in the order wanted; left out, every measure that does not need a tone and that the recording
    does not lack anything for. Raises GainError as `measure` does.

    >>> found = measure_all(Audio(np.full(480, 0.5), 48000), ["peak_dbfs", "crest_db"])
    >>> {name: round(value, 2) for name, value in found.items()}
    {'peak_dbfs': -6.02, 'crest_db': 0.0}
    """
    if not isinstance(audio, Audio):
        raise GainError(f"measure_all was asked of {type(audio).__name__}; give Audio(samples, rate_hz) or read(path).")
    if names is None:
        chosen = [each for each in measures().values() if not each.tone and not each.lacks(audio)]
    else:
        chosen = [measures()[name] for name in names]
    reader = Reader(audio)
    return {each.name: each.of_all(each.read_from(reader)) for each in chosen}
