"""The windowed sinc: the taps of which every interpolation and every low-pass here is made."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["windowed_sinc"]


def windowed_sinc(
    away: NDArray[np.floating[Any]], half_width: float, beta: float, edge: float = 1.0
) -> NDArray[np.float64]:
    """The sinc at some distances from its middle, in samples, under a Kaiser window that ends `half_width` away.

    `edge` is where its band ends, as a share of half the rate. Read-only, in the shape of `away`.
    Source: *published*, Kaiser and Schafer, IEEE Trans. ASSP 28 (1980), from memory; numpy alone, since scipy.signal
    takes 40 MB of every kernel that a lesson opens.

    >>> windowed_sinc(np.array([0.0, 1.0, 2.0]), 4.0, 9.0).round(3).tolist()
    [1.0, 0.0, -0.0]
    """
    inside = np.sqrt(np.clip(1.0 - (away / half_width) ** 2, 0.0, 1.0))
    taps: NDArray[np.float64] = np.sinc(edge * away) * np.i0(beta * inside) / np.i0(beta)
    taps.flags.writeable = False
    return taps
