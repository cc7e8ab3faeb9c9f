"""Values and conditions of an exercise file as one line: what the guide writes as a table, and what a teacher types."""

from __future__ import annotations

import pytest

from gainlib.authoring.one_line import condition_from, condition_line, send_from, send_line, value_from, value_line
from gainlib.errors import GainError

SAME = [
    # (the table as exercises/README.md writes it, the line)
    (-16, "−16"),
    (0.25, "0.25"),
    ({"base": 14, "minus": "level"}, "14 − level"),
    ({"plus": ["level", "trim"], "minus": "off"}, "level + trim − off"),
    ({"minus": "level"}, "−level"),
    ({"base": "range", "times": 0.6}, "0.6 × range"),
    ({"base": 2, "minus": "a", "times": -1}, "−1 × (2 − a)"),
    ({"measure": "rms_dbfs", "at": "voice/trim", "seconds": [0, 9.3]}, "rms_dbfs at voice/trim from 0 to 9.3"),
    ({"told": "clipped", "at": "clip gain"}, 'told clipped at "clip gain"'),
    ({"setting": "{where}/trim/gain_db"}, "setting {where}/trim/gain_db"),
    ({"measure": "phrase_range_db", "at": "trim", "times": 0.6}, "0.6 × (phrase_range_db at trim)"),
    (
        {"measure": "rms_dbfs", "at": "a/trim", "less": {"measure": "rms_dbfs", "at": "b/trim", "seconds": [1, 2]}},
        "rms_dbfs at a/trim less rms_dbfs at b/trim from 1 to 2",
    ),
    (
        {"reckon": "sum_db", "with": [{"measure": "rms_dbfs", "at": "trim"}, {"plus": "level"}, -3]},
        "sum_db(rms_dbfs at trim, level, −3)",
    ),
    ("bass", '"bass"'),
    (True, "true"),
    ([[0, 4], [2.5, -3]], "[[0, 4], [2.5, -3]]"),
    ({"even_to_db": -16, "strength": 0.7, "most_db": 20}, "even to −16, strength 0.7, at most 20"),
    ({"even_to_db": {"base": -30, "plus": "level"}}, "even to −30 + level"),
    # What a line has no words for stands as in the file.
    ({"base": "range"}, '{ base = "range" }'),
]
CONDITIONS = [
    ({"measure": "peak_dbfs", "at": "trim", "at_least": -8, "at_most": {"plus": "top"}},
     "peak_dbfs at trim, at least −8, at most top"),
    ({"setting": "voice/send to hall/pre_fader", "is": True}, 'setting "voice/send to hall/pre_fader", is true'),
    ({"ask": "sum", "near": {"base": 6, "plus": "level"}, "within": 0.5}, "ask sum near 6 + level within 0.5"),
    ({"ask": "strip", "is": "bass"}, 'ask strip is "bass"'),
    ({"ask": "order", "is": ["a", "b"]}, '{ ask = "order", is = ["a", "b"] }'),
]  # fmt: skip


@pytest.mark.parametrize(("table", "line"), SAME, ids=[line for _, line in SAME])
def test_a_value_and_its_line_say_the_same(table, line):
    assert value_line(table) == line
    assert value_from(line) == table


SENDS = [
    ({"to": "hall"}, '{ to = "hall" }'),
    ({"to": "hall", "gain_db": -12}, "hall at −12"),
    ({"to": "hall 2", "gain_db": -6.5, "pre_fader": True}, "hall 2 at −6.5, before the fader"),
    ({"to": "look at me", "gain_db": 0, "pre_fader": False}, "look at me at 0, after the fader"),
]


@pytest.mark.parametrize(("table", "line"), SENDS, ids=[line for _, line in SENDS])
def test_a_send_and_its_line_say_the_same(table, line):
    assert send_line(table) == line
    assert send_from(line) == table


def test_a_send_that_says_no_gain_is_told_what_is_wanted():
    with pytest.raises(GainError, match="“hall −12” is no send; write the bus, its gain"):
        send_from("hall −12")


@pytest.mark.parametrize(("table", "line"), CONDITIONS, ids=[line for _, line in CONDITIONS])
def test_a_condition_and_its_line_say_the_same(table, line):
    assert condition_line(table) == line
    assert condition_from(line) == table


def test_a_line_is_typed_with_any_minus_and_any_times():
    assert value_from("14-level") == value_from("14 – level") == {"base": 14, "minus": "level"}
    assert value_from("0.6 * range") == {"base": "range", "times": 0.6}
    assert value_from('{ base = 14, minus = "level" }') == {"base": 14, "minus": "level"}


UNREAD = [
    ("14 level", "“level” stands where nothing more is expected"),
    ("peek at trim", "“peek” is nothing that can be measured"),
    ("sum(1, 2)", "“sum” is not a formula"),
    ("sum_db(1, 2", "“,” is missing"),
    ("peak_dbfs at", "a name is missing"),
    ("14 −", "a name is missing"),
    ("6 dB", "“dB” stands where nothing more is expected"),
    ("$", "what stands at “\\$” cannot be read"),
]


@pytest.mark.parametrize(("line", "says"), UNREAD, ids=[line for line, _ in UNREAD])
def test_what_cannot_be_read_is_said_with_what_is_wanted(line, says):
    with pytest.raises(GainError, match=f"{says}.*; write a number, a rule such as 14 − level"):
        value_from(line)
