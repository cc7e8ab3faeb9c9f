"""What was moved and not checked stands there again in a new kernel; what cannot be set to is passed over."""

from __future__ import annotations

import asyncio
import json
import math
from pathlib import Path

import numpy as np
import pytest

import gainlib as gl
from gainlib.benches.coming_back import AS_LEFT
from gainlib.exercises import author_answer
from gainlib.learners.course_folder import MANIFEST, MARK
from gainlib.widgets.as_left import FOLDER, LARGEST_BYTES, NOTEBOOK, AsLeft
from gainlib.widgets.cell_display import RunningCell

KINDS = Path(__file__).parent / "kinds"
GAIN, TRIM = "preamp/gain_db", "trim/gain_db"
RIDE = "ride/points"


@pytest.fixture
def course(tmp_path, monkeypatch):
    """A notebook of a learner's folder, as a Jupyter server opens it: each call of a test is a new kernel's."""
    (tmp_path / MARK).mkdir()
    (tmp_path / MARK / MANIFEST).write_text("{}")
    (tmp_path / "03-lesson.ipynb").write_text("{}")
    monkeypatch.setenv(NOTEBOOK, str(tmp_path / "03-lesson.ipynb"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def session(**preamp):
    take = gl.Audio(np.sin(np.arange(8000) / 8) * 0.01, 8000, "hum")
    return gl.Session.of(
        take, [gl.Source(-30.0), gl.Preamp(**preamp), gl.Converter(18.0), gl.Trim(), gl.Ride()], name="hum"
    )


def bench(**given):
    return gl.bench(session(), controls=[GAIN, TRIM, RIDE, "converter/bits"], **given)


def files(course):
    return sorted((course / MARK / FOLDER).glob("*.json"))


def test_what_was_moved_and_kept_stands_there_again_and_reset_goes_back_to_the_lessons_start(course):
    first = bench()
    start = first.values
    assert (first.note, files(course)) == ("", [])  # a look leaves nothing
    first.move(GAIN, 35.5).move(RIDE, [(0.0, 1.5), (0.5, -3.0)]).move("converter/bits", 16).keep("A").move(TRIM, -6.0)
    again = bench()
    assert again.values == first.values
    assert again.kept == {"A": {**first.values, TRIM: 0.0}}
    assert again.note == AS_LEFT == again.panel.toolbar.note
    assert again.before.session == session()
    again.reset()
    assert (again.values, again.note, again.panel.toolbar.note) == (start, "", "")
    again.undo()
    assert again.values == first.values
    again.undo()
    assert again.values == start
    again.close()


def test_a_bench_that_was_reset_leaves_nothing(course):
    made = bench().move(GAIN, 35.0)
    assert len(files(course)) == 1
    made.reset()
    assert files(course) == []


@pytest.mark.parametrize(
    "other",
    [
        lambda: gl.bench(session(gain_db=20.0), controls=[GAIN, TRIM, RIDE, "converter/bits"]),
        lambda: gl.bench(session(), controls=[GAIN]),
        lambda: bench(title="Another"),
        lambda: bench(key="another"),
    ],
    ids=["another start", "other controls", "another title", "another key"],
)
def test_a_bench_that_was_changed_since_starts_anew(course, other):
    bench().move(GAIN, 35.0)
    assert other().note == ""
    assert bench().values[GAIN] == 35.0


def test_another_lesson_and_another_cell_have_benches_of_their_own(course, monkeypatch):
    bench().move(GAIN, 35.0)
    (course / "04-lesson.ipynb").write_text("{}")
    with monkeypatch.context() as patched:
        patched.setenv(NOTEBOOK, str(course / "04-lesson.ipynb"))
        assert bench().note == ""
    with monkeypatch.context() as patched:
        patched.setattr("gainlib.widgets.as_left.running_cell", lambda: RunningCell("the next cell", None, None))
        assert bench().note == ""


def test_what_a_cells_own_code_moves_is_not_kept_since_it_moves_it_again(course, monkeypatch):
    made = bench()
    with monkeypatch.context() as patched:
        patched.setattr("gainlib.widgets.as_left.running_cell", lambda: RunningCell("this cell", None, None))
        made.move(GAIN, 35.0)
    assert files(course) == []
    made.move(TRIM, -3.0)  # by hand
    assert len(files(course)) == 1


def test_outside_a_learners_notebook_nothing_is_kept(course, monkeypatch, tmp_path_factory):
    """A run of nbval or of lesson-page has no server's notebook; a lesson in a checkout lies in no learner's folder."""
    elsewhere = tmp_path_factory.mktemp("checkout") / "03-lesson.ipynb"
    elsewhere.write_text("{}")
    bench().move(GAIN, 35.0)
    for notebook in ("", str(elsewhere), str(course / "no-such.ipynb"), str(course / "console-1")):
        monkeypatch.setenv(NOTEBOOK, notebook)
        made = bench()
        assert made.note == ""
        made.move(GAIN, 31.0)
    monkeypatch.delenv(NOTEBOOK)
    assert bench().move(GAIN, 32.0).note == ""
    assert list(elsewhere.parent.iterdir()) == [elsewhere]
    monkeypatch.setenv(NOTEBOOK, str(course / "03-lesson.ipynb"))
    assert bench().values[GAIN] == 35.0


HOSTILE = {
    "no JSON": "{",
    "a list": "[]",
    "nested deep": '{"moved": ' + "[" * 100_000 + "]" * 100_000 + "}",
    "too large": json.dumps({"moved": {GAIN: 35.0}, "x": "x" * LARGEST_BYTES}),
    "bytes": "\udcff",
    "out of range": json.dumps({"moved": {GAIN: 1000.0, TRIM: -1e9}}),
    "10^400": f'{{"moved": {{"{GAIN}": 1{"0" * 400}}}}}',
    "no number": f'{{"moved": {{"{GAIN}": NaN}}}}',
    "another kind": json.dumps({"moved": {GAIN: "loud", TRIM: True, "converter/bits": 20, RIDE: "up"}}),
    "a table": json.dumps({"moved": {GAIN: {}, TRIM: [], RIDE: {"a": 1}, "converter/bits": [16]}}),
    "another ride": json.dumps({"moved": {RIDE: [[0.5, 0.0], [0.1, 0.0]]}}),
    "a ride of one number": json.dumps({"moved": {RIDE: [[0.5]]}}),
    "what has no control": json.dumps({"moved": {"delivery/rate_hz": 8000, "": 0, "trim": 1}}),
    "settings that are none": json.dumps({"moved": [[GAIN, 35.0]], "kept": {"A": [], "B": 3, "C": {GAIN: 35.0}}}),
}


@pytest.mark.parametrize("how", HOSTILE)
def test_a_file_that_was_spoilt_sets_nothing_and_raises_nothing(course, how):
    start = bench().values
    bench().move(GAIN, 35.0)
    (file,) = files(course)
    file.write_bytes(HOSTILE[how].encode("utf-8", "surrogateescape"))
    made = bench()
    assert (made.values, made.kept, made.note) == (start, {}, "")
    made.move(TRIM, -3.0)
    assert bench().values == {**start, TRIM: -3.0}


def test_of_a_file_that_is_partly_right_what_is_right_is_set(course):
    bench().move(GAIN, 35.0)
    (file,) = files(course)
    file.write_text(json.dumps({"moved": {GAIN: 31.0, TRIM: 1e9}}))
    assert (bench().values[GAIN], bench().values[TRIM]) == (31.0, 0.0)


def test_where_nothing_can_be_written_a_move_goes_on(course, monkeypatch):
    def forbid(*args, **kwargs):
        raise OSError(28, "No space left on device")

    made = bench()
    with monkeypatch.context() as patched:
        patched.setattr("gainlib.storage.atomic.os.open", forbid)
        assert made.move(GAIN, 35.0).values[GAIN] == 35.0
    assert files(course) == []


def test_during_a_drag_the_last_place_is_written_and_not_each(tmp_path, monkeypatch, run_at_once):
    written = []
    monkeypatch.setattr("gainlib.widgets.as_left.atomic_write", lambda file, text, **_: written.append(text))
    place = AsLeft(tmp_path / "bench.json")

    async def drag():
        for step in range(100):
            place.keep({"trim/gain_db": float(step)})
            await asyncio.sleep(0.01)
        await asyncio.sleep(1.0)

    run_at_once(drag())
    assert len(written) == 5  # at the start of that second, three times in it, and what stands at its end
    assert json.loads(written[-1])["trim/gain_db"] == 99.0


def sit(name, learner=None):
    return gl.exercise(KINDS / f"{name}.toml", learner)


def test_an_exercise_stands_as_it_was_left_and_reset_goes_back_to_its_start(course):
    first = sit("even-out")
    (path,) = (each for each in first.bench.controls if each.endswith("fader/muted"))
    (ride,) = (each for each in first.bench.controls if each.endswith("ride/points"))
    first.bench.move(path, False).move(ride, [(0.0, 1.5), (0.5, -3.0)])
    again = sit("even-out")
    assert (again.bench.values, again.bench.note, again.verdict) == (first.bench.values, AS_LEFT, None)
    again.bench.reset()
    assert sit("even-out").bench.note == ""
    sit("even-out", "somebody").bench.move(path, False)  # to try another's numbers is not to work
    assert sit("even-out").bench.note == ""


@pytest.mark.parametrize("name", ["read-the-verse", "in-order", "which-was-clipped"])
def test_answers_that_were_given_on_the_page_and_not_checked_stand_there_again(course, name):
    first = sit(name)
    given = {}
    for ask in first.variant.questions:
        given[ask.name] = {"choice": ask.choices[-1:], "order": [list(ask.choices)[::-1]]}.get(ask.form, [ask.high])[0]
        first.panel.questions[ask.name].follow(given[ask.name])
    first.close()
    again = sit(name)
    assert again.answers == given
    assert again.panel.brief.note == "Your answers stand as you left them."
    assert {each: widget.value for each, widget in again.panel.questions.items()} == given
    again.close()


def test_an_answer_that_answers_nothing_is_passed_over(course):
    (ask,) = sit("which-was-clipped").variant.questions
    sit("which-was-clipped").reply(ask.name, ask.choices[0])
    (file,) = files(course)
    for answers in ({ask.name: "no such"}, {ask.name: 3}, {"other": ask.choices[0]}, [], 7, {ask.name: [[]]}):
        file.write_text(json.dumps({"answers": answers}))
        again = sit("which-was-clipped")
        assert (set(again.answers.values()), again.note) == ({None}, "")


def test_a_prediction_stands_there_again(course, monkeypatch):
    def new_kernel():
        monkeypatch.setattr("gainlib.widgets.predict._asked", {})

    def ask():
        return gl.predict("loud", "Which is louder?", choices=["the first", "the second"])

    new_kernel()
    ask().chosen = 1
    gl.predict("far", "How far?", unit="dB").number = 6.5
    new_kernel()
    assert (ask().answer, gl.predict("far", "How far?", unit="dB").answer) == ("the second", 6.5)
    assert gl.compare("loud", "the second").sentence == "You said: “the second” That is right."
    new_kernel()
    assert gl.predict("far", "How far is it now?", unit="dB").answer is None
    for file in files(course):
        file.write_text(json.dumps({"answer": [math.pi]}))
    new_kernel()
    assert (ask().answer, gl.predict("far", "How far?", unit="dB").answer) == (None, None)


def test_what_was_checked_and_the_hints_that_were_taken_stand_there_again(course):
    def sit(learner=None):
        return gl.exercise("recording/leave-room", learner)

    first = sit()
    first.hint()
    assert [each.text for each in sit().hints] == [first.hints[0].text]  # though nothing was checked
    missed = first.check()
    again = sit()
    assert (again.verdict.passed, again.verdict.points, len(again.hints)) == (False, missed.points, 1)
    assert again.panel.answer.verdict["head"] == missed.text.splitlines()[0].partition(",")[0].rstrip(".") + "."
    assert again.panel.answer.hints == [first.hints[0].text]
    assert (again.panel.answer.stale, again.panel.answer.verdict["told"]) == (False, [])
    again.bench.move_all({path: each for path, each in author_answer(again.variant).items() if "/" in path})
    assert again.panel.answer.stale
    assert again.check().passed
    again.close()
    passed = sit()
    assert (passed.verdict.passed, passed.offer, passed.panel.answer.stale) == (True, "", False)
    assert "You passed this earlier." in passed.panel.answer.verdict["notes"]
    passed.bench.reset()
    assert (sit().verdict.passed, sit().panel.answer.stale) == (True, True)
    assert (sit("somebody").verdict, sit("somebody").hints) == (None, ())


@pytest.mark.parametrize("hints", [-3, 10**9, True, "2", [1], None])
def test_hints_that_a_file_tells_are_as_many_as_there_are(course, hints):
    gl.exercise("recording/leave-room").hint()
    (file,) = files(course)
    file.write_text(json.dumps({"hints": hints}))
    assert 0 <= len(gl.exercise("recording/leave-room").hints) <= 3
