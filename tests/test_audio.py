"""Samples with their rate: their shape, what is refused, parts, tones."""

from __future__ import annotations

import gc
import re
import weakref

import numpy as np
import pytest

from gainlib.audio import Audio, tone
from gainlib.errors import GainError

RATE_HZ = 48_000


def noise(frames=4800, channels=2, peak=0.5):
    return peak * np.random.default_rng(3).uniform(-1, 1, (frames, channels))


def test_audio_is_channels_beside_channels_and_read_only():
    audio = Audio(np.zeros(10), RATE_HZ)
    assert audio.samples.shape == (10, 1)
    with pytest.raises(ValueError, match="read-only"):
        audio.samples[0] = 1.0
    assert Audio(np.zeros((10, 2), dtype=np.float32), RATE_HZ).samples.dtype == np.float32


def test_two_recordings_are_equal_by_their_samples_and_rate():
    one, same = Audio(np.arange(4) / 8, RATE_HZ, "one"), Audio(np.arange(4) / 8, RATE_HZ, "same")
    assert one == same
    assert hash(one) == hash(same)
    assert one != Audio(np.arange(4) / 8, 44_100)
    assert one != Audio(np.arange(5) / 8, RATE_HZ)
    assert one != "one"


def test_the_given_array_itself_stays_writable():
    mine = np.zeros(10)
    Audio(mine, RATE_HZ)
    mine[0] = 1.0
    assert mine[0] == 1.0


@pytest.mark.parametrize(
    ("samples", "rate_hz", "sentence"),
    [
        (np.zeros(0), 48000, "samples is empty; a recording needs at least one sample."),
        (np.zeros((4, 0)), 48000, "samples has zero channels; a recording needs at least one."),
        (np.zeros((2, 2, 2)), 48000, r"samples has 3 dimensions; give (n,) for mono or (n, channels)."),
        (np.zeros(4, dtype=np.int16), 48000, "samples holds int16 values; give float samples, full scale ±1.0."),
        (np.array([0.0, np.nan]), 48000, "samples holds nan at sample 1, channel 1; every sample must be a number."),
        (np.array([[0.0, np.inf]]), 48000, "samples holds inf at sample 0, channel 2; every sample must be a number."),
        (np.zeros(4), 0, "rate_hz is 0; it must be a whole number of samples a second, 1 or above."),
        (np.zeros(4), 44100.5, "rate_hz is 44100.5; it must be a whole number of samples a second, 1 or above."),
    ],
)
def test_samples_that_cannot_be_are_refused(samples, rate_hz, sentence):
    with pytest.raises(GainError, match=f"^{re.escape(sentence)}$"):
        Audio(samples, rate_hz)


def test_a_part_is_cut_to_the_sample():
    audio = Audio(np.arange(100) / 100, 100)
    assert audio.between(0.25, 0.5).samples[:, 0].tolist() == [each / 100 for each in range(25, 50)]
    assert audio.between(0, audio.seconds).samples.shape == (100, 1)
    with pytest.raises(
        GainError, match="the part from 0.5 s to 2 s was asked for; this recording runs from 0 s to 1 s"
    ):
        audio.between(0.5, 2.0)


# 16- and 24-bit codes are multiples of a step, so a file must give back exactly what it was given.
def test_a_short_part_does_not_hold_on_to_the_whole_recording():
    whole = Audio(np.linspace(-1.0, 1.0, 48_000), 48_000)
    part = whole.between(0.25, 0.5)
    assert np.array_equal(part.samples, whole.samples[12_000:24_000])
    held = weakref.ref(whole.samples.base)
    del whole
    gc.collect()
    assert held() is None


def test_a_tone_has_its_level_its_frequency_and_begins_at_zero():
    made = tone(-20.0, 1000, seconds=0.5, rate_hz=RATE_HZ)
    assert (made.samples.shape, made.rate_hz) == ((24_000, 1), RATE_HZ)
    assert made.samples[0, 0] == 0.0
    assert made.samples.max() == pytest.approx(0.1)  # -20 dB is a tenth
    assert made.samples[12, 0] == pytest.approx(0.1)  # a quarter of a millisecond: the first top
    rising = (made.samples[:-1, 0] < 0) & (made.samples[1:, 0] >= 0)
    assert rising.sum() in (499, 500)


@pytest.mark.parametrize(
    ("level_dbfs", "frequency_hz", "seconds", "rate_hz", "told"),
    [
        (0.1, 1000, 1.0, RATE_HZ, "level_dbfs is 0.1; it must be from -200 to 0"),
        (float("nan"), 1000, 1.0, RATE_HZ, "level_dbfs is nan"),
        (-20.0, 24_000, 1.0, RATE_HZ, "frequency_hz is 24000; it must be above 0 and below half"),
        (-20.0, 0, 1.0, RATE_HZ, "frequency_hz is 0;"),
        (-20.0, 1000, 0.0, RATE_HZ, "seconds is 0.0; it must hold one sample"),
        (-20.0, 1000, 601.0, RATE_HZ, "seconds is 601.0;"),
        (-20.0, 1000, 1.0, 0, "rate_hz is 0; it must be a whole number"),
    ],
)
def test_a_tone_that_cannot_be_is_told(level_dbfs, frequency_hz, seconds, rate_hz, told):
    with pytest.raises(GainError, match=re.escape(told)):
        tone(level_dbfs, frequency_hz, seconds=seconds, rate_hz=rate_hz)
