"""The delivered file: brought to a target's loudness, under its true peak, converted, dithered, written."""

from __future__ import annotations

import dataclasses
import math
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from gainlib.audio import Audio
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError, suggest
from gainlib.meters import clipped_runs
from gainlib.meters.loudness_meter import loudness_lufs
from gainlib.meters.true_peak import true_peak_dbtp
from gainlib.sound_file import read, write
from gainlib.stages.base import (
    Floats,
    Signal,
    Stage,
    StageResult,
    amplified,
    choice,
    frozen,
    require_one_of,
    require_seed,
    require_within,
    setting,
)
from gainlib.stages.limiter import Limiter
from gainlib.stages.wordlength import in_steps, rounding_power
from gainlib.text import describe_value

__all__ = ["ATSC_A85", "EBU_R128", "TARGETS", "CodecOvershoot", "Delivery", "Target", "codec_overshoot", "deliver"]

_NEAR_LU = 0.02
_ROUNDS = 8


@dataclass(frozen=True)
class Target:
    """What a place of delivery asks for: a loudness with its tolerance, and a largest true peak.

    Parameters
    ----------
    name : str
        What it is called.
    loudness_lufs : float
        The integrated loudness, LUFS.
    tolerance_lu : float
        How far off it may be, up or down, LU.
    true_peak_dbtp : float
        The largest true peak, dBTP.

    References
    ----------
    *Published*: EBU R 128 for the one in the example.

    Examples
    --------
    >>> EBU_R128.loudness_lufs, EBU_R128.true_peak_dbtp
    (-23.0, -1.0)
    """

    name: str
    loudness_lufs: float
    tolerance_lu: float
    true_peak_dbtp: float


EBU_R128 = Target("EBU R 128", -23.0, 0.2, -1.0)
"""Published: EBU R 128 and EBU Tech 3343 (-23.0 LUFS, ±0.2 LU in measurement, ±1.0 LU live; -1 dBTP in linear PCM)."""

ATSC_A85 = Target("ATSC A/85", -24.0, 2.0, -2.0)
"""-24 LKFS and -2 dBTP after ATSC A/85:2013 (read in a secondary source); ±2 dB from memory."""

TARGETS = {each.name: each for each in (EBU_R128, ATSC_A85)}


@dataclass(frozen=True)
class Delivery(Stage):
    """Makes the file to hand over: rate, loudness, true peak and word length, in this order; the last stage of all.

    The signal is brought to the loudness by one gain, until the loudness is met behind the limiter as well. A signal
    without any loudness, or shorter than one block of 400 ms, keeps its level.

    Parameters
    ----------
    target : "EBU R 128" or "ATSC A/85"
        The published target that is met.
    loudness_lufs : float, -70 to 0 LUFS, or None
        Another loudness in the place of the target's.
    true_peak_dbtp : float, -60 to 0 dBTP, or None
        Another largest true peak in the place of the target's.
    rate_hz : int, 8000 to 192 000 Hz, or None
        The file's rate; unless it is given the signal's is kept.
    coding : "fixed 24", "fixed 16" or "float 32"
        The word length.
    dither : bool
        Triangular dither in a fixed-point file.
    limited : bool
        Whether what passes the true peak is limited; else the signal is only brought to the loudness.
    release_ms : float, above 0 to 60 000 ms
        The limiter's.
    dither_seed : int
        The same seed gives the same dither each time.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a target that is not known and for settings outside their range.

    References
    ----------
    *Published*: EBU R 128, ITU-R BS.1770-5; see `TARGETS` for each one's standing.

    Examples
    --------
    >>> Delivery("EBU R 128").wanted_lufs, Delivery("EBU R 128", loudness_lufs=-16.0).wanted_lufs
    (-23.0, -16.0)
    """

    cache_output: ClassVar[bool] = True
    reading_names: ClassVar[tuple[str, ...]] = ("loudness_lufs", "true_peak_dbtp", "gain_db", "gain_reduction_db")
    cost_ms: ClassVar[float] = 6.0
    copies: ClassVar[float] = 4.0

    target: str = choice("EBU R 128", *TARGETS, label="Target")
    loudness_lufs: float | None = None
    true_peak_dbtp: float | None = None
    rate_hz: int | None = None
    coding: str = choice("fixed 24", "fixed 24", "fixed 16", "float 32", label="File")
    dither: bool = True
    limited: bool = True
    release_ms: float = setting(100.0, label="Release", low=5.0, high=1000.0, step=5.0)
    dither_seed: int = 5

    def __post_init__(self) -> None:
        super().__post_init__()
        if not isinstance(self.target, str) or self.target not in TARGETS:
            given = self.target if isinstance(self.target, str) else ""
            raise GainError(f"target of the delivery is {describe_value(self.target)}; {suggest(given[:80], TARGETS)}")
        if self.loudness_lufs is not None:
            require_within(self, "loudness_lufs", -70.0, 0.0)
        if self.true_peak_dbtp is not None:
            require_within(self, "true_peak_dbtp", -60.0, 0.0)
        if self.rate_hz is not None:
            require_within(self, "rate_hz", 8_000, 192_000)
            if not isinstance(self.rate_hz, int):
                raise GainError(f"rate_hz of the delivery is {self.rate_hz!r}; it must be a whole number.")
        require_within(self, "release_ms", 0.0, 60_000.0, above=True)
        require_seed(self, "dither_seed")
        require_one_of(self)

    @property
    def wanted_lufs(self) -> float:
        """The loudness aimed at."""
        return TARGETS[self.target].loudness_lufs if self.loudness_lufs is None else self.loudness_lufs

    @property
    def most_dbtp(self) -> float:
        """The largest true peak allowed."""
        return TARGETS[self.target].true_peak_dbtp if self.true_peak_dbtp is None else self.true_peak_dbtp

    @property
    def order(self) -> Target:
        """What the file must meet: the published target, or the delivery's own where its loudness is another."""
        published = TARGETS[self.target]
        name = self.target if self.wanted_lufs == published.loudness_lufs else "the delivery"
        return Target(name, self.wanted_lufs, published.tolerance_lu, self.most_dbtp)

    @property
    def traced(self) -> bool:
        """Whether it limits."""
        return self.limited

    @property
    def ceiling(self) -> float:
        """The true peak allowed where it is limited, else full scale of a fixed-point file; a float file has none."""
        if self.limited:
            return ratio_from_db(self.most_dbtp)
        return math.inf if self.coding == "float 32" else 1.0

    @property
    def subtype(self) -> str:
        """The coding as `gainlib.write` takes it."""
        return {"fixed 24": "PCM_24", "fixed 16": "PCM_16", "float 32": "FLOAT"}[self.coding]

    def latency_samples(self, rate_hz: int) -> int:
        """That of its limiter."""
        return self._limiter().latency_samples(self.rate_hz or rate_hz) if self.limited else 0

    def _limiter(self) -> Limiter:
        return Limiter(ceiling_dbfs=self.most_dbtp, look_ahead_ms=2.0, release_ms=self.release_ms)

    def process(self, signal: Signal) -> StageResult:
        """The signal as the file will hold it."""
        if self.rate_hz is not None and self.rate_hz != signal.rate_hz:
            samples = frozen(resampled(signal.samples, signal.rate_hz, self.rate_hz))
            # White noise spreads over the whole band; a narrower band holds its share of it.
            share = min(1.0, self.rate_hz / signal.rate_hz)
            signal = dataclasses.replace(
                signal, samples=samples, rate_hz=self.rate_hz, noise_power=signal.noise_power * share
            )
        passed, gain_db = self._levelled(signal)
        reduction = passed.readings.get("gain_reduction_db", 0.0)
        signal, clipped = passed.signal, None
        if self.coding == "float 32":
            signal = dataclasses.replace(signal, samples=frozen(signal.samples.astype(np.float32).astype(np.float64)))
        else:
            bits = int(self.coding.split()[1])
            samples = frozen(in_steps(signal.samples, bits, [self.dither_seed] if self.dither else None))
            power = signal.noise_power + rounding_power(bits, dithered=self.dither)
            signal, clipped = dataclasses.replace(signal, samples=samples, noise_power=power), clipped_runs(samples)
        readings = {
            "loudness_lufs": _loudness(signal),
            "true_peak_dbtp": _true_peak(signal.samples),
            "gain_db": gain_db,
            "gain_reduction_db": reduction,
        }
        return StageResult(signal, clipped, passed.reduction_db, readings)

    def _levelled(self, signal: Signal) -> tuple[StageResult, float]:
        """The signal at the target's loudness behind the limiter, and the gain in front of it."""
        read_lufs = _loudness(signal)
        gain_db = self.wanted_lufs - read_lufs if math.isfinite(read_lufs) else 0.0
        for _ in range(_ROUNDS):
            levelled = amplified(signal, ratio_from_db(gain_db))
            passed = self._limiter().process(levelled) if self.limited else StageResult(levelled)
            if not passed.readings.get("gain_reduction_db") or not math.isfinite(read_lufs):
                break
            # What the limiter took away is missing from the loudness; ask for as much more.
            short = self.wanted_lufs - _loudness(passed.signal)
            if abs(short) <= _NEAR_LU:
                break
            gain_db += short
        return passed, gain_db


def resampled(samples: Floats, rate_hz: int, to_rate_hz: int) -> Floats:
    """Samples `(n, channels)` at another rate, flat to 0.01 dB up to 0.45 of the lower one, images below -100 dB.

    scipy's polyphase resampler with a Kaiser-windowed low-pass of its own length.

    >>> resampled(np.ones((480, 1)), 48000, 24000).shape
    (240, 1)
    """
    from scipy.signal import firwin, resample_poly

    shared = math.gcd(rate_hz, to_rate_hz)
    up, down = to_rate_hz // shared, rate_hz // shared
    # The transition is centred at half the lower rate: 0.45 to 0.55 of it.
    widest = max(up, down)
    taps = firwin(2 * 36 * widest + 1, 1.0 / widest, window=("kaiser", 11.0))
    converted: Floats = resample_poly(samples, up, down, axis=0, window=taps)
    return converted


def deliver(
    audio: Audio, delivery: Delivery, path: str | os.PathLike[str], *, overwrite: bool = False
) -> dict[str, float]:
    """Audio through a delivery into a sound file; gives the delivery's readings.

    Parameters
    ----------
    audio : Audio
        `(n, channels)`, full scale ±1.0.
    delivery : Delivery
        What it must meet; its `coding` is the word length.
    path : str or path
        The ending chooses the format.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    dict of str to float
        What the delivery measured, by the names of the measures.

    Raises
    ------
    GainError
        As `write` does.

    Examples
    --------
    >>> folder = tempfile.mkdtemp()
    >>> tone = Audio(0.5 * np.sin(2 * np.pi * 997 * np.arange(48000) / 48000), 48000)
    >>> round(deliver(tone, Delivery("EBU R 128"), f"{folder}/tone.wav")["loudness_lufs"], 1)
    -23.0
    """
    samples = np.asarray(audio.samples, dtype=np.float64)
    passed = delivery.process(Signal(samples, audio.rate_hz, 0.0, "digital"))
    write(path, Audio(passed.signal.samples, passed.signal.rate_hz), subtype=delivery.subtype, overwrite=overwrite)
    return dict(passed.readings)


@dataclass(frozen=True)
class CodecOvershoot:
    """The true peak in front of a lossy codec and behind it; the difference is what a ceiling must leave room for.

    `codec_overshoot` gives it.

    Attributes
    ----------
    codec : str
        "Vorbis", "Opus" or "MP3".
    before_dbtp : float
        The true peak of what was encoded, dBTP.
    after_dbtp : float
        The true peak of what was decoded, dBTP.

    Examples
    --------
    >>> CodecOvershoot("Vorbis", -1.0, -0.2).overshoot_db
    0.8
    """

    codec: str
    before_dbtp: float
    after_dbtp: float

    @property
    def overshoot_db(self) -> float:
        """How much higher the decoded true peak is; below 0 it is lower."""
        return self.after_dbtp - self.before_dbtp


_CODECS = {"Vorbis": (".ogg", "VORBIS"), "Opus": (".ogg", "OPUS"), "MP3": (".mp3", "MPEG_LAYER_III")}


def codec_overshoot(audio: Audio, codec: str = "Vorbis") -> CodecOvershoot:
    """What a real encoder and decoder do to the true peak.

    The audio is encoded at the encoder's usual quality into a temporary file and decoded again as floats, so that
    nothing is cut off.

    Parameters
    ----------
    audio : Audio
        `(n, channels)`, full scale ±1.0.
    codec : str
        "Vorbis", "Opus" or "MP3", where libsndfile has it.

    Returns
    -------
    CodecOvershoot
        The true peak before and after, dBTP, and their difference in dB.

    Raises
    ------
    GainError
        For another codec, and for a rate that the codec does not take.

    Examples
    --------
    >>> tone = Audio(0.5 * np.sin(2 * np.pi * 997 * np.arange(24000) / 48000), 48000)
    >>> abs(codec_overshoot(tone).overshoot_db) < 1.0
    True
    """
    if codec not in _CODECS:
        raise GainError(f"codec is {codec!r}; {suggest(codec, _CODECS)}")
    ending, subtype = _CODECS[codec]
    with tempfile.TemporaryDirectory() as folder:
        path = write(Path(folder) / f"coded{ending}", audio, subtype=subtype)
        decoded = read(path)
    return CodecOvershoot(codec, _true_peak(audio.samples), _true_peak(decoded.samples))


def _loudness(signal: Signal) -> float:
    if len(signal.samples) < 0.4 * signal.rate_hz:
        return -math.inf
    return float(loudness_lufs(signal.samples, signal.rate_hz))


def _true_peak(samples: ArrayLike) -> float:
    return float(np.max(true_peak_dbtp(samples)))
