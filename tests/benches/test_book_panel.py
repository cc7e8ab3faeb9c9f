"""The exercise book: what it lists first, fresh numbers each time, and what is kept."""

from __future__ import annotations

import json
from datetime import date, datetime, time, timedelta

import pytest

import gainlib as gl
from gainlib.benches.book_panel import ExerciseBook
from gainlib.exercises import author_answer, exercise_names, load
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.progress import Progress

NAME = "recording/leave-room"


@pytest.fixture
def book(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = gl.exercise_book()
    day = date.today()
    made.today = lambda: day  # whether or not it goes to its end meanwhile
    yield made
    made.close()


def attempts(folder):
    return [json.loads(line) for line in (folder / "attempts.jsonl").read_text().splitlines()]


def entry(book, name=NAME):
    return next(each for each in book.entries if each.name == name)


def test_it_lists_every_exercise_and_narrows_down_by_topic_and_level(book):
    assert {each.name for each in book.entries} == set(exercise_names())
    assert book.topics["recording"] == "Recording"
    for level in (1, 2, 3):
        book.pick(topic="recording", level=level)
        wanted = {name for name in exercise_names() if name.startswith("recording/") and load(name).level == level}
        assert {each.name for each in book.entries} == wanted
    assert {each.level for each in book.pick(level=1).entries} == {1}
    with pytest.raises(gl.GainError, match="there is no topic 'recordign'; did you mean recording"):
        book.pick(topic="recordign")
    with pytest.raises(gl.GainError, match="level is 4; give 1, 2 or 3"):
        book.pick(level=4)


def test_each_opening_draws_other_numbers_and_the_attempt_keeps_them(book, tmp_path):
    own = load(NAME).variant(book.progress.learner_id).values
    drawn = []
    for count in (1, 2, 3):
        sitting = book.open(NAME)
        sitting.check()
        kept = attempts(tmp_path)[-1]
        assert kept["values"] == sitting.variant.values
        assert kept["draw"] >= count
        drawn.append((kept["draw"], sitting.variant.values["level"]))
    assert [draw for draw, _ in drawn] == sorted({draw for draw, _ in drawn})
    assert drawn[0][1] != drawn[1][1] != drawn[2][1]
    assert len({level for _, level in drawn} | {own["level"]}) >= 3


def test_opened_twice_without_an_answer_the_numbers_differ_even_where_two_draws_are_equal(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    exercise = load(NAME)
    draws = (
        (name, *(exercise.variant(f"{name}, draw {draw}").values for draw in (1, 2)))
        for name in (f"learner {index}" for index in range(500))
    )
    name = next(name for name, one, two in draws if one == two)
    book = ExerciseBook(Progress(tmp_path / "progress.json", name))
    first = book.open(NAME).variant.values
    assert book.open(NAME).variant.values != first
    book.close()


def test_another_day_goes_on_with_the_count(book, tmp_path):
    book.open(NAME).check()
    book.open(NAME).check()
    before = attempts(tmp_path)[-1]["draw"]
    assert ExerciseBook(Progress.at(tmp_path)).open(NAME).draw > before


def test_what_was_missed_is_due_after_one_day_then_three_then_seven(book, tmp_path):
    assert (entry(book).state, book.missed) == ("not tried yet", ())
    book.open(NAME).check()  # as it stands: not met
    today = datetime.fromisoformat(attempts(tmp_path)[0]["time"]).astimezone().date()
    assert entry(book).state.startswith("missed, comes back on ")
    book.today = lambda: today + timedelta(1)
    assert (entry(book).state, entry(book).due) == ("due today", True)
    assert [each.name for each in book.pick(only_missed=True).entries] == [NAME]
    assert book.entries[0].name == NAME
    book.exercises["recording/another"] = load(NAME)
    book.pick()
    assert book.entries[0].name == NAME  # what is due stands first
    # passed on the day that it is due
    noon = datetime.combine(today + timedelta(1), time(12)).astimezone()
    late = {"passed": True, "points": 5.0, "time": noon.isoformat()}
    with (tmp_path / "attempts.jsonl").open("a") as file:
        file.write(json.dumps({**attempts(tmp_path)[-1], **late}) + "\n")
    assert not entry(book).due
    book.today = lambda: today + timedelta(4)
    assert entry(book).due


def test_the_attempts_are_read_once_for_a_list_and_again_when_another_notebook_has_saved(book, tmp_path, monkeypatch):
    sitting = book.open(NAME)
    sitting.check()
    reads = []
    read = Progress.at.__func__
    monkeypatch.setattr(Progress, "at", classmethod(lambda *given, **more: reads.append(1) or read(*given, **more)))
    assert book.entries == book.entries
    assert (len(book.missed), len(reads)) == (1, 1)
    Progress(tmp_path / "progress.json", "x").record(sitting.variant, {}, sitting.verdict)
    # The next draw, or the one after where chance gives that one the same numbers once more.
    assert book.open(NAME).draw in (2, 3, 4)
    assert len(reads) == 2


def test_what_was_never_tried_stands_before_what_was_tried(book, tmp_path, monkeypatch):
    other = "recording/another"
    book.exercises[other] = load(NAME)
    assert [each.name for each in book.entries if each.name in (other, NAME)] == [other, NAME]
    sitting = book.open(NAME)
    for path, value in author_answer(sitting.variant).items():
        sitting.bench.move(path, value)
    assert sitting.check().passed
    book.progress.record(sitting.variant, {}, sitting.verdict)
    assert entry(book).state == "passed"
    names = [each.name for each in book.entries]
    assert names.index(other) < names.index(NAME)


def test_the_page_picks_and_opens_and_is_told_what_cannot_be(book):
    desk = book.panel.list
    desk._handle_custom_msg({"kind": "pick", "topic": "recording", "level": 1, "missed": False}, None)
    assert desk.chosen == book.entries[0].name
    assert desk.note.endswith("exercises." if len(book.entries) > 1 else "exercise.")
    desk._handle_custom_msg({"kind": "open", "name": NAME}, None)
    assert desk.opened.startswith("Open: Leave room for the shout")
    assert book.panel.box.children[1] is book.opened.panel.box
    book.opened.check()
    assert any(text.startswith("Leave room for the shout (level 1, missed") for _, text in desk.items)
    desk._handle_custom_msg({"kind": "open", "name": "recording/leave-rom"}, None)
    assert "did you mean recording/leave-room" in desk.note
    desk._handle_custom_msg({"kind": "pick", "level": "x"}, None)
    assert desk.note
    desk._handle_custom_msg({"kind": "pick", "topic": "", "level": 0, "missed": True}, None)
    assert "(0 due today)" in desk.missed


def test_nothing_missed_is_said_in_words(book):
    book.panel.list._handle_custom_msg({"kind": "pick", "missed": True}, None)
    assert book.panel.list.note.startswith("Nothing that you got wrong is open.")


def test_closing_and_opening_another_free_the_widgets(book):
    from ipywidgets.widgets.widget import _instances

    before = len(_instances)
    book.panel  # noqa: B018 - makes the widgets
    book.open(NAME)
    once = len(_instances)
    for _ in range(3):
        book.open(NAME)
    assert len(_instances) == once
    book.close()
    assert len(_instances) == before


def test_the_book_is_laid_beside_the_lessons_and_kept_up_to_date(tmp_path):
    laid = install_lessons(tmp_path / "own", "1")
    file = laid.folder / "exercise-book.ipynb"
    content = json.loads(file.read_text())
    assert "gl.exercise_book()" in "".join("".join(each["source"]) for each in content["cells"])
    file.unlink()
    assert install_lessons(laid.folder, "1").sentences == ("exercise-book.ipynb was missing; it is laid again.",)
