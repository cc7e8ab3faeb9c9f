"""What the store costs in a growing class, counted in steps of the database and in lines, never in seconds."""

from __future__ import annotations

import json

import pytest

from gainlib.classroom.marking import Work
from gainlib.classroom.marks import Marks
from gainlib.classroom.run import mark_class
from gainlib.classroom.store import HandedFile, KeptAnswer, Store


def steps_of_work(file, learners):
    """The database's steps, in hundreds, for taking out the work of so many hand-ins of ten answers each."""
    with Store(file) as store:
        for index in range(learners):
            works = [Work(f"e-{each}", "", "task", "engine", {}, {"n": index}, 0) for each in range(10)]
            answers = [KeptAnswer(each.exercise, each, 1) for each in works]
            store.add_file(HandedFile(f"{index}.json", f"{index}", f"l-{index}", made="2026-01-15T12:00:00Z"), answers)
        store.choose()
        steps = 0

        def count():
            nonlocal steps
            steps += 1

        store._base.set_progress_handler(count, 100)
        done = 0
        for work in store.work():
            store.add_mark(work.key, {"fault": ""})
            done += 1
        assert done == 10 * learners
        assert list(store.work()) == []
        return steps


def test_four_times_the_answers_take_four_times_the_steps(tmp_path):
    few, many = (steps_of_work(tmp_path / f"{count}.sqlite", count) for count in (250, 1000))
    assert many < 4.4 * few  # *derived*: linear is 4; where each portion looks at all answers it tends to 16


def test_an_answer_that_two_gave_is_worked_on_once_and_marked_for_both(tmp_path):
    with Store(tmp_path / "marks.sqlite") as store:
        work = Work("e", "", "task", "engine", {}, {"n": 1}, 0)
        for learner in ("a", "b"):
            store.add_file(
                HandedFile(f"{learner}.json", learner, learner, made="2026-01-15T12:00:00Z"), [KeptAnswer("e", work, 1)]
            )
        store.choose()
        assert [each.text for each in store.work()] == [work.text]
        assert [each.mark for each in store.answers("a")] == [None]
        store.add_mark(work.key, {"fault": "", "points": 3})
        assert list(store.of_exercise("e")) == [(each, work, {"fault": "", "points": 3}) for each in ("a", "b")]
        assert [each.mark for each in store.answers("b")] == [{"fault": "", "points": 3}]


@pytest.mark.parametrize("anonymous", [False, True])
def test_each_mark_line_is_worked_out_once_for_sheets_report_and_changes(group, monkeypatch, anonymous):
    group.grow(6)
    asked = []
    whole = Marks.line
    monkeypatch.setattr(Marks, "line", lambda self, learner, name: asked.append(learner) or whole(self, learner, name))
    done = mark_class(group.folder, group.file, feedback="none", anonymous=anonymous)
    assert done.handed_in == 6
    assert sorted(asked) == [f"b-{index:02d}" for index in range(6)]
    assert json.dumps(done.as_dict())
