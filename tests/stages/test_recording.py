"""Source, preamp, converter and trim against closed forms."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainlib.errors import GainError
from gainlib.meters import rms_dbfs
from gainlib.stages import Converter, Preamp, Signal, Source, Trim, settings_of

RATE_HZ = 48_000
N = 2**20


def digital(samples):
    return Signal(np.atleast_2d(np.asarray(samples, dtype=float).T).T, RATE_HZ, 0.0, "digital")


def volts(samples):
    return Signal(np.atleast_2d(np.asarray(samples, dtype=float).T).T, RATE_HZ, 0.0, "analogue")


def sine(amplitude, frequency_hz=997.0, n=N):
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(n) / RATE_HZ)


def rms(samples):
    return math.sqrt(np.mean(np.square(samples)))


def test_the_source_gives_the_voltage_of_its_level():
    # A full-scale sine at 0 dBu is 0.7746 V RMS (ITU-R BS.645-2 prints 0.775 V); +4 dBu is 1.228 V.
    assert rms(Source(0.0).process(digital(sine(1.0))).signal.samples) == pytest.approx(0.7746, abs=5e-5)
    assert rms(Source(4.0).process(digital(sine(1.0))).signal.samples) == pytest.approx(1.2277, abs=5e-5)


def test_the_source_carries_the_noise_of_the_recording():
    # Noise of RMS 0.001 in the recording: at 0 dBu for full scale it is 0.001 x sqrt 2 x 0.7746 V.
    take = dataclasses.replace(digital(sine(0.5)), noise_power=1e-6)
    assert math.sqrt(Source(0.0).process(take).signal.noise_power) == pytest.approx(
        0.001 * math.sqrt(2) * 0.7746, rel=1e-4
    )
    # AES17 -57 dBFS is an RMS of 0.001 as well (20 log10 of 0.001 x sqrt 2 is -56.99).
    said = Source(0.0, noise_dbfs=-56.99).process(digital(sine(0.5))).signal.noise_power
    assert math.sqrt(said) == pytest.approx(0.001 * math.sqrt(2) * 0.7746, rel=1e-3)
    assert Source(0.0, noise_dbfs=-math.inf).process(take).signal.noise_power == 0.0


# 20 log10 of the gain: 40 dB is a factor of 100 (derived).
@pytest.mark.parametrize(("gain_db", "factor"), [(0.0, 1.0), (20.0, 10.0), (40.0, 100.0)])
def test_the_preamp_multiplies_by_its_gain(gain_db, factor):
    out = Preamp(gain_db, input_noise_dbu=-300.0, output_noise_dbu=-300.0).process(volts(sine(0.01))).signal.samples
    assert np.abs(out[:, 0] - sine(0.01) * factor).max() < 1e-9


def test_the_preamp_adds_its_own_noise_times_the_gain():
    # -128 dBu in 20 kHz is 0.3083 uV; up to half the rate, 24 kHz, sqrt(1.2) more; 40 dB is 100 times that (derived).
    expected = 0.7745967 * 10 ** (-128 / 20) * math.sqrt(24 / 20) * 100
    passed = Preamp(40.0, output_noise_dbu=-math.inf).process(volts(np.zeros(N)))
    assert rms(passed.signal.samples) == pytest.approx(expected, rel=3e-3)
    assert math.sqrt(passed.signal.noise_power) == pytest.approx(expected, rel=1e-6)


def test_noise_of_source_and_preamp_add_as_powers():
    arriving = Signal(np.zeros((10, 1)), RATE_HZ, 4.0e-12, "analogue")
    passed = Preamp(20.0, output_noise_dbu=-math.inf).process(arriving)
    own = (0.7745967 * 10 ** (-128 / 20)) ** 2 * 1.2
    assert passed.signal.noise_power == pytest.approx((4.0e-12 + own) * 100, rel=1e-6)


def test_the_preamp_clips_at_its_largest_output():
    # +24 dBu is 12.2765 V RMS, a sine of 17.3616 V peak (derived).
    passed = Preamp(0.0, max_output_dbu=24.0).process(volts(sine(40.0, 100.0, 48_000)))
    assert np.abs(passed.signal.samples).max() == pytest.approx(17.3616, abs=5e-5)
    assert passed.clipped is not None
    assert len(passed.clipped) == 200  # 100 periods, top and bottom


def test_the_same_seed_gives_the_same_noise():
    first = Preamp(40.0).process(volts(np.zeros(100))).signal.samples
    assert np.array_equal(first, Preamp(40.0).process(volts(np.zeros(100))).signal.samples)
    assert not np.array_equal(first, Preamp(40.0, noise_seed=2).process(volts(np.zeros(100))).signal.samples)


# (bits, signal-to-noise ratio of a full-scale sine in dB): 6.02 N + 1.76, in every textbook of conversion; published.
@pytest.mark.parametrize(("bits", "snr_db"), [(16, 98.09), (24, 146.26)])
def test_an_ideal_quantiser_has_6_02_db_a_bit_and_1_76(bits, snr_db):
    converter = Converter("EBU R 68", bits, dynamic_range_db=math.inf)
    tone = sine(converter.full_scale_volts * (1 - 2.0**-15))  # a hair under full scale, so that nothing clips
    passed = converter.process(volts(tone))
    error = passed.signal.samples[:, 0] - tone / converter.full_scale_volts
    # 2^20 samples settle the noise to well within 0.1 dB.
    assert 20 * math.log10(math.sqrt(0.5) / rms(error)) == pytest.approx(snr_db, abs=0.1)
    assert 10 * math.log10(0.5 / passed.signal.noise_power) == pytest.approx(snr_db, abs=0.005)


# (alignment, dBu of the tone, dBFS behind the converter, source)
@pytest.mark.parametrize(
    ("aligned", "level_dbu", "expected_dbfs", "source"),
    [
        ("EBU R 68", 0.0, -18.0, "EBU R 68-2000"),
        ("SMPTE RP 155", 4.0, -20.0, "SMPTE RP 155"),
        (22.0, 4.0, -18.0, "headroom arithmetic"),
    ],
)
def test_the_converter_is_aligned(aligned, level_dbu, expected_dbfs, source):
    tone = sine(math.sqrt(0.6) * 10 ** (level_dbu / 20) * math.sqrt(2))
    assert rms_dbfs(Converter(aligned).process(volts(tone)).signal.samples)[0] == pytest.approx(
        expected_dbfs, abs=2e-3
    ), source


@pytest.mark.parametrize("bits", [16, 24])
def test_the_converter_gives_codes_and_stops_at_the_highest(bits):
    converter = Converter(18.0, bits)
    passed = converter.process(volts(sine(2 * converter.full_scale_volts, 100.0, 48_000)))
    codes = passed.signal.samples * 2.0 ** (bits - 1)
    assert np.array_equal(codes, np.rint(codes))
    assert (codes.min(), codes.max()) == (-(2.0 ** (bits - 1)), 2.0 ** (bits - 1) - 1)
    assert passed.clipped is not None
    assert len(passed.clipped) == 200


@given(st.floats(-60, 24))
def test_the_trim_moves_the_level_and_the_noise_alike(gain_db):
    arriving = Signal(np.array([[0.25], [-0.5]]), RATE_HZ, 1e-9, "digital")
    out = Trim(gain_db).process(arriving).signal
    assert out.samples == pytest.approx(arriving.samples * 10 ** (gain_db / 20))
    assert out.noise_power == pytest.approx(1e-9 * 10 ** (gain_db / 10))


def test_the_trim_at_zero_passes_bit_for_bit():
    samples = np.random.default_rng(1).integers(-(2**23), 2**23, (1000, 2)) / 2.0**23
    assert np.array_equal(Trim().process(digital(samples)).signal.samples, samples)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: Preamp(math.nan), "gain_db of the preamp is nan; it must be a finite number."),
        (lambda: Trim("loud"), "gain_db of the trim is 'loud'; it must be a finite number."),
        (lambda: Trim(True), "gain_db of the trim is True; it must be a finite number."),
        (lambda: Source(math.inf), "full_scale_dbu of the source is inf; it must be a finite number."),
        (lambda: Source(noise_dbfs=math.nan), "noise_dbfs of the source is nan; it must be 200 dBFS or below."),
        (lambda: Converter(18.0, 12), "bits of the converter is 12; it must be 16 or 24."),
        (lambda: Converter("EBU"), "alignment is 'EBU'; give \\+15 dBu, EBU R 68, \\+20 dBu"),
        (lambda: Trim(name="a/b"), "name of the trim is 'a/b'; leave out the slash."),
    ],
)
def test_settings_that_cannot_be_are_refused(call, sentence):
    with pytest.raises(GainError, match=sentence):
        call()


def test_a_setting_describes_itself():
    gain = settings_of(Preamp())["gain_db"]
    assert (gain.label, gain.unit, gain.low, gain.high) == ("Preamp gain", "dB", 0.0, 60.0)
    assert set(settings_of(Converter(18.0))) == {"dynamic_range_db"}
