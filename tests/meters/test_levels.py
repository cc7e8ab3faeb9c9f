"""The first meters against the standards' definitions and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters import (
    clipped_runs,
    crest_db,
    flat_tops,
    measure,
    measures,
    momentary_levels,
    noise_floor_dbfs,
    noise_in_pauses_dbfs,
    peak_dbfs,
    rms_dbfs,
)

RATE_HZ = 48_000
PHASE = 2 * np.pi * np.arange(RATE_HZ) * 100 / RATE_HZ  # 100 whole periods of 480 samples

SINE = np.sin(PHASE)
SQUARE = np.where(np.arange(RATE_HZ) % 480 < 240, 1.0, -1.0)
TRIANGLE = 2 / np.pi * np.arcsin(np.sin(PHASE))

# (meter, signal, expected, tolerance, source, standing)
CASES = [
    (peak_dbfs, SINE, 0.0, 1e-9, "AES17: full scale is 0 dBFS", "published"),
    (rms_dbfs, SINE, 0.0, 1e-9, "AES17, IEC 61606: a full-scale sine reads 0 dBFS RMS", "published"),
    (rms_dbfs, SQUARE, 3.0103, 5e-5, "AES17: a full-scale square reads +3.01 dBFS RMS", "published"),
    (rms_dbfs, np.ones(480), 3.0103, 5e-5, "AES17: DC at full scale as the square", "published"),
    (peak_dbfs, 0.5 * SINE, -6.0206, 5e-5, "20 log10 0.5", "derived"),
    (rms_dbfs, 0.1 * SINE, -20.0, 1e-9, "20 log10 0.1", "derived"),
    (crest_db, SINE, 3.0103, 5e-5, "sqrt 2", "derived"),
    (crest_db, SQUARE, 0.0, 1e-9, "peak equals RMS", "derived"),
    # The sampled triangle has a mean square of 1/3 + 1/(6 n²) x 4; with n = 480 that is 1.5e-4 dB under 10 log10 3.
    (crest_db, TRIANGLE, 4.7712, 2e-4, "10 log10 3", "derived"),
    (
        crest_db,
        np.cos(PHASE) + np.cos(2 * PHASE),
        6.0206,
        5e-5,
        "two equal tones whose peaks meet: 2 over RMS 1",
        "derived",
    ),
]


@pytest.mark.parametrize(("meter", "signal", "expected", "tolerance", "source", "standing"), CASES)
@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_meters_agree_with_the_definition(meter, signal, expected, tolerance, source, standing, dtype):
    # float32 samples carry a rounding of 2^-24, about 5e-7 dB of level.
    reading = meter(signal.astype(dtype))
    assert reading.shape == (1,)
    assert reading[0] == pytest.approx(expected, abs=max(tolerance, 1e-6)), source


def test_the_997_hz_reference_tone(sine_997):
    assert rms_dbfs(sine_997)[0] == pytest.approx(0.0, abs=1e-3)  # AES17; 997 periods in one second exactly
    assert peak_dbfs(sine_997)[0] == pytest.approx(0.0, abs=1e-3)


def test_each_channel_reads_for_itself():
    both = np.stack([SINE, 0.1 * SINE], axis=1)
    assert rms_dbfs(both) == pytest.approx([0.0, -20.0], abs=1e-9)
    assert measure("rms_dbfs", Audio(both, RATE_HZ)) == pytest.approx(0.0, abs=1e-9)
    assert measure("headroom_db", Audio(both, RATE_HZ)) == pytest.approx(0.0, abs=1e-9)
    assert measure("headroom_db", Audio(both, RATE_HZ), per_channel=True) == pytest.approx([0.0, 20.0], abs=1e-9)


def test_silence_is_minus_infinity_and_never_a_warning():
    silence = np.zeros(4800)
    assert peak_dbfs(silence).tolist() == rms_dbfs(silence).tolist() == [-math.inf]
    assert noise_floor_dbfs(silence, RATE_HZ).tolist() == [-math.inf]
    assert crest_db(silence).tolist() == [0.0]
    assert len(clipped_runs(silence)) == len(flat_tops(silence)) == 0


@pytest.mark.parametrize("value", [1.0, -1.0, 0.25])
def test_one_sample_is_read_like_any_other(value):
    one = np.array([value])
    assert peak_dbfs(one)[0] == pytest.approx(20 * math.log10(abs(value)))
    assert crest_db(one)[0] == pytest.approx(0.0)
    assert len(clipped_runs(one)) == len(flat_tops(one)) == 0


def test_the_noise_floor_is_that_of_the_pauses():
    # A tone with pauses of known noise: uniform noise of peak 0.001 has RMS 0.001/sqrt 3, AES17 -61.76 dBFS (derived).
    noise = np.random.default_rng(5).uniform(-0.001, 0.001, 2 * RATE_HZ)
    noise[:RATE_HZ] += 0.5 * SINE  # the pause comes last
    assert noise_floor_dbfs(noise, RATE_HZ)[0] == pytest.approx(-61.76, abs=0.3)


def test_an_offset_is_no_noise():
    # As above, with an offset of 0.01, -37 dBFS: what the windows hold about their mean is the noise (derived).
    noise = np.random.default_rng(5).uniform(-0.001, 0.001, 2 * RATE_HZ)
    noise[:RATE_HZ] += 0.5 * SINE
    assert noise_floor_dbfs(noise + 0.01, RATE_HZ)[0] == pytest.approx(-61.76, abs=0.3)
    assert noise_in_pauses_dbfs(noise + 0.01, RATE_HZ) == pytest.approx(-61.76, abs=0.3)


HISS = np.random.default_rng(6).uniform(-0.001, 0.001, 2 * RATE_HZ)  # AES17 -61.76 dBFS, as above
LOUD = 0.5 * np.tile(SINE, 2)

# (a take, the floor in its pauses, why)
FLOORS = [
    (np.concatenate([HISS, LOUD + HISS]), -61.76, "two seconds of room, then a tone"),
    (np.concatenate([np.zeros(3 * RATE_HZ), HISS, LOUD + HISS]), -61.76, "an export that begins with digital silence"),
    (np.concatenate([LOUD, np.zeros(RATE_HZ), LOUD]), -math.inf, "every pause was emptied"),
    (np.tile(np.concatenate([LOUD[:2401], np.zeros(21_600)]), 10), -math.inf, "bursts that reach into a window"),
    (LOUD + HISS, None, "it never pauses"),
    (np.concatenate([0.02 * HISS, LOUD])[RATE_HZ : 5 * RATE_HZ // 2], None, "too short to tell a pause from its sound"),
    (0.1 * HISS, -81.76, "nobody plays"),
    (np.zeros(2 * RATE_HZ), -math.inf, "silence"),
    (np.stack([np.concatenate([HISS, LOUD]), np.concatenate([0.1 * HISS, LOUD])], axis=1), -61.76, "the noisier one"),
]


@pytest.mark.parametrize(("take", "expected", "why"), FLOORS, ids=[why for _, _, why in FLOORS])
def test_a_floor_is_told_where_there_is_a_pause_and_never_as_minus_infinity_beside_noise(take, expected, why):
    found = noise_in_pauses_dbfs(take, RATE_HZ)
    assert found is None if expected is None else found == pytest.approx(expected, abs=0.3)


@given(st.floats(-60, 0), st.integers(1, 3))
def test_a_gain_moves_every_level_by_itself_and_no_crest(gain_db, channels):
    samples = np.random.default_rng(channels).uniform(-1, 1, (500, channels))
    lower = samples * 10 ** (gain_db / 20)
    assert peak_dbfs(lower) == pytest.approx(peak_dbfs(samples) + gain_db)
    assert rms_dbfs(lower) == pytest.approx(rms_dbfs(samples) + gain_db)
    assert crest_db(lower) == pytest.approx(crest_db(samples))


def test_clipped_runs_are_found_to_the_sample():
    # Planted by hand: runs of 3, 4 and 2 samples (the last too short), one in the second channel, one at the bottom.
    take = np.zeros((100, 2))
    take[10:13, 0] = 1.0
    take[50:54, 0] = -1.0
    take[70:72, 0] = 1.0
    take[20:30, 1] = 1.0
    runs = clipped_runs(take)
    assert runs.start.tolist() == [10, 20, 50]
    assert runs.length.tolist() == [3, 10, 4]
    assert runs.channel.tolist() == [0, 1, 0]
    assert (runs.samples, runs.longest, len(runs)) == (17, 10, 3)
    assert measure("clipped_runs", Audio(take, RATE_HZ), per_channel=True).tolist() == [2.0, 1.0]


def test_the_highest_code_of_a_16_bit_file_counts_as_full_scale():
    assert len(clipped_runs(np.full(3, 1 - 2**-15))) == 1
    assert len(clipped_runs(np.full(3, 1 - 2**-14))) == 0


@pytest.mark.parametrize("gain", [1.0, 0.5, 0.1, 0.01])
def test_turned_down_clipping_is_no_longer_at_the_ceiling_but_still_flat(gain):
    # 1.5 x a sine clipped at 1: each of the 100 periods has a flat top and a flat bottom, 200 in all.
    clipped = gain * np.clip(1.5 * SINE, -1, 1)
    assert len(flat_tops(clipped)) == 200
    assert len(clipped_runs(clipped)) == (200 if gain == 1.0 else 0)
    assert len(flat_tops(gain * 0.9 * SINE)) == 0


def test_the_registry_names_every_measure_once_and_helps_with_a_wrong_name():
    assert {"peak_dbfs", "rms_dbfs", "crest_db", "headroom_db", "clipped_runs", "noise_floor_dbfs"} <= set(measures())
    with pytest.raises(GainError, match="'peak_dbf' is not a measure; did you mean peak_dbfs?"):
        measure("peak_dbf", Audio(SINE, RATE_HZ))
    with pytest.raises(GainError, match="peak_dbfs was asked of ndarray; give Audio"):
        measure("peak_dbfs", SINE)
    assert measures()["headroom_db"].printed(3.04) == "3.0 dB"
    assert measures()["rms_dbfs"].printed(-18.0) == "−18.0 dBFS"
    assert "AES17" in repr(measures())


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: peak_dbfs(np.zeros(0)), "samples is empty"),
        (lambda: rms_dbfs(np.array([np.nan])), "samples holds nan at sample 0, channel 1"),
        (lambda: clipped_runs(np.zeros(4), least_samples=0), "least_samples is 0; it must be 1 or above"),
        (lambda: noise_floor_dbfs(np.zeros(4), 0), "rate_hz is 0; it must be 1 Hz or above"),
    ],
)
def test_bad_input_is_one_sentence(call, sentence):
    with pytest.raises(GainError, match=sentence):
        call()


@given(st.integers(0, 99))
def test_the_crest_follows_from_the_two_levels_as_the_registry_says(seed):
    samples = np.random.default_rng(seed).uniform(-1, 1, (500, 1))
    peak, rms = (measure(name, Audio(samples, RATE_HZ)) for name in ("peak_dbfs", "rms_dbfs"))
    # Plain RMS lies 10 log10 2 below the AES17 reading.
    assert measure("crest_db", Audio(samples, RATE_HZ)) == pytest.approx(peak - rms + 10 * math.log10(2), abs=1e-9)
    assert "plus 3.0 dB" in measures()["crest_db"].meaning


def test_momentary_levels_are_the_largest_sample_and_the_power_of_each_window():
    samples = np.random.default_rng(5).uniform(-0.9, 0.9, (1_000, 2))
    peaks, levels = momentary_levels(samples, 44_100)  # windows of 441 samples, 118 are left over
    for window in range(2):
        for channel in range(2):
            part = samples[441 * window : 441 * (window + 1), channel]
            assert peaks[window, channel] == pytest.approx(20 * math.log10(max(abs(each) for each in part)), abs=1e-9)
            power = math.fsum(each * each for each in part) / 441
            assert levels[window, channel] == pytest.approx(10 * math.log10(2 * power), abs=1e-9)
    assert peaks.shape == levels.shape == (2, 2)
    short, _ = momentary_levels(np.array([0.0, -0.5, 0.25]), 44_100)
    assert short.round(2).tolist() == [[-6.02]]
