"""The compiled loops against their numpy twins, on the same input."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from gainlib import kernels
from gainlib.kernels import twins

loops = pytest.importorskip("gainlib.kernels.loops", reason="numba is not installed, so only the twins run")

channels = hnp.arrays(
    st.sampled_from([np.float32, np.float64]),
    st.integers(1, 300),
    elements=st.sampled_from([-1.0, -0.5, 0.0, 0.25, 1.0]),
)


@given(channels)
def test_peak_and_square_sum(channel):
    # Every square here is a multiple of 1/16, so the sums are exact and must be the same to the last bit.
    assert loops.peak_and_square_sum(channel) == twins.peak_and_square_sum(channel)


@given(channels, st.integers(1, 5))
def test_runs_beyond(channel, least):
    for compiled, plain in zip(
        loops.runs_beyond(channel, -1.0, 1.0, least), twins.runs_beyond(channel, -1.0, 1.0, least), strict=True
    ):
        assert compiled.dtype == plain.dtype == np.int64
        assert compiled.tolist() == plain.tolist()


@given(channels, st.integers(1, 400))
def test_extremes(channel, columns):
    for compiled, plain in zip(loops.extremes(channel, columns), twins.extremes(channel, columns), strict=True):
        assert compiled.tolist() == plain.tolist()


def test_the_twins_by_hand():
    # Worked on paper: two runs at the top that touch a run at the bottom, which ends the first.
    channel = np.array([1.0, 1.0, -1.0, -1.0, -1.0, 0.0, 1.0])
    starts, lengths = twins.runs_beyond(channel, -1.0, 1.0, 2)
    assert (starts.tolist(), lengths.tolist()) == ([0, 2], [2, 3])
    starts, lengths = twins.runs_beyond(channel, -1.0, 1.0, 1)
    assert (starts.tolist(), lengths.tolist()) == ([0, 2, 6], [2, 3, 1])
    assert twins.peak_and_square_sum(np.array([3.0, -4.0])) == (4.0, 25.0)
    lowest, highest = twins.extremes(np.array([0.0, 2.0, -1.0, 5.0, 4.0]), 2)
    assert (lowest.tolist(), highest.tolist()) == ([0.0, -1.0], [2.0, 5.0])


def test_without_numba_the_twins_run(monkeypatch):
    monkeypatch.setitem(sys.modules, "gainlib.kernels.loops", None)
    monkeypatch.delattr(kernels, "loops", raising=False)
    kernels.working.cache_clear()
    try:
        assert kernels.working() is twins
        assert kernels.peak_and_square_sum(np.array([0.5, -1.0])) == (1.0, 1.25)
    finally:
        kernels.working.cache_clear()
