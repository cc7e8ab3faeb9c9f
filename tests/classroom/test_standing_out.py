"""What a teacher is told to look at: times that cannot be, answers that went, somebody else's numbers."""

from __future__ import annotations

import copy
import csv
from datetime import UTC, datetime, timedelta

import openpyxl
import pytest

from gainlib.exercises import author_answer

from .conftest import EXERCISE

NOW = datetime(2026, 1, 20, 9, 0, tzinfo=UTC)
AHEAD = "Sunday 1 January 2090, 00:00 (UTC)"


def with_numbers_of(group, learner, other):
    """A hand-in of a learner that bears another's numbers, answered right for those."""
    content = copy.deepcopy(group.content(learner))
    variant = group.variant(other)
    content["answers"][0] |= {"values": variant.values, "answer": author_answer(variant)}
    return content


def test_an_empty_hand_in_of_the_future_under_anothers_id_takes_no_marks_away_and_is_told(group):
    group.put("true.json", group.content("a-01"))
    group.put("spoof.json", group.content("a-01", answers=[], made="2090-01-01T00:00:00Z"))
    lines, without = group.marked(now=NOW)
    assert (lines["a-01"].total, lines["a-01"].file.place) == (5.0, "true.json")
    assert lines["a-01"].remarks == (
        f"spoof.json is dated {AHEAD}, a day still to come, so it does not count; ask whose it is.",
    )
    assert without == {
        "spoof.json": f"it is dated {AHEAD}, which was still to come when it was first marked; "
        "another hand-in of a-01 counts."
    }


def test_fewer_answers_than_before_are_told(group):
    group.put("early.json", group.content("a-01", made="2026-01-14T22:00:00Z"))
    group.put("late.json", group.content("a-01", answers=[]))
    lines, _ = group.marked(now=NOW)
    assert lines["a-01"].file.place == "late.json"
    said = "It holds 0 answers; the hand-in of Wednesday 14 January 2026, 22:00 (UTC) in early.json holds 1."
    assert lines["a-01"].remarks == (said,)


def test_as_many_answers_or_more_are_nothing_to_tell(group):
    group.put("early.json", group.content("a-01", answers=[], made="2026-01-14T22:00:00Z"))
    group.put("late.json", group.content("a-01"))
    assert group.marked(now=NOW)[0]["a-01"].remarks == ()


@pytest.mark.parametrize(
    ("ahead", "counting"), [(timedelta(hours=24), "ahead.json"), (timedelta(hours=25), "now.json")]
)
def test_a_clock_may_be_a_day_ahead_and_no_more(group, ahead, counting):
    group.put("now.json", group.content("a-01", made=NOW.isoformat()))
    group.put("ahead.json", group.content("a-01", made=(NOW + ahead).isoformat()))
    assert group.marked(now=NOW)[0]["a-01"].file.place == counting


def test_where_every_hand_in_is_dated_ahead_the_latest_counts_and_it_is_told(group):
    group.put("one.json", group.content("a-01", answers=[], made="2090-01-01T00:00:00Z"))
    group.put("two.json", group.content("a-01", made="2090-01-02T00:00:00Z"))
    (lines, _) = group.marked(now=NOW)
    assert (lines["a-01"].file.place, lines["a-01"].total) == ("two.json", 5.0)
    said = "It is dated Monday 2 January 2090, 00:00 (UTC), which was still to come"
    assert lines["a-01"].remarks[0].startswith(said)


def test_what_was_ahead_when_it_came_stays_so_when_its_day_has_come(group):
    group.put("true.json", group.content("a-01"))
    group.put("spoof.json", group.content("a-01", answers=[], made="2026-02-01T00:00:00Z"))
    for now in (NOW, NOW + timedelta(days=300)):
        assert group.marked(now=now)[0]["a-01"].file.place == "true.json"


def test_whose_the_numbers_are_is_told_to_the_teacher_and_not_to_the_learner(group, run):
    group.put("true.json", group.content("a-02"))
    group.put("taken.json", with_numbers_of(group, "a-01", "a-02"))
    status, out, _ = run("mark", group.folder, "--class", group.file, "--feedback", "light")
    assert status == 1
    assert "Look at 1 learner first: something stands out, report.html says what." in out
    marks = group.home / "marks-of-group-a"
    said = f"It answers {EXERCISE} at the numbers of Bo Marsh (a-02), not at this learner's own."
    with (marks / "marks.csv").open(encoding="utf-8-sig", newline="") as file:
        assert said in next(csv.DictReader(file))["remarks"]
    assert said in openpyxl.load_workbook(marks / "marks.xlsx")["Marks"]["L2"].value
    report = (marks / "report.html").read_text(encoding="utf-8")
    assert f"<td>Ada Quill</td><td>{said.replace(chr(39), '&#39;')}" in report
    assert f"<td>Ada Quill</td><td>Bo Marsh</td><td>{EXERCISE}</td>" in report.partition("look taken over")[2]
    assert "Bo Marsh" not in (marks / "feedback" / "for-a-01.html").read_text(encoding="utf-8")


def test_numbers_that_nobody_has_are_told_so(group):
    content = group.content("a-01")
    content["answers"][0]["values"] = {"level": -99.0}
    group.put("odd.json", content)
    lines, _ = group.marked(now=NOW)
    assert lines["a-01"].remarks == (
        f"It answers {EXERCISE} at numbers that nobody in this class has, not at this learner's own.",
    )


def test_a_second_file_that_cannot_be_read_is_told_beside_the_one_that_counts(group):
    group.put("one.json", group.content("a-01"))
    group.put("hand-in a-01 20260116-120000-000.json", "{")
    lines, _ = group.marked(now=NOW)
    assert lines["a-01"].total == 5.0
    assert lines["a-01"].remarks == (
        "hand-in a-01 20260116-120000-000.json seems to be theirs as well and cannot be used: "
        "it is cut off or not JSON (line 1).",
    )


def test_two_files_whose_names_are_told_alike_are_not_taken_for_one(group):
    group.put("a\x01.json", group.content("a-01", answers=[], made="2026-01-15T13:00:00Z"))
    group.put("a\x02.json", group.content("a-01"))
    lines, _ = group.marked(now=NOW)
    assert lines["a-01"].total == 0.0  # the later one, which holds nothing
