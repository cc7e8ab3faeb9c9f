"""The loops that must be fast, each in two forms: compiled (`loops`) and plain numpy (`twins`), chosen on first use.

Where numba is not to be had, the numpy twins run; they are also the text to read and the oracle in the tests.
"""

from __future__ import annotations

import functools
from types import ModuleType

from gainlib.kernels import twins
from gainlib.kernels.twins import Array, Channel

__all__ = ["extremes", "peak_and_square_sum", "runs_beyond", "working"]


@functools.cache
def working() -> ModuleType:
    """The module whose loops run here: `loops` with numba, `twins` without.

    >>> working().__name__ in ("gainlib.kernels.loops", "gainlib.kernels.twins")
    True
    """
    try:
        from gainlib.kernels import loops
    except ImportError:
        return twins
    return loops


def peak_and_square_sum(channel: Channel) -> tuple[float, float]:
    """The largest |sample| and the sum of the squares of one channel `(n,)`, in one pass.

    >>> import numpy as np
    >>> peak_and_square_sum(np.array([0.5, -1.0]))
    (1.0, 1.25)
    """
    return working().peak_and_square_sum(channel)  # type: ignore[no-any-return]


def runs_beyond(channel: Channel, low: float, high: float, least: int) -> tuple[Array, Array]:
    """Where one channel stays at or beyond `high`, or at or below `low`, for `least` samples and more.

    Gives two int64 arrays: the first sample of each run and its length in samples. A run ends where the side changes.

    >>> import numpy as np
    >>> starts, lengths = runs_beyond(np.array([0.0, 1.0, 1.0, -1.0]), -1.0, 1.0, 2)
    >>> starts.tolist(), lengths.tolist()
    ([1], [2])
    """
    return working().runs_beyond(channel, low, high, least)  # type: ignore[no-any-return]


def extremes(channel: Channel, columns: int) -> tuple[Array, Array]:
    """The smallest and the largest sample in each of `columns` equal parts of one channel, for drawing a waveform.

    Part k runs from sample k·n // columns up to (k+1)·n // columns, at least one sample. Two arrays `(columns,)`.

    >>> import numpy as np
    >>> lowest, highest = extremes(np.array([0.0, 1.0, -1.0, 0.5]), 2)
    >>> lowest.tolist(), highest.tolist()
    ([0.0, -1.0], [1.0, 0.5])
    """
    return working().extremes(channel, columns)  # type: ignore[no-any-return]
