"""Files of every kind but exercises with something wrong in them: each is read, or refused in one sentence."""

from __future__ import annotations

import contextlib
import json
from datetime import UTC, datetime
from types import SimpleNamespace

import numpy as np
import pytest
from mutation import how_many, mutated, run_cases

import gainlib as gl
from gainlib.benches.coming_back import stand_as_left
from gainlib.classroom import RosterLine, new_class, read_class, read_roster
from gainlib.classroom.class_file import class_text
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, load
from gainlib.learners.course_folder import MANIFEST, MARK, chosen_lessons, install_lessons
from gainlib.learners.enrolment import CLASS_FILE, enrol, enrolled
from gainlib.learners.hand_in_file import read_hand_in
from gainlib.learners.progress import ATTEMPTS, Progress
from gainlib.learners.spaced_repetition import missed
from gainlib.learners.submission import hand_in
from gainlib.sound_file import write
from gainlib.storage import lesson_files
from gainlib.surveys.comparison import compare
from gainlib.surveys.record import as_dict, read_survey
from gainlib.widgets.as_left import AsLeft

EXERCISE = "recording/leave-room"
HUM = gl.Audio(np.sin(np.arange(4800) / 8) * 0.1, 48_000, "hum")
SESSION = """strips = [
  { name = "voice", take = "hum.wav", to = "band", stages = [
    { stage = "Source" }, { stage = "Preamp", gain_db = 42.0 }, { stage = "Converter", alignment = 18.0, bits = 24 },
    { stage = "Compressor", threshold_db = -18.0, ratio = 4.0 }, { stage = "Ride", points = [[0.0, 1.0], [0.1, 0.0]] },
  ], sends = [ { to = "hall", gain_db = -12.0, pre_fader = false } ] },
  { name = "drums", signal = { wave = "noise", seconds = 0.1 }, stages = [ { stage = "Fader", gain_db = -3.0 } ] },
]
buses = [ { name = "band" }, { name = "hall" },
  { name = "main", stages = [ { stage = "Limiter" }, { stage = "StoredFile", dither = true, noise_seed = 3 } ] } ]
"""


@pytest.fixture(scope="module")
def valid(tmp_path_factory):
    """A folder with a valid file of each kind."""
    home = tmp_path_factory.mktemp("valid")
    write(home / "hum.wav", HUM)
    (home / "session.toml").write_text(SESSION, encoding="utf-8")
    people = (RosterLine(id="a-01", name="Ada Quill"), RosterLine(id="a-02", name="Bo Marsh"))
    new_class(home / "class", roster=people, exercises=[EXERCISE], due=datetime(2030, 1, 1, tzinfo=UTC))
    (home / "list.csv").write_text("id;first name;last name\na-01;Ada;Quill\na-02;Bo;Marsh\n", encoding="utf-8")
    earlier = gl.survey(home / "hum.wav")
    (home / "survey.json").write_text(json.dumps(as_dict(earlier)), encoding="utf-8")
    variant = load(EXERCISE).variant("Ada")
    verdict = check(variant, author_answer(variant))
    course = home / "course"
    (home / "lessons").mkdir()
    (home / "lessons" / "03-lesson.ipynb").write_text("{}")
    install_lessons(course, "1", home / "lessons")
    enrol(course, home / "class.gainclass", "a-01")
    progress = Progress.at(course, name="Ada")
    for _ in range(3):
        progress.record(variant, author_answer(variant), verdict)
    (course / "03-lesson.ipynb").write_bytes(lesson_files()["set-recording-level"].read_bytes())
    (home / "hand-in.json").write_text(json.dumps(HAND_IN | {"answers": [_handed(variant)]}), encoding="utf-8")
    (home / "left.json").write_text(json.dumps(LEFT), encoding="utf-8")
    return SimpleNamespace(home=home, course=course, earlier=earlier, variant=variant, verdict=verdict)


HAND_IN = {
    "schema": "gainlib hand-in",
    "version": 1,
    "class": {"title": "A", "tag": "0"},
    "learner": {"id": "a-01", "name": "Ada"},
    "course": {"gainlib": "1", "digest": "0"},
    "made": "2027-01-15T12:00:00Z",
}
LEFT = {"moved": {"trim/gain_db": -3.0, "ride/points": [[0.0, 1.0]]}, "kept": {"A": {"trim/gain_db": 1.0}}}


def _handed(variant):
    of = {"exercise": EXERCISE, "exercise_digest": variant.exercise.digest, "values": dict(variant.values)}
    return of | {"answer": author_answer(variant), "hints_used": 1, "attempts": 2, "time": "2026-01-15T12:00:00Z"}


def read_session(file, valid):
    session = gl.Session.load(file)
    session.as_text()
    for tap in session.render().levels:
        assert tap.strip


def read_class_file(file, valid):
    found = read_class(file)
    class_text(found)
    found.penalty_percent(datetime.now(UTC))
    for each in found.learners[:3]:
        found.key_of(each.id)


def read_start_file(file, valid):
    enrol(file.parent / "course", file, "a-01")
    here = enrolled(file.parent / "course")
    here.variant(load(EXERCISE))


def read_kept_class(file, valid):
    enrolled(file.parent.parent).variant(load(EXERCISE))


def read_earlier(file, valid):
    assert compare(read_survey(file), valid.earlier).lines


def read_progress(file, valid):
    """Nothing is raised by a record, whatever it holds."""
    progress = Progress.at(file.parent, name="Ada")
    said = progress.record(valid.variant, author_answer(valid.variant), valid.verdict)
    assert said
    again = Progress.at(file.parent)
    if "Saved" in said and "Not saved" not in said:
        assert again.passed(EXERCISE)
    again.best(EXERCISE)
    missed(again.attempts)
    with contextlib.suppress(GainError):  # in no class
        hand_in(file.parent)


def read_manifest(file, valid):
    chosen_lessons(file.parent.parent)
    install_lessons(file.parent.parent, "2", valid.home / "lessons")


def read_left(file, valid):
    bench = gl.bench(gl.Session.of(HUM, [gl.Trim(), gl.Ride()]), controls=["trim/gain_db", "ride/points"])
    stand_as_left(bench, AsLeft(file).found)
    assert bench.rendering.levels


def read_lesson(file, valid):
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(file.parent)
        assert gl.contents().lessons


# kind: the file in the folder of valid ones, where its copy is put, what reads it
READERS = {
    "session": ("session.toml", "session.toml", read_session),
    "class": ("class.toml", "class.toml", read_class_file),
    "start": ("class.gainclass", "class.gainclass", read_start_file),
    "kept class": (f"course/{MARK}/{CLASS_FILE}", f"{MARK}/{CLASS_FILE}", read_kept_class),
    "list": ("list.csv", "list.csv", lambda file, valid: read_roster(file)),
    "survey": ("survey.json", "survey.json", read_earlier),
    "record": ("course/progress.json", "progress.json", read_progress),
    "attempts": (f"course/{ATTEMPTS}", ATTEMPTS, read_progress),
    "manifest": (f"course/{MARK}/{MANIFEST}", f"course/{MARK}/{MANIFEST}", read_manifest),
    "hand-in": ("hand-in.json", "hand-in.json", lambda file, valid: read_hand_in(file.read_bytes()).made_at),
    "left": ("left.json", "left.json", read_left),
    "lesson": ("course/03-lesson.ipynb", "03-lesson.ipynb", read_lesson),
}
RAISES_NOTHING = {"record", "attempts", "left", "lesson"}


@pytest.mark.parametrize("kind", READERS)
def test_a_mutated_file_is_read_or_refused_in_one_sentence(valid, tmp_path, kind):
    source, name, reader = READERS[kind]
    good = (valid.home / source).read_bytes()
    (tmp_path / "hum.wav").write_bytes((valid.home / "hum.wav").read_bytes())

    def read_it(number, content=None):
        folder = tmp_path / f"{number}"
        (folder / name).parent.mkdir(parents=True)
        (folder / name).write_bytes(mutated(good, number) if content is None else content)
        if kind == "session":
            (folder / "hum.wav").hardlink_to(tmp_path / "hum.wav")
        if kind == "attempts":
            (folder / "progress.json").write_bytes((valid.course / "progress.json").read_bytes())
        if kind == "lesson":
            (folder / MARK).mkdir()
            (folder / MARK / MANIFEST).write_text("{}")
        try:
            reader(folder / name, valid)
        except GainError as fault:
            said = str(fault)
            if kind in RAISES_NOTHING or max(map(len, said.split("\n"))) > 2600 or not said:
                raise AssertionError(f"raised: {said}") from fault
            return False
        return True

    assert read_it("good", good)  # else nothing is tried but one refusal
    # The contents look at every exercise of the collection, which takes a second.
    run_cases(kind, max(2, how_many(12) // (20 if kind == "lesson" else 1)), read_it)
