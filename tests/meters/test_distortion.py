"""Harmonics, THD, THD+N, intermodulation and nulls against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.errors import GainError
from gainlib.meters import harmonics, intermodulation, null, thd_n_percent, tone_frequency_hz

RATE_HZ = 192_000  # far above the tones, so that what folds back is far down


def turns(frequency_hz, seconds=0.5, rate_hz=RATE_HZ):
    return 2 * np.pi * frequency_hz / rate_hz * np.arange(round(seconds * rate_hz))


# A sine of 1 clipped at a level: b1 = 2/pi (a + sin a cos a), bn = 2/(pi n) (sin((n-1)a)/(n-1) + sin((n+1)a)/(n+1)),
# sin a the clip level. Derived by hand, evaluated outside: (clip dB, h1 dB, h3/h1, h5/h1, h7/h1, h9/h1 dB)
CLIPPED = [
    (-0.5, -0.1379, -36.71, -38.37, -41.07, -45.20),
    (-1.0, -0.3758, -28.67, -32.14, -38.51, -54.02),
    (-3.0, -1.7336, -17.77, -31.67, -34.72, -41.17),
    (-6.0, -4.2890, -12.92, -26.99, -35.68, -32.93),
    (-10.0, -8.0501, -10.77, -17.90, -25.80, -39.45),
    (-12.0, -9.9945, -10.30, -16.34, -21.94, -28.47),
    (-20.0, -17.9163, -9.66, -14.33, -17.61, -20.28),
]


@pytest.mark.parametrize(("clip_db", "first", "third", "fifth", "seventh", "ninth"), CLIPPED)
def test_a_clipped_sine(worst, clip_db, first, third, fifth, seventh, ninth):
    # 20.1 Hz: what folds back at 192 kHz is some 80 dB below the weakest harmonic here.
    level = 10 ** (clip_db / 20)
    found = harmonics(np.clip(np.sin(turns(20.1, 1.0)), -level, level), RATE_HZ, fundamental_hz=20.1)
    deviation = 20 * math.log10(found.amplitude[0, 0]) - first
    assert worst("clipped sine, fundamental, seven clip levels", deviation, "dB", 0.0005) < 0.0005
    for order, expected in ((3, third), (5, fifth), (7, seventh), (9, ninth)):
        deviation = found.relative_db(order)[0] - expected
        # Two printed decimals, and a corner that falls between samples: 0.02 dB on a harmonic at -54 dB.
        assert worst("clipped sine, harmonics 3 to 9, seven clip levels", deviation, "dB", 0.02) < 0.02
    for order in (2, 4, 6, 8, 10):
        assert found.relative_db(order)[0] < -100, "an odd curve makes odd harmonics only"


# Whole distortion of waveforms, closed form: sqrt(pi²/8-1), sqrt(pi⁴/96-1), sqrt(pi²/6-1), and over the total.
@pytest.mark.parametrize(
    ("name", "wave", "expected", "of_total"),
    [
        ("square", lambda phase: np.sign(np.sin(phase)), 48.343, 43.524),
        ("triangle", lambda phase: np.arcsin(np.sin(phase)), 12.115, 12.027),
        ("sawtooth", lambda phase: np.mod(phase / np.pi, 2) - 1, 80.309, 62.617),
    ],
)
def test_waveforms_with_all_their_harmonics(name, wave, expected, of_total):
    # 400 harmonics of 20.03 Hz; the rest would add 0.16 % to a sawtooth and less to the others.
    found = harmonics(wave(turns(20.03, 0.12) + 0.1), RATE_HZ, fundamental_hz=20.03, count=400)
    assert found.thd_percent[0] == pytest.approx(expected, abs=0.2), name
    assert found.thd_of_total_percent[0] == pytest.approx(of_total, abs=0.15), name


@pytest.mark.parametrize("amplitude", [0.1, 0.5, 1.0])
def test_shapers_in_closed_form(amplitude):
    sine = amplitude * np.sin(turns(100))
    # x - x³/3: h3/h1 = A²/(12 - 3A²). 2/pi atan x: bn = 4/pi r^n/n, r = (sqrt(1+A²)-1)/A.
    cubic = harmonics(sine - sine**3 / 3, RATE_HZ)
    assert cubic.relative_db(3)[0] == pytest.approx({0.1: -61.562, 0.5: -33.064, 1.0: -19.085}[amplitude], abs=0.001)
    ratio = (math.sqrt(1 + amplitude**2) - 1) / amplitude
    arctangent = harmonics(2 / np.pi * np.arctan(sine), RATE_HZ)
    for order in (1, 3, 5, 7, 9):
        expected = 4 / math.pi * ratio**order / order
        assert arctangent.amplitude[order - 1, 0] == pytest.approx(expected, rel=1e-6, abs=1e-10)
    # |x|: DC 2A/pi, h2 = 4A/(3 pi), h4 = 4A/(15 pi), no odd ones.
    folded = harmonics(np.abs(sine), RATE_HZ, fundamental_hz=100.0)
    found = folded.offset[0], folded.amplitude[1, 0], folded.amplitude[3, 0], folded.amplitude[2, 0]
    assert found == pytest.approx([amplitude * each for each in (0.636620, 0.424413, 0.084883, 0)], abs=1e-5)


@pytest.mark.parametrize("order", range(2, 9))
def test_chebyshev_polynomials_make_one_harmonic(order):
    # T_n(cos t) = cos nt, an identity.
    wave = np.polynomial.chebyshev.Chebyshev.basis(order)(np.cos(turns(100)))
    found = harmonics(wave, RATE_HZ, fundamental_hz=100.0, count=10).amplitude[:, 0]
    assert found[order - 1] == pytest.approx(1.0, abs=1e-9)
    assert np.delete(found, order - 1).max() < 1e-9


@pytest.mark.parametrize("frequency_hz", [30.0, 99.9, 997.0, 997.37, 5000.1])
@pytest.mark.parametrize("seconds", [0.2, 1.0, 12.0])
def test_the_tone_is_found(frequency_hz, seconds):
    phase = turns(frequency_hz, seconds, 48_000)
    wave = np.sin(phase) + 0.1 * np.sin(2 * phase + 1) + 0.05 * np.sin(3 * phase)
    assert tone_frequency_hz(wave, 48_000) == pytest.approx(frequency_hz, rel=1e-9)
    assert harmonics(wave, 48_000).thd_percent[0] == pytest.approx(100 * math.hypot(0.1, 0.05), rel=1e-6)


def test_a_tone_in_noise_is_found():
    wave = np.sin(turns(997.3, 2.0, 48_000)) + 0.1 * np.random.default_rng(2).standard_normal(96_000)
    # The bound of Cramér and Rao for this noise is 3e-4 Hz.
    assert tone_frequency_hz(wave, 48_000) == pytest.approx(997.3, abs=2e-3)


@pytest.mark.parametrize("method", ["fit", "notch"])
@pytest.mark.parametrize(("dither", "expected_db"), [(False, -98.09), (True, -93.32)])
def test_thd_n_of_16_bits(worst, method, dither, expected_db):
    # A full-scale sine over 16-bit rounding, 6.02 N + 1.76 dB, and with triangular dither 4.77 dB less (published:
    # Wannamaker, Lipshitz, Vanderkooy, Wright, IEEE Trans. SP 48(2), 2000); whole band.
    rng = np.random.default_rng(1)
    step = 2.0**-15
    wave = (1 - 2 * step) * np.sin(turns(997, 4, 48_000))
    added = rng.random(len(wave)) - rng.random(len(wave)) if dither else 0.0
    rounded = np.round(wave / step + added) * step
    found = 20 * math.log10(thd_n_percent(rounded, 48_000, method=method, bandwidth_hz=None)[0] / 100)
    # The notch takes noise with it: pi/2 times 997/3 Hz of 24 kHz, 0.1 dB.
    taken = 10 * math.log10(1 - math.pi / 2 * 997 / 3 / 24_000) if method == "notch" else 0.0
    assert worst(f"16-bit THD+N, {method}", found - expected_db - taken, "dB", 0.1) < 0.1
    # 20 kHz of 24 kHz hold 0.79 dB less of white noise.
    narrow = 20 * math.log10(thd_n_percent(rounded, 48_000, method=method)[0] / 100)
    assert narrow - found == pytest.approx(10 * math.log10(20 / 24), abs=0.05)


@pytest.mark.parametrize("method", ["fit", "notch"])
def test_thd_n_is_over_the_total_and_not_below_thd(method):
    phase = turns(997, 2.0, 48_000)
    wave = np.sin(phase) + 0.1 * np.sin(5 * phase) + 0.2
    # 0.1 / sqrt(1.01) = 9.950 %. At the fifth harmonic the notch of Q 3 passes 1 / sqrt(1 + (1 / (3 x 4.8))²) = 0.9976.
    # The offset does not count.
    passed = 0.9976 if method == "notch" else 1.0
    assert thd_n_percent(wave, 48_000, method=method)[0] == pytest.approx(9.950 * passed, abs=0.005)


def test_intermodulation_of_a_square_law():
    # x + a x² of A sin p + B sin q: tones at q - p and q + p of a A B each, 2p and 2q of a A²/2 and a B²/2.
    low, high = 0.8 * np.sin(turns(60)), 0.2 * np.sin(turns(7000))
    pair = low + high
    found = intermodulation(pair + 0.01 * pair**2, RATE_HZ, 60, 7000)
    assert found.of(1, 0)[0] == pytest.approx(0.8, abs=1e-9)
    assert found.of(0, 1)[0] == pytest.approx(0.2, abs=1e-9)
    assert found.of(1, 1)[0] == pytest.approx(0.01 * 0.16, abs=1e-9)
    assert found.of(-1, 1)[0] == pytest.approx(0.01 * 0.16, abs=1e-9)
    assert found.of(2, 0)[0] == pytest.approx(0.0032, abs=1e-9)
    assert found.of(2, 1)[0] == pytest.approx(0.0, abs=1e-9)
    assert found.modulation_percent[0] == pytest.approx(100 * 2 * 0.01 * 0.16 / 0.2, abs=1e-6)


def test_difference_tones_of_a_cubic_law():
    # x + b x³ of A (sin p + sin q): 2p - q and 2q - p of 3/4 b A³, and each tone gains 9/4 b A³.
    pair = 0.5 * (np.sin(turns(19_000)) + np.sin(turns(20_000)))
    found = intermodulation(pair + 0.04 * pair**3, RATE_HZ, 19_000, 20_000)
    third, tone = 0.75 * 0.04 * 0.125, 0.5 + 2.25 * 0.04 * 0.125
    assert found.of(2, -1)[0] == pytest.approx(third, abs=1e-9)
    assert found.of(-1, 2)[0] == pytest.approx(third, abs=1e-9)
    assert found.difference_percent[0] == pytest.approx(100 * 2 * third / (2 * tone), abs=1e-6)


@pytest.mark.parametrize("delay", [0.0, 0.3, 7.25, -100.5, 480.0])
@pytest.mark.parametrize("gain", [0.7, -1.9])
def test_a_delayed_copy_nulls(delay, gain):
    # A smooth burst of noise below 0.4 of the rate, delayed in the frequency domain. (Noise up to the very edge of the
    # band rings on for thousands of samples when it is delayed by parts of one, and no recording holds all of that.)
    size = 1 << 15
    noise = np.random.default_rng(3).standard_normal((size, 2)) * np.hanning(size)[:, None]
    noise = np.concatenate((np.zeros((1000, 2)), noise, np.zeros((1000, 2))))
    lines = np.fft.rfft(noise, axis=0)
    lines *= np.interp(np.arange(len(lines)) / len(lines), [0.0, 0.7, 0.8, 1.0], [1.0, 1.0, 0.0, 0.0])[:, None]
    noise = np.fft.irfft(lines, len(noise), axis=0)
    shift = np.exp(-2j * np.pi * np.fft.rfftfreq(len(noise)) * delay)[:, None]
    moved = gain * np.fft.irfft(lines * shift, len(noise), axis=0)
    found = null(noise, moved, 48_000)
    assert found.delay_seconds * 48_000 == pytest.approx(delay, abs=1e-6)
    assert found.gain == pytest.approx(gain, rel=1e-6)
    assert found.null_depth_db > 100


def test_the_rest_of_a_null_is_what_was_added():
    rng = np.random.default_rng(4)
    take, added = rng.standard_normal((2, 48_000))
    found = null(take, 0.5 * take + 0.005 * added, 48_000)
    # Unrelated noise 40 dB below: the rest is that noise, over signal and noise; ±0.05 dB of sampling.
    assert found.residual_db == pytest.approx(-40.0, abs=0.1)
    assert found.gain_db == pytest.approx(-6.0206, abs=0.01)
    assert null(take, take, 48_000).residual_db < -250


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: harmonics(np.zeros(4800), 48_000), "silence or a constant"),
        (lambda: harmonics(np.full(4800, 0.3), 48_000), "silence or a constant"),
        (lambda: harmonics(np.ones(5), 48_000), "holds 5 samples; a tone needs at least 8"),
        (lambda: harmonics(np.ones(0), 48_000), "samples is empty"),
        (lambda: harmonics(np.array([0.0, np.nan]), 48_000), "holds nan"),
        (lambda: harmonics(np.ones(100), 0), "rate_hz is 0"),
        (lambda: harmonics(np.ones(100), 48_000, fundamental_hz=24_000.0), "must lie between 0 and 24000 Hz"),
        (lambda: harmonics(np.ones(30), 48_000, fundamental_hz=100.0), "10 tones need at least 42"),
        (lambda: harmonics(np.sin(turns(100)), RATE_HZ).relative_db(11), "order is 11; harmonics 1 to 10"),
        (lambda: thd_n_percent(np.sin(turns(100, 0.01)), RATE_HZ), "use method='fit'"),
        (lambda: thd_n_percent(np.sin(turns(100)), RATE_HZ, method="ear"), "method is 'ear'"),
        (lambda: intermodulation(np.ones(4800), 48_000, 7000, 60), "low_hz is 7000, high_hz 60; they must rise"),
        (lambda: intermodulation(np.ones(64), 48_000, 60, 7000), "too short to tell the two tones apart"),
        (lambda: null(np.zeros(4800), np.ones(4800), 48_000), "reference is silent"),
        (lambda: null(np.ones(4800), np.zeros(4800), 48_000), "signal is silent"),
        (lambda: null(np.ones(4800), np.ones(4801), 48_000), r"reference is \(4800, 1\), signal \(4801, 1\)"),
        (lambda: null(np.ones(100), np.ones(100), 48_000), "a null needs at least 256"),
    ],
)
def test_bad_input_is_one_sentence(ask, message):
    with pytest.raises(GainError, match=message):
        ask()
