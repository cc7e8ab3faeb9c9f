"""Where somebody plays and where not: phrases between pauses, and their levels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from gainlib.audio import checked_samples
from gainlib.decibels import power_from_rms_dbfs
from gainlib.meters.levels import LevelMeter
from gainlib.meters.streaming import read_whole
from gainlib.meters.windows import WindowMeter, window_powers

__all__ = ["Phrase", "find_phrases"]

_SOUND_SECONDS = 0.1
_PHRASE_SECONDS = 0.2
_PAUSE_SECONDS = 0.22


@dataclass(frozen=True)
class Phrase:
    """One phrase: when it starts and ends, and its sample peak and AES17 RMS, of several channels the highest.

    `find_phrases` gives them.

    Attributes
    ----------
    start_seconds, end_seconds : float
        From the start of the recording.
    peak_dbfs : float
        The sample peak, dBFS.
    rms_dbfs : float
        The RMS, AES17 dBFS.

    Examples
    --------
    >>> Phrase(0.5, 2.0, -6.0, -18.0).seconds
    1.5
    """

    start_seconds: float
    end_seconds: float
    peak_dbfs: float
    rms_dbfs: float

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end_seconds - self.start_seconds


def find_phrases(samples: ArrayLike, rate_hz: int) -> tuple[Phrase, ...]:
    """The phrases of a take in order, cut at its pauses, each with its levels.

    Sound is where windows of 10 ms lie above a threshold half-way, in dB, between the noise floor and the level while
    somebody plays, at least 10 and at most 30 dB below the latter: so a take without pauses is one phrase, and one with
    digital silence keeps its soft endings. Sound shorter than 0.1 s is a breath or a click and belongs to the pause. A
    pause of 0.22 s or more parts two phrases: longer than a consonant holds the breath, shorter than it takes to draw
    one between two lines. What lasts less than 0.2 s in all is no phrase. Of several channels the loudest counts.
    Silence has no phrases.

    Parameters
    ----------
    samples : ArrayLike
        Float samples, `(n,)` or `(n, channels)`.
    rate_hz : int
        Their rate, 1 Hz or above.

    Returns
    -------
    tuple of Phrase
        In the order of time; none for silence.

    Raises
    ------
    GainError
        For samples that are empty, not floats or not finite, and for a rate below 1 Hz.

    References
    ----------
    The rule is this course's own. That stops within words hardly last 0.2 s and pauses for breath hardly less than
    0.25 s is what phonetics counts with: *from memory*, Goldman-Eisler, Psycholinguistics (1968).

    Examples
    --------
    >>> tone = 0.1 * np.sin(np.arange(48000) / 10)
    >>> [round(phrase.seconds, 2) for phrase in find_phrases(np.concatenate([tone, np.zeros(24000), tone]), 48000)]
    [1.0, 1.0]
    """
    checked = checked_samples(samples, "samples")
    meter = WindowMeter(rate_hz, checked.shape[1])
    meter.take(checked)
    active_dbfs, floor_dbfs = float(meter.active_rms_dbfs().max()), float(meter.noise_floor_dbfs.max())
    if active_dbfs == -math.inf:
        return ()
    threshold_dbfs = active_dbfs - min(max((active_dbfs - floor_dbfs) / 2.0, 10.0), 30.0)
    width = min(max(1, round(0.01 * rate_hz)), len(checked))
    playing = window_powers(checked, rate_hz, 0.01).max(axis=1) > power_from_rms_dbfs(threshold_dbfs)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], playing, [False])))).reshape(-1, 2) * width
    sounds = edges[edges[:, 1] - edges[:, 0] >= _SOUND_SECONDS * rate_hz]
    parted = sounds[1:, 0] - sounds[:-1, 1] >= _PAUSE_SECONDS * rate_hz
    phrases = []
    for part in np.split(sounds, np.flatnonzero(parted) + 1) if len(sounds) else ():
        start, end = int(part[0, 0]), int(part[-1, 1])
        if end - start < _PHRASE_SECONDS * rate_hz:
            continue
        levels = read_whole(LevelMeter, checked[start:end])
        highest = float(levels.peak_dbfs.max()), float(levels.rms_dbfs.max())
        phrases.append(Phrase(start / rate_hz, end / rate_hz, *highest))
    return tuple(phrases)
