"""Handing in: what goes into the file, what is kept, and what a learner is told who cannot."""

from __future__ import annotations

import json
import os
from concurrent.futures import ThreadPoolExecutor

import pytest

from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, load
from gainlib.learners.enrolment import enrol, enrolled, own_variant
from gainlib.learners.hand_in_file import read_hand_in
from gainlib.learners.naming import plain_name
from gainlib.learners.progress import Progress
from gainlib.learners.submission import hand_in

from .conftest import EXERCISE, GAIN, rewrite, text_of


@pytest.fixture
def learner(group, tmp_path):
    """A learner's folder, in the class as a-02."""
    folder = tmp_path / "course"
    folder.mkdir()
    enrol(folder, group.for_all, "a-02")
    Progress.at(folder, name="Bo Marsh")
    return folder


def attempt(folder, gain_off=0.0, hints_used=0, variant=None):
    """Check an answer that is so many decibels beside the author's own, as a sitting does."""
    progress = Progress.at(folder)
    variant = variant or own_variant(load(EXERCISE), progress)
    answer = author_answer(variant)
    answer[GAIN] += gain_off
    return progress.record(variant, answer, check(variant, answer, hints_used), hints_used)


def handed(folder):
    done = hand_in(folder)
    return json.loads(done.file.read_text(encoding="utf-8")), done


def test_who_hands_in_four_times_at_once_has_one_hand_in(learner):
    attempt(learner)
    with ThreadPoolExecutor(4) as threads:
        files = set(threads.map(lambda _: hand_in(learner).file, range(4)))
    assert set((learner / "hand-ins").iterdir()) == files
    assert len(files) == 1


def test_the_numbers_are_those_of_the_class_and_not_those_of_the_folder(group, learner):
    values = own_variant(load(EXERCISE), Progress.at(learner)).values
    assert values == load(EXERCISE).variant("a-02", group.class_file.key_of("a-02")).values
    assert values == group.variant("a-02").values


def test_an_exercise_that_is_not_of_the_class_keeps_the_folders_own_numbers(group, learner):
    rewrite(group.for_all, (EXERCISE, "recording/other"), ("made    = ", "made    = 2099-01-01T00:00:00Z # "))
    enrol(learner, group.for_all, "a-02")
    progress = Progress.at(learner)
    assert own_variant(load(EXERCISE), progress).values == load(EXERCISE).variant(progress.learner_id).values


ODD_FOLDERS = [b"two\nlines", b"quote\"'\x1b", b"\xff odd % 20", "Zo\u00eb\u2028\x85".encode(), b"plain"]


@pytest.mark.parametrize("name", ODD_FOLDERS)
def test_the_class_file_may_lie_in_a_folder_of_any_name(group, tmp_path, name):
    home = tmp_path / os.fsdecode(name)
    home.mkdir()
    (home / "class.gainclass").write_bytes(group.for_all.read_bytes())
    enrol(tmp_path / "course", home / "class.gainclass", "a-02")
    here = enrolled(tmp_path / "course")
    assert (here.learner_id, here.source) == ("a-02", home / "class.gainclass")


def test_a_folder_that_entered_its_class_with_gainlib_0_1_is_still_in_it_and_may_open_the_start_file(group, learner):
    mark = learner / ".gainlib"
    (mark / "class.json").unlink()
    (mark / "class.toml").write_text(f"# from {group.home}/group-a-for-learners.toml\n{text_of(group.for_all)}")
    (mark / "learner-id.txt").write_text("a-02\n")
    values = enrolled(learner).variant(load(EXERCISE)).values
    assert values == group.variant("a-02").values
    enrol(learner, group.for_all, "a-02")
    assert enrolled(learner).variant(load(EXERCISE)).values == values
    assert sorted(each.name for each in mark.glob("*.t*")) == []


def test_it_holds_the_best_answer_and_no_points(group, learner):
    attempt(learner, gain_off=8.0)
    attempt(learner)
    attempt(learner, gain_off=-8.0)
    content, done = handed(learner)
    own = group.variant("a-02")
    (answer,) = content["answers"]
    assert answer["answer"] == author_answer(own)
    assert (answer["values"], answer["attempts"]) == (own.values, 3)
    assert content["learner"] == {"id": "a-02", "name": "Bo Marsh"}
    assert "points" not in json.dumps(content)
    assert group.class_file.key not in json.dumps(content)
    assert "no points" in done.text
    assert "Give this file to your teacher" in done.text  # the class collects them nowhere
    read_hand_in(done.file.read_bytes())


def test_what_it_writes_is_what_the_marking_takes(group, learner):
    attempt(learner)
    hand_in(learner, to=group.folder)
    lines, without = group.marked()
    assert (lines["a-02"].total, without) == (5.0, {})


def test_hints_taken_before_the_best_attempt_count_and_later_ones_do_not(learner):
    attempt(learner, gain_off=8.0, hints_used=2)
    attempt(learner, hints_used=0)
    attempt(learner, hints_used=3)
    content, _ = handed(learner)
    assert content["answers"][0]["hints_used"] == 2


def test_an_attempt_at_other_numbers_is_no_answer_to_hand_in(learner):
    attempt(learner, variant=load(EXERCISE).variant("someone"))
    with pytest.raises(GainError, match="no answer to hand in yet"):
        hand_in(learner)
    assert not (learner / "hand-ins").exists()


def test_every_earlier_hand_in_is_kept_and_nothing_is_written_without_a_change(learner):
    attempt(learner, gain_off=8.0)
    first = hand_in(learner).file
    before = first.read_bytes()
    again = hand_in(learner)
    assert again.file == first
    assert "Nothing changed" in again.text
    attempt(learner)
    second = hand_in(learner).file
    assert second != first
    assert first.read_bytes() == before
    assert sorted(learner.glob("hand-ins/*")) == sorted([first, second])


def test_a_failed_write_leaves_nothing_behind(learner, monkeypatch):
    attempt(learner)

    def full(*given):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gainlib.storage.atomic.os.replace", full)
    with pytest.raises(GainError, match="no space left on device.*nothing is handed in"):
        hand_in(learner)
    assert list((learner / "hand-ins").iterdir()) == []


def test_a_collecting_folder_that_is_gone_is_told_with_the_file_to_hand_in(learner, tmp_path):
    attempt(learner)
    with pytest.raises(GainError, match=r"not a folder that can be reached; your hand-in is .*hand-in a-02"):
        hand_in(learner, to=tmp_path / "gone")


def test_in_no_class_there_is_nobody_to_hand_in_to(tmp_path):
    with pytest.raises(GainError, match="belongs to no class.*gainlib open FILE"):
        hand_in(tmp_path)


def test_a_mistyped_id_is_noticed_and_nothing_is_kept(group, tmp_path):
    with pytest.raises(GainError, match="'a-20', which is no id of Group A"):
        enrol(tmp_path, group.for_all, "a-20")
    assert enrolled(tmp_path) is None


def test_the_teachers_file_is_not_laid_into_a_learners_folder(group, tmp_path):
    with pytest.raises(GainError, match="is the teacher's file"):
        enrol(tmp_path, group.file, "a-01")


def test_under_a_hub_the_learner_is_who_signed_in(group, tmp_path, monkeypatch):
    monkeypatch.setenv("GAINLIB_CLASS", str(group.for_all))
    monkeypatch.setenv("JUPYTERHUB_USER", "a-03")
    attempt(tmp_path)
    content, _ = handed(tmp_path)
    assert content["learner"] == {"id": "a-03", "name": "Cy Fenn"}
    assert content["answers"][0]["values"] == group.variant("a-03").values
    monkeypatch.setenv("JUPYTERHUB_USER", "guest")
    with pytest.raises(GainError, match="signed in as 'guest', who is not in Group A"):
        hand_in(tmp_path)


def test_an_exercise_of_ones_own_is_found_beside_the_class_file(tmp_path, tmp_path_factory):
    from gainlib.classroom import new_class

    (tmp_path / "levels").mkdir()
    text = load(EXERCISE).file.read_text(encoding="utf-8")
    (tmp_path / "levels" / "own.toml").write_text(text, encoding="utf-8")
    _, for_all = new_class(tmp_path / "own-class", exercises=[str(tmp_path / "levels" / "own.toml")])
    folder = tmp_path_factory.mktemp("course")
    enrol(folder, for_all, "zoe")
    exercise = load(tmp_path / "levels" / "own.toml")
    attempt(folder, variant=own_variant(exercise, Progress.at(folder)))
    content, _ = handed(folder)
    assert content["answers"][0]["exercise"] == "levels/own"


@pytest.mark.parametrize("odd", ["../../x", "a/b", "..", "", "con:", "a\\b", "é" * 100])
def test_no_id_makes_a_file_name_that_leads_anywhere(odd, tmp_path):
    name = plain_name(odd)
    assert (tmp_path / f"hand-in {name}.json").resolve().parent == tmp_path.resolve()
    assert not set(name) & set('/\\:*?"<>|')


def test_what_is_sat_in_a_notebook_is_what_is_handed_in(group, learner, monkeypatch):
    import gainlib as gl

    monkeypatch.chdir(learner)
    sitting = gl.exercise(EXERCISE)
    assert sitting.variant.values == group.variant("a-02").values
    for path, value in author_answer(sitting.variant).items():
        sitting.bench.move(path, value)
    sitting.check()
    sitting.close()
    content, _ = handed(learner)
    assert content["answers"][0]["answer"] == author_answer(sitting.variant)
