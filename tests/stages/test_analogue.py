"""Source, preamp, converter, stored file and insert: levels, noise, clipping and word length against worked values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.decibels import AES17_ZERO_RMS
from gainlib.errors import GainError
from gainlib.stages import Cable, Converter, OutboardInsert, Preamp, SoftClip, Source, StoredFile
from gainlib.stages.clipping import rounded_off

RATE_HZ = 48_000
COUNT = 2**18


def rms_dbu(samples: np.ndarray) -> float:
    return 20 * math.log10(math.sqrt(np.mean(samples**2)) / math.sqrt(0.6))


def test_a_source_plays_a_full_scale_sine_at_its_level(signal_of) -> None:
    sine = np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    passed = Source(full_scale_dbu=4.0, noise_dbfs=-math.inf).process(signal_of(sine))
    # Published: +4 dBu is 1.228 V RMS, 1.736 V peak.
    assert passed.signal.samples.max() == pytest.approx(1.736164, abs=1e-6)
    assert rms_dbu(passed.signal.samples) == pytest.approx(4.0, abs=1e-6)


def silence(signal_of, count: int = COUNT, rate_hz: int = RATE_HZ):
    return signal_of(np.zeros(count), rate_hz, domain="analogue")


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_the_preamp_adds_its_input_noise_times_the_gain(signal_of, rate_hz: int) -> None:
    passed = Preamp(40.0, input_noise_dbu=-128.0, output_noise_dbu=-math.inf).process(
        silence(signal_of, rate_hz=rate_hz)
    )
    # Worked: -128 dBu in 20 kHz, +40 dB; up to half the rate there is 10 log10(rate/2 / 20 kHz) more. 0.05 dB is
    # four standard errors of the RMS of 2^18 samples.
    expected_dbu = -88.0 + 10 * math.log10(rate_hz / 40_000)
    assert rms_dbu(passed.signal.samples) == pytest.approx(expected_dbu, abs=0.05)
    assert 10 * math.log10(passed.signal.noise_power / 0.6) == pytest.approx(expected_dbu, abs=1e-9)


def test_a_pad_costs_its_decibels_of_distance_to_the_noise(signal_of) -> None:
    sine = 0.1 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ)
    signal = signal_of(sine, noise_power=1e-12, domain="analogue")
    plain = Preamp(20.0, input_noise_dbu=-120.0, output_noise_dbu=-math.inf).process(signal).signal
    padded = Preamp(40.0, -120.0, pad_db=20.0, output_noise_dbu=-math.inf).process(signal).signal
    # Same output level, but the preamp's own noise has 20 dB more gain: 10^2 times the power (derived).
    assert np.abs(padded.samples).max() == pytest.approx(np.abs(plain.samples).max(), rel=0.01)
    own = 0.6 * 10 ** (-120 / 10) * 1.2
    assert plain.noise_power == pytest.approx((1e-12 + own) * 1e2)
    assert padded.noise_power == pytest.approx((1e-14 + own) * 1e4)


def test_polarity_turns_the_signal_round_and_not_the_noise(signal_of) -> None:
    signal = signal_of(np.random.default_rng(1).standard_normal(1000), domain="analogue")
    plain, turned = (
        Preamp(0.0, -math.inf, inverted=each, output_noise_dbu=-math.inf).process(signal).signal.samples
        for each in (False, True)
    )
    assert np.array_equal(turned, -plain)


def test_the_preamp_clips_at_its_largest_output(signal_of) -> None:
    sine = signal_of(np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ), domain="analogue")
    for clipping in ("hard", "soft"):
        passed = Preamp(60.0, max_output_dbu=24.0, clipping=clipping).process(sine)
        # Published: +24 dBu is 17.361635 V peak. 0.02 dB: the round curve comes near it only slowly.
        assert 20 * math.log10(np.abs(passed.signal.samples).max() / 17.361635) == pytest.approx(0.0, abs=0.02)
        assert np.abs(passed.signal.samples).max() <= 17.361636
        # 100 periods, clipped at the top and at the bottom.
        assert len(passed.clipped or ()) == 200


def test_soft_clipping_is_straight_6_db_below_the_largest_output(signal_of) -> None:
    sine = signal_of(np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ), domain="analogue")
    hard, soft = (
        Preamp(23.0, -math.inf, 24.0, clipping=each, output_noise_dbu=-math.inf).process(sine).signal.samples
        for each in ("hard", "soft")
    )
    straight = np.abs(hard) < 17.361635 / 2
    assert np.array_equal(hard[straight], soft[straight])
    assert np.abs(soft).max() < np.abs(hard).max()


def test_two_strips_do_not_share_their_noise(signal_of) -> None:
    import dataclasses

    quiet = silence(signal_of, 10_000)
    one, other = (
        Preamp(60.0).process(dataclasses.replace(quiet, strip=each)).signal.samples[:, 0] for each in ("voice", "bass")
    )
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.05
    again = Preamp(60.0).process(dataclasses.replace(quiet, strip="voice")).signal.samples[:, 0]
    assert np.array_equal(one, again)


# Published closed form: (2/pi) atan makes harmonic n of a sine with amplitude 4/pi r^n / n, r = (sqrt(1+A²) - 1)/A.
@pytest.mark.parametrize("amplitude", [0.1, 1.0, 3.0])
def test_the_round_part_of_soft_clipping_has_the_harmonics_of_the_arctangent(amplitude: float) -> None:
    # With the onset very far down the whole curve is round: 2/pi atan(pi/2 x).
    sine = amplitude * np.sin(2 * np.pi * np.arange(4096) / 4096)
    harmonics = np.abs(np.fft.rfft(rounded_off(sine, 1.0, 400.0))) / 2048
    argument = amplitude * math.pi / 2
    r = (math.sqrt(1 + argument**2) - 1) / argument
    for n in (1, 3, 5, 7):
        assert harmonics[n] == pytest.approx(4 / math.pi * r**n / n, abs=1e-9)
    assert harmonics[2:12:2].max() < 1e-12


def test_the_soft_clip_never_passes_its_ceiling_and_leaves_the_rest_alone(signal_of) -> None:
    samples = np.random.default_rng(2).standard_normal(10_000) * 3
    stage = SoftClip(-1.0, 6.0)
    out = stage.process(signal_of(samples)).signal.samples[:, 0]
    assert np.abs(out).max() <= 10 ** (-1 / 20)
    below = np.abs(samples) < 10 ** (-7.001 / 20)
    assert np.array_equal(out[below], samples[below])
    assert np.array_equal(np.sort(out), out[np.argsort(samples, kind="stable")])


# Published: EBU R 68-2000 (0 dBFS at +18 dBu), SMPTE RP 155 (+4 dBu at -20 dBFS); peaks in volts of these levels.
@pytest.mark.parametrize(
    ("alignment", "volts"), [("EBU R 68", 8.701430), ("SMPTE RP 155", 17.361635), (22.0, 13.790837), (15, 6.160141)]
)
def test_full_scale_in_volts(signal_of, alignment: str | float, volts: float) -> None:
    assert Converter(alignment).full_scale_volts == pytest.approx(volts, abs=1e-6)
    sine = volts * 10 ** (-6 / 20) * np.sin(2 * np.pi * 1000 * np.arange(4800) / RATE_HZ)
    passed = Converter(alignment, dynamic_range_db=math.inf).process(signal_of(sine, domain="analogue"))
    assert 20 * math.log10(passed.signal.samples.max()) == pytest.approx(-6.0, abs=1e-4)


def converted_error(signal_of, level: float, **values: object) -> np.ndarray:
    sine = level * np.sin(2 * np.pi * 997.123 * np.arange(2**20) / RATE_HZ)
    stage = Converter(18.0, dynamic_range_db=math.inf, **values)  # type: ignore[arg-type]
    passed = stage.process(signal_of(sine * stage.full_scale_volts, domain="analogue"))
    return passed.signal.samples[:, 0] - sine


# Signal to noise of a full-scale sine: 6.0206 N + 1.7609 dB, and 4.771 dB less with triangular dither of two steps
# (published theory: Wannamaker et al. 2000). 0.1 dB with 2^20 samples.
@pytest.mark.parametrize(
    ("bits", "dither", "snr_db"), [(16, False, 98.091), (16, True, 93.319), (24, False, 146.255), (24, True, 141.484)]
)
def test_the_noise_of_rounding(signal_of, bits: int, dither: bool, snr_db: float) -> None:
    level = 1 - 2.0 ** (3 - bits)
    error = converted_error(signal_of, level, bits=bits, dither=dither)
    assert 10 * math.log10(0.5 / np.mean(error**2)) == pytest.approx(snr_db, abs=0.1)
    carried = Converter(18.0, bits, dither, math.inf).process(silence(signal_of, 10)).signal.noise_power
    assert 10 * math.log10(0.5 / carried) == pytest.approx(snr_db, abs=0.001)


def test_dither_takes_the_harmonics_away_at_minus_90_dbfs(signal_of) -> None:
    def fifth_against_first_db(dither: bool) -> float:
        sine = 10 ** (-90 / 20) * np.sin(2 * np.pi * np.arange(2**20) / 1024)
        stage = Converter(18.0, 16, dither, math.inf)
        out = stage.process(signal_of(sine * stage.full_scale_volts, domain="analogue")).signal.samples[:, 0]
        # Averaging 32 stretches of 32 periods each takes the noise down by 15 dB and leaves what repeats.
        levels = np.abs(np.fft.rfft(out.reshape(-1, 2**15).mean(axis=0)))
        assert levels.argmax() == 32
        return 20 * math.log10(levels[5 * 32] / levels[32])

    # Derived: 1.0362 steps of amplitude, rounded, are -1, 0 and 1, switching at theta = asin(0.5/1.0362) = 28.85 deg;
    # harmonic n is 4/(pi n) cos(n theta), so the fifth is cos(144.25 deg)/5 against cos(28.85 deg): -14.63 dB.
    assert fifth_against_first_db(False) == pytest.approx(-14.63, abs=0.2)
    assert fifth_against_first_db(True) < -50


# Total error power in steps² of a constant between two codes: none d², triangular 1/4 for every d (published theory).
@pytest.mark.parametrize("part", [0.0, 0.1, 0.25, 0.5])
def test_dither_makes_the_noise_independent_of_the_signal(signal_of, part: float) -> None:
    step = 2.0**-15
    constant = signal_of(np.full(2**19, 0.25 + part * step) * Converter(18.0).full_scale_volts, domain="analogue")
    for dither, expected in ((False, part**2), (True, 0.25)):
        out = Converter(18.0, 16, dither, math.inf).process(constant).signal.samples[:, 0]
        error = (out - (0.25 + part * step)) / step
        assert np.mean(error**2) == pytest.approx(expected, abs=0.002)
        if dither:
            assert np.mean(error) == pytest.approx(0.0, abs=0.003)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_converters_noise_is_that_of_its_data_sheet(signal_of, rate_hz: int) -> None:
    passed = Converter(18.0, dynamic_range_db=110.0).process(silence(signal_of, rate_hz=rate_hz))
    # -110 dB A-weighted are -107.95 dBFS RMS in 20 kHz (A-weighting takes 2.05 dB off white noise, derived in
    # tests/test_connection.py), as much again up to half the rate. 0.05 dB: four standard errors of the RMS.
    expected = -107.95 + 10 * math.log10(rate_hz / 40_000)
    measured = math.sqrt(np.mean(passed.signal.samples**2)) / AES17_ZERO_RMS
    assert 20 * math.log10(measured) == pytest.approx(expected, abs=0.05)
    assert 10 * math.log10(passed.signal.noise_power / 0.5) == pytest.approx(expected, abs=0.01)


# Derived, -128 dBu and -100 dBu behind the gain: 10 log10 (10^-12.8 + 10^(-10 - gain / 10)).
@pytest.mark.parametrize(
    ("gain_db", "input_dbu"),
    [(0, -99.99), (10, -109.93), (20, -119.36), (30, -125.88), (40, -127.73), (50, -127.97), (60, -128.00)],
)
def test_a_preamps_input_noise_rises_towards_low_gain(signal_of, gain_db: float, input_dbu: float) -> None:
    passed = Preamp(gain_db, input_noise_dbu=-128.0, output_noise_dbu=-100.0).process(silence(signal_of))
    wider = 10 * math.log10(24 / 20)
    assert 10 * math.log10(passed.signal.noise_power / 0.6) - gain_db - wider == pytest.approx(input_dbu, abs=0.006)
    assert rms_dbu(passed.signal.samples) - gain_db - wider == pytest.approx(input_dbu, abs=0.05)


# Derived: 20 log10 of load / (load + source), and half the voltage for one leg of two.
@pytest.mark.parametrize(
    ("ohm", "into", "wiring", "db"),
    [
        (150, "microphone", "balanced", -0.828),
        (200, "microphone", "balanced", -1.087),
        (10_000, "line", "balanced", -6.021),
        (10_000, "instrument", "balanced", -0.086),
        (100, "line", "one leg of two", -6.107),
        (100, "line", "cold to ground", -0.086),
    ],
)
def test_a_cable_loads_the_output_and_may_lose_a_leg(signal_of, ohm: float, into: str, wiring: str, db: float) -> None:
    stage = Cable(ohm, into, wiring)
    passed = stage.process(signal_of(np.ones(10), noise_power=1e-9, domain="analogue")).signal
    assert 20 * math.log10(passed.samples.max()) == pytest.approx(db, abs=0.001)
    assert 10 * math.log10(passed.noise_power / 1e-9) == pytest.approx(db, abs=0.001)
    assert stage.plain_gain_db == pytest.approx(db, abs=0.001)


# Derived: 100 pF a metre across both resistances side by side, -10 log10 (1 + (2 pi f R C)^2).
@pytest.mark.parametrize(
    ("ohm", "metres", "hertz", "db"),
    [
        (100_000, 10, 1000, -1.23),
        (100_000, 10, 5000, -9.62),
        (100_000, 2, 5000, -1.29),
        (10_000, 10, 5000, -0.40),
        (10_000, 30, 10_000, -6.51),
        (150, 100, 10_000, -0.04),
        (0, 20, 10_000, 0.0),
    ],
)
def test_a_long_cable_takes_treble_where_many_ohms_stand_before_it(signal_of, ohm, metres, hertz, db) -> None:
    impulse = np.zeros(RATE_HZ)
    impulse[0] = 1.0
    long, short = (
        Cable(ohm, "instrument", length_m=each).process(signal_of(impulse, noise_power=1e-9, domain="analogue")).signal
        for each in (metres, 0.0)
    )
    heard, whole = (np.abs(np.fft.rfft(each.samples[:, 0])) for each in (long, short))
    assert 20 * math.log10(heard[hertz] / whole[hertz]) == pytest.approx(db, abs=0.6 if hertz == 10_000 else 0.15)
    assert 20 * math.log10(heard[0] / whole[0]) == pytest.approx(0.0, abs=1e-9)
    # White noise keeps the share of its power that the filter passes.
    share = np.mean(heard**2) / np.mean(whole**2)
    assert long.noise_power / short.noise_power == pytest.approx(share, rel=1e-3)
    assert Cable(ohm, length_m=metres).plain_gain_db is None
    assert Cable(ohm).plain_gain_db is not None


def test_what_clips_in_a_converter_stays_clipped_and_a_float_file_keeps_it(signal_of) -> None:
    hot = signal_of(4.0 * np.sin(2 * np.pi * 100 * np.arange(4800) / RATE_HZ))
    kept = StoredFile("float 32").process(hot)
    assert kept.clipped is None
    np.testing.assert_allclose(kept.signal.samples, hot.samples, rtol=2**-24)
    for coding, top in (("fixed 24", 1 - 2.0**-23), ("fixed 16", 1 - 2.0**-15)):
        cut = StoredFile(coding).process(hot)
        assert cut.signal.samples.max() == top
        assert len(cut.clipped or ()) == 20


def test_24_bit_audio_passes_a_float_file_and_a_24_bit_file_bit_for_bit(signal_of) -> None:
    codes = np.random.default_rng(3).integers(-(2**23), 2**23, 10_000) / 2.0**23
    for coding in ("float 32", "fixed 24"):
        out = StoredFile(coding).process(signal_of(codes)).signal.samples[:, 0]
        assert np.array_equal(out, codes)


# *Derived* from the published definitions: -10 dBV is -7.7815 dBu, 11.7815 dB below +4 dBu.
@pytest.mark.parametrize(
    ("send", "receive", "gain_db"),
    [
        ("+4 dBu", "+4 dBu", 0.0),
        ("-10 dBV", "-10 dBV", 0.0),
        ("+4 dBu", "-10 dBV", 11.7815),
        ("-10 dBV", "+4 dBu", -11.7815),
    ],
)
def test_the_insert_is_unity_only_where_both_ends_agree(signal_of, send: str, receive: str, gain_db: float) -> None:
    stage = OutboardInsert("EBU R 68", send, receive, device_noise_dbu=-math.inf, dynamic_range_db=math.inf)
    assert stage.loop_gain_db == pytest.approx(gain_db, abs=5e-5)
    samples = 0.01 * np.random.default_rng(4).uniform(-1, 1, 1000)
    out = stage.process(signal_of(samples)).signal.samples[:, 0]
    np.testing.assert_allclose(out, samples * 10 ** (gain_db / 20), rtol=1e-5)


def test_a_return_trim_mends_the_mismatch_but_not_the_noise(signal_of) -> None:
    quiet = signal_of(np.zeros(COUNT))
    own = {"device_noise_dbu": -80.0, "dynamic_range_db": math.inf}
    matched = OutboardInsert("EBU R 68", **own).process(quiet)
    # Worked: 0 dBFS is +18 dBu at the +4 dBu return, so -80 dBu is -98 dBFS in 20 kHz, +0.792 dB up to 24 kHz.
    assert 10 * math.log10(matched.signal.noise_power / 0.5) == pytest.approx(-98 + 0.792, abs=0.001)
    measured = 10 * math.log10(np.mean(matched.signal.samples**2) / 0.5)
    assert measured == pytest.approx(-97.208, abs=0.05)
    low = OutboardInsert(
        "EBU R 68", "-10 dBV", "+4 dBu", return_gain_db=11.7815, device_noise_dbu=-80.0, dynamic_range_db=math.inf
    )
    assert low.loop_gain_db == pytest.approx(0.0, abs=1e-4)
    assert 10 * math.log10(low.process(quiet).signal.noise_power / 0.5) == pytest.approx(-97.208 + 11.7815, abs=0.001)


@pytest.mark.parametrize(
    ("settings", "noise_dbfs"),
    [
        # Worked: a converter of 110 dB, A-weighted, has -107.95 dBFS in 20 kHz (A takes 2.05 dB off white noise),
        # +0.792 dB up to 24 kHz; two of them at unity are 3.01 dB more.
        ({}, -107.95 + 0.792 + 3.01),
        # The way out passes 12 dB of gain, the way back none: the powers of -95.16 and -107.16 dBFS.
        ({"device_gain_db": 12.0}, 10 * math.log10(10**-9.5158 + 10**-10.7158)),
        # 20 dB less, and 10 dB on the way back, which is in front of its converter.
        ({"device_gain_db": -20.0, "return_gain_db": 10.0}, 10 * math.log10(10**-11.7158 + 10**-10.7158)),
        ({"dynamic_range_db": 100.0}, -97.95 + 0.792 + 3.01),
    ],
)
def test_the_converters_of_the_loop_make_noise_one_in_front_of_the_device_and_one_behind(
    signal_of, settings, noise_dbfs
) -> None:
    loop = OutboardInsert("EBU R 68", device_noise_dbu=-math.inf, **settings).process(signal_of(np.zeros(COUNT)))
    assert 10 * math.log10(loop.signal.noise_power / 0.5) == pytest.approx(noise_dbfs, abs=0.01)
    assert 10 * math.log10(np.mean(loop.signal.samples**2) / 0.5) == pytest.approx(noise_dbfs, abs=0.05)


def test_the_device_clips_at_its_own_level(signal_of) -> None:
    sine = signal_of(np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ))
    stage = OutboardInsert("EBU R 68", device_max_dbu=12.0, device_noise_dbu=-math.inf, dynamic_range_db=math.inf)
    passed = stage.process(sine)
    # +12 dBu against 0 dBFS at +18 dBu: -6 dBFS.
    assert 20 * math.log10(passed.signal.samples.max()) == pytest.approx(-6.0, abs=1e-9)
    assert stage.ceiling == pytest.approx(10 ** (-6 / 20))
    assert len(passed.clipped or ()) == 200


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Source(math.nan), "full_scale_dbu of the source is nan; it must be a finite number"),
        (lambda: Preamp(pad_db=-10.0), "pad_db of the preamp is -10.0; it must be from 0 to 100 dB"),
        (lambda: Preamp(clipping="medium"), "clipping of the preamp is 'medium'; known are hard, soft"),
        (lambda: Converter("EBU R68"), "alignment is 'EBU R68'"),
        (lambda: Converter(18.0, 20), "bits of the converter is 20; it must be 16 or 24"),
        (lambda: Converter(18.0, dynamic_range_db=math.nan), "dynamic_range_db of the converter is nan"),
        (
            lambda: Converter(18.0, dynamic_range_db=-1.0),
            "dynamic_range_db of the converter is -1.0; it must be 0 dB or above",
        ),
        (lambda: Cable(into="speaker"), "into of the cable is 'speaker'; known are instrument, line, microphone"),
        (lambda: Cable(length_m=-1.0), "length_m of the cable is -1.0; it must be from 0 to 1000"),
        (lambda: Cable(-1.0), "source_ohm of the cable is -1.0; it must be from 0 to 1e.06"),
        (lambda: StoredFile("fixed 8"), "coding of the stored file is 'fixed 8'"),
        (lambda: OutboardInsert(18.0, dynamic_range_db=-1.0), "dynamic_range_db of the insert is -1.0; it must be 0"),
        (lambda: OutboardInsert(18.0, send="+4"), r"send of the insert is '\+4'; known are \+4 dBu, -10 dBV"),
        (lambda: SoftClip(onset_db=0.0), "onset_db of the soft clip is 0.0; it must be above 0 dB"),
    ],
)
def test_bad_settings_are_refused(make, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        make()
