"""The loops that must be fast: compiled (`numba_loops`) or plain (`numpy_loops`), chosen on first use, and `passes`.

`numpy_loops` is the text to read, the oracle in the tests and what runs where numba is not to be had. What numpy alone
does as fast stands in `passes`: numba takes 100 MB and half a second, which many a lesson can do without. Whole
recordings go in as `as_rows` gives them; a `state` carries a loop from block to block and is changed in place.
"""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from types import ModuleType
from typing import Any, TypeVar, cast

import numpy as np

from gainlib.loops import numpy_loops
from gainlib.loops.numpy_loops import Array
from gainlib.loops.passes import (
    apply_gain,
    extremes,
    largest_of_channels,
    peak_and_square_sum,
    runs_beyond,
    windowed_sinc,
)

__all__ = [
    "add_as_it_is_and_scaled",
    "apply_gain",
    "as_rows",
    "backend",
    "constant_runs",
    "each_channel",
    "extremes",
    "find_flat_tops",
    "fir_valid",
    "first_order_filter",
    "flat_crests",
    "interpolated_peak",
    "intersample_peaks",
    "largest_of_channels",
    "look_ahead_gain",
    "peak_and_square_sum",
    "peak_detector",
    "repeated_stretches",
    "rounded_with_feedback",
    "runs_beyond",
    "sharp_bends",
    "smoothed_reduction",
    "vu_ballistics",
    "weighted_cell_sums",
    "weighted_cell_sums_of_two",
    "where_kept",
    "window_figures",
    "window_products",
    "windowed_sinc",
]

Result = TypeVar("Result")
Loop = TypeVar("Loop", bound=Callable[..., Any])


@functools.cache
def backend() -> ModuleType:
    """The module whose loops run here: `numba_loops` where numba is to be had, else `numpy_loops`.

    >>> backend().__name__ in ("gainlib.loops.numba_loops", "gainlib.loops.numpy_loops")
    True
    """
    try:
        from gainlib.loops import numba_loops
    except ImportError:
        return numpy_loops
    return numba_loops


def where_kept() -> str | None:
    """The folder that compiled loops are kept in for the next process; None where they are not compiled, or not kept.

    >>> where_kept() is None or "gainlib" in where_kept() or "loops" in where_kept()
    True
    """
    loops = backend()
    return None if loops is numpy_loops else loops.vu_ballistics.stats.cache_path


def _by_backend(loop: Loop) -> Loop:
    """A plain loop, or its compiled namesake where that runs; numba is opened by the first call and not before."""

    @functools.wraps(loop)
    def run(*given: Any) -> Any:
        return getattr(backend(), loop.__name__)(*given)

    return cast(Loop, run)


def _where_open(loop: Loop) -> Loop:
    """A plain loop, or its compiled namesake where numba is open already; what is found is the same."""

    @functools.wraps(loop)
    def run(*given: Any) -> Any:
        opened = sys.modules.get("gainlib.loops.numba_loops") is not None
        return getattr(backend() if opened else numpy_loops, loop.__name__)(*given)

    return cast(Loop, run)


add_as_it_is_and_scaled = _by_backend(numpy_loops.add_as_it_is_and_scaled)
constant_runs = _by_backend(numpy_loops.constant_runs)
find_flat_tops = _where_open(numpy_loops.find_flat_tops)
flat_crests = _where_open(numpy_loops.flat_crests)
fir_valid = _by_backend(numpy_loops.fir_valid)
first_order_filter = _by_backend(numpy_loops.first_order_filter)
interpolated_peak = _by_backend(numpy_loops.interpolated_peak)
intersample_peaks = _by_backend(numpy_loops.intersample_peaks)
look_ahead_gain = _by_backend(numpy_loops.look_ahead_gain)
peak_detector = _by_backend(numpy_loops.peak_detector)
repeated_stretches = _by_backend(numpy_loops.repeated_stretches)
rounded_with_feedback = _by_backend(numpy_loops.rounded_with_feedback)
sharp_bends = _by_backend(numpy_loops.sharp_bends)
smoothed_reduction = _by_backend(numpy_loops.smoothed_reduction)
vu_ballistics = _by_backend(numpy_loops.vu_ballistics)
weighted_cell_sums = _by_backend(numpy_loops.weighted_cell_sums)
window_figures = _by_backend(numpy_loops.window_figures)
window_products = _by_backend(numpy_loops.window_products)
weighted_cell_sums_of_two = _by_backend(numpy_loops.weighted_cell_sums_of_two)


def as_rows(samples: Array) -> Array:
    """Samples `(n, channels)` read-only and in rows, the one layout that the loops on whole recordings compile for.

    >>> as_rows(np.zeros((4, 2), order="F")).flags.c_contiguous
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
    # Below two seconds or so of sound the threads cost more than they save, and the blocks of a survey, which has its
    # files side by side, are that short. The plain loops hold the interpreter anyway.
    if channels < 2 or samples < 100_000 or backend() is numpy_loops:
        return [work(channel) for channel in range(channels)]
    return list(_pool().map(work, range(channels)))


@functools.cache
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=4)
