"""The compressor: what is above the threshold is turned down, slowly enough not to be heard as distortion."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.stages.base import (
    Corner,
    Floats,
    Signal,
    Stage,
    StageResult,
    choice,
    frozen,
    require_gain,
    require_one_of,
    require_within,
    setting,
)

__all__ = ["Compressor", "coefficient", "high_pass"]

_BLOCK = 8192
# An RMS level is read with the AES17 zero, where a sine has the same level by peak and by RMS.
_AES17_POWER_ZERO = 0.5


def coefficient(milliseconds: float, rate_hz: int) -> float:
    """The one-pole coefficient of a time constant: after that time a step has gone 63.2 % of its way; 0 ms is 0.

    From 10 % to 90 % takes 2.2 times as long. *Derived*: exp(-1 / (seconds × rate)).

    >>> round(coefficient(10.0, 48000), 10)
    0.9979188353
    """
    return math.exp(-1000.0 / (milliseconds * rate_hz)) if milliseconds > 0 else 0.0


def high_pass(corner_hz: float, rate_hz: int) -> tuple[float, float, float]:
    """A first-order high-pass as the three taps of `loops.first_order_filter`: 3 dB down at the corner, 6 dB an octave.

    *Derived*: s / (s + w), by the bilinear map with the corner kept in its place.

    >>> now, before, feedback = high_pass(1000.0, 48000)
    >>> now == -before, round(2 * now / (1 - feedback), 12)
    (True, 1.0)
    """
    corner = math.tan(math.pi * corner_hz / rate_hz)
    now = 1.0 / (1.0 + corner)
    return now, -now, (corner - 1.0) * now


@dataclass(frozen=True)
class Compressor(Stage):
    """Turns down what is above the threshold: at 4:1, 12 dB too much come out as 3 dB too much.

    The static curve gives the reduction wanted from the level; that is smoothed in decibels. At a ratio of 1 without
    makeup every sample passes bit for bit.

    Parameters
    ----------
    threshold_db : float, -200 to 200 dBFS
        Where turning down begins.
    ratio : float, 1 and more
        How many decibels above the threshold come out as one.
    knee_db : float, 0 to 100 dB
        The width of the quadratic knee around the threshold.
    attack_ms : float, 0 to 10 000 ms
        The time constant of the reduction while it grows: a step has gone 63.2 % of its way after one, and needs 2.2 of
        them from 10 % to 90 %.
    release_ms : float, above 0 to 60 000 ms
        The same while it falls.
    makeup_db : float, -200 to 200 dB
        Raises what comes out, and the noise floor with it.
    wet_percent : float, 0 to 100 %
        Below 100 the untouched signal is mixed back.
    detector : "peak" or "rms"
        What is compared with the threshold: each sample's peak, or the RMS with the AES17 zero, so that a steady sine
        reads the same both ways.
    rms_ms : float, above 0 to 10 000 ms
        The time constant of the RMS.
    smoothing : "branching" or "decoupled"
        Branching switches between attack and release; decoupled lets the release run first and the attack behind it, so
        that a release is slower by about one attack.
    look_ahead_ms : float, 0 to 20 ms
        How much earlier than the sound arrives the detector hears it. A live unit would delay the signal by as much.
    sidechain_hz : float, 0 to 1000 Hz
        The corner of a high-pass before the detector, and only there: what lies below counts less, 6 dB an octave. At 0
        the detector hears all. The static curve holds for what lies well above it.
    linked : bool
        All channels get the same gain, that of the loudest.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a setting outside its range.

    References
    ----------
    *Published*: Giannoulis, Massberg and Reiss, "Digital Dynamic Range Compressor Design - A Tutorial and Analysis",
    JAES 60(6), 2012 (curve, feed-forward structure, smooth branching and smooth decoupled detectors).

    Examples
    --------
    >>> Compressor(threshold_db=-20.0, ratio=4.0).curve_db(-8.0)
    -17.0
    """

    cache_output: ClassVar[bool] = True
    reading_names: ClassVar[tuple[str, ...]] = ("gain_reduction_db", "mean_gain_reduction_db")
    bends: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 0.6

    threshold_db: float = setting(-20.0, label="Threshold", low=-60.0, high=0.0, step=0.5)
    ratio: float = setting(4.0, label="Ratio", low=1.0, high=20.0, step=0.1)
    knee_db: float = setting(6.0, label="Knee", low=0.0, high=24.0, step=0.5)
    attack_ms: float = setting(10.0, label="Attack", low=0.0, high=200.0, step=0.5)
    release_ms: float = setting(100.0, label="Release", low=5.0, high=2000.0, step=5.0)
    makeup_db: float = setting(0.0, label="Makeup", low=0.0, high=24.0, step=0.5)
    wet_percent: float = setting(100.0, label="Wet", low=0.0, high=100.0, step=1.0)
    detector: str = choice("peak", "peak", "rms", label="Detector")
    rms_ms: float = setting(10.0, label="RMS time", low=1.0, high=100.0, step=1.0)
    smoothing: str = choice("branching", "branching", "decoupled", label="Smoothing")
    look_ahead_ms: float = setting(0.0, label="Look-ahead", low=0.0, high=20.0, step=0.5)
    sidechain_hz: float = setting(0.0, label="Sidechain high-pass", low=0.0, high=500.0, step=10.0)
    linked: bool = True

    def __post_init__(self) -> None:
        super().__post_init__()
        require_gain(self, "threshold_db", "makeup_db")
        require_within(self, "ratio", 1.0)
        require_within(self, "knee_db", 0.0, 100.0)
        require_within(self, "attack_ms", 0.0, 10_000.0)
        require_within(self, "release_ms", 0.0, 60_000.0, above=True)
        require_within(self, "wet_percent", 0.0, 100.0)
        require_within(self, "rms_ms", 0.0, 10_000.0, above=True)
        require_within(self, "look_ahead_ms", 0.0, 20.0)
        require_within(self, "sidechain_hz", 0.0, 1000.0)
        require_one_of(self)

    @property
    def slope(self) -> float:
        """How many decibels each decibel above the threshold is turned down: 1 - 1/ratio."""
        return 1.0 - 1.0 / self.ratio

    @property
    def traced(self) -> bool:
        """Always."""
        return True

    @property
    def corner(self) -> Corner:
        """The threshold."""
        return Corner("threshold", self.threshold_db)

    @property
    def hears_rms(self) -> bool:
        """Whether its detector listens to the RMS."""
        return self.detector == "rms"

    def reduction_at_db(self, levels_db: ArrayLike) -> NDArray[np.float64] | float:
        """The reduction that a steady level gets, in dB, 0 or above; a number or an array, in the same shape.

        >>> Compressor(threshold_db=-20.0, ratio=4.0, knee_db=6.0).reduction_at_db(-20.0)
        0.5625
        """
        over = np.asarray(levels_db, dtype=np.float64) - self.threshold_db
        half = self.knee_db / 2
        within = np.clip(over + half, 0.0, self.knee_db)
        bend = self.slope / (2 * self.knee_db) if self.knee_db else 0.0
        wanted = bend * within**2 + self.slope * np.maximum(over - half, 0.0)
        return float(wanted) if wanted.ndim == 0 else wanted

    def curve_db(self, levels_db: ArrayLike) -> NDArray[np.float64] | float:
        """The static curve: the level at which a steady level comes out, makeup and mix included.

        Takes and gives dB, a number or an array.

        >>> Compressor(threshold_db=-20.0, ratio=4.0, knee_db=0.0, makeup_db=3.0).curve_db([-40.0, 0.0]).tolist()
        [-37.0, -12.0]
        """
        levels = np.asarray(levels_db, dtype=np.float64)
        turned_db = self.makeup_db - np.asarray(self.reduction_at_db(levels))
        if self.wet_percent == 100.0:
            out = levels + turned_db
        else:
            out = levels + db_from_ratio(self._mixed(np.asarray(ratio_from_db(turned_db))))
        return float(out) if out.ndim == 0 else out

    def process(self, signal: Signal) -> StageResult:
        """The signal with its peaks turned down, and the trace of how far."""
        samples = np.ascontiguousarray(signal.samples)
        out = np.empty_like(samples)
        groups = 1 if self.linked else samples.shape[1]
        trace = np.empty((len(samples), groups), dtype=np.float32)
        for group in range(groups):
            part = slice(None) if self.linked else slice(group, group + 1)
            self._pass_group(samples[:, part], signal.rate_hz, out[:, part], trace[:, group])
        rest = float(self._mixed(np.asarray(ratio_from_db(self.makeup_db))))
        trace.flags.writeable = False
        return StageResult(
            dataclasses.replace(signal, samples=frozen(out), noise_power=signal.noise_power * rest**2),
            reduction_db=trace,
            readings={
                "gain_reduction_db": float(trace.max()),
                "mean_gain_reduction_db": float(trace.mean(dtype=np.float64)),
            },
        )

    def _mixed(self, gain: Floats) -> Floats:
        wet = self.wet_percent / 100.0
        return gain if wet == 1.0 else gain * wet + (1.0 - wet)

    def _pass_group(self, samples: Floats, rate_hz: int, out: Floats, trace: NDArray[np.float32]) -> None:
        """Channels that share one gain, in blocks that stay in the cache."""
        makeup = ratio_from_db(self.makeup_db)
        reduction_of = self._detector(samples.shape[1], rate_hz)
        early = round(self.look_ahead_ms * rate_hz / 1000)
        if early:
            reduction_of(samples[:early])
        for start in range(0, len(samples), _BLOCK):
            block = samples[start : start + _BLOCK]
            heard = block
            if early:
                heard = np.zeros_like(block)
                ahead = samples[start + early : start + early + len(block)]
                heard[: len(ahead)] = ahead
            level = reduction_of(heard)
            trace[start : start + _BLOCK] = level
            level *= -math.log(10.0) / 20.0
            np.exp(level, out=level)
            if makeup != 1.0:
                level *= makeup
            loops.apply_gain(block, self._mixed(level), out[start : start + _BLOCK])

    def _detector(self, channels: int, rate_hz: int) -> Callable[[Floats], Floats]:
        """What gives the reduction in dB at each sample of one block after another."""
        attack, release = coefficient(self.attack_ms, rate_hz), coefficient(self.release_ms, rate_hz)
        rms = coefficient(self.rms_ms, rate_hz)
        state, squares, filtered = np.zeros(2), np.zeros(2), np.zeros((channels, 2))

        def reduction_of(block: Floats) -> Floats:
            if self.sidechain_hz:
                block = block.copy()
                for channel in range(channels):
                    key = np.ascontiguousarray(block[:, channel])
                    loops.first_order_filter(key, *high_pass(self.sidechain_hz, rate_hz), filtered[channel], key)
                    block[:, channel] = key
            level = loops.largest_of_channels(block)
            if self.detector == "rms":
                np.square(level, out=level)
                loops.first_order_filter(level, 1.0 - rms, 0.0, -rms, squares, level)
                level *= 1.0 / _AES17_POWER_ZERO
            with np.errstate(divide="ignore"):
                np.log10(level, out=level)
            level *= 10.0 if self.detector == "rms" else 20.0
            level -= self.threshold_db
            loops.smoothed_reduction(
                level, self.slope, self.knee_db, attack, release, self.smoothing == "decoupled", state
            )
            return level

        return reduction_of
