"""Writing an exercise without a browser: each thing that is shown becomes an entry, and nothing of the file is lost."""

from __future__ import annotations

import numpy as np
import pytest

import gainlib as gl
from gainlib.authoring.completion import reading_of_check
from gainlib.authoring.draft import read_draft
from gainlib.benches.exercise_writer import ExerciseWriter
from gainlib.errors import GainError
from gainlib.sound_file import write

RATE_HZ = 48_000


@pytest.fixture
def page(tmp_path):
    """A page beside a second of a 997 Hz sine at -20 dBFS, which is what it opens with."""
    sine = 0.1 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)
    write(tmp_path / "my sine.wav", gl.Audio(sine, RATE_HZ))
    made = gl.write_exercise(tmp_path / "even-sine.toml")
    yield made
    made.close()


@pytest.fixture
def writer(page):
    return page.writer


def shown(writer):
    """A trim that is to bring the sine from -26 to -20 dBFS."""
    writer.change(stages=({"stage": "Trim", "gain_db": 0.0},))
    writer.bench.move("trim/gain_db", -6.0)
    writer.begin_here()
    writer.bench.move("trim/gain_db", 0.0)
    writer.this_is_right()
    return writer


def test_a_recording_beside_the_file_comes_first(writer):
    assert writer.recordings[:2] == ("my sine.wav", "media/backing-voices.flac")
    given = writer.draft.get("given")
    assert (given["take"], given["strip"], writer.draft.get("title")) == ("my sine.wav", "my sine", "Even sine")
    assert not writer.file.exists()  # nothing has been said yet


def test_what_was_moved_since_the_beginning_is_what_learners_move(writer):
    shown(writer)
    assert writer.draft.get("given", "stages") == [{"stage": "Trim", "gain_db": -6.0}]
    assert writer.draft.get("moves") == [{"path": "trim/gain_db", "from": -24.0, "to": 24.0, "step": 0.5}]
    assert writer.draft.get("solution") == writer.right == {"trim/gain_db": 0.0}


def test_a_check_has_bounds_around_what_is_right_and_reads_the_bench(writer):
    shown(writer).add_check("peak_dbfs", "trim")
    (check,) = writer.draft.get("checks")
    reads = {"measure": "peak_dbfs", "at": "trim", "at_least": -22.0, "at_most": -18.0}
    assert (check["reads"], check["title"]) == (reads, "Peak after the trim")
    writer.bench.move("trim/gain_db", 5.0)
    reading = reading_of_check(check, writer.session)
    assert (writer.read(reading), writer.read(reading, writer.right)) == (-15.0, -20.0)


def test_the_table_tells_begin_right_and_now(page):
    shown(page.writer).add_check("peak_dbfs", "trim")
    page.writer.bench.move("trim/gain_db", 5.0)
    table = page.panel.readings.value
    assert "<td>−22 to −18 dBFS</td><td>−26.0 dBFS ○ too low</td><td>−20.0 dBFS ● met</td>" in table
    page.writer.bench.move("trim/gain_db", 6.0)
    assert "<td>−14.0 dBFS ○ too high</td>" in page.panel.readings.value


def test_the_file_is_kept_after_each_change_and_gone_on_from(writer):
    shown(writer).add_check("peak_dbfs", "trim")
    assert read_draft(writer.file.read_text(encoding="utf-8"), "x.toml") == writer.draft
    again = gl.write_exercise(writer.file).writer
    assert (again.draft, again.values) == (writer.draft, {"trim/gain_db": 0.0})


def test_a_file_that_was_changed_elsewhere_is_not_written_over(writer):
    shown(writer)
    theirs = writer.file.read_text(encoding="utf-8").replace("Even sine", "My own words")
    writer.file.write_text(theirs, encoding="utf-8")
    with pytest.raises(GainError, match=r"even-sine\.toml was changed elsewhere meanwhile; run the cell again"):
        writer.change(title="Mine")
    assert (writer.file.read_text(encoding="utf-8"), writer.draft.get("title")) == (theirs, "Even sine")


def test_the_whole_is_proven(writer):
    stages = ("Source", {"full_scale_dbu": -10.0}), ("Converter", {"alignment": 20.0}), ("Trim", {"gain_db": 0.0})
    writer.change(stages=tuple({"stage": kind, **settings} for kind, settings in stages))
    writer.begin_here()
    writer.bench.move("trim/gain_db", 12.0)
    writer.this_is_right()
    writer.vary("source/full_scale_dbu")
    writer.add_check("peak_dbfs", "trim")
    proof = writer.prove()
    assert (proof.proven, proof.faults) == (True, ())
    # A decibel more from the source is one less of trim.
    assert writer.draft.get("solution") == {"trim/gain_db": {"base": 2.0, "minus": "source"}}


def test_a_stage_that_is_taken_away_takes_what_names_it_along(writer):
    shown(writer).add_check("peak_dbfs", "trim")
    writer.add_stage("Trim")
    assert writer.taps == ("trim", "trim 2")
    writer.add_check("rms_dbfs", "trim 2")
    writer.remove_stage("trim")
    assert [each["reads"]["measure"] for each in writer.draft.get("checks")] == ["rms_dbfs"]
    assert (writer.draft.get("moves"), writer.draft.get("solution")) == ([], {})
    with pytest.raises(GainError, match="one stage must stay"):
        writer.remove_stage("trim 2")


def test_another_name_of_a_stage_is_its_name_wherever_it_stands(writer):
    shown(writer).add_check("peak_dbfs", "trim")
    at = next(i for i, row in enumerate(writer.draft.get("given", "stages")) if row["stage"] == "Trim")
    before = writer.draft.text
    writer.put("given", "stages", at, "name", value="make up")
    assert [each["path"] for each in writer.draft.get("moves")] == ["make up/gain_db"]
    assert list(writer.draft.get("solution")) == ["make up/gain_db"]
    assert writer.draft.get("checks", 0, "reads", "at") == "make up"
    writer.put("given", "stages", at, "name", value=None)
    assert writer.draft.text == before


def test_another_name_of_a_strip_is_its_name_wherever_it_stands(tmp_path):
    writer = ExerciseWriter(tmp_path / "found.toml", kind="find")
    writer.put("given", "strips", 0, "name", value="drum")
    assert writer.draft.get("varies", "where", "choose") == ["drum", "snare"]
    assert writer.draft.get("asks", 1, "name") == "stage"
    assert writer.prove(quick=True).faults == ()


REFUSED = [
    (lambda each: each.this_is_right(), "nothing was moved from where learners begin"),
    (lambda each: each.this_is_wrong("", "Look."), "a wrong answer needs a name"),
    (lambda each: each.this_is_wrong("loud", "Look."), "say first what is right"),
    (lambda each: each.write(), "say first what is right"),
    (lambda each: each.change(take="guitar.ogg"), "take is 'guitar.ogg', which is not there; there is my sine.wav."),
    (lambda each: each.change(between=(3.0, 5.0)), "between of given does not fit strip 'my sine'"),
    (lambda each: each.add_stage("Trimm"), "'Trimm' is no stage; did you mean Trim?"),
    (lambda each: each.add_stage("Source"), "digital side|analogue"),
    (lambda each: each.add_check("peak_db", "trim"), "'peak_db' is nothing that can be measured here; did you mean"),
]


@pytest.mark.parametrize(("work", "says"), REFUSED, ids=[says[:30] for _, says in REFUSED])
def test_what_cannot_be_done_is_said_and_changes_nothing(writer, work, says):
    before, values = writer.draft, writer.values
    with pytest.raises(GainError, match=says.replace("?", r"\?")):
        work(writer)
    assert (writer.draft, writer.values) == (before, values)


@pytest.mark.parametrize("name", ["Hot Bass.toml", "x" * 90, "ü.toml"])
def test_a_name_that_cannot_be_one_is_refused(tmp_path, name):
    with pytest.raises(GainError, match="the name is"):
        gl.write_exercise(tmp_path / name)


def test_a_control_that_is_taken_away_and_given_back_leaves_a_wrong_answer_as_it_was_shown(writer):
    shown(writer).add_check("peak_dbfs", "trim")
    writer.bench.move("trim/gain_db", 4.0)
    writer.this_is_wrong("too hot", "Four decibels too many.")
    writer.put("moves", 0, value=None)
    writer.bench.move("trim/gain_db", 0.0)
    writer.move("trim/gain_db", True)
    assert writer.moves == ["trim/gain_db"]
    assert writer.draft.get("slips", 0, "answer") == {"trim/gain_db": 4.0}
    writer.move("trim/gain_db", False)
    assert writer.draft.get("slips", 0, "answer") == {}


def test_a_control_follows_what_is_drawn_though_the_beginning_and_a_wrong_answer_stand_at_its_ends(writer):
    writer.change(stages=({"stage": "Trim", "gain_db": 12.0}, {"stage": "Saturation", "drive_db": 0.0}))
    writer.bench.move("saturation/drive_db", 7.0)
    writer.this_is_right()
    writer.add_check("distortion_percent", "saturation")
    writer.vary("trim/gain_db")
    writer.bench.move("saturation/drive_db", 12.0)
    writer.this_is_wrong("too much", "That is fuzz, not warmth.")
    assert writer.prove(quick=True).faults == ()
    # A decibel more into the curve is one less of drive; the controls end at 0 and 12 dB.
    assert writer.draft.get("solution", "saturation/drive_db") == {"base": 19.0, "minus": "trim"}
    assert writer.draft.get("moves", 0, "start") is None
    assert writer.draft.get("slips", 0, "answer") == {"saturation/drive_db": 12.0}
