"""The button in a notebook: it hands in when pressed and not before, and says why where it cannot."""

from __future__ import annotations

import pytest

import gainlib as gl
from gainlib.exercises import author_answer, check, load
from gainlib.learners.enrolment import enrol, own_variant
from gainlib.learners.progress import Progress

from .conftest import EXERCISE


@pytest.fixture
def button(group, tmp_path, monkeypatch):
    folder = tmp_path / "course"
    folder.mkdir()
    enrol(folder, group.for_all, "a-02")
    monkeypatch.chdir(folder)
    made = gl.hand_in()
    yield made
    made.close()


def test_it_says_whose_it_is_and_writes_nothing_by_itself(button, tmp_path):
    assert button.may
    assert button.who == "You are Bo Marsh (a-02) in Group A."
    assert not (tmp_path / "course" / "hand-ins").exists()


def test_pressed_it_hands_in_and_says_so(button, tmp_path):
    button._asked(button, {"kind": "hand in"}, [])
    assert button.said == ["Not handed in: there is no answer to hand in yet; check one exercise of your class first."]
    progress = Progress.here()
    variant = own_variant(load(EXERCISE), progress)
    progress.record(variant, author_answer(variant), check(variant, author_answer(variant)))
    button._asked(button, {"kind": "hand in"}, [])
    (file,) = (tmp_path / "course" / "hand-ins").iterdir()
    assert file.name in button.said[0]
    assert button.done == 2


def test_without_a_class_there_is_no_button_but_the_way_to_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = gl.hand_in()
    assert not made.may
    assert "in no class" in made.who
    made.close()


def test_a_guest_of_the_hub_is_told_why(group, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("GAINLIB_CLASS", str(group.for_all))
    monkeypatch.setenv("JUPYTERHUB_USER", "guest")
    made = gl.hand_in()
    assert (made.may, made.who) == (
        False, "You cannot hand in: you signed in as 'guest', who is not in Group A; ask your teacher.",
    )  # fmt: skip
    made.close()
