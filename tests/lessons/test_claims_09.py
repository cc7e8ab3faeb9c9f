"""What the lesson "Ride a fader" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "09-ride-a-fader"
LIFTED = [(0.0, 6.0), (4.3, 6.0), (4.45, 0.0)]
VERSE, CHORUS = (0, 4.3), (4.4, 9.1)


@pytest.fixture(scope="module")
def voice():
    return gl.read("media/lead-voice.flac").between(4.9, 14.0)


@pytest.fixture(scope="module")
def before(voice):
    # Both chains of the lesson's first cell; the test below holds them together.
    press = gl.Compressor(threshold_db=-24, ratio=4, attack_ms=5, release_ms=100)
    return gl.Session.of(voice, [gl.Trim(), gl.Ride(), press, gl.Fader()], name="voice")


@pytest.fixture(scope="module")
def after(voice):
    press = gl.Compressor(threshold_db=-24, ratio=4, attack_ms=5, release_ms=100)
    return gl.Session.of(voice, [gl.Trim(), press, gl.Fader()], name="voice")


def loudness(session, part, **settings):
    rendering = session.replaced({name.replace("__", "/"): value for name, value in settings.items()}).render()
    return gl.measure("loudness_lufs", rendering.at("fader").between(*part))


def test_the_chains_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.read("media/lead-voice.flac").between(4.9, 14.0)' in text
    assert "press = gl.Compressor(threshold_db=-24, ratio=4, attack_ms=5, release_ms=100)" in text
    assert "lifted = [(0.0, 6.0), (4.3, 6.0), (4.45, 0.0)]" in text
    assert "[gl.Trim(), gl.Ride(), press, gl.Fader()]" in text
    assert "[gl.Trim(), press, gl.Fader()]" in text


def test_the_verse_is_quiet_and_the_chorus_loud(voice):
    """Title: "In the verse, 0 to 4.3 s, the singer is quiet. In the chorus, from 4.4 s, she is loud"."""
    levels = [gl.measure("active_rms_dbfs", voice.between(*part)) for part in (VERSE, CHORUS)]
    assert levels[1] - levels[0] > 6


def test_6_db_before_the_compressor_come_out_as_3(before):
    """Read: "Before the compressor, 6 dB came out as 3 dB"."""
    moved = loudness(before, VERSE, ride__points=LIFTED) - loudness(before, VERSE)
    assert moved == pytest.approx(3, abs=0.25)


def test_6_db_after_the_compressor_are_6(after):
    """Read: "After the compressor a move is a move: 6 dB are 6 dB"."""
    moved = loudness(after, VERSE, fader__ride=LIFTED) - loudness(after, VERSE)
    assert moved == pytest.approx(6, abs=0.05)


def test_over_the_threshold_a_quarter_gets_through_and_below_it_all():
    """Read: "Where the voice is over the threshold, only a quarter of a move gets through at 4:1; … below, all"."""
    stage = gl.Compressor(threshold_db=-24, ratio=4, knee_db=0)
    assert stage.curve_db(-12.0) - stage.curve_db(-18.0) == pytest.approx(6 / 4)
    assert stage.curve_db(-30.0) - stage.curve_db(-36.0) == pytest.approx(6)


def test_the_compressor_answers_the_ride_before_it_and_not_the_one_after(before, after):
    """Move: "In the verse it is more than before"; "The reduction does not move at all"."""

    def in_the_verse(rendering):
        trace = rendering.reduction_db("compressor")
        return float(trace[: int(4.3 * 48000)].mean())

    lifted = before.replaced({"ride/points": LIFTED}).render()
    assert in_the_verse(lifted) > in_the_verse(before.render()) + 0.5
    drawn = after.replaced({"fader/ride": LIFTED}).render()
    assert in_the_verse(drawn) == in_the_verse(after.render())


def test_an_offset_moves_verse_and_chorus_alike(after):
    """Read: "Verse and chorus both fall by 2 dB, and the distance between them stays as you drew it"."""
    falls = [
        loudness(after, part, fader__ride=LIFTED) - loudness(after, part, fader__ride=LIFTED, fader__gain_db=-2.0)
        for part in (VERSE, CHORUS)
    ]
    assert falls == pytest.approx([2, 2], abs=0.05)


def test_an_offset_before_the_compressor_changes_the_reduction(after):
    """Read: "In front of it, 2 dB less would also mean less reduction"."""
    lower = after.replaced({"trim/gain_db": -2.0}).render()
    name = "mean_gain_reduction_db"
    assert lower.reading("compressor", name) < after.render().reading("compressor", name) - 0.3


def test_the_guitar_is_soft_in_the_verse_and_louder_in_the_chorus():
    """Move: "The guitar is picked softly in the verse and strummed in the chorus"."""
    guitar = gl.read("media/guitar.flac").between(4.9, 14.0)
    levels = [gl.measure("rms_dbfs", guitar.between(*part)) for part in (VERSE, CHORUS)]
    assert levels[1] - levels[0] > 3
