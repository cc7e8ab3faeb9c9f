"""What was planted in a signal that came back is read again: gain, delay, polarity, noise, harmonics, ceiling."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters.round_trip import RESPONSE_HZ, SentSignal, read_round_trip

RATES = [44_100, 48_000, 96_000]


def came_back(sent, chain=lambda each: each, delay=1234, noise_dbfs=None, after=1.0):
    """What was sent, put through a chain that is a function of samples, later and with noise under it."""
    signal = sent.audio.samples[:, 0]
    length = len(signal) + delay + round(after * sent.rate_hz)
    later = np.zeros(length)
    later[delay : delay + len(signal)] = chain(signal)
    if noise_dbfs is not None:
        # Its AES17 level is 3.01 dB over its plain RMS (AES17: a full-scale sine reads 0 dBFS).
        later += 10.0 ** ((noise_dbfs - 3.0103) / 20.0) * np.random.default_rng(4).standard_normal(length)
    return Audio(later, sent.rate_hz)


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize(("gain_db", "turned", "delay"), [(-7.3, 1.0, 0), (4.0, -1.0, 4801), (-40.0, -1.0, 77)])
def test_gain_delay_and_polarity_are_read_again(rate_hz, gain_db, turned, delay):
    sent = SentSignal(rate_hz, -20.0, -20.0)
    found = read_round_trip(sent, came_back(sent, lambda each: turned * 10.0 ** (gain_db / 20.0) * each, delay))
    assert found.gain_db == pytest.approx(gain_db, abs=0.001)
    assert found.delay_samples == pytest.approx(delay, abs=0.01)
    assert found.delay_ms == pytest.approx(1000.0 * delay / rate_hz, abs=0.001)
    assert found.inverted == (turned < 0)
    assert found.noise_dbfs == -math.inf
    assert found.clips_at_dbfs is None


def middle_of(sent, wanted_hz):
    """The sample of what is sent at which the response tone of this frequency is half over."""
    at = 0
    for kind, frequency_hz, _, seconds in sent.parts:
        if (kind, frequency_hz) == ("response", wanted_hz):
            return at + round(0.5 * seconds * sent.rate_hz)
        at += round(seconds * sent.rate_hz)
    raise AssertionError(wanted_hz)


@pytest.mark.parametrize("frequency_hz", [8000.0, 12_500.0, 16_000.0])
def test_a_sample_that_is_lost_or_repeated_within_a_tone_is_no_fall_of_the_response(frequency_hz):
    """One sample of 48 000 a second is a sixth of a turn at 8 kHz: the halves then add to 20 log10 cos 30°, −1.2 dB."""
    sent = SentSignal(48_000, -20.0, -20.0)
    whole = came_back(sent, delay=0).samples[:, 0]
    place = middle_of(sent, frequency_hz)
    for torn in (np.delete(whole, place), np.insert(whole, place, whole[place])):
        with pytest.raises(GainError, match="the computer lost samples meanwhile"):
            read_round_trip(sent, Audio(torn, 48_000))
    assert max(abs(gain_db) for _, gain_db in read_round_trip(sent, Audio(whole, 48_000)).response_db) < 0.01


def test_samples_that_are_lost_for_half_a_turn_are_told_although_the_tone_then_cancels():
    sent = SentSignal(48_000, -20.0, -20.0)
    whole = came_back(sent, delay=0, noise_dbfs=-80.0).samples[:, 0]
    place = middle_of(sent, 12_500.0)
    with pytest.raises(GainError, match="the computer lost samples meanwhile"):
        read_round_trip(sent, Audio(np.delete(whole, [place, place + 1]), 48_000))


@pytest.mark.parametrize(
    ("kept_hz", "hum_dbfs", "left_out"), [((0, 10_000), -90.0, {12_500.0, 16_000.0}), ((90, 24_000), -50.0, {40.0})]
)
def test_a_tone_that_a_chain_does_not_pass_is_left_out_and_nothing_is_said_to_be_lost(kept_hz, hum_dbfs, left_out):
    def chain(samples):
        spectrum, at_hz = np.fft.rfft(samples), np.fft.rfftfreq(len(samples), 1 / 48_000)
        return np.fft.irfft(np.where((at_hz >= kept_hz[0]) & (at_hz <= kept_hz[1]), spectrum, 0.0), len(samples))

    sent = SentSignal(48_000, -20.0, -20.0)
    heard = came_back(sent, chain, noise_dbfs=-80.0).samples[:, 0]
    hum = 10.0 ** (hum_dbfs / 20.0) * np.sin(2.0 * np.pi * 50.0 * np.arange(len(heard)) / 48_000)
    found = read_round_trip(sent, Audio(heard + hum, 48_000))
    assert {each for each, _ in found.response_db} == {*RESPONSE_HZ} - left_out


def test_half_a_sample_is_read_as_such():
    sent = SentSignal(48_000, -20.0, -20.0)
    whole = came_back(sent, delay=100).samples[:, 0]
    spectrum = np.fft.rfft(whole)
    moved = np.fft.irfft(spectrum * np.exp(-1j * np.pi * np.fft.rfftfreq(len(whole))), len(whole))
    assert read_round_trip(sent, Audio(moved, 48_000)).delay_samples == pytest.approx(100.5, abs=0.05)


@pytest.mark.parametrize("noise_dbfs", [-90.0, -60.0])
def test_noise_is_read_at_its_level_and_moves_nothing_else(noise_dbfs):
    sent = SentSignal(48_000, -20.0, -20.0)
    found = read_round_trip(sent, came_back(sent, lambda each: 0.5 * each, noise_dbfs=noise_dbfs))
    assert found.noise_dbfs == pytest.approx(noise_dbfs, abs=0.3)
    assert found.gain_db == pytest.approx(-6.02, abs=0.02)
    # THD+N of noise alone: noise over the tone, both as AES17 levels, up to 20 of 24 kHz (derived: −0.8 dB).
    expected = 100.0 * 10.0 ** ((noise_dbfs - 0.79 - (-26.02)) / 20.0)
    assert found.thd_n_percent == pytest.approx(expected, rel=0.05)


def test_planted_harmonics_are_read_as_thd():
    # Of a x + b x² a tone of amplitude A has b A²/2 of the second harmonic (derived: cos² = 1/2 + cos 2 / 2).
    sent = SentSignal(48_000, -20.0, -20.0)
    found = read_round_trip(sent, came_back(sent, lambda each: each + 0.2 * each**2, noise_dbfs=-110.0))
    assert found.thd_percent == pytest.approx(100.0 * 0.2 * 0.1 / 2.0, rel=0.01)


def test_the_response_of_a_known_filter_is_read_at_each_frequency():
    # y[n] = (x[n] + x[n−1]) / 2 has the gain cos(π f / rate) (closed form).
    sent = SentSignal(48_000, -20.0, -20.0)
    chain = lambda each: 0.5 * (each + np.concatenate([[0.0], each[:-1]]))  # noqa: E731
    found = read_round_trip(sent, came_back(sent, chain))
    at_tone = math.cos(math.pi * 997.0 / 48_000)
    for frequency_hz, response_db in found.response_db:
        assert response_db == pytest.approx(
            20.0 * math.log10(math.cos(math.pi * frequency_hz / 48_000) / at_tone), abs=0.01
        )
    assert len(found.response_db) == 7


def test_frequencies_that_are_lost_in_noise_are_left_out():
    sent = SentSignal(48_000, -40.0, -40.0)
    found = read_round_trip(sent, came_back(sent, noise_dbfs=-45.0))
    assert found.response_db == ()


@pytest.mark.parametrize(("ceiling_dbfs", "expected_dbfs"), [(-13.0, -12.0), (-17.5, -16.0), (3.0, None)])
def test_where_it_clips_is_told_to_a_step_of_2_db(ceiling_dbfs, expected_dbfs):
    top = 10.0 ** (ceiling_dbfs / 20.0)
    sent = SentSignal(48_000, -30.0, -4.0)
    found = read_round_trip(sent, came_back(sent, lambda each: np.clip(each, -top, top), noise_dbfs=-90.0))
    assert found.clips_at_dbfs == (None if expected_dbfs is None else pytest.approx(expected_dbfs))
    assert found.thd_percent < 0.1  # the tone itself was below the ceiling


def test_two_clocks_are_told_and_the_tones_still_read():
    # Read at a rate that is 100 millionths too high, a tone has a frequency that much too low (derived).
    sent = SentSignal(48_000, -20.0, -20.0)
    whole = came_back(sent).samples[:, 0]
    places = np.arange(len(whole)) * (1.0 - 100e-6)
    index = np.clip(places.astype(int), 1, len(whole) - 3)
    part = places - index
    taps = [whole[index + each] for each in (-1, 0, 1, 2)]  # cubic, through four samples
    slower = taps[1] + 0.5 * part * (
        taps[2] - taps[0] + part * (2 * taps[0] - 5 * taps[1] + 4 * taps[2] - taps[3]
        + part * (3 * (taps[1] - taps[2]) + taps[3] - taps[0]))
    )  # fmt: skip
    found = read_round_trip(sent, Audio(slower, 48_000))
    assert found.clock_ppm == pytest.approx(100.0, abs=2.0)
    assert found.gain_db == pytest.approx(0.0, abs=0.05)
    assert any("two clocks" in each for each in found.sentences)


def test_the_channel_in_which_it_came_back_is_found_and_the_moment_of_sending_counts():
    sent = SentSignal(48_000, -20.0, -20.0)
    own = came_back(sent, lambda each: 0.25 * each, delay=480).samples[:, 0]
    other = 0.001 * np.random.default_rng(1).standard_normal(len(own))
    early = np.zeros((5000, 2))
    found = read_round_trip(sent, Audio(np.vstack([early, np.stack([other, own], axis=1)]), 48_000), began=5000)
    assert found.channel == 1
    assert found.delay_samples == pytest.approx(480.0, abs=0.01)


@pytest.mark.parametrize(
    ("heard", "told"),
    [
        (Audio(np.zeros(400_000), 48_000), "nothing of the signal came back"),
        (Audio(0.1 * np.random.default_rng(1).standard_normal(400_000), 48_000), "nothing of the signal came back"),
        (Audio(SentSignal(48_000, -20.0, -20.0).audio.samples[:150_000], 48_000), "recording ends before the signal"),
        (Audio(np.zeros(1000), 48_000), "nothing of the signal came back"),
        (Audio(np.zeros(1000), 44_100), "what came back has 44 100 Hz and 48 000 Hz were sent"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_told(heard, told):
    with pytest.raises(GainError, match=told):
        read_round_trip(SentSignal(48_000, -20.0, -20.0), heard)


@pytest.mark.parametrize("given", [(8_000, -20.0, -20.0), (48_000, 3.0, 3.0), (48_000, -20.0, 6.0)])
def test_levels_and_rates_beyond_the_bounds_are_refused(given):
    with pytest.raises(GainError, match=r"44 100 Hz or more|at most 0"):
        SentSignal(*given)


def test_nothing_that_is_sent_is_louder_than_was_said():
    for loudest in (-40.0, -20.0, -12.0):
        sent = SentSignal(48_000, -40.0, loudest).audio.samples
        assert 20.0 * np.log10(np.abs(sent).max()) <= loudest + 1e-9
        assert 20.0 * np.log10(np.abs(sent).max()) > loudest - 2.0
