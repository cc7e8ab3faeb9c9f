"""The limiter against hostile input: its ceiling, its timing, and what it must leave alone."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import firwin

from gainlib.errors import GainError
from gainlib.meters.true_peak import true_peak_dbtp
from gainlib.stages import Limiter, limiter

RATE_HZ = 48_000
COUNT = 4800


def hostile(kind: str, level: float, seed: int) -> np.ndarray:
    """Signals made to get past a ceiling; the levels reach +40 dB."""
    draw = np.random.default_rng(seed)
    at = np.arange(COUNT)
    made = {
        "impulses": lambda: draw.standard_normal(COUNT) * (draw.random(COUNT) < 0.005),
        "square": lambda: np.sign(np.sin(at * draw.uniform(0.001, 3.1)) + 1e-9),
        "quarter": lambda: np.sin(np.pi / 4 + np.pi / 2 * at),
        "alternating": lambda: np.where(at % 2 == 0, 1.0, -1.0),
        "noise": lambda: draw.standard_normal(COUNT),
        "signs": lambda: draw.choice([-1.0, 1.0], COUNT),
        "bursts": lambda: draw.standard_normal(COUNT) * ((at // draw.integers(2, 300)) % 2),
        "one at the start": lambda: (at == 0).astype(float),
        "one at the end": lambda: (at == COUNT - 1).astype(float),
        "constant": lambda: np.ones(COUNT),
    }
    return level * made[kind]()


KINDS = [
    "impulses",
    "square",
    "quarter",
    "alternating",
    "noise",
    "signs",
    "bursts",
    "one at the start",
    "one at the end",
    "constant",
]
limiters = st.builds(
    Limiter,
    ceiling_dbfs=st.floats(-20, 0),
    look_ahead_ms=st.sampled_from([0.0, 0.02, 0.1, 1.0, 5.0, 10.0]),
    release_ms=st.sampled_from([0.1, 5.0, 100.0, 2000.0]),
    true_peak=st.just(False),
)
levels = st.floats(-20, 40).map(lambda level_db: 10 ** (level_db / 20))


@settings(max_examples=150, deadline=None)
@given(limiters, st.sampled_from(KINDS), levels, st.integers(0, 2**31))
def test_no_sample_passes_the_ceiling(signal_of, stage: Limiter, kind: str, level: float, seed: int) -> None:
    out = stage.process(signal_of(hostile(kind, level, seed))).signal.samples
    assert np.abs(out).max() <= 10 ** (stage.ceiling_dbfs / 20)


@settings(max_examples=80, deadline=None)
@given(limiters, st.sampled_from(KINDS), levels, st.integers(0, 2**31))
def test_no_true_peak_passes_the_ceiling_by_a_tenth_of_a_decibel(
    signal_of, stage: Limiter, kind: str, level: float, seed: int
) -> None:
    stage = Limiter(stage.ceiling_dbfs, stage.look_ahead_ms, stage.release_ms, true_peak=True)
    out = stage.process(signal_of(hostile(kind, level, seed))).signal.samples
    assert np.abs(out).max() <= 10 ** (stage.ceiling_dbfs / 20)
    assert true_peak_dbtp(out)[0] <= stage.ceiling_dbfs + 0.1


@pytest.mark.parametrize("kind", KINDS)
def test_an_exact_interpolation_finds_no_higher_peak(signal_of, kind: str) -> None:
    # An independent yardstick that shares nothing with any meter: the DFT of the whole, padded 32 times. EBU Tech 3343
    # (published) speaks of true peaks for sound up to 20 kHz: above, sums of sincs have no bound and meters differ.
    taps = firwin(255, 20_000, window=("kaiser", 9.0), fs=RATE_HZ)
    samples = np.convolve(hostile(kind, 10.0, 7), taps)
    out = Limiter(-1.0, 2.0).process(signal_of(samples)).signal.samples[:, 0]
    padded = np.concatenate((np.zeros(COUNT), out, np.zeros(COUNT)))
    fine = np.fft.irfft(np.fft.rfft(padded), 32 * len(padded)) * 32
    assert 20 * math.log10(np.abs(fine).max()) <= -1.0 + 0.1


def test_a_sample_ceiling_does_not_bound_the_true_peak(signal_of) -> None:
    # Published test signal: a sine at a quarter of the rate, 45 degrees, whose samples lie 3.01 dB below its peaks.
    quarter = 2.0 * np.sin(np.pi / 4 + np.pi / 2 * np.arange(COUNT))
    plain = Limiter(-1.0, 2.0, true_peak=False).process(signal_of(quarter)).signal.samples
    assert true_peak_dbtp(plain[480:-480])[0] > 1.5
    held = Limiter(-1.0, 2.0, true_peak=True).process(signal_of(quarter)).signal.samples
    assert true_peak_dbtp(held)[0] <= -1.0 + 0.1
    # Steady in the middle: the peak at the ceiling, the samples 3.01 dB below it.
    assert 20 * math.log10(np.abs(held[1000:-1000]).max()) == pytest.approx(-4.01, abs=0.06)


@settings(max_examples=40, deadline=None)
@given(limiters, st.booleans(), st.integers(0, 2**31))
def test_below_the_ceiling_every_sample_passes_bit_for_bit(
    signal_of, stage: Limiter, true_peak: bool, seed: int
) -> None:
    stage = Limiter(stage.ceiling_dbfs, stage.look_ahead_ms, stage.release_ms, true_peak=true_peak)
    # Half the ceiling leaves the curve between samples no room to reach it for a band-limited signal.
    noise = np.random.default_rng(seed).uniform(-1, 1, (COUNT, 2))
    smooth = np.apply_along_axis(np.convolve, 0, noise, np.ones(8) / 8, "same")
    samples = 0.5 * stage.ceiling * smooth / np.abs(smooth).max()
    passed = stage.process(signal_of(samples))
    assert np.array_equal(passed.signal.samples, samples)
    assert passed.readings["gain_reduction_db"] == 0.0


def test_after_a_peak_the_gain_comes_back_to_exactly_one(signal_of) -> None:
    samples = np.full(RATE_HZ, 0.25)
    samples[1000] = 4.0
    out = Limiter(-1.0, 1.0, 5.0, true_peak=False).process(signal_of(samples)).signal.samples[:, 0]
    assert np.array_equal(out[:952], samples[:952])
    assert np.array_equal(out[-RATE_HZ // 2 :], samples[-RATE_HZ // 2 :])


def test_the_gain_is_down_when_the_peak_arrives_and_falls_in_a_straight_line(signal_of) -> None:
    samples = np.full(9600, 0.1)
    samples[4800] = 2.0
    stage = Limiter(0.0, 5.0, 1e-3, true_peak=False)
    out = stage.process(signal_of(samples)).signal.samples[:, 0]
    gain = out / samples
    assert stage.latency_samples(RATE_HZ) == 240
    assert gain[4800] == pytest.approx(0.5)
    assert gain[4800 - 241] == 1.0
    # Derived: half missing, in 241 equal steps; with next to no release it comes back the same way.
    np.testing.assert_allclose(gain[4800 - 240 : 4801], 1 - 0.5 * np.arange(1, 242) / 241, atol=1e-12)
    assert gain[4800 + 241] == pytest.approx(1.0)


def test_the_release_loses_63_percent_of_the_missing_gain_in_its_time(signal_of) -> None:
    samples = np.full(RATE_HZ, 0.1)
    samples[4800] = 2.0
    out = Limiter(0.0, 0.0, 100.0, true_peak=False).process(signal_of(samples)).signal.samples[:, 0]
    missing = 1 - out / samples
    assert missing[4800 + 4800] == pytest.approx(0.5 * math.exp(-1), rel=1e-6)


def test_the_output_is_in_time_with_the_input(signal_of) -> None:
    samples = np.random.default_rng(8).standard_normal(COUNT)
    out = Limiter(-6.0, 10.0).process(signal_of(samples)).signal.samples[:, 0]
    lags = np.correlate(out, samples, "full")
    assert lags.argmax() == COUNT - 1


@pytest.mark.parametrize("share", [0.47, 0.48, 0.4899, 0.4951])
def test_what_a_finer_meter_finds_is_mended_where_it_is(signal_of, share: float) -> None:
    # Tones near half the rate, whose peaks lie between the points of a coarse grid; far away nothing is touched.
    samples = np.random.default_rng(11).uniform(-0.01, 0.01, 4 * COUNT)
    samples[:COUNT] += 2.0 * np.sin(2 * np.pi * share * np.arange(COUNT)) * np.hanning(COUNT)
    out = Limiter(-1.0, 1.0, 1.0).process(signal_of(samples)).signal.samples
    assert true_peak_dbtp(out)[0] <= -1.0 + 0.1
    assert np.array_equal(out[2 * COUNT :, 0], samples[2 * COUNT :])


@pytest.mark.parametrize("passes", [0, 1])
def test_where_the_passes_run_out_the_ceiling_holds_all_the_same(signal_of, monkeypatch, passes: int) -> None:
    monkeypatch.setattr(limiter, "_PASSES", passes)
    out = Limiter(-1.0, 0.0, 5.0).process(signal_of(hostile("noise", 10.0, 3))).signal.samples
    assert -1.5 < true_peak_dbtp(out)[0] <= -1.0 + 0.1


def test_the_trace_says_what_was_done(signal_of) -> None:
    samples = 2 * np.random.default_rng(9).standard_normal((COUNT, 2))
    passed = Limiter(-3.0, 1.0).process(signal_of(samples))
    assert passed.reduction_db is not None
    np.testing.assert_allclose(
        passed.signal.samples, samples * 10 ** (-passed.reduction_db.astype(float) / 20), rtol=1e-5
    )
    assert passed.readings["gain_reduction_db"] == pytest.approx(float(passed.reduction_db.max()))


def test_unlinked_channels_are_limited_by_themselves(signal_of) -> None:
    samples = np.column_stack((np.full(COUNT, 2.0), np.full(COUNT, 0.2)))
    passed = Limiter(-1.0, 1.0, linked=False).process(signal_of(samples))
    assert np.array_equal(passed.signal.samples[:, 1], samples[:, 1])
    linked = Limiter(-1.0, 1.0).process(signal_of(samples))
    assert linked.signal.samples[COUNT // 2, 1] < 0.1


@pytest.mark.parametrize("true_peak", [False, True])
@pytest.mark.parametrize("count", [1, 2, 50])
def test_a_handful_of_samples(signal_of, count: int, true_peak: bool) -> None:
    out = Limiter(-1.0, 10.0, true_peak=true_peak).process(signal_of(np.full(count, 3.0))).signal.samples
    assert 0.2 < np.abs(out).max() <= 10 ** (-1 / 20)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"look_ahead_ms": 11.0}, "look_ahead_ms of the limiter is 11.0; it must be from 0 to 10 ms"),
        ({"release_ms": 0}, "release_ms of the limiter is 0; it must be above 0"),
        ({"true_peak": "yes"}, "true_peak of the limiter is 'yes'; give False or True"),
        ({"ceiling_dbfs": math.inf}, "ceiling_dbfs of the limiter is inf; it must be from -144 to 24 dBFS"),
    ],
)
def test_bad_settings_are_refused(values: dict[str, object], sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        Limiter(**values)  # type: ignore[arg-type]
