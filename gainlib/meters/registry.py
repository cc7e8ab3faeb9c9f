"""The one list of measures: each has one name, on a bench, in an exercise and in a report."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np

from gainlib.audio import Audio, Samples
from gainlib.errors import GainError, suggest
from gainlib.meters.ballistics import PpmMeter, VuMeter
from gainlib.meters.clipping import ClippedRunsMeter, FlatTopsMeter
from gainlib.meters.distortion import harmonics, thd_n_percent
from gainlib.meters.hum import hum_dbfs
from gainlib.meters.levels import LevelMeter
from gainlib.meters.loudness_meter import HIGHEST_RATE_HZ, LOWEST_RATE_HZ, Loudness, LoudnessMeter
from gainlib.meters.noise_under_sound import NoiseUnderSoundMeter
from gainlib.meters.phrases import find_phrases
from gainlib.meters.streaming import Readings, StreamMeter, WindowFigures
from gainlib.meters.true_peak import TruePeakMeter
from gainlib.meters.windows import WindowMeter, window_samples
from gainlib.text import signed, spaced

__all__ = ["Measure", "Measures", "Meters", "Reader", "measure", "measure_all", "measures"]

MakeMeter = Callable[[int, int], StreamMeter]


class Recorded(Protocol):
    """What says which measures a recording can be read by: an Audio, or Meters while a stream runs."""

    @property
    def seconds(self) -> float:
        """How long it lasts."""

    @property
    def rate_hz(self) -> int:
        """Its sample rate."""

    @property
    def channels(self) -> int:
        """How many channels it has."""


class Reader:
    """One recording while it is measured: each meter takes it once, and its measures share the reading.

    >>> round(float(measures()["peak_dbfs"].read_from(Reader(Audio(np.full(480, 0.5), 48000)))[0]), 2)
    -6.02
    """

    def __init__(self, audio: Audio) -> None:
        self.given = audio
        self._meters: dict[MakeMeter, StreamMeter] = {}

    @functools.cached_property
    def audio(self) -> Audio:
        """The recording in double precision, for what can only be read of the whole."""
        return self.given.in_double

    def meter(self, make: MakeMeter) -> StreamMeter:
        """The meter that `make` gives, after it has taken the recording."""
        if make not in self._meters:
            meter = make(self.given.rate_hz, self.given.channels)
            # Of what is held all meters share one copy in double; what is not comes a stretch at a time.
            for block in (self.given if self.given.on_disk else self.audio).blocks():
                meter.take(block.astype(np.float64, copy=False))
            self._meters[make] = meter
        return self._meters[make]


@dataclass(frozen=True)
class Measure:
    """One thing that can be measured: its name, its unit, what it means, what it needs, how it is printed.

    Measures with one `make` share one meter.

    Parameters
    ----------
    name : str
        The one name that it has everywhere, with its unit.
    unit : str
        The unit as it is printed; empty for a bare number.
    meaning : str
        One sentence.
    make : function of rate in Hz and channels, or None
        Gives the meter of a stream that knows it; None where only the whole recording can be read.
    reading : function
        Asks that meter, or without `make` the Audio; gives one reading a channel.
    digits : int
        How many decimals are printed.
    worst : "highest" or "lowest"
        Which channel's reading stands for the whole.
    whole : bool
        There is one reading for all channels together.
    tone : bool
        It means something on a steady tone only.
    least_seconds : float
        How long a recording must last, seconds.
    most_channels : int, optional
        How many channels it can read.
    rates_hz : (int, int), optional
        The lowest and the highest rate that it can read, Hz.
    copies : float
        How many times one channel in double precision it takes of memory while it reads a whole recording, at the most.

    Examples
    --------
    >>> measures()["peak_dbfs"].printed(-6.02)
    '−6.0 dBFS'
    """

    name: str
    unit: str
    meaning: str
    make: MakeMeter | None
    reading: Callable[[Any], Readings]
    digits: int = 1
    worst: Literal["highest", "lowest"] = "highest"
    whole: bool = False
    tone: bool = False
    least_seconds: float = 0.0
    most_channels: int | None = None
    rates_hz: tuple[int, int] | None = None
    copies: float = 2.0

    def printed(self, value: float) -> str:
        """The reading as a person reads it, with its unit."""
        return signed(value, self.digits, self.unit, plus=False)

    @property
    def needs(self) -> str:
        """What it needs, in words; empty where any recording will do.

        >>> measures()["short_term_max_lufs"].needs
        '3 s or more, at most 6 channels, 8000 to 192 000 Hz'
        """
        parts = ["a steady tone"] if self.tone else []
        parts += [f"{self.least_seconds:g} s or more"] if self.least_seconds else []
        parts += [f"at most {self.most_channels} channels"] if self.most_channels else []
        parts += [f"{spaced(self.rates_hz[0])} to {spaced(self.rates_hz[1])} Hz"] if self.rates_hz else []
        return ", ".join(parts)

    def lacks(self, recording: Recorded) -> str:
        """What a recording lacks to be measured, as one sentence; empty where it lacks nothing.

        >>> measures()["loudness_lufs"].lacks(Audio(np.zeros(4800), 48000))
        'loudness_lufs needs 0.4 s or more; this recording lasts 0.1 s.'
        """
        return self._lacks(recording.seconds, recording.rate_hz, recording.channels)

    def _lacks(self, seconds: float, rate_hz: int, channels: int) -> str:
        # A sample may be missing for the nearest-sample rounding of a window; the meter itself has the last word.
        if seconds < self.least_seconds - 0.5 / rate_hz:
            return f"{self.name} needs {self.least_seconds:g} s or more; this recording lasts {seconds:.3g} s."
        if self.most_channels and channels > self.most_channels:
            return f"{self.name} needs at most {self.most_channels} channels; this recording has {channels}."
        if self.rates_hz and not self.rates_hz[0] <= rate_hz <= self.rates_hz[1]:
            low, high, found = map(spaced, (*self.rates_hz, rate_hz))
            return f"{self.name} needs a rate of {low} to {high} Hz; this recording has {found} Hz."
        return ""

    def reads(self, rate_hz: int, channels: int) -> bool:
        """Whether a stream of such a form can be read by it, once it is long enough.

        >>> measures()["loudness_lufs"].reads(48000, 2), measures()["loudness_lufs"].reads(48000, 8)
        (True, False)
        """
        return not self._lacks(math.inf, rate_hz, channels)

    def read(self, audio: Audio) -> Readings:
        """The readings `(channels,)`, or `(1,)` for a measure of the whole; GainError for a recording that lacks."""
        return self.read_from(Reader(audio))

    def read_from(self, reader: Reader) -> Readings:
        """`read` from a Reader that other measures share."""
        lack = self.lacks(reader.given)
        if lack:
            raise GainError(lack)
        return self.reading(reader.audio if self.make is None else reader.meter(self.make))

    def of_all(self, readings: Readings) -> float:
        """The one number that stands for all channels."""
        return float(readings.max() if self.worst == "highest" else readings.min())


class Measures(Mapping[str, Measure]):
    """Every measure by name; in a notebook it shows itself as a table.

    Parameters
    ----------
    known : tuple of Measure
        Those, in the order of the table.

    Raises
    ------
    GainError
        When it is asked for a name that is no measure, with the nearest that is.

    Examples
    --------
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


class Meters(StreamMeter):
    """Several measures of one stream in one pass: `push` its blocks in order, ask at any time.

    A meter that several measures ask runs once. What it reads is what `measure` reads of the whole, bar the rounding
    that each meter states.

    Parameters
    ----------
    rate_hz, channels : int
        The form of the stream.
    names : iterable of str
        Measures, in the order wanted; those that no stream of this form has are listed by `lacks`.

    Raises
    ------
    GainError
        For a name that is not in `measures()`, and for a measure that only a whole recording has.

    Examples
    --------
    >>> meters = Meters(48000, 1, ["peak_dbfs", "loudness_lufs"])
    >>> meters.push(np.full(4800, 0.5))
    >>> round(meters.of_all()["peak_dbfs"], 2), meters.lacks()
    (-6.02, {'loudness_lufs': 'loudness_lufs needs 0.4 s or more; this recording lasts 0.1 s.'})
    """

    def __init__(self, rate_hz: int, channels: int, names: Iterable[str]) -> None:
        super().__init__(channels)
        self.rate_hz, self.samples = rate_hz, 0
        self._measures = [measures()[name] for name in names]
        self._meters: dict[MakeMeter, StreamMeter] = {}
        for each in self._measures:
            if each.make is None:
                raise GainError(f"{each.name} needs a whole recording at once; ask it of Audio.")
            if each.make not in self._meters and each.reads(rate_hz, channels):
                self._meters[each.make] = each.make(rate_hz, channels)

    @property
    def seconds(self) -> float:
        """How long the stream is so far."""
        return self.samples / self.rate_hz

    def take(self, checked: Samples, columns: Samples | None = None, figures: WindowFigures | None = None) -> None:
        """`push` of samples that were checked before.

        `columns` are the same, each channel's side by side, and `figures` those of their windows, if had.
        """
        columns = np.asfortranarray(checked) if columns is None else columns
        for meter in self._meters.values():
            block = columns if meter.by_channel else checked
            if figures is None:
                meter.take(block)
            else:
                meter.take_known(block, figures)
        self.samples += len(checked)

    def figures_of(self, columns: Samples) -> WindowFigures:
        """What windows of 50 ms tell of a block, each channel's samples side by side; it opens the compiled loops."""
        return WindowFigures.of(columns.T, window_samples(self.rate_hz))

    def meter(self, name: str) -> StreamMeter:
        """The meter that a measure asks."""
        make = measures()[name].make
        assert make is not None
        return self._meters[make]

    def lacks(self) -> dict[str, str]:
        """Each measure that the stream so far cannot be read by, and why not."""
        return {each.name: lack for each in self._measures if (lack := each.lacks(self))}

    def readings(self) -> dict[str, Readings]:
        """Each measure's readings so far, `(channels,)` or `(1,)` for a measure of the whole; without those lacking."""
        able = (each for each in self._measures if not each.lacks(self))
        return {each.name: each.reading(self.meter(each.name)) for each in able}

    def of_all(self, readings: Mapping[str, Readings] | None = None) -> dict[str, float]:
        """The one number of each measure that stands for all channels, without those lacking; of `readings`, if had."""
        readings = self.readings() if readings is None else readings
        return {name: measures()[name].of_all(each) for name, each in readings.items()}


def _levels(rate_hz: int, channels: int) -> LevelMeter:
    return LevelMeter(channels)


def _true_peak(rate_hz: int, channels: int) -> TruePeakMeter:
    return TruePeakMeter(channels)


def _clipped_runs(rate_hz: int, channels: int) -> ClippedRunsMeter:
    return ClippedRunsMeter(channels, most_kept=_MOST_RUNS)


def _flat_tops(rate_hz: int, channels: int) -> FlatTopsMeter:
    return FlatTopsMeter(channels)


def _vu(rate_hz: int, channels: int) -> VuMeter:
    return VuMeter(rate_hz, channels, frames_a_second=1)


def _ppm_1(rate_hz: int, channels: int) -> PpmMeter:
    return PpmMeter(rate_hz, channels, kind="I", frames_a_second=1)


def _ppm_2(rate_hz: int, channels: int) -> PpmMeter:
    return PpmMeter(rate_hz, channels, kind="II", frames_a_second=1)


def _phrase_range_db(audio: Audio) -> Readings:
    levels = [each.rms_dbfs for each in find_phrases(audio.samples, audio.rate_hz)]
    return np.array([max(levels) - min(levels) if levels else 0.0])


def _programme(name: str, unit: str, meaning: str, value: Callable[[Loudness], float], least_seconds: float) -> Measure:
    return Measure(
        name,
        unit,
        meaning,
        LoudnessMeter,
        lambda meter: np.array([value(meter.reading())]),
        whole=True,
        least_seconds=least_seconds,
        most_channels=6,
        rates_hz=(LOWEST_RATE_HZ, HIGHEST_RATE_HZ),
    )


_MOST_RUNS = 20_000  # as many places are kept a channel; a count has them all

_MEASURES = Measures(
    (
        Measure(
            "peak_dbfs",
            "dBFS",
            "The largest sample; 0 dBFS is full scale.",
            _levels,
            lambda meter: meter.peak_dbfs,
        ),
        Measure(
            "true_peak_dbtp",
            "dBTP",
            "The highest point of the curve between the samples: what a converter or a lossy coder has to carry.",
            _true_peak,
            lambda meter: meter.reading_dbtp(),
        ),
        Measure(
            "rms_dbfs",
            "dBFS",
            "The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS.",
            _levels,
            lambda meter: meter.rms_dbfs,
        ),
        Measure(
            "active_rms_dbfs",
            "dBFS",
            "The AES17 RMS level while somebody plays; pauses do not count.",
            WindowMeter,
            lambda meter: meter.active_rms_dbfs(),
        ),
        Measure(
            "crest_db",
            "dB",
            "Peak over plain RMS, a sine 3 dB: the distance of peak and RMS (AES17), plus 3.0 dB.",
            _levels,
            lambda meter: meter.crest_db,
        ),
        Measure(
            "headroom_db",
            "dB",
            "What is left from the sample peak up to full scale.",
            _levels,
            lambda meter: -meter.peak_dbfs,
            worst="lowest",
        ),
        Measure(
            "dc_offset_dbfs",
            "dBFS",
            "How far the middle of the waveform is from zero, as a peak level.",
            _levels,
            lambda meter: meter.dc_offset_dbfs,
        ),
        Measure(
            "noise_floor_dbfs",
            "dBFS",
            "The AES17 RMS level of the pauses: the quietest twentieth of what sounds.",
            WindowMeter,
            lambda meter: meter.noise_floor_dbfs,
        ),
        Measure(
            "noise_under_sound_dbfs",
            "dBFS",
            "Noise under sound that never rests, as an AES17 RMS level; −∞ where none is seen.",
            NoiseUnderSoundMeter,
            lambda meter: meter.noise_under_sound_dbfs,
            least_seconds=4.0,
        ),
        Measure(
            "hum_dbfs",
            "dBFS",
            "Mains hum, 50 or 60 Hz with its multiples, as an AES17 RMS level; −∞ where there is none.",
            None,
            hum_dbfs,
            least_seconds=4.0,
            copies=3.0,
        ),
        Measure(
            "clipped_runs",
            "",
            "How often three neighbouring samples and more stand at full scale.",
            _clipped_runs,
            lambda meter: meter.counts.astype(np.float64),
            digits=0,
            copies=6.0,
        ),
        Measure(
            "flat_tops",
            "",
            "How often a crest is cut off at the recording's own extreme: clipped, then turned down, also dithered.",
            _flat_tops,
            lambda meter: meter.counts.astype(np.float64),
            digits=0,
            copies=10.0,
        ),
        Measure(
            "phrase_range_db",
            "dB",
            "From the quietest to the loudest phrase, as RMS; 0 dB for one phrase or none.",
            None,
            _phrase_range_db,
            whole=True,
        ),
        _programme(
            "loudness_lufs",
            "LUFS",
            "The integrated loudness of the whole with both gates of BS.1770.",
            lambda read: read.integrated_lufs,
            0.4,
        ),
        _programme("momentary_max_lufs", "LUFS", "The loudest 400 ms.", lambda read: read.momentary_max_lufs, 0.4),
        _programme("short_term_max_lufs", "LUFS", "The loudest 3 s.", lambda read: read.short_term_max_lufs, 3.0),
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
            _vu,
            lambda meter: meter.highest_dbfs,
        ),
        Measure(
            "ppm_type1_max_dbfs",
            "dBFS",
            "The highest that a programme meter of type I reaches (5 ms), a sine at its peak level.",
            _ppm_1,
            lambda meter: meter.highest_dbfs,
        ),
        Measure(
            "ppm_type2_max_dbfs",
            "dBFS",
            "The highest that a programme meter of type II reaches (10 ms), a sine at its peak level.",
            _ppm_2,
            lambda meter: meter.highest_dbfs,
        ),
        Measure(
            "thd_percent",
            "%",
            "Harmonics 2 to 10 of the strongest tone over that tone.",
            None,
            lambda audio: harmonics(audio.samples, audio.rate_hz).thd_percent,
            digits=3,
            tone=True,
            copies=30.0,
        ),
        Measure(
            "thd_n_percent",
            "%",
            "Everything but the strongest tone up to 20 kHz over the whole: distortion and noise.",
            None,
            lambda audio: thd_n_percent(audio.samples, audio.rate_hz),
            digits=3,
            tone=True,
            copies=30.0,
        ),
    )
)


def measures() -> Measures:
    """Every measure: its name, unit, meaning and what it needs.

    Returns
    -------
    Measures
        A mapping by name; in a notebook it shows itself as a table.

    Examples
    --------
    >>> measures()["crest_db"].unit
    'dB'
    """
    return _MEASURES


def measure(name: str, audio: Audio, *, per_channel: bool = False) -> float | Readings:
    """One number for the recording, the worst channel's, or each channel's.

    Parameters
    ----------
    name : str
        One of `measures()`.
    audio : Audio
        A recording.
    per_channel : bool
        Whether each channel's reading is wanted.

    Returns
    -------
    float or ndarray `(channels,)`
        In the measure's unit.

    Raises
    ------
    GainError
        For a name that is not in `measures()`, with the nearest one that is, for anything but Audio, for a recording
        that lacks what the measure needs, and for a measure of the whole asked channel by channel.

    Examples
    --------
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

    Parameters
    ----------
    audio : Audio
        A recording.
    names : iterable of str, optional
        Measures, in the order wanted; left out, every measure that does not need a tone and that the recording does not
        lack anything for.

    Returns
    -------
    dict of float by name
        In each measure's unit.

    Raises
    ------
    GainError
        As `measure` does.

    Examples
    --------
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
