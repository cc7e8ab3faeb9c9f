"""What the lesson "Deliver the file" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "13-deliver-file"


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
        for name, trim_db in (("whole", 1.1), ("squashed", 9.0))
    }


@pytest.fixture(scope="module")
def on_air(versions):
    return {
        name: gl.Session.of(each.at("limiter"), [gl.Delivery("EBU R 128")], name=name).render().level("delivery")
        for name, each in versions.items()
    }


def test_the_versions_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert text.count("between(9.5, 15.5), [gl.Trim()])") == 4
    assert "[gl.Trim(1.1), gl.Limiter()]" in text
    assert "[gl.Trim(9), gl.Limiter()]" in text


def test_both_versions_peak_at_minus_1_dbtp_and_the_whole_one_was_not_limited(versions):
    """Set-up: "Both peak at −1 dBTP"; "the limiter ... had nothing to do"."""
    for each in versions.values():
        assert gl.measure("true_peak_dbtp", each.at("limiter")) == pytest.approx(-1, abs=0.1)
    assert versions["whole"].reading("limiter", "gain_reduction_db") < 0.1


def test_one_was_5_2_lu_louder(versions):
    """Read: "one was 5.2 LU louder"."""
    loud = [gl.measure("loudness_lufs", each.at("limiter")) for each in versions.values()]
    assert loud[1] - loud[0] == pytest.approx(5.2, abs=0.1)


def test_at_the_target_both_are_equally_loud_and_the_squashed_peaks_5_1_db_lower(on_air):
    """Read: "both are equally loud"; "the peaks are 5.1 dB lower"; "The whole one has 9 dB of room"."""
    assert [each.readings["loudness_lufs"] for each in on_air.values()] == pytest.approx([-23, -23], abs=0.05)
    whole, squashed = (each.readings["true_peak_dbtp"] for each in on_air.values())
    assert whole - squashed == pytest.approx(5.1, abs=0.1)
    assert -1 - whole == pytest.approx(9, abs=0.5)


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
    ("coding", "dither", "noise_dbfs"),
    [("fixed 16", False, -98.1), ("fixed 16", True, -93.3), ("fixed 24", True, -141.5)],
)
def test_the_noise_of_a_word_length(mix, coding, dither, noise_dbfs):
    """Read: "Dither costs 4.8 dB of noise: −93.3 in place of −98.1 dBFS"; "the steps lie at −141.5 dBFS"."""
    file = gl.Session.of(mix, [gl.StoredFile(coding, dither=dither)], name="file").render()
    assert file.level("stored file").noise_dbfs == pytest.approx(noise_dbfs, abs=0.05)


def test_nothing_is_limited_at_minus_23_and_much_at_minus_9(mix):
    """Move: "Does anything have to be limited?"; "When does the delivery begin to turn peaks down"."""
    down = {
        lufs: gl.Session.of(mix, [gl.Delivery("EBU R 128", loudness_lufs=lufs)], name="mix")
        .render()
        .reading("delivery", "gain_reduction_db")
        for lufs in (-23.0, -14.0, -11.0, -9.0)
    }
    assert down[-23.0] == down[-14.0] == 0.0
    assert 2.0 < down[-11.0] < down[-9.0]


def test_unlimited_at_minus_9_the_file_clips(mix):
    """Move: "At −9, switch limited off. What does the sentence on top say?"."""
    loud = gl.Session.of(mix, [gl.Delivery("EBU R 128", loudness_lufs=-9.0, limited=False)], name="mix")
    assert gl.bench(loud).headline.what.startswith("The delivery clips")
