"""The class file and the roster: what a teacher writes, what a learner gets, and what is refused in one sentence."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from gainlib.classroom import new_class, read_class, read_roster
from gainlib.classroom.start_files import write_start_files
from gainlib.errors import GainError
from gainlib.learners.start_file import read_start_file

from .conftest import DUE, EXERCISE, KEY, ROSTER, text_of


def test_what_is_written_is_read_again(group):
    found = group.class_file
    assert (found.title, found.due, tuple(found.learners)) == ("Group A", DUE, ROSTER)
    assert [(each.name, each.points) for each in found.exercises] == [(EXERCISE, 5.0)]
    assert found.key == KEY


def test_two_classes_have_two_keys(tmp_path):
    files = [new_class(tmp_path / name, exercises=[EXERCISE])[0] for name in ("a", "b")]
    keys = [read_class(each).key for each in files]
    assert [len(each) for each in keys] == [32, 32]
    assert keys[0] != keys[1]


def test_the_start_file_for_all_has_the_key_and_who_one_may_be(group):
    assert group.class_file.key in text_of(group.for_all)
    found = read_start_file(group.for_all).of
    assert [(each.id, each.name) for each in found.learners] == [(each.id, each.name) for each in ROSTER]
    assert found.knows("a-02")
    assert not found.knows("a-2")


def test_without_names_it_has_no_name_and_no_id_and_knows_each(group):
    group.file.write_text(group.file.read_text().replace("exercises = [", "lists_names = false\nexercises = [", 1))
    write_start_files(group.file)
    text = text_of(group.for_all)
    assert not any(each.name.split()[0] in text or each.id in text for each in ROSTER)
    found = read_start_file(group.for_all).of
    assert found.knows("a-02")
    assert not found.knows("a-2")


def test_a_class_without_a_roster_knows_every_id(tmp_path):
    _, for_all = new_class(tmp_path / "open", exercises=[EXERCISE])
    assert read_start_file(for_all).of.knows("anyone")


def test_nothing_is_written_over(group):
    before = group.file.read_text()
    with pytest.raises(GainError, match="is there already"):
        new_class(group.file, exercises=[EXERCISE])
    assert group.file.read_text() == before


def test_the_learners_file_follows_the_class_file_and_keeps_the_key(group):
    key = group.class_file.key
    group.file.write_text(group.file.read_text().replace("2026-01-15", "2026-02-20"))
    write_start_files(group.file)
    found = read_start_file(group.for_all).of
    assert (found.due.month, found.key) == (2, key)


def test_the_two_files_are_not_taken_for_each_other(group):
    with pytest.raises(GainError, match="group-a.toml is the teacher's file, .* give the one with .gainclass"):
        read_start_file(group.file)
    with pytest.raises(GainError, match="group-a.gainclass is not UTF-8 text"):
        read_class(group.for_all)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("version = 2", "version = 3", "version is 3"),
        ("points = 5", "points = -5", "points of exercise 1 is −5; it must be above 0"),
        ("version = 2", "versoin = 2", "the entry version is missing"),
        ("title   = ", 'titel   = "x"\ntitle   = ', "there is no entry titel; did you mean title"),
        (
            "2026-01-15T18:00:00+00:00",
            "2026-01-15T18:00:00",
            "due is 2026-01-15T18:00:00, without a time zone; write 2026-01-15T18:00:00",
        ),
        ('id = "a-02"', 'id = "a-01"', "the id 'a-01' is in the roster twice"),
        ("exercises = [", "exercises = ", r"group-a.toml, line \d+: "),
        (
            "exercises = [\n",
            f'exercises = [\n  {{ name = "{EXERCISE}" }},\n',
            "recording/leave-room is there twice",
        ),
        (
            "exercises = [\n",
            f'exercises = [\n  {{ name = "{EXERCISE}", file = "a/leave-room.toml" }},\n',
            "a/leave-room.toml and the collection are called recording/leave-room; give each a name or a folder of its",
        ),
    ],
)
def test_each_fault_of_a_class_file_is_one_sentence(group, old, new, said):
    text = group.file.read_text(encoding="utf-8")
    assert old in text
    group.file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(GainError, match=said):
        read_class(group.file)


LATE = "late = { percent_per_day = 10, most_percent = 25, last_day = 5 }\nexercises = ["


@pytest.mark.parametrize(
    ("after", "days", "percent"),
    [
        (timedelta(0), 0, 0.0),
        (timedelta(seconds=1), 1, 10.0),
        (timedelta(days=1), 1, 10.0),
        (timedelta(days=1, seconds=1), 2, 20.0),
        (timedelta(days=3), 3, 25.0),
        (timedelta(days=5), 5, 25.0),
        (timedelta(days=5, seconds=1), 6, 100.0),
    ],
)
def test_lateness_counts_the_days_begun(group, after, days, percent):
    group.file.write_text(group.file.read_text().replace("exercises = [", LATE, 1))
    made = DUE + after
    assert (group.class_file.days_late(made), group.class_file.penalty_percent(made)) == (days, percent)
    elsewhere = made.astimezone(timezone(timedelta(hours=9)))
    assert group.class_file.penalty_percent(elsewhere) == percent


def test_a_late_hand_in_loses_points_and_says_so(group):
    group.file.write_text(group.file.read_text().replace("exercises = [", LATE, 1))
    group.put("a.json", group.content("a-01", made="2026-01-17T12:00:00Z"))
    lines, _ = group.marked()
    assert (lines["a-01"].before_lateness, lines["a-01"].total, lines["a-01"].days_late) == (5.0, 4.0, 2)


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_roster_is_read_in_every_usual_form(tmp_path, code, separator, line_end):
    rows = [["Number", "Last name", "First name"], ["17", "Krüger", "Zoë"], ["18", '"Fenn, Jr."', "Cy"], ["", "", ""]]
    text = line_end.join(separator.join(row) for row in rows) + line_end
    (tmp_path / "list.csv").write_bytes(text.encode(code))
    found = read_roster(tmp_path / "list.csv")
    assert [(each.id, each.name) for each in found] == [("17", "Zoë Krüger"), ("18", "Cy Fenn, Jr.")]


def test_a_roster_without_ids_gets_some(tmp_path):
    (tmp_path / "list.csv").write_text("Name\nAda Quill\n\nBo Marsh\n", encoding="utf-8")
    found = read_roster(tmp_path / "list.csv")
    assert [each.id for each in found] == ["learner-001", "learner-002"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"id,name\n", "no learners"),
        (b"id,size\n1,2\n", "must have a column named name"),
        (b"id,name\n1,Ada\n1,Bo\n", "'1' in line 3 of list.csv is there twice"),
        (b"id,name\n1,\n", "the name in line 2 of list.csv is ''"),
        (b"id,name\n,Ada\n", "the id in line 2 of list.csv is ''"),
        (b"id,name\n1,A\0da\n", "not text that can be read"),
        (b"PK\x03\x04\x00\x00\x00", "not text that can be read"),
    ],
)
def test_each_fault_of_a_roster_is_told_with_its_line(tmp_path, content, said):
    (tmp_path / "list.csv").write_bytes(content)
    with pytest.raises(GainError, match=said):
        read_roster(tmp_path / "list.csv")


def test_names_that_a_text_file_must_escape_come_back_whole(tmp_path):
    (tmp_path / "list.csv").write_text('id,name\na"1,"Ada ""Quill"" \\ O\'Dell 🎙"\n', encoding="utf-8")
    learners = read_roster(tmp_path / "list.csv")
    file, _ = new_class(tmp_path / "odd", title='A "B" \\n', roster=learners, exercises=[EXERCISE])
    assert tuple(read_class(file).learners) == learners
    assert read_class(file).title == 'A "B" \\n'
    assert read_class(file).days_late(datetime.now(UTC)) == 0
