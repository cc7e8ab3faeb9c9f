"""What renderings hold in memory, and when they give it back: all of that policy.

A rendering always holds the figures of every tap, which are small. Of the samples

- those behind what costs something are held: a stage that says so (`cache_output`: converter, clip gain, ride,
  compressor, saturation, limiter, delivery), and a sum of more than a few signals or of signals that are not held
  themselves. A trim, a fader or a pan is a multiplication and is made again from there when its samples are asked for,
  and so are gain-reduction traces. That keeps an eight-strip session below four times its recordings, and still a moved
  control costs only what lies behind it;
- in single precision where a stage says that it loses nothing by it (`fits_float32`);
- of several benches only the one in use holds samples, with those that move together with it;
- when a cell has run, and when nothing was moved for `PAUSE_SECONDS`, whatever lasts up to `SHORT_SECONDS` is released:
  it is rendered again in a moment.

What was released and is asked for later is made again, bit for bit the same, and held again. Recordings are not held
here: a strip refers to its take, and `gainlib.sound_file.read` gives every reader of one of the course's stems the same
samples, for as long as one of them has it.
"""

from __future__ import annotations

import contextlib
import ctypes
import dataclasses
import weakref
from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from gainlib.stages import Signal

__all__ = ["FEW_SIGNALS", "PAUSE_SECONDS", "SHORT_SECONDS", "Buffer", "Holder", "give_back", "release_buffers", "use"]

FEW_SIGNALS = 4
"""So many signals that are held themselves are added up again as soon as asked for."""
SHORT_SECONDS = 30.0
"""Up to here a session is rendered again in a moment; the course's recordings last 19 s at most."""
PAUSE_SECONDS = 20.0


class Buffer:
    """The samples behind one stage while they are held; `narrow` where single precision holds them exactly."""

    def __init__(self, narrow: bool) -> None:
        self._narrow = narrow
        self._held: Signal | None = None

    def hold(self, signal: Signal) -> None:
        """Hold these samples until they are released."""
        samples: NDArray[Any] = signal.samples.astype(np.float32) if self._narrow else signal.samples
        self._held = dataclasses.replace(signal, samples=samples)
        _buffers.add(self)

    @property
    def signal(self) -> Signal | None:
        """What is held, in double precision; None where nothing is."""
        if self._held is None or not self._narrow:
            return self._held
        samples = self._held.samples.astype(np.float64)
        samples.flags.writeable = False
        return dataclasses.replace(self._held, samples=samples)

    @property
    def seconds(self) -> float:
        """How long it lasts, what is held; 0 where nothing is."""
        return len(self._held.samples) / self._held.rate_hz if self._held is not None else 0.0

    @property
    def nbytes(self) -> int:
        """How much memory it takes."""
        return self._held.samples.nbytes if self._held is not None else 0

    def release(self) -> None:
        """Hold nothing from now on."""
        self._held = None


_buffers: weakref.WeakSet[Buffer] = weakref.WeakSet()
"""Every buffer of this process that holds samples, or held some."""


def release_buffers(most_seconds: float = SHORT_SECONDS) -> None:
    """Release what every rendering of this process holds, as far as it lasts up to so many seconds.

    >>> release_buffers()
    """
    for buffer in list(_buffers):
        if buffer.seconds <= most_seconds:
            buffer.release()


def give_back(*_: object) -> None:
    """Release what is short, and give the system what is free.

    glibc alone would keep tens of megabytes that passed through; a C library without `malloc_trim` is left to itself.

    >>> give_back()
    """
    release_buffers()
    with contextlib.suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


class _Releases(Protocol):
    def release(self) -> None: ...


class Holder(Protocol):
    """What has renderings, such as a bench; holders with one `turn` are in use together."""

    @property
    def turn(self) -> object: ...

    @property
    def renderings(self) -> Iterable[_Releases]: ...


_holders: weakref.WeakSet[Holder] = weakref.WeakSet()
"""All that have been in use; a lesson has up to seven benches."""


def use(holder: Holder) -> None:
    """This holder is in use, and those of its turn; the renderings of all others are released until they are used."""
    _holders.add(holder)
    for other in list(_holders):
        if other.turn is not holder.turn:
            for rendering in other.renderings:
                rendering.release()
