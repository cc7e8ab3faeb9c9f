"""Flat tops: what was clipped and turned down is found, round crests are not; whole and block by block."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainlib import GainError, read
from gainlib.audio import Audio
from gainlib.meters import FlatTopsMeter, clipped_runs, flat_tops, measure
from gainlib.storage import bundled


def dithered(samples, bits, seed=0):
    rng = np.random.default_rng(seed)
    steps = 2.0 ** (bits - 1)
    return np.rint(samples * steps + rng.random(samples.shape) - rng.random(samples.shape)) / steps


@pytest.mark.parametrize("level_db", [-0.1, -1.0, -6.0, -20.0])
@pytest.mark.parametrize("bits", [None, 16, 24])
def test_planted_clips_are_found_where_they_are(making, level_db, bits):
    # Noise that clips often; each clip of three samples and more is known from before it was turned down.
    cut = np.clip(4.0 * making.noise(1, 2.0, rms=0.12), -1.0, 1.0)
    planted = clipped_runs(cut)
    lowered = cut * 10 ** (level_db / 20)
    found = flat_tops(lowered if bits is None else dithered(lowered, bits))
    assert len(planted) > 200
    hit = np.isin(planted.start, found.start)
    assert hit.mean() > 0.9
    assert np.isin(found.start, planted.start).mean() > 0.9


@pytest.mark.parametrize("frequency_hz", [20.0, 55.0, 110.0, 440.0, 1000.0, 5000.0])
@pytest.mark.parametrize("amplitude", [0.9, 0.05, 0.002])
@pytest.mark.parametrize("bits", [16, 24])
def test_a_sine_has_round_tops(making, frequency_hz, amplitude, bits):
    assert len(flat_tops(dithered(making.tone(1.0, amplitude, frequency_hz), bits))) == 0


def test_a_square_is_flat_and_a_constant_is_not():
    assert len(flat_tops(np.tile(np.repeat([0.3, -0.3], 50), 20))) == 38  # the first and the last have but one side
    assert len(flat_tops(np.full(48_000, 0.5))) == 0
    assert len(flat_tops(np.zeros(100))) == 0


def test_one_flat_top_may_be_chance():
    once = np.concatenate((np.zeros(50), np.full(10, 0.5), np.zeros(50)))
    assert len(flat_tops(once)) == 0
    assert len(flat_tops(np.tile(once, 2))) == 2
    # At another height they have nothing in common.
    assert len(flat_tops(np.concatenate((once, 0.9 * once)))) == 0


def below_a_whole_peak(wave):
    """At -7 dBFS, with one round crest of either side at -3 dBFS in its middle."""
    lowered, middle, crest = wave * 10 ** (-7 / 20), len(wave) // 2, 10 ** (-3 / 20) * np.hanning(96)
    lowered[middle - 96 : middle + 96, 0] = np.concatenate((crest, -crest))
    return lowered


@pytest.mark.parametrize("bits", [None, 16])
@pytest.mark.parametrize("over_db", [1.0, 3.0, 6.0])
@pytest.mark.parametrize("frequency_hz", [30.87, 41.2, 61.74, 82.41, 146.83, 220.0, 440.0, 997.0])
def test_a_steady_tone_clipped_below_a_whole_peak_is_found(making, frequency_hz, over_db, bits):
    # A planted truth: each half wave is cut off, bar those that the whole peak covers.
    tone = np.clip(making.tone(2.0, 10 ** (over_db / 20), frequency_hz), -1.0, 1.0)
    found = flat_tops(below_a_whole_peak(tone) if bits is None else dithered(below_a_whole_peak(tone), bits))
    # Of crests that come closer than 2 ms one of each side in 96 samples is looked at.
    assert len(found) > 0.9 * 2 * min(2.0 * frequency_hz, len(tone) / 96)


@pytest.mark.parametrize("frequency_hz", [55.0, 220.0, 997.0])
def test_steady_waves_that_nobody_clipped_are_not_told_below_a_whole_peak(making, frequency_hz):
    time = np.arange(96_000) / 48_000
    saw = 2.0 * (frequency_hz * time % 1.0) - 1.0
    for wave in (np.sin(2 * np.pi * frequency_hz * time), np.sign(saw), saw, 2.0 * np.abs(saw) - 1.0):
        for bits in (16, 24):
            assert len(flat_tops(dithered(below_a_whole_peak(wave[:, None]), bits))) == 0


@pytest.mark.parametrize("held", [2, 3, 4, 6, 8, 12])
@pytest.mark.parametrize("name", ["lead-voice", "pad", "guitar"])
def test_what_is_held_for_several_samples_is_no_clip(name, held):
    # Nobody cut it: each of its samples stands still for some, its crests as well.
    take = read(bundled(f"media/{name}.flac")).samples[: 20 * 48_000]
    assert len(flat_tops(np.repeat(take[::held], held, axis=0))) == 0


@pytest.mark.parametrize("bits", [None, 16, 24])
@pytest.mark.parametrize("rms", [0.35, 0.5])
def test_a_clipped_passage_below_a_whole_peak_is_found_at_its_own_height(making, rms, bits):
    # A planted truth: the take is cut at full scale and turned down by 7 dB; one whole peak stands 4 dB above that.
    take = np.clip(making.noise(3, 4.0, rms=rms), -1.0, 1.0)
    planted = clipped_runs(take)
    take *= 10 ** (-7 / 20)
    take[96_000:96_096] = 10 ** (-3 / 20) * np.hanning(96)[:, None]
    take[100_000:100_096] = -(10 ** (-3 / 20)) * np.hanning(96)[:, None]
    meter = FlatTopsMeter(1)
    for part in np.array_split(take if bits is None else dithered(take, bits), 7):
        meter.push(part)
    found = meter.reading()
    assert np.isin(found.start, planted.start).mean() > 0.9
    # Of crests that come closer than 4 ms the ones between two windows' highest are not looked at.
    assert len(found) >= 0.5 * len(planted) > 20
    assert meter.height_dbfs == pytest.approx(-7.0, abs=0.01)


def test_what_is_whole_has_no_height_in_common_below_its_peak(making):
    # One crest that comes again and again, as from a sampler, is flat at one height; its length never changes.
    crest = np.concatenate((np.linspace(0, 0.3, 40), np.full(5, 0.31), np.linspace(0.3, 0, 40), np.zeros(400)))
    take = np.concatenate((np.tile(crest, 40), 0.6 * np.hanning(96), np.zeros(4000)))
    assert len(flat_tops(take)) == 0
    # A word of 8 bits stands still by itself.
    coarse = np.rint(making.noise(8, 4.0, rms=0.02) * 128) / 128
    assert len(flat_tops(np.concatenate((coarse[:, 0], 0.6 * np.hanning(96), np.zeros(2000))))) == 0
    # Crests that were cut at heights of their own, as a gain that rides between them leaves them.
    rng = np.random.default_rng(4)
    parts = [np.concatenate((np.zeros(300), np.full(rng.integers(3, 9), rng.uniform(0.1, 0.5)))) for _ in range(400)]
    assert len(flat_tops(np.concatenate((*parts, 0.9 * np.hanning(96))))) == 0


@given(st.integers(0, 99), st.integers(1, 30_000), st.lists(st.integers(1, 29_999), max_size=8))
def test_blocks_read_what_the_whole_reads(seed, count, cuts):
    rng = np.random.default_rng(seed)
    # Cut for less than a few hundred samples at a time, as sound is: what stands longer a seam may hide.
    wave = np.stack(
        [np.convolve(each, np.hanning(80), "same") for each in rng.standard_normal((2, count + 80))], axis=1
    )
    wave = wave[:count]
    take = np.clip(wave / max(np.abs(wave).max(), 1e-9) * 1.5, -1.0, 1.0) * rng.uniform(0.1, 0.9)
    meter = FlatTopsMeter(2)
    for part in np.split(take, sorted({cut for cut in cuts if cut < count})):
        meter.push(part)
    read, whole = meter.reading(), flat_tops(take)
    assert read.start.tolist() == whole.start.tolist()
    assert read.length.tolist() == whole.length.tolist()
    assert meter.counts.tolist() == np.bincount(whole.channel, minlength=2).tolist()


def test_asking_changes_nothing_and_more_than_are_kept_are_counted(monkeypatch):
    monkeypatch.setattr("gainlib.meters.clipping._MOST_KEPT", 10)
    square = np.tile(np.repeat([0.3, -0.3], 50), 40)
    meter = FlatTopsMeter(1)
    for part in np.split(square, 20):
        meter.push(part)
        meter.reading()
    assert meter.counts.tolist() == [78]
    assert len(meter.reading()) == 20


def test_it_is_a_measure_and_refuses_what_it_cannot_read():
    square = np.tile(np.repeat([0.3, -0.3], 50), 20)
    assert measure("flat_tops", Audio(square, 48_000)) == 38.0
    with pytest.raises(GainError, match="block has 1 channels; this meter was made for 2"):
        FlatTopsMeter(2).push(square)
    with pytest.raises(GainError, match="least_samples is 0; it must be 1 or above"):
        FlatTopsMeter(1, least_samples=0)
    with pytest.raises(GainError, match="channels is 0; a meter needs at least one"):
        FlatTopsMeter(0)
