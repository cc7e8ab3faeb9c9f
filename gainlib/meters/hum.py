"""Mains hum: 50 or 60 Hz and its multiples, found under whatever else is there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_power, db_from_ratio, power_from_db
from gainlib.meters.streaming import Readings
from gainlib.meters.windows import NOBODY_PLAYS_DBFS, WINDOW_SECONDS, WindowMeter

__all__ = ["LOW_END_A_WINDOW", "Hum", "HumSearch", "find_hum", "hum_dbfs", "low_end"]

LOW_END_A_WINDOW = 50
"""So many values of the low end are kept of each window of 50 ms: 1000 a second."""

_FRAME, _HOP = 1000, 500  # values: frames of 1 s, two a second
_LEAST_HUM_SECONDS = 4.0
_LEAST_FRAMES = 7
_TOGETHER = 64
"""So many frames, 32 s, are one passage: within it mains keep their phase to a thirtieth of a hertz."""
_HARMONICS = 8
_DRIFT_HZ, _GRACE_HZ = 0.06, 0.04
_BESIDE = (3, 7)  # Hz away, on either side: what else sounds there at that moment
_OTHERS = np.array([*range(-16, -5), *range(6, 17)])
_ALONE_DB, _TOGETHER_DB, _MOSTLY_DB = 4.6, 2.1, 0.6
"""By how much a line stands over nine tenths of those around it: by itself, beside another, in most passages.
Those around may lie anywhere, as the lines of a beat do: chance alone makes them 2.4 dB higher than the line."""
_SHORT, _SHORT_HOP = 60, 20  # values: the moments within a beat
_SOFTER_DB = 4.5
"""So much less hum may seem to be in the softest moments of each second than in all of it."""
_CONSTANT_DB = 12.0
_WITHIN_DB = 30.0
"""A line that much below the loudest adds nothing to the hum."""
_BELOW_DB = 0.3
_LEAST_DBFS = NOBODY_PLAYS_DBFS - 20.0
_SURE_DB = 3.0
"""What already sounds at a line may take so much from the one that is added."""
_TOP_HZ = 60 * (_HARMONICS - 1) + 16 + _BESIDE[1] + 1


@dataclass(frozen=True)
class Hum:
    """Mains hum: the mains frequency, the harmonics that are there, and their level together, AES17 dBFS."""

    mains_hz: int
    lines_hz: tuple[int, ...]
    level_dbfs: float


@dataclass(frozen=True)
class HumSearch:
    """What a search for mains hum gave: the hum, None for none, and from which level on it would have been told.

    `told_from_dbfs` is of a line of 50 or 60 Hz, whichever is the harder to find there; None where too little sounds
    for an answer.
    """

    hum: Hum | None = None
    told_from_dbfs: float | None = None


def low_end(samples: NDArray[np.floating], width: int) -> NDArray[np.floating]:
    """The low end of one channel at 1000 values a second, from its whole windows of `width` samples.

    >>> low_end(np.ones(4800), 2400).shape
    (100,)
    """
    full, each = len(samples) // width, width // LOW_END_A_WINDOW
    # Times a row of ones: several times as fast as a mean along rows this short.
    ones = np.full(each, 1.0 / each, dtype=samples.dtype)
    parts = samples[: full * width].reshape(full, width)[:, : each * LOW_END_A_WINDOW]
    lowered: NDArray[np.floating] = parts.reshape(full * LOW_END_A_WINDOW, each) @ ones
    return lowered


def hum_dbfs(audio: Audio) -> Readings:
    """The level of each channel's mains hum, AES17 dBFS; -inf where there is none. It wants 4 s.

    >>> seconds = np.arange(5 * 48000) / 48000
    >>> noise = np.random.default_rng(1).uniform(-0.1, 0.1, len(seconds))
    >>> hum = 0.01 * (np.sin(2 * np.pi * 50 * seconds) + np.sin(2 * np.pi * 150 * seconds))
    >>> round(float(hum_dbfs(Audio(noise + hum, 48000))[0]))
    -37
    """
    width = round(WINDOW_SECONDS * audio.rate_hz)
    meter = WindowMeter(audio.rate_hz, audio.channels)
    meter.take(audio.samples)
    found = (
        find_hum(low_end(channel, width), float(active_dbfs)) if width >= LOW_END_A_WINDOW else None
        for channel, active_dbfs in zip(audio.samples.T, meter.active_rms_dbfs(), strict=True)
    )
    hums = (each.hum if each is not None else None for each in found)
    return np.array([-math.inf if each is None else each.level_dbfs for each in hums])


def find_hum(envelope: NDArray[np.floating], active_dbfs: float) -> HumSearch:
    """Mains hum in a recording, from its low end at 1000 values a second, and from which level on it could be told.

    Hum stands still: in frames of 1 s, each weighted by how little else sounds beside its line at that moment, a line
    at 50 or 60 Hz or a multiple keeps its phase through 32 s, so that it adds up where music, also a held note a tenth
    of a hertz away, does not. A line counts that then stands 2.1 dB over nine tenths of what stands still around it, in
    most passages and at one level in all, bar 12 dB. Two lines below the fifth are wanted, or one of the first two that
    stands out by 4.6 dB; and in the softest moments of each second they are no more than 4.5 dB lower, as those of a
    beat that repeats to the sample would be. A tone that is all there is, as of a test, is none. *Common practice*
    (mains hum and its multiples); the method and its bounds are this course's own, and the benchmark of faults prints
    how often they are right.
    """
    top = float(np.abs(envelope).max(initial=0.0))
    if len(envelope) < _LEAST_HUM_SECONDS * 1000 or top == 0.0:
        return HumSearch()
    frames = np.lib.stride_tricks.sliding_window_view(envelope / top, _FRAME)[::_HOP]
    parts = np.array_split(frames, max(1, round(len(frames) / _TOGETHER)))
    found = [(part, each) for part in parts if (each := _standing(part)) is not None]
    if not found:
        return HumSearch()
    evidence, powers, own, drowned, weight, standing = (
        np.stack(each) for each in zip(*(each for _, each in found), strict=True)
    )
    top_db = float(db_from_ratio(top))
    best: Hum | None = None
    told_from_dbfs = -math.inf
    for mains_hz in (50, 60):
        lines = []
        for multiple in range(1, _HARMONICS):
            line_hz = mains_hz * multiple
            others = line_hz + _OTHERS
            others = others[(others >= 10) & (others % 50 > 0) & (others % 60 > 0)]
            heights, beside = evidence[:, multiple - 1, line_hz], standing[:, others]
            out_db = float(db_from_power(heights.sum() / max(np.quantile(beside.sum(axis=0), 0.9), 1e-30)))
            each_db = db_from_power(heights / np.maximum(np.quantile(beside, 0.9, axis=1), 1e-30))
            levels_db = db_from_power(powers[:, multiple - 1, line_hz])
            if (
                out_db >= _TOGETHER_DB
                and np.median(each_db) >= _MOSTLY_DB
                and own[:, multiple - 1, mains_hz // 60].mean() >= 0.7
                and np.ptp(levels_db) <= _CONSTANT_DB
            ):
                lines.append((multiple, out_db, float(np.median(levels_db)) + top_db - _droop_db(line_hz)))
            if multiple == 1:
                # What a line by itself would have to be, for each of what is asked of it above.
                weights = weight[:, line_hz]
                wanted = max(
                    power_from_db(_ALONE_DB) * np.quantile(beside.sum(axis=0), 0.9) / weights.sum(),
                    power_from_db(_MOSTLY_DB) * float(np.median(np.quantile(beside, 0.9, axis=1) / weights)),
                    float(np.quantile(drowned[:, multiple - 1, mains_hz // 60], 0.7)),
                )
                wanted /= (np.hanning(_FRAME).sum() / 2) ** 2
                level_db = float(db_from_power(max(wanted, 1e-30))) + top_db - _droop_db(line_hz)
                told_from_dbfs = max(told_from_dbfs, level_db + _SURE_DB)
        loudest_db = max((level_db for _, _, level_db in lines), default=0.0)
        lines = [each for each in lines if each[2] > loudest_db - _WITHIN_DB]
        if sum(multiple < 5 for multiple, _, _ in lines) >= 2 or any(
            multiple < 3 and out_db >= _ALONE_DB for multiple, out_db, _ in lines
        ):
            level = float(db_from_power(sum(power_from_db(level_db) for _, _, level_db in lines)))
            if level > _LEAST_DBFS and level <= active_dbfs - _BELOW_DB:
                hum = Hum(mains_hz, tuple(mains_hz * multiple for multiple, _, _ in lines), level)
                if best is None or hum.level_dbfs > best.level_dbfs:
                    best = hum
    if best is not None:
        softest = sum(
            power_from_db(top_db - _droop_db(line_hz))
            * float(np.median([_softest(part, line_hz, line_hz // best.mains_hz) for part, _ in found]))
            for line_hz in best.lines_hz
        )
        if softest < power_from_db(best.level_dbfs - _SOFTER_DB):
            best = None
    return HumSearch(best, max(told_from_dbfs, _LEAST_DBFS + _SURE_DB))


def _droop_db(line_hz: float) -> float:
    """What the mean over a millisecond takes from a line."""
    return float(db_from_ratio(np.sinc(line_hz / 1000.0)))


def _softest(frames: NDArray[np.floating], line_hz: int, multiple: int) -> float:
    """A line's power in one passage, against a full-scale sine's, each 60 ms weighted by how little sounds in them.

    Hum is the same between the strokes of a beat; a line of the beat is not there.
    """
    values = frames[::2].ravel().astype(np.float64)  # each frame laps half over the next
    window = np.hanning(_SHORT + 2)[1:-1]
    moments = np.lib.stride_tricks.sliding_window_view(values, _SHORT)[::_SHORT_HOP]
    moments = (moments - moments.mean(axis=1, keepdims=True)) * (window / window.sum())
    turns = np.exp(-2j * np.pi * line_hz / 1000.0 * np.arange(len(values)))
    lines = np.einsum("mn,mn->m", moments, np.lib.stride_tricks.sliding_window_view(turns, _SHORT)[::_SHORT_HOP])
    powers = np.einsum("mn,mn->m", moments, moments)
    sounding = powers > 0.0
    if not sounding.any():
        return 0.0
    powers, lines = powers[sounding], np.where(sounding, lines, 0.0)
    weights = np.zeros(len(lines))
    weights[sounding] = 1.0 / np.maximum(powers, 0.3 * np.quantile(powers, 0.1))
    steady = np.abs(np.fft.fft(weights * lines, 4 * len(lines)))
    off_hz = np.abs(np.fft.fftfreq(4 * len(lines), _SHORT_HOP / 1000.0))
    return float((2.0 * steady[off_hz <= _DRIFT_HZ * multiple + _GRACE_HZ].max() / weights.sum()) ** 2)


def _standing(frames: NDArray[np.floating]) -> tuple[NDArray[np.float64], ...] | None:
    """What stands still in one passage, for each multiple and line of 1 Hz; None where too little sounds.

    How much it is over what would add up by chance, its power against a full-scale sine's, both `(multiples, lines)`,
    within as much drift as that multiple of the mains may have; `(multiples, 2)`, whether the line of 50 and of 60 Hz
    stands where it is and is not the slope of another, and how high it would have to be for that; and each line's
    weight.
    """
    rest = np.count_nonzero(frames.reshape(len(frames), 40, -1).any(axis=2), axis=1) == 40
    if np.count_nonzero(rest) < _LEAST_FRAMES:  # digital silence has no hum and says nothing of it
        return None
    window = np.hanning(_FRAME).astype(np.float32)
    spectra = np.fft.rfft((frames - frames.mean(axis=1, keepdims=True)) * window, axis=1)[:, :_TOP_HZ]
    powers = np.abs(spectra).astype(np.float64) ** 2
    # What sounds beside a line, on the side where that is less: another note may stand on the other.
    first, last = _BESIDE
    sums = np.cumsum(np.pad(powers, ((0, 0), (last + 1, last)), mode="reflect"), axis=1)
    lower, upper = (sums[:, at + last - first :][:, :_TOP_HZ] - sums[:, at:][:, :_TOP_HZ] for at in (0, first + last))
    beside = np.minimum(lower, upper) / (last - first)
    quiet = 0.3 * np.quantile(beside[rest], 0.1, axis=0)
    weights = rest[:, None] / np.maximum(beside, np.maximum(quiet, 1e-12 * beside.max(axis=0) + 1e-30))
    # A line of a whole number of hertz turns by so much from frame to frame.
    turns = np.exp(-2j * np.pi * (_HOP / 1000.0) * (np.arange(len(frames))[:, None] * np.arange(_TOP_HZ) % 1000))
    weighted = (spectra * weights * turns).astype(np.complex64)
    steady = np.abs(np.fft.fft(weighted, 2 * len(frames), axis=0)).astype(np.float64) ** 2
    off_hz = np.abs(np.fft.fftfreq(2 * len(frames), _HOP / 1000.0))
    total = weights.sum(axis=0)
    strongest = steady.max(axis=0) / total**2
    evidence, heights, own, drowned = [], [], [], []
    for multiple in range(1, _HARMONICS):
        highest = steady[off_hz <= _DRIFT_HZ * multiple + _GRACE_HZ].max(axis=0)
        evidence.append(highest / total)
        heights.append(highest / total**2 / (window.sum() / 2) ** 2)
        lines = np.array([50 * multiple, 60 * multiple])
        near_by = strongest[lines + np.array([[-3], [-2], [2], [3]])].max(axis=0)
        here = highest[lines] / total[lines] ** 2
        own.append((here >= 0.9 * strongest[lines]) & (here >= 0.1 * near_by))
        drowned.append(np.maximum(0.9 * strongest[lines], 0.1 * near_by))
    return np.stack(evidence), np.stack(heights), np.stack(own), np.stack(drowned), total, strongest * total
