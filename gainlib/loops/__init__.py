"""The loops that must be fast, each in two forms: compiled (`loops`) and plain numpy (`twins`), chosen on first use.

Where numba is not to be had, the numpy twins run; they are also the text to read and the oracle in the tests. What
numpy alone does as fast stands in `passes`: numba takes 100 MB and half a second, which many a lesson can do without.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType
from typing import TypeVar

import numpy as np

from gainlib.loops import numpy_loops as twins
from gainlib.loops.numpy_loops import Array, Channel
from gainlib.loops.passes import extremes, peak_and_square_sum, runs_beyond

__all__ = [
    "crests",
    "detector",
    "each_channel",
    "extremes",
    "interpolated_peak",
    "laid_out",
    "needle",
    "peak_and_square_sum",
    "runs_beyond",
    "weighted_cell_sums",
    "working",
]

Result = TypeVar("Result")
_SHORT_SAMPLES = 4096  # a stretch that is looked at closely: the twin is quick enough, and both give the same


@functools.cache
def working() -> ModuleType:
    """The module whose loops run here: `loops` with numba, `twins` without.

    >>> working().__name__ in ("gainlib.loops.numba_loops", "gainlib.loops.numpy_loops")
    True
    """
    try:
        from gainlib.loops import numba_loops as loops
    except ImportError:
        return twins
    return loops


def crests(channel: Channel, level: float, relative: float, absolute: float) -> tuple[Array, Array, Array, Array]:
    """The shape of each crest of one channel: of each stretch at or above `level`, how long its top is and how steep.

    Four arrays: the first sample of the top, its length (the samples within `relative` of the stretch's height, or
    within `absolute` where that is more, from the first to the last of them), the height, and how far the channel falls
    within as many samples before and after, on the side where it falls less.

    >>> import numpy as np
    >>> crests(np.array([0.0, 0.2, 0.9, 0.9, 0.9, 0.3, -1.0]), 0.5, 1e-3, 0.0)
    (array([2]), array([3]), array([0.9]), array([0.9]))
    """
    short = len(channel) < _SHORT_SAMPLES
    return (twins if short else working()).crests(channel, level, relative, absolute)  # type: ignore[no-any-return]


def laid_out(samples: Array) -> Array:
    """Samples `(n, channels)` read-only and in rows, the one layout that the loops on whole recordings compile for.

    >>> import numpy as np
    >>> laid_out(np.zeros((4, 2), order="F")).flags.c_contiguous
    True
    """
    rows = np.ascontiguousarray(samples).view()
    rows.flags.writeable = False
    return rows


def each_channel(work: Callable[[int], Result], channels: int, samples: int) -> list[Result]:
    """What `work` gives for channel 0, 1, ...; channels run side by side where there are enough samples to pay for it.

    >>> each_channel(lambda channel: channel + 1, 2, 48000)
    [1, 2]
    """
    # Below a second or so of sound the threads cost more than they save. The numpy twins hold the interpreter anyway.
    if channels < 2 or samples < 50_000 or working() is twins:
        return [work(channel) for channel in range(channels)]
    return list(_pool().map(work, range(channels)))


@functools.cache
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=4)


def weighted_cell_sums(samples: Array, channel: int, sections: Array, state: Array, ends: Array) -> Array:
    """One channel of `(n, channels)` through two second-order sections, squared and summed up to each of `ends`.

    `sections` is `(2, 6)` in scipy's order; `state` `(7,)` carries inputs, outputs and the open sum from block to
    block and is changed; `ends` counts samples from the block's first. Gives one sum of squares for each end.

    >>> import numpy as np
    >>> through = np.array([[1.0, 0, 0, 1, 0, 0], [1.0, 0, 0, 1, 0, 0]])
    >>> weighted_cell_sums(laid_out(np.ones((5, 1))), 0, through, np.zeros(7), np.array([2, 4])).tolist()
    [2.0, 2.0]
    """
    return working().weighted_cell_sums(samples, channel, sections, state, ends)  # type: ignore[no-any-return]


def interpolated_peak(
    samples: Array, channel: int, start: int, stop: int, highest: float, quarters: Array, midway: Array
) -> float:
    """The largest |value| of the curve through the samples of one channel, from sample `start` to `stop`.

    Samples outside `(n, channels)` count as silence, so `start` may be negative and `stop` beyond the end. `highest`
    is what was found before. `quarters` `(3, taps)` gives the values a quarter, a half and three quarters after a
    sample, `midway` `(4,)` those half-way on that finer grid, from its four neighbours on either side.

    >>> import numpy as np
    >>> from gainlib.meters.true_peak import MIDWAY, QUARTERS
    >>> take = laid_out(np.sin(np.pi / 4 + np.pi / 2 * np.arange(400))[:, None])
    >>> round(interpolated_peak(take, 0, 100, 300, 0.0, QUARTERS, MIDWAY), 3)
    1.0
    """
    return working().interpolated_peak(samples, channel, start, stop, highest, quarters, midway)  # type: ignore[no-any-return]


def needle(samples: Array, channel: int, step: Array, state: Array, ends: Array) -> tuple[Array, Array]:
    """A mass on a spring that follows |sample| of one channel: where it stands at each of `ends`, and the top since.

    `step` `(2, 2)` takes distance from the target and speed one sample on; `state` `(3,)`, which is deflection, speed
    and the top since the last end, is changed.

    >>> import numpy as np
    >>> at_ends, tops = needle(laid_out(np.ones((3, 1))), 0, np.zeros((2, 2)), np.zeros(3), np.array([1]))
    >>> at_ends.tolist(), tops.tolist()
    ([1.0], [1.0])
    """
    return working().needle(samples, channel, step, state, ends)  # type: ignore[no-any-return]


def detector(
    samples: Array, channel: int, charge: Array, hold: Array, state: Array, ends: Array
) -> tuple[Array, Array]:
    """Diode-and-capacitor detectors on |sample| of one channel, added: the sum at each of `ends`, and the top since.

    Each detector closes the share `charge` of the distance while |sample| is above it, and keeps the share `hold` of
    its voltage otherwise; `state` `(detectors + 1,)`, the voltages and the top since the last end, is changed.

    >>> import numpy as np
    >>> take = laid_out(np.array([[0.0], [-1.0], [0.0]]))
    >>> at_ends, tops = detector(take, 0, np.ones(1), np.full(1, 0.5), np.zeros(2), np.array([3]))
    >>> at_ends.tolist(), tops.tolist()
    ([0.5], [1.0])
    """
    return working().detector(samples, channel, charge, hold, state, ends)  # type: ignore[no-any-return]
