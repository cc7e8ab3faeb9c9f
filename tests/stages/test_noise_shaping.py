"""Shaped noise of rounding: its spectrum is the filter's, the signal stays, and cutting off runs away nowhere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from gainlib.stages import StoredFile
from gainlib.stages.base import Signal
from gainlib.stages.wordlength import in_shaped_steps, in_steps, rounding_power

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def error():
    """What 16 bits with dither and shaping add to a tone, in steps."""
    tone = 0.1 * np.sin(2 * np.pi * 997 * np.arange(20 * RATE_HZ) / RATE_HZ)[:, None]
    return (in_shaped_steps(tone, 16, RATE_HZ, [1]) - tone)[:, 0] * 2.0**15


@pytest.mark.parametrize("frequency_hz", [100, 1000, 2000, 8000, 12_000, 20_000])
def test_the_spectrum_is_the_filters(error, frequency_hz):
    lines, power = welch(error, RATE_HZ, nperseg=4800)
    # Derived: a dithered error is white, a quarter of a step squared; the zeros lie at 4 kHz, a twelfth of the rate.
    white = 0.25 / (RATE_HZ / 2)
    w, gap = 2 * np.pi * frequency_hz / RATE_HZ, 2 * np.pi / 12
    wanted = white * (2 * np.cos(w) - 2 * np.cos(gap)) ** 2
    near = np.abs(lines - frequency_hz) <= 100
    # 400 averages of 21 lines: 0.05 dB of scatter; the curve bends by less than the rest within 100 Hz.
    assert 10 * np.log10(power[near].mean() / wanted) == pytest.approx(0.0, abs=0.4)


def test_there_is_a_gap_at_4_khz_and_more_noise_in_all(error):
    lines, power = welch(error, RATE_HZ, nperseg=4800)
    assert 10 * np.log10(power[np.abs(lines - 4000) <= 50].mean() / (0.25 / (RATE_HZ / 2))) < -25.0
    # 1 + 4 cos² 30° + 1 = 5: 7.0 dB.
    assert 10 * np.log10((error**2).mean() / 0.25) == pytest.approx(10 * np.log10(5), abs=0.05)
    told = rounding_power(16, dithered=True, shaped_at_hz=RATE_HZ) / rounding_power(16, dithered=True)
    assert told == pytest.approx(5.0)


def test_the_error_does_not_follow_the_signal_with_dither(error):
    tone = np.sin(2 * np.pi * 997 * np.arange(len(error)) / RATE_HZ)
    # 960 000 samples: chance correlation has a standard deviation of 0.001.
    assert abs(np.corrcoef(error, tone)[0, 1]) < 0.005


def test_what_is_over_full_scale_is_cut_and_nothing_runs_away():
    loud = 2.0 * np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ)[:, None]
    stored = in_shaped_steps(loud, 8, RATE_HZ)
    inside = np.abs(loud) < 0.9
    assert stored.min() == -1.0
    assert stored.max() == 1.0 - 2.0**-7
    assert np.abs(stored - loud)[inside].max() < 4 * 2.0**-7


def test_a_file_shapes_where_it_is_asked_to():
    samples = np.random.default_rng(1).uniform(-0.5, 0.5, (4800, 2))
    signal = Signal(samples, RATE_HZ, 0.0, "digital")
    plain = StoredFile("fixed 16", dither=True).process(signal).signal
    shaped = StoredFile("fixed 16", dither=True, noise_shaping=True).process(signal).signal
    assert not np.array_equal(plain.samples, shaped.samples)
    assert shaped.noise_power == pytest.approx(5.0 * plain.noise_power)
    assert np.array_equal(StoredFile("float 32", noise_shaping=True).process(signal).signal.samples,
                          StoredFile("float 32").process(signal).signal.samples)  # fmt: skip
    assert np.array_equal(in_steps(shaped.samples, 16), shaped.samples)  # it is on the steps of 16 bits
