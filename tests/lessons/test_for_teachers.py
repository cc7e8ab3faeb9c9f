"""The notes for teachers: a section for each lesson in order, and only exercises that are in the collection."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.exercises import exercise_names, load
from gainlib.storage import bundled_folder, lesson_files, lesson_name

LESSONS = bundled_folder("lessons")
NOTES = (LESSONS / "for-teachers.md").read_text(encoding="utf-8")
SECTION = re.compile(r"(?ms)^### \[(.+?)\]\((.+?)\), (\d+) minutes$(.*?)(?=^### |\Z)")
SECTIONS = {found[2]: found for found in SECTION.finditer(NOTES)}


def names_in(text: str) -> set[str]:
    """What is written as the name of an exercise: topic/name in backticks."""
    return set(re.findall(r"`([a-z0-9-]+/[a-z0-9-]+)`", text))


def test_every_lesson_has_its_notes_in_order():
    assert list(SECTIONS) == [path.name for path in lesson_files().values()]
    assert NOTES.count("\n### ") == len(SECTIONS)


@pytest.mark.parametrize("file", SECTIONS)
def test_notes_agree_with_their_lesson(file):
    title, _, minutes, notes = SECTIONS[file].groups()
    cells = json.loads((LESSONS / file).read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells)
    assert title == re.search(r"(?m)^# (.+)$", text)[1]
    assert int(minutes) == int(re.search(r"About (\d+) minutes", text)[1])
    for wanted in ("**Timing**", "**On the projector", "**Homework"):
        assert wanted in notes, f"{file}: {wanted} is missing"
    assert 6 <= notes.count("\n- ") <= 15


@pytest.mark.parametrize("file", SECTIONS)
def test_a_long_lesson_names_a_place_to_pause(file):
    cells = json.loads((LESSONS / file).read_text(encoding="utf-8"))["cells"]
    text = "\n".join("".join(cell["source"]) for cell in cells)
    place = re.search(r"About \d+ minutes[^\n]*; in front of \*\*(.+?)\*\* is a good place to pause\.", text)
    assert bool(place) == (int(SECTIONS[file][3]) >= 45)
    if place:
        before, heading, _ = text.partition(f"\n## {place[1]}\n")
        assert heading
        # What comes first is neither nearly all nor nearly nothing.
        assert 0.3 < len(before) / len(text) < 0.7


@pytest.mark.parametrize("file", SECTIONS)
def test_exercises_that_notes_name_are_of_that_lesson(file):
    named = names_in(SECTIONS[file][4])
    assert named, f"{file}: no exercise is named"
    assert named <= set(exercise_names())
    assert {load(name).lesson for name in named} == {lesson_name(file)}


def test_the_notes_and_the_answers_stay_with_the_teacher(tmp_path):
    from gainlib.learners.course_folder import install_lessons

    laid = {each.name for each in install_lessons(tmp_path / "own", "0").folder.rglob("*")}
    assert not {"for-teachers.md", "predictions.toml"} & laid
