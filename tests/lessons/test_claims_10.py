"""What the lesson "Add density on a bus" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import math

import numpy as np
import pytest

import gainlib as gl

LESSON = "10-add-density-on-a-bus"


@pytest.fixture(scope="module")
def stems():
    return {name: gl.read(f"media/{name}.flac").between(9.5, 14.25) for name in ("kick", "snare", "hats", "bass")}


@pytest.fixture(scope="module")
def drums(stems):
    """The drum bus behind a trim and saturations of these drives, in a row."""

    def rendered(*drives_db, trim_db=0.0):
        strips = [gl.Strip(name, stems[name], (gl.Trim(),), to="drums") for name in ("kick", "snare", "hats")]
        row = [gl.Saturation(drive_db=each, name=f"bent {place}") for place, each in enumerate(drives_db)]
        buses = (gl.Bus("drums", (gl.Trim(trim_db), *row)),)
        return gl.Session(tuple(strips), buses=buses, main=gl.Bus("main")).render()

    return rendered


def rise_db(rendering, last="bent 0"):
    return rendering.level(f"drums/{last}").rms_dbfs - rendering.level("drums/trim").rms_dbfs


def percent(rendering, which="bent 0"):
    return rendering.reading(f"drums/{which}", "distortion_percent")


def test_takes_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'names = ["kick", "snare", "hats"]' in text
    assert 'gl.read(f"media/{name}.flac").between(9.5, 14.25)' in text
    assert 'gl.Bus("drums", (gl.Trim(), gl.Saturation(drive_db=0)))' in text


def test_the_peak_stays_and_the_rms_rises(drums):
    """Read: "The peak did not move. The RMS rose by 1.6 dB"."""
    driven = drums(8)
    assert driven.level("drums/bent 0").peak_dbfs == pytest.approx(driven.level("drums/trim").peak_dbfs, abs=0.01)
    assert rise_db(driven) == pytest.approx(1.6, abs=0.06)


def test_the_drums_have_a_crest_factor_of_21_db(drums):
    """Read: "their crest factor, peak − RMS (AES17) + 3.0 dB, is 21 dB here"."""
    came = drums(8)
    assert gl.measure("crest_db", came.at("drums/trim")) == pytest.approx(21, abs=0.5)
    level = came.level("drums/trim")
    assert level.peak_dbfs - level.rms_dbfs + 3.0 == pytest.approx(21, abs=0.5)


def test_12_db_lower_the_same_drive_does_next_to_nothing(drums):
    """Read: "With the trim at −12 dB the same drive raises the RMS by only 0.1 dB"."""
    assert rise_db(drums(8, trim_db=-12.0)) == pytest.approx(0.1, abs=0.05)


def test_what_the_distortion_reading_says(drums):
    """Read: "3.5 % may be heard"; the cell prints 0.25 % for the same drive 12 dB lower."""
    assert percent(drums(8)) == pytest.approx(3.5, abs=0.05)
    assert percent(drums(8, trim_db=-12.0)) < 0.3


@pytest.mark.parametrize(("name", "alike", "low"), [("hats", 2.8, 0.8), ("bass", 5.2, 4.8)], ids=["hats", "bass"])
def test_the_low_end_spares_the_top(name, alike, low, stems):
    """Read: "2.8 % when all is driven alike, 0.8 % with the low end at 6 dB"; the bass "5.2 % and 4.8 %"."""
    trim = gl.Trim(-6 - gl.measure("peak_dbfs", stems[name]))
    for low_end_db, wanted in ((0.0, alike), (6.0, low)):
        chain = [trim, gl.Saturation(drive_db=6, low_end_db=low_end_db)]
        found = gl.Session.of(stems[name], chain, name=name).render().reading("saturation", "distortion_percent")
        assert found == pytest.approx(wanted, abs=0.05)


def test_three_times_4_db_is_not_12_db(drums):
    """Read: "It raised the RMS by 1.8 dB, and once 12 dB by 3.4 dB"; the cell prints 7.8 %."""
    assert rise_db(drums(4, 4, 4), "bent 2") == pytest.approx(1.8, abs=0.05)
    assert rise_db(drums(12)) == pytest.approx(3.4, abs=0.06)
    assert percent(drums(12)) == pytest.approx(7.8, abs=0.05)


def test_three_small_figures_add_up(drums):
    """Read: "Each of the three shows only about 1.3 %", "all three together make about 3.9 %"."""
    thrice = drums(4, 4, 4)
    for which in ("bent 0", "bent 1", "bent 2"):
        assert percent(thrice, which) == pytest.approx(1.3, abs=0.1)
    came, went = thrice.at("drums/trim").samples, thrice.at("drums/bent 2").samples
    gain = float(np.vdot(came, went) / np.vdot(came, came))
    together = 100 * math.sqrt(float(np.sum((went - gain * came) ** 2) / np.sum(went**2)))
    assert together == pytest.approx(3.9, abs=0.05)


def test_one_saturation_of_the_same_density_distorts_as_much(drums):
    """Read: "One single saturation that gives the same density, with 8.4 dB of drive, makes 3.8 %"."""
    assert rise_db(drums(8.4)) == pytest.approx(rise_db(drums(4, 4, 4), "bent 2"), abs=0.05)
    assert percent(drums(8.4)) == pytest.approx(3.8, abs=0.05)


def test_zero_drive_is_not_there(drums):
    """Read: "At a drive of 0 dB this saturation hands on every sample as it came, bit for bit"."""
    off = drums(0)
    assert (off.at("drums/trim").samples == off.at("drums/bent 0").samples).all()
