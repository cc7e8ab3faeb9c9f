"""Each meter fed in blocks of any size against the same meter given the whole, and what it keeps meanwhile."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters import (
    ClippedRunsMeter,
    GainReductionMeter,
    LevelMeter,
    LoudnessMeter,
    Meters,
    NoiseUnderSoundMeter,
    PpmMeter,
    SamplePeakMeter,
    TruePeakMeter,
    VuMeter,
    WindowMeter,
    active_rms_dbfs,
    clipped_runs,
    crest_db,
    dc_offset_dbfs,
    gain_reduction,
    level_histogram,
    loudness,
    measures,
    noise_floor_dbfs,
    noise_in_pauses_dbfs,
    peak_dbfs,
    ppm,
    rms_dbfs,
    sample_peak_meter,
    true_peak_dbtp,
    vu,
    window_powers,
)
from gainlib.meters.streaming import Growing


def take_of(seed, count, channels, dtype=np.float64):
    """Noise that swells and pauses, with stretches of silence and of full scale."""
    rng = np.random.default_rng(seed)
    gains = np.repeat(rng.choice([0.0, 0.01, 0.3, 2.0], count // 300 + 1), 300)[:count, None]
    return np.clip(gains * rng.standard_normal((count, channels)), -1, 1).astype(dtype)


@st.composite
def cut_takes(draw, least=1, most=30_000):
    count = draw(st.integers(least, most))
    take = take_of(
        draw(st.integers(0, 99)),
        count,
        draw(st.sampled_from([1, 2, 3])),
        draw(st.sampled_from([np.float32, np.float64])),
    )
    cuts = sorted(draw(st.lists(st.integers(1, max(1, count - 1)), max_size=12, unique=True)))
    return take, [part for part in np.split(take, cuts) if len(part)]


@settings(max_examples=40)
@given(cut_takes(), st.sampled_from([8_000, 11_025]))
def test_loudness_is_bit_equal(cut, rate_hz):
    take, parts = cut
    meter = LoudnessMeter(rate_hz, take.shape[1])
    for part in parts:
        meter.push(part)
    whole, read = loudness(take, rate_hz), meter.reading()
    assert np.array_equal(read._tenths, whole._tenths)
    assert (read._momentary_max, read._short_term_max) == (whole._momentary_max, whole._short_term_max)
    if read.seconds >= 0.4:
        assert read.integrated_lufs == whole.integrated_lufs
    if read.seconds >= 3.0:
        assert read.range_lu == whole.range_lu


@settings(max_examples=60)
@given(cut_takes(most=6_000))
def test_true_peak_is_bit_equal_and_asking_changes_nothing(cut):
    take, parts = cut
    meter = TruePeakMeter(take.shape[1])
    for part in parts:
        meter.push(part)
        meter.reading_dbtp()
    assert np.array_equal(meter.reading_dbtp(), true_peak_dbtp(take))


@pytest.mark.parametrize("size", [1, 7, 511, 512, 513, 700])
def test_true_peak_of_a_steady_tone_is_not_cut_at_the_seams(signals, size):
    # A tone that broke off where a block or a stretch ends would overshoot there.
    take = signals.steady_sine(0.25, 0.5, 45.0, 48_000, seconds=0.1)
    meter = TruePeakMeter(1)
    for start in range(0, len(take), size):
        meter.push(take[start : start + size])
    assert meter.reading_dbtp()[0] == true_peak_dbtp(take)[0] == pytest.approx(-6.0206, abs=0.01)


def test_true_peak_is_found_wherever_it_lies():
    # Two samples of 0.9 reach +1.183 dBTP between them (1.8 sinc 1/2), also across the seams of stretches and blocks.
    for place in (*range(440, 560), *range(960, 1060)):
        meter = TruePeakMeter(1)
        take = np.zeros(1300)
        take[place : place + 2] = 0.9
        for start in range(0, len(take), 100):
            meter.push(take[start : start + 100])
        assert meter.reading_dbtp()[0] == pytest.approx(1.183, abs=0.01), place


@settings(max_examples=40)
@given(cut_takes(most=6_000), st.sampled_from([1, 7, 50]))
@pytest.mark.parametrize("which", ["vu", "ppm I", "ppm II", "sample peak"])
def test_ballistic_meters_are_bit_equal(which, cut, frames_a_second):
    take, parts = cut
    channels, frames = take.shape[1], {"frames_a_second": frames_a_second}
    if which == "vu":
        meter, whole = VuMeter(8_000, channels, **frames), vu(take, 8_000, **frames)
    elif which == "sample peak":
        meter, whole = SamplePeakMeter(8_000, channels, **frames), sample_peak_meter(take, 8_000, **frames)
    else:
        kind = which.split()[1]
        meter, whole = PpmMeter(8_000, channels, kind=kind, **frames), ppm(take, 8_000, kind, **frames)
    moved = [meter.push(part) for part in parts]
    assert np.array_equal(np.concatenate([each.level_dbfs for each in moved]), whole.level_dbfs)
    assert np.array_equal(np.concatenate([each.top_dbfs for each in moved]), whole.top_dbfs)
    assert np.array_equal(meter.highest_dbfs, whole.highest_dbfs)
    assert len(whole.level_dbfs) == len(take) * frames_a_second // 8_000


@given(cut_takes(most=6_000))
def test_levels(cut):
    take, parts = cut
    meter = LevelMeter(take.shape[1])
    for part in parts:
        meter.push(part)
    assert np.array_equal(meter.peak_dbfs, peak_dbfs(take))
    # At most thirteen partial sums of up to 6000 terms: relative rounding below 6000 x 2^-53, 3e-12 dB.
    assert meter.rms_dbfs == pytest.approx(rms_dbfs(take), abs=1e-11)
    assert meter.crest_db == pytest.approx(crest_db(take), abs=1e-11)
    # The mean may cancel: its rounding is that of the largest sample, not of itself.
    assert 10 ** (meter.dc_offset_dbfs / 20) == pytest.approx(10 ** (dc_offset_dbfs(take) / 20), abs=1e-12)


@given(cut_takes(most=6_000), st.sampled_from([1, 2, 3]))
def test_clipped_runs_are_the_same_runs(cut, least):
    take, parts = cut
    meter = ClippedRunsMeter(take.shape[1], least_samples=least)
    few = ClippedRunsMeter(take.shape[1], least_samples=least, most_kept=2)
    for part in parts:
        meter.push(part)
        few.push(part)
        few.reading()
    whole, read = clipped_runs(take, least_samples=least), meter.reading()
    for name in ("start", "length", "channel"):
        assert getattr(read, name).tolist() == getattr(whole, name).tolist()
    # Against a plain count: where |sample| stands at the ceiling on one side, neighbours of one side are one run.
    for channel in range(take.shape[1]):
        sides = np.sign(take[:, channel]) * (np.abs(take[:, channel]) >= 1 - 2.0**-15)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], sides, [0]))))
        lengths = [end - start for start, end in pairwise(edges) if sides[start] and end - start >= least]
        assert meter.counts[channel] == few.counts[channel] == len(lengths)
        assert sorted(read.length[read.channel == channel]) == sorted(lengths)


@given(cut_takes(most=20_000))
def test_windows(cut):
    take, parts = cut
    meter = WindowMeter(8_000, take.shape[1])
    for part in parts:
        meter.push(part)
    # One window is a sum of 400 squares; its order may differ, 400 x 2^-53.
    assert meter.powers == pytest.approx(window_powers(take, 8_000), rel=1e-12, abs=0.0)
    assert meter.noise_floor_dbfs == pytest.approx(noise_floor_dbfs(take, 8_000), abs=1e-11)
    assert meter.active_rms_dbfs() == pytest.approx(active_rms_dbfs(take, 8_000), abs=1e-11)
    assert meter.noise_in_pauses_dbfs == pytest.approx(noise_in_pauses_dbfs(take, 8_000), abs=1e-11)
    found, whole = meter.level_histogram(), level_histogram(take, 8_000)
    assert np.array_equal(found.share, whole.share)
    assert np.array_equal(found.below_share, whole.below_share)


@settings(max_examples=20)
@given(cut_takes(least=2_000, most=30_000))
def test_every_measure_of_a_stream_reads_what_it_reads_of_the_whole(cut):
    take, parts = cut
    names = [name for name, each in measures().items() if each.make is not None]
    meters = Meters(8_000, take.shape[1], names)
    for part in parts:
        meters.push(part)
    audio = Audio(take, 8_000)
    found, able = meters.readings(), [name for name in names if not measures()[name].lacks(audio)]
    assert list(found) == able
    assert sorted(meters.lacks()) == sorted(set(names) - set(able))
    # Sums in single precision differ from those in double, which a whole Audio is read in, by a part in 10^6 or so.
    tolerance = 1e-9 if take.dtype == np.float64 else 1e-4
    for name in able:
        whole = measures()[name].read(audio)
        if name == "dc_offset_dbfs":  # the mean may cancel
            assert 10 ** (found[name] / 20) == pytest.approx(10 ** (whole / 20), abs=1e-6)
        else:
            assert found[name] == pytest.approx(whole, abs=tolerance), name


def test_a_stream_has_no_measure_of_the_whole():
    with pytest.raises(GainError, match="thd_percent needs a whole recording at once; ask it of Audio"):
        Meters(48_000, 1, ["peak_dbfs", "thd_percent"])


@given(st.lists(st.lists(st.floats(0, 40), min_size=1, max_size=50), min_size=1, max_size=8))
def test_gain_reduction(blocks):
    meter = GainReductionMeter()
    for block in blocks:
        meter.push(block)
    whole, read = gain_reduction(np.concatenate(blocks)), meter.reading()
    assert (read.largest_db, read.working_share) == (whole.largest_db, whole.working_share)
    assert read.mean_while_working_db == pytest.approx(whole.mean_while_working_db, rel=1e-12)
    with pytest.raises(GainError, match="nothing was pushed yet"):
        GainReductionMeter().reading()


def kept_bytes(meter):
    kept = [value._rows if isinstance(value, Growing) else value for value in vars(meter).values()]
    return sum(value.nbytes for value in kept if isinstance(value, np.ndarray))


@pytest.mark.parametrize(
    "make",
    [
        lambda: LoudnessMeter(8_000, 2),
        lambda: TruePeakMeter(2),
        lambda: VuMeter(8_000, 2),
        lambda: PpmMeter(8_000, 2, kind="I"),
        lambda: SamplePeakMeter(8_000, 2),
        lambda: LevelMeter(2),
        lambda: ClippedRunsMeter(2),
        lambda: WindowMeter(8_000, 2),
        lambda: NoiseUnderSoundMeter(8_000, 2),
    ],
)
def test_memory_does_not_grow_with_the_length(make):
    meter = make()
    block = take_of(1, 8_000, 2)
    sizes = []
    for _ in range(60):
        meter.push(block)
        sizes.append(kept_bytes(meter))
    # The samples that wait for a full window or stretch come and go: fewer than 1100 of two channels.
    assert max(sizes[4:]) - min(sizes[4:]) < 1100 * 2 * 8


def test_loudness_before_a_window_is_full():
    meter = LoudnessMeter(48_000, 1)
    assert meter.momentary_lufs == -np.inf
    with pytest.raises(GainError, match=r"loudness_lufs needs 0.4 s of sound; 0 s were given"):
        _ = meter.reading().integrated_lufs
    meter.push(np.sin(2 * np.pi * 997 / 48_000 * np.arange(48_000)))
    assert meter.momentary_lufs == pytest.approx(-3.01, abs=0.01)
    assert meter.short_term_lufs == -np.inf
    meter.push(np.zeros(96_000))
    assert meter.momentary_lufs < -100
    assert meter.short_term_lufs == pytest.approx(-3.01 - 10 * np.log10(3), abs=0.01)


@pytest.mark.parametrize(
    "make",
    [
        lambda channels: LoudnessMeter(48_000, channels),
        TruePeakMeter,
        LevelMeter,
        ClippedRunsMeter,
        lambda channels: VuMeter(48_000, channels),
        lambda channels: WindowMeter(48_000, channels),
        lambda channels: NoiseUnderSoundMeter(48_000, channels),
    ],
)
def test_a_block_with_other_channels_is_refused(make):
    with pytest.raises(GainError, match="block has 3 channels; this meter was made for 2"):
        make(2).push(np.zeros((4, 3)))
    with pytest.raises(GainError, match=r"channels is 0|has 0 channels"):
        make(0)
    with pytest.raises(GainError, match="block holds nan at sample 1, channel 2"):
        make(2).push(np.array([[0.0, 0.0], [0.0, np.nan]]))


def test_a_day_is_enough():
    meter = LoudnessMeter(8_000, 1)
    meter._cells = meter._tenths.size * 10 - 1  # as if a day, less 10 ms, had passed
    meter._samples = meter._cells * 80
    meter.push(np.zeros(80))
    with pytest.raises(GainError, match="has run for 24 hours; start a new LoudnessMeter"):
        meter.push(np.zeros(80))
