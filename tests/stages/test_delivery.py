"""The delivered file: loudness and true peak read by another implementation, word length, rate, file, codec."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import firwin

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.sound_file import read
from gainlib.stages import TARGETS, Delivery, codec_overshoot, deliver
from gainlib.stages.delivery import resampled

RATE_HZ = 48_000


def other_lufs(samples: np.ndarray, rate_hz: int) -> float:
    """The integrated loudness by libebur128, which shares no code with this library."""
    ebur128 = pytest.importorskip("pyebur128", reason="the independent loudness meter is not installed")
    state = ebur128.R128State(samples.shape[1], rate_hz, ebur128.MeasurementMode.MODE_I)
    state.add_frames(np.ascontiguousarray(samples).ravel(), len(samples))
    return float(ebur128.get_loudness_global(state))


def programme(seconds: float = 12.0, peaky: float = 1.0) -> np.ndarray:
    """Stereo noise below 16 kHz in swells, with peaks that stand out by as much as wanted."""
    draw = np.random.default_rng(1)
    count = round(seconds * RATE_HZ)
    noise = draw.standard_normal((count, 2)) * (0.6 + 0.4 * np.sin(np.arange(count) / 9000))[:, None]
    noise *= 1 + (peaky - 1) * (draw.random((count, 1)) < 2e-4)
    taps = firwin(101, 16_000, fs=RATE_HZ)
    return np.column_stack([0.05 * np.convolve(noise[:, each], taps, "same") for each in (0, 1)])


# Published figures: EBU R 128 / Tech 3343; ATSC A/85 as read in a secondary source.
@pytest.mark.parametrize(("name", "lufs", "dbtp"), [("EBU R 128", -23.0, -1.0), ("ATSC A/85", -24.0, -2.0)])
def test_the_named_targets(signal_of, name: str, lufs: float, dbtp: float) -> None:
    assert (TARGETS[name].loudness_lufs, TARGETS[name].true_peak_dbtp) == (lufs, dbtp)
    passed = Delivery(name).process(signal_of(programme()))
    # 0.01 LU: the gain is exact, the two meters agree to a few thousandths.
    assert other_lufs(passed.signal.samples, RATE_HZ) == pytest.approx(lufs, abs=0.01)
    assert passed.readings["loudness_lufs"] == pytest.approx(lufs, abs=0.001)
    assert passed.readings["gain_reduction_db"] == 0.0


def test_a_loud_target_is_met_behind_the_limiter(signal_of) -> None:
    stage = Delivery(loudness_lufs=-14.0, true_peak_dbtp=-1.0)
    passed = stage.process(signal_of(programme(peaky=4.0)))
    assert passed.readings["gain_reduction_db"] > 3
    assert passed.readings["true_peak_dbtp"] <= -1.0 + 0.1
    assert np.abs(passed.signal.samples).max() <= stage.ceiling + 2.0**-22
    # EBU R 128 asks for 0.2 LU; the search stops within 0.02.
    assert other_lufs(passed.signal.samples, RATE_HZ) == pytest.approx(-14.0, abs=0.05)


def test_without_the_limiter_only_the_loudness_is_set(signal_of) -> None:
    samples = programme(peaky=4.0)
    passed = Delivery(loudness_lufs=-14.0, limited=False, coding="float 32").process(signal_of(samples))
    assert passed.readings["true_peak_dbtp"] > 0
    gain = 10 ** (passed.readings["gain_db"] / 20)
    np.testing.assert_allclose(passed.signal.samples, samples * gain, rtol=1e-6, atol=1e-9)
    assert other_lufs(passed.signal.samples, RATE_HZ) == pytest.approx(-14.0, abs=0.01)


@pytest.mark.parametrize("coding", ["fixed 16", "fixed 24", "float 32"])
def test_the_file_holds_what_was_rendered(signal_of, tmp_path, coding: str) -> None:
    stage = Delivery(coding=coding)
    audio = Audio(programme(3.0), RATE_HZ)
    readings = deliver(audio, stage, tmp_path / "mix.wav")
    rendered = stage.process(signal_of(audio.samples)).signal.samples
    assert np.array_equal(read(tmp_path / "mix.wav").samples, rendered)
    assert other_lufs(rendered, RATE_HZ) == pytest.approx(readings["loudness_lufs"], abs=0.01)
    with pytest.raises(GainError, match="is there already"):
        deliver(audio, stage, tmp_path / "mix.wav")


def test_dither_makes_16_bit_noise_of_its_known_power(signal_of) -> None:
    samples = programme(6.0)
    with_dither, without = (
        Delivery(coding="fixed 16", dither=each, limited=False).process(signal_of(samples)) for each in (True, False)
    )
    exact = samples * 10 ** (with_dither.readings["gain_db"] / 20)
    # Published theory: -96.33 and -101.10 dB against 1.0.
    for passed, expected_db in ((with_dither, -96.33), (without, -101.10)):
        error = passed.signal.samples - exact
        assert 10 * math.log10(np.mean(error**2)) == pytest.approx(expected_db, abs=0.05)


@pytest.mark.parametrize(
    ("rate_hz", "to_rate_hz"), [(48_000, 44_100), (44_100, 48_000), (96_000, 48_000), (48_000, 96_000)]
)
def test_rate_conversion_keeps_tones_and_leaves_no_images(rate_hz: int, to_rate_hz: int) -> None:
    lower = min(rate_hz, to_rate_hz)
    for share in (0.02, 0.2, 0.44):
        tone_hz = round(share * lower / 100) * 100
        out = resampled(np.sin(2 * np.pi * tone_hz * np.arange(rate_hz) / rate_hz)[:, None], rate_hz, to_rate_hz)
        assert out.shape == (to_rate_hz, 1)
        # A tenth of a second in the middle, a whole number of periods: 10 Hz a bin.
        middle = out[to_rate_hz // 2 : to_rate_hz // 2 + to_rate_hz // 10, 0]
        levels = np.abs(np.fft.rfft(middle)) / (len(middle) / 2)
        assert 20 * math.log10(levels[tone_hz // 10]) == pytest.approx(0.0, abs=0.01)
        levels[tone_hz // 10] = 0.0
        assert 20 * math.log10(levels.max()) < -100


def test_what_the_lower_rate_cannot_hold_is_gone() -> None:
    out = resampled(np.sin(2 * np.pi * 27_000 * np.arange(96_000) / 96_000)[:, None], 96_000, 48_000)
    assert 20 * math.log10(np.abs(out[4800:-4800]).max()) < -100


def test_the_loudness_is_met_at_the_new_rate(signal_of) -> None:
    passed = Delivery(rate_hz=44_100).process(signal_of(programme()))
    assert passed.signal.rate_hz == 44_100
    # Away from 48 kHz the other meter's filter differs by up to 0.003 LU by design.
    assert other_lufs(passed.signal.samples, 44_100) == pytest.approx(-23.0, abs=0.02)


def test_half_the_band_holds_half_the_noise(signal_of) -> None:
    quiet = signal_of(np.zeros(96_000), 96_000, noise_power=2e-9)
    down = Delivery(rate_hz=48_000, coding="float 32").process(quiet).signal
    assert down.noise_power == pytest.approx(1e-9)
    up = Delivery(rate_hz=96_000, coding="float 32").process(signal_of(np.zeros(480), noise_power=2e-9)).signal
    assert up.noise_power == pytest.approx(2e-9)


def test_silence_and_the_shortest_sounds_keep_their_level(signal_of) -> None:
    silent = Delivery().process(signal_of(np.zeros((RATE_HZ, 2))))
    assert silent.readings["gain_db"] == 0.0
    assert silent.readings["loudness_lufs"] == -math.inf
    short = Delivery(coding="float 32").process(signal_of(np.full(1000, 0.25)))
    assert np.array_equal(short.signal.samples[:, 0], np.full(1000, 0.25))


@pytest.mark.parametrize("codec", ["Vorbis", "MP3"])
def test_a_real_encoder_moves_the_true_peak_of_loud_sound(signal_of, codec: str) -> None:
    # Noise limited hard at -0.1 dBTP: what a lossy codec changes adds to peaks that stand at the ceiling already.
    hard = Delivery(loudness_lufs=-8.0, true_peak_dbtp=-0.1, coding="float 32")
    loud = Audio(hard.process(signal_of(programme(6.0, peaky=4.0))).signal.samples, RATE_HZ)
    reading = codec_overshoot(loud, codec)
    assert reading.before_dbtp == pytest.approx(-0.1, abs=0.1)
    assert 0.1 < reading.overshoot_db < 4.0
    assert reading.after_dbtp > 0.0


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Delivery("EBU R128"), "target of the delivery is 'EBU R128'; did you mean EBU R 128"),
        (lambda: Delivery(loudness_lufs=3.0), "loudness_lufs of the delivery is 3.0; it must be from -70 to 0 LUFS"),
        (lambda: Delivery(true_peak_dbtp=1.0), "true_peak_dbtp of the delivery is 1.0; it must be from -60 to 0 dBTP"),
        (lambda: Delivery(rate_hz=44_100.5), "rate_hz of the delivery is 44100.5; it must be a whole number"),
        (lambda: Delivery(rate_hz=10), "rate_hz of the delivery is 10; it must be from 8000 to 192000 Hz"),
        (lambda: Delivery(coding="fixed 12"), "coding of the delivery is 'fixed 12'; did you mean fixed 24"),
        (lambda: codec_overshoot(Audio(np.zeros(10), 48_000), "AAC"), "codec is 'AAC'; known are MP3, Opus, Vorbis"),
    ],
)
def test_bad_settings_are_refused(make, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        make()
