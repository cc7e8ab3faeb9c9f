"""The learner's folder: laid, brought up to date, and never at the cost of what the learner wrote."""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import gainlib as gl
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, load
from gainlib.learners.contents import Contents, Lesson, Task, contents
from gainlib.learners.course_folder import MANIFEST, MARK, install_lessons, lesson_file, newer_beside
from gainlib.learners.jupyter_server import server_command
from gainlib.learners.progress import Progress
from gainlib.storage import bundled_folder, lesson_files, lesson_number

# The course of these tests has one lesson, whose name and number are a real one's.
NAME = "set-recording-level"
LESSON = lesson_files()[NAME].name
NUMBER = lesson_number(LESSON)
OLDER = f"93-{NAME}.ipynb"


@pytest.fixture
def course(tmp_path):
    """The course's own lessons, as a newer version may change them."""
    folder = tmp_path / "lessons"
    (folder / "pictures").mkdir(parents=True)
    (folder / LESSON).write_text("first version")
    (folder / "contents.ipynb").write_text("contents")
    (folder / "pictures" / "one.png").write_bytes(b"\x89PNG\r\n")
    (folder / ".hidden").write_text("x")
    (folder / ".ipynb_checkpoints").mkdir()
    (folder / ".ipynb_checkpoints" / "old.ipynb").write_text("x")
    (folder / "progress.json").write_text("somebody's")
    (folder / "attempts.jsonl").write_text("somebody's")
    return folder


@pytest.fixture
def own(tmp_path):
    return tmp_path / "own"


def files(folder):
    found = (each.relative_to(folder) for each in folder.rglob("*") if each.is_file())
    return sorted(each.as_posix() for each in found if each.parts[0] != MARK)


def test_the_first_time_every_lesson_is_laid(course, own):
    laid = install_lessons(own, "0.1", course)
    assert files(own) == sorted([LESSON, "contents.ipynb", "pictures/one.png"])
    assert (own / "pictures" / "one.png").read_bytes() == b"\x89PNG\r\n"
    assert laid.text == f"Your lessons are in {own}."
    assert "up to date" in install_lessons(own, "0.1", course).text


def test_three_that_lay_the_lessons_at_once_know_of_each_other(course, own):
    with ThreadPoolExecutor(3) as threads:
        said = list(threads.map(lambda _: install_lessons(own, "0.1", course).text, range(3)))
    assert sorted("up to date" in each for each in said) == [False, True, True]


def test_a_lesson_left_as_it_was_is_replaced_by_a_newer_one(course, own):
    install_lessons(own, "0.1", course)
    (course / LESSON).write_text("second version")
    laid = install_lessons(own, "0.2", course)
    assert (own / LESSON).read_text() == "second version"
    assert laid.sentences == (f"{LESSON} is replaced by the version of gainlib 0.2; you had not changed it.",)
    assert "up to date" in install_lessons(own, "0.2", course).text


def test_a_changed_lesson_stays_and_the_newer_one_is_laid_beside_it_once(course, own):
    install_lessons(own, "0.1", course)
    (own / LESSON).write_text("first version, and my notes")
    assert "up to date" in install_lessons(own, "0.1", course).text
    (course / LESSON).write_text("second version")
    laid = install_lessons(own, "0.2", course)
    beside = own / f"{LESSON[:-6]} (new in 0.2).ipynb"
    assert (own / LESSON).read_text() == "first version, and my notes"
    assert beside.read_text() == "second version"
    assert beside.name in laid.text
    # Having seen it, the learner may throw it away, and is not offered it again.
    beside.unlink()
    assert "up to date" in install_lessons(own, "0.2", course).text
    assert not beside.exists()


def test_the_newest_of_several_versions_is_what_was_laid_last_whenever_they_were_written(course, own):
    install_lessons(own, "0.1", course)
    (own / LESSON).write_text("mine")
    assert newer_beside(own, LESSON) == ""
    laid = {}
    for version in ("0.9", "0.10", "0.8"):
        (course / LESSON).write_text(f"as {version} has it")
        install_lessons(own, version, course)
        laid[version] = own / f"{LESSON[:-6]} (new in {version}).ipynb"
        for at, each in enumerate(laid.values()):
            os.utime(each, (1e9 - at, 1e9 - at))  # as they lie in a copy that went through them in its own order
        assert newer_beside(own, LESSON) == laid[version].name
    laid["0.8"].write_text("mine as well")
    assert newer_beside(own, LESSON) == laid["0.8"].name


def notebook(source, **shown):
    """A lesson of one cell, as the course ships it, or as JupyterLab saves it after it was run."""
    cell = {"cell_type": "code", "id": "a", "metadata": {"tags": ["tool"]}, "source": source}
    cell |= {"execution_count": None, "outputs": []} | shown
    made = {"cells": [cell], "metadata": {"gainlib": {"lesson": True}}, "nbformat": 4, "nbformat_minor": 5}
    if shown:
        cell["metadata"]["trusted"] = True
        made["metadata"]["language_info"] = {"name": "python", "version": "3.12.1"}
    return json.dumps(made, indent=1)


RAN = {"execution_count": 7, "outputs": [{"output_type": "stream", "name": "stdout", "text": ["-3 dB"]}]}


def test_a_lesson_that_was_only_run_and_saved_is_replaced_and_one_with_another_word_is_not(course, own):
    (course / LESSON).write_text(notebook(["gl.read()\n", "x"]))
    install_lessons(own, "0.1", course)
    (own / LESSON).write_text(notebook("gl.read()\nx", **RAN))
    assert "up to date" in install_lessons(own, "0.1", course).text
    assert "-3 dB" in (own / LESSON).read_text()  # what was shown stays while nothing newer comes
    (course / LESSON).write_text(notebook("gl.read('new')"))
    laid = install_lessons(own, "0.2", course)
    assert laid.sentences == (f"{LESSON} is replaced by the version of gainlib 0.2; you had not changed it.",)
    assert (own / LESSON).read_text() == notebook("gl.read('new')")
    (own / LESSON).write_text(notebook("gl.read('mine')", **RAN))
    (course / LESSON).write_text(notebook("gl.read('newest')"))
    assert "holds your changes" in install_lessons(own, "0.3", course).text
    assert "mine" in (own / LESSON).read_text()


def test_a_lesson_that_an_older_course_laid_and_nobody_touched_is_replaced(course, own):
    (course / LESSON).write_text(notebook("old"))
    install_lessons(own, "0.1", course)
    known = json.loads((own / MARK / MANIFEST).read_text())
    digest = hashlib.sha256((own / LESSON).read_bytes()).hexdigest()
    known["laid"][LESSON] = {"laid": digest, "offered": digest}
    (own / MARK / MANIFEST).write_text(json.dumps(known))
    (course / LESSON).write_text(notebook("new"))
    assert "is replaced" in install_lessons(own, "0.2", course).text


def test_a_name_that_is_taken_beside_is_left_alone(course, own):
    install_lessons(own, "0.1", course)
    (own / LESSON).write_text("mine")
    (own / f"{LESSON[:-6]} (new in 0.2).ipynb").write_text("mine too")
    (course / LESSON).write_text("second version")
    install_lessons(own, "0.2", course)
    assert (own / f"{LESSON[:-6]} (new in 0.2).ipynb").read_text() == "mine too"
    assert (own / f"{LESSON[:-6]} (new in 0.2, 2).ipynb").read_text() == "second version"


def test_a_missing_lesson_is_laid_again_and_said_so(course, own):
    install_lessons(own, "0.1", course)
    (own / LESSON).unlink()
    assert install_lessons(own, "0.1", course).sentences == (f"{LESSON} was missing; it is laid again.",)
    assert (own / LESSON).read_text() == "first version"


def test_a_new_lesson_is_said_to_be_new(course, own):
    install_lessons(own, "0.1", course)
    (course / "04-new.ipynb").write_text("x")
    assert install_lessons(own, "0.2", course).sentences == ("04-new.ipynb is new.",)


def test_a_file_that_was_there_before_the_course_is_the_learners(course, own):
    own.mkdir()
    (own / LESSON).write_text("my own file of that name")
    install_lessons(own, "0.1", course)
    assert (own / LESSON).read_text() == "my own file of that name"
    assert (own / f"{LESSON[:-6]} (new in 0.1).ipynb").read_text() == "first version"


@pytest.mark.parametrize("list_of_digests", ["", "[]", "{}", '{"laid": 3}', '{"laid": {"contents.ipynb": 3}}', "\x00"])
def test_with_a_damaged_list_nothing_of_the_learners_is_lost(course, own, list_of_digests):
    install_lessons(own, "0.1", course)
    (own / LESSON).write_text("mine")
    (own / MARK / MANIFEST).write_text(list_of_digests)
    (course / LESSON).write_text("second version")
    install_lessons(own, "0.2", course)
    assert (own / LESSON).read_text() == "mine"


def test_nothing_is_written_through_a_link(course, own, tmp_path):
    install_lessons(own, "0.1", course)
    target = tmp_path / "elsewhere.ipynb"
    target.write_text("first version")
    (own / LESSON).unlink()
    os.symlink(target, own / LESSON)
    (course / LESSON).write_text("second version")
    install_lessons(own, "0.2", course)
    assert target.read_text() == "first version"
    assert (own / LESSON).is_symlink()


def test_a_folder_in_a_lessons_place_is_left_alone(course, own):
    (own / LESSON).mkdir(parents=True)
    install_lessons(own, "0.1", course)
    assert (own / LESSON).is_dir()
    assert (own / f"{LESSON[:-6]} (new in 0.1).ipynb").is_file()


def test_what_stands_in_the_way_is_told(course, own, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(GainError, match="is a file; name a folder"):
        install_lessons(tmp_path / "file", "0.1", course)
    with pytest.raises(GainError, match="cannot be used"):
        install_lessons(tmp_path / "file" / "deeper", "0.1", course)
    own.mkdir()
    (own / MARK).write_text("x")
    with pytest.raises(GainError, match="stands in the way"):
        install_lessons(own, "0.1", course)
    with pytest.raises(GainError, match="where the course itself lies"):
        install_lessons(course, "0.1", course)
    with pytest.raises(GainError, match="where the course itself lies"):
        install_lessons(course / "pictures", "0.1", course)


def test_a_folder_that_cannot_be_written_is_told(course, own, monkeypatch):
    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied", str(own))

    monkeypatch.setattr("gainlib.storage.atomic.os.open", forbid)
    with pytest.raises(GainError, match=r"written \(permission denied\); name a folder that you may write to"):
        install_lessons(own, "0.1", course)


def test_the_real_lessons_are_laid(own):
    install_lessons(own, gl.__version__)
    assert {LESSON, "contents.ipynb"} <= set(files(own))
    assert not [name for name in files(own) if not name.endswith(".ipynb")]


def test_the_server_is_for_this_computer_only_and_the_token_is_not_on_the_command(own):
    own.mkdir()
    command = server_command(own, 8888)
    assert command[0] == sys.executable
    assert "--ServerApp.ip=127.0.0.1" in command
    assert not [part for part in command if "token" in part or "0.0.0.0" in part]


def test_the_contents_list_what_is_done_and_what_is_next(own, monkeypatch):
    install_lessons(own, gl.__version__)
    monkeypatch.chdir(own)
    before = gl.contents()
    assert "progress.json" not in files(own)  # looking at the contents begins nothing
    (lesson,) = [each for each in before.lessons if each.link == LESSON]
    assert lesson.title == "Set a recording level"
    assert "recording/leave-room" in lesson.exercises
    assert before.next == before.lessons[0] != lesson
    assert not lesson.done
    assert lesson.minutes == 30
    assert "Begin with: <a" in before._repr_html_()
    progress = Progress.here()
    for number, name in enumerate(lesson.exercises, start=1):
        variant = load(name).variant(progress.learner_id)
        ladder = {"trials": [[1, 1]] * 4 + [[2, 1]] + [[3, 3], [1, 1], [2, 3]] * 3 + [[1, 1]] * 2}  # eight turns
        answer = author_answer(variant) if load(name).kind != "hear" else ladder
        progress.record(variant, answer, check(variant, answer))
        page = contents()._repr_html_()
        assert f"{load(name).title} ✓" in page
        assert "Next: <a" in page
        assert re.search(rf"Exercises passed: {number} of \d+\. Points: [1-9]", page)
    (after,) = [each for each in contents().lessons if each.link == LESSON]
    points = sum(load(name).out_of for name in lesson.exercises)
    assert (after.done, after.points, after.out_of) == (True, points, points)
    assert contents().next != after
    assert f"done, {points:g} of {points:g} points" in page


def test_the_contents_link_to_the_lessons_from_a_folder_below_and_to_newer_versions(own, monkeypatch):
    install_lessons(own, gl.__version__)
    (own / "takes").mkdir()
    (own / f"{LESSON[:-6]} (new in 0.2).ipynb").write_text("x")
    monkeypatch.chdir(own / "takes")
    page = contents()._repr_html_()
    assert f'href="../{LESSON}"' in page
    assert f'href="../{LESSON[:-6]}%20%28new%20in%200.2%29.ipynb"' in page


@pytest.fixture
def renumbered(course, own):
    """A learner's folder of a course in which the lessons had other numbers; they have been given theirs of today."""
    (course / "glossary.ipynb").write_text(f"[Set]({LESSON}) [Contents](contents.ipynb)")
    before = course.with_name("before")
    shutil.copytree(course, before)
    (before / LESSON).rename(before / OLDER)
    (before / "glossary.ipynb").write_text(f"[Set]({OLDER}) [Contents](contents.ipynb)")
    install_lessons(own, "0.1", before)
    return own


def test_a_lesson_left_as_it_was_gets_its_new_number(course, renumbered):
    (course / LESSON).write_text("second version")
    laid = install_lessons(renumbered, "0.2", course)
    assert files(renumbered) == sorted([LESSON, "contents.ipynb", "glossary.ipynb", "pictures/one.png"])
    assert (renumbered / LESSON).read_text() == "second version"
    assert laid.sentences[0] == f"{OLDER} is {LESSON} now; you had not changed it."
    assert f"[Set]({LESSON})" in (renumbered / "glossary.ipynb").read_text()
    assert "up to date" in install_lessons(renumbered, "0.2", course).text


def test_a_changed_lesson_keeps_its_old_number_and_is_there_once(course, renumbered, monkeypatch):
    (renumbered / OLDER).write_text("first version, and my notes")
    install_lessons(renumbered, "0.2", course)
    assert files(renumbered) == sorted([OLDER, "contents.ipynb", "glossary.ipynb", "pictures/one.png"])
    assert (renumbered / OLDER).read_text() == "first version, and my notes"
    # The glossary leads to the learner's own, and so do the contents, at the place and with the number of today.
    assert (renumbered / "glossary.ipynb").read_text() == f"[Set]({OLDER}) [Contents](contents.ipynb)"
    (course / LESSON).write_text("second version")
    beside = f"{OLDER[:-6]} (new in 0.3).ipynb"
    said = install_lessons(renumbered, "0.3", course).text
    assert said == f"{OLDER} holds your changes and stays as it is; the new version is laid beside it as {beside}."
    monkeypatch.chdir(renumbered)
    shown = [each for each in contents().lessons if each.title == "Set a recording level"]
    assert [(each.link, each.number) for each in shown] == [(OLDER, NUMBER)]
    assert "%20%28new%20in%200.3%29" in shown[0].newer
    assert contents()._repr_html_().count(f'href="{OLDER}"') == 1
    # Who throws the old one away gets the lesson under its number.
    (renumbered / OLDER).unlink()
    install_lessons(renumbered, "0.3", course)
    assert (renumbered / LESSON).read_text() == "second version"
    assert f"[Set]({LESSON})" in (renumbered / "glossary.ipynb").read_text()


def test_a_lesson_of_today_beside_an_older_number_is_the_lesson(course, renumbered):
    (renumbered / LESSON).write_text("mine of today")
    install_lessons(renumbered, "0.2", course)
    assert (renumbered / LESSON).read_text() == "mine of today"
    assert not (renumbered / OLDER).exists()  # it was not changed


@pytest.mark.parametrize("whose", ["unknown", "a link"])
def test_what_the_course_did_not_lay_under_an_older_number_is_not_renamed(course, own, tmp_path, whose):
    own.mkdir()
    if whose == "unknown":
        (own / OLDER).write_text("first version")
    else:
        (tmp_path / "elsewhere.ipynb").write_text("first version")
        os.symlink(tmp_path / "elsewhere.ipynb", own / OLDER)
    install_lessons(own, "0.1", course)
    assert (own / OLDER).read_text() == "first version"
    assert (own / OLDER).is_symlink() == (whose == "a link")


def test_a_choice_of_lessons_that_was_kept_by_file_names_holds(course, own):
    (course / "06-trim.ipynb").write_text("x")
    install_lessons(own, "0.1", course, only=NAME)
    kept = json.loads((own / MARK / MANIFEST).read_text())
    (own / MARK / MANIFEST).write_text(json.dumps(kept | {"lessons": [OLDER]}))
    (own / LESSON).unlink()
    install_lessons(own, "0.2", course)
    assert files(own) == sorted([LESSON, "contents.ipynb", "pictures/one.png"])


def test_a_title_cannot_bring_markup_into_the_page():
    odd = Lesson("<script>x</script>", 'a"b.ipynb', tasks=(Task("x", "<script>y</script>", passed=True),))
    page = Contents((odd,), "<b>", (("<script>z</script>", 'c"d.ipynb'),))._repr_html_()
    assert "<script>" not in page
    assert "<b>" not in page
    assert 'a"b' not in page
    assert 'c"d' not in page


def test_a_name_is_kept_with_the_answers_that_are_there(own, monkeypatch):
    install_lessons(own, gl.__version__)
    monkeypatch.chdir(own)
    assert repr(gl.learner()) == "Nobody has said yet who works here."
    assert "progress.json" not in files(own)  # to ask is not to begin
    progress = Progress.here()
    variant = load("recording/leave-room").variant(progress.learner_id)
    progress.record(variant, author_answer(variant), check(variant, author_answer(variant)))
    assert repr(gl.learner("  Ada Novak ")) == "You are Ada Novak."
    after = Progress.here()
    assert (after.learner_name, after.learner_id) == ("Ada Novak", progress.learner_id)
    assert after.passed("recording/leave-room")
    assert gl.learner().name == "Ada Novak"
    gl.learner("Bea")
    assert gl.learner().name == "Bea"


def test_the_name_is_kept_from_a_folder_below_and_refused_on_two_lines(own, monkeypatch):
    install_lessons(own, gl.__version__)
    (own / "takes").mkdir()
    monkeypatch.chdir(own / "takes")
    gl.learner("Ada")
    assert json.loads((own / "progress.json").read_text())["learner"]["name"] == "Ada"
    for wrong in ("two\nlines", "x" * 201, 7):
        with pytest.raises(GainError, match="the name is"):
            gl.learner(wrong)
    assert "<b>" not in gl.learner("<b>").static_html()


def test_a_name_that_is_typed_into_the_field_is_kept_and_a_wrong_one_is_told_beside_it(own, monkeypatch):
    install_lessons(own, gl.__version__)
    monkeypatch.chdir(own)
    field = gl.learner()
    field.take(" Ada Novak ")
    assert (field.name, field.said) == ("Ada Novak", "You are Ada Novak.")
    assert json.loads((own / "progress.json").read_text())["learner"]["name"] == "Ada Novak"
    field.take("x" * 201)
    assert field.name == "Ada Novak"
    assert field.said.startswith("Not kept: the name is")
    assert gl.learner().name == "Ada Novak"


def test_what_is_next_is_the_first_lesson_with_something_left():
    done = Lesson("One", "01-one.ipynb", tasks=(Task("a", "A", True, 2, 2),))
    empty = Lesson("Two", "02-two.ipynb")
    begun = Lesson(
        "Three", "03-three.ipynb", number="03", tasks=(Task("b", "B", True, 2, 2), Task("c", "C", False, 1, 3))
    )
    course = Contents((done, empty, begun))
    assert course.next is begun
    assert (begun.number, begun.state) == ("03", "1 of 2 passed, 3 of 5 points")
    assert course.sentence == "Exercises passed: 2 of 3. Points: 5 of 7."
    assert Contents((done,)).next is None
    assert "Next" not in Contents((done,))._repr_html_()


def test_an_instructor_picks_the_lessons_of_a_term(course, own, monkeypatch):
    for name in ("24-find.ipynb", "06-trim.ipynb"):
        (course / name).write_text("x")
    install_lessons(own, "0.1", course, only=f"{NAME}, 6")
    assert files(own) == sorted([LESSON, "06-trim.ipynb", "contents.ipynb", "pictures/one.png"])
    # The choice holds until another is made, and what is there stays.
    assert "up to date" in install_lessons(own, "0.1", course).text
    install_lessons(own, "0.1", course, only="24")
    assert {LESSON, "24-find.ipynb", "06-trim.ipynb"} <= set(files(own))
    (own / "24-find.ipynb").unlink()
    install_lessons(own, "0.1", course, only="all")
    assert "24-find.ipynb" in files(own)


@pytest.mark.parametrize("wrong", ["99", "x", f"{NUMBER},", "", "-5", f"{NUMBER}-set", "read-meters"])
def test_a_lesson_that_there_is_not_is_told(course, own, wrong):
    with pytest.raises(
        GainError, match=rf"there is no lesson .*; give numbers or names, .*, or all: {NUMBER} {NAME}\."
    ):
        install_lessons(own, "0.1", course, only=wrong)
    assert not (own / "contents.ipynb").exists()


def test_the_contents_list_the_picked_lessons_only(own, monkeypatch):
    install_lessons(own, gl.__version__, only=f"{NAME},1")
    monkeypatch.chdir(own)
    assert [each.number for each in contents().lessons] == ["01", NUMBER]
    assert contents().next in contents().lessons
    install_lessons(own, gl.__version__, only="all")
    numbers = [each.name[:2] for each in sorted(bundled_folder("lessons").glob("[0-9]*.ipynb"))]
    assert [each.number for each in contents().lessons] == numbers


def test_every_lesson_says_how_long_it_takes():
    assert all(15 <= each.minutes <= 60 for each in contents().lessons), contents().lessons


def test_a_lesson_is_meant_by_its_number_its_name_or_its_path(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for given in (NUMBER.lstrip("0"), NUMBER, NAME, f"{NUMBER}-{NAME}", LESSON):
        assert lesson_file(given) == bundled_folder("lessons") / LESSON
    (tmp_path / LESSON).write_text("own")
    assert lesson_file(LESSON) == Path(LESSON)
    for wrong in ("99", "set", f"../lessons/{NUMBER}", ""):
        with pytest.raises(GainError, match=f"there is no notebook {wrong!r}, and no such lesson; give a path"):
            lesson_file(wrong)
