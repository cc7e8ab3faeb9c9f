"""True peak against ITU-R BS.1770-5 Annex 2, EBU Tech 3341 cases 15 to 23, closed forms and a zero-padded transform."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from gainlib.errors import GainError
from gainlib.meters import curve_between, peak_dbfs, true_peak_dbtp

RATES_HZ = [44_100, 48_000, 96_000]
YARDSTICK = 0.01  # dB: against the exact interpolation


def db(ratio):
    return 20 * math.log10(ratio)


# Tech 3341 Table 1 (2023): case, share of the rate, amplitude, start phase, expected dBTP; tolerance +0.2/-0.4 dB.
STEADY = [
    (15, 1 / 4, 0.50, 0.0, -6.0),
    (16, 1 / 4, 0.50, 45.0, -6.0),
    (17, 1 / 6, 0.50, 60.0, -6.0),
    (18, 1 / 8, 0.50, 67.5, -6.0),
    (19, 1 / 4, 1.41, 45.0, 3.0),
]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(("case", "share", "peak", "degrees", "expected"), STEADY)
def test_tech_3341_steady_sines(signals, worst, case, share, peak, degrees, expected, rate_hz):
    take = signals.steady_sine(share, peak, degrees, rate_hz)
    reading = true_peak_dbtp(np.stack([take, take], axis=1))
    assert reading[0] == reading[1]
    assert expected - 0.4 < reading[0] < expected + 0.2, "EBU Tech 3341 Table 1 (published)"
    for name, exact in (("transform", db(signals.dft_peak(take))), ("amplitude", db(peak))):
        deviation = reading[0] - exact
        assert worst(f"Tech 3341 case {case} against its {name}, 44.1/48/96 kHz", deviation, "dB", YARDSTICK) < (
            YARDSTICK
        )


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_tech_3341_bursts(signals, worst, offset, rate_hz):
    take = signals.high_rate_burst(offset, rate_hz)
    reading = true_peak_dbtp(take)[0]
    assert -0.4 < reading < 0.2, "EBU Tech 3341 Table 1 (published: 0.0)"
    # The low-pass costs the burst 0.078 dB: another implementation's transform of the same construction.
    deviations = reading - db(signals.dft_peak(take)), reading + 0.078
    assert worst(f"Tech 3341 case {20 + offset}, 44.1/48/96 kHz", deviations, "dB", YARDSTICK) < YARDSTICK


# BS.1770-5 Annex 2 section 3, as printed: phases 0 and 1; phases 2 and 3 are these reversed.
PRINTED = np.array(
    [
        [0.0017089843750, 0.0109863281250, -0.0196533203125, 0.0332031250000, -0.0594482421875, 0.1373291015625,
         0.9721679687500, -0.1022949218750, 0.0476074218750, -0.0266113281250, 0.0148925781250, -0.0083007812500],
        [-0.0291748046875, 0.0292968750000, -0.0517578125000, 0.0891113281250, -0.1665039062500, 0.4650878906250,
         0.7797851562500, -0.2003173828125, 0.1015625000000, -0.0582275390625, 0.0330810546875, -0.0189208984375],
    ]
)  # fmt: skip


def test_steady_tones_up_to_0_45_of_the_rate(signals, worst):
    allowed, printed_worst = 0.0, 0.0
    shares = [0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.38, 0.4, 0.41, 0.42, 0.43, 0.44, 0.45]
    for share in shares:
        for degrees in np.linspace(0, 90, 9):
            take = signals.steady_sine(share, 0.9, degrees, 48_000)
            exact = signals.dft_peak(take)
            reading = true_peak_dbtp(take)[0]
            allowed = worst("steady tones, 0.02 to 0.45 of the rate", reading - db(exact), "dB", YARDSTICK)
            assert allowed < YARDSTICK, f"{share} of the rate at {degrees}°"
            phases = [*PRINTED, *PRINTED[:, ::-1]]
            printed = max(np.abs(np.convolve(take, phase)).max() for phase in phases)
            printed_worst = max(printed_worst, abs(db(printed / exact)))
    # The printed filter is known to be 0.2 to 0.5 dB off in this range; this one has to do far better.
    assert printed_worst > 0.2


def test_peaks_between_the_samples_in_closed_form(signals):
    # BS.1770-5 Annex 2, attachment 1: a sine at rate/n whose samples miss the crest by half a step: 20 log10 cos(pi/n).
    for divisor, degrees, over in ((4, 45.0, 3.0103), (6, 60.0, 1.2494), (8, 67.5, 0.6877)):
        take = signals.steady_sine(1 / divisor, 0.5, degrees, 48_000)
        assert true_peak_dbtp(take)[0] - peak_dbfs(take)[0] == pytest.approx(over, abs=0.01)


@pytest.mark.parametrize("cycles", [0.01, 0.11, 0.25, 0.45])
def test_the_curve_between_samples_is_the_sine_that_they_were_taken_from(cycles):
    def wave(at):
        return 0.8 * np.sin(2 * np.pi * cycles * at + 1.0)

    curve = curve_between(wave(np.arange(400)), 16)
    inner = slice(16 * 50, 16 * 350)
    # 0.003 dB is what the taps' comment promises.
    assert curve[inner] == pytest.approx(wave(np.arange(6400) / 16)[inner], abs=0.8 * (10 ** (0.003 / 20) - 1))


@pytest.mark.parametrize("rate_hz", [6_000, 8_000, 22_050, 64_000, 88_200, 176_400, 192_000, 384_000])
def test_every_rate_is_oversampled(signals, rate_hz):
    # The reading does not know the rate; at 192 kHz and above a peak between samples is still a peak.
    take = signals.steady_sine(0.25, 0.5, 45.0, rate_hz)
    assert true_peak_dbtp(take)[0] == pytest.approx(-6.0206, abs=0.01)


@pytest.mark.parametrize("where", ["start", "end"])
def test_both_ends_are_flushed(where):
    # Two samples of 0.9 with silence around: half-way between them stand 2 x 0.9 sinc(1/2) = 1.1459, +1.183 dBTP.
    take = np.zeros(200)
    take[slice(0, 2) if where == "start" else slice(-2, None)] = 0.9
    assert true_peak_dbtp(take)[0] == pytest.approx(1.183, abs=0.01)
    assert true_peak_dbtp(np.array([0.9, 0.9]))[0] == pytest.approx(1.183, abs=0.01)


def test_one_sample_and_silence():
    assert true_peak_dbtp(np.array([0.5]))[0] == pytest.approx(-6.0206, abs=1e-4)
    assert true_peak_dbtp(np.zeros((100, 9))).tolist() == [-math.inf] * 9


def test_a_constant_that_starts_and_stops(signals):
    # Half a sample after its start the curve stands at 1/2 + 2/pi = 1.1366 of it (Leibniz' series); the crest is near.
    over = true_peak_dbtp(np.full(2000, 0.5))[0] - db(0.5)
    assert db(0.5 + 2 / math.pi) < over < db(0.5 + 2 / math.pi) + 0.05
    padded = np.concatenate((np.zeros(8000), np.full(2000, 0.5), np.zeros(8000)))
    assert over == pytest.approx(db(signals.dft_peak(padded) / 0.5), abs=0.02)


takes = arrays.arrays(np.float64, st.integers(1, 1500), elements=st.floats(-1, 1))


@given(takes)
def test_never_below_the_sample_peak(take):
    assert true_peak_dbtp(take)[0] >= peak_dbfs(take)[0]


@given(takes, st.sampled_from([-600.0, -200.0, -20.0, 200.0, 600.0]))
def test_level_only_shifts_the_reading(take, gain_db):
    # Single precision inside must neither overflow nor lose small signals.
    before, after = true_peak_dbtp(take)[0], true_peak_dbtp(take * 10 ** (gain_db / 20))[0]
    if before > -600:
        assert after == pytest.approx(before + gain_db, abs=1e-5)


def test_float32_and_float64_read_the_same(signals):
    take = signals.high_rate_burst(1, 48_000)
    assert true_peak_dbtp(take.astype(np.float32))[0] == pytest.approx(true_peak_dbtp(take)[0], abs=1e-5)


def test_a_short_burst_late_in_a_loud_take_is_found(signals):
    # What lies well below the top so far is passed over; a burst whose samples miss its crest must not be.
    take = 0.5 * np.sin(2 * np.pi * 0.01 * np.arange(48_000))
    turns = 0.25 * np.arange(200) + 0.125
    take[30_000:30_200] = 0.6 * np.hanning(200) * np.sin(2 * np.pi * turns)
    assert peak_dbfs(take)[0] == pytest.approx(db(0.5), abs=1e-3)
    assert true_peak_dbtp(take)[0] == pytest.approx(db(signals.dft_peak(signals.faded(take, 48_000))), abs=0.01)
    assert true_peak_dbtp(take)[0] > db(0.59)


def test_the_worst_that_samples_can_do_is_read_and_no_fault():
    # Signs that match the filter's half-way between two samples: +1 -1 +1 ... up to the middle and from there turned.
    # The ideal curve would reach 2/pi times the sum of 1/(k - 1/2) over 32 pairs, 10.6 dB; the window takes some away.
    signs = np.where(np.arange(64) % 2, -1.0, 1.0) * np.where(np.arange(64) < 32, -1.0, 1.0)
    assert 8.5 < true_peak_dbtp(signs)[0] < db(2 / math.pi * sum(1 / (k - 0.5) for k in range(1, 33)))
    # Full-scale samples of random sign are a legal test signal, however long, and reach more than 6 dB.
    assert 6.0 < true_peak_dbtp(np.random.default_rng(0).integers(0, 2, 48_000) * 2.0 - 1.0)[0] < 10.0


@pytest.mark.parametrize(("times", "fault"), [(3.0, False), (3.4, True), (1e6, True)])
def test_a_reading_beyond_what_a_curve_can_reach_is_a_fault_of_the_program(monkeypatch, times, fault):
    # 64 taps whose sizes add up to 2.87 and a parabola that adds an eighth: 3.23 times the largest sample at most.
    monkeypatch.setattr("gainlib.loops.interpolated_peak", lambda *given: 0.1 * times)
    take = np.full(100, 0.1)
    if not fault:
        assert true_peak_dbtp(take)[0] == pytest.approx(db(0.1 * times))
        return
    with pytest.raises(GainError, match="over samples of at most -20.0 dBFS.*a fault of gainlib"):
        true_peak_dbtp(take)


def test_dithered_flat_tops_at_any_gain_read_no_more_than_their_neighbours_allow():
    draw = np.random.default_rng(3)
    wave = np.clip(3 * np.sin(2 * np.pi * 110 / 48_000 * np.arange(4_800)), -1, 1)
    for gain in 10 ** (draw.uniform(-40, 0, 200) / 20):
        dither = draw.uniform(-0.5, 0.5, len(wave)) + draw.uniform(-0.5, 0.5, len(wave))
        take = np.round(wave * gain * 2**23 + dither) / 2**23
        # A clipped sine of 110 Hz has corners of less than a tenth of a radian: its curve stands little above them.
        assert 0.0 <= true_peak_dbtp(take)[0] - peak_dbfs(take)[0] < 1.5


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (np.zeros(0), "samples is empty"),
        (np.array([0.0, np.nan]), "samples holds nan at sample 1, channel 1"),
        (np.array([[0.0, np.inf]]), "samples holds inf at sample 0, channel 2"),
        (np.arange(4), "samples holds int64 values"),
    ],
)
def test_bad_samples_are_refused(samples, message):
    with pytest.raises(GainError, match=message):
        true_peak_dbtp(samples)
