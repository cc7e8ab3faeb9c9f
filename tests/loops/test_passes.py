"""The passes over one channel against plain Python on the same input."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from scipy.signal import firwin

from gainlib import loops
from gainlib.loops import passes, windowed_sinc

channels = hnp.arrays(
    st.sampled_from([np.float32, np.float64]),
    st.integers(1, 300),
    elements=st.sampled_from([-1.0, -0.5, 0.0, 0.25, 1.0]),
)


@pytest.fixture(autouse=True, scope="module")
def short_pieces():
    """Pieces of seven samples, so that what is found goes over their edges."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passes, "_PIECE", 7)
        yield


@given(channels)
def test_peak_and_square_sum(channel):
    # Every square here is a multiple of 1/16, so the sums are exact and must be the same to the last bit.
    values = channel.tolist()
    assert loops.peak_and_square_sum(channel) == (max(map(abs, values)), sum(value * value for value in values))


@pytest.mark.parametrize(("half", "edge", "beta"), [(15, 0.5, 11.8), (87, 0.455, 11.8), (83, 0.5, 12.3), (8, 0.9, 3.0)])
def test_a_low_pass_of_windowed_sincs_is_that_of_scipy(half, edge, beta):
    taps = windowed_sinc(np.arange(-half, half + 1.0), half, beta, edge)
    assert taps / taps.sum() == pytest.approx(firwin(2 * half + 1, edge, window=("kaiser", beta)), abs=1e-15)


@given(channels, st.integers(1, 5))
def test_runs_beyond(channel, least):
    starts, lengths = loops.runs_beyond(channel, -1.0, 1.0, least)
    assert starts.dtype == lengths.dtype == np.int64
    found, at = [], 0
    for value, run in itertools.groupby(channel.tolist()):
        length = len(list(run))
        if abs(value) == 1.0 and length >= least:
            found.append((at, length))
        at += length
    assert list(zip(starts.tolist(), lengths.tolist(), strict=True)) == found


@given(channels, st.integers(1, 400))
def test_extremes(channel, columns):
    edges = [column * len(channel) // columns for column in range(columns + 1)]
    parts = [channel[first : max(last, first + 1)] for first, last in itertools.pairwise(edges)]
    lowest, highest = loops.extremes(channel, columns)
    assert lowest.tolist() == [part.min() for part in parts]
    assert highest.tolist() == [part.max() for part in parts]


def test_a_gain_that_channels_share_and_the_largest_of_them():
    draw = np.random.default_rng(4)
    for count in (1, 2, 3):
        samples, gain = draw.standard_normal((50, count)), draw.random(50)
        out = np.empty_like(samples)
        loops.apply_gain(samples, gain, out)
        assert out.tolist() == [
            [value * factor for value in row] for row, factor in zip(samples.tolist(), gain, strict=True)
        ]
        assert loops.largest_of_channels(samples).tolist() == [max(map(abs, row)) for row in samples.tolist()]


def test_the_passes_by_hand():
    # Worked on paper: two runs at the top that touch a run at the bottom, which ends the first.
    channel = np.array([1.0, 1.0, -1.0, -1.0, -1.0, 0.0, 1.0])
    starts, lengths = loops.runs_beyond(channel, -1.0, 1.0, 2)
    assert (starts.tolist(), lengths.tolist()) == ([0, 2], [2, 3])
    starts, lengths = loops.runs_beyond(channel, -1.0, 1.0, 1)
    assert (starts.tolist(), lengths.tolist()) == ([0, 2, 6], [2, 3, 1])
    assert loops.peak_and_square_sum(np.array([3.0, -4.0])) == (4.0, 25.0)
    lowest, highest = loops.extremes(np.array([0.0, 2.0, -1.0, 5.0, 4.0]), 2)
    assert (lowest.tolist(), highest.tolist()) == ([0.0, -1.0], [2.0, 5.0])
