"""Broken and hostile hand-ins: each is listed with a sentence and gets no mark, and every good one is marked."""

from __future__ import annotations

import copy
import csv
import importlib
import json
import os
import re
import stat
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gainlib.classroom import marks
from gainlib.classroom.intake import walk_folder
from gainlib.classroom.start_files import write_start_files
from gainlib.errors import GainError
from gainlib.exercises import author_answer
from gainlib.learners.hand_in_file import read_hand_in

from .conftest import EXERCISE, GAIN, TRIM, SmallClass, text_of


def changed(content, **answer):
    """The hand-in with entries of its first answer changed."""
    content = copy.deepcopy(content)
    content["answers"][0].update(answer)
    return content


BROKEN = {
    "truncated": (lambda good: json.dumps(good)[:-40], "cut off or not JSON"),
    "empty": (lambda good: "", "it is empty"),
    "not json": (lambda good: "Dear teacher, my dog ate it.", "cut off or not JSON"),
    "not utf-8": (lambda good: b'{"schema": "\xff\xfe"}', "not UTF-8 text"),
    "huge": (lambda good: json.dumps(good | {"more": "x" * 600_000}), "larger than 512 kB"),
    "nested": (lambda good: "[" * 100_000 + "]" * 100_000, "nested too deep"),
    "nan": (lambda good: json.dumps(changed(good, answer={GAIN: float("nan"), TRIM: 0})), "holds NaN"),
    "infinite": (lambda good: json.dumps(changed(good, answer={GAIN: float("-inf"), TRIM: 0})), "holds -Infinity"),
    "beyond": (
        lambda good: json.dumps(good).replace('"version": 1', '"version": 1e999'),
        "beyond all bounds: 1e999",
    ),
    "long number": (lambda good: json.dumps(good).replace('"attempts": 2', '"attempts": ' + "9" * 6000), "beyond all"),
    "a list": (lambda good: json.dumps([good]), "JSON, but not a hand-in"),
    "another file": (lambda good: json.dumps({"schema": "gainlib progress"}), "JSON, but not a hand-in"),
    "newer": (lambda good: json.dumps(good | {"version": 2}), "newer gainlib"),
    "wrong type": (lambda good: json.dumps(changed(good, hints_used="none")), "hints_used of answer 1 is 'none'"),
    "entry missing": (lambda good: json.dumps(good | {"learner": {"id": "a-02"}}), "name of learner is missing"),
    "entry too much": (lambda good: json.dumps(good | {"score": 100}), "there is no entry score"),
    "nested answer": (lambda good: json.dumps(changed(good, answer={GAIN: {"$": 1}})), "which answers nothing"),
    "twice": (lambda good: json.dumps(good).replace('"version": 1', '"version": 1, "version": 1'), "there twice"),
    "no time": (lambda good: json.dumps(good | {"made": "yesterday"}), "made is 'yesterday'"),
    "after the calendar": (
        lambda good: json.dumps(good | {"made": "9999-12-31T23:59:59-14:00"}),
        "a time with its zone",
    ),
    "before the calendar": (
        lambda good: json.dumps(good | {"made": "0001-01-01T00:00:00+14:00"}),
        "time with its zone",
    ),
    "no zone": (lambda good: json.dumps(good | {"made": "2026-01-15T12:00:00"}), "time with its zone"),
    "stranger": (lambda good: json.dumps(good | {"learner": {"id": "x-99", "name": "X"}}), "not on the roster"),
    "other class": (lambda good: json.dumps(good | {"class": {"title": "B", "tag": "0" * 16}}), "for another class"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_hand_in_is_listed_and_the_good_one_beside_it_is_marked(group, kind):
    made, said = BROKEN[kind]
    group.put("good.json", group.content("a-01"))
    group.put("bad.json", made(group.content("a-02")))
    lines, without = group.marked()
    assert said in without.pop("bad.json")
    assert without == {}
    assert (lines["a-01"].total, lines["a-02"].total) == (5.0, 0.0)
    assert lines["a-02"].file is None


STEPS = {
    "reading": ("gainlib.classroom.marks.read_hand_in", "bad.json"),
    "unpacking": ("gainlib.classroom.intake._archived", "bad.zip"),
    "marking": ("gainlib.classroom.marking.check", f"bad.json, {EXERCISE}"),
    "the line": ("gainlib.classroom.marks.Marks._exercise", "the marks of a-02"),
    "comparing": ("gainlib.classroom.similarity._word", f"{EXERCISE} of a-02, compared with the others"),
    "the page": ("gainlib.classroom.feedback.told_answer", "feedback/for-a-02.html"),
}


@pytest.mark.parametrize("step", STEPS)
def test_a_fault_of_our_own_is_told_as_ours_with_its_place_and_stops_nobody_else(group, run, step, monkeypatch):
    """Each step of a marking fails on what only a-02 handed in, as a fault in gainlib would make it."""
    name, place = STEPS[step]
    marked = 41.5
    group.put("good.json", group.content("a-01"))
    group.put("bad.json", group.content("a-02", answer={GAIN: marked, TRIM: 0}))
    with zipfile.ZipFile(group.folder / "bad.zip", "w") as archive:
        archive.writestr("third.json", json.dumps(group.content("a-03")))
    module, _, function = name.rpartition(".")
    home = importlib.import_module(module) if not module.endswith("Marks") else marks.Marks
    before = getattr(home, function)

    def failing(*given):
        if "41.5" in repr(given) or "bad.zip" in repr(given):
            raise OverflowError("date value\nout of range")
        return before(*given)

    monkeypatch.setattr(home, function, failing)
    status, _, _ = run(
        "mark", group.folder, "--class", group.file, "--feedback", "light" if step == "the page" else "none"
    )
    assert status == 1
    out = group.file.with_name("marks-of-group-a")
    with (out / "not-marked.csv").open(encoding="utf-8-sig", newline="") as file:
        without = dict(list(csv.reader(file))[1:])
    said = without.pop(place)
    assert without == {}
    assert said.startswith("gainlib itself failed on it (OverflowError")
    assert said.endswith(
        "date value out of range); that is gainlib's fault and not the learner's, please report it with the file."
    )
    assert re.search(r" at classroom/[a-z]+\.py:[0-9]+: ", said)
    with (out / "marks.csv").open(encoding="utf-8-sig", newline="") as file:
        totals = {each["id"]: each["total"] for each in csv.DictReader(file)}
    assert totals["a-01"] == "5.0"
    assert step != "the page" or (out / "feedback" / "for-a-01.html").exists()
    assert (out / "report.html").exists()


def test_what_is_too_large_is_not_even_parsed():
    with pytest.raises(GainError, match="larger than 512 kB"):
        read_hand_in(b"[" * 600_000)


def test_another_version_of_the_exercise_gets_no_mark_unless_it_is_allowed(group):
    group.put("a.json", changed(group.content("a-01"), exercise_digest="0" * 16))
    lines, without = group.marked()
    assert lines["a-01"].total == 0
    assert "another version of the exercise" in without[f"a.json, {EXERCISE}"]
    lines, without = group.marked(any_version=True)
    assert (lines["a-01"].total, without) == (5.0, {})


def test_a_class_file_lets_the_present_version_mark_answers_to_one_exercise(group, run):
    group.put("a.json", changed(group.content("a-01"), exercise_digest="0" * 16))
    status, said, _ = run("mark", group.folder, "--class", group.file, "--feedback", "none")
    assert (status, "Of that 1 answer to an exercise that you changed since" in said) == (1, True)
    text = group.file.read_text(encoding="utf-8")
    group.file.write_text(text.replace("points = 5 }", "points = 5, any_version = true }"), encoding="utf-8")
    status, said, _ = run("mark", group.folder, "--class", group.file, "--feedback", "none")
    assert (status, "Of that" in said) == (0, False)
    write_start_files(group.file)
    assert "any_version" not in text_of(group.for_all)  # it is nothing that a learner's computer need know


def test_someone_elses_numbers_get_no_mark_though_the_answer_is_right_for_them(group):
    other = group.variant("a-02")
    assert other.values != group.variant("a-01").values
    group.put("a.json", changed(group.content("a-01"), values=other.values, answer=author_answer(other)))
    lines, without = group.marked()
    assert lines["a-01"].total == 0
    assert without == {f"a.json, {EXERCISE}": "it answers other numbers than this learner's own."}


def test_an_answer_right_for_someone_else_does_not_pass_under_ones_own_numbers(group):
    group.put("a.json", changed(group.content("a-01"), answer=author_answer(group.variant("a-02"))))
    lines, _ = group.marked()
    assert not lines["a-01"].exercises[0].passed


def test_a_claimed_score_is_no_entry_of_a_hand_in(group):
    group.put("a.json", changed(group.content("a-01", answer={GAIN: 0, TRIM: 0}), points=5.0))
    lines, without = group.marked()
    assert (lines["a-01"].total, "no entry points" in without["a.json"]) == (0.0, True)


def test_nothing_handed_in_is_executed(group, tmp_path):
    told = f"__import__('pathlib').Path({str(tmp_path / 'run')!r}).touch()"
    for index, text in enumerate((told, f"!!python/object/apply:eval [{told!r}]", f"{{{{{told}}}}}", "$(touch run)")):
        content = changed(group.content("a-01"), answer={GAIN: text, TRIM: text}, time=text, exercise_digest=text)
        group.put(f"{index}.json", content | {"made": f"2026-01-15T12:00:0{index}Z"})
    lines, without = group.marked(any_version=True)
    assert lines["a-01"].total == 0
    assert not (tmp_path / "run").exists()
    assert len(without) == 3


def test_of_several_hand_ins_the_latest_counts_whatever_its_name_or_place(group):
    wrong = group.content("a-01", answer={GAIN: 0, TRIM: 0})
    group.put("z/early.json", wrong | {"made": "2026-01-14T23:00:00+02:00"})
    group.put("a.json", group.content("a-01") | {"made": "2026-01-14T22:00:00Z"})
    group.put("b/earliest.json", wrong | {"made": "2026-01-14T21:30:00Z"})
    lines, without = group.marked()
    assert lines["a-01"].file.place == "a.json"
    assert lines["a-01"].total == 5.0
    assert sorted(without) == ["b/earliest.json", "z/early.json"]
    assert without["z/early.json"] == "an earlier hand-in of a-01; the latest counts."


def test_two_people_under_one_id_are_told(group):
    group.put("a.json", group.content("a-01", learner={"id": "a-01", "name": "Ada Quill"}))
    group.put("b.json", group.content("a-01", learner={"id": "a-01", "name": "Zed"}, made="2026-01-15T12:00:01Z"))
    lines, _ = group.marked()
    assert lines["a-01"].remarks == ("The hand-in carries the name 'Zed'.",)


def test_what_is_no_plain_file_is_listed_and_nothing_is_followed(group, tmp_path):
    outside = tmp_path / "outside.json"
    outside.write_text(json.dumps(group.content("a-01")))
    (group.folder / "link.json").symlink_to(outside)
    (group.folder / "folder").symlink_to(tmp_path)
    group.put("note.txt", "hello")
    group.put(".DS_Store", "x")
    if hasattr(os, "mkfifo"):
        os.mkfifo(group.folder / "pipe.json")  # reading one would wait for ever
    lines, without = group.marked()
    assert "links are not followed" in without.pop("link.json")
    assert "links are not followed" in without.pop("folder")
    assert "no hand-in" in without.pop("note.txt")
    assert without.pop("pipe.json", "it is no plain file.") == "it is no plain file."
    assert (without, lines["a-01"].file) == ({}, None)


def test_an_archive_is_read_where_it_is_and_paths_out_of_it_are_refused(group):
    good = json.dumps(group.content("a-01"))
    with zipfile.ZipFile(group.folder / "all.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("Quill/hand-in.json", good)
        for evil in ("../../evil.json", "/etc/evil.json", "..\\evil.json", "C:\\evil.json"):
            archive.writestr(evil, json.dumps(group.content("a-02")))
        archive.writestr("bomb.json", b" " * 50_000_000)
        archive.writestr("inner.zip", b"PK")
        link = zipfile.ZipInfo("link.json")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
    group.put("broken.zip", (group.folder / "all.zip").read_bytes()[:-30])
    lines, without = group.marked()
    assert lines["a-01"].file.place == "all.zip: Quill/hand-in.json"
    assert (lines["a-01"].total, lines["a-02"].file) == (5.0, None)
    assert sum("leads out of the archive" in each for each in without.values()) == 4
    assert "larger than" in without["all.zip: bomb.json"]
    assert "archive in an archive" in without["all.zip: inner.zip"]
    assert "it is a link" in without["all.zip: link.json"]
    assert "damaged archive" in without["broken.zip"]
    assert len(without) == 8
    assert not list(group.home.rglob("*evil*"))


def test_an_archive_of_more_files_than_any_class_has_is_one_row(group):
    with zipfile.ZipFile(group.folder / "many.zip", "w") as archive:
        for index in range(20_001):
            archive.writestr(zipfile.ZipInfo(str(index)), b"")
    group.put("good.json", group.content("a-01"))
    lines, without = group.marked()
    assert lines["a-01"].total == 5.0
    assert list(without) == ["many.zip"]
    assert without["many.zip"].startswith(
        "it is an archive of 20001 files, and more than 20000 are not read; unpack it"
    )


CUT_OFF = {
    "by what is left of it": ("x.json", lambda good: json.dumps(good)[:-40]),
    "by what is left of it, in another code": ("x.json", lambda good: json.dumps(good)[:-40].encode() + b"\xff"),
    "by the name of a hand-in": ("quill_77_hand-in a-02 20260115-120000-000 (1).json", lambda good: ""),
    "by its folder": ("Bo Marsh/mine.json", lambda good: b"\x00" * 4000),
    "by its name": ("A-02.json", lambda good: "{"),
}


@pytest.mark.parametrize("kind", CUT_OFF)
def test_a_learner_whose_file_cannot_be_read_did_hand_in(group, run, kind):
    name, made = CUT_OFF[kind]
    group.put("good.json", group.content("a-01"))
    group.put(name, made(group.content("a-02")))
    status, out, _ = run("mark", group.folder, "--class", group.file, "--feedback", "none")
    assert status == 1
    assert "1 of 3 learners handed in" in out
    assert "From 1 more learner only files came that cannot be read or marked." in out
    report = (group.home / "marks-of-group-a" / "report.html").read_text(encoding="utf-8")
    assert "<p>Handed in, cannot be read or marked: Bo Marsh." in report
    assert "<p>Nothing from: Cy Fenn.</p>" in report
    rows = (group.home / "marks-of-group-a" / "marks.csv").read_text(encoding="utf-8-sig").splitlines()
    assert f"Handed in, cannot be read or marked. {name}: it is" in rows[2]


def test_thousands_of_files_and_odd_names_are_gone_through(group):
    for index in range(1500):
        (group.folder / f"{index:04d}.json").write_bytes(b"{")
    odd = "line\nend.json"
    (group.folder / odd).write_bytes(b"{")
    found = list(walk_folder(group.folder))
    assert len(found) == 1501
    assert [each.place for each in found] == sorted(each.place for each in found)
    assert found[-1].place == r"line\nend.json"


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path):
    with pytest.raises(GainError, match="not a folder; give the folder with the hand-ins"):
        list(walk_folder(tmp_path / "no"))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
ENTRIES = ("schema", "version", "class", "learner", "course", "made", "answers")
OF_ANSWER = ("exercise", "exercise_digest", "values", "answer", "hints_used", "attempts", "time")


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=200) | JSON.map(lambda each: json.dumps(each).encode()))
def test_whatever_bytes_arrive_reading_gives_a_hand_in_or_one_sentence(content):
    try:
        read_hand_in(content)
        said = "It is a hand-in."
    except GainError as fault:
        said = str(fault)
    assert said.endswith(".")
    assert "\n" not in said


@pytest.fixture(scope="module")
def fuzzed(tmp_path_factory):
    return SmallClass(tmp_path_factory.mktemp("fuzzed"))


@settings(max_examples=40)
@given(data=st.data())
def test_a_hand_in_with_anything_in_any_entry_is_marked_or_listed_and_its_neighbour_marked(fuzzed, data):
    content = fuzzed.content("a-02")
    if data.draw(st.booleans()):
        content[data.draw(st.sampled_from(ENTRIES))] = data.draw(JSON)
    else:
        content["answers"][0][data.draw(st.sampled_from(OF_ANSWER))] = data.draw(JSON)
    fuzzed.put("good.json", fuzzed.content("a-01"))
    fuzzed.put("odd.json", content)
    lines, without = fuzzed.marked()
    assert lines["a-01"].total == 5.0
    assert 0 <= lines["a-02"].total <= 5.0
    odd = [place for place in without if place.startswith("odd.json")]
    assert bool(odd) or lines["a-02"].file is not None


def test_an_earlier_hand_in_is_listed_and_not_counted_as_something_without_a_mark(group, run):
    group.put("early.json", group.content("a-01", made="2026-01-14T12:00:00Z"))
    group.put("late.json", group.content("a-01"))
    group.put("letter.json", "Dear teacher")
    run("mark", group.folder, "--class", group.file, "--feedback", "none")
    report = (group.home / "marks-of-group-a" / "report.html").read_text(encoding="utf-8")
    assert "files and answers without a mark<b>1</b>" in report
    assert "an earlier hand-in of a-01; the latest counts." in report
