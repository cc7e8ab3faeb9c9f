"""Exercise files with one fault each: the sentence names the file, the entry, and what is wanted."""

from __future__ import annotations

import os

import pytest

from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load
from gainlib.exercises.collection import LARGEST_FILE_BYTES, read_spec

TAKE = 'given.take   = "take.wav"'
READS = 'reads    = { measure = "peak_dbfs", at = "converter", seconds = [0.0, 9.3], at_least = -17, at_most = -13 }'
FAULTS = [
    # (what is spoilt, what the sentence says)
    (('title  = "Leave', 'titel  = "Leave'), "entry title is missing"),
    (("level  = 1\n", "level  = 1\nlevl = 2\n"), "no entry levl; did you mean level?"),
    (("level  = 1\n", 'level  = "1"\n'), "level is '1'; it must be a whole number"),
    (("level  = 1\n", "level  = 4\n"), "level is 4; it must be at most 3"),
    (("level  = 1\n", "level  = true\n"), "level is true; it must be a whole number"),
    (('kind   = "set"', 'kind   = "sett"'), "kind is 'sett'; did you mean set?"),
    (('kind   = "set"', "kind   = 3"), "kind is 3; known are find, hear, judge, reckon, record, ride, session, set"),
    (('kind   = "set"\n', ""), "lacks the entry kind"),
    (("points   = 2\n", "points   = nan\n"), "points of check 1 is NaN"),
    (("points   = 2\n", "points   = -1\n"), "points of check 1 is −1; it must be above 0"),
    (("points   = 2\n", "points   = 2\npoitns = 1\n"), "poitns of check 1; did you mean points?"),
    (('standing = "common practice"', 'standing = "hearsay"'), "standing of check 1 is 'hearsay'; it must be one of"),
    ((READS, READS.replace("peak_dbfs", "peak_db")), "check 1: 'peak_db' is not a measure; did you mean peak_dbfs?"),
    (
        (READS, READS.replace('"converter"', '"convertor"')),
        "check 1: strip 'voice' has no stage 'convertor'; did you mean converter?",
    ),
    ((READS, READS.replace(' at = "converter",', "")), "lacks the entry at"),
    ((READS, READS.replace("at_least = -17", "at_least = -11")), "nothing can meet both"),
    ((READS, READS.replace(", at_least = -17, at_most = -13", "")), "has no bound"),
    ((READS, READS.replace("[0.0, 9.3]", "[9.3, 0.0]")), "the start must come before the end"),
    ((READS, READS.replace("[0.0, 9.3]", "[0.0, 4.0, 9.3]")), "seconds of reads of check 1 holds too many"),
    ((READS, READS.replace("at_most = -13", "at_most = inf")), "at_most of reads of check 1"),
    ((READS, READS.replace('measure = "peak_dbfs", ', "")), "exactly one of the two"),
    (('stage = "Preamp"', 'stage = "Preamb"'), "did you mean Preamp?"),
    (
        ('{ stage = "Preamp", gain_db = 40 }', '{ stage = "Preamp", gian_db = 40 }'),
        "no setting 'gian_db'; did you mean",
    ),
    (('{ stage = "Preamp", gain_db = 40 }', '{ stage = "Preamp", gain_db = [40] }'), "gain_db of the preamp is a list"),
    (('{ stage = "Preamp", gain_db = 40 }', "{ gain_db = 40 }"), "stage 2 of given lacks the entry stage"),
    (('alignment = "EBU R 68"', 'alignment = "EBU"'), "alignment is 'EBU'"),
    (
        ('path = "preamp/gain_db"', 'path = "preamp/gian_db"'),
        "path of move 1: voice/preamp has no setting 'gian_db'; did you mean gain_db?",
    ),
    (('path = "preamp/gain_db"', 'path = "trim/gain_db"'), "named twice"),
    (("from = 0, ", "from = 60, "), "from must be below to"),
    (("step = 1, ", "step = 0, "), "step of move 1 is 0; it must be above 0"),
    (("step = 1, ", "step = 61, "), "wider than its range"),
    (("start = { base = 24", "start = { base = 45"), "start of move 1 comes to 75"),
    (('start = { base = 24, minus = "level"', 'start = { base = 24, minus = "levle"'), "did you mean level?"),
    (("to = -16, step = 1 }", "to = -16, step = 0.000001 }"), "more than 10000 values"),
    (("varies.level", "varies.Level"), "a name that cannot be used"),
    (("more than {level}", "more than {levl}"), "brief holds {levl}; did you mean level?"),
    (("up by {off}", "up by {of}"), "low of check 1 holds {of}; did you mean off?"),
    ((', "trim/gain_db" = 0 }\nhints', " }\nhints"), "solution says nothing of the move 'voice/trim/gain_db'"),
    ((', "trim/gain_db" = 0 }\nhints', ', "trim/gain_db" = 40 }\nhints'), "comes to 40; the move goes from -24 to 12"),
    (
        ('"trim/gain_db" = -8', '"trim/gain_db" = true'),
        "trim/gain_db of answer of slip 1 is true; it must be a number, or a rule",
    ),
    ((TAKE, 'given.take   = "../take.wav"'), "without .. or a drive"),
    ((TAKE, 'given.take   = "/etc/passwd"'), "without .. or a drive"),
    ((TAKE, "given.take   = 'C:\\take.wav'"), "without .. or a drive"),
    ((TAKE, 'given.take   = "media/../exercises/README.md"'), "without .. or a drive"),
    ((TAKE, 'given.take   = "media/lead-voise.flac"'), "not there; did you mean media/lead-voice.flac?"),
    ((TAKE, 'given.take   = "media/."'), "without .. or a drive"),
    (("[[checks]]", "[[checks]"), "is not valid TOML"),
    (("cost = 0.5", "cost = -0.5"), "cost of hint 2 is −0.5; it must be at least 0"),
    (('given.strip  = "voice"', 'given.strip  = "voice"\ngiven.listen = "mix"'), "no stage 'mix'"),
]


@pytest.mark.parametrize(("change", "says"), FAULTS, ids=[says[:40] for _, says in FAULTS])
def test_a_fault_is_told_in_one_sentence_with_file_and_entry(written, change, says):
    with pytest.raises(GainError) as told:
        load(written(change))
    sentence = str(told.value)
    assert says in sentence
    assert sentence.startswith("leave-room.toml")
    assert "\n" not in sentence
    assert "pydantic" not in sentence.lower()


def test_the_unspoilt_copy_loads(written):
    assert load(written()).title == "Leave room for the shout"


def test_seconds_beyond_the_take_are_told_when_it_is_read(written):
    exercise = load(written((READS, READS.replace("9.3]", "19.5]"))))
    with pytest.raises(GainError, match=r"leave-room.toml: seconds ends at 19.5 s; take.wav ends at 19 s"):
        exercise.variant("ada")


def test_a_link_out_of_the_folder_is_refused(written, tmp_path_factory):
    file = written()
    outside = tmp_path_factory.mktemp("outside") / "take.wav"
    outside.write_bytes((file.parent / "take.wav").read_bytes())
    (file.parent / "take.wav").unlink()
    os.symlink(outside, file.parent / "take.wav")
    with pytest.raises(GainError, match="a link that leads out"):
        load(file)


def test_an_unknown_exercise_names_the_nearest():
    with pytest.raises(GainError, match=r"did you mean recording/leave-room\?"):
        load("recording/leave-rom")
    with pytest.raises(GainError, match="there is no exercise"):
        load("../recording/leave-room")
    with pytest.raises(GainError, match="a list"):
        load(["recording/leave-room"])


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"\xff\xfe", "not UTF-8"),
        (b"x = 1\n" * LARGEST_FILE_BYTES, "larger than 64 kB"),
        (b"", "lacks the entry kind"),
        (b"a = " + b"[" * 5000, "not valid TOML"),
        (b'kind = "set"\n', "is missing"),
    ],
)
def test_a_file_that_is_no_exercise_is_told(tmp_path, content, says):
    (tmp_path / "odd.toml").write_bytes(content)
    with pytest.raises(GainError, match=says):
        load(tmp_path / "odd.toml")


def test_a_missing_file_and_a_folder_are_told(tmp_path):
    with pytest.raises(GainError, match=r"none.toml is not there; check the name"):
        read_spec(tmp_path / "none.toml")
    with pytest.raises(GainError, match="cannot be read as an exercise, since it is no file"):
        read_spec(tmp_path)


def test_every_exercise_of_the_collection_loads():
    assert "recording/leave-room" in exercise_names()
    for name in exercise_names():
        assert load(name).name == name
