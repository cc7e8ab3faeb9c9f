"""Noise under sound that never rests: planted white noise is read at its level, notes and pauses are none."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest

from gainlib import GainError, measure
from gainlib.audio import Audio
from gainlib.meters import NoiseUnderSoundMeter, noise_under_sound_dbfs

RATE_HZ = 48_000


@functools.cache
def five_seconds():
    """Three notes of 40 harmonics, struck anew each half second, the higher the sooner gone: never at rest."""
    time = np.arange(5 * RATE_HZ) / RATE_HZ
    since = time % 0.5
    notes = (
        np.sin(2 * np.pi * note * harmonic * time + harmonic**2) * np.exp(-(0.4 + 0.25 * harmonic) * since) / harmonic
        for note in (110.0, 138.6, 164.8)
        for harmonic in range(1, 40)
    )
    return 0.1 * sum(notes)


def chords(seconds=20.0):
    """The chords for so long: in 5 s each harmonic has a whole number of periods, so there they begin again."""
    return np.resize(five_seconds(), round(seconds * RATE_HZ))


def white(level_dbfs, count, seed=1):
    """White noise whose AES17 RMS is a level: its mathematical RMS lies 3.01 dB below (derived)."""
    return 10 ** ((level_dbfs - 3.0103) / 20) * np.random.default_rng(seed).standard_normal(count)


@pytest.mark.parametrize("level", [-70, -50, -30])
@pytest.mark.parametrize("seconds", [5.0, 60.0])
def test_planted_noise_is_read_at_its_level(level, seconds):
    sound = chords(seconds)
    assert noise_under_sound_dbfs(sound + white(level, len(sound)), RATE_HZ)[0] == pytest.approx(level, abs=1.5)


def test_a_channel_has_its_own():
    sound = chords(6.0)
    both = np.stack((sound + white(-40.0, len(sound)), sound + white(-60.0, len(sound), 2)), axis=1)
    assert noise_under_sound_dbfs(both, RATE_HZ) == pytest.approx([-40.0, -60.0], abs=1.5)
    assert measure("noise_under_sound_dbfs", Audio(both, RATE_HZ)) == pytest.approx(-40.0, abs=1.5)


@pytest.mark.parametrize("rate_hz", [100, 3000, RATE_HZ])
def test_silence_and_steady_tones_hold_none(rate_hz):
    time = np.arange(6 * rate_hz) / rate_hz
    tone = np.sin(2 * np.pi * 0.11 * rate_hz * time)
    assert noise_under_sound_dbfs(0.0 * tone, rate_hz).tolist() == [-math.inf]
    # What the rounding of the spectra leaves lies below the least of 16 bits, -98 dBFS.
    assert noise_under_sound_dbfs(0.25 * tone, rate_hz)[0] < -98.0


def test_blocks_of_any_size_read_what_the_whole_reads():
    sound = chords(60.0) + white(-50.0, 60 * RATE_HZ)  # 1200 windows: more than are kept
    meter, rng = NoiseUnderSoundMeter(RATE_HZ, 1), np.random.default_rng(3)
    for part in np.split(sound, np.sort(rng.integers(0, len(sound), 40))):
        meter.push(part)
    assert meter.noise_under_sound_dbfs[0] == pytest.approx(noise_under_sound_dbfs(sound, RATE_HZ)[0], abs=1e-9)


def test_what_it_cannot_read_is_said():
    with pytest.raises(GainError, match="rate_hz is 0; it must be 1 Hz or above"):
        noise_under_sound_dbfs(np.zeros(48), 0)
    with pytest.raises(GainError, match=r"noise_under_sound_dbfs needs 4 s or more; this recording lasts 1 s\."):
        measure("noise_under_sound_dbfs", Audio(white(-40.0, RATE_HZ), RATE_HZ))


@pytest.mark.parametrize(("windows", "looks"), [(79, 0), (800, 800), (801, 401), (1600, 800), (5000, 625)])
def test_who_knows_how_long_it_is_looks_at_no_window_in_vain_and_reads_the_same(monkeypatch, windows, looks):
    """All windows, or every second, or every eighth, as far as 800: below 80 none, since of so few nothing is told."""
    sound = np.random.default_rng(4).standard_normal((windows * 400 + 7, 2)) * [0.01, 0.02]
    looked_at, rfft = [], np.fft.rfft

    def counted(lines, **given):
        looked_at.append(lines.shape[1])
        return rfft(lines, **given)

    monkeypatch.setattr(np.fft, "rfft", counted)
    readings = []
    for expected in (len(sound), 0):
        meter = NoiseUnderSoundMeter(8_000, 2)
        meter.expect(expected)
        for start in range(0, len(sound), 30_000):
            meter.push(sound[start : start + 30_000])
        readings.append(meter.noise_under_sound_dbfs)
        assert sum(looked_at) == looks or not expected
    assert np.array_equal(*readings)
    assert np.isfinite(readings[0]).all() == (windows >= 80)
