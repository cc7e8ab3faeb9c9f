"""The collection, proven in its fastest form: the first variant and few answers of each; and what it holds together.

`gainlib prove` looks at up to 200 variants of each, and at as many answers as its budget allows.
"""

from __future__ import annotations

import pytest

from gainlib.authoring import evidence
from gainlib.authoring.verification import verify
from gainlib.exercises import author_answer, collection, exercise_names, load
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.storage import bundled_folder

VARIANTS = 1
LEAST_EXERCISES = 45


@pytest.mark.parametrize("name", exercise_names())
def test_an_exercise_is_proven(name, monkeypatch):
    monkeypatch.setattr(evidence, "BUDGET_MS", 100.0)
    monkeypatch.setattr(evidence, "LEAST_LOOKS", 8)
    proof = verify(name, variants=VARIANTS)
    assert proof.sound, [each.text for each in proof.faults]
    assert proof.all_variants > 1 or load(name).kind in ("hear", "record"), "every learner would get the same numbers"


def test_the_collection_is_large_enough():
    assert len(exercise_names()) >= LEAST_EXERCISES


def test_what_a_list_shows_of_an_exercise_follows_its_file(monkeypatch, tmp_path):
    name, file = "recording/leave-room", tmp_path / "recording" / "leave-room.toml"
    text = (bundled_folder("exercises") / "recording" / "leave-room.toml").read_text(encoding="utf-8")
    file.parent.mkdir()
    monkeypatch.setattr(collection, "bundled_folder", lambda _: tmp_path)
    for points in (2, 4):
        changed = text.replace("points   = 2", f"points   = {points}", 1)
        assert points == 2 or changed != text
        file.write_text(changed, encoding="utf-8")
        exercise = load(name)
        assert collection.entry(name) == (
            name, exercise.title, exercise.lesson, exercise.level, 3.0 + points
        )  # fmt: skip


def test_every_kind_is_used():
    assert {load(name).kind for name in exercise_names()} == set(EXERCISE_KINDS)


def test_every_learner_can_be_drawn_a_variant():
    for name in exercise_names():
        variant = load(name).variant("ada", "lantern")
        assert variant.brief
        assert "{" not in variant.brief, "a word in braces was left over"


def test_each_authors_answer_lies_on_the_steps_of_its_controls():
    away = []
    for name in exercise_names():
        variant = load(name).variant("ada")
        answer = author_answer(variant)
        for move in variant.controls:
            if not move.options and not move.points and move.path in answer:
                steps = (answer[move.path] - move.low) / move.step
                away += [(name, move.path, answer[move.path], move.step)] if abs(steps - round(steps)) > 1e-6 else []
    assert away == []
