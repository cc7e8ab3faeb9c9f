"""Exercises on paper: each learner's own numbers on the sheet, and in the key an answer that passes with them."""

from __future__ import annotations

import math
import re

import pytest

from gainlib.classroom.answer_shown import told_answer
from gainlib.classroom.class_file import RosterLine, read_class
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


def rows_of(page, title):
    """The table of an exercise in the key: each learner's cells as text, without the headings."""
    section = next(each for each in page.split("<section>")[1:] if f"<h2>{title}</h2>" in each)
    rows = re.findall(r"<tr>(.*?)</tr>", section.split("<tbody>")[1], flags=re.S)
    return [[plain(cell).strip() for cell in re.findall(r"<td.*?</td>", row, flags=re.S)] for row in rows]


def test_the_key_has_an_answer_that_passes_for_each(three):
    """By the exercise's own rule the gain is 17 dB less the level: 33, 43 and 38 dB for −16, −26 and −21 dBu."""
    _, key = write_handout(three.file, exercises=[EXERCISE])
    page = key.read_text(encoding="utf-8")
    told = [(row[0].split()[0], row[1], row[2]) for row in rows_of(page, "Leave room for the shout")]
    assert told == [("Ada", "−16 dBu", "+33 dB"), ("Bo", "−26 dBu", "+43 dB"), ("Cy", "−21 dBu", "+38 dB")]
    # What is wanted of all alike stands once, by the exercise's file.
    assert "Wanted: Verse after the converter:  −17 to −13 dBFS ; Clipped runs in the whole take:  none ;" in plain(
        page
    )
    assert page.count("−17 to −13 dBFS") == 2


def test_a_number_in_the_key_is_as_fine_as_it_is_asked_for(group):
    """20 lg of a ratio has no end: 0.3 dB asks for tenths. Of 8 strips' moves each is a line, since columns are few."""
    people = [RosterLine(id="a-01", name="Ada Quill"), RosterLine(id="a-02", name="Bo Marsh")]
    group.made_anew(people, exercises=["connection/what-is-lost", "balance/room-for-the-band", "hearing/one-stem"])
    page = write_handout(group.file)[1].read_text(encoding="utf-8")
    rows = rows_of(page, "What is lost on the way in")
    of_class = read_class(group.file)
    for row, learner in zip(rows, people, strict=True):
        drawn = load("connection/what-is-lost").variant(learner.id, of_class.key_of(learner.id)).values
        lost = 20 * math.log10(drawn["load"] / (drawn["source"] + drawn["load"]))  # the divider, reckoned on paper
        assert row[4] == f"−{abs(lost):.1f} dB"
    assert "within 0.5 dB" in plain(page)
    assert all("Fader of kick: −5.0 dB" in row[2] for row in rows_of(page, "Room for the whole band"))
    assert page.count("Done at the computer.") == 1


def test_a_ride_is_told_point_by_point_and_one_that_cannot_be_read_is_not(group):
    """Gain and moment of each, of many the first eight."""
    group.made_anew([RosterLine(id="a-01", name="Ada Quill")], exercises=("rides/even-the-verse",))
    _, key = write_handout(group.file)
    (cells,) = rows_of(key.read_text(encoding="utf-8"), load("rides/even-the-verse").title)
    assert any(len(re.findall(r"[−+]\d+\.\d dB at \d+(\.\d+)? s", each)) > 3 for each in cells), cells
    variant = load("rides/even-the-verse").variant("a-01")
    (path,) = (each.path for each in variant.controls if each.points)
    drawn = [[0.5, 0.0], [3.25, 4.5], *([4.0 + index / 8, -2.0] for index in range(8))]
    assert told_answer(variant, {path: drawn[:2]}) == ["Ride 0.0 dB at 0.5 s, +4.5 dB at 3.25 s"]
    assert told_answer(variant, {path: drawn})[0].endswith("−2.0 dB at 4.62 s and 2 more")
    assert told_answer(variant, {path: []}) == ["Ride no points"]
    for unread in ([[1]], [["a", 2]], [[10**400, 1]], [[2.0, 1.0], [1.0, 1.0]]):
        assert told_answer(variant, {path: unread}) == []


@pytest.mark.parametrize(("asked", "paper"), [("A4", "A4"), ("a4", "A4"), ("Letter", "letter")])
def test_the_paper_is_the_one_that_is_asked_for(three, asked, paper):
    for each in write_handout(three.file, three.home / asked, exercises=[SAME_FOR_ALL], paper=asked):
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


def test_a_sheet_has_room_for_what_its_exercise_wants_and_says_what_paper_cannot_show(group):
    wants = {
        "fader-rides/make-room": ("Fader of guitar, ride at s dB at s dB", "from −12 dB to +12 dB; or draw it into"),
        "hearing/step-in-level": ("This one is done by ear, at the computer.", "What the ladder found, with its unit"),
        "saturation/which-distorts": ("The other strips, and how all of them sound, are at the computer.",),
    }
    group.made_anew([RosterLine(id="a-01", name="Ada Quill")], exercises=sorted(wants))
    sheets, _ = write_handout(group.file)
    parts = sheets.read_text(encoding="utf-8").split('<section class="exercise">')[1:]
    for (name, wanted), part in zip(sorted(wants.items()), parts, strict=True):
        text = " ".join(plain(part.split("</section>")[0]).split())
        assert [each for each in wanted if each not in text] == [], name


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
