"""The delay: later by whole samples, the same length, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.errors import GainError
from gainlib.stages import Delay


@pytest.mark.parametrize("late", [0, 1, 48, 1000, 5000])
def test_it_is_later_by_so_many_samples_and_keeps_its_length(signal_of, late: int) -> None:
    samples = np.random.default_rng(1).uniform(-0.9, 0.9, (1000, 2))
    out = Delay(late).process(signal_of(samples, noise_power=1e-9)).signal
    assert out.samples.shape == samples.shape
    assert out.noise_power == 1e-9
    assert np.array_equal(out.samples, np.vstack([np.zeros((late, 2)), samples])[: len(samples)])


def test_with_one_that_is_not_late_the_first_hole_lies_at_1_over_2_t(signal_of) -> None:
    """*Derived*: 1 + exp(-i w t) is zero where w t is pi, so at 500 Hz for 48 samples of 48 000."""
    count = np.arange(48_000) / 48_000
    for frequency_hz, gain in ((500, 0.0), (1000, 2.0), (1500, 0.0), (250, np.sqrt(2.0))):
        tone = np.sin(2 * np.pi * frequency_hz * count)[:, np.newaxis]
        both = (tone + Delay(48).process(signal_of(tone)).signal.samples)[2400:]
        assert np.sqrt(2 * np.mean(both**2)) == pytest.approx(gain, abs=1e-9)


@pytest.mark.parametrize("given", [0.5, -1, float("nan"), float("inf"), True, "3"])
def test_what_is_no_number_of_samples_is_refused(given) -> None:
    with pytest.raises(GainError, match="delay_samples of the delay is"):
        Delay(given)
