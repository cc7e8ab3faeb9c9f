"""`gainlib try`: a sound file opens as a learner gets it, a faulty one says its faults, and nothing is kept."""

from __future__ import annotations

import json

import pytest

import gainlib as gl
from gainlib.cli import one_cell, trying
from gainlib.exercises import load
from gainlib.learners.enrolment import enrol


@pytest.fixture
def served(monkeypatch, tmp_path):
    """What JupyterLab would have been started with: the notebook's cells, and the words."""
    calls = []

    def serve(folder, say, **given):
        cells = json.loads((folder / given["page"]).read_text(encoding="utf-8"))["cells"]
        calls.append({"folder": folder, "code": cells[-1]["source"], "text": cells[0]["source"], **given})

    monkeypatch.setattr(one_cell, "serve", serve)
    monkeypatch.chdir(tmp_path)
    return calls


def test_help_has_an_example(run):
    status, out, _ = run("try", "--help")
    assert (status, "Example: gainlib try my-exercise.toml --learner Ada" in out) == (0, True)


def test_a_new_file_opens_with_the_numbers_of_that_learner_and_nothing_stays(run, served, tmp_path):
    run("new-exercise", "hot-bass")
    status, out, err = run("try", "hot-bass.toml", "--learner", "O'Neil", "--no-browser", "--port", "4711")
    assert (status, err) == (0, "")
    assert out.startswith("hot-bass.toml as the learner O'Neil gets it, in ")
    (call,) = served
    assert (call["port"], call["browser"], call["what"]) == (4711, False, "The exercise")
    assert not call["folder"].exists()
    shown = {}
    exec(compile(call["code"].replace("gl.exercise", "sitting = gl.exercise"), "cell", "exec"), shown)
    assert shown["sitting"].variant.values == gl.exercise("hot-bass.toml", learner="O'Neil").variant.values
    assert shown["sitting"].check().passed is False
    assert sorted(each.name for each in tmp_path.iterdir()) == ["hot-bass.toml"]


def test_a_given_folder_keeps_the_notebook(run, served, tmp_path):
    status, _, _ = run("try", "recording/leave-room", "--folder", "look")
    assert (status, [each.name for each in (tmp_path / "look").iterdir()]) == (0, [trying.NOTEBOOK])
    assert served[0]["code"].endswith("gl.exercise('recording/leave-room', learner='Ada')")


def test_faults_are_said_as_by_prove_and_nothing_is_opened(run, served, tmp_path):
    run("new-exercise", "one")
    file = tmp_path / "one.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("points   = 2", "pionts   = 2", 1), encoding="utf-8")
    tried, proven = run("try", "one.toml"), run("prove", "one.toml")
    assert tried == proven
    assert (tried[0], "did you mean points?" in " ".join(tried[1].split())) == (1, True)
    assert served == []


def test_a_take_that_cannot_be_read_is_a_fault_of_the_file(run, served, tmp_path):
    run("new-exercise", "one")
    file = tmp_path / "one.toml"
    (tmp_path / "noise.flac").write_bytes(b"no sound")
    lines = [
        'given.take   = "noise.flac"' if each.startswith("given.take") else each
        for each in file.read_text().splitlines()
    ]
    file.write_text("\n".join(lines), encoding="utf-8")
    status, out, _ = run("try", "one.toml")
    assert (status, "noise.flac" in out, served) == (1, True, [])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["none.toml"], "none.toml"),
        (["recording/leave-rom"], "did you mean recording/leave-room"),
        (["recording/leave-room", "--learner", "a\nb"], "--learner is"),
        (["recording/leave-room", "--folder", "in-the-way"], "in-the-way cannot be made"),
    ],
)
def test_what_cannot_be_opened_is_one_sentence_and_2(run, served, tmp_path, arguments, said):
    (tmp_path / "in-the-way").write_text("x")
    status, out, err = run("try", *arguments)
    assert (status, out, err.count("\n"), served) == (2, "", 1, [])
    assert said in err


@pytest.fixture
def group(run, tmp_path, monkeypatch):
    """A class of two with an exercise of the teacher's own; gives the folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "list.csv").write_text("id,name\na-17,Ada Berg\na-18,Eva Horvat\n", encoding="utf-8")
    run("new-exercise", "mine/hot-bass")
    status, _, err = run("new-class", "group-a", "--roster", "list.csv", "--exercise", "mine/hot-bass.toml")
    assert (status, err) == (0, "")
    return tmp_path


def test_a_learner_of_a_class_is_shown_with_the_numbers_that_they_have(run, served, group):
    status, out, err = run("try", "mine/hot-bass.toml", "--class", "group-a.toml", "--learner", "a-18")
    assert (status, err, out.startswith("mine/hot-bass.toml as the learner a-18 gets it")) == (0, "", True)
    (call,) = served
    assert "the learner a-18 of group-a.toml gets" in call["text"]
    shown = {}
    exec(compile(call["code"].replace("gl.exercise", "sitting = gl.exercise"), "cell", "exec"), shown)
    # What the learner's own computer draws from their own file, which lies beside.
    own = next((group / "group-a-own-files").glob("*a-18.gainclass"))
    theirs = enrol(group / "home", own).variant(load(group / "mine" / "hot-bass.toml"))
    assert shown["sitting"].variant.values == theirs.values


def test_a_learner_who_is_not_in_the_class_is_told_before_anything_opens(run, served, group):
    arguments = ["try", "mine/hot-bass.toml", "--class", "group-a.toml", "--learner"]
    assert run(*arguments, "Eva Horvat")[::2] == (2, "gainlib: 'Eva Horvat' is no id of group-a; did you mean a-18?\n")
    assert run(*arguments, "a-19")[::2] == (2, "gainlib: 'a-19' is no id of group-a; did you mean a-18?\n")
    assert served == []
