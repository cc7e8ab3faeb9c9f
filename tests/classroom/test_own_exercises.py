"""A teacher's own exercise with its own recording: from the teacher's folder by a start file to a mark."""

from __future__ import annotations

import json
import os
import re
import shutil
import time
from pathlib import Path

import numpy as np
import pytest

import gainlib as gl
from gainlib.classroom import new_class, read_class, start_files
from gainlib.classroom.marks import mark_folder
from gainlib.classroom.start_files import own_files_of, write_start_files
from gainlib.classroom.store import Store
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, load
from gainlib.learners import enrolment
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.enrolment import brought_up_to_date, enrol, enrolled, find_exercise, own_variant
from gainlib.learners.progress import Progress
from gainlib.learners.start_file import read_start_file
from gainlib.learners.submission import hand_in
from gainlib.state import state_folder
from gainlib.storage import append_line

from .conftest import DUE, EXERCISE, ROSTER, rewrite

OWN = "school takes/hot hum"
TEXT = """title  = "A hot hum"
lesson = "trim-before-threshold"
level  = 1
kind   = "set"
goal   = "Bring a take to a level."
brief  = "The hum is too hot. Bring its peak to −{wanted} dBFS, within half a decibel."
given.take   = "hums/Brummton 1.wav"
given.stages = [ { stage = "Trim", gain_db = 0.0 } ]
varies.wanted = { from = 8, to = 18, step = 1 }
moves = [ { path = "trim/gain_db", from = -30, to = 10, step = 0.1 } ]
solution = { "trim/gain_db" = { base = 3, minus = "wanted" } }
[[checks]]
title    = "Peak"
points   = 4
reads.measure  = "peak_dbfs"
reads.at       = "trim"
reads.at_least = { base = -0.5, minus = "wanted" }
reads.at_most  = { base = 0.5, minus = "wanted" }
low  = "It peaks at {measured}. Turn the trim up by {off}."
high = "It peaks at {measured}. Turn the trim down by {off}."
good = "It peaks at {measured}."
source = "what the teacher asked for"
standing = "common practice"
"""


@pytest.fixture
def own(tmp_path):
    """A class with an exercise of the course's and one of the teacher's own, in a folder that learners do not see."""
    teacher = tmp_path / "teacher"
    folder = teacher / "exercises" / "school takes"
    (folder / "hums").mkdir(parents=True)
    gl.write(folder / "hums" / "Brummton 1.wav", gl.tone(-3, 100, seconds=0.5, rate_hz=48_000))
    (folder / "hot hum.toml").write_text(TEXT, encoding="utf-8")
    file, for_all = new_class(
        teacher / "class" / "group-a", title="Group A", roster=ROSTER, due=DUE,
        exercises=[EXERCISE, str(folder / "hot hum.toml")],
    )  # fmt: skip
    return file, for_all, folder


def answered(folder, exercise, off=0.0):
    progress = Progress.at(folder)
    variant = own_variant(exercise, progress)
    answer = author_answer(variant)
    if off:
        answer["take/trim/gain_db"] += off
    progress.record(variant, answer, check(variant, answer))
    return variant


@pytest.mark.parametrize("by", ["own", "all"])
def test_it_reaches_the_learner_by_the_start_file_alone_and_comes_back_to_be_marked(own, tmp_path, monkeypatch, by):
    file, for_all, _ = own
    given = tmp_path / "mailed.gainclass"
    shutil.copy(for_all if by == "all" else own_files_of(file) / "group-a-for-a-02.gainclass", given)
    home, away = file.parent, tmp_path / "away"
    file.parent.parent.rename(away)  # nothing of the teacher's is there any more
    course = tmp_path / "course"
    enrol(course, given, "a-02" if by == "all" else "")
    monkeypatch.chdir(course)
    found = find_exercise(OWN)
    assert found.digest == load(away / "exercises" / "school takes" / "hot hum.toml").digest
    opened = gl.exercise(OWN)
    assert opened.exercise.title == "A hot hum"
    assert opened.note == "Set in Group A, 4 points, due Thursday 15 January 2026, 18:00 (UTC)."
    answered(course, found)
    done = hand_in(course, to=tmp_path)
    away.rename(home.parent)
    with Store(tmp_path / "marks.sqlite") as store:
        handed = tmp_path / "in"
        handed.mkdir()
        shutil.copy(done.file, handed)
        marks = mark_folder(handed, read_class(file), store, home=home)
        (line,) = [each for each in marks.lines() if each.learner_id == "a-02"]
    assert (line.total, line.out_of) == (4.0, 9.0)


def test_it_stands_in_the_exercise_book_with_numbers_that_are_not_those_of_the_class(own, tmp_path, monkeypatch):
    course = tmp_path / "course"
    enrol(course, own[1], "a-01")
    install_lessons(course, "1", only="start-here")
    monkeypatch.chdir(course)
    book = gl.exercise_book().pick(topic="school takes")
    assert [each.title for each in book.entries] == ["A hot hum"]
    own_values = enrolled(course).values(find_own(course))
    drawn = next(each for each in (book.open(OWN) for _ in range(9)) if each.variant.values != own_values)
    drawn.check()
    assert gl.contents().work.exercises[1].state == "not begun"
    drawn.close()


def test_the_recording_is_the_teachers_to_the_last_bit(own, tmp_path):
    enrol(tmp_path / "course", own[1], "a-01")
    (laid,) = (tmp_path / "course").rglob("Brummton 1.wav")
    assert laid.read_bytes() == (own[2] / "hums" / "Brummton 1.wav").read_bytes()
    assert np.array_equal(gl.read(laid).samples, gl.read(own[2] / "hums" / "Brummton 1.wav").samples)


def test_each_that_is_set_has_a_page_that_opens_it_by_its_name(own, tmp_path):
    course = tmp_path / "course"
    enrol(course, own[1], "a-01")
    for name in (OWN, EXERCISE):
        page = json.loads((course / "set-by-your-teacher" / f"{name}.ipynb").read_text(encoding="utf-8"))
        (code,) = [each["source"] for each in page["cells"] if each["cell_type"] == "code"]
        assert code == f'import gainlib as gl\n\ngl.exercise("{name}")'
    kept = course / "set-by-your-teacher" / f"{EXERCISE}.ipynb"
    kept.write_text("what the learner made of it")
    enrol(course, own[1], "a-01")
    assert kept.read_text() == "what the learner made of it"


def test_one_that_cannot_be_read_hinders_no_other(own, tmp_path):
    course = tmp_path / "course"
    os.utime(own[1], (1e9, 1e9))  # so it is not looked into again
    enrol(course, own[1], "a-01")
    answered(course, load(EXERCISE))
    shutil.rmtree(course / ".gainlib" / "class-exercises")
    done = hand_in(course)
    assert "your answers to 1 of 2 exercises" in done.text
    assert (
        f"Left out: {OWN} is an exercise of your teacher's and is not here; open your class's start file" in done.text
    )
    enrol(course, own[1], "a-01")
    assert "Left out" not in hand_in(course).text
    (laid,) = (course / ".gainlib" / "class-exercises").rglob("*.toml")
    laid.chmod(0o600)
    laid.write_text("title = \n", encoding="utf-8")
    assert re.search(
        rf"Left out: {OWN} cannot be read here \(.*line 1.*\); open your class's start file again", hand_in(course).text
    )


def test_what_the_teacher_changes_arrives_where_the_start_file_lies_on_a_share(own, tmp_path):
    file, for_all, folder = own
    course = tmp_path / "course"
    enrol(course, for_all, "a-01")
    answered(course, find_own(course))
    text = file.read_text(encoding="utf-8")
    text = text.replace("2026-01-15T18:00:00", "2026-01-22T12:00:00").replace("points = 5", "points = 8")
    text = text.replace("exercises = [\n", 'exercises = [\n  { name = "levels/two-tracks", points = 3 },\n')
    file.write_text(text, encoding="utf-8")
    (folder / "hot hum.toml").write_text(TEXT.replace("too hot", "much too hot"), encoding="utf-8")
    write_start_files(file)
    assert brought_up_to_date(course).changes == (
        "Due Thursday 22 January 2026, 12:00 (UTC) now. It was Thursday 15 January 2026, 18:00 (UTC).",
        "New: “Two tracks on one bus”.",
        "“Leave room for the shout” is worth 8 points now.",
        "“A hot hum” was changed: answer it again, since what you answered was its earlier version.",
    )
    here = enrolled(course)
    assert (here.of.due.day, len(here.of.exercises), len(here.changes)) == (22, 3, 4)
    assert "much too hot" in find_own(course).spec.brief
    assert (course / "set-by-your-teacher" / "levels" / "two-tracks.ipynb").is_file()
    assert "Answered in an earlier version of the exercise: “A hot hum”. Answer it again," in hand_in(course).text


def test_a_change_arrives_also_where_the_disk_gives_it_the_date_and_size_of_what_it_replaces(own, tmp_path):
    for_all, course = own[1], tmp_path / "course"
    ahead = int(time.time()) + 10**6  # by the clock of a disk that has not gone on since

    def lies(*, points):
        rewrite(for_all, (f"points = {points - 1}", f"points = {points}"))
        os.utime(for_all, (ahead, ahead))
        return for_all.stat().st_size

    size = lies(points=6)
    enrol(course, for_all, "a-01")
    for points in (7, 8):
        assert lies(points=points) == size
        assert brought_up_to_date(course).changes == (f"“Leave room for the shout” is worth {points} points now.",)
    os.utime(for_all, (1e9, 1e9))
    assert brought_up_to_date(course).stamp == enrolled(course).stamp == brought_up_to_date(course).stamp


def find_own(course):
    here = enrolled(course)
    return next(here.exercise(each) for each in here.of.exercises if each.file)


def test_an_older_start_file_takes_nothing_back(own, tmp_path):
    file, for_all, _ = own
    older = shutil.copy(for_all, tmp_path / "older.gainclass")
    file.write_text(file.read_text().replace("2026-01-15", "2026-01-22"))
    write_start_files(file)
    rewrite(for_all, ("made    = 20", "made    = 21"))
    course = tmp_path / "course"
    enrol(course, for_all, "a-01")
    here = enrol(course, older, "a-01")
    assert here.note == "older.gainclass is older than what this folder has of Group A, so nothing was changed."
    assert enrolled(course).of.due.day == 22


def test_what_cannot_be_reached_or_is_anothers_changes_nothing(own, tmp_path):
    for_all = own[1]
    course = tmp_path / "course"
    enrol(course, for_all, "a-01")
    for_all.rename(tmp_path / "moved")
    assert brought_up_to_date(course).note == ""
    for_all.write_bytes(b"PK\x03\x04")
    assert "cannot be read: group-a.gainclass is damaged" in brought_up_to_date(course).note
    new_class(tmp_path / "other" / "group-b", exercises=[EXERCISE])
    shutil.copy(tmp_path / "other" / "group-b.gainclass", for_all)
    assert "is another's start file now" in brought_up_to_date(course).note
    assert enrolled(course).of.title == "Group A"


def test_a_folder_with_somebodys_answers_is_not_made_anothers(own, tmp_path):
    course = tmp_path / "course"
    enrol(course, own[1], "a-01")
    enrol(course, own[1], "a-02")  # nothing was answered: a mistyped id is mended so
    answered(course, find_own(course))
    with pytest.raises(GainError, match="holds the answers of Bo Marsh, who is in Group A as well"):
        enrol(course, own[1], "a-01")
    assert enrolled(course).learner_id == "a-02"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda folder: folder.rename(folder.with_name("what?")), "rename the file or its folder"),
        (lambda folder: (folder / "hums" / "Brummton 1.wav").unlink(), "take is 'hums/Brummton 1.wav'"),
    ],
)
def test_what_cannot_be_packed_is_told_before_anything_is_written(own, tmp_path, change, said):
    change(own[2])
    (exercise,) = own[2].parent.rglob("*.toml")
    with pytest.raises(GainError, match=said):
        new_class(tmp_path / "new", exercises=[str(exercise)])
    assert not list(tmp_path.glob("new*"))


def test_two_recordings_that_would_be_one_file_are_told(own, tmp_path):
    other = tmp_path / "elsewhere" / "school takes"
    shutil.copytree(own[2], other)
    (other / "hot hum.toml").rename(other / "second.toml")
    with pytest.raises(GainError, match="would both be 'school takes/hums/Brummton 1.wav' in the start file"):
        new_class(tmp_path / "new", exercises=[str(own[2] / "hot hum.toml"), str(other / "second.toml")])


def test_the_marks_say_on_which_edition_they_rest_and_that_learners_have_an_older_one(own, tmp_path, run):
    file, for_all, _ = own
    course, handed = tmp_path / "course", tmp_path / "in"
    handed.mkdir()
    here = enrol(course, for_all, "a-01")
    answered(course, find_own(course))
    done = hand_in(course, to=handed)
    assert json.loads(done.file.read_text())["class"]["edition"] == here.of.edition
    told = json.loads(run("mark", handed, "--class", file, "--feedback", "none", "--json")[1])
    assert told["edition"] == told["given_out"] == here.of.edition
    file.write_text(file.read_text().replace("points = 5", "points = 6"))
    out = run("mark", handed, "--class", file, "--feedback", "none")[1]
    assert f"The start file beside the class is of edition {here.of.edition}: learners do not have" in out
    assert f"The marks rest on edition {here.of.edition} " not in out
    report = (file.parent / "marks-of-group-a" / "report.html").read_text(encoding="utf-8")
    (now,) = {part[:8] for part in report.split("The marks rest on edition ")[1:]}
    assert f"The marks rest on edition {now} of the class." in out
    write_start_files(file)
    assert brought_up_to_date(course).of.edition == now


def test_the_edition_follows_what_is_set_and_nothing_else(own):
    file, for_all, folder = own
    seen = [read_start_file(for_all).of.edition]

    def edition():
        write_start_files(file)
        return read_start_file(for_all).of.edition

    assert edition() == seen[0]
    file.write_text(file.read_text() + "# a remark\n")
    assert edition() == seen[0]
    changes = (
        ("Group A", "Group B"),
        ("2026-01-15", "2026-01-16"),
        ("points = 5", "points = 7"),
        ('"recording/leave-room"', '"recording/leave-room", role = "bonus"'),
        ('{ id = "a-02"', '{ due = 2026-02-01T18:00:00Z, id = "a-02"'),
        ('{ id = "a-03"', '{ exempt = ["all"], id = "a-03"'),
    )
    for old, new in changes:
        file.write_text(file.read_text().replace(old, new))
        seen.append(edition())
    gl.write(folder / "hums" / "Brummton 1.wav", gl.tone(-4, 100, seconds=0.5, rate_hz=48_000), overwrite=True)
    seen.append(edition())
    assert len(set(seen)) == 8


@pytest.mark.parametrize("server", ["\\\\files.school.example\\share\\", "//files.school.example/share/"])
def test_a_server_that_a_path_names_is_asked_only_where_the_learner_opened_the_start_file_there(
    own, tmp_path, monkeypatch, server
):
    """A folder from a stranger may name a server of theirs, and to look there tells it who looks."""
    course = tmp_path / "course"
    enrol(course, own[1], "a-01")
    there = Path(server + "group-a.gainclass")
    asked = []
    monkeypatch.setattr(enrolment, "_path_of", lambda address: there)
    monkeypatch.setattr(enrolment, "_stamp", lambda file: asked.append(file) or (0, 0))
    monkeypatch.setattr(Path, "as_uri", lambda path: f"file:{path}")
    assert brought_up_to_date(course).source == there
    assert asked == []
    append_line(state_folder() / enrolment.OPENED, there.as_uri())
    brought_up_to_date(course)
    assert asked == [there]
    (state_folder() / enrolment.OPENED).unlink()


def test_under_a_hub_own_exercises_are_laid_where_the_learner_works_and_changes_arrive(own, tmp_path, monkeypatch):
    file, for_all, _ = own
    monkeypatch.setenv("GAINLIB_CLASS", str(for_all))
    monkeypatch.setenv("JUPYTERHUB_USER", "a-03")
    course = tmp_path / "course"
    install_lessons(course, "1", only="start-here")
    monkeypatch.chdir(course)
    assert gl.exercise(OWN).exercise.title == "A hot hum"
    answered(course, find_own(course))
    assert "your answers to 1 of 2 exercises" in hand_in(course).text
    assert gl.contents().work.exercises[1].passed
    file.write_text(file.read_text().replace("2026-01-15", "2099-01-22"))
    write_start_files(file)
    assert gl.contents().work.due.year == 2099
    assert len(gl.contents().work.news) == 1
    made = gl.join_class()
    assert not made.may  # the hub says in which class one is
    made.close()


def test_much_sound_for_many_is_told_with_what_makes_it_less(own, monkeypatch):
    packing = start_files.packing_of(read_class(own[0]), own[0].parent)
    assert start_files.told_size(packing) == ("Each start file holds 1 exercise of your own and 1 recording, 0.1 MB.",)
    monkeypatch.setattr(start_files, "MUCH_BYTES", 100_000)
    (said,) = start_files.told_size(packing)
    assert said.endswith("0.1 MB, so all 4 have 0 MB; recordings saved as FLAC have less.")


def test_packing_names_what_was_not_proven_as_it_stands(own, run, monkeypatch, tmp_path):
    """No proof, one at a quick look or of two variants: named with the command; a whole one is known until a change."""
    monkeypatch.setenv("GAINLIB_STATE", str(tmp_path / "state"))
    file, _, folder = own
    exercise = folder / "hot hum.toml"
    named = (
        "Not proven on this computer as they stand now (1); whether they can be solved is not known:\n"
        f"  gainlib prove '{exercise}'\n"
    )
    for proof in ((), ("--quick",), ("--variants", "2")):
        if proof:
            assert run("prove", exercise, *proof)[0] == 0
        status, out, _ = run("new-class", file, "--again")
        assert (status, named in out) == (0, True)
    assert run("prove", exercise)[0] == 0
    assert "Not proven" not in run("new-class", file, "--again")[1]
    assert "Not proven" not in run("new-class", tmp_path / "b", "--exercise", exercise)[1]
    recording = folder / "hums" / "Brummton 1.wav"
    gl.write(recording, gl.tone(-4, 100, seconds=0.5, rate_hz=48_000), overwrite=True)
    assert named in run("new-class", file, "--again")[1]
