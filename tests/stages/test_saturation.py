"""Saturation against harmonics known from outside, and its promises: no folds, same peak, bit for bit at zero."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from gainlib.errors import GainError
from gainlib.meters import crest_db, rms_dbfs
from gainlib.stages import Saturation

RATE_HZ = 48_000

# Drive whose curve is tanh(kx)/tanh(k): 20 log10(k / tanh k), worked by hand (tanh 1 = 0.761594, tanh 2 = 0.964028).
DRIVE_1_DB = 20 * math.log10(1 / 0.7615941559557649)
DRIVE_2_DB = 20 * math.log10(2 / 0.9640275800758169)

# Third harmonic against the first of tanh(A sin t), dB: computed outside by an exact DFT of many points; the leading
# term A²/12 confirms the small ones by hand. Tolerance 0.001 dB (three decimals are given).
THIRD_HARMONICS_DB = [(0.1, -61.605), (0.2, -49.629), (0.5, -34.149), (1.0, -23.500), (2.0, -15.451)]


def spectrum_db(samples: np.ndarray) -> np.ndarray:
    """The levels of a whole number of periods, one bin a Hz for a second."""
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(np.fft.rfft(samples)) / (len(samples) / 2))


def driven(signal_of, stage: Saturation, amplitude: float, frequency_hz: int = 100) -> np.ndarray:
    """The second second of a sine through the stage, when the shelf has settled."""
    sine = amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(3 * RATE_HZ) / RATE_HZ)
    return stage.process(signal_of(sine)).signal.samples[RATE_HZ : 2 * RATE_HZ, 0]


@pytest.mark.parametrize(("argument", "expected_db"), THIRD_HARMONICS_DB)
def test_the_third_harmonic_of_a_sine(signal_of, argument: float, expected_db: float) -> None:
    drive_db, amplitude = (DRIVE_1_DB, argument) if argument <= 1 else (DRIVE_2_DB, argument / 2)
    levels = spectrum_db(driven(signal_of, Saturation(drive_db, 0.0), amplitude))
    assert levels[300] - levels[100] == pytest.approx(expected_db, abs=1e-3)


def test_odd_harmonics_only(signal_of) -> None:
    levels = spectrum_db(driven(signal_of, Saturation(DRIVE_2_DB, 0.0), 1.0))
    assert levels[200:20_000:200].max() < -200


def test_drive_is_the_rise_of_quiet_parts_against_the_peak() -> None:
    for drive_db in (0.5, 3.0, 6.0, 12.0, 18.0):
        stage = Saturation(drive_db)
        small, full = stage.curve(np.array([1e-6, 1.0]))
        assert full == pytest.approx(1.0, rel=1e-12)
        assert 20 * math.log10(small / 1e-6) == pytest.approx(drive_db, abs=1e-6)


@pytest.mark.parametrize("bits", [16, 24])
def test_at_zero_drive_fixed_point_audio_passes_bit_for_bit(signal_of, bits: int) -> None:
    codes = np.random.default_rng(bits).integers(-(2 ** (bits - 1)), 2 ** (bits - 1), (5000, 2))
    samples = codes / 2.0 ** (bits - 1)
    passed = Saturation(0.0, 12.0).process(signal_of(samples))
    assert np.array_equal(passed.signal.samples, samples)
    assert passed.readings["distortion_db"] == -math.inf


def test_a_little_drive_changes_little(signal_of) -> None:
    # Nothing jumps when the control leaves zero: 0.01 dB of drive may change a full-scale sample by 0.01 dB at most.
    samples = np.random.default_rng(3).uniform(-1, 1, 20_000)
    out = Saturation(0.01, 6.0).process(signal_of(samples)).signal.samples[:, 0]
    assert np.abs(out - samples).max() < 0.0012


# A tone stepped through the band: everything that is no harmonic of it, below half the rate, against full scale.
@pytest.mark.parametrize(
    ("drive_db", "low_end_db", "rate_hz"),
    [
        (1.0, 0.0, 48_000),
        (4.0, 6.0, 48_000),
        (12.0, 0.0, 48_000),
        (12.0, 12.0, 48_000),
        (18.0, 0.0, 44_100),
        (6.0, 6.0, 96_000),
    ],
)
def test_a_swept_tone_folds_nothing_back_above_minus_90_db(
    signal_of, drive_db: float, low_end_db: float, rate_hz: int
) -> None:
    stage = Saturation(drive_db, low_end_db)
    worst = -math.inf
    window = np.kaiser(16_384, 24)
    hz = np.fft.rfftfreq(16_384, 1 / rate_hz)
    # 24 tones from 900 Hz to 20 kHz, off the grid of anything, each long enough for the shelf to settle.
    for tone_hz in np.geomspace(911.3, 19_990.7, 24):
        sine = np.sin(2 * np.pi * tone_hz / rate_hz * np.arange(24_576))
        out = stage.process(signal_of(sine, rate_hz)).signal.samples[4096 : 4096 + 16_384, 0]
        levels = 20 * np.log10(np.abs(np.fft.rfft(out * window)) / (window.sum() / 2) + 1e-15)
        harmonics = tone_hz * np.arange(1, rate_hz / 2 / tone_hz, 2)
        # The window's main lobe is 26 bins wide in all.
        own = (np.abs(hz[:, None] - harmonics) < 14 * rate_hz / 16_384).any(axis=1) | (hz < 60)
        worst = max(worst, levels[~own].max())
    assert worst < -90


def test_a_tone_above_full_scale_is_oversampled_more(signal_of) -> None:
    stage = Saturation(4.0, 6.0)
    assert stage.oversampling(RATE_HZ) == 4
    assert stage.oversampling(RATE_HZ, peak=4.0) > 4
    levels = spectrum_db(driven(signal_of, stage, 4.0, 19_000))
    levels[19_000] = -300
    # Against its own peak, +12 dBFS. Odd harmonics of 19 kHz fold to 1 kHz steps.
    assert levels.max() - 20 * math.log10(4) < -90


def test_without_oversampling_the_same_curve_does_fold(signal_of) -> None:
    # The yardstick above is not blind: the bare curve puts folds far above -90 dB.
    sine = np.sin(2 * np.pi * 7000 * np.arange(RATE_HZ) / RATE_HZ)
    levels = spectrum_db(Saturation(6.0).curve(sine))
    assert levels[48_000 - 5 * 7000] > -60


@settings(max_examples=25, deadline=None)
@given(st.floats(0.1, 18), st.floats(0, 18), st.floats(-30, 12), st.integers(0, 2**31))
def test_drive_never_moves_the_peak(signal_of, drive_db: float, low_end_db: float, level_db: float, seed: int) -> None:
    samples = 10 ** (level_db / 20) * np.random.default_rng(seed).uniform(-1, 1, (3000, 2))
    out = Saturation(drive_db, low_end_db).process(signal_of(samples)).signal.samples
    assert np.abs(out).max() == pytest.approx(np.abs(samples).max(), rel=1e-12)


def test_drive_adds_density(signal_of) -> None:
    draw = np.random.default_rng(5)
    samples = 0.25 * draw.laplace(size=RATE_HZ) / 4
    crests, levels = [], []
    for drive_db in (0.0, 3.0, 6.0, 12.0):
        out = Saturation(drive_db).process(signal_of(samples)).signal.samples
        crests.append(float(crest_db(out)[0]))
        levels.append(float(rms_dbfs(out)[0]))
    assert crests == sorted(crests, reverse=True)
    assert levels == sorted(levels)
    assert crests[0] - crests[-1] > 1.0


def test_the_low_end_is_bent_more(signal_of) -> None:
    low, high = (
        Saturation(9.0, 9.0).process(signal_of(0.5 * np.sin(2 * np.pi * hz * np.arange(RATE_HZ) / RATE_HZ))).readings
        for hz in (60, 6000)
    )
    assert low["distortion_db"] > high["distortion_db"] + 6


def test_the_high_end_comes_back_as_it_was(signal_of) -> None:
    # The shelf takes 12.0412 dB, a quarter, off a tone far above it and gives it back: the curve sees A = 2/4, and the
    # harmonic, taken down by nothing and given back as much as the tone, stands where the table has it for A = 0.5.
    # 0.4 dB: at 6 kHz the shelf is 0.1 dB short of its end, and the third harmonic goes with the square.
    out = driven(signal_of, Saturation(DRIVE_2_DB, 12.0412), 1.0, 6000)
    levels = spectrum_db(out)
    assert levels[18_000] - levels[6000] == pytest.approx(-34.149, abs=0.4)


def thd_of_tanh(argument: float) -> float:
    """Total harmonic distortion of tanh(A sin t) against the whole, by numeric integration of its powers."""
    power = quad(lambda t: math.tanh(argument * math.sin(t)) ** 2, 0, 2 * math.pi)[0] / (2 * math.pi)
    first = quad(lambda t: math.tanh(argument * math.sin(t)) * math.sin(t), 0, 2 * math.pi)[0] / math.pi
    return math.sqrt(1 - first**2 / 2 / power)


@pytest.mark.parametrize("amplitude", [0.1, 0.3, 1.0])
def test_the_distortion_reading_of_a_sine_is_its_thd(signal_of, amplitude: float) -> None:
    sine = amplitude * np.sin(2 * np.pi * 100 * np.arange(2 * RATE_HZ) / RATE_HZ)
    readings = Saturation(DRIVE_2_DB, 0.0).process(signal_of(sine)).readings
    # The start of the tone, where the filters fill, weighs next to nothing: 0.1 %.
    assert readings["distortion_percent"] == pytest.approx(100 * thd_of_tanh(2 * amplitude), rel=1e-3)
    assert readings["distortion_db"] == pytest.approx(20 * math.log10(readings["distortion_percent"] / 100), abs=1e-9)


def test_several_in_series_bend_more_than_one(signal_of) -> None:
    signal = signal_of(0.7 * np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ))
    once = Saturation(3.0).process(signal).signal
    twice = Saturation(3.0).process(once).signal
    third_once, third_twice = (spectrum_db(each.samples[:, 0])[300] for each in (once, twice))
    assert third_twice > third_once + 3
    assert np.abs(twice.samples).max() == pytest.approx(0.7, rel=1e-9)


def test_louder_into_it_is_more_distortion(signal_of) -> None:
    sine = np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ)
    soft, loud = (Saturation(6.0).process(signal_of(level * sine)).readings["distortion_db"] for level in (0.1, 0.8))
    assert loud > soft + 20


def test_the_noise_floor_rises_by_the_gain_of_quiet_parts(signal_of) -> None:
    signal = signal_of(np.sin(2 * np.pi * 100 * np.arange(RATE_HZ) / RATE_HZ), noise_power=1e-10)
    passed = Saturation(6.0, 0.0).process(signal)
    gain_db = 6.0 + passed.readings["compensation_db"]
    assert 10 * math.log10(passed.signal.noise_power / 1e-10) == pytest.approx(gain_db, abs=1e-6)
    # Full scale stays full scale, so the compensation of a full-scale sine is next to nothing.
    assert passed.readings["compensation_db"] == pytest.approx(0.0, abs=0.01)


def test_blocks_leave_no_seam(signal_of) -> None:
    # Time-shifting the input by a block and a bit only shifts the output: no block edge is heard.
    samples = np.random.default_rng(6).uniform(-1, 1, 40_000)
    late = np.concatenate((np.zeros(16_501), samples))
    one = Saturation(6.0).process(signal_of(samples)).signal.samples[:, 0]
    other = Saturation(6.0).process(signal_of(late)).signal.samples[16_501:, 0]
    np.testing.assert_allclose(one[300:], other[300:], atol=1e-12)


def test_the_latency_is_that_of_the_filters() -> None:
    # Worked: (83 + 87)/2 samples for the steep pair, (15 + 15)/4 for the wide one at 4 times, half of that more at 8.
    assert Saturation(4.0, 6.0).latency_samples(RATE_HZ) == 93
    assert Saturation(6.0, 6.0).latency_samples(RATE_HZ) == 97
    assert Saturation(0.0).latency_samples(RATE_HZ) == 0


@pytest.mark.parametrize("count", [1, 2, 100])
def test_a_handful_of_samples_passes(signal_of, count: int) -> None:
    out = Saturation(6.0).process(signal_of(np.full(count, 0.5))).signal.samples
    assert out.shape == (count, 1)
    assert np.isfinite(out).all()


def test_bad_settings_are_refused(signal_of) -> None:
    with pytest.raises(GainError, match="drive_db of the saturation is 30; it must be from 0 to 18 dB"):
        Saturation(30)
    with pytest.raises(GainError, match="the saturation got a signal at 4000 Hz; it works from 8000 Hz"):
        Saturation(3.0).process(signal_of(np.zeros(10), 4000))
    with pytest.raises(GainError, match="low_end_db of the saturation is -1; it must be from 0 to 18 dB"):
        Saturation(3.0, -1)


def test_a_bias_makes_even_harmonics(signal_of) -> None:
    """Derived: the exact DFT of tanh(sin t + 0.2), dB against its first harmonic; whole periods, four decimals."""
    levels = spectrum_db(driven(signal_of, Saturation(DRIVE_1_DB, 0.0, bias=0.2), 1.0, 1000))
    for harmonic, expected_db in ((2, -23.13), (3, -24.20), (4, -40.46)):
        assert levels[1000 * harmonic] - levels[1000] == pytest.approx(expected_db, abs=0.01)
    # tanh(sin t + 0.2) - tanh(0.2) has a mean of 0.064: it is taken out, as a coupling capacitor would.
    assert levels[0] < -40


@pytest.mark.parametrize(("argument_db", "expected_db"), [(6.0, -28.1), (12.0, -17.9)])
def test_without_oversampling_harmonics_come_back(signal_of, argument_db: float, expected_db: float) -> None:
    """Derived: all aliases of tanh(A sin) of 5 kHz at 48 kHz together, against the tone; those of 4800 samples."""
    bend = 10 ** (argument_db / 20)
    drive_db = 20 * math.log10(bend / math.tanh(bend))
    for oversampled, least_db, most_db in (
        (False, expected_db - 0.1, expected_db + 0.1),
        (True, -math.inf, -90.0),
    ):
        stage = Saturation(drive_db, 0.0, oversampled=oversampled)
        powers = 10 ** (spectrum_db(driven(signal_of, stage, 1.0, 5000)) / 10)
        folded = powers[1:].sum() - powers[5000::5000][[0, 2]].sum() - powers[10_000] - powers[20_000]
        found_db = 10 * math.log10(max(folded, 1e-30) / powers[5000])
        assert least_db <= found_db <= most_db


def test_of_1_khz_at_48_khz_what_comes_back_falls_on_harmonics(signal_of) -> None:
    """Derived: 48 is a whole number, so each alias of n kHz is itself a whole number of kHz."""
    levels = spectrum_db(driven(signal_of, Saturation(12.0, 0.0, oversampled=False), 1.0, 1000))
    between = np.delete(levels, np.arange(0, len(levels), 1000))
    assert between.max() < -150
    levels = spectrum_db(driven(signal_of, Saturation(12.0, 0.0, oversampled=False), 1.0, 997))
    assert np.delete(levels, np.arange(0, len(levels), 997)).max() > -100


def test_the_level_that_drive_makes_can_stay(signal_of) -> None:
    """Derived: far below full scale the curve is a straight line with the drive as its slope."""
    quiet = 1e-4 * np.sin(np.arange(4800) / 10)
    for holds_peak, rise_db in ((True, 0.0), (False, 6.0)):
        result = Saturation(6.0, holds_peak=holds_peak).process(signal_of(quiet))
        peak = np.abs(result.signal.samples).max() / np.abs(quiet).max()
        assert 20 * math.log10(peak) == pytest.approx(rise_db, abs=1e-3)
        assert result.readings["compensation_db"] == pytest.approx(rise_db - 6.0, abs=1e-3)
