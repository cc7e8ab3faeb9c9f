"""Mains hum is found by its lines, under noise and under notes, and nothing else is taken for it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.meters import measure
from gainlib.meters.hum import find_hum, hum_dbfs, low_end
from gainlib.meters.windows import active_rms_dbfs
from gainlib.sound_file import read
from gainlib.storage import bundled

SECONDS = 8.0


def lines(rate_hz, *levels):
    """Sines of (Hz, dBFS peak) together."""
    time = np.arange(round(SECONDS * rate_hz)) / rate_hz
    return sum(10.0 ** (level / 20.0) * np.sin(2.0 * np.pi * hz * time) for hz, level in levels)


def noise(rate_hz, level_dbfs):
    drawn = np.random.default_rng(5).standard_normal(round(SECONDS * rate_hz))
    return 10.0 ** ((level_dbfs - 3.01) / 20.0) * drawn


# A sine of −50 dBFS peak reads −50 dBFS by AES17; two lines add their powers (derived).
@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("mains_hz", [50, 60])
def test_planted_hum_is_read_within_1_db(rate_hz, mains_hz):
    planted = lines(rate_hz, (mains_hz, -50.0), (3 * mains_hz, -56.0)) + noise(rate_hz, -40.0)
    expected = 10.0 * math.log10(10.0**-5.0 + 10.0**-5.6)
    assert float(hum_dbfs(Audio(planted, rate_hz))[0]) == pytest.approx(expected, abs=1.0)


def test_noise_and_a_tune_have_none():
    time = np.arange(round(SECONDS * 48_000)) / 48_000
    steps = 55.0 * 2.0 ** (np.floor(time * 2.0) % 12 / 12.0)  # two notes a second, none of them held
    tune = 0.2 * np.sin(2.0 * np.pi * np.cumsum(steps) / 48_000)
    for each in (noise(48_000, -40.0), tune + noise(48_000, -60.0), np.zeros(400_000)):
        assert float(hum_dbfs(Audio(each, 48_000))[0]) == -math.inf


@pytest.mark.parametrize(("tempo", "steps_a_beat"), [(75, 4), (100, 2), (120, 1), (125, 1), (125, 4), (150, 2)])
@pytest.mark.parametrize("kind", ["drum", "brush"])
def test_a_beat_that_repeats_to_the_sample_has_none(tempo, steps_a_beat, kind):
    # Its lines lie at multiples of the strokes a second, some of them at those of the mains, and stand as still.
    time = np.arange(24_000) / 48_000
    brush = np.random.default_rng(3).standard_normal(24_000) * np.exp(-time / 0.03)
    stroke = 0.1 * {"drum": np.sin(2 * np.pi * 185.0 * time) * np.exp(-time / 0.08), "brush": brush}[kind]
    beat = np.zeros(20 * 48_000)
    for start in np.arange(0.0, 19.0, 60.0 / tempo / steps_a_beat):
        at = round(start * 48_000)
        beat[at : at + len(stroke)] += stroke[: len(beat) - at]
    assert find_hum(low_end(beat, 2400), 0.0).hum is None
    hum = 0.01 * np.sin(2 * np.pi * 50.0 * np.arange(len(beat)) / 48_000)
    found = find_hum(low_end(beat + hum, 2400), 0.0).hum
    assert found is not None
    assert found.level_dbfs == pytest.approx(-40.0, abs=1.0)


def test_each_channel_has_its_own_and_the_highest_stands_for_all():
    clean = noise(48_000, -40.0)
    both = np.stack([clean, clean + lines(48_000, (50, -50.0), (100, -50.0))], axis=1)
    left, right = hum_dbfs(Audio(both, 48_000))
    assert left == -math.inf
    assert measure("hum_dbfs", Audio(both, 48_000)) == right == pytest.approx(-46.99, abs=1.0)


def test_a_short_take_is_told_what_it_lacks():
    with pytest.raises(Exception, match=r"hum_dbfs needs 4 s or more; this recording lasts 2 s\."):
        measure("hum_dbfs", Audio(noise(48_000, -40.0)[:96_000], 48_000))


def low(audio):
    """The low end of the first channel, and its level while it plays."""
    return low_end(audio.samples[:, 0], 2400), float(active_rms_dbfs(audio.samples[:, :1], audio.rate_hz)[0])


@pytest.mark.parametrize("name", ["noise", "bass", "pad", "kick", "lead-voice"])
@pytest.mark.parametrize("mains_hz", [50.0, 50.02, 59.98, 60.0])
def test_hum_as_loud_as_what_is_said_could_be_told_is_told(name, mains_hz):
    audio = Audio(noise(48_000, -40.0), 48_000) if name == "noise" else read(bundled(f"media/{name}.flac"))
    least = find_hum(*low(audio)).told_from_dbfs
    time = np.arange(len(audio.samples)) / 48_000
    planted = 10.0 ** ((least + 1.0) / 20.0) * np.sin(2.0 * np.pi * mains_hz * time + 1.0)
    envelope, _ = low(Audio(audio.samples[:, 0] + planted, 48_000))
    found = find_hum(envelope, 0.0).hum
    assert found is not None
    assert found.mains_hz == round(mains_hz)


def test_under_more_noise_less_hum_can_be_told():
    # Ten decibels more of noise hide ten decibels more of hum (derived: the line is judged against what is beside it).
    softer, louder = (find_hum(*low(Audio(noise(48_000, each), 48_000))).told_from_dbfs for each in (-50.0, -40.0))
    assert louder - softer == pytest.approx(10.0, abs=0.1)
    assert softer < -50.0
    assert find_hum(np.zeros(5000), -math.inf).told_from_dbfs is None
