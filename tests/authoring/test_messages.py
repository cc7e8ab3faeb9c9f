"""All faults of a spoilt file are told at once, each with its line, in a teacher's words."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.authoring.new_exercise import new_exercise
from gainlib.authoring.validation import validate
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.exercises.collection import LARGEST_FILE_BYTES
from gainlib.exercises.tables import Spec
from gainlib.storage import bundled_folder
from gainlib.storage.entry_faults import describe_fault
from gainlib.storage.lessons import lesson_files, lesson_number
from gainlib.storage.positions import line_of, lines_of

FILE = lesson_files()["set-recording-level"]
PREAMP = '{ stage = "Preamp", gain_db = 40 }'
FAULTS = [
    # (what is spoilt, the line that is named, what the sentence says)
    (
        (PREAMP, '{ stage = "Preamp", gain_db = 40 dB }'),
        "a unit stands behind a number; leave the unit out, it belongs",
    ),
    ((PREAMP, '{ stage = "Preamp", gain_db = "40 dB" }'), "gain_db of the preamp is '40 dB'; leave the unit out, it"),
    (("points   = 2", 'points   = "2"'), "points of check 1 is '2'; it must be a number: leave the quotes out: 2"),
    (("cost = 0.5", "cost = 0,5"), "a comma stands in a number; write its decimals behind a point: 0.5"),
    (("cost = 0.5", 'cost = "0,5"'), "write the decimals behind a point, without quotes: 0.5"),
    (("full_scale_dbu = -24", "full_scale_dbu = −24"), "a long dash stands for minus; type the hyphen"),
    (("full_scale_dbu = -24", "full_scale_dbu = – 24"), "a long dash stands for minus; type the hyphen"),
    (('lesson = "set-recording-level"', "lesson = 03-of-mine"), "not valid TOML"),
    (
        ('title  = "Leave room for the shout"', "title  = Leave room"),
        'write title  = "Leave room".',
    ),
    (('title  = "Leave room for the shout"', "title  = “Leave room”"), "curly quotation marks; type straight ones"),
    (('title  = "Leave room for the shout"', "title  = Leave room # by the shout"), 'write title  = "Leave room".'),
    (("title  = ", "titel  = "), "there is no entry titel; did you mean title?"),
    (("at_most = -26", "bound = -26"), "there is no entry bound of when 1 of slip 3; known are"),
    (
        ('at = "converter", at_most = 0', 'at = "convertor", at_most = 0'),
        "'convertor'; did you mean converter?",
    ),
    (
        ('measure = "clipped_runs", at = "converter", at_most', 'measure = "clips", at = "converter", at_most'),
        "'clips' is",
    ),
    (('kind   = "set"', 'kind   = "sett"'), "kind is 'sett'; did you mean set?"),
    (("level  = 1", "level  = 7"), "level is 7; it must be at most 3"),
    (("up by {off}", "up by {of}"), "low of check 1 holds {of}; did you mean off?"),
    (("step = 0.5 }", "step = 0 }"), "step of move 2 is 0; it must be above 0"),
    (('"waveform"]', '"wave form"]'), "'wave form' is not a view; did you mean waveform?"),
    (('"set-recording-level"', f'"{FILE.stem}"'), "write its name alone: set-recording-level."),
    (('"set-recording-level"', f'"{lesson_number(FILE.name)}"'), "; write its name alone: set-recording-level."),
    (
        ('"set-recording-level"', '"set-record-level"'),
        "lesson is 'set-record-level'; did you mean set-recording-level?",
    ),
    (('"set-recording-level"', '"07-saturation"'), "lesson is '07-saturation'; known are add-density-on-a-bus, align"),
    (('"take.wav"', '"C:\\sounds\\take.wav"'), "put the recording beside this file, and name it alone: take.wav"),
    (("up by {off}", "up by \\about {off}"), "a backslash stands in a text; leave it out"),
    (("level  = 1", "level: 1"), "no equals sign stands between a name and its value; write one"),
    (("level  = 1", "level 1"), "no equals sign stands between a name and its value; write one"),
    (("level  = 1", "level  =\u00a01"), "a character stands here that cannot be seen"),
    (("kind   = ", "\ufeffkind   = "), "a character stands here that cannot be seen"),
    (
        ("level  = 1", 'title  = "Another"'),
        "title stands here a second time, first in line 1; leave one of the two",
    ),
    (("[[checks]]", "[checks]"), "its heading has two brackets on either side: [[checks]]"),
    (("[[checks]]", "[[checks]"), "a bracket is missing; its heading has two on either side: [[checks]]"),
    (('"take.wav"', '"guitar.flac"'), "take is 'guitar.flac', which is not there; there is take.wav."),
]


def spoilt(written, *changes):
    file = written(*changes)
    exercise, faults, _ = validate(file)
    assert exercise is None
    return file.read_text(encoding="utf-8").split("\n"), faults


@pytest.mark.parametrize(("change", "says"), FAULTS, ids=[says[:40] for _, says in FAULTS])
def test_a_fault_is_told_with_its_line(written, change, says):
    lines, faults = spoilt(written, change)
    (fault,) = faults
    assert says in fault.said
    assert change[1].strip() in lines[fault.line - 1]
    assert fault.text == f"line {fault.line}: {fault.said}"


@pytest.mark.parametrize("number", ["1.000,5", "1,000.5", "-1.000,5"])
def test_a_sign_for_thousands_is_told(written, number):
    _, faults = spoilt(written, (PREAMP, PREAMP.replace("40", number)))
    meant = "-1000.5" if number[0] == "-" else "1000.5"
    assert [fault.said for fault in faults] == [
        f"a sign for thousands stands in a number; leave it out, and write the decimals behind a point: {meant}",
        f"gain_db of the preamp is {meant}; it must be from -200 to 200 dB.",
    ]


def test_yes_for_a_number_is_told_as_what_it_means_and_where_it_may_not_stand(written):
    lines, faults = spoilt(written, ("step = 0.5 }", "step = yes }"))
    assert [fault.said for fault in faults] == [
        "yes and no are written true and false, without quotes: true",
        "step of move 2 is true; it must be a number.",
    ]
    assert {lines[fault.line - 1].count("step = yes }") for fault in faults} == {1}


def test_a_file_with_line_ends_of_old_computers_is_read_and_told(written):
    file = written()
    file.write_bytes(file.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r"))
    exercise, faults, _ = validate(file)
    assert exercise is None
    assert [fault.text for fault in faults] == [
        "line 1: its lines end in a carriage return alone; save it with the usual line ends."
    ]


def test_all_faults_are_told_in_the_order_of_the_lines(written):
    # One of every kind: slips of the pen, wrong names, wrong types, and what makes no sense beside the stages.
    changes = [FAULTS[index][0] for index in (8, 15, 16, 5, 1, 3, 2, 17, 13, 12)]
    lines, faults = spoilt(written, *changes)
    assert [fault.line for fault in faults] == sorted(fault.line for fault in faults)
    assert len(faults) == len(changes), [fault.text for fault in faults]
    for change in changes:
        assert any(change[1].strip() in lines[fault.line - 1] for fault in faults), change


def test_a_top_entry_typed_under_a_table_is_told_once(written):
    file = written()
    text = file.read_text(encoding="utf-8")
    hints = text[text.index("hints = [") : text.index("[[checks]]")]
    solution = next(line for line in text.split("\n") if line.startswith("solution"))
    file.write_text(text.replace(hints, "").replace(solution, "") + "\n" + solution + "\n" + hints, encoding="utf-8")
    _, faults, _ = validate(file)
    assert [fault.said for fault in faults] == [
        f"{name} stands under slip 3, but belongs to the whole exercise; "
        "move it above the first line in square brackets."
        for name in ("solution", "hints")
    ]
    lines = file.read_text(encoding="utf-8").split("\n")
    assert [lines[fault.line - 1].split()[0] for fault in faults] == ["solution", "hints"]


def test_a_top_entry_under_a_bus_names_the_bus():
    fault = {"loc": ("given", "buses", 1, "hints"), "type": "extra_forbidden", "input": []}
    assert describe_fault(fault, Spec).startswith(
        "hints stands under bus 2 of given, but belongs to the whole exercise"
    )


def test_braces_where_nothing_varies_say_so(tmp_path):
    file = new_exercise("plain", folder=tmp_path, kind="judge")
    text = file.read_text(encoding="utf-8")
    drawn = next(line for line in text.split("\n") if line.startswith("varies.hard"))
    file.write_text(text.replace(drawn, ""), encoding="utf-8")
    _, faults, _ = validate(file)
    assert any("brief holds {hard}; nothing varies here; add varies" in fault.said for fault in faults)


def test_a_missing_entry_is_told_at_the_table_that_lacks_it(written):
    lines, faults = spoilt(written, ("points   = 1\n", ""), ('goal   = "Set a', '# "Set a'))
    assert [fault.said for fault in faults] == [
        "the entry points of check 3 is missing; add it.",
        "the entry goal is missing; add it.",
    ]
    assert lines[faults[0].line - 1] == "[[checks]]"
    assert faults[1].line is None


def test_what_cannot_be_read_behind_a_fault_is_said(written):
    lines, faults = spoilt(written, ("[[checks]]", "[[checks]]]"))
    (fault,) = faults
    assert lines[fault.line - 1] == "[[checks]]]"
    assert "look for a missing quote, comma or bracket. What stands behind it was not looked at." in fault.said


def test_a_lesson_of_ones_own_may_lie_beside_the_exercise(written):
    file = written(('"set-recording-level"', '"hear-the-room"'))
    assert validate(file)[0] is None
    (file.parent / "01-hear-the-room.ipynb").touch()
    assert validate(file)[0] is not None


def test_a_file_saved_with_a_mark_is_read(written):
    file = written()
    file.write_bytes(b"\xef\xbb\xbf" + file.read_bytes())  # as some editors save UTF-8
    exercise, faults, _ = validate(file)
    assert exercise is not None
    assert not faults


def test_a_text_that_is_never_closed_is_told_where_it_begins(written):
    lines, faults = spoilt(written, ('only if it helps."""', "only if it helps."))
    (fault,) = faults
    assert lines[fault.line - 1].startswith('brief  = """')
    assert fault.said == 'a text that begins here with """ is never closed; close it with the same.'


def test_texts_and_comments_are_left_alone(written):
    # Each of these looks like a slip of the pen, and is none: the file has one other fault, which is told alone.
    lines, faults = spoilt(
        written,
        ("Set the preamp gain so", "gain = 0,5 dB and −3 and x = “y”: set the preamp gain so"),
        ("level  = 1\n", "level  = 1 # = 0,5 dB, = −3\n"),
        ("cost = 0.5", "cost = 0,7"),
    )
    (fault,) = faults
    assert "cost = 0,7" in lines[fault.line - 1]


def test_the_unspoilt_file_has_no_fault_and_is_the_exercise(written):
    exercise, faults, lines = validate(written())
    assert exercise is not None
    assert (exercise.title, faults) == ("Leave room for the shout", ())
    assert lines["title",] == 1


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"\xff\xfe", "not UTF-8"), (b"x = 1\n" * LARGEST_FILE_BYTES, "larger than 64 kB")],
)
def test_a_file_that_cannot_be_read_is_one_sentence(tmp_path, content, says):
    (tmp_path / "odd.toml").write_bytes(content)
    with pytest.raises(GainError, match=says):
        validate(tmp_path / "odd.toml")


@pytest.mark.parametrize(
    "content", ["", "a = " + "[" * 5000, "kind = 3", 'kind = "set"', "[[[", '"', "a.b.c", "=", "\0"]
)
def test_a_file_that_is_no_exercise_has_faults(tmp_path, content):
    (tmp_path / "odd.toml").write_text(content)
    exercise, faults, _ = validate(tmp_path / "odd.toml")
    assert exercise is None
    assert faults
    assert all("\n" not in fault.said for fault in faults)


# Typed by counting the lines.
LINES = '''# first
a = 1
b.c = [1, # [x]
  "]", { d = 2, e = 3 }
  ]
[f."g h"]
i = """
j = 1
"""
[[k]]
l = 'm = 1'
[[k]]
[k.n]
o = 1
'''


def test_the_line_of_each_entry_is_found():
    assert lines_of(LINES) == {
        ("a",): 2,
        ("b",): 3,
        ("b", "c"): 3,
        ("b", "c", 0): 3,
        ("b", "c", 1): 4,
        ("b", "c", 2): 4,
        ("b", "c", 2, "d"): 4,
        ("b", "c", 2, "e"): 4,
        ("f",): 6,
        ("f", "g h"): 6,
        ("f", "g h", "i"): 7,
        ("k",): 10,
        ("k", 0): 10,
        ("k", 0, "l"): 11,
        ("k", 1): 12,
        ("k", 1, "n"): 13,
        ("k", 1, "n", "o"): 14,
    }


def test_every_entry_of_the_collection_has_a_line():
    for file in bundled_folder("exercises").glob("*/*.toml"):
        text = file.read_text(encoding="utf-8")
        lines = lines_of(text)

        def walk(value, place, lines=lines):
            assert not place or place in lines, place
            items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
            for key, inner in items:
                walk(inner, (*place, key))

        walk(tomllib.loads(text), ())


def test_the_line_of_what_is_not_there_is_that_of_what_is_around_it():
    assert line_of({("a",): 7}, ("a", 0, "b")) == 7
    assert line_of({("a",): 7}, ("b",)) is None


PIECES = [
    "",
    '"',
    "'''",
    '"""',
    "[",
    "]]",
    "{",
    "}",
    "=",
    ",",
    "−",
    "0,5",
    " dB",
    "\n",
    "#",
    "“",
    ".",
    "\\",
    "nan",
    "1e999",
]


@settings(max_examples=300, deadline=None, derandomize=True)
@given(edits=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 30), st.sampled_from(PIECES)), min_size=1, max_size=4))
def test_a_mutated_file_ends_in_sentences(tmp_path_factory, edits):
    text = (bundled_folder("exercises") / "recording" / "leave-room.toml").read_text(encoding="utf-8")
    for where, cut, piece in edits:
        at = int(where * len(text))
        text = text[:at] + piece + text[at + cut :]
    file = tmp_path_factory.mktemp("fuzz") / "odd.toml"
    file.write_text(text, encoding="utf-8")
    exercise, faults, _ = validate(file)
    assert (exercise is None) == bool(faults)
    assert all(fault.said and "\n" not in fault.said for fault in faults), faults
    assert all(fault.line is None or 1 <= fault.line <= text.count("\n") + 1 for fault in faults)
    # What the strict reader takes, this one takes, and the other way about.
    try:
        load(file)
    except GainError:
        assert exercise is None
    else:
        assert exercise is not None
