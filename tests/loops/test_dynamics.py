"""The compiled loops do what the plain ones do, on anything."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from gainlib.loops import dynamics
from gainlib.loops import numpy_dynamics as dynamics_twins

loops = pytest.importorskip("gainlib.loops.numba_dynamics", reason="numba is not installed")

levels = npst.arrays(np.float64, st.integers(1, 400), elements=st.floats(-60, 60, allow_nan=False))
poles = st.floats(0.0, 0.9999)


def test_the_compiled_loops_are_the_ones_that_run() -> None:
    assert dynamics.working_dynamics() is loops


@settings(deadline=None)
@given(npst.arrays(np.float64, st.tuples(st.integers(1, 50), st.integers(1, 4)), elements=st.floats(-1e3, 1e3)))
def test_largest_of_channels(samples: np.ndarray) -> None:
    assert np.array_equal(loops.largest_of_channels(samples), dynamics_twins.largest_of_channels(samples))


@settings(deadline=None)
@given(levels, st.floats(0, 1), st.sampled_from([0.0, 3.0, 12.0]), poles, poles, st.booleans())
def test_smoothed_reduction(
    over: np.ndarray, slope: float, knee_db: float, attack: float, release: float, decoupled: bool
) -> None:
    fast, plain = over.copy(), over.copy()
    fast_state, plain_state = np.zeros(2), np.zeros(2)
    loops.smoothed_reduction(fast, slope, knee_db, attack, release, decoupled, fast_state)
    dynamics_twins.smoothed_reduction(plain, slope, knee_db, attack, release, decoupled, plain_state)
    # 2e-9 dB: a value next to the flush at 1e-9 dB may be flushed on one side only.
    np.testing.assert_allclose(fast, plain, rtol=1e-11, atol=2e-9)
    np.testing.assert_allclose(fast_state, plain_state, rtol=1e-11, atol=2e-9)


@settings(deadline=None)
@given(levels, st.floats(0, 1), poles, poles, st.booleans(), st.integers(1, 399))
def test_blocks_give_the_same_as_the_whole(
    over: np.ndarray, slope: float, attack: float, release: float, decoupled: bool, cut: int
) -> None:
    whole, parts = over.copy(), over.copy()
    loops.smoothed_reduction(whole, slope, 6.0, attack, release, decoupled, np.zeros(2))
    state = np.zeros(2)
    for part in (parts[:cut], parts[cut:]):
        loops.smoothed_reduction(part, slope, 6.0, attack, release, decoupled, state)
    assert np.array_equal(whole, parts)


@settings(deadline=None)
@given(
    npst.arrays(np.float64, st.integers(1, 400), elements=st.floats(1e-3, 1) | st.just(1.0)),
    st.integers(0, 60),
    poles,
)
def test_look_ahead_gain(wanted: np.ndarray, look_ahead: int, release: float) -> None:
    fast = loops.look_ahead_gain(wanted, look_ahead, release)
    plain = dynamics_twins.look_ahead_gain(wanted, look_ahead, release)
    # 1e-9: a value next to the flush at 1e-10 may be flushed on one side only.
    np.testing.assert_allclose(fast, plain, rtol=0, atol=1e-9)
    assert (fast <= wanted).all()
    assert (fast > 0).all()


@settings(deadline=None)
@given(
    npst.arrays(np.float64, st.integers(20, 300), elements=st.floats(-1, 1)),
    npst.arrays(np.float64, st.integers(1, 20), elements=st.floats(-1, 1)),
)
def test_filtered(samples: np.ndarray, taps: np.ndarray) -> None:
    fast = loops.filtered(samples, taps)
    assert len(fast) == len(samples) - len(taps) + 1
    np.testing.assert_allclose(fast, dynamics_twins.filtered(samples, taps), atol=1e-13)


@settings(deadline=None)
@given(st.integers(2, 80), st.randoms(use_true_random=False))
def test_curve_tops(count: int, random: object) -> None:
    draw = np.random.default_rng(random.randrange(2**32))  # type: ignore[attr-defined]
    samples, between = draw.standard_normal(count), draw.standard_normal((3, count - 1))
    fast, plain = np.zeros(count), np.zeros(count)
    loops.curve_tops(samples, between, fast)
    dynamics_twins.curve_tops(samples, between, plain)
    np.testing.assert_allclose(fast, plain, rtol=1e-12)
    assert (fast >= np.abs(samples)).all()


@settings(deadline=None)
@given(npst.arrays(np.float64, st.integers(1, 300), elements=st.floats(-1, 1)), st.floats(-0.99, 0.99))
def test_shelved(samples: np.ndarray, feedback: float) -> None:
    fast, plain, whole = (np.empty(len(samples)) for _ in range(3))
    cut = len(samples) // 2
    fast_state, plain_state = np.zeros(2), np.zeros(2)
    for part in [part for part in (slice(0, cut), slice(cut, None)) if len(samples[part])]:
        loops.shelved(samples[part], 0.7, -0.2, feedback, fast_state, fast[part])
        dynamics_twins.shelved(samples[part], 0.7, -0.2, feedback, plain_state, plain[part])
    loops.shelved(samples, 0.7, -0.2, feedback, np.zeros(2), whole)
    assert np.array_equal(fast, whole)
    np.testing.assert_allclose(fast, plain, atol=1e-12)
    np.testing.assert_allclose(fast_state, plain_state, atol=1e-12)


def test_apply_gain() -> None:
    draw = np.random.default_rng(4)
    for channels in (1, 2, 3):
        samples, gain = draw.standard_normal((50, channels)), draw.random(50)
        fast, plain = np.empty_like(samples), np.empty_like(samples)
        loops.apply_gain(samples, gain, fast)
        dynamics_twins.apply_gain(samples, gain, plain)
        assert np.array_equal(fast, plain)
