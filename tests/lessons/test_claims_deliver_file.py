"""What the lesson "Deliver the file" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import reckoning as paper
from scipy.signal import resample_poly

import gainlib as gl

LESSON = "deliver-file"


@pytest.fixture(scope="module")
def mix():
    files = {"kick": "kick", "bass": "bass", "guitar": "guitar", "voice": "lead-voice"}
    strips = [
        gl.Strip(name, gl.read(f"media/{file}.flac").between(9.5, 15.5), [gl.Trim()]) for name, file in files.items()
    ]
    return gl.Session(strips, main=gl.Bus("main")).render().at("main/sum")


@pytest.fixture(scope="module")
def versions(mix):
    return {
        name: gl.Session.of(mix, [gl.Trim(trim_db), gl.Limiter()], name=name).render()
        for name, trim_db in (("whole", 0.9), ("squashed", 9.0))
    }


@pytest.fixture(scope="module")
def on_air(versions):
    return {
        name: gl.Session.of(each.at("limiter"), [gl.Delivery("EBU R 128")], name=name).render().level("delivery")
        for name, each in versions.items()
    }


@pytest.mark.holds_the_text
def test_the_versions_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert text.count("between(9.5, 15.5), [gl.Trim()])") == 4
    assert "[gl.Trim(0.9), gl.Limiter()]" in text
    assert "[gl.Trim(9), gl.Limiter()]" in text


@functools.cache
def mix_on_paper():
    return sum(paper.both_sides(paper.stem(name, 9.5, 15.5)) for name in ("kick", "bass", "guitar", "lead-voice"))


TRUE_PEAK = "published: BS.1770-5, annex 2, here eight times oversampled by another filter"
AT_TARGET = f"{TRUE_PEAK}, and annex 1; derived: peak + (target - loudness)"


def test_both_versions_peak_at_minus_1_dbtp_and_the_whole_one_was_not_limited(versions, reckoned):
    """Set-up: "Both peak at −1 dBTP"; "the limiter ... had nothing to do"."""
    expected = paper.true_peak_dbtp(mix_on_paper()) + 0.9
    whole, squashed = (gl.measure("true_peak_dbtp", each.at("limiter")) for each in versions.values())
    reckoned("Both peak at −1 dBTP", -1, expected, whole, within=0.1, near=0.05, source=TRUE_PEAK)
    expected = paper.true_peak_dbtp(versions["squashed"].at("limiter").samples)
    reckoned("Both peak at −1 dBTP", -1, expected, squashed, within=0.1, near=0.05, source=TRUE_PEAK)
    idle = paper.true_peak_dbtp(mix_on_paper()) + 0.9 + 1 < 0.1
    read = versions["whole"].reading("limiter", "gain_reduction_db") < 0.1
    reckoned("had nothing to do", True, idle, read, source=TRUE_PEAK)


def test_one_was_5_6_lu_louder(versions, own_reading):
    """Read: "one was 5.6 LU louder"."""
    loud = [gl.measure("loudness_lufs", each.at("limiter")) for each in versions.values()]
    own_reading("one was 5.6 LU louder", 5.6, loud[1] - loud[0], within=0.1)
    # The meter of this reading against the one on paper, on what the limiter gave.
    on_paper = [paper.loudness_lufs(each.at("limiter").samples) for each in versions.values()]
    assert loud == pytest.approx(on_paper, abs=0.01)
    assert loud[0] == pytest.approx(paper.loudness_lufs(mix_on_paper()) + 0.9, abs=0.02)


def test_at_the_target_both_are_equally_loud_and_the_squashed_peaks_5_6_db_lower(on_air, reckoned, own_reading):
    """Read: "both are equally loud"; "the peaks are 5.6 dB lower"; "The whole one has 9 dB of room"."""
    for each in on_air.values():
        read = each.readings["loudness_lufs"]
        reckoned("At −23 LUFS both are equally loud", -23, -23.0, read, source="published: EBU R 128, the target")
    whole, squashed = (each.readings["true_peak_dbtp"] for each in on_air.values())
    own_reading("the peaks are 5.6 dB lower", 5.6, whole - squashed, within=0.1)
    expected = paper.true_peak_dbtp(mix_on_paper()) - 23 - paper.loudness_lufs(mix_on_paper())
    quote = "The whole one has 9 dB of room"
    reckoned(quote, 9, -1 - expected, -1 - whole, within=0.5, near=0.05, source=AT_TARGET)


@pytest.mark.reading_of_our_own(count=3)
def test_an_encoder_overshoots_by_about_0_4_db(versions):
    """Read: "about 0.4 dB higher, so it passes its limit"; "The louder and denser the mix, the more of it"."""
    dense = versions["squashed"].at("limiter")
    over = {codec: gl.codec_overshoot(dense, codec) for codec in ("Vorbis", "Opus", "MP3")}
    for each in over.values():
        # Other versions of the encoders come to slightly other figures.
        assert each.overshoot_db == pytest.approx(0.4, abs=0.2)
        assert each.after_dbtp > -1
    whole = versions["whole"].at("limiter")
    assert gl.codec_overshoot(whole, "MP3").overshoot_db < over["MP3"].overshoot_db


@pytest.mark.parametrize(
    ("coding", "dither", "quote", "noise_dbfs"),
    [
        ("fixed 16", False, "−93.3 instead of −98.1 dBFS", -98.1),
        ("fixed 16", True, "−93.3 instead of −98.1 dBFS", -93.3),
        ("fixed 24", True, "the dithered noise lies at −141.5 dBFS, and without dither at −146.3", -141.5),
        ("fixed 24", False, "the dithered noise lies at −141.5 dBFS, and without dither at −146.3", -146.3),
    ],
)
def test_the_noise_of_a_word_length(mix, coding, dither, quote, noise_dbfs, reckoned):
    """Read: "Dither costs 4.8 dB of noise: −93.3 instead of −98.1 dBFS"; "the dithered noise lies at −141.5 dBFS"."""
    file = gl.Session.of(mix, [gl.StoredFile(coding, dither=dither)], name="file").render()
    expected = paper.steps_noise_dbfs(int(coding.split()[1]), dither)
    source = "published: a twelfth of the step's square, with TPDF dither three times that"
    reckoned(quote, noise_dbfs, expected, file.level("stored file").noise_dbfs, near=0.001, source=source)


def test_dither_costs_4_8_db(reckoned):
    """Read: "Dither costs 4.8 dB of noise"."""
    cost = paper.steps_noise_dbfs(16, True) - paper.steps_noise_dbfs(16)
    reckoned("Dither costs 4.8 dB of noise", 4.8, cost, source="derived: three times the power")


def test_nothing_is_limited_at_minus_23_and_much_at_minus_9(mix, reckoned):
    """Move: "Does anything have to be limited?"; "When does the delivery begin to turn peaks down"."""
    down = {
        lufs: gl.Session.of(mix, [gl.Delivery("EBU R 128", loudness_lufs=lufs)], name="mix")
        .render()
        .reading("delivery", "gain_reduction_db")
        for lufs in (-23.0, -16.0, -12.0, -9.0)
    }
    over = {
        lufs: paper.true_peak_dbtp(mix_on_paper()) + lufs - paper.loudness_lufs(mix_on_paper()) + 1 for lufs in down
    }
    idle = over[-23.0] < 0, down[-23.0] == 0.0
    reckoned("Does anything have to be limited?", True, *idle, source=AT_TARGET)
    begins = over[-16.0] < 0 and 1.5 < over[-12.0] < over[-9.0], down[-16.0] == 0.0 and 1.5 < down[-12.0] < down[-9.0]
    reckoned("When does the delivery begin to turn peaks down", True, *begins, source=AT_TARGET)


@pytest.mark.reading_of_our_own
def test_unlimited_at_minus_9_the_file_clips(mix):
    """Move: "At −9, switch limited off. What does the sentence on top say?"."""
    loud = gl.Session.of(mix, [gl.Delivery("EBU R 128", loudness_lufs=-9.0, limited=False)], name="mix")
    assert gl.bench(loud).advice.facts.startswith("The delivery clips")


def test_another_rate_finds_the_peaks_between_the_samples(mix, reckoned, own_reading):
    """Read: "Held at −0.1 dBFS by its samples alone, the version comes back at +0.7 dBFS"; "it stays where it was"."""
    found = {}
    for name, limiter in (("samples", gl.Limiter(-0.1, true_peak=False)), ("true peak", gl.Limiter())):
        held = gl.Session.of(mix, [gl.Trim(9), limiter], name="held").render().at("limiter")
        same = gl.Delivery(
            loudness_lufs=gl.measure("loudness_lufs", held), limited=False, rate_hz=96_000, coding="float 32"
        )
        other = gl.Session.of(held, [same], name="held").render().at("delivery")
        # On paper: scipy's own resampler, with another filter than the library's.
        twice = paper.peak_dbfs(resample_poly(held.samples, 2, 1, axis=0))
        found[name] = (gl.measure("peak_dbfs", held), gl.measure("peak_dbfs", other), twice)
    before, after, twice = found["samples"]
    quote = "Held at −0.1 dBFS by its samples alone, the version comes back at +0.7 dBFS"
    own_reading(quote, -0.1, before, within=0.01)
    reckoned(quote, 0.7, twice, after, within=0.05, near=0.05, source=TRUE_PEAK)
    before, after, twice = found["true peak"]
    stays = abs(twice - before) < 0.05, abs(after - before) < 0.05
    reckoned("Held by its true peak it stays where it was", True, *stays, source=TRUE_PEAK)


def test_album_against_track(reckoned):
    """Read: "they get −6, −4 and +2 dB"; "all get −4 dB and stand at −14, −16 and −22"."""
    songs = (-10, -12, -18)
    source = "derived: decibel arithmetic"
    for said, loud in zip((-6, -4, 2), songs, strict=True):
        reckoned("they get −6, −4 and +2 dB", said, -16 - loud, source=source)
    for said, loud in zip((-14, -16, -22), songs, strict=True):
        reckoned("all get −4 dB and stand at −14, −16 and −22", said, loud + (-14 - max(songs)), source=source)


def test_noise_shaping(reckoned):
    """Read: "has 12.0 dB less noise at 1 kHz, 7.9 dB more at 15 kHz, and 7.0 dB more in all"."""
    quote = "has 12.0 dB less noise at 1 kHz, 7.9 dB more at 15 kHz, and 7.0 dB more in all"
    source = "derived: the error, less 2 cos w times the one before it, plus the one before that; w at 4 kHz of 48"
    error = np.random.default_rng(1).uniform(-0.5, 0.5, 1 << 18)
    first = 2 * math.cos(2 * math.pi * 4000 / 48_000)
    shaped = np.convolve(error, [1.0, -first, 1.0])
    reckoned(quote, 7.0, 10 * math.log10(np.mean(shaped**2) / np.mean(error**2)), within=0.05, source=source)
    for hertz, said in ((1000, -12.0), (15_000, 7.9)):
        turn = np.exp(-2j * math.pi * hertz / 48_000)
        reckoned(quote, said, 20 * math.log10(abs(1 - first * turn + turn * turn)), source=source)
    reckoned("has a gap at 4 kHz", 4, 48 / 12, within=0, source=source)
