"""What the lesson "Set a recording level" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import numpy as np
import pytest

import gainlib as gl

VERSE = (0.0, 9.34)


@pytest.fixture(scope="module")
def take():
    return gl.read("media/lead-voice.flac")


@pytest.fixture(scope="module")
def session(take):
    # The chain of the lesson's first cell; the test below holds the two together.
    chain = [gl.Source(-24), gl.Preamp(53), gl.Converter("EBU R 68"), gl.Trim()]
    return gl.Session.of(take, chain, name="voice")


def verse_level(session, take, gain_db):
    return session.with_take(take.between(*VERSE)).replaced({"preamp/gain_db": gain_db}).render().level("converter")


def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text("03-set-recording-level")
    assert 'chain = [gl.Source(-24), gl.Preamp(53), gl.Converter("EBU R 68"), gl.Trim()]' in text
    assert "take.between(0, 9.34)" in text


def test_the_rehearsal_starts_3_db_below_full_scale(session, take):
    """Predict: "until the verse peaks 3 dB below full scale"."""
    assert verse_level(session, take, 53).headroom_db == pytest.approx(3, abs=0.5)
    assert verse_level(session, take, 53).clipped == 0


def test_the_shout_stands_10_db_above_the_verse(take):
    """Read: "The verse left 3 dB and the shout wanted 10." and "the shout is the loudest moment of the take"."""
    above = gl.measure("peak_dbfs", take) - gl.measure("peak_dbfs", take.between(*VERSE))
    assert above == pytest.approx(10, abs=0.5)
    assert gl.measure("peak_dbfs", take.between(17.7, 18.8)) == gl.measure("peak_dbfs", take)


def test_the_chorus_stands_6_db_above_the_verse(take):
    """Read: "Even the chorus before it wanted 6"."""
    above = gl.measure("peak_dbfs", take.between(9.34, 17.6)) - gl.measure("peak_dbfs", take.between(*VERSE))
    assert above == pytest.approx(6, abs=0.5)


def test_the_take_clips_in_the_converter_and_nowhere_else(session):
    """Move: "Every place where the converter clipped is marked"."""
    rendering = session.render()
    assert rendering.level("converter").clipped > 10
    assert rendering.level("preamp").clipped == 0


def test_the_trim_lowers_the_level_and_keeps_the_flat_tops(session):
    """Read: "it makes the flat tops quieter, and they stay flat"; Move: "Pull the trim down by 12 dB"."""
    hot = session.render()
    lowered = session.replaced({"trim/gain_db": -12.0}).render(hot)
    assert lowered.level("trim").peak_dbfs == pytest.approx(hot.level("trim").peak_dbfs - 12, abs=1e-6)
    assert lowered.level("converter").clipped == hot.level("converter").clipped
    assert gl.measure("flat_tops", lowered.at("trim")) == gl.measure("flat_tops", hot.at("trim")) > 10


def test_at_41_db_the_verse_peaks_near_minus_15_and_the_shout_is_clean(session, take):
    """Move: "until the verse peaks near −15 dBFS"; Listen: "With the preamp at 41 dB the shout is round"."""
    assert verse_level(session, take, 41).peak_dbfs == pytest.approx(-15, abs=0.5)
    sensible = session.replaced({"preamp/gain_db": 41.0}).render().level("converter")
    assert sensible.clipped == 0
    assert sensible.headroom_db == pytest.approx(5, abs=0.5)


def test_voice_and_noise_come_down_together(session):
    """Read: "the distance between voice and noise stays as it was"."""
    far = [
        level.rms_dbfs - level.noise_dbfs
        for level in (session.replaced({"preamp/gain_db": gain}).render().level("preamp") for gain in (53.0, 41.0))
    ]
    assert far[0] == pytest.approx(far[1], abs=0.1)


@pytest.mark.parametrize(
    ("bits", "sentence", "steps_dbfs"), [(16, "−98 dBFS with 16 bits", -98), (24, "−146 dBFS with 24", -146)]
)
def test_the_steps_make_the_noise_that_is_named(lesson_text, bits, sentence, steps_dbfs):
    """Read: "at −98 dBFS with 16 bits, at −146 dBFS with 24"; measured on a voltage that no step meets."""
    assert sentence in lesson_text("03-set-recording-level")
    quiet = gl.Audio(0.25 * np.sin(np.arange(96_000) * 0.1307), 48_000)
    chain = [
        gl.Source(0, noise_dbfs=-np.inf),
        gl.Preamp(12, input_noise_dbu=-np.inf),
        gl.Converter("EBU R 68", bits=bits),
    ]
    rendering = gl.Session.of(quiet, chain, name="tone").render()
    error = rendering.at("converter").samples - rendering.at("preamp").samples
    assert gl.measure("rms_dbfs", gl.Audio(error, 48_000)) == pytest.approx(steps_dbfs, abs=0.5)


def test_the_booth_covers_the_steps_at_41_db(session, lesson_text):
    """Read: "With the preamp at 41 dB the booth's noise lies at −69 dBFS and covers both"."""
    assert "the booth's noise lies at −69 dBFS" in lesson_text("03-set-recording-level")
    booth = session.replaced({"preamp/gain_db": 41.0}).render()
    assert gl.measure("noise_floor_dbfs", booth.at("converter")) == pytest.approx(-69, abs=0.5)


def test_far_down_16_bits_lose_distance_and_24_bits_none(session, lesson_text):
    """Read: "24 bits lose nothing. With 16 bits the steps begin to show: 1.2 dB are gone"."""
    assert "1.2 dB are gone" in lesson_text("03-set-recording-level")
    usual = distance_db(session, 41, 24)
    assert distance_db(session, 17, 24) == pytest.approx(usual, abs=0.05)
    assert usual - distance_db(session, 17, 16) == pytest.approx(1.2, abs=0.05)


def distance_db(session, gain_db, bits):
    level = session.replaced({"preamp/gain_db": gain_db, "converter/bits": bits}).render().level("converter")
    return level.rms_dbfs - level.noise_dbfs
