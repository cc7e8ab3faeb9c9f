"""What the lesson "Ride the phrases" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl

LESSON = "ride-phrases"
ANSWERS = [(6.25, 8.6, 15), (10.8, 13.2, 16), (15.45, 17.1, 18)]
PRESENTER = (3.33, 5.9)


@pytest.fixture(scope="module")
def session(lesson_start):
    return lesson_start(LESSON)["session"]


def ridden(session, **settings):
    return session.replaced({"ride/points": gl.proposed_ride(session.strips[0].take, -17.5).points, **settings})


def most_db(session, threshold_db=-24):
    rendering = session.replaced({"compressor/threshold_db": threshold_db}).render()
    return rendering.reading("compressor", "gain_reduction_db")


def apart_db(session, threshold_db=-24):
    rendering = session.replaced({"compressor/threshold_db": threshold_db}).render()
    return gl.measure("phrase_range_db", rendering.at("compressor"))


def guest(regions, trim_db):
    talk = gl.Session.of(gl.read("media/radio-guest.flac"), [gl.ClipGain(regions), gl.Trim(trim_db)], name="guest")
    return talk.render().at("trim")


def presenter_dbfs(regions, trim_db):
    return gl.measure("peak_dbfs", guest(regions, trim_db).between(*PRESENTER))


TAKE = paper.take(LESSON, "lead voice")
GUEST = paper.stem("radio-guest")
CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, curve and smooth branching"
LEVELS = "published: AES17, the stem's own samples; derived: decibel arithmetic"


def most_on_paper(threshold_db, points=((0.0, 0.0),)):
    """The largest reduction at 4:1 behind a ride, which runs straight in decibels between its points."""
    return paper.reduction_db(paper.ridden(TAKE, points), threshold_db, 4).max()


def ride_points():
    return gl.proposed_ride(gl.takes(LESSON)["lead voice"], -17.5).points


# Sentence of the lesson: (the number in it, how near, what paper says, what is measured, what the paper rests on).
RECKONED = {
    "takes away 7.6 dB at most": (
        7.6,
        0.05,
        lambda: most_on_paper(-24, ride_points()),
        lambda s: most_db(ridden(s)),
        CURVE,
    ),
    "instead of 10.6 dB": (10.6, 0.05, lambda: most_on_paper(-24), most_db, CURVE),
    "Alone it takes away 15 dB": (15, 0.5, lambda: most_on_paper(-30), lambda s: most_db(s, -30), CURVE),
    "After the ride 5 dB are enough for": (
        5,
        0.5,
        lambda: most_on_paper(-20, ride_points()),
        lambda s: most_db(ridden(s), -20),
        CURVE,
    ),
    "the regions left the presenter at −36 dBFS": (
        -36,
        0.5,
        lambda: paper.peak_dbfs(paper.part(GUEST, *PRESENTER)),
        lambda s: presenter_dbfs(ANSWERS, 0),
        LEVELS,
    ),
    "The trim raised him to −20 dBFS": (
        -20,
        0.5,
        lambda: paper.peak_dbfs(paper.part(GUEST, *PRESENTER)) + 16,
        lambda s: presenter_dbfs([], 16),
        LEVELS,
    ),
}


@pytest.mark.parametrize("sentence", RECKONED)
def test_the_lesson_says_what_is_reckoned(sentence, session, reckoned):
    said, within, on_paper, measured, source = RECKONED[sentence]
    reckoned(sentence, said, on_paper(), measured(session), within=within, near=0.01, source=source)


def test_the_phrases_stay_8_db_apart(session, own_reading):
    """The phrases are found by a rule of the course's own."""
    own_reading("still leaves 8 dB between the phrases", 8, apart_db(session, -30), within=0.2)


@pytest.mark.reading_of_our_own(count=4)
def test_the_phrases_come_out_closer_together_after_a_ride(session):
    """Read: "far more even", "still leaves 8 dB", "for 2.1 dB"; the level while she sings stays."""
    assert apart_db(session) > 3 * apart_db(ridden(session))
    if not gl.takes(LESSON).own:
        assert 7.8 < apart_db(session, -30) < 8.2
        assert 2.05 < apart_db(ridden(session), -20) < 2.15
    before, after = (gl.measure("active_rms_dbfs", each.render().at("ride")) for each in (session, ridden(session)))
    assert after == pytest.approx(before, abs=0.5)


@pytest.mark.reading_of_our_own(count=1)
def test_on_average_the_compressor_is_as_busy_as_before(session):
    """Read: "On average it is as busy as before, since the soft lines now reach it too"."""
    before, after = (
        each.render().reading("compressor", "mean_gain_reduction_db") for each in (session, ridden(session))
    )
    assert after == pytest.approx(before, abs=1.0)
    assert after > before


@pytest.mark.holds_the_text
def test_the_cells_of_the_lesson_hold_what_is_measured_here(lesson_text):
    text = lesson_text(LESSON)
    assert "gl.proposed_ride(take, -17.5)" in text
    assert f"answers = {ANSWERS}" in text
    assert f'"presenter": {PRESENTER}' in text


@pytest.mark.reading_of_our_own(count=1)
def test_a_region_of_6_db_takes_the_shout_down_to_the_line_before_it(session):
    """Move: "the shout costs the compressor no more than the line before it" can be reached with clip gain alone."""
    most = {}
    for gain_db in (0, -6, -9):
        trace = (
            session.replaced({"clip gain/regions": [(*paper.seconds("shout"), gain_db)]})
            .render()
            .reduction_db("compressor")
        )
        rate = session.strips[0].take.rate_hz
        line, shout = (
            trace[round(a * rate) : round(b * rate)].max() for a, b in map(paper.seconds, ("last line", "shout"))
        )
        most[gain_db] = float(shout - line)
    assert most[0] > most[-6] > most[-9]
    assert most[-9] <= 0.5


def test_the_guest_comes_up_and_the_presenter_does_not(reckoned):
    """Move: "Three regions raise her three answers. Nothing else is raised"; Read: "together with her"."""
    answer = (6.36, 8.48)
    plain, regions, trimmed = guest([], 0), guest(ANSWERS, 0), guest([], 16)
    raised = gl.measure("rms_dbfs", regions.between(*answer)) - gl.measure("rms_dbfs", plain.between(*answer))
    reckoned("Three regions raise her three answers", True, ANSWERS[0][2] > 14, 14 < raised < 15.01, source=LEVELS)
    assert presenter_dbfs(ANSWERS, 0) == presenter_dbfs([], 0)
    level = paper.rms_dbfs(paper.part(GUEST, *answer)) + 16
    read = gl.measure("rms_dbfs", trimmed.between(*answer))
    reckoned("together with her", True, abs(level + 20) < 0.5, abs(read - level) < 1e-6, source=LEVELS)


def test_the_loudness_of_the_whole_does_not_tell_of_the_soft_voice(reckoned):
    """Read: "it is the same, −25.0 LUFS", and "The meter leaves out what lies more than 10 LU under"."""
    presenter = paper.stem("radio-presenter")
    both = {}
    for name, regions in {"as it is": [], "raised": ANSWERS}.items():
        gain = np.ones(len(GUEST))
        for start, end, gain_db in regions:
            gain[round(start * 48000) : round(end * 48000)] = 10 ** (gain_db / 20)
        voice = GUEST * gain
        count = max(len(voice), len(presenter))
        both[name] = np.pad(voice, (0, count - len(voice))) + np.pad(presenter, (0, count - len(presenter)))
    whole = [paper.loudness_lufs(each) for each in both.values()]
    strips = [
        gl.Strip("presenter", gl.read("media/radio-presenter.flac"), [gl.Trim()]),
        gl.Strip("guest", gl.read("media/radio-guest.flac"), [gl.ClipGain(regions=ANSWERS)]),
    ]
    scene = gl.Session(strips, main=gl.Bus("main"))
    read = [
        gl.measure("loudness_lufs", each.render().at("main/sum"))
        for each in (scene.replaced({"guest/clip gain/regions": ()}), scene)
    ]
    quote = "it is the same, −25.0 LUFS"
    told = [[round(each, 1) for each in levels] == [-25.0, -25.0] for levels in (whole, read)]
    reckoned(quote, True, *told, source="published: BS.1770-5, annex 1")
    answer = [paper.loudness_lufs(paper.part(each, 6.36, 8.48)) for each in both.values()]
    apart = [answer[0] < whole[0] - 10, answer[1] > whole[1] - 1]
    reckoned("at first she did", True, all(apart), True, source="published: BS.1770-5, annex 1")
