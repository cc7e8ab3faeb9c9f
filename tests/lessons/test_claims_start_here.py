"""What the lesson "Start here" says in numbers, measured on the lesson's own chains or reckoned from its source."""

from __future__ import annotations

import itertools
import re

import pytest
import reckoning as paper

import gainlib as gl
from gainlib.widgets.course_questions import course_questions

LESSON = "start-here"

# level in dBA -> (hours as printed in the table, standing: published, NIOSH 98-126, table 1-1)
TABLE = {82: 16, 85: 8, 88: 4, 91: 2, 94: 1, 97: 0.5, 100: 0.25}


@pytest.fixture(scope="module")
def presenter():
    return gl.read("media/radio-presenter.flac")


@pytest.fixture(scope="module")
def guest():
    return gl.read("media/radio-guest.flac")


@pytest.mark.holds_the_text
def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.Session.of(take, [gl.Trim(-6), gl.StoredFile("fixed 24")], name="presenter")' in text
    assert 'take = gl.read("media/radio-presenter.flac")' in text


NIOSH = "published: NIOSH 98-126, table 1-1"
PRESENTER, GUEST = paper.stem("radio-presenter"), paper.stem("radio-guest")


def test_the_table_is_the_published_one(lesson_text, reckoned):
    """Read: the table of levels and longest times, and "every 3 dB halves the time"."""
    rows = [row for row in lesson_text(LESSON).splitlines() if row.startswith("|")]
    levels = [float(each) for each in re.findall(r"(\d+) dBA", rows[0])]
    times = [float(each) * (1 if unit == "h" else 1 / 60) for each, unit in re.findall(r"(\d+) (h|min)", rows[2])]
    for level, hours in zip(levels, times, strict=True):
        reckoned(f"{level:g} dBA", True, level in TABLE, hours == pytest.approx(TABLE[level]), source=NIOSH)
    assert len(levels) == len(TABLE)
    halves = all(a == pytest.approx(2 * b) for a, b in itertools.pairwise(times))
    on_paper = all(a == 2 * b for a, b in itertools.pairwise(TABLE.values()))
    reckoned("every 3 dB halves the time", True, on_paper, halves, source=NIOSH)


def test_100_dba_leave_15_minutes(reckoned):
    """Predict: "at 100 dBA"; Read: "From 85 to 100 dBA there are five"."""
    names: dict[str, float] = {}
    exec("hours = 8 / 2 ** ((100 - 85) / 3)", names)  # the lesson's own line
    reckoned("at 100 dBA", True, TABLE[100] == 0.25, names["hours"] == pytest.approx(0.25), source=NIOSH)
    steps = list(TABLE).index(100) - list(TABLE).index(85)
    reckoned("From 85 to 100 dBA there are five", True, steps == 5, (100 - 85) / 3 == 5, source=NIOSH)


@pytest.mark.holds_the_text
def test_the_minutes_in_a_club_are_answered_so():
    assert course_questions()["minutes"].answer == 60 * 8 / 2 ** ((100 - 85) / 3)


def test_the_recording_lasts_17_5_seconds_in_mono(presenter, reckoned):
    """Head: "a recording of 17.5 seconds, in mono"."""
    quote = "a recording of 17.5 seconds, in mono"
    seconds = len(PRESENTER) / paper.RATE_HZ
    reckoned(quote, 17.5, seconds, presenter.seconds, near=1e-9, source="derived: the file's samples over its rate")
    assert presenter.channels == PRESENTER.ndim == 1


def test_the_presenter_peaks_at_minus_6_without_a_trim(presenter, reckoned):
    """Move: "at −6 dBFS, where the presenter's is without a trim"."""
    quote = "at −6 dBFS, where the presenter's is without a trim"
    read = gl.measure("peak_dbfs", presenter)
    reckoned(quote, -6, paper.peak_dbfs(PRESENTER), read, within=0.5, near=1e-6, source="published: AES17")


@pytest.mark.reading_of_our_own
def test_the_line_on_top_complains_within_the_trims_travel(presenter):
    """Move: "Raise it until the line on top complains"."""
    session = gl.Session.of(presenter, [gl.Trim(-6), gl.StoredFile("fixed 24")], name="presenter")
    bench = gl.bench(session, controls=["trim/gain_db"])
    assert not bench.advice.trouble
    bench.move("trim/gain_db", bench.controls["trim/gain_db"].high)
    assert bench.advice.trouble


def test_the_guest_lies_18_db_below_the_presenter(presenter, guest, reckoned):
    """Read: "Her peaks are about 18 dB below the presenter's" and "more than 60 times shorter"."""
    apart = gl.measure("peak_dbfs", presenter) - gl.measure("peak_dbfs", guest)
    expected = paper.peak_dbfs(PRESENTER) - paper.peak_dbfs(GUEST)
    quote = "Her peaks are about 18 dB below the presenter's"
    reckoned(quote, 18, expected, apart, within=0.5, near=1e-6, source="published: AES17")
    reckoned("more than 60 times shorter", True, 2 ** (expected / 3) > 60, 2 ** (apart / 3) > 60, source=NIOSH)
    louder = gl.measure("loudness_lufs", presenter) - gl.measure("loudness_lufs", guest)
    on_paper = paper.loudness_lufs(PRESENTER) - paper.loudness_lufs(GUEST)
    reckoned("the louder of the two", True, on_paper > 15, louder > 15, source="published: BS.1770-5, annex 1")
