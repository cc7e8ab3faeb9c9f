"""The picture of which answers pass: it agrees with the verdict, says the same in words, and stands alone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import gainlib as gl
from gainlib.authoring.passing_region import passing_region, write_passing_page
from gainlib.exercises import author_answer, check

KINDS = Path(__file__).parents[1] / "benches" / "kinds"
SMALL = """
title = "Both at once"
lesson = "set-recording-level"
kind = "set"
level = 1
goal = "Meet two bounds."
brief = "The tone is at −20 dBFS. Bring it between −12 and −8 dBFS."
given.signal = { wave = "sine", frequency_hz = 997, level_dbfs = -20, seconds = 1 }
given.strip = "tone"
given.stages = [
  { stage = "Trim", gain_db = 0 }, { stage = "Fader", gain_db = 0 }, { stage = "Trim", name = "last", gain_db = 0 },
]
moves = [
  { path = "trim/gain_db", from = -6, to = 6, step = 2, start = 0 },
  { path = "fader/gain_db", from = -6, to = 6, step = 2, start = 0 },
  { path = "last/gain_db", from = 0, to = 4, step = 2, start = 0 },
]
solution = { "trim/gain_db" = 4, "fader/gain_db" = 4, "last/gain_db" = 2 }
[[checks]]
title = "Level"
points = 1
reads = { measure = "peak_dbfs", at = "last", at_least = -12, at_most = -8 }
source = "This test."
standing = "derived"
[[checks]]
title = "The trim"
points = 1
reads = { setting = "trim/gain_db", at_most = 4 }
source = "This test."
standing = "derived"
"""


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    made = tmp_path_factory.mktemp("own") / "both.toml"
    made.write_text(SMALL, encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def region(file):
    return passing_region(file)


def test_the_grid_is_every_step_of_both_controls_and_passes_where_arithmetic_says(region):
    steps = [-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0]
    assert sorted((each.across, each.up) for each in region.cells) == [(x, y) for x in steps for y in steps]
    for each in region.cells:
        # −20 dBFS, both gains, and the third control at the author's 2 dB
        level = -20 + each.across + each.up + 2
        assert each.passes == (-12 <= level <= -8 and each.across <= 4), each


def test_every_cell_agrees_with_the_verdict(region):
    solution = author_answer(region.variant)
    for each in region.cells[::5]:
        answer = {**solution, region.across.path: each.across, region.up.path: each.up}
        verdict = check(region.variant, answer)
        assert verdict.passed == each.passes
        assert sum(not line.passed for line in verdict.lines) == len(each.fails)


def test_the_sentence_says_what_the_picture_shows(region):
    said = region.sentence
    # counted by hand: trim 0 with fader 6; 2 with 4 and 6; 4 with 2, 4 and 6
    assert said.startswith("6 of 49 answers pass, with trim from 0 dB to +4 dB and fader from +2 dB to +6 dB")
    assert "The author's answer, trim +4 dB and fader +4 dB, passes." in said
    assert "The start, trim 0 dB and fader 0 dB, fails: Level −18.0 dBFS, too low (wanted: −12 to −8 dBFS)." in said
    assert said.endswith("The other controls stand where the author's answer has them.")


def test_passing_answers_are_told_by_hatch_and_mark_and_the_hover_names_the_bounds(region):
    figure = region.figure()
    drawn = {each.data_source.name: each.glyph for each in figure.renderers if type(each.glyph).__name__ == "Rect"}
    assert (drawn["passes"].hatch_pattern, drawn["fails"].hatch_pattern) == ("/", None)
    sources = {each.data_source.name: each.data_source.data for each in figure.renderers}
    assert (len(sources["passes"]["up"]), len(sources["fails"]["up"])) == (6, 43)
    at = next(index for index, pair in enumerate(zip(sources["fails"]["across"], sources["fails"]["up"], strict=True))
              if pair == (6.0, 6.0))  # fmt: skip
    assert sources["fails"]["says"][at] == (
        "fails: Level −6.0 dBFS, too high (wanted: −12 to −8 dBFS); The trim +6 dB, too high (wanted: at most +4 dB)"
    )
    assert (sources["start"]["x"], sources["author's answer"]["y"]) == ([0.0], [4.0])
    assert (figure.xaxis[0].axis_label, figure.yaxis[0].axis_label) == ("Trim, dB", "Fader, dB")


def test_other_controls_can_be_chosen_and_odd_ones_are_named(file):
    region = passing_region(file, controls=("last/gain_db", "tone/trim/gain_db"))
    assert (region.across.path, region.up.path) == ("tone/last/gain_db", "tone/trim/gain_db")
    assert {each.across for each in region.cells} == {0.0, 2.0, 4.0}
    with pytest.raises(gl.GainError, match=r"'fadr/gain_db' is not one of the controls .* did you mean"):
        passing_region(file, controls=("fadr/gain_db", "trim/gain_db"))
    with pytest.raises(gl.GainError, match="both controls are tone/trim/gain_db; name two"):
        passing_region(file, controls=("trim/gain_db", "trim/gain_db"))
    with pytest.raises(gl.GainError, match="has 0 controls that are numbers and 0 checks"):
        passing_region(KINDS / "read-the-verse.toml")


def test_a_fine_control_is_looked_at_in_larger_steps_with_the_authors_value_among_them(tmp_path):
    file = tmp_path / "fine.toml"
    before = 'fader/gain_db", from = -6, to = 6, step = 2'
    fine = SMALL.replace(before, 'fader/gain_db", from = -40, to = 9, step = 0.5')
    file.write_text(fine.replace('"fader/gain_db" = 4', '"fader/gain_db" = 4.5'), encoding="utf-8")
    region = passing_region(file)
    values = sorted({each.up for each in region.cells})
    assert 20 < len(values) <= 41
    assert 4.5 in values
    assert (values[0] >= -40, values[-1] <= 9) == (True, True)
    assert region.steps[1] == values[1] - values[0]


def test_the_page_stands_alone_and_only_an_earlier_picture_is_replaced(region, tmp_path):
    page = write_passing_page(region, tmp_path / "region.html")
    text = page.read_text(encoding="utf-8")
    assert region.sentence.replace("'", "&#39;") in text
    before_the_library = text[: text.index("<script>")]
    assert not re.search(r"(src|href)=", before_the_library)
    assert not re.search(r"<script[^>]+src=|<link", text)
    write_passing_page(region, page)
    other = tmp_path / "mine.html"
    other.write_text("mine")
    with pytest.raises(gl.GainError, match=r"mine.html is there already and no picture of this kind"):
        write_passing_page(region, other)
    with pytest.raises(gl.GainError, match="cannot be written"):
        write_passing_page(region, tmp_path / "none" / "x.html")
    assert other.read_text() == "mine"


def test_an_exercise_of_the_collection_is_drawn_as_its_verdict_goes():
    region = passing_region("recording/leave-room", most_values=5)
    assert region.solution.passes
    assert not region.start.passes
    assert 9 <= len(region.cells) <= 25
    solution = author_answer(region.variant)
    for each in region.cells:
        answer = {**solution, region.across.path: each.across, region.up.path: each.up}
        assert check(region.variant, answer).passed == each.passes, each
    assert {each.passes for each in region.cells} == {True, False}
