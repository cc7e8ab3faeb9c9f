"""Any stretch of a recording, a block at a time, at another's rate and number of channels: what two are compared by."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Samples
from gainlib.sound_file import SoundFile
from gainlib.stages.delivery import resampled

__all__ = ["Stretches"]

Floats = NDArray[np.float64]

_AROUND = 128
"""So many samples of the lower rate on either side are heard by a sample that is made at another rate."""


class Stretches:
    """A recording as if it had this rate and so many channels; silence before its start and after its end.

    Mono stands on all channels, several are made mono by their mean. `frames` counts samples at that rate.

    >>> from gainlib.storage import bundled
    >>> kick = Stretches(bundled("media/kick.flac"), 48000, 2)
    >>> [block.shape for block in kick.blocks(-10, 90, 60)]
    [(60, 2), (40, 2)]
    """

    def __init__(self, path: Path, rate_hz: int, channels: int) -> None:
        self.path, self.rate_hz, self.channels = path, rate_hz, channels
        with SoundFile(path) as recording:
            self.own_rate_hz, self.own_frames = recording.rate_hz, recording.frames
        shared = math.gcd(self.own_rate_hz, rate_hz)
        self._up, self._down = rate_hz // shared, self.own_rate_hz // shared
        self.frames = -(-self.own_frames * self._up // self._down)

    def part(self, start: int, end: int) -> Floats:
        """The samples from `start` up to `end`, `(n, channels)`."""
        return np.concatenate(list(self.blocks(start, end, max(1, end - start))))

    def blocks(self, start: int, end: int, size: int) -> Iterator[Floats]:
        """Blocks of `size` samples from `start` up to `end`, the last one shorter."""
        for block in self._converted(start, end, size):
            if block.shape[1] == self.channels:
                yield block
            elif block.shape[1] == 1:
                yield np.repeat(block, self.channels, axis=1)
            else:
                yield block.mean(axis=1, keepdims=True)

    def _converted(self, start: int, end: int, size: int) -> Iterator[Floats]:
        """At the rate that is asked for, with its own channels."""
        if self._up == self._down:
            yield from self._own(start, end, size)
            return
        # Whole steps of both rates, so that each stretch that is converted begins on a sample of either.
        around = self._down * math.ceil(_AROUND * max(1.0, self._down / self._up) / self._down)
        steps = max(1, size // self._up)
        first, width, cut = start // self._up, steps * self._down, around * self._up // self._down
        last = first + steps * -(-(end - first * self._up) // (steps * self._up))

        def converted() -> Iterator[Floats]:
            held: Floats | None = None
            for block in self._own(first * self._down + around - width, last * self._down + around, width):
                if held is None:
                    held = block if len(block) >= 2 * around else np.pad(block, ((2 * around - len(block), 0), (0, 0)))
                else:
                    whole = np.concatenate((held, block))
                    yield resampled(whole, self.own_rate_hz, self.rate_hz)[cut : cut + steps * self._up]
                    held = whole
                held = held[-2 * around :]

        yield from _rebuffered(converted(), first * self._up, start, end, size)

    def _own(self, start: int, end: int, size: int) -> Iterator[Floats]:
        """At its own rate and with its own channels."""
        with SoundFile(self.path) as recording:
            at = min(max(start, 0), recording.frames) if recording.seeks else 0
            blocks = recording.blocks(size, start=at) if at < min(end, recording.frames) else iter(())
            yield from _rebuffered(blocks, at, start, end, size, recording.channels)


def _rebuffered(
    source: Iterator[Samples], at: int, start: int, end: int, size: int, channels: int = 0
) -> Iterator[Floats]:
    """Blocks of `size` samples from `start` to `end` out of others whose first sample is number `at`.

    Silence stands where these have nothing.
    """
    held = next(source, np.zeros((0, channels)))
    for first in range(start, end, size):
        last = min(first + size, end)
        out = np.zeros((last - first, held.shape[1]))
        while True:
            begin, stop = max(first, at), min(last, at + len(held))
            if begin < stop:
                out[begin - first : stop - first] = held[begin - at : stop - at]
            if at + len(held) >= last:
                break
            at, held = at + len(held), next(source, held[:0])
            if not len(held):
                break
        yield out
