"""Gain reduction, histogram, spectrum and octave bands, phrases and active level, DC and dither noise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.errors import GainError
from gainlib.meters import (
    active_rms_dbfs,
    dc_offset_dbfs,
    find_phrases,
    gain_reduction,
    level_histogram,
    octave_bands,
    rms_dbfs,
    short_time_spectrum,
)

RATE_HZ = 48_000


def sine(seconds, frequency_hz=1000.0, peak_dbfs=0.0):
    return 10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * frequency_hz / RATE_HZ * np.arange(round(seconds * RATE_HZ)))


# -- levels


@pytest.mark.parametrize(("offset", "expected"), [(0.001, -60.0), (-0.01, -40.0), (1.0, 0.0)])
def test_dc_offset(offset, expected):
    assert dc_offset_dbfs(np.full(480, offset))[0] == pytest.approx(expected, abs=1e-9)  # 20 log10 |mean|
    assert dc_offset_dbfs(0.1 * sine(0.1) + offset)[0] == pytest.approx(expected, abs=1e-6)
    assert dc_offset_dbfs(np.array([0.5, -0.5]))[0] == -math.inf


@pytest.mark.parametrize(
    ("bits", "dither", "expected_db"),
    # Error power re 1.0: step²/12 without dither, step²/4 with triangular dither (published: Wannamaker, Lipshitz,
    # Vanderkooy, Wright, IEEE Trans. SP 48(2), 2000), step 2^(1-N); evaluated outside.
    [(8, False, -52.94), (8, True, -48.16), (16, False, -101.10), (16, True, -96.33), (24, True, -144.49)],
)
def test_noise_of_rounding(worst, bits, dither, expected_db):
    rng = np.random.default_rng(1)
    step = 2.0 ** (1 - bits)
    wave = (1 - 2 * step) * np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(1 << 20))
    added = rng.random(len(wave)) - rng.random(len(wave)) if dither else 0.0
    error = np.round(wave / step + added) * step - wave
    # The AES17 reading is 3.01 dB above the mathematical one.
    deviation = rms_dbfs(error)[0] - 3.0103 - expected_db
    assert worst("rounding and dither noise, 8 to 24 bits", deviation, "dB", 0.1) < 0.1


# -- gain reduction


def test_gain_reduction():
    found = gain_reduction([0, 0, 0.05, 2.0, 4.0, 0, 0, 6.0])
    assert (found.largest_db, found.mean_while_working_db, found.working_share) == (6.0, 4.0, 0.375)
    assert gain_reduction([0.05], working_above_db=0.01).working_share == 1.0
    idle = gain_reduction(np.zeros((5, 2)))
    assert (idle.largest_db, idle.mean_while_working_db, idle.working_share) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("values", "message"),
    [([], "empty"), ([0.0, -3.0], "holds -3; give the reduction as finite dB, 0 or more"), ([math.nan], "holds nan")],
)
def test_gain_reduction_refuses(values, message):
    with pytest.raises(GainError, match=message):
        gain_reduction(values)


# -- histogram


def test_level_histogram():
    # A quarter of the time silence, a half at -20.5 dBFS, a quarter at -6.5.
    take = np.concatenate([np.zeros(RATE_HZ), sine(2, peak_dbfs=-20.5), sine(1, peak_dbfs=-6.5)])
    found = level_histogram(take, RATE_HZ)
    share = dict(zip(found.edges_dbfs[:-1].tolist(), found.share[:, 0].tolist(), strict=True))
    assert (share[-21.0], share[-7.0], found.below_share[0]) == (0.5, 0.25, 0.25)
    assert found.share.sum() + found.below_share.sum() == pytest.approx(1.0)


def test_a_level_on_an_edge_counts_above_it():
    # Windows of one sample at the AES17 zero read 0 dBFS to the last bit.
    found = level_histogram(np.full(10, math.sqrt(0.5)), RATE_HZ, window_seconds=1 / RATE_HZ)
    assert found.edges_dbfs[found.share[:, 0].argmax()] == 0.0


def test_level_histogram_has_room_for_everything():
    found = level_histogram(np.full(4800, 100.0), RATE_HZ, step_db=5.0)
    assert found.edges_dbfs[-1] > 43.01  # 40 dB and the 3.01 of a constant
    assert found.share.sum() == 1.0
    with pytest.raises(GainError, match="step_db is 0"):
        level_histogram(np.zeros(4800), RATE_HZ, step_db=0.0)


# -- spectrum


@pytest.mark.parametrize("frequency_hz", [1000.0, 12_000.0])
def test_spectrum_reads_a_sine_at_its_level(frequency_hz):
    found = short_time_spectrum(np.stack([sine(1, frequency_hz, -20.0), np.zeros(RATE_HZ)], axis=1), RATE_HZ)
    assert found.level_dbfs.shape == (49, 961, 2)
    assert found.frequency_hz[found.level_dbfs[10, :, 0].argmax()] == frequency_hz
    assert found.level_dbfs[:, :, 0].max(axis=1) == pytest.approx(np.full(49, -20.0), abs=1e-9)
    assert found.level_dbfs[:, :, 1].max() == -math.inf
    assert found.seconds[:2] == pytest.approx([0.02, 0.04])


def test_spectrum_between_two_lines_loses_1_42_db():
    # Hann scalloping loss 1.42 dB (published: Harris, Proc. IEEE 66(1), 1978); lines are 25 Hz apart.
    found = short_time_spectrum(sine(1, 1012.5), RATE_HZ)
    assert found.level_dbfs.max(axis=1)[:, 0] == pytest.approx(np.full(49, -1.42), abs=0.02)


def test_spectrum_of_a_constant_and_of_one_sample():
    constant = short_time_spectrum(np.full(RATE_HZ, 0.1), RATE_HZ)
    assert constant.level_dbfs[:, 0, 0] == pytest.approx(np.full(49, -20.0), abs=1e-9)
    assert short_time_spectrum(np.array([0.5]), RATE_HZ).level_dbfs.shape == (1, 961, 1)


# -- octaves


def test_octave_bands_hold_a_sine_and_share_white_noise():
    found = octave_bands(sine(1, 1000.0, -10.0), RATE_HZ)
    # IEC 61260-1: base-ten middles, nominally 31.5 Hz to 16 kHz (published).
    assert found.middle_hz == pytest.approx([31.62, 63.10, 125.89, 251.19, 501.19, 1000, 1995.26, 3981.07, 7943.28,
                                             15848.93], abs=0.005)  # fmt: skip
    called = "31.5 Hz, 63 Hz, 125 Hz, 250 Hz, 500 Hz, 1 kHz, 2 kHz, 4 kHz, 8 kHz, 16 kHz"
    assert found.names == called.split(", ")
    assert found.level_dbfs[5, 0] == pytest.approx(-10.0, abs=1e-6)
    assert np.delete(found.level_dbfs[:, 0], 5).max() < -200
    # White noise has the same power in each hertz, so each octave holds 3.0 dB more (10 log10 10^0.3).
    white = octave_bands(0.1 * np.random.default_rng(1).standard_normal(60 * RATE_HZ), RATE_HZ).level_dbfs[3:, 0]
    assert np.diff(white) == pytest.approx(np.full(len(white) - 1, 3.0), abs=0.15)


def test_thirds_add_up_to_their_octave():
    noise = np.random.default_rng(1).standard_normal(10 * RATE_HZ)
    thirds = octave_bands(noise, RATE_HZ, parts=3)
    assert thirds.middle_hz[15] == pytest.approx(1000.0)
    assert thirds.names[11:18] == ["400 Hz", "500 Hz", "630 Hz", "800 Hz", "1 kHz", "1.25 kHz", "1.6 kHz"]
    total = 10 * np.log10((10 ** (thirds.level_dbfs[14:17, 0] / 10)).sum())
    assert total == pytest.approx(octave_bands(noise, RATE_HZ).level_dbfs[5, 0], abs=0.001)
    with pytest.raises(GainError, match="parts is 2"):
        octave_bands(noise, RATE_HZ, parts=2)


def test_octaves_at_a_low_rate_leave_out_what_does_not_fit():
    assert octave_bands(np.ones(100), 8_000).middle_hz[-1] == pytest.approx(1995.26, abs=0.01)
    assert octave_bands(np.ones(100), 10).level_dbfs.shape == (0, 1)


# -- phrases

VERSE = np.concatenate(
    [np.zeros(RATE_HZ // 2), sine(2, peak_dbfs=-20), np.zeros(RATE_HZ), sine(1, peak_dbfs=-14), np.zeros(RATE_HZ // 2)]
)
HISS = 10 ** (-63 / 20) * np.random.default_rng(1).standard_normal(len(VERSE))


@pytest.mark.parametrize("noise", [0.0, HISS])
def test_phrases(noise):
    found = find_phrases(VERSE + noise, RATE_HZ)
    assert [(round(each.start_seconds, 2), round(each.end_seconds, 2)) for each in found] == [(0.5, 2.5), (3.5, 4.5)]
    assert [each.rms_dbfs for each in found] == pytest.approx([-20.0, -14.0], abs=0.05)
    assert [each.peak_dbfs for each in found] == pytest.approx([-20.0, -14.0], abs=0.3)
    assert found[0].seconds == pytest.approx(2.0)


@pytest.mark.parametrize("noise", [0.0, HISS])
def test_active_level_leaves_the_pauses_out(noise):
    # Two parts of three at -20 dB, one at -14: 10 log10((2 x 0.01 + 0.0398)/3) = -17.00 dBFS.
    assert active_rms_dbfs(VERSE + noise, RATE_HZ)[0] == pytest.approx(-17.00, abs=0.02)
    # Of five seconds, three hold sound: 2.22 dB less as plain RMS.
    assert rms_dbfs(VERSE + noise)[0] == pytest.approx(-17.00 - 2.218, abs=0.02)


def with_pause(seconds, within=()):
    """Two notes of a second with a pause between, in whose middle something else sounds."""
    pause = np.zeros(round(seconds * RATE_HZ))
    middle = (len(pause) - len(within)) // 2
    pause[middle : middle + len(within)] = within
    return np.concatenate([sine(1, peak_dbfs=-20), pause, sine(1, peak_dbfs=-20)])


def spans(take):
    return [(round(phrase.start_seconds, 2), round(phrase.end_seconds, 2)) for phrase in find_phrases(take, RATE_HZ)]


def test_phrases_by_their_rules():
    assert spans(with_pause(0.2)) == [(0.0, 2.2)], "a stop of 0.2 s is within a phrase"
    assert spans(with_pause(0.24)) == [(0.0, 1.0), (1.24, 2.24)], "a pause of 0.24 s parts two"
    click, word = sine(0.08, peak_dbfs=-20), sine(0.12, peak_dbfs=-20)
    assert spans(with_pause(0.4, click)) == [(0.0, 1.0), (1.4, 2.4)], "a breath or a click joins nothing"
    assert spans(with_pause(0.4, word)) == [(0.0, 2.4)], "a word in the middle of a pause of 0.4 s leaves none"
    long_breath = sine(0.15, peak_dbfs=-20)
    assert spans(with_pause(1.0, long_breath)) == [(0.0, 1.0), (2.0, 3.0)], "a long breath alone is no phrase"
    assert spans(np.zeros(RATE_HZ)) == []
    assert spans(sine(2)) == [(0.0, 2.0)]


@pytest.mark.parametrize(("level_dbfs", "counts"), [(-36.5, True), (-40.5, False)])
def test_what_parts_playing_from_pause_lies_half_way_to_the_noise(level_dbfs, counts):
    # Half-way between -17.0 and the hiss at -63 + 3.01 = -60.0: -38.5 dBFS.
    pause = HISS[:RATE_HZ]
    take = np.concatenate([VERSE + HISS, pause, sine(0.5, peak_dbfs=level_dbfs), pause])
    ends = find_phrases(take, RATE_HZ)[-1].end_seconds
    assert ends == pytest.approx(len(take) / RATE_HZ - 1.0, abs=0.02) if counts else ends < len(VERSE) / RATE_HZ + 0.02


def test_phrases_refuse():
    with pytest.raises(GainError, match="gate_db is 0"):
        active_rms_dbfs(VERSE, RATE_HZ, gate_db=0.0)
    with pytest.raises(GainError, match="rate_hz is 0"):
        find_phrases(VERSE, 0)
