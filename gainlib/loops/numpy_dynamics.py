"""The loops of the level-dependent stages in plain Python and numpy: the text to read, the oracle, the fallback."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from gainlib.loops.numpy_loops import parabola_tops

__all__ = [
    "apply_gain",
    "curve_tops",
    "filtered",
    "largest_of_channels",
    "look_ahead_gain",
    "shelved",
    "smoothed_reduction",
]

Array = NDArray[np.float64]

# What has fallen to this many dB is done; without it a release would run on through ever smaller numbers.
SETTLED_DB = 1e-9
# The same for a gain short of 1, where 1e-10 is a billionth of a decibel.
SETTLED = 1e-10


def largest_of_channels(samples: Array) -> Array:
    """The largest |sample| of all channels at each moment."""
    largest: Array = np.abs(samples).max(axis=1)
    return largest


def smoothed_reduction(
    over_db: Array, slope: float, knee_db: float, attack: float, release: float, decoupled: bool, state: Array
) -> None:
    """The gain reduction in dB, written over the level above threshold."""
    half = knee_db / 2
    smooth, held = state
    for index, over in enumerate(over_db):
        wanted = slope * max(over, 0.0) if abs(over) >= half else slope * (over + half) ** 2 / (2 * knee_db)
        if decoupled:
            settled = 0.0 if held <= SETTLED_DB else release * held + (1 - release) * wanted
            held = max(wanted, settled)
            smooth = 0.0 if smooth <= SETTLED_DB and held == 0.0 else attack * smooth + (1 - attack) * held
        elif wanted > smooth:
            smooth = attack * smooth + (1 - attack) * wanted
        else:
            smooth = 0.0 if smooth <= SETTLED_DB else release * smooth + (1 - release) * wanted
        over_db[index] = smooth
    state[:] = smooth, held


def apply_gain(samples: Array, gain: Array, out: Array) -> None:
    """Samples times a shared gain."""
    np.multiply(samples, gain[:, None], out=out)


def look_ahead_gain(wanted: Array, look_ahead: int, release: float) -> Array:
    """The gain of a look-ahead limiter: lowest gain ahead, release, straight average; see the front for the words."""
    count = len(wanted)
    missing = 1.0 - wanted
    # The most that any of the next samples asks for, for each sample from `look_ahead` before the first one on.
    ahead = np.concatenate((np.zeros(look_ahead), missing, np.zeros(look_ahead)))
    most = np.lib.stride_tricks.sliding_window_view(ahead, look_ahead + 1).max(axis=1)
    level = 0.0
    for index in range(len(most)):
        level = max(most[index], release * level)
        level = level if level > SETTLED else 0.0
        most[index] = level
    mean = np.lib.stride_tricks.sliding_window_view(most, look_ahead + 1).sum(axis=1) / (look_ahead + 1)
    gain: Array = np.minimum(1.0 - mean[:count], wanted)
    return gain


def filtered(samples: Array, taps: Array) -> Array:
    """Each full overlap of the taps with one channel."""
    return np.convolve(samples, taps[::-1], "valid")


def curve_tops(samples: Array, between: Array, tops: Array) -> None:
    """How high the curve through one channel goes next to each sample."""
    fine = np.abs(np.append(np.column_stack((samples[:-1], between.T)).ravel(), samples[-1]))
    high = fine.copy()
    high[1:-1] = parabola_tops(fine[:-2], fine[1:-1], fine[2:])
    steps = np.lib.stride_tricks.sliding_window_view(high, 5)[::4].max(axis=1)
    np.maximum(tops[:-1], steps, out=tops[:-1])
    np.maximum(tops[1:], steps, out=tops[1:])


def shelved(samples: Array, now: float, before: float, feedback: float, state: Array, out: Array) -> None:
    """A first-order filter over one channel."""
    from scipy.signal import lfilter

    last = samples[-1]
    out[:], _ = lfilter([now, before], [1.0, feedback], samples, zi=[before * state[0] - feedback * state[1]])
    state[:] = last, out[-1]
