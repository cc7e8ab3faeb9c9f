"""What became of a recording: planted changes, each known to the sample, and copies in which nothing changed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import resample_poly

from gainlib.surveys.likeness import find_likeness
from gainlib.surveys.stretches import Stretches

RATE_HZ = 48_000


def late(samples, count):
    return np.vstack((np.zeros((count, samples.shape[1])), samples))


def in_24_bits(samples):
    return np.round(samples * 2**23) / 2**23


@pytest.fixture(scope="module")
def take(making):
    """Five seconds in stereo: bursts of noise, no two alike, over a little hiss."""
    rng = np.random.default_rng(1)
    bursts = making.noise(1, 5.0, channels=2)
    bursts *= np.interp(np.arange(len(bursts)), np.arange(25) * 12_000, rng.random(25))[:, None]
    return in_24_bits(bursts + 1e-4 * rng.standard_normal(bursts.shape))


@pytest.fixture
def likeness(tmp_path, making, take):
    """How this take differs from what is made of it."""

    def found(changed, before=take, rate_hz=RATE_HZ, subtype="PCM_24", **settings):
        one = making.save(tmp_path / "before.wav", before)
        other = making.save(tmp_path / "after.wav", changed, rate_hz=rate_hz, subtype=subtype)
        return find_likeness(one, other, rate_hz, changed.shape[1], **settings)

    return found


@pytest.mark.parametrize("count", [1, 37, 1000, 48_000])
def test_a_shift_is_told_to_the_sample(likeness, take, count):
    found = likeness(late(take, count))
    assert (found.later, found.null_db, found.passages) == (count, -math.inf, ())
    early = likeness(take, late(take, count))
    assert (early.later, early.null_db, early.passages) == (-count, -math.inf, ())


@pytest.mark.parametrize(("gain_db", "left_db"), [(-0.1, -110.0), (-6.0, -100.0)])
def test_a_gain_is_told_and_its_rounding_is_no_change(likeness, take, gain_db, left_db):
    found = likeness(take * 10 ** (gain_db / 20))
    assert found.gains_db == pytest.approx((gain_db, gain_db), abs=1e-3)
    assert (found.later, found.turned, found.swapped, found.passages) == (0, (False, False), False, ())
    assert found.null_db < left_db


def test_polarity_and_sides_and_all_at_once(likeness, take):
    assert likeness(-take).turned == (True, True)
    assert likeness(take * [1.0, -1.0]).turned == (False, True)
    assert likeness(take * [1.0, 0.5]).gains_db == pytest.approx((0.0, -6.0206), abs=1e-3)
    swapped = likeness(take[:, ::-1])
    assert (swapped.swapped, swapped.null_db, swapped.same) == (True, -math.inf, False)
    found = likeness(-0.5 * late(take, 37)[:, ::-1])
    assert (found.later, found.swapped, found.turned) == (37, True, (True, True))
    assert found.gains_db == pytest.approx((-6.0206, -6.0206), abs=1e-3)


def test_a_passage_is_told_to_the_sample(likeness, take, making):
    changed = take.copy()
    changed[80_000:130_000] = making.noise(7, 50_000 / RATE_HZ + 0.5, channels=2)[:50_000]
    changed[180_123:180_603] = 0.0
    changed[230_000] += 0.25
    found = likeness(changed, apart_seconds=0.5)
    assert [(each.start, each.end, each.what) for each in found.passages] == [
        (80_000, 130_000, "other"),
        (180_123, 180_603, "gone"),
        (230_000, 230_001, "other"),
    ]
    assert found.null_db == -math.inf
    assert [each.what for each in likeness(take, changed, apart_seconds=0.5).passages] == ["other", "added", "other"]
    # What lies nearer to each other is one passage.
    assert [each.start for each in likeness(changed, apart_seconds=5.0).passages] == [80_000]


def test_a_passage_at_another_level_or_from_elsewhere(likeness, take):
    louder = take.copy()
    louder[96_000:192_000] *= 10 ** (-3 / 20)
    (passage,) = likeness(louder).passages
    assert (passage.what, passage.start, passage.end) == ("level", 96_000, 192_000)
    assert passage.gain_db == pytest.approx(-3.0, abs=0.01)
    inserted = np.vstack((take[:120_000], np.zeros((24_000, 2)), take[120_000:]))
    found = likeness(inserted)
    assert [each.what for each in found.passages] == ["moved"]
    assert sorted((found.later, found.passages[0].later)) == [0, 24_000]


def test_16_bits_of_24_are_no_other_sound(likeness, take):
    found = likeness(np.round(take * 2**15).astype(np.int16), subtype="PCM_16")
    assert (found.same, found.passages, found.moved) == (False, (), False)
    # The rounding of 16 bits has 1/12 of a step squared: -101 dBFS of power against the take's own.
    expected = 10 * np.log10((2.0**-15) ** 2 / 12 / np.mean(take**2))
    assert found.null_db == pytest.approx(expected, abs=0.3)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_another_rate_is_no_other_sound(likeness, take, rate_hz):
    shared = math.gcd(rate_hz, RATE_HZ)
    found = likeness(resample_poly(take, rate_hz // shared, RATE_HZ // shared, axis=0), rate_hz=rate_hz)
    assert (found.same, found.later, found.passages, found.other, found.all_through) == (False, 0, (), "", False)
    assert found.gains_db == pytest.approx((0.0, 0.0), abs=0.01)
    assert found.null_db < -40.0


def test_mono_of_stereo_and_stereo_of_mono(likeness, take):
    mono = take.mean(axis=1, keepdims=True)
    assert likeness(in_24_bits(mono)).null_db < -100.0
    wide = likeness(np.repeat(take[:, :1], 2, axis=1), take[:, :1])
    assert (wide.null_db, wide.swapped, wide.passages) == (-math.inf, False, ())


def test_another_sound_silence_and_what_repeats_itself(likeness, take, making):
    assert "another sound" in likeness(making.noise(5, 5.0, channels=2)).other
    assert likeness(np.zeros_like(take)).other == "it is silent now"
    assert likeness(take, np.zeros_like(take)).other == "it was silent before"
    assert likeness(np.zeros_like(take), np.zeros_like(take)).same
    echo = take + 0.7 * late(take, 4)[:-4]
    assert likeness(echo).all_through
    # Two takes of one held note differ by their hiss; a period on they are as like.
    rng = np.random.default_rng(3)
    held = making.tone(3.0, 0.25, 55.0)
    one, other = (in_24_bits(held + 0.003 * rng.standard_normal(held.shape)) for _ in range(2))
    assert "repeats itself" in likeness(late(other, 300)[: len(one)], one).other


@pytest.mark.parametrize("seed", range(4))
def test_a_copy_never_gives_an_alarm(likeness, making, seed):
    one = in_24_bits(making.noise(seed, 3.0 + seed, channels=1 + seed % 2))
    found = likeness(one, one)
    assert (found.same, found.moved) == (True, False)


def test_a_stretch_is_what_the_file_holds_there(tmp_path, making, take):
    path = making.save(tmp_path / "take.wav", take)
    for start, end, size in ((-10, 90, 60), (50, 100_100, 7_000), (len(take) - 9, len(take) + 50, 13), (-90, -30, 30)):
        expected = np.zeros((end - start, 2))
        first, last = max(start, 0), min(end, len(take))
        if first < last:
            expected[first - start : last - start] = take[first:last]
        assert np.array_equal(np.concatenate(list(Stretches(path, RATE_HZ, 2).blocks(start, end, size))), expected)
