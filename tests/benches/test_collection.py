"""Every exercise of the collection on its bench: what its own inputs give is an answer, and the author's one passes."""

from __future__ import annotations

import json

import pytest

import gainlib as gl
from gainlib.exercises import author_answer, check, exercise_names

WITHOUT_PANEL = {*exercise_names("hear"), *exercise_names("record")}


@pytest.mark.parametrize("name", [name for name in exercise_names() if name not in WITHOUT_PANEL])
def test_the_authors_answer_given_by_the_exercises_own_inputs_passes(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sitting = gl.exercise(name, learner="ada")
    panel = sitting.panel
    before = json.loads(json.dumps(sitting.answer))
    assert not check(sitting.variant, before).passed
    for key, value in author_answer(sitting.variant).items():
        if key in panel.questions:
            panel.questions[key].follow(list(value) if isinstance(value, tuple) else value)
            continue
        control = sitting.bench.controls[key]
        assert control.checked(value) == value
        sitting.bench.move(key, value)
    answer = json.loads(json.dumps(sitting.answer))
    verdict = check(sitting.variant, answer)
    assert verdict.passed, verdict.text
    assert verdict.notes == ()
    sitting.close()
