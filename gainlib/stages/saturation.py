"""Saturation of the tape kind: more density at the same peak, more of it in the low end, nothing folded back."""

from __future__ import annotations

import cmath
import dataclasses
import functools
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from gainlib import loops
from gainlib.decibels import db_from_power, db_from_ratio, ratio_from_db
from gainlib.errors import GainError
from gainlib.loops import windowed_sinc
from gainlib.stages.base import Floats, Signal, Stage, StageResult, frozen, require_one_of, require_within, setting
from gainlib.stages.compressor import high_pass

__all__ = ["Saturation"]

_BLOCK = 8192
# What the filters reach beyond a block, in samples at the signal's own rate, with room to spare.
_MARGIN = 160
_FACTORS = (4, 8, 16, 32)
# Tones up to here are promised to fold nothing back; above it nobody hears the tone itself.
_HIGHEST_TONE_HZ = 20_000.0
# The promise is -90 dB; the estimate by the curve's poles lies within 3 dB of the truth.
_FOLDED_LIMIT_DB = -95.0
_SHELF_HZ = 500.0
# Below this a bias makes no sound, only a shift that moves with the level.
_STEADY_HZ = 5.0
_LOWEST_RATE_HZ = 8_000


@dataclass(frozen=True)
class Saturation(Stage):
    """Adds density: quiet parts come up by as much as `drive_db` against the peaks, and the peak stays where it was.

    The curve is tanh(kx) / tanh(k): full scale stays full scale. How much it bends a signal depends on the level that
    the signal has: trim first. Afterwards the whole recording is brought back to the sample peak that it had (reading
    `compensation_db`), so that drive is heard as density and harmonics, not as loudness; `holds_peak` off leaves the
    level that drive makes. The curve runs oversampled, by as much as its own harmonics need (4 to 32 times, see
    `oversampling`), so that a tone up to full scale and up to 20 kHz folds nothing back above -90 dBFS; `oversampled`
    off lets it fold. Several in series are allowed. The readings `distortion_percent` and
    `distortion_db` say what is in the output that no plain gain would have made, against the whole output, RMS; for a
    sine that is its total harmonic distortion.

    Parameters
    ----------
    drive_db : float, 0 to 18 dB
        The slope of the curve at zero. At zero drive every sample passes bit for bit.
    low_end_db : float, 0 to 18 dB
        Takes that much of the drive away from the high end, by a shelf around 500 Hz before the curve and its exact
        opposite behind it.
    bias : float, 0 to 1
        Moves the rest point along the curve, in its own units, so that one side is bent more than the other: at 0 only
        odd harmonics are made, above it even ones as well. The steady part that this makes is taken out below 5 Hz.
    holds_peak : bool
        Whether the recording is brought back to the sample peak that it had.
    oversampled : bool
        Whether the curve runs at a multiple of the rate. Without, harmonics above half the rate come back below it.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a drive or a low end outside 0 to 18 dB, a bias outside 0 to 1, and for a signal below 8 kHz.

    References
    ----------
    *Derived*: the slope of tanh(kx)/tanh(k) at zero is k/tanh(k); harmonic n of tanh(A sin t) falls as r^(n-1), r =
    (sqrt(A² + pi²/4) - pi/2) / A, since its nearest poles lie at ±i pi/2. The shelf, the bias and the range are this
    course's own.

    Examples
    --------
    >>> round(Saturation(drive_db=6.0).bend, 3)
    1.91
    """

    cache_output: ClassVar[bool] = True
    reading_names: ClassVar[tuple[str, ...]] = ("distortion_percent", "distortion_db", "compensation_db")
    bends: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 6.0
    copies: ClassVar[float] = 5.0

    drive_db: float = setting(4.0, label="Drive", low=0.0, high=12.0, step=0.5)
    low_end_db: float = setting(0.0, label="Low end", low=0.0, high=12.0, step=0.5)
    bias: float = setting(0.0, label="Bias", low=0.0, high=0.5, step=0.05)
    holds_peak: bool = True
    oversampled: bool = True

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "drive_db", 0.0, 18.0)
        require_within(self, "low_end_db", 0.0, 18.0)
        require_within(self, "bias", 0.0, 1.0)
        require_one_of(self)

    @property
    def bend(self) -> float:
        """k of the curve tanh(kx) / tanh(k): the larger, the rounder; 0 is a straight line."""
        slope = ratio_from_db(self.drive_db)
        if slope <= 1.0:
            return 0.0
        # Where k = slope tanh(k). The difference bends upwards, so Newton's steps from above never pass the root.
        bend, last = slope, math.inf
        while bend < last:
            level = math.tanh(bend)
            last, bend = bend, bend - (bend - slope * level) / (1.0 - slope * (1.0 - level * level))
        return last

    def curve(self, values: Floats) -> Floats:
        """The curve itself, without emphasis and compensation: without bias full scale stays full scale.

        >>> Saturation(drive_db=6.0).curve(np.array([0.0, 1.0])).tolist()
        [0.0, 1.0]
        """
        bend = self.bend
        if not bend:
            return np.array(values, dtype=np.float64)
        rest = math.tanh(self.bias)
        # The slope at the rest point is the drive, whatever the bias.
        return (np.tanh(bend * values + self.bias) - rest) / (math.tanh(bend) * (1.0 - rest * rest))

    def curve_db(self, levels_db: ArrayLike) -> Floats | float:
        """The curve in dB, as it bends the low end, without the compensation, which the recording's peak decides.

        >>> round(float(Saturation(drive_db=6.0).curve_db(-60.0)), 1)
        -54.0
        """
        return db_from_ratio(self.curve(np.asarray(ratio_from_db(np.asarray(levels_db, dtype=np.float64)))))

    def oversampling(self, rate_hz: int, peak: float = 1.0) -> int:
        """How many times oversampled the curve runs for a signal of that peak: the least that keeps folds below -90 dB.

        >>> Saturation(drive_db=4.0, low_end_db=6.0).oversampling(48000), Saturation(drive_db=12.0).oversampling(48000)
        (4, 16)
        """
        if not self.oversampled:
            return 1
        amount = self.bend * ratio_from_db(-self.low_end_db) * max(peak, 1.0)
        if amount == 0.0:
            return _FACTORS[0]
        pole = complex(self.bias, math.pi / 2) / amount
        fall = abs(cmath.sqrt(pole * pole - 1.0) - pole)
        tone = min(_HIGHEST_TONE_HZ, 0.45 * rate_hz)
        for factor in _FACTORS:
            # The lowest harmonic that comes back below half the rate; without bias there are odd ones only.
            harmonic = math.ceil((factor - 0.5) * rate_hz / tone)
            harmonic += 0 if self.bias else 1 - harmonic % 2
            if 20 * math.log10(fall) * (harmonic - 1) + self.low_end_db < _FOLDED_LIMIT_DB:
                return factor
        return _FACTORS[-1]

    def latency_samples(self, rate_hz: int) -> int:
        """The delay of the filters around the curve, when it works live; none at zero drive."""
        if not (self.bend and self.oversampled):
            return 0
        # Half of each filter's length, in samples at the signal's own rate; each wide pair runs at twice the last.
        delay = (2 * _UP_STEEP - 1 + _DOWN_STEEP) / 2
        for doubling in range(1, round(math.log2(self.oversampling(rate_hz)))):
            delay += (2 * _UP_WIDE - 1 + _DOWN_WIDE) / 2 ** (doubling + 1)
        return math.ceil(delay)

    def process(self, signal: Signal) -> StageResult:
        """The signal, denser."""
        silent = {"distortion_percent": 0.0, "distortion_db": -math.inf, "compensation_db": 0.0}
        if signal.rate_hz < _LOWEST_RATE_HZ:
            raise GainError(
                f"the saturation got a signal at {signal.rate_hz} Hz; it works from {_LOWEST_RATE_HZ} Hz, convert it."
            )
        peak = _peak(signal.samples)
        if self.drive_db == 0.0 or peak == 0.0:
            return StageResult(signal, readings=silent)
        slope = ratio_from_db(self.drive_db)
        factor = self.oversampling(signal.rate_hz, peak)
        out = np.empty_like(signal.samples)
        for channel in range(out.shape[1]):
            entered = np.ascontiguousarray(signal.samples[:, channel])
            out[:, channel] = self._bent(entered, signal.rate_hz, factor)
            out[:, channel] += entered * slope
        compensation = peak / _peak(out) if self.holds_peak else 1.0
        out *= compensation
        share = _distortion_power(signal.samples, out)
        return StageResult(
            dataclasses.replace(
                signal, samples=frozen(out), noise_power=signal.noise_power * (slope * compensation) ** 2
            ),
            readings={
                "distortion_percent": 100.0 * math.sqrt(share),
                "distortion_db": db_from_power(share),
                "compensation_db": 20 * math.log10(compensation),
            },
        )

    def _bent(self, entered: Floats, rate_hz: int, factor: int) -> Floats:
        """What the curve makes of one channel, less its straight part, which need not pass any filter."""
        pre, post = _shelf(ratio_from_db(-self.low_end_db), rate_hz)
        emphasised = np.zeros(len(entered) + 2 * _MARGIN)
        loops.first_order_filter(entered, *pre, np.zeros(2), emphasised[_MARGIN:-_MARGIN])
        bend, slope, rest = self.bend, ratio_from_db(self.drive_db), math.tanh(self.bias)
        scale = 1.0 / (math.tanh(bend) * (1.0 - rest * rest))
        added = np.empty(len(entered))
        for start in range(0, len(entered), _BLOCK):
            end = min(start + _BLOCK, len(entered))
            fine, first = _raised(emphasised[start : end + 2 * _MARGIN], factor)
            straight = fine * slope
            # A new array: without oversampling `fine` is a look into what the next block needs as well.
            fine = fine * bend
            if self.bias:
                fine += self.bias
            np.tanh(fine, out=fine)
            if self.bias:
                fine -= rest
            fine *= scale
            fine -= straight
            coarse, first = _lowered(fine, first, factor)
            added[start:end] = coarse[_MARGIN - first : _MARGIN - first + end - start]
        loops.first_order_filter(added, *post, np.zeros(2), added)
        if self.bias:
            loops.first_order_filter(added, *high_pass(_STEADY_HZ, rate_hz), np.zeros(2), added)
        return added


# Half lengths of the filters: the first doubling and the last halving are steep, the others have room.
_UP_STEEP, _UP_WIDE = 42, 8
_DOWN_STEEP, _DOWN_WIDE = 87, 15


def _low_pass(half: int, edge: float, beta: float) -> Floats:
    """The 2 half + 1 taps of a low-pass that leaves a constant as it is; `edge` as a share of half the rate."""
    taps = windowed_sinc(np.arange(-half, half + 1.0), half, beta, edge)
    return np.asarray(taps / taps.sum())


@functools.cache
def _doubling(half: int) -> Floats:
    """The values halfway between samples: a half-band filter, of which only these taps are not zero."""
    taps = 2 * _low_pass(2 * half - 1, 0.5, 12.3)
    return frozen(np.ascontiguousarray(taps[::2]))


@functools.cache
def _halving(half: int, edge: float) -> tuple[Floats, Floats]:
    """A low-pass before every other sample is left out, its taps split for the odd samples and the even ones."""
    taps = _low_pass(half, edge, 11.8)
    return frozen(np.ascontiguousarray(taps[::2])), frozen(np.ascontiguousarray(taps[1::2]))


def _raised(samples: Floats, factor: int) -> tuple[Floats, int]:
    """One channel at a multiple of its rate, and where its first value stands, counted in the finer samples."""
    first = 0
    half = _UP_STEEP
    while factor > 1:
        between = loops.fir_valid(samples, _doubling(half))
        fine = np.empty(2 * len(between))
        fine[::2] = samples[half - 1 : half - 1 + len(between)]
        fine[1::2] = between
        samples, first = fine, 2 * (first + half - 1)
        factor, half = factor // 2, _UP_WIDE
    return samples, first


def _lowered(samples: Floats, first: int, factor: int) -> tuple[Floats, int]:
    """Back at the signal's own rate, and where the first value stands, counted in its samples."""
    while factor > 1:
        half, edge = (_DOWN_WIDE, 0.5) if factor > 2 else (_DOWN_STEEP, 0.455)
        odd, even = _halving(half, edge)
        if first % 2:
            samples, first = samples[1:], first + 1
        pairs = len(samples) // 2
        evens, odds = np.ascontiguousarray(samples[0 : 2 * pairs : 2]), np.ascontiguousarray(samples[1 : 2 * pairs : 2])
        samples = loops.fir_valid(odds, odd) + loops.fir_valid(evens, even)[1:]
        first, factor = first // 2 + (half + 1) // 2, factor // 2
    return samples, first


def _shelf(high: float, rate_hz: int) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
    """A first-order shelf, 1 at the bottom and `high` at the top, and its exact inverse, each as three taps."""
    # The corners lie as far above as below the middle; the bilinear map keeps the ends exact.
    middle = math.tan(math.pi * _SHELF_HZ / rate_hz)
    pole, zero = middle * math.sqrt(high), middle / math.sqrt(high)
    top = high * (zero + 1), high * (zero - 1)
    bottom = pole + 1, pole - 1
    return (
        (top[0] / bottom[0], top[1] / bottom[0], bottom[1] / bottom[0]),
        (bottom[0] / top[0], bottom[1] / top[0], top[1] / top[0]),
    )


def _peak(samples: Floats) -> float:
    return max(loops.peak_and_square_sum(samples[:, channel])[0] for channel in range(samples.shape[1]))


def _distortion_power(before: Floats, after: Floats) -> float:
    """The share of the output's power that is not the input times a gain."""
    both = float(np.vdot(before, after))
    alone = float(np.vdot(after, after))
    gain = both / float(np.vdot(before, before))
    rest = sum(
        float(np.sum((after[start : start + _BLOCK] - gain * before[start : start + _BLOCK]) ** 2))
        for start in range(0, len(after), _BLOCK)
    )
    return rest / alone
