"""The compiled loops of the meters against their plain twins, and the meters without numba."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib import loops as kernels
from gainlib.loops import numpy_loops as twins
from gainlib.meters import k_weighting, loudness_lufs, ppm, true_peak_dbtp, vu
from gainlib.meters.true_peak import MIDWAY, QUARTERS

loops = pytest.importorskip("gainlib.loops.numba_loops", reason="numba is not installed")

seeds = st.integers(0, 999)
dtypes = st.sampled_from([np.float32, np.float64])


def take_of(seed, count, dtype):
    rng = np.random.default_rng(seed)
    return kernels.laid_out((rng.standard_normal((count, 2)) * 10 ** rng.uniform(-4, 0)).astype(dtype))


@settings(max_examples=40)
@given(seeds, st.integers(1, 3_000), dtypes)
def test_weighted_cell_sums(seed, count, dtype):
    take = take_of(seed, count, dtype)
    ends = np.unique(np.random.default_rng(seed).integers(1, count + 1, 5))
    state = np.random.default_rng(seed).standard_normal(7) * 0.1
    state[6] = abs(state[6])
    states = state.copy(), state.copy()
    one, other = (
        module.weighted_cell_sums(take, 1, k_weighting(48_000), each, ends)
        for module, each in zip((loops, twins), states, strict=True)
    )
    # The twin differences a running total; both round at some 1e-16 of it a sample.
    assert one == pytest.approx(other, rel=1e-9, abs=1e-9)
    assert states[0] == pytest.approx(states[1], rel=1e-9, abs=1e-9)


@settings(max_examples=40)
@given(seeds, st.integers(1, 3_000), dtypes)
def test_interpolated_peak(seed, count, dtype):
    take = take_of(seed, count, dtype)
    if seed % 2:
        # Passages of very different level: the loop passes over what cannot hold the top, the twin over nothing.
        gains = np.repeat(10 ** np.random.default_rng(seed).uniform(-2, 0, count // 400 + 1), 400)[:count, None]
        take = kernels.laid_out((take * gains).astype(dtype))
    one, other = (
        module.interpolated_peak(take, 0, -34, count + 36, 0.0, QUARTERS, MIDWAY) for module in (loops, twins)
    )
    # The loop works in single precision between the samples: 64 products of 2^-24 each, less than 1e-5.
    assert one == pytest.approx(other, rel=1e-5)


@settings(max_examples=40)
@given(seeds, st.integers(1, 3_000), dtypes)
def test_needle_and_detector(seed, count, dtype):
    take = take_of(seed, count, dtype)
    ends = np.unique(np.random.default_rng(seed).integers(1, count + 1, 5))
    step = np.array([[0.999, 1e-5], [-0.02, 0.99]])
    states = np.full(3, 0.01), np.full(3, 0.01)
    found = [module.needle(take, 0, step, each, ends) for module, each in zip((loops, twins), states, strict=True)]
    assert np.concatenate(found[0]) == pytest.approx(np.concatenate(found[1]), rel=1e-12, abs=1e-15)
    assert states[0] == pytest.approx(states[1], rel=1e-12, abs=1e-15)
    charge, hold = np.array([0.03, 0.005]), np.array([0.9999, 0.999])
    states = np.full(3, 0.01), np.full(3, 0.01)
    found = [
        module.detector(take, 0, charge, hold, each, ends) for module, each in zip((loops, twins), states, strict=True)
    ]
    assert np.concatenate(found[0]) == pytest.approx(np.concatenate(found[1]), rel=1e-12, abs=1e-15)
    assert states[0] == pytest.approx(states[1], rel=1e-12, abs=1e-15)


def test_the_meters_read_the_same_without_numba(monkeypatch):
    take = take_of(7, 30_000, np.float64)

    def readings():
        return [
            loudness_lufs(take, 48_000),
            *true_peak_dbtp(take),
            *vu(take, 48_000).highest_dbfs,
            *ppm(take, 48_000, "II").highest_dbfs,
        ]

    compiled = readings()
    monkeypatch.setattr(kernels, "working", lambda: twins)
    assert readings() == pytest.approx(compiled, abs=1e-4)


def test_silence_after_sound_leaves_no_denormal_numbers():
    # A filter that rings on for ever would end in numbers that cost a hundred times as much.
    state = np.zeros(7)
    take = kernels.laid_out(np.concatenate((np.ones((480, 1)), np.zeros((480_000, 1)))))
    loops.weighted_cell_sums(take, 0, k_weighting(48_000), state, np.arange(480, len(take) + 1, 480))
    assert not state.any()


@settings(max_examples=40)
@given(seeds, st.integers(1, 3_000), dtypes, st.floats(0.01, 1.0), st.sampled_from([1e-7, 1e-3, 0.1]))
def test_crests(seed, count, dtype, clip, relative):
    take = np.clip(take_of(seed, count, dtype)[:, 1], -np.inf, dtype(clip))
    found = [module.crests(take, 0.5 * float(take.max()), relative, 1e-6) for module in (loops, twins)]
    for one, other in zip(*found, strict=True):
        assert np.array_equal(one, other)
