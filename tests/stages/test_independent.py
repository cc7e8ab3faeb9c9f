"""Against another library's stages, written by others in C++; where it means something else, what and why.

Its compressor has a hard knee and smooths the level, not the gain in dB, so that only steady levels can be compared
(see the compressor's tests); its attack is the time to 99.8 %, 2 pi of the time constants that are used here. Its
limiter is two compressors and a clip at full scale, and holds no ceiling below that.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.stages import Compressor, Limiter, Saturation, Trim

other = pytest.importorskip("pedalboard", reason="the C++ effects library is not installed")

RATE_HZ = 48_000


def theirs(effect, samples: np.ndarray) -> np.ndarray:
    return effect(np.ascontiguousarray(samples[None], dtype=np.float32), RATE_HZ, reset=True)[0].astype(np.float64)


@settings(max_examples=30, deadline=None)
@given(st.floats(-60, 24), st.integers(0, 2**31))
def test_gain(signal_of, gain_db: float, seed: int) -> None:
    samples = np.random.default_rng(seed).uniform(-1, 1, 500)
    mine = Trim(gain_db).process(signal_of(samples)).signal.samples[:, 0]
    # Single precision: 2^-24 each for sample, gain and product, and for 10^(dB/20) an exponent rounded to 2^-24, which
    # counts ln 10 x 60/20 at the far end: 6e-7 in all.
    np.testing.assert_allclose(theirs(other.Gain(gain_db), samples), mine, rtol=6e-7, atol=1e-9)


@pytest.mark.parametrize("bend_db", [0.0, 6.0, 12.0])
def test_the_saturation_curve(bend_db: float) -> None:
    # Its distortion is tanh(k x) with k in dB; the curve here is the same divided by tanh k.
    bend = 10 ** (bend_db / 20)
    samples = np.linspace(-1, 1, 1001)
    stage = Saturation(20 * math.log10(bend / math.tanh(bend)))
    assert stage.bend == pytest.approx(bend, rel=1e-9)
    np.testing.assert_allclose(
        theirs(other.Distortion(bend_db), samples), stage.curve(samples) * math.tanh(bend), atol=3e-7
    )


@settings(max_examples=30, deadline=None)
@given(st.floats(-40, -3), st.sampled_from([1.0, 1.5, 2.0, 4.0, 10.0, 20.0]), st.floats(-50, 0))
def test_the_static_curve_of_the_compressor(threshold_db: float, ratio: float, level_db: float) -> None:
    steady = np.full(4800, 10 ** (level_db / 20))
    its_db = 20 * math.log10(theirs(other.Compressor(threshold_db, ratio, 0.01, 1.0), steady)[-1])
    assert Compressor(threshold_db, ratio, 0.0).curve_db(level_db) == pytest.approx(its_db, abs=0.005)


def test_the_attack_conventions_differ_by_2_pi(signal_of) -> None:
    # A step into 4:1: here 63 % of the way in dB after the attack time; there the level itself is smoothed and has
    # gone 63 % of its way after attack / 2 pi. Both say what they mean; the figures are not comparable as they stand.
    step = np.concatenate((np.full(4800, 1e-3), np.full(4800, 10 ** (-8 / 20))))
    mine = Compressor(-20.0, 4.0, 0.0, 10.0, 100.0).process(signal_of(step)).reduction_db
    assert mine is not None
    its = -20 * np.log10(theirs(other.Compressor(-20.0, 4.0, 10.0, 100.0), step) / step)
    mine_ms, its_ms = (np.argmax(trace > 9.0 * (1 - math.exp(-1))) / 48 - 100 for trace in (mine[:, 0], its))
    assert mine_ms == pytest.approx(10.0, abs=0.05)
    assert its_ms < 3.0


def test_its_limiter_is_no_ceiling_and_this_one_is(signal_of) -> None:
    loud = 4.0 * np.random.default_rng(1).standard_normal(RATE_HZ)
    assert np.abs(theirs(other.Limiter(-6.0, 100.0), loud)).max() > 10 ** (-6 / 20)
    assert np.abs(Limiter(-6.0).process(signal_of(loud)).signal.samples).max() <= 10 ** (-6 / 20)
