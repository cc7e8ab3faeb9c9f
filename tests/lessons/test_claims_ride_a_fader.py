"""What the lesson "Ride a fader" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import functools

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "ride-a-fader"
HALVES = "into the chorus"
VOICE = paper.take(LESSON, "lead voice", HALVES)
SOFT, LOUD = paper.seconds("verse", HALVES)[1], paper.seconds("chorus", HALVES)[0]
VERSE, CHORUS = (0, SOFT), (LOUD, len(VOICE) / paper.RATE_HZ)
LIFTED = [(0.0, 6.0), (SOFT, 6.0), (LOUD, 0.0)]


@pytest.fixture(scope="module")
def voice():
    return gl.takes(LESSON)["lead voice", HALVES]


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


@pytest.mark.holds_the_text
def test_the_chains_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'takes["lead voice", "into the chorus"], takes["guitar", "into the chorus"]' in text
    assert "press = gl.Compressor(threshold_db=-24, ratio=4, attack_ms=5, release_ms=100)" in text
    assert "lifted = [(0.0, 6.0), (soft, 6.0), (loud, 0.0)]" in text
    assert "[gl.Trim(), gl.Ride(), press, gl.Fader()]" in text
    assert "[gl.Trim(), press, gl.Fader()]" in text


CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, curve and smooth branching"
LOUDNESS = f"{CURVE}; BS.1770-5, annex 1"


@functools.cache
def on_paper(lifted=False, trim_db=0.0):
    """The reduction at each sample, behind the ride of the lesson or behind none."""
    entered = paper.ridden(VOICE, LIFTED) if lifted else VOICE * 10 ** (trim_db / 20)
    return paper.reduction_db(entered, -24, 4, 6, 5, 100)


def came_out(lifted=False):
    return (paper.ridden(VOICE, LIFTED) if lifted else VOICE) * 10 ** (-on_paper(lifted) / 20)


def loudness_on_paper(samples, part):
    return paper.loudness_lufs(paper.part(samples, *part))


def test_the_verse_is_quiet_and_the_chorus_loud(voice, reckoned):
    """Title: "In the verse, 0 to 4.4 s, the singer is quiet. In the chorus, from 4.6 s, she is loud"."""
    levels = [gl.measure("active_rms_dbfs", voice.between(*part)) for part in (VERSE, CHORUS)]
    expected = [paper.active_rms_dbfs(paper.part(VOICE, *part)) for part in (VERSE, CHORUS)]
    quote = "In the verse, 0 to 4.4 s, the singer is quiet. In the chorus, from 4.6 s, she is loud"
    louder = expected[1] - expected[0] > 6, levels[1] - levels[0] > 6
    reckoned(quote, True, *louder, source="published: AES17; the course's level while singing, worked out again")
    for said, at in ((4.4, VERSE[1]), (4.6, CHORUS[0])):
        reckoned(quote, said, at, source="the table of the takes")


def test_6_db_before_the_compressor_come_out_as_3(before, reckoned):
    """Read: "Before the compressor, 6 dB came out as 3 dB"."""
    moved = loudness(before, VERSE, ride__points=LIFTED) - loudness(before, VERSE)
    expected = loudness_on_paper(came_out(True), VERSE) - loudness_on_paper(came_out(), VERSE)
    quote = "Before the compressor, 6 dB came out as 3 dB"
    reckoned(quote, 3, expected, moved, within=0.25, near=0.01, source=LOUDNESS)


def test_6_db_after_the_compressor_are_6(after, reckoned):
    """Read: "After the compressor a move is a move: 6 dB are 6 dB"."""
    moved = loudness(after, VERSE, fader__ride=LIFTED) - loudness(after, VERSE)
    quote = "After the compressor a move is a move: 6 dB are 6 dB"
    reckoned(quote, 6, LIFTED[0][1], moved, source="derived: a gain behind the compressor is a gain")


def test_over_the_threshold_a_quarter_gets_through_and_below_it_all(reckoned):
    """Read: "Where the voice is over the threshold, only a quarter of a move gets through at 4:1; … below, all"."""
    stage = gl.Compressor(threshold_db=-24, ratio=4, knee_db=0)
    share = (stage.curve_db(-12.0) - stage.curve_db(-18.0)) / 6, (stage.curve_db(-30.0) - stage.curve_db(-36.0)) / 6
    quote = "Where the voice is over the threshold, only a quarter of a move gets through at 4:1"
    at = {level: level - float(paper.wanted_reduction_db(level, -24, 4, 0)) for level in (-12, -18, -30, -36)}
    expected = (at[-12] - at[-18]) / 6, (at[-30] - at[-36]) / 6
    passes = expected == pytest.approx((1 / 4, 1)), share == pytest.approx((1 / 4, 1))
    reckoned(quote, True, *passes, source=CURVE)


def test_the_compressor_answers_the_ride_before_it_and_not_the_one_after(before, after, reckoned):
    """Move: "In the verse it is more than before"; "The reduction does not move at all"."""

    def in_the_verse(trace):
        return float(trace[: int(SOFT * 48000)].mean())

    lifted = before.replaced({"ride/points": LIFTED}).render().reduction_db("compressor")
    more = in_the_verse(lifted) - in_the_verse(before.render().reduction_db("compressor"))
    expected = in_the_verse(on_paper(True)) - in_the_verse(on_paper())
    assert more == pytest.approx(expected, abs=0.005)
    reckoned("In the verse it is more than before", True, expected > 0.5, more > 0.5, source=CURVE)
    drawn = after.replaced({"fader/ride": LIFTED}).render()
    assert in_the_verse(drawn.reduction_db("compressor")) == in_the_verse(after.render().reduction_db("compressor"))


def test_an_offset_moves_verse_and_chorus_alike(after, reckoned):
    """Read: "Verse and chorus both fall by 2 dB, and the distance between them stays as you drew it"."""
    for part in (VERSE, CHORUS):
        moved = loudness(after, part, fader__ride=LIFTED, fader__gain_db=-2.0)
        falls = loudness(after, part, fader__ride=LIFTED) - moved
        lifted = paper.ridden(came_out(), LIFTED)
        expected = loudness_on_paper(lifted, part) - loudness_on_paper(lifted * 10 ** (-2 / 20), part)
        quote = "Verse and chorus both fall by 2 dB, and the distance between them stays as you drew it"
        reckoned(quote, 2, expected, falls, near=0.01, source=LOUDNESS)


def test_an_offset_before_the_compressor_changes_the_reduction(after, reckoned):
    """Read: "In front of it, 2 dB less would also mean less reduction"."""
    lower = after.replaced({"trim/gain_db": -2.0}).render()
    less = (each.reading("compressor", "mean_gain_reduction_db") for each in (after.render(), lower))
    quote = "In front of it, 2 dB less would also mean less reduction"
    expected = on_paper().mean() - on_paper(trim_db=-2.0).mean()
    read = next(less) - next(less)
    assert read == pytest.approx(expected, abs=0.005)
    reckoned(quote, True, expected > 0.3, read > 0.3, source=CURVE)


def test_the_guitar_is_soft_in_the_verse_and_louder_in_the_chorus(reckoned):
    """Move: "The guitar is picked softly in the verse and strummed in the chorus"."""
    guitar = gl.takes(LESSON)["guitar", HALVES]
    levels = [gl.measure("rms_dbfs", guitar.between(*part)) for part in (VERSE, CHORUS)]
    stem = paper.take(LESSON, "guitar", HALVES)
    expected = [paper.rms_dbfs(paper.part(stem, *part)) for part in (VERSE, CHORUS)]
    assert levels == pytest.approx(expected, abs=1e-6)
    quote = "The guitar is picked softly in the verse and strummed in the chorus"
    reckoned(quote, True, expected[1] - expected[0] > 3, levels[1] - levels[0] > 3, source="published: AES17")


def test_a_soft_line_keeps_its_lift_and_one_over_the_threshold_little(before, reckoned):
    """Read: "a soft line of the verse keeps nearly all of its lift", "over the threshold keeps little"."""
    from gainlib.meters import find_phrases

    plain, lifted = (each.render().at("fader") for each in (before, before.replaced({"ride/points": LIFTED})))
    found, whole = [], before.strips[0].take.between(*VERSE)
    for line in find_phrases(whole.samples, whole.rate_hz):
        span = line.start_seconds, line.end_seconds
        expected = paper.rms_dbfs(paper.part(came_out(True), *span)) - paper.rms_dbfs(paper.part(came_out(), *span))
        read = gl.measure("rms_dbfs", lifted.between(*span)) - gl.measure("rms_dbfs", plain.between(*span))
        assert read == pytest.approx(expected, abs=0.01)
        found.append((line.rms_dbfs, expected))
    kept = [rise for _, rise in sorted(found)]
    quote = "a soft line of the verse keeps nearly all of its lift"
    reckoned(quote, True, kept[0] > 4.5, kept[0] - kept[-1] > 1.5, source=f"{CURVE}; AES17")
