"""Samples with their rate."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.errors import GainError
from gainlib.text import channels_in_words, memory

__all__ = ["Audio", "Samples", "checked_samples", "part_frames", "require_memory", "tone"]

Samples = NDArray[np.floating[Any]]

MOST_BYTES = 800_000_000
"""What the samples of one piece of work may take, a file read or a session rendered: Python with them stays in 1 GB."""
MOST_BYTES_OF_LARGE = 8_000_000_000
"""What they may take where the recordings are large themselves, as long as it is free: five minutes of stereo at 96 kHz
on a bench with a chain of six stages need 5 GB."""
BYTES_A_BYTE_ON_DISK = 80
"""Which recordings are large: no file of 10 MB may ask for more than a small one does. Silence packs 1 to 1000."""


def require_memory(needed_bytes: float, what: str, then: str, *, on_disk: float = 0.0) -> None:
    """Refuse work that would need too much memory, before it begins: the one bound of all that reads and renders.

    `what` would need it, `then` says what to do; `on_disk` is the size of the files that it is made of, infinite for
    recordings that somebody has read already.

    >>> require_memory(19e9, "this session", "use fewer stages")
    Traceback (most recent call last):
    gainlib.errors.GainError: this session would need 19 GB of memory; at most 800 MB are taken: use fewer stages.
    """
    if needed_bytes <= MOST_BYTES:
        return
    most = min(MOST_BYTES_OF_LARGE, BYTES_A_BYTE_ON_DISK * on_disk)
    if most >= needed_bytes:
        import psutil

        most = float(psutil.virtual_memory().available)
        if most >= needed_bytes:
            return
        held = f"{memory(most)} are free"
    else:
        held = f"at most {memory(max(most, MOST_BYTES))} are taken"
    raise GainError(f"{what} would need {memory(needed_bytes)} of memory; {held}: {then}.")


@dataclass(frozen=True, eq=False)
class Audio:
    """Samples and the rate they were taken at; full scale is ±1.0.

    Parameters
    ----------
    samples : array of float32 or float64, shape (n,) or (n, channels)
        Kept as a read-only array of shape (n, channels).
    rate_hz : int
        Samples a second, 1 or above; there is no usual one.
    name : str, optional
        What the recording is called; it does not count when two are compared.
    path : Path, optional
        The file that it was read from, whole; it does not count either.
    room_dbfs : float, optional
        The noise of its room (AES17 RMS) where that was heard beside it, as at the head of the take that it is a part
        of; it does not count either.

    Raises
    ------
    GainError
        For no sample, integers, samples that are not finite, and a rate that is no whole number above 0.

    Examples
    --------
    >>> tone = Audio(np.zeros(48000), 48000)
    >>> tone.samples.shape, tone.channels, tone.seconds
    ((48000, 1), 1, 1.0)
    """

    samples: Samples
    rate_hz: int
    name: str = ""
    path: Path | None = field(default=None, repr=False)
    room_dbfs: float | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        rate: object = self.rate_hz
        if isinstance(rate, bool) or not isinstance(rate, int | np.integer) or rate < 1:
            raise GainError(f"rate_hz is {rate!r}; it must be a whole number of samples a second, 1 or above.")
        object.__setattr__(self, "samples", checked_samples(self.samples, self.name or "samples"))
        object.__setattr__(self, "rate_hz", int(rate))

    def __eq__(self, other: object) -> bool:
        """Whether the samples and the rate are the same; the name does not count."""
        if not isinstance(other, Audio):
            return NotImplemented
        return self is other or (self.rate_hz == other.rate_hz and np.array_equal(self.samples, other.samples))

    def __hash__(self) -> int:
        return hash((self.rate_hz, self.frames, self.channels))

    @property
    def frames(self) -> int:
        """How many samples a channel has."""
        return len(self.samples)

    @property
    def channels(self) -> int:
        """How many channels there are."""
        return int(self.samples.shape[1])

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.frames / self.rate_hz

    @property
    def on_disk(self) -> bool:
        """Whether its samples stay in a file until somebody asks for them, as those of a long recording do."""
        return False

    @property
    def seeks_slowly(self) -> bool:
        """Whether to go to a place in its file takes several milliseconds, as in Ogg, which is searched by halves."""
        return False

    @property
    def bytes_on_disk(self) -> float:
        """How large the file is that its samples stay in; infinite for what is held, since somebody has read it."""
        return math.inf

    @property
    def nbytes(self) -> int:
        """What its samples take of memory when they are held."""
        return self.samples.nbytes

    def blocks(self) -> Iterator[Samples]:
        """All its samples `(n, channels)` in order: at once where they are held, else a stretch at a time.

        >>> [block.shape for block in Audio(np.zeros(480), 48000).blocks()]
        [(480, 1)]
        """
        yield self.samples

    def stretches(self, bounds: Iterable[tuple[int, int]]) -> Iterator[Samples]:
        """The samples `(n, channels)` from each first sample up to each end, which come in order.

        >>> [part.ravel().tolist() for part in Audio([0.1, 0.2, 0.3], 48000).stretches([(0, 1), (1, 3)])]
        [[0.1], [0.2, 0.3]]
        """
        for start, end in bounds:
            yield self.samples[start:end]

    @property
    def in_double(self) -> Audio:
        """The same with float64 samples, in which all arithmetic is done; itself where it has them.

        >>> Audio(np.zeros(480, np.float32), 48000).in_double.samples.dtype
        dtype('float64')
        """
        if self.samples.dtype == np.float64:
            return self
        return Audio(self.samples.astype(np.float64), self.rate_hz, self.name, room_dbfs=self.room_dbfs)

    def between(self, start_seconds: float, end_seconds: float) -> Audio:
        """The part from one moment to another, to the nearest sample.

        Raises GainError if the part is empty or reaches outside.

        >>> Audio(np.zeros(48000), 48000).between(0.25, 0.5).seconds
        0.25
        """
        start, end = part_frames(start_seconds, end_seconds, self.frames, self.rate_hz)
        (part,) = self.stretches([(start, end)])
        # A view of a short part would hold on to the whole recording.
        held = part.copy() if 2 * len(part) <= self.frames else part
        return Audio(held, self.rate_hz, self.name, room_dbfs=self.room_dbfs)

    def __repr__(self) -> str:
        form = f"{channels_in_words(self.channels)}, {self.rate_hz / 1000:g} kHz"
        return f"{self.name or 'audio'}: {self.seconds:.4g} s, {form}"


def part_frames(start_seconds: float, end_seconds: float, frames: int, rate_hz: int) -> tuple[int, int]:
    """The first sample of a part and the one behind its last; GainError if it is empty or reaches outside.

    >>> part_frames(0.25, 0.5, 48000, 48000)
    (12000, 24000)
    """
    seconds = frames / rate_hz
    start, end = 0, 0
    if 0.0 <= start_seconds < end_seconds <= seconds + 0.5 / rate_hz:
        start, end = round(start_seconds * rate_hz), min(frames, round(end_seconds * rate_hz))
    if start == end:
        raise GainError(
            f"the part from {start_seconds:g} s to {end_seconds:g} s was asked for; "
            f"this recording runs from 0 s to {seconds:g} s."
        )
    return start, end


def tone(level_dbfs: float, frequency_hz: float, *, seconds: float, rate_hz: int) -> Audio:
    """A steady sine, as one sends through equipment to set its levels; it begins at zero and is mono.

    Parameters
    ----------
    level_dbfs : float
        Its peak, from -200 to 0 dBFS, which is its RMS (AES17) too.
    frequency_hz : float
        Above 0 and below half the rate.
    seconds : float
        How long it lasts: from one sample to 600 s.
    rate_hz : int
        Samples a second.

    Returns
    -------
    Audio
        Of shape (n, 1), named tone.

    Raises
    ------
    GainError
        For a level, a frequency, a length or a rate beyond those bounds.

    Examples
    --------
    >>> tone(-18.0, 1000, seconds=0.5, rate_hz=48000).seconds
    0.5
    """
    if not -200.0 <= level_dbfs <= 0.0:
        raise GainError(f"level_dbfs is {level_dbfs}; it must be from -200 to 0 dBFS.")
    made = Audio(np.zeros(1), rate_hz)  # refuses a rate that cannot be
    if not 0.0 < frequency_hz < made.rate_hz / 2:
        raise GainError(f"frequency_hz is {frequency_hz}; it must be above 0 and below half the rate of {rate_hz} Hz.")
    if not 0.5 / made.rate_hz <= seconds <= 600.0:
        raise GainError(f"seconds is {seconds}; it must hold one sample at least and be at most 600 s.")
    turns = np.arange(round(seconds * made.rate_hz)) * (frequency_hz / made.rate_hz)
    return Audio(10.0 ** (level_dbfs / 20.0) * np.sin(2.0 * math.pi * turns), rate_hz, "tone")


_CHECKED_AT_ONCE = 1 << 20
"""So many samples a channel are looked at together, which takes next to no memory."""


def checked_samples(samples: ArrayLike, name: str) -> Samples:
    """The samples as a read-only `(n, channels)` float array, or a GainError that says what is wrong with them.

    >>> checked_samples([0.0, 0.5], "take").shape
    (2, 1)
    """
    array: NDArray[Any] = np.asarray(samples)
    if array.dtype not in (np.float32, np.float64):
        raise GainError(f"{name} holds {array.dtype} values; give float samples, full scale ±1.0.")
    if array.ndim not in (1, 2):
        raise GainError(f"{name} has {array.ndim} dimensions; give (n,) for mono or (n, channels).")
    array = array[:, None] if array.ndim == 1 else array
    if array.shape[1] == 0:
        raise GainError(f"{name} has zero channels; a recording needs at least one.")
    if array.shape[0] == 0:
        raise GainError(f"{name} is empty; a recording needs at least one sample.")
    for start in range(0, len(array), _CHECKED_AT_ONCE):
        finite = np.isfinite(array[start : start + _CHECKED_AT_ONCE])
        if not finite.all():
            at, channel = np.argwhere(~finite)[0] + (start, 0)
            raise GainError(
                f"{name} holds {array[at, channel]} at sample {at}, channel {channel + 1}; "
                "every sample must be a number."
            )
    array = array.view()
    array.flags.writeable = False
    return array
