"""What the lesson "Start here" says in numbers, measured on the lesson's own chains or reckoned from its source."""

from __future__ import annotations

import itertools
import re

import pytest

import gainlib as gl

LESSON = "00-start-here"

# level in dBA -> (hours as printed in the table, standing: published, NIOSH 98-126, table 1-1)
TABLE = {82: 16, 85: 8, 88: 4, 91: 2, 94: 1, 97: 0.5, 100: 0.25}


@pytest.fixture(scope="module")
def presenter():
    return gl.read("media/radio-presenter.flac")


@pytest.fixture(scope="module")
def guest():
    return gl.read("media/radio-guest.flac")


def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.Session.of(take, [gl.Trim(-6), gl.StoredFile("fixed 24")], name="presenter")' in text
    assert 'take = gl.read("media/radio-presenter.flac")' in text


def test_the_table_is_the_published_one(lesson_text):
    """Read: the table of levels and longest times, and "every 3 dB halves the time"."""
    rows = [row for row in lesson_text(LESSON).splitlines() if row.startswith("|")]
    levels = [float(each) for each in re.findall(r"(\d+) dBA", rows[0])]
    times = [float(each) * (1 if unit == "h" else 1 / 60) for each, unit in re.findall(r"(\d+) (h|min)", rows[2])]
    assert dict(zip(levels, times, strict=True)) == pytest.approx(TABLE)
    assert all(a == pytest.approx(2 * b) for a, b in itertools.pairwise(times))


def test_100_dba_leave_15_minutes():
    """Predict: "at 100 dBA"; Read: "From 85 to 100 dBA there are five"."""
    names: dict[str, float] = {}
    exec("hours = 8 / 2 ** ((100 - 85) / 3)", names)  # the lesson's own line
    assert names["hours"] * 60 == pytest.approx(15)
    assert (100 - 85) / 3 == 5


def test_the_lesson_reckons_the_hours_so(lesson_text):
    assert "hours = 8 / 2 ** ((100 - 85) / 3)" in lesson_text(LESSON)


def test_the_recording_lasts_17_5_seconds_in_mono(presenter):
    """Head: "a recording of 17.5 seconds, in mono"."""
    assert presenter.seconds == pytest.approx(17.5, abs=0.05)
    assert presenter.channels == 1


def test_the_presenter_peaks_at_minus_6_without_a_trim(presenter):
    """Move: "at −6 dBFS, where the presenter's is without a trim"."""
    assert gl.measure("peak_dbfs", presenter) == pytest.approx(-6, abs=0.5)


def test_the_line_on_top_complains_within_the_trims_travel(presenter):
    """Move: "Raise it until the line on top complains"."""
    session = gl.Session.of(presenter, [gl.Trim(-6), gl.StoredFile("fixed 24")], name="presenter")
    bench = gl.bench(session, controls=["trim/gain_db"])
    assert not bench.headline.trouble
    bench.move("trim/gain_db", bench.controls["trim/gain_db"].high)
    assert bench.headline.trouble


def test_the_guest_lies_18_db_below_the_presenter(presenter, guest):
    """Read: "Her peaks are about 18 dB below the presenter's" and "more than 60 times shorter"."""
    apart = gl.measure("peak_dbfs", presenter) - gl.measure("peak_dbfs", guest)
    assert apart == pytest.approx(18, abs=0.5)
    assert 2 ** (apart / 3) > 60
    assert gl.measure("loudness_lufs", presenter) > gl.measure("loudness_lufs", guest) + 15  # "the louder of the two"
