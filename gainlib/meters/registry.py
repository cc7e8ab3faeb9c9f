"""The one list of measures: each has one name, on a bench, in an exercise and in a report."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import signed
from gainlib.errors import GainError, nearest
from gainlib.meters.clipping import ClippedRuns, clipped_runs, flat_runs
from gainlib.meters.levels import crest_db, noise_floor_dbfs, peak_dbfs, rms_dbfs

__all__ = ["Measure", "Measures", "measure", "measures"]

Readings = NDArray[np.float64]


@dataclass(frozen=True)
class Measure:
    """One thing that can be measured: its name, its unit, what it means, how it is printed.

    `worst` says which channel's reading stands for the whole: the highest or the lowest.

    >>> measures()["peak_dbfs"].printed(-6.02)
    '−6.0 dBFS'
    """

    name: str
    unit: str
    meaning: str
    read: Callable[[Audio], Readings]
    digits: int = 1
    worst: Literal["highest", "lowest"] = "highest"

    def printed(self, value: float) -> str:
        """The reading as a person reads it, with its unit."""
        return signed(value, self.digits, self.unit, plus=self.unit in ("dB", "LU"))


class Measures(Mapping[str, Measure]):
    """Every measure by name; in a notebook it shows itself as a table.

    >>> "rms_dbfs" in measures()
    True
    """

    def __init__(self, known: tuple[Measure, ...]) -> None:
        self._known = {each.name: each for each in known}

    def __getitem__(self, name: str) -> Measure:
        if name not in self._known:
            raise GainError(f"{name!r} is not a measure; {nearest(name, self._known)}")
        return self._known[name]

    def __contains__(self, name: object) -> bool:
        return name in self._known

    def __iter__(self) -> Iterator[str]:
        return iter(self._known)

    def __len__(self) -> int:
        return len(self._known)

    def __repr__(self) -> str:
        return "\n".join(f"{each.name:<18} {each.unit or '-':<6} {each.meaning}" for each in self.values())


def _counted(runs_of: Callable[[NDArray[np.floating]], ClippedRuns]) -> Callable[[Audio], Readings]:
    def count(audio: Audio) -> Readings:
        return np.bincount(runs_of(audio.samples).channel, minlength=audio.channels).astype(np.float64)

    return count


_MEASURES = Measures(
    (
        Measure(
            "peak_dbfs",
            "dBFS",
            "The largest sample; 0 dBFS is full scale.",
            lambda audio: peak_dbfs(audio.samples),
        ),
        Measure(
            "rms_dbfs",
            "dBFS",
            "The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS.",
            lambda audio: rms_dbfs(audio.samples),
        ),
        Measure(
            "crest_db",
            "dB",
            "How far the peak stands above the mathematical RMS: a sine 3 dB, a snare near 20 dB.",
            lambda audio: crest_db(audio.samples),
        ),
        Measure(
            "headroom_db",
            "dB",
            "What is left from the sample peak up to full scale.",
            lambda audio: -peak_dbfs(audio.samples),
            worst="lowest",
        ),
        Measure(
            "noise_floor_dbfs",
            "dBFS",
            "The AES17 RMS level of the pauses: the quietest twentieth of the recording.",
            lambda audio: noise_floor_dbfs(audio.samples, audio.rate_hz),
        ),
        Measure(
            "clipped_runs",
            "",
            "How often three neighbouring samples and more stand at full scale.",
            _counted(clipped_runs),
            digits=0,
        ),
        Measure(
            "flat_runs",
            "",
            "How often three neighbouring samples and more stand at the recording's own extreme: clipped before.",
            _counted(flat_runs),
            digits=0,
        ),
    )
)


def measures() -> Measures:
    """Every measure: its name, unit and meaning.

    >>> measures()["crest_db"].unit
    'dB'
    """
    return _MEASURES


def measure(name: str, audio: Audio, *, per_channel: bool = False) -> float | Readings:
    """One number for the recording, the worst channel's; with `per_channel=True` an array `(channels,)`.

    Raises GainError for a name that is not in `measures()`, with the nearest one that is, and for anything but Audio.

    >>> round(measure("peak_dbfs", Audio(np.array([0.0, 0.5]), 48000)), 2)
    -6.02
    """
    chosen = measures()[name]
    if not isinstance(audio, Audio):
        raise GainError(
            f"{name} was asked of {type(audio).__name__}; give Audio: Audio(samples, rate_hz) or read(path)."
        )
    readings = chosen.read(audio)
    if per_channel:
        return readings
    return float(readings.max() if chosen.worst == "highest" else readings.min())
