"""The limiter: a ceiling that is never passed, with the gain on its way down before the peak arrives."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.decibels import ratio_from_db
from gainlib.meters.true_peak import QUARTERS, true_peak_dbtp
from gainlib.stages.base import (
    Corner,
    Floats,
    Signal,
    Stage,
    StageResult,
    frozen,
    require_one_of,
    require_within,
    setting,
)
from gainlib.stages.compressor import coefficient

__all__ = ["Limiter"]

# The curve between samples is aimed this much lower, for what a finer meter finds above the four points a sample.
_AIM_DB = -0.03
# What the meter may read above the ceiling before another pass is made.
_READ_DB = 0.05
_PASSES = 12
_BLOCK = 8192


@dataclass(frozen=True)
class Limiter(Stage):
    """Holds every peak under `ceiling_dbfs`: looks ahead, is down in time, and lets go over `release_ms`.

    A live unit would delay the signal by `latency_samples`; here the output stands in time with the input. What stays
    below the ceiling passes bit for bit.

    Parameters
    ----------
    ceiling_dbfs : float, -144 to 24 dBFS
        What no sample passes; in dBTP with `true_peak`.
    look_ahead_ms : float, 0 to 10 ms
        The gain falls in a straight line over it and reaches what the peak needs when the peak arrives.
    release_ms : float, above 0 to 60 000 ms
        After the peak, what is missing to unity dies away by 63.2 % in each of these.
    true_peak : bool
        The ceiling holds for the curve between the samples as well, to 0.1 dB as the meter reads it.
    linked : bool
        All channels share one gain.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a setting outside its range.

    References
    ----------
    *Derived*: an average, over the look-ahead, of gains that are each low enough for every peak in their window is low
    enough for the peak in all of these windows.

    Examples
    --------
    >>> Limiter(ceiling_dbfs=-1.0, look_ahead_ms=5.0, true_peak=False).latency_samples(48000)
    240
    """

    cache_output: ClassVar[bool] = True
    reading_names: ClassVar[tuple[str, ...]] = ("gain_reduction_db", "mean_gain_reduction_db")
    bends: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 2.0
    copies: ClassVar[float] = 6.0

    ceiling_dbfs: float = setting(-1.0, label="Ceiling", low=-12.0, high=0.0, step=0.1)
    look_ahead_ms: float = setting(2.0, label="Look-ahead", low=0.0, high=10.0, step=0.5)
    release_ms: float = setting(100.0, label="Release", low=5.0, high=1000.0, step=5.0)
    true_peak: bool = True
    linked: bool = True

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "ceiling_dbfs", -144.0, 24.0)
        require_within(self, "look_ahead_ms", 0.0, 10.0)
        require_within(self, "release_ms", 0.0, 60_000.0, above=True)
        require_one_of(self)

    @property
    def ceiling(self) -> float:
        """The level that is never passed."""
        return ratio_from_db(self.ceiling_dbfs)

    @property
    def traced(self) -> bool:
        """Always."""
        return True

    @property
    def corner(self) -> Corner:
        """The ceiling."""
        return Corner("ceiling", self.ceiling_dbfs)

    def curve_db(self, levels_db: ArrayLike) -> Floats | float:
        """The static curve: a steady level comes out as it is, up to the ceiling.

        >>> Limiter(ceiling_dbfs=-1.0).curve_db([-6.0, 3.0]).tolist()
        [-6.0, -1.0]
        """
        return np.asarray(np.minimum(np.asarray(levels_db, dtype=np.float64), self.ceiling_dbfs))

    def latency_samples(self, rate_hz: int) -> int:
        """The look-ahead, and for a true-peak ceiling half the filter that draws the curve between the samples."""
        return self._look_ahead(rate_hz) + (QUARTERS.shape[1] // 2 if self.true_peak else 0)

    def _look_ahead(self, rate_hz: int) -> int:
        return round(self.look_ahead_ms * rate_hz / 1000)

    def process(self, signal: Signal) -> StageResult:
        """The signal under its ceiling, and the trace of how far it was turned down."""
        samples = np.ascontiguousarray(signal.samples)
        out = np.empty_like(samples)
        groups = 1 if self.linked else samples.shape[1]
        trace = np.zeros((len(samples), groups), dtype=np.float32)
        for group in range(groups):
            part = slice(None) if self.linked else slice(group, group + 1)
            self._limit(samples[:, part], signal.rate_hz, out[:, part], trace[:, group])
        # Rounding may put a product the last bit above the ceiling.
        np.clip(out, -self.ceiling, self.ceiling, out=out)
        trace.flags.writeable = False
        return StageResult(
            dataclasses.replace(signal, samples=frozen(out)),
            reduction_db=trace,
            readings={
                "gain_reduction_db": float(trace.max()),
                "mean_gain_reduction_db": float(trace.mean(dtype=np.float64)),
            },
        )

    def _limit(self, samples: Floats, rate_hz: int, out: Floats, trace: NDArray[np.float32]) -> None:
        """Channels that share one gain."""
        look_ahead, release = self._look_ahead(rate_hz), coefficient(self.release_ms, rate_hz)
        if self.true_peak:
            gain = self._under_curve(samples, look_ahead, release, out)
        else:
            level = loops.largest_of_channels(samples)
            wanted = np.divide(self.ceiling, level, out=np.ones_like(level), where=level > self.ceiling)
            gain = loops.look_ahead_gain(wanted, look_ahead, release)
            loops.apply_gain(samples, gain, out)
        np.log10(gain, out=gain)
        gain *= -20.0
        trace[:] = np.abs(gain, out=gain)

    def _under_curve(self, samples: Floats, look_ahead: int, release: float, out: Floats) -> Floats:
        """The gain that brings the curve between the samples under the ceiling, and in `out` what comes of it."""
        out[:] = samples
        wanted = np.ones(len(samples))
        gain = wanted
        aim = self.ceiling * ratio_from_db(_AIM_DB)
        above_db = float(true_peak_dbtp(out).max()) - self.ceiling_dbfs
        # Changing the gain changes the curve between the samples, so look again until the meter finds nothing.
        for number in range(_PASSES):
            if above_db <= (_READ_DB if number else 0.0):
                return gain
            high = _curve_tops(out)
            if high.max() <= aim:
                break
            np.maximum(high, aim, out=high)
            np.divide(aim, high, out=high)
            high *= gain
            np.minimum(wanted, high, out=wanted)
            del gain, high
            gain = loops.look_ahead_gain(wanted, look_ahead, release)
            loops.apply_gain(samples, gain, out)
            above_db = float(true_peak_dbtp(out).max()) - self.ceiling_dbfs
        if above_db > _READ_DB:
            # Still something: what only the meter's finer curve shows, or a gain that jumps from sample to sample
            # stirs up again and again, goes down as a whole.
            gain *= ratio_from_db(-above_db)
            loops.apply_gain(samples, gain, out)
        return gain


def _curve_tops(samples: Floats) -> Floats:
    """How high the curve through any of the channels goes next to each sample, tails before and after included."""
    reach = QUARTERS.shape[1] // 2
    count = len(samples)
    # Point k stands `reach` samples before sample k, so that the tails have room.
    tops = np.zeros(count + 2 * reach)
    for start in range(0, len(tops) - 1, _BLOCK):
        end = min(start + _BLOCK, len(tops) - 1)
        # Value k of a filtered stretch lies after sample k + reach - 1 of it.
        first, last = start - 2 * reach + 1, end
        stretch = np.zeros(last - first)
        for channel in range(samples.shape[1]):
            stretch[max(0, -first) : max(0, count - first)] = samples[max(0, first) : max(0, last), channel]
            between = np.stack([loops.fir_valid(stretch, row) for row in QUARTERS])
            loops.intersample_peaks(stretch[reach - 1 : reach + end - start], between, tops[start : end + 1])
    high = tops[reach:-reach]
    high[0] = max(high[0], tops[:reach].max())
    high[-1] = max(high[-1], tops[-reach:].max())
    return high
