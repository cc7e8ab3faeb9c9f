"""What the lesson "Balance with faders" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "08-balance-with-faders"
NAMES = ("kick", "snare", "bass", "guitar", "pad", "lead-voice")


@pytest.fixture(scope="module")
def voice():
    return gl.read("media/lead-voice.flac").between(9.4, 16.0)


@pytest.fixture(scope="module")
def stems():
    return {name: gl.read(f"media/{name}.flac").between(9.5, 17.0) for name in NAMES}


def summed(*tracks):
    """The level of the main where these (take, trim in dB) meet."""
    strips = [gl.Strip(f"track {place}", take, (gl.Trim(db),)) for place, (take, db) in enumerate(tracks)]
    return gl.Session(tuple(strips), main=gl.Bus("main")).render().level("main/sum")


def test_takes_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'voice = gl.read("media/lead-voice.flac").between(9.4, 16.0)' in text
    assert 'names = ["kick", "snare", "bass", "guitar", "pad", "lead-voice"]' in text
    assert 'gl.read(f"media/{name}.flac").between(9.5, 17.0)' in text
    assert "[gl.Trim(14), gl.Fader(-32)]" in text


def test_a_millimetre_at_minus_40_db_is_five_times_as_coarse():
    """Read: "At −40 dB one millimetre is five times as coarse as at 0 dB"."""
    assert gl.Fader(-40).db_per_mm / gl.Fader(0).db_per_mm == pytest.approx(5)
    assert gl.Fader(0).db_per_mm == pytest.approx(0.4)


def test_trim_and_fader_make_the_same_level_in_two_ways(stems):
    """Move: "Lower the trim to −18 dB and bring the fader up to 0 dB. The sound is the same"."""
    hot = gl.Session.of(stems["pad"], [gl.Trim(14), gl.Fader(-32)], name="pad")
    calm = hot.replaced({"trim/gain_db": -18, "fader/gain_db": 0})
    assert calm.render().level("fader").rms_dbfs == pytest.approx(hot.render().level("fader").rms_dbfs, abs=1e-6)


def test_the_same_voice_twice_rises_by_6_db(voice):
    """Read: "The same signal twice rises by 6 dB"."""
    assert summed((voice, 0), (voice, 0)).rms_dbfs - gl.measure("rms_dbfs", voice) == pytest.approx(6, abs=0.05)


def test_a_voice_10_db_lower_still_adds_2_db(voice):
    """Move: "Pull the second fader down to −10 dB. How much does it still add?" It is not nothing."""
    assert summed((voice, 0), (voice, -10)).rms_dbfs - gl.measure("rms_dbfs", voice) == pytest.approx(2.4, abs=0.05)


def test_two_strangers_rise_by_about_3_db():
    """Read: "Two tracks that have nothing to do with each other rise by about 3 dB"."""
    takes = [gl.read(f"media/{name}.flac").between(9.5, 19) for name in ("guitar", "pad")]
    both = summed(*((take, -20 - gl.measure("rms_dbfs", take)) for take in takes))
    assert both.rms_dbfs - -20 == pytest.approx(3, abs=0.25)


def test_the_voice_twice_1_ms_apart_does_not_rise(voice):
    """Read: "the same voice twice, one thousandth of a second (1 ms) apart, does not rise at all here"."""
    late = gl.read("media/lead-voice.flac").between(9.401, 16.001)
    assert summed((voice, 0), (late, 0)).rms_dbfs - gl.measure("rms_dbfs", voice) == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize(("tracks", "rise_db"), [(4, 6), (8, 9), (16, 12), (32, 15)])
def test_the_rise_of_many_strangers(tracks, rise_db, lesson_text):
    """Read: "by 6 dB for 4 tracks, 9 dB for 8, 12 dB for 16, 15 dB for 32"; *derived*, 10 log N, printed figures."""
    from gainlib.decibels import sum_db

    assert f"{rise_db} dB for {tracks}" in lesson_text(LESSON)
    assert sum_db([-20.0] * tracks) + 20 == pytest.approx(rise_db, abs=0.1)


def test_six_tracks_at_minus_15_leave_the_sum_close_to_minus_6(stems):
    """Read: "Tracks that each peak near −15 dBFS leave the sum of a band close to −6 dBFS"."""
    level = summed(*((take, -15 - gl.measure("peak_dbfs", take)) for take in stems.values()))
    assert level.peak_dbfs == pytest.approx(-6, abs=1.0)


def test_six_tracks_near_full_scale_do_not(stems):
    """Read: "Tracks that each peak near 0 do not"."""
    assert summed(*((take, -gl.measure("peak_dbfs", take)) for take in stems.values())).peak_dbfs > 6


def test_the_band_as_it_comes_wants_a_balance(stems):
    """Move: "Keep the peak of the sum below −6 dBFS": as the stems came, it is above."""
    assert -6 < summed(*((take, 0) for take in stems.values())).peak_dbfs < 0


def loudness_of(voice, position, law_db):
    session = gl.Session.of(voice, [gl.Pan(position, law_db)], name="voice")
    return gl.measure("loudness_lufs", session.render().at("pan"))


def test_pan_laws_in_the_middle(voice):
    """Read: "With the −3 dB law … the same loudness"; "With the −6 dB law the voice is 3 dB softer in the middle"."""
    side = loudness_of(voice, 1.0, -3.0)
    assert loudness_of(voice, 0.0, -3.0) == pytest.approx(side, abs=0.05)
    assert side - loudness_of(voice, 0.0, -6.0) == pytest.approx(3, abs=0.05)
    assert 0.5 < side - loudness_of(voice, 0.0, -4.5) < 2.5


def test_pan_laws_in_mono(voice):
    """Read: "the −6 dB law keeps the level, and with the −3 dB law the middle comes out 3 dB louder"."""

    def mono(position, law_db):
        samples = gl.Session.of(voice, [gl.Pan(position, law_db)], name="voice").render().at("pan").samples
        return gl.measure("rms_dbfs", gl.Audio(samples.sum(axis=1), voice.rate_hz))

    assert mono(0.0, -6.0) == pytest.approx(mono(1.0, -6.0), abs=0.01)
    assert mono(0.0, -3.0) - mono(1.0, -3.0) == pytest.approx(3, abs=0.05)
