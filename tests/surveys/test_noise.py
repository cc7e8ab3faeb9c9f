"""Noise is judged by what it is: hiss and hum are told at any level, soft notes, fades and offsets are not noise."""

from __future__ import annotations

import csv
import io

import numpy as np
import pytest
import soundfile

from gainlib.storage import bundled
from gainlib.surveys.record import as_dict
from gainlib.surveys.report import as_csv, lines
from gainlib.surveys.sheet import gain_sheet
from gainlib.surveys.stem import measure_stem
from gainlib.surveys.survey import survey

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def voice():
    return soundfile.read(bundled("media/radio-presenter.flac"), always_2d=True)[0]


def sine(level_dbfs, frequency_hz, count):
    return 10 ** (level_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * np.arange(count) / RATE_HZ)[:, None]


def white(level_dbfs, count):
    """White noise whose AES17 RMS is a level: its mathematical RMS lies 3.01 dB below."""
    return 10 ** ((level_dbfs - 3.0103) / 20) * np.random.default_rng(1).standard_normal((count, 1))


@pytest.mark.parametrize("level", [-60, -50, -45, -42, -40, -36, -30])
def test_hiss_under_a_voice_is_told_at_any_level(tmp_path, making, voice, level):
    stem = measure_stem(making.save(tmp_path / "voice.wav", voice + white(level, len(voice))), "voice")
    # The quietest twentieth of windows that scatter by 0.1 dB, and the voice's own floor of -70.
    assert stem.readings["noise_floor_dbfs"] == pytest.approx(level, abs=0.6)
    # The take's own hum, which its script put there, lies below -75.
    assert stem.noise.hum is None or stem.noise.hum.level_dbfs < -75.0


@pytest.mark.parametrize("level", [-50, -40, -36, -30])
@pytest.mark.parametrize(("mains", "lines"), [(50, (50,)), (60, (60, 120, 180))])
def test_hum_is_told_with_its_lines_and_its_level(tmp_path, making, voice, level, mains, lines):
    parts = sum(sine(level, line, len(voice)) for line in lines)
    made = survey(making.save(tmp_path / "voice.wav", voice + parts))
    hum = made.stems[0].noise.hum
    assert hum.mains_hz == mains
    # A line that the voice's own tones hide in the quietest tenth of the time is not told; the first always is.
    assert lines[0] in hum.lines_hz
    assert set(hum.lines_hz) <= set(lines)
    # Lines of one level add up as powers. The voice's own low end adds to them now and then.
    assert hum.level_dbfs == pytest.approx(level + 10 * np.log10(len(hum.lines_hz)), abs=1.0)
    told = [each for each in made.faults if each.kind == "hum"]
    assert f"{hum.lines_hz[-1]} Hz" in told[0].sentence
    assert not [each for each in made.faults if each.kind == "noise"]


@pytest.mark.parametrize(("start", "end"), [(1.0, 0.003), (0.3, 1.0), (1.0, 1.0), (0.02, 0.02)])
def test_soft_music_and_fades_are_no_noise(tmp_path, making, start, end):
    time = np.arange(12 * RATE_HZ) / RATE_HZ
    chord = sum(np.sin(2 * np.pi * each * time + each) for each in (220.0, 277.2, 329.6, 440.0)) * 0.08
    shape = np.interp(time, [0, 12], [start, end]) if start != 0.02 else np.where(time < 5, start, 1.0)
    stem = measure_stem(making.save(tmp_path / "pad.wav", (chord * shape)[:, None]), "pad")
    # What is left is the rounding to 24 bits: a step of 2^-23 over the root of 12 is -149.3 dB RMS, AES17 -146.2.
    assert stem.readings["noise_under_sound_dbfs"] == pytest.approx(-146.2, abs=1.5)
    assert stem.noise.hum is None


@pytest.mark.parametrize(("name", "level"), [("pad", -84.0), ("guitar", -80.2), ("bass", -80.6)])
def test_the_noise_of_a_take_that_never_rests_is_what_its_script_put_under_it(name, level):
    # media/make_stems.py: hiss, without the share of low noise and hum that its treble does not hold.
    stem = measure_stem(bundled(f"media/{name}.flac"), name)
    assert stem.readings["noise_under_sound_dbfs"] == pytest.approx(level, abs=1.5)
    assert "noise_floor_dbfs" not in stem.readings


@pytest.fixture(scope="module")
def chords():
    """Struck chords without a rest, 20 s: each lasts until the next, its harmonics die away the faster the higher."""
    time = np.arange(20 * RATE_HZ) / RATE_HZ
    since, sound = time % 0.5, np.zeros(20 * RATE_HZ)
    for note in (110.0, 138.6, 164.8):
        for harmonic in range(1, 40):
            root = note * 2 ** (np.floor(time / 2.0) % 5 / 12)
            swing = np.sin(2 * np.pi * np.cumsum(root * harmonic) / RATE_HZ + harmonic**2)
            sound += swing * np.exp(-(0.4 + 0.25 * harmonic) * since) / harmonic
    return (0.1 * sound)[:, None]


@pytest.mark.parametrize("level", [-60, -50, -40, -30])
def test_hiss_under_music_that_never_pauses_is_told(tmp_path, making, chords, level):
    noisy = measure_stem(making.save(tmp_path / "noisy.wav", chords + white(level, len(chords))), "noisy")
    assert noisy.readings["noise_under_sound_dbfs"] == pytest.approx(level, abs=1.5)


def test_noise_in_pauses_and_noise_under_sound_are_two_readings_and_told_apart(tmp_path, making, voice, chords):
    making.save(tmp_path / "voice.wav", voice + white(-45.0, len(voice)))
    making.save(tmp_path / "organ.wav", chords + white(-45.0, len(chords)))
    made = survey(tmp_path)
    voice, organ = made.stem("voice"), made.stem("organ")
    assert organ.lacks["noise_floor_dbfs"]
    assert voice.lacks["noise_under_sound_dbfs"] == "its pauses tell its noise."
    told = {each.stem: each.sentence for each in made.faults if each.kind == "noise"}
    assert told["voice"].startswith("its noise floor comes to")
    assert told["organ"].startswith("noise under its sound comes to")
    under = made.stem("organ").readings["noise_under_sound_dbfs"]
    assert f">({under:.1f})<".replace("-", "−") in gain_sheet(made)
    assert made.trim("organ").noise_dbfs is None
    assert made.trim("organ").noise_under_sound_dbfs == pytest.approx(-45.0 + made.trim("organ").gain_db, abs=1.5)
    row = dict(zip(*csv.reader(io.StringIO(as_csv(survey(tmp_path / "organ.wav")))), strict=True))
    assert row["noise_floor_dbfs"] == ""
    assert float(row["noise_under_sound_dbfs"]) == pytest.approx(-45.0, abs=1.5)


def test_where_hum_could_hide_is_said(tmp_path, making, chords):
    # Notes at 48.9 and 61.1 Hz, as loud as the rest: what stands beside them at 50 and 60 Hz is their slope.
    notes = 0.1 * (sine(0.0, 48.9, len(chords)) + sine(0.0, 61.1, len(chords)))
    making.save(tmp_path / "organ.wav", chords + notes)
    making.save(tmp_path / "rain.wav", 0.1 * chords + white(-40.0, len(chords)))
    made = survey(tmp_path)
    told = [each for each in lines(made) if each.startswith("Mains hum could hide under what plays")]
    assert [each for each in told if "organ up to −" in each and "after the trims" in each]
    of_file = as_dict(made)["stems"]
    assert {each["name"]: each["hum_told_from_dbfs"] for each in of_file}["rain"] < -50.0
    assert "rain" not in told[0]


def test_no_more_hum_is_said_to_hide_than_there_is_sound(tmp_path, making):
    # Eight strokes a second: the lines of the beat lie beside that of the mains, far above what it could be.
    beat, time = np.zeros(20 * RATE_HZ), np.arange(RATE_HZ // 8) / RATE_HZ
    stroke = 0.1 * np.sin(2 * np.pi * 185.0 * time) * np.exp(-time / 0.08)
    beat[: 19 * RATE_HZ] = np.tile(stroke, 19 * 8)
    made = survey(making.save(tmp_path / "drum.wav", beat))
    stem = made.stems[0]
    assert stem.noise.hum is None
    assert stem.noise.hum_told_from_dbfs > stem.readings["active_rms_dbfs"]
    after = stem.readings["active_rms_dbfs"] + made.trim("drum").gain_db
    assert any(f"drum up to −{-after:.0f} dBFS" in each for each in lines(made))


def test_silence_around_music_is_no_pause_that_was_emptied(tmp_path, making, chords):
    around = np.zeros((3 * RATE_HZ, 1))
    noisy = np.concatenate((around, chords + white(-50.0, len(chords)), around))
    stem = measure_stem(making.save(tmp_path / "exported.wav", noisy), "exported")
    assert stem.readings["noise_under_sound_dbfs"] == pytest.approx(-50.0, abs=1.5)


def test_what_cannot_be_told_is_said(tmp_path, making):
    made = survey(making.save(tmp_path / "rain.wav", white(-20.0, 8 * RATE_HZ)))
    assert made.stems[0].lacks["noise_floor_dbfs"].startswith("it never pauses")
    assert "The noise of rain could not be told from its sound: it never rests, or is too short to say." in lines(made)


def test_an_offset_is_an_offset(tmp_path, making, voice):
    made = survey(making.save(tmp_path / "voice.wav", voice * 0.5 + 0.002))
    assert [each.kind for each in made.faults] == ["dc"]
    # 0.002 is -53.98 dBFS; the floor is the voice's own, 6 dB down.
    assert made.stems[0].readings["noise_floor_dbfs"] < -70.0


@pytest.mark.parametrize("frequency_hz", [49.0, 55.0, 61.74, 98.0, 123.5])
def test_bass_notes_are_no_hum(tmp_path, making, frequency_hz):
    notes = making.tone(12.0, 0.25, frequency_hz)
    notes[::1] *= np.where(np.arange(len(notes)) % 96_000 < 80_000, 1.0, 0.01)[:, None]
    stem = measure_stem(making.save(tmp_path / "bass.wav", notes), "bass")
    assert stem.noise.hum is None
