"""Samples with their rate."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.errors import GainError

__all__ = ["Audio", "Samples", "checked_samples", "tone"]

Samples = NDArray[np.floating[Any]]


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
        return hash((self.rate_hz, self.samples.shape))

    @property
    def channels(self) -> int:
        """How many channels there are."""
        return int(self.samples.shape[1])

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate_hz

    @property
    def in_double(self) -> Audio:
        """The same with float64 samples, in which all arithmetic is done; itself where it has them.

        >>> Audio(np.zeros(480, np.float32), 48000).in_double.samples.dtype
        dtype('float64')
        """
        if self.samples.dtype == np.float64:
            return self
        return Audio(self.samples.astype(np.float64), self.rate_hz, self.name)

    def between(self, start_seconds: float, end_seconds: float) -> Audio:
        """The part from one moment to another, to the nearest sample.

        Raises GainError if the part is empty or reaches outside.

        >>> Audio(np.zeros(48000), 48000).between(0.25, 0.5).seconds
        0.25
        """
        if not 0.0 <= start_seconds < end_seconds <= self.seconds + 0.5 / self.rate_hz:
            raise GainError(
                f"the part from {start_seconds:g} s to {end_seconds:g} s was asked for; "
                f"this recording runs from 0 s to {self.seconds:g} s."
            )
        start, end = round(start_seconds * self.rate_hz), round(end_seconds * self.rate_hz)
        part = self.samples[start:end]
        # A view of a short part would hold on to the whole recording.
        return Audio(part.copy() if 2 * len(part) <= len(self.samples) else part, self.rate_hz, self.name)

    def __repr__(self) -> str:
        channels = {1: "mono", 2: "stereo"}.get(self.channels, f"{self.channels} channels")
        return f"<{self.name or 'audio'}: {self.seconds:.2f} s, {channels}, {self.rate_hz} Hz>"


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
    finite = np.isfinite(array)
    if not finite.all():
        at, channel = np.argwhere(~finite)[0]
        raise GainError(
            f"{name} holds {array[at, channel]} at sample {at}, channel {channel + 1}; every sample must be a number."
        )
    array = array.view()
    array.flags.writeable = False
    return array
