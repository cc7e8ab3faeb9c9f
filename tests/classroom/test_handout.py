"""Exercises on paper: each learner's own numbers on the sheet, and in the key an answer that passes with them."""

from __future__ import annotations

import re

import pytest

from gainlib.classroom.class_file import RosterLine
from gainlib.classroom.handout import write_handout
from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load

from .conftest import EXERCISE

SAME_FOR_ALL = "levels/two-tracks"
BY_EAR = "recording/least-noise"


@pytest.fixture
def three(group):
    """The three learners, whose microphones give −16, −26 and −21 dBu by the class's key."""
    text = group.file.read_text(encoding="utf-8")
    more = "".join(f'  {{ name = "{each}", points = 4 }},\n' for each in (SAME_FOR_ALL, BY_EAR))
    group.file.write_text(text.replace("exercises = [\n", f"exercises = [\n{more}", 1), encoding="utf-8")
    return group


def sheet_of(page, name):
    return next(each for each in page.split('<article class="learner">')[1:] if f"<h1>{name}</h1>" in each)


def plain(page):
    return re.sub(r"<[^>]+>", " ", re.sub(r"<script.*?</script>", "", page, flags=re.S))


def test_each_sheet_has_its_learner_s_numbers_and_no_other_s_and_no_answer(three):
    """The class's key is known, so the numbers are, from the tests of hand-ins: −16, −26 and −21 dBu."""
    sheets, _ = write_handout(three.file)
    page = sheets.read_text(encoding="utf-8")
    for name, own in (("Ada Quill", "−16 dBu"), ("Bo Marsh", "−26 dBu"), ("Cy Fenn", "−21 dBu")):
        text = plain(sheet_of(page, name))
        assert f"the microphone gives no more than {own}" in text
        assert not any(f"no more than {other}" in text for other in {"−16 dBu", "−26 dBu", "−21 dBu"} - {own})
        assert "of 5 points" in text
        assert "of 4 points" in text
    assert "Right answer" not in page
    assert "This one is done by ear" in page
    assert "due Thursday 15 January 2026, 18:00 (UTC)" in page


def test_the_key_has_an_answer_that_passes_for_each(three):
    """By the exercise's own rule the gain is 17 dB less the level: 33, 43 and 38 dB for −16, −26 and −21 dBu."""
    _, key = write_handout(three.file, exercises=[EXERCISE])
    page = key.read_text(encoding="utf-8")
    rows = [plain(each) for each in page.split("<tr>")[2:]]
    told = [(row.split()[0], re.search(r"Preamp gain \+?(\d+) dB", row)[1]) for row in rows]
    assert told == [("Ada", "33"), ("Bo", "43"), ("Cy", "38")]
    assert all("wanted: −17 to −13 dBFS" in row for row in rows)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_paper_is_the_one_that_is_asked_for(three, paper):
    for each in write_handout(three.file, three.home / paper, exercises=[SAME_FOR_ALL], paper=paper):
        assert f"@page {{ size: {paper};" in each.read_text(encoding="utf-8")
        assert each.stat().st_mode & 0o077 == 0


def test_who_is_exempt_gets_no_sheet(three):
    text = three.file.read_text(encoding="utf-8")
    three.file.write_text(text.replace('{ id = "a-02"', '{ exempt = ["all"], id = "a-02"'), encoding="utf-8")
    for each in write_handout(three.file):
        assert "Bo Marsh" not in each.read_text(encoding="utf-8")


def test_every_exercise_of_the_collection_can_be_printed(group):
    """One of each kind here; all of them were tried by hand."""
    kinds = {}
    for name in exercise_names():
        kinds.setdefault(load(name).kind, name)
    group.made_anew([RosterLine(id="a-01", name="Ada Quill")], exercises=sorted(kinds.values()))
    sheets, key = write_handout(group.file)
    assert sheets.read_text(encoding="utf-8").count('<section class="exercise">') == len(kinds)
    assert key.read_text(encoding="utf-8").count("<section>") == len(kinds)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"exercises": ["recording/leave-rom"]}, "the class has no exercise 'recording/leave-rom'; did you mean"),
        ({"learners": ["a-9"]}, "the class has no learner 'a-9'"),
        ({"paper": "A5"}, "--paper is 'A5'; it must be one of A4, letter"),
    ],
)
def test_what_cannot_be_printed_is_told(group, given, said):
    with pytest.raises(GainError, match=said):
        write_handout(group.file, **given)
