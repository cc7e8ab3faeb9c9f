"""At which lag two signals are most alike: planted lags, and numpy's own correlation, which is the plain definition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainlib.surveys.lags import cross_correlation, find_lag, rival, spectra_of


def found(one, other, most):
    count = min(len(one), len(other))
    return find_lag(spectra_of(one, count), spectra_of(other, count), most)


@pytest.mark.parametrize("count", [3000, 8000, 20_000])
@pytest.mark.parametrize("later", [-200, -1, 0, 7, 200])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_planted_lag_is_found_with_its_sign(count, later, sign):
    noise = np.random.default_rng(count).standard_normal(count + 400)
    lag = found(noise[200 : 200 + count], sign * noise[200 - later : 200 - later + count], 200)
    assert lag.later == later
    # What a block of 8000 and its lag do not share is missing, at most 200 of 3000 values here.
    assert lag.correlation == pytest.approx(sign, abs=1.5 * abs(later) / min(count, 8000) + 1e-3)
    assert lag.rival < 0.2
    assert lag.opposite < 0.2


def test_a_held_note_has_a_rival_a_period_away():
    note = np.sin(2 * np.pi * np.arange(20_000) / 50)
    lag = found(note, note, 200)
    assert (lag.later, round(lag.correlation, 3)) == (0, 1.0)
    assert lag.rival > 0.99
    assert lag.opposite > 0.99  # half a period away


def test_what_stands_still_is_like_nothing():
    assert found(np.full(9000, 0.5), np.random.default_rng(1).standard_normal(9000), 30).correlation == 0.0


@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.integers(1, 60), st.integers(-20, 0), st.integers(0, 20))
def test_cross_correlation_is_numpys(seed, length, another, first, last):
    rng = np.random.default_rng(seed)
    one, other = rng.standard_normal(length), rng.standard_normal(another)
    size = length + another + 40
    plain = np.correlate(np.pad(other, (length + 20, length + 20)), one, "valid")  # lags from -length - 20 on
    wanted = plain[length + 20 + first : length + 20 + last + 1]
    spectra = [np.fft.rfft(each, size) for each in (one, other)]
    assert cross_correlation(*spectra, size, first, last) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize(
    ("heights", "at", "second"),
    [
        ([0.1, 0.5, 1.0, 0.5, 0.1], 2, 0.0),
        ([0.9, 0.5, 1.0, 0.5, 0.6], 2, 0.9),
        ([1.0, 1.0, 0.5, 0.7], 0, 0.7),
        ([1.0], 0, 0.0),
    ],
)
def test_a_rival_stands_beyond_the_slopes(heights, at, second):
    assert rival(np.array(heights), at) == second
