"""Clip gain and rides against arithmetic sample by sample, and the proposed ride against what it is to do."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.stages import ClipGain, Fader, Ride, proposed_ride

RATE_HZ = 1000


def ridden_by_hand(points: list[tuple[float, float]], count: int) -> list[float]:
    """The gain of each sample, one at a time: hold, straight in dB, hold."""
    gains = []
    places = [(round(seconds * RATE_HZ), gain_db) for seconds, gain_db in points]
    for sample in range(count):
        gain_db = places[0][1]
        for (start, start_db), (end, end_db) in itertools.pairwise(places):
            if start <= sample < end:
                gain_db = start_db + (end_db - start_db) * (sample - start) / (end - start)
        if sample >= places[-1][0]:
            gain_db = places[-1][1]
        gains.append(10 ** (gain_db / 20))
    return gains


rides = st.lists(st.tuples(st.integers(0, 400), st.floats(-60, 12)), min_size=1, max_size=6, unique_by=lambda p: p[0])


@settings(max_examples=60, deadline=None)
@given(rides)
def test_a_ride_is_straight_in_db_from_sample_to_sample(signal_of, drawn: list[tuple[int, float]]) -> None:
    points = [(place / RATE_HZ, gain_db) for place, gain_db in sorted(drawn)]
    samples = np.random.default_rng(1).standard_normal((300, 2))
    expected = samples * np.array(ridden_by_hand(points, 300))[:, None]
    for stage in (Ride(points=tuple(points)), Fader(ride=tuple(points))):
        out = stage.process(signal_of(samples, RATE_HZ)).signal.samples
        np.testing.assert_allclose(out, expected, rtol=1e-12)


def test_a_fader_adds_its_ride_to_its_gain(signal_of) -> None:
    samples = np.ones(100)
    out = Fader(gain_db=-6.0, ride=((0.0, -4.0), (0.1, -4.0))).process(signal_of(samples, RATE_HZ)).signal.samples
    np.testing.assert_allclose(out, 10 ** (-10 / 20), rtol=1e-12)


def test_a_ride_has_no_steps(signal_of) -> None:
    # 20 dB in 100 samples: no sample moves by more than 0.2 dB from the one before.
    out = Ride(points=((0.1, 0.0), (0.2, -20.0))).process(signal_of(np.ones(300), RATE_HZ)).signal.samples[:, 0]
    assert np.abs(np.diff(20 * np.log10(out))).max() == pytest.approx(0.2, abs=1e-9)


def test_no_points_pass_every_sample_bit_for_bit(signal_of) -> None:
    signal = signal_of(np.random.default_rng(2).standard_normal(100))
    assert Ride().process(signal).signal is signal
    assert ClipGain().process(signal).signal is signal


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, 300), min_size=2, max_size=8, unique=True),
    st.lists(st.floats(-20, 20), min_size=4, max_size=4),
    st.integers(0, 20),
)
def test_outside_the_regions_nothing_is_touched_and_inside_the_gain_is_full(
    signal_of, edges: list[int], gains_db: list[float], fade: int
) -> None:
    edges = sorted(edges)[: len(edges) // 2 * 2]
    pairs = list(zip(edges[::2], edges[1::2], strict=True))
    regions = tuple((start / RATE_HZ, end / RATE_HZ, gains_db[index]) for index, (start, end) in enumerate(pairs))
    samples = np.random.default_rng(3).standard_normal(300)
    out = ClipGain(regions, fade_ms=fade).process(signal_of(samples, RATE_HZ)).signal.samples[:, 0]
    inside = np.zeros(300, dtype=bool)
    for index, (start, end) in enumerate(pairs):
        inside[start:end] = True
        full = slice(start + fade, max(start + fade, min(end, 300) - fade))
        if end - start > 2 * fade and full.stop > full.start:
            np.testing.assert_allclose(out[full], samples[full] * 10 ** (gains_db[index] / 20), rtol=1e-12)
        # No gain beyond the region's own, whatever the fade.
        ratio = 20 * np.log10(np.abs(out[start:end] / samples[start:end]))
        low, high = sorted((0.0, gains_db[index]))
        assert (ratio >= low - 1e-9).all()
        assert (ratio <= high + 1e-9).all()
    assert np.array_equal(out[~inside], samples[~inside])


def test_a_fade_is_straight_in_db_from_the_edge(signal_of) -> None:
    out = ClipGain(((0.1, 0.2, -12.0),), fade_ms=3.0).process(signal_of(np.ones(300), RATE_HZ)).signal.samples[:, 0]
    level_db = 20 * np.log10(out)
    # By hand: sample 99 is the last untouched one, 103 the first at full gain, four equal steps of 3 dB.
    np.testing.assert_allclose(level_db[98:105], [0, 0, -3, -6, -9, -12, -12], atol=1e-9)
    np.testing.assert_allclose(level_db[195:202], [-12, -12, -9, -6, -3, 0, 0], atol=1e-9)


def test_regions_that_meet_move_from_the_one_gain_to_the_other(signal_of) -> None:
    stage = ClipGain(((0.1, 0.2, -12.0), (0.2, 0.25, -4.0)), fade_ms=3.0)
    level_db = 20 * np.log10(stage.process(signal_of(np.ones(300), RATE_HZ)).signal.samples[:, 0])
    np.testing.assert_allclose(level_db[198:205], [-12, -12, -10, -8, -6, -4, -4], atol=1e-9)


def test_a_gain_for_all_regions_is_added_to_each_and_touches_nothing_else(signal_of) -> None:
    samples = np.ones(1000)
    regions = ((0.1, 0.3, -3.0), (0.5, 0.7, 6.0))
    out = ClipGain(regions, fade_ms=0.0, gain_db=-6.0).process(signal_of(samples, 1000)).signal.samples[:, 0]
    assert out[200] == pytest.approx(10 ** (-9 / 20))
    assert out[600] == pytest.approx(1.0)
    assert (out[[50, 400, 900]] == 1.0).all()
    with pytest.raises(GainError, match="a region of the clip gain has 150 dB and 60 dB for all; together they go"):
        ClipGain(((0.1, 0.3, 150.0),), gain_db=60.0)


def test_a_region_beyond_the_end_is_cut_there(signal_of) -> None:
    out = ClipGain(((0.29, 5.0, -20.0),), fade_ms=0.0).process(signal_of(np.ones(300), RATE_HZ)).signal.samples[:, 0]
    assert np.allclose(out[290:], 0.1)
    later = ClipGain(((2.0, 5.0, -20.0),)).process(signal_of(np.ones(300), RATE_HZ)).signal.samples[:, 0]
    assert (later == 1.0).all()


def test_the_noise_is_ridden_by_the_mean_power_of_the_gain(signal_of) -> None:
    signal = signal_of(np.ones(1000), RATE_HZ, noise_power=1e-6)
    passed = ClipGain(((0.0, 0.5, 20 * math.log10(2)),), fade_ms=0.0).process(signal)
    # Half the time four times the power: (4 + 1) / 2.
    assert passed.signal.noise_power == pytest.approx(2.5e-6)


def phrases(levels_db: list[float], noise: float = 1e-5) -> Audio:
    """Tones of a second at these RMS levels (AES17), half a second of near silence around each."""
    rate_hz = 8000
    draw = np.random.default_rng(4)
    tone = np.sin(2 * np.pi * 440 * np.arange(rate_hz) / rate_hz)
    pause = np.zeros(rate_hz // 2)
    parts = [pause]
    for level_db in levels_db:
        parts += [10 ** (level_db / 20) * tone, pause]
    samples = np.concatenate(parts)
    return Audio(samples + noise * draw.standard_normal(len(samples)), rate_hz, "voice")


def test_the_proposed_ride_evens_the_phrases(signal_of) -> None:
    take = phrases([-20.0, -30.0, -14.0, -26.0])
    ride = proposed_ride(take, -22.0)
    out = ride.process(signal_of(take.samples, 8000)).signal.samples[:, 0]
    for index in range(4):
        middle = out[4000 + 12_000 * index + 400 : 4000 + 12_000 * index + 7600]
        # 0.1 dB: the windows of 20 ms may take a little of the pause in.
        assert 10 * math.log10(2 * np.mean(middle**2)) == pytest.approx(-22.0, abs=0.1)


def test_the_proposed_ride_moves_only_in_the_pauses() -> None:
    points = proposed_ride(phrases([-20.0, -30.0]), -22.0).points
    assert len(points) == 4
    assert points[0][1] == points[1][1]
    assert points[2][1] == points[3][1]
    assert points[0][0] == pytest.approx(0.5, abs=0.03)
    assert points[1][0] == pytest.approx(1.5, abs=0.03)


def test_the_proposed_ride_has_a_limit() -> None:
    gains = {gain_db for _, gain_db in proposed_ride(phrases([-12.0, -36.0]), -22.0, most_db=6.0).points}
    assert gains == {-6.0, 6.0}


def test_a_steady_recording_is_one_phrase_and_silence_is_none() -> None:
    steady = Audio(0.1 * np.sin(np.arange(16_000)), 8000)
    assert len(proposed_ride(steady, -20.0).points) == 2
    with pytest.raises(GainError, match="holds no phrase to ride; it is silent"):
        proposed_ride(Audio(np.zeros(8000), 8000), -20.0)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Ride(points=((1.0, 0.0), (0.5, 0.0))), "points of the ride goes from 1 s to 0.5 s; times must rise"),
        (lambda: Ride(points=((0.0, math.nan),)), "points of the ride holds"),
        (lambda: Ride(points=((-1.0, 0.0),)), "starts at -1 s; times start at 0 s"),
        (lambda: Ride(points=((0.0, 0.0, 0.0),)), r"give \(seconds, gain_db\) in finite numbers"),
        (lambda: Ride(points=3), r"points of the ride holds 3"),
        (lambda: Fader(ride=((0.0, "up"),)), "ride of the fader holds"),
        (lambda: ClipGain(((1.0, 0.5, -3.0),)), "runs from 1 s to 0.5 s; it must end later"),
        (lambda: ClipGain(((0.0, 1.0, -3.0), (0.9, 2.0, 0.0))), "overlap: one ends at 1 s, the next starts at 0.9 s"),
    ],
)
def test_bad_settings_are_refused(make, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        make()
