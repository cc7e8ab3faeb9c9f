"""What the meters share: a recording comes in blocks of any size, is checked once at the door, and then read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples, checked_samples
from gainlib.errors import GainError

__all__ = ["Growing", "Readings", "StreamMeter", "WindowFigures", "finite_powers", "read_whole", "within_reach"]

Readings = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class WindowFigures:
    """What one pass over a block tells of each window of it and each channel, `(windows, channels)`.

    `sums` and `squares` (added up) are in double precision, `lowest` and `highest` samples as they are; the last of the
    windows of `width` samples may be short.

    >>> WindowFigures.of(np.array([[0.5, -1.0, 0.25]]), 2).peaks
    array([1.])
    """

    width: int
    samples: int
    sums: NDArray[np.float64]
    squares: NDArray[np.float64]
    lowest: Samples
    highest: Samples

    @classmethod
    def of(cls, rows: Samples, width: int) -> WindowFigures:
        """Those of a block `(channels, n)`; the loop for it is a compiled one, where compiled loops are to be had."""
        return cls(width, rows.shape[1], *loops.window_figures(rows, width))

    @property
    def full(self) -> int:
        """How many of the windows are full."""
        return self.samples // self.width

    @property
    def plain(self) -> bool:
        """Whether all samples are numbers, and none is beyond +100 dBFS; if not, each wants a look."""
        return bool((self.squares < 1e10).all())

    @property
    def peaks(self) -> Samples:
        """The largest |sample| of each channel."""
        peaks: Samples = np.maximum(self.highest.max(axis=0), -self.lowest.min(axis=0))
        return peaks


class StreamMeter:
    """A meter of a stream: `push` each block, read at any time; a whole recording is a stream of one block.

    Parameters
    ----------
    channels : int
        How many channels each block has.

    Raises
    ------
    GainError
        For fewer than one channel, and in `push` for a block with other channels or with samples that are no numbers.

    Examples
    --------
    >>> class Longest(StreamMeter):
    ...     samples = 0
    ...     def take(self, checked):
    ...         self.samples += len(checked)
    >>> meter = Longest(2)
    >>> meter.push([[0.0, 0.0], [0.1, 0.2]])
    >>> meter.samples
    2
    """

    by_channel: ClassVar[bool] = False
    """Whether it reads one channel after the other, and is quicker where the samples of each are neighbours."""

    def __init__(self, channels: int) -> None:
        if channels < 1:
            raise GainError(f"channels is {channels}; a meter needs at least one.")
        self.channels = channels

    def push(self, block: ArrayLike) -> object:
        """Take the next samples, `(n,)` or `(n, channels)`."""
        checked = checked_samples(block, "block")
        if checked.shape[1] != self.channels:
            raise GainError(f"block has {checked.shape[1]} channels; this meter was made for {self.channels}.")
        return self.take(checked)

    def take(self, checked: Samples) -> object:
        """`push` of samples `(n, channels)` that were checked before, so that many meters share one check."""
        raise NotImplementedError

    def take_known(self, checked: Samples, figures: WindowFigures) -> object:
        """`take`, where the figures of the block are known, so that many meters share one pass."""
        return self.take(checked)


Meter = TypeVar("Meter", bound=StreamMeter)


def read_whole(make: Callable[[int], Meter], samples: ArrayLike) -> Meter:
    """The meter that `make` gives for so many channels, after it has taken a whole recording.

    >>> from gainlib.meters.levels import LevelMeter
    >>> read_whole(LevelMeter, np.array([0.0, -0.5])).peak_dbfs.round(2).tolist()
    [-6.02]
    """
    checked = checked_samples(samples, "samples")
    meter = make(checked.shape[1])
    meter.take(checked)
    return meter


_TOO_LARGE = "the recording holds samples so large that their squares run over; full scale is ±1.0, so scale them down"


def finite_powers(powers: Readings) -> Readings:
    """The powers as they are, or a GainError where samples were so large that their squares ran over."""
    if not np.isfinite(powers).all():
        raise GainError(f"{_TOO_LARGE} first.")
    return powers


def within_reach(checked: Samples) -> Samples:
    """The samples as they are, or a GainError for ones too large to be squared and added up."""
    if checked.dtype == np.float64 and max(float(checked.max()), -float(checked.min())) > 1e100:
        raise GainError(f"{_TOO_LARGE} first.")
    return checked


class Growing:
    """An array to which rows are added: twice as large whenever it is full, so that hours are no list of scraps.

    >>> rows = Growing((2,), np.float32)
    >>> rows.add(np.ones((3, 2)))
    >>> len(rows), rows.all().shape
    (3, (3, 2))
    """

    def __init__(self, shape: tuple[int, ...], dtype: type[np.floating[Any]]) -> None:
        self._rows: NDArray[Any] = np.empty((4096, *shape), dtype=dtype)
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, rows: NDArray[Any]) -> None:
        """Add rows at the end."""
        last = self._count + len(rows)
        if last > len(self._rows):
            grown = np.empty((max(2 * len(self._rows), last), *self._rows.shape[1:]), dtype=self._rows.dtype)
            grown[: self._count] = self._rows[: self._count]
            self._rows = grown
        self._rows[self._count : last] = rows
        self._count = last

    def all(self) -> NDArray[Any]:
        """The rows so far, a view."""
        return self._rows[: self._count]
