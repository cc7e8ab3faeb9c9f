"""The loudest stretch: planted in noise, of one recording and of several, with any rate."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.meters.loudest import loudest_start_seconds, loudest_step, powers_in_steps

RATE_HZ = 1000


def noise(seconds, *loud, seed=1, rate_hz=RATE_HZ):
    """Noise that is 20 dB louder in these stretches, each (begin, end) in seconds."""
    samples = 0.01 * np.random.default_rng(seed).standard_normal((round(seconds * rate_hz), 2))
    for begin, end in loud:
        samples[round(begin * rate_hz) : round(end * rate_hz)] *= 10.0
    return Audio(samples, rate_hz)


@pytest.mark.parametrize("begin", [0.0, 41.0, 250.0, 270.0])
def test_a_planted_stretch_is_found_to_a_third_of_a_percent_of_the_length(begin):
    assert loudest_start_seconds([noise(300.0, (begin, begin + 30.0))]) == pytest.approx(begin, abs=300.0 / 300)


def test_two_half_loud_ones_that_overlap_outweigh_a_third_alone():
    first, second = noise(200.0, (50.0, 80.0)), noise(200.0, (50.0, 80.0), (150.0, 180.0), seed=2)
    assert loudest_start_seconds([first, second]) == pytest.approx(50.0, abs=0.5)


def test_rates_and_lengths_may_differ():
    short, long = noise(40.0, (0.0, 40.0), rate_hz=2000), noise(200.0, (10.0, 20.0))
    assert loudest_start_seconds([short, long]) < 10.0


def test_what_is_no_longer_than_the_stretch_begins_at_0():
    assert loudest_start_seconds([noise(30.0, (20.0, 30.0))]) == 0.0
    assert loudest_start_seconds([]) == 0.0


def test_the_stretch_never_reaches_beyond_the_end():
    assert loudest_start_seconds([noise(61.0, (60.0, 61.0))]) <= 31.0


def test_powers_add_up_to_that_of_the_whole():
    recording = noise(7.0)
    assert powers_in_steps(recording, 20).sum() == pytest.approx(np.square(recording.samples).sum())


class Watched(Audio):
    """A recording that says where one looked in it, and perhaps that it seeks slowly."""

    def __init__(self, recording, *, slow):
        super().__init__(recording.samples, recording.rate_hz)
        object.__setattr__(self, "slow", slow)
        object.__setattr__(self, "looks", [])

    @property
    def seeks_slowly(self):
        return self.slow

    def stretches(self, bounds):
        for start, end in bounds:
            self.looks.append(end - start)
            yield self.samples[start:end]


@pytest.mark.parametrize("slow", [False, True])
def test_of_a_long_step_a_few_looks_stand_for_all_and_fewer_where_a_file_seeks_slowly(slow):
    """Steady noise has one power everywhere, so a part of it tells that of 10 s; in closed form 2 * n * 0.01²."""
    recording = Watched(noise(100.0), slow=slow)
    powers = powers_in_steps(recording, 10)
    # Four standard deviations of the mean square of so many samples of two channels.
    seen = 250 if slow else 500
    assert powers == pytest.approx(np.full(10, 2 * 10_000 * 1e-4), rel=4 * np.sqrt(2 / (2 * seen)))
    assert sum(recording.looks) == 10 * seen


def test_a_file_that_seeks_slowly_is_looked_at_in_200_places_at_most_and_a_planted_stretch_is_found_still():
    planted = Watched(noise(600.0, (123.0, 153.0)), slow=True)
    assert loudest_start_seconds([planted]) == pytest.approx(123.0, abs=600.0 / 200)
    assert len(planted.looks) == 200
    assert powers_in_steps(planted, 300).sum() == pytest.approx(powers_in_steps(planted, 200).sum())


def test_of_equal_stretches_the_first_counts_and_a_width_beyond_all_is_all():
    assert loudest_step(np.ones(9), 3) == 0
    assert loudest_step(np.ones(9), 99) == 0
