"""What the lesson "Add density on a bus" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl

LESSON = "add-density-on-a-bus"


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


@pytest.mark.holds_the_text
def test_takes_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'names = ["kick", "snare", "hats"]' in text
    assert 'gl.read(f"media/{name}.flac").between(9.5, 14.25)' in text
    assert 'gl.Bus("drums", (gl.Trim(), gl.Saturation(drive_db=0)))' in text


DRUMS = sum(paper.stem(name, 9.5, 14.25) for name in ("kick", "snare", "hats"))
CURVE = "derived: tanh(kx)/tanh(k) with its shelf, oversampled here by another filter; AES17"
# Two ways of oversampling agree that well, in dB and in per cent.
NEAR = 0.02


@functools.cache
def on_paper(*drives_db, trim_db=0.0):
    """What enters the row of saturations and what leaves each of them."""
    signals = [DRUMS * 10 ** (trim_db / 20)]
    for each in drives_db:
        signals.append(paper.saturated(signals[-1], each))
    return signals


def rise_on_paper(signals):
    return paper.rms_dbfs(signals[-1]) - paper.rms_dbfs(signals[0])


def test_the_peak_stays_and_the_rms_rises(drums, reckoned):
    """Read: "The peak did not move. The RMS rose by 1.6 dB"."""
    driven, expected = drums(8), on_paper(8)
    stays = abs(driven.level("drums/bent 0").peak_dbfs - driven.level("drums/trim").peak_dbfs) < 0.01
    moved = paper.peak_dbfs(expected[1]) - paper.peak_dbfs(expected[0])
    reckoned("The peak did not move.", True, abs(moved) < 0.01, stays, source=CURVE)
    quote = "The RMS rose by 1.6 dB"
    reckoned(quote, 1.6, rise_on_paper(expected), rise_db(driven), within=0.06, near=NEAR, source=CURVE)


def test_the_drums_have_a_crest_factor_of_21_db(drums, reckoned):
    """Read: "their crest factor, peak − RMS (AES17) + 3.0 dB, is 21 dB here"."""
    came = drums(8)
    level = came.level("drums/trim")
    quote = "their crest factor, peak − RMS (AES17) + 3.0 dB, is 21 dB here"
    for read in (gl.measure("crest_db", came.at("drums/trim")), level.peak_dbfs - level.rms_dbfs + 3.0):
        source = "published: IEC 60268-1, the stems' own samples"
        reckoned(quote, 21, paper.crest_db(DRUMS), read, within=0.5, near=0.02, source=source)


def test_12_db_lower_the_same_drive_does_next_to_nothing(drums, reckoned):
    """Read: "With the trim at −12 dB the same drive raises the RMS by only 0.1 dB"."""
    quote = "With the trim at −12 dB the same drive raises the RMS by only 0.1 dB"
    expected = rise_on_paper(on_paper(8, trim_db=-12.0))
    reckoned(quote, 0.1, expected, rise_db(drums(8, trim_db=-12.0)), near=NEAR, source=CURVE)


def test_what_the_distortion_reading_says(drums, reckoned):
    """Read: "3.5 % may be heard"; the cell prints 0.25 % for the same drive 12 dB lower."""
    expected = paper.distortion_percent(*on_paper(8))
    reckoned("3.5 % may be heard", 3.5, expected, percent(drums(8)), near=NEAR, source=CURVE)
    assert paper.distortion_percent(*on_paper(8, trim_db=-12.0)) < 0.3
    assert percent(drums(8, trim_db=-12.0)) < 0.3


@pytest.mark.parametrize(
    ("name", "quotes"),
    [
        ("hats", (("2.8 % when all is driven alike", 2.8), ("0.8 % with the low end at 6 dB", 0.8))),
        ("bass", (("5.2 % and 4.8 %", 5.2), ("5.2 % and 4.8 %", 4.8))),
    ],
    ids=["hats", "bass"],
)
def test_the_low_end_spares_the_top(name, quotes, stems, reckoned):
    """Read: "2.8 % when all is driven alike, 0.8 % with the low end at 6 dB"; the bass "5.2 % and 4.8 %"."""
    trim = gl.Trim(-6 - gl.measure("peak_dbfs", stems[name]))
    stem = paper.stem(name, 9.5, 14.25)
    stem = stem * 10 ** ((-6 - paper.peak_dbfs(stem)) / 20)
    for low_end_db, (quote, said) in zip((0.0, 6.0), quotes, strict=True):
        chain = [trim, gl.Saturation(drive_db=6, low_end_db=low_end_db)]
        found = gl.Session.of(stems[name], chain, name=name).render().reading("saturation", "distortion_percent")
        expected = paper.distortion_percent(stem, paper.saturated(stem, 6, low_end_db))
        reckoned(quote, said, expected, found, near=NEAR, source=CURVE)


def test_three_times_4_db_is_not_12_db(drums, reckoned):
    """Read: "It raised the RMS by 1.8 dB, and once 12 dB by 3.4 dB"; the cell prints 7.8 %."""
    quote = "It raised the RMS by 1.8 dB, and once 12 dB by 3.4 dB"
    read = rise_db(drums(4, 4, 4), "bent 2")
    reckoned(quote, 1.8, rise_on_paper(on_paper(4, 4, 4)), read, near=NEAR, source=CURVE)
    reckoned(quote, 3.4, rise_on_paper(on_paper(12)), rise_db(drums(12)), within=0.06, near=NEAR, source=CURVE)
    assert percent(drums(12)) == pytest.approx(7.8, abs=0.05)
    assert paper.distortion_percent(*on_paper(12)) == pytest.approx(7.8, abs=0.05)


def test_three_small_figures_add_up(drums, reckoned):
    """Read: "Each of the three shows only about 1.3 %", "all three together make about 3.9 %"."""
    thrice, expected = drums(4, 4, 4), on_paper(4, 4, 4)
    for place in range(3):
        one = paper.distortion_percent(expected[place], expected[place + 1])
        quote, read = "Each of the three shows only about 1.3 %", percent(thrice, f"bent {place}")
        reckoned(quote, 1.3, one, read, within=0.1, near=NEAR, source=CURVE)
    came, went = thrice.at("drums/trim").samples, thrice.at("drums/bent 2").samples
    gain = float(np.vdot(came, went) / np.vdot(came, came))
    together = 100 * math.sqrt(float(np.sum((went - gain * came) ** 2) / np.sum(went**2)))
    whole = paper.distortion_percent(expected[0], expected[-1])
    reckoned("all three together make about 3.9 %", 3.9, whole, together, near=NEAR, source=CURVE)


def test_one_saturation_of_the_same_density_distorts_as_much(drums, reckoned):
    """Read: "One single saturation that gives the same density, with 8.4 dB of drive, makes 3.8 %"."""
    quote = "One single saturation that gives the same density, with 8.4 dB of drive, makes 3.8 %"
    assert rise_db(drums(8.4)) == pytest.approx(rise_db(drums(4, 4, 4), "bent 2"), abs=0.05)
    assert rise_on_paper(on_paper(8.4)) == pytest.approx(rise_on_paper(on_paper(4, 4, 4)), abs=0.05)
    expected = paper.distortion_percent(*on_paper(8.4))
    reckoned(quote, 3.8, expected, percent(drums(8.4)), near=NEAR, source=CURVE)


@pytest.mark.reading_of_our_own
def test_zero_drive_is_not_there(drums):
    """Read: "At a drive of 0 dB this saturation hands on every sample as it came, bit for bit"."""
    off = drums(0)
    assert (off.at("drums/trim").samples == off.at("drums/bent 0").samples).all()
