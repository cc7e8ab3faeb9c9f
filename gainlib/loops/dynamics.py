"""The loops of the level-dependent stages: compiled (`dynamics_loops`) or plain (`dynamics_twins`)."""

from __future__ import annotations

import functools
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from gainlib.loops import numpy_dynamics as dynamics_twins

__all__ = [
    "apply_gain",
    "curve_tops",
    "filtered",
    "largest_of_channels",
    "look_ahead_gain",
    "shelved",
    "smoothed_reduction",
    "working_dynamics",
]

Array = NDArray[np.float64]


@functools.cache
def working_dynamics() -> ModuleType:
    """The module whose loops run here: `dynamics_loops` with numba, `dynamics_twins` without.

    >>> working_dynamics().__name__.startswith("gainlib.loops.dynamics_")
    True
    """
    try:
        from gainlib.loops import numba_dynamics as dynamics_loops
    except ImportError:
        return dynamics_twins
    return dynamics_loops


def largest_of_channels(samples: Array) -> Array:
    """The largest |sample| of all channels at each moment: `(n, channels)` in, `(n,)` out.

    >>> largest_of_channels(np.array([[0.5, -1.0], [0.0, 0.25]])).tolist()
    [1.0, 0.25]
    """
    return working_dynamics().largest_of_channels(samples)  # type: ignore[no-any-return]


def smoothed_reduction(
    over_db: Array, slope: float, knee_db: float, attack: float, release: float, decoupled: bool, state: Array
) -> None:
    """The gain reduction in dB that a compressor gives, written over the level above threshold that asks for it.

    `over_db` `(n,)` is level minus threshold. The static curve asks for slope × level above threshold, rounded by a
    quadratic knee; `attack` and `release` are one-pole coefficients. `state` `(2,)` carries the smoothed values
    from one block to the next. Source: *published*, Giannoulis, Massberg and Reiss, JAES 60(6), 2012.

    >>> over = np.array([4.0, 4.0])
    >>> smoothed_reduction(over, 0.75, 0.0, 0.0, 0.0, False, np.zeros(2))
    >>> over.tolist()
    [3.0, 3.0]
    """
    working_dynamics().smoothed_reduction(over_db, slope, float(knee_db), attack, release, decoupled, state)


def apply_gain(samples: Array, gain: Array, out: Array) -> None:
    """Samples `(n, channels)` times a gain `(n,)` that all channels share, into `out`.

    >>> out = np.empty((2, 1))
    >>> apply_gain(np.array([[1.0], [2.0]]), np.array([0.5, 0.5]), out)
    >>> out.ravel().tolist()
    [0.5, 1.0]
    """
    working_dynamics().apply_gain(samples, gain, out)


def look_ahead_gain(wanted: Array, look_ahead: int, release: float) -> Array:
    """The gain of a look-ahead limiter, never above the gain wanted at its own sample.

    `wanted` `(n,)` is the gain that each sample needs, 1.0 at most. The gain falls straight towards the lowest one
    wanted in the next `look_ahead` samples, reaches it in time, and what is missing to 1 then dies away by `release`
    a sample. A stretch that wants nothing gets exactly 1.0 back.

    >>> look_ahead_gain(np.array([1.0, 1.0, 0.5, 1.0]), 1, 0.0).tolist()
    [1.0, 0.75, 0.5, 0.75]
    """
    return working_dynamics().look_ahead_gain(wanted, look_ahead, release)  # type: ignore[no-any-return]


def filtered(samples: Array, taps: Array) -> Array:
    """Each full overlap of the taps with one channel: `(n,)` and `(k,)` in, `(n - k + 1,)` out.

    >>> filtered(np.array([1.0, 2.0, 4.0]), np.array([1.0, 10.0])).tolist()
    [21.0, 42.0]
    """
    return working_dynamics().filtered(samples, taps)  # type: ignore[no-any-return]


def curve_tops(samples: Array, between: Array, tops: Array) -> None:
    """How high the curve through one channel goes next to each sample; `tops` `(n,)` keeps what was higher before.

    `samples` is `(n,)`; `between` `(3, n - 1)` holds the curve a quarter, a half and three quarters after each sample.
    A top between these points is that of the parabola through the three around it; it counts for the samples on both
    sides.

    >>> tops = np.zeros(3)
    >>> curve_tops(np.zeros(3), np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.0]]), tops)
    >>> tops.tolist()
    [0.5, 0.5, 0.0]
    """
    working_dynamics().curve_tops(samples, between, tops)


def shelved(samples: Array, now: float, before: float, feedback: float, state: Array, out: Array) -> None:
    """A first-order filter over one channel, `y = now x + before x' - feedback y'`, into `out`, which may be the input.

    `state` `(2,)` carries x' and y' from one block to the next.

    >>> out = np.empty(3)
    >>> shelved(np.array([1.0, 0.0, 0.0]), 0.5, 0.0, -0.5, np.zeros(2), out)
    >>> out.tolist()
    [0.5, 0.25, 0.125]
    """
    entering = samples.view()
    entering.flags.writeable = False  # the one kind of array that this loop compiles for
    working_dynamics().shelved(entering, now, before, feedback, state, out)
