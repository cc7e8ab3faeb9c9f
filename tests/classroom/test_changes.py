"""What changed from one marking to the next: who, in what, from what to what, and why."""

from __future__ import annotations

import pytest

from gainlib.classroom.changes import Changes, changes_page
from gainlib.classroom.marks import mark_folder
from gainlib.classroom.run import mark_class
from gainlib.classroom.store import Store
from gainlib.exercises import author_answer
from gainlib.storage import bundled_folder
from gainlib.text import moment_in_words

from .conftest import DUE, EXERCISE, GAIN, TRIM

CORRECTED = f'corrections = [{{ learner = "a-02", exercise = "{EXERCISE}", points = 3 }}]\nexercises = ['


@pytest.fixture
def handed(group):
    group.put("1.json", group.content("a-01"))
    group.put("2.json", group.content("a-02", wrong(group, "a-02")))
    assert changed(group) == []
    return group


def wrong(group, learner):
    return {GAIN: author_answer(group.variant(learner))[GAIN] + 8, TRIM: -8}


def changed(group, **given):
    with Store(group.home / "marks.sqlite") as store:
        marks = mark_folder(group.folder, group.class_file, store, home=group.home, **given)
        changes = Changes(store)
        for line in marks.lines():
            changes.note(line)
        changes.keep(DUE)
    return [(each.learner_id, each.exercise, each.before, each.after, each.why) for each in changes.found]


def edit(group, old, new):
    text = group.file.read_text(encoding="utf-8")
    assert old in text
    group.file.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_marking_again_changes_nothing_and_a_first_marking_has_nothing_before_it(handed):
    assert changed(handed) == []


def test_a_new_hand_in_is_told_with_its_points(handed):
    handed.put("3.json", handed.content("a-02", made="2026-01-15T13:00:00Z"))
    handed.put("4.json", handed.content("a-03", made="2026-01-15T13:00:00Z"))
    assert changed(handed) == [
        ("a-02", EXERCISE, "1 of 5", "5 of 5", "another hand-in counts."),
        ("a-02", "", "1 of 5", "5 of 5", "the exercises above."),
        ("a-03", EXERCISE, "no mark", "5 of 5", "a first hand-in."),
        ("a-03", "", "0 of 5", "5 of 5", "the exercises above."),
    ]
    (handed.folder / "4.json").unlink()
    assert changed(handed)[0][2:] == ("5 of 5", "no mark", "no hand-in counts any more.")


def test_a_correction_an_exemption_and_other_points_are_told_as_such(handed):
    edit(
        handed,
        "exercises = [",
        CORRECTED,
    )
    assert changed(handed)[0] == ("a-02", EXERCISE, "1 of 5", "3 of 5", "your correction.")
    edit(handed, '{ id = "a-01"', '{ exempt = ["all"], id = "a-01"')
    assert changed(handed) == [
        ("a-01", EXERCISE, "5 of 5", "exempt", "exempt."),
        ("a-01", "", "5 of 5", "exempt", "the exercises above."),
    ]
    edit(handed, "points = 5", "points = 10")
    assert ("a-03", "", "0 of 5", "0 of 10", "what counts was changed.") in changed(handed)


def test_another_due_date_is_told_at_the_total(handed):
    edit(handed, "exercises = [", "late = { percent_per_day = 50 }\nexercises = [")
    assert changed(handed) == []
    edit(handed, "due     = 2026-01-15", "due     = 2026-01-14")
    assert changed(handed)[0] == (
        "a-01", "", "5 of 5", "2.5 of 5", "another due date and 1 day late (50 % off) instead of in time."
    )  # fmt: skip


def test_an_exercise_that_was_changed_is_told_as_the_reason(group):
    """The first check is worth 4 points of 7 then instead of 2 of 5, so one point of the others is 5 × 1/7."""
    text = bundled_folder("exercises").joinpath(f"{EXERCISE}.toml").read_text(encoding="utf-8")
    own = group.home / f"{EXERCISE}.toml"
    own.parent.mkdir()
    own.write_text(text, encoding="utf-8")
    edit(group, f'name = "{EXERCISE}"', f'name = "{EXERCISE}", file = "{EXERCISE}.toml"')
    group.put("2.json", group.content("a-02", wrong(group, "a-02")))
    assert changed(group) == []
    own.write_text(text.replace("points   = 2", "points   = 4", 1), encoding="utf-8")
    assert changed(group)[0][2:4] == ("1 of 5", "no mark")
    assert changed(group, any_version=True)[0][2:] == ("no mark", "0.71 of 5", "it can be marked now.")
    own.write_text(text, encoding="utf-8")
    assert changed(group, any_version=True)[0][2:] == ("0.71 of 5", "1 of 5", "the exercise was changed.")


def test_the_page_keeps_every_marking_that_changed_something_and_escapes_names(handed):
    edit(handed, "Bo Marsh", "<b>Bo</b>")
    edit(
        handed,
        "exercises = [",
        CORRECTED,
    )
    changed(handed)
    edit(handed, "points = 3 }]", "points = 4 }]")
    changed(handed)
    changed(handed)
    with Store(handed.home / "marks.sqlite") as store:
        page = changes_page(store, "Group A")
    assert page.count(f"Marked on {moment_in_words(DUE.astimezone())}") == 2  # by this computer's clock
    assert page.index("4 of 5") < page.index("1 of 5")
    assert "<b>Bo</b>" not in page
    assert "The marks of 1 learner changed." in page


def test_a_marking_says_how_many_changed(group):
    group.put("1.json", group.content("a-01", wrong(group, "a-01")))
    assert "No mark has changed" in (mark_class(group.folder, group.file).out / "changes.html").read_text()
    group.put("2.json", group.content("a-01", made="2026-01-15T13:00:00Z"))
    assert (
        "The marks of 1 learner changed since the last marking; changes.html says why."
        in mark_class(group.folder, group.file).text
    )
