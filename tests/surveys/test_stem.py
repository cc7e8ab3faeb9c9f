"""One stem read block by block against the measures of the whole, and where its faults are to the sample."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile
from hypothesis import example, given, settings
from hypothesis import strategies as st

from gainlib import GainError, read
from gainlib.meters import clipped_runs, flat_tops, measure_all, measures
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.stem import block_frames, measure_stem


@settings(max_examples=25)
@given(
    st.integers(0, 99),
    st.integers(1, 160_000),
    st.sampled_from([1, 2, 6]),
    st.sampled_from([8_000, 44_100, 96_000]),
    st.sampled_from(["PCM_16", "PCM_24", "FLOAT", "DOUBLE"]),
)
@example(14, 3001, 2, 8_000, "PCM_16")  # silence but for a sample behind the last window
def test_readings_are_those_of_the_measures(tmp_path_factory, seed, count, channels, rate_hz, subtype):
    rng = np.random.default_rng(seed)
    gains = np.repeat(rng.choice([0.0, 0.01, 0.3, 2.0], count // 3000 + 1), 3000)[:count, None]
    path = tmp_path_factory.mktemp("take") / "take.wav"
    soundfile.write(path, np.clip(gains * rng.standard_normal((count, channels)), -1, 1), rate_hz, subtype=subtype)
    stem, whole = measure_stem(path, "take"), read(path)
    known = [name for name in COLUMNS if not measures()[name].lacks(whole)]
    for name, value in measure_all(whole, known).items():
        if name not in stem.readings:  # what is no noise, or a window that is short of a sample
            assert name in stem.lacks
            continue
        # Sums of squares in another order: 2^-53 a term of at most 160 000, below 1e-9 dB; DC may cancel. Spectra of
        # samples that are read in single precision differ by a part in 10^6 or so.
        if name == "noise_under_sound_dbfs":
            assert stem.readings[name] == pytest.approx(value, abs=1e-3)
        elif name == "dc_offset_dbfs":
            assert 10 ** (stem.readings[name] / 20) == pytest.approx(10 ** (value / 20), abs=1e-9)
        else:
            assert stem.readings[name] == pytest.approx(value, abs=1e-6), name
    assert set(stem.readings) | set(stem.lacks) == set(COLUMNS)
    for found, wanted in ((stem.clipped, clipped_runs(whole.samples)), (stem.flat, flat_tops(whole.samples))):
        assert found.start.tolist() == wanted.start.tolist()
        assert found.length.tolist() == wanted.length.tolist()
        assert found.channel.tolist() == wanted.channel.tolist()


def test_a_run_across_blocks_is_one_and_known_to_the_sample(tmp_path, making):
    frames = block_frames(48_000)
    take = np.zeros((3 * frames, 2))
    take[frames - 2 : frames + 5, 1] = 1.0  # seven samples over the first seam
    take[2 * frames : 2 * frames + 3, 0] = -1.0  # begins with a block
    take[-4:, 1] = 1.0  # ends with the file
    stem = measure_stem(making.save(tmp_path / "take.wav", take), "take")
    assert stem.clipped.start.tolist() == [frames - 2, 2 * frames, 3 * frames - 4]
    assert stem.clipped.length.tolist() == [7, 3, 4]
    assert stem.clipped.channel.tolist() == [1, 0, 1]
    assert stem.readings["clipped_runs"] == 2.0  # the worst channel's


def test_where_it_sounds_and_how_long_it_is(tmp_path, making):
    take = np.concatenate((np.zeros((48_000, 1)), making.tone(1.0, 0.1), np.zeros((24_000, 1))))
    stem = measure_stem(making.save(tmp_path / "take.flac", take), "take")
    assert stem.sounds == (1.0, 2.0)
    assert (stem.seconds, stem.form, stem.coding, stem.bits) == (2.5, "FLAC", "PCM_24", 24)


@pytest.mark.parametrize(
    ("second", "correlation", "balance_db", "difference_db"),
    # Closed forms: a copy at a gain g has the correlation's sign of g, 20 log10 g, and (1 - g)^2 / (1 + g^2).
    [(1.0, 1.0, 0.0, -np.inf), (-0.5, -1.0, 6.0206, 2.5527), (0.1, 1.0, 20.0, -0.9590)],
)
def test_two_channels_against_each_other(tmp_path, making, second, correlation, balance_db, difference_db):
    one = making.noise(1, 2.0)
    pair = measure_stem(making.save(tmp_path / "take.wav", np.hstack((one, second * one))), "take").pair
    assert pair.correlation == pytest.approx(correlation, abs=1e-4)
    assert pair.balance_db == pytest.approx(balance_db, abs=1e-3)
    assert pair.difference_db == pytest.approx(difference_db, abs=1e-3)


def test_eight_channels_and_odd_rates_lack_loudness_and_nothing_else(tmp_path, making):
    eight = measure_stem(making.save(tmp_path / "eight.wav", making.noise(1, 1.0, channels=8)), "eight")
    slow = measure_stem(
        making.save(tmp_path / "slow.wav", making.tone(5.0, 0.5, 5.0, rate_hz=100), rate_hz=100), "slow"
    )
    # Neither pauses, so neither has a noise floor either.
    lacking = {"loudness_lufs", "momentary_max_lufs", "short_term_max_lufs", "loudness_range_lu", "noise_floor_dbfs",
               "noise_under_sound_dbfs"}  # fmt: skip
    for stem in (eight, slow):
        assert set(stem.lacks) == lacking
        assert set(stem.readings) == set(COLUMNS) - lacking
    assert "it is too short to tell" in eight.lacks["noise_floor_dbfs"]
    assert "so its noise cannot be told" in slow.lacks["noise_floor_dbfs"]
    assert "at most 6 channels; this recording has 8" in eight.lacks["loudness_lufs"]
    assert slow.readings["peak_dbfs"] == pytest.approx(-6.0206, abs=0.01)


def test_samples_that_are_no_numbers_are_refused_with_their_place(tmp_path):
    take = np.zeros((60_000, 2), dtype=np.float32)
    take[50_000, 1] = np.inf
    soundfile.write(tmp_path / "take.wav", take, 48_000, subtype="FLOAT")
    with pytest.raises(GainError, match=r"take holds inf at sample 50000, channel 2; every sample must be a number"):
        measure_stem(tmp_path / "take.wav", "take")


def test_a_broadcast_wav_tells_where_it_starts(tmp_path, making):
    path = making.save(tmp_path / "take.wav", making.tone(0.5, 0.5))
    assert measure_stem(path, "take").starts_at is None
    assert measure_stem(making.with_time_reference(path, 172_800_000), "take").starts_at == 172_800_000
