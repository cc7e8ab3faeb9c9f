"""The learner's record: made once, found from anywhere in the course, never lost, and never in the way."""

from __future__ import annotations

import errno
import json
import math
import os
import re
import runpy
import secrets
import time
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from gainlib.errors import GainError
from gainlib.exercises import check, load
from gainlib.learners.course_folder import MANIFEST, MARK, course_folder
from gainlib.learners.progress import ATTEMPTS, FILE, LOCK, Progress
from gainlib.storage import append_line, held_alone

BENCH = runpy.run_path(str(Path(__file__).parents[1] / "benchmarks" / "bench_progress.py"))
GAIN, TRIM = "voice/preamp/gain_db", "voice/trim/gain_db"


@pytest.fixture(scope="module")
def variant(stand_in):
    return load(stand_in / "leave-room.toml").with_values({"level": -24.0})


def record(progress, variant, answer, hints_used=0):
    return progress.record(variant, answer, check(variant, answer, hints_used), hints_used)


def kept(folder):
    return json.loads((folder / FILE).read_text(encoding="utf-8"))


def attempts(folder):
    return [json.loads(line) for line in (folder / ATTEMPTS).read_text(encoding="utf-8").splitlines()]


@pytest.fixture
def read_only(monkeypatch):
    """Make every new file fail, as in a read-only folder; tests may run as root, whom a real one does not stop."""

    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    def make():
        monkeypatch.setattr("gainlib.storage.atomic.os.open", forbid)

    return make


def test_a_folder_s_name_that_no_folder_can_have_is_one_sentence():
    with pytest.raises(GainError, match=r"^a\\x00b can be no file's name"):
        Progress.at("a\0b")


def test_the_id_is_made_once_and_is_random(tmp_path):
    (tmp_path / "other").mkdir()
    first, again, other = Progress.at(tmp_path), Progress.at(tmp_path), Progress.at(tmp_path / "other")
    assert re.fullmatch("[0-9a-f]{32}", first.learner_id)
    assert first.learner_id == again.learner_id != other.learner_id


def test_the_file_is_that_of_the_course_the_current_folder_lies_in(tmp_path, monkeypatch):
    (tmp_path / MARK).mkdir()
    (tmp_path / MARK / MANIFEST).write_text("{}")
    deep = tmp_path / "own" / "takes"
    deep.mkdir(parents=True)
    monkeypatch.chdir(deep)
    assert course_folder() == tmp_path.resolve()
    assert Progress.here().file == tmp_path.resolve() / FILE


def test_without_a_course_the_file_is_in_the_current_folder(tmp_path, monkeypatch):
    inside = tmp_path / "inside"
    inside.mkdir()
    monkeypatch.chdir(inside)
    (tmp_path / MARK).mkdir()  # a folder of that name alone is no mark
    assert Progress.here().file == inside / FILE


def test_a_name_is_kept_and_can_be_changed_without_losing_the_id(tmp_path):
    first = Progress.at(tmp_path, name="Ada")
    assert Progress.at(tmp_path).learner_name == "Ada"
    renamed = Progress.at(tmp_path, name="Bo")
    assert (renamed.learner_id, Progress.at(tmp_path).learner_name) == (first.learner_id, "Bo")


def test_an_attempt_is_kept_with_all_that_marking_needs(tmp_path, variant):
    before = datetime.now(UTC).replace(microsecond=0)
    said = record(Progress.at(tmp_path), variant, {GAIN: 41, TRIM: 0}, hints_used=2)
    content = kept(tmp_path)
    assert (content["schema"], content["version"]) == ("gainlib progress", 1)
    (attempt,) = attempts(tmp_path)
    when = datetime.fromisoformat(attempt.pop("time"))
    assert before <= when <= datetime.now(UTC)
    assert when.utcoffset() == timedelta(0)
    assert attempt == {
        "exercise": variant.exercise.name,
        "exercise_digest": variant.exercise.digest,
        "values": {"level": -24.0},
        "answer": {GAIN: 41.0, TRIM: 0.0},
        "points": 4.5,
        "out_of": 5.0,
        "passed": True,
        "hints_used": 2,
    }
    assert said == "Saved: attempt 1, 4.5 of 5 points."


def test_attempts_of_two_notebooks_are_both_kept(tmp_path, variant):
    one, two = Progress.at(tmp_path), Progress.at(tmp_path)
    record(one, variant, {GAIN: 48, TRIM: 0})
    said = record(two, variant, {GAIN: 41, TRIM: 0})
    assert "attempt 2" in said
    after = Progress.at(tmp_path)
    assert [each["passed"] for each in after.attempts] == [False, True]
    assert after.best(variant.exercise.name) == (5.0, 5.0)
    assert after.passed(variant.exercise.name)
    assert after.best("recording/another") is None


@pytest.mark.parametrize("answer", [None, "junk", {GAIN: math.nan, "x": [1], 3: object()}, {GAIN: 10**400}])
def test_an_odd_answer_is_kept_as_plain_json(tmp_path, variant, answer):
    record(Progress.at(tmp_path), variant, answer)

    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    (line,) = (tmp_path / ATTEMPTS).read_text(encoding="utf-8").splitlines()
    json.loads(line, parse_constant=refuse)
    assert len(Progress.at(tmp_path).attempts) == 1


def attempt_at(name, **other):
    """An attempt as gainlib 0.1 wrote it in progress.json, and as a line of attempts.jsonl has it."""
    made = {"exercise": name, "exercise_digest": "0" * 16, "values": {"level": -24.0}, "answer": {GAIN: 41.0}}
    made |= {"points": 4.0, "out_of": 5.0, "passed": True, "hints_used": 1, "time": "2030-03-01T12:00:00Z"}
    return made | other


OWN_ID = "ab" * 16


def written_by_the_first_version(folder, names="abc"):
    learner = {"id": OWN_ID, "name": "Ada"}
    made = [attempt_at(f"own/{name}", draw=index + 1) for index, name in enumerate(names)]
    content = {"schema": "gainlib progress", "version": 1, "learner": learner, "attempts": made}
    (folder / FILE).write_text(json.dumps(content, indent=1), encoding="utf-8")


# how a file of three attempts is damaged, and which of them can still be read
DAMAGED = {
    "cut in the middle": (lambda text: text[: len(text) // 2], "a"),
    "empty": (lambda text: "", ""),
    "another file": (lambda text: '{"schema": "something else"}', ""),
    "a list": (lambda text: "[]", ""),
    "one attempt spoilt": (lambda text: text.replace('"points"', '"pionts"', 1), "bc"),
    "points not a number": (lambda text: text.replace('"points": 4.0', '"points": NaN', 1), "bc"),
    "points of 10^400": (lambda text: text.replace('"points": 4.0', f'"points": 1{"0" * 400}', 1), "bc"),
    "points of 1e400": (lambda text: text.replace('"points": 4.0', '"points": 1e400', 1), "bc"),
    "a number of 5,000 digits": (lambda text: text.replace('"points": 4.0', f'"points": {"9" * 5000}', 1), "bc"),
    "no number in an answer": (lambda text: text.replace("41.0", "NaN", 1), "abc"),
    "a number without end in an answer": (lambda text: text.replace("41.0", "-Infinity", 1), "abc"),
    "10^400 in an answer": (lambda text: text.replace("41.0", "1" + "0" * 400, 1), "abc"),
    "half a character in an answer": (lambda text: text.replace("41.0", '"\\ud800"', 1), "abc"),
    "nested deep": (lambda text: text.replace("41.0", "[" * 100_000 + "]" * 100_000, 1), "bc"),
    "version spoilt": (lambda text: text.replace('"version": 1', '"version": "one"'), "abc"),
    "bytes that are no text": (lambda text: text.replace("own/b", "own/\udcff"), "ac"),
}


@pytest.mark.parametrize("how", DAMAGED)
def test_a_damaged_file_is_set_aside_and_what_can_be_read_of_its_attempts_goes_on(tmp_path, variant, how):
    spoil, left = DAMAGED[how]
    written_by_the_first_version(tmp_path)
    spoilt = spoil((tmp_path / FILE).read_text(encoding="utf-8"))
    (tmp_path / FILE).write_text(spoilt, encoding="utf-8", errors="surrogateescape")
    damaged = (tmp_path / FILE).read_bytes()
    after = Progress.at(tmp_path)
    (aside,) = tmp_path.glob("progress (damaged*).json")
    assert aside.read_bytes() == damaged
    assert aside.name in after.note
    assert "".join(each["exercise"][-1] for each in after.attempts if each["exercise"].isascii()) == left
    assert [each["draw"] for each in after.attempts if each["exercise"] == "own/c"] == ([3] if "c" in left else [])
    if OWN_ID in spoilt:
        # The id decides which numbers the learner gets, so it is saved when it can still be read.
        assert (after.learner_id, after.learner_name) == (OWN_ID, "Ada")
    again = Progress.at(tmp_path)
    assert (again.learner_id, again.attempts, again.note) == (after.learner_id, after.attempts, "")
    assert "Saved:" in record(again, variant, {GAIN: 41, TRIM: 0})
    assert len(Progress.at(tmp_path).attempts) == len(after.attempts) + 1


# how the second of three lines is damaged, and which of them can still be read
LINES = {
    "cut off": (lambda line: line[: len(line) // 2], "ac"),
    "no number in an answer": (lambda line: line.replace("41.0", "NaN"), "abc"),
    "half a character in an answer": (lambda line: line.replace("41.0", '"\\udfff"'), "abc"),
    "a number of 5,000 digits": (lambda line: line.replace("4.0", "9" * 5000), "ac"),
    "nested deep": (lambda line: line.replace("41.0", '{"a":' * 100_000 + "0" + "}" * 100_000), "ac"),
    "another line": (lambda line: '"attempt"', "ac"),
}


@pytest.mark.parametrize("how", LINES)
def test_a_damaged_line_is_set_aside_with_its_file_and_the_others_go_on(tmp_path, variant, how):
    spoil, left = LINES[how]
    learner = Progress.at(tmp_path, name="Ada").learner_id
    one, two, three = (json.dumps(attempt_at(f"own/{name}")) for name in "abc")
    (tmp_path / ATTEMPTS).write_text("\n".join([one, spoil(two), three, ""]))
    damaged = (tmp_path / ATTEMPTS).read_bytes()
    looked = Progress.at(tmp_path, make=False)
    assert "A part of attempts.jsonl cannot be read" in looked.note
    assert list(tmp_path.glob("*damaged*")) == []  # to look is not to touch
    said = record(looked, variant, {GAIN: 41, TRIM: 0})
    assert "Saved:" in said
    damaged += (tmp_path / ATTEMPTS).read_bytes()[len(damaged) :]
    assert "attempts.jsonl was damaged; it is kept as" in Progress.at(tmp_path).note
    (aside,) = tmp_path.glob("attempts (damaged*).jsonl")
    assert aside.read_bytes() == damaged
    after = Progress.at(tmp_path)
    assert [each["exercise"][-1] for each in (*looked.attempts, *after.attempts)] == [
        *left,
        *left,
        variant.exercise.name[-1],
    ]
    assert (after.learner_id, after.note) == (learner, "")


def test_a_last_line_that_was_torn_swallows_nothing_and_is_told(tmp_path, variant):
    progress = Progress.at(tmp_path)
    record(progress, variant, {GAIN: 41, TRIM: 0})
    with (tmp_path / ATTEMPTS).open("a") as file:
        file.write('{"exercise": "own/a", "poi')  # as a killed process leaves it
    assert "attempt 2," in record(progress, variant, {GAIN: 42, TRIM: 0})
    note = Progress.at(tmp_path).note
    assert "attempts.jsonl was damaged; it is kept as" in note
    assert "2 attempts that can be read in it go on." in note
    assert [each["answer"][GAIN] for each in attempts(tmp_path)] == [41.0, 42.0]


def test_what_the_first_version_kept_is_read_and_stays_where_it_is(tmp_path, variant):
    written_by_the_first_version(tmp_path)
    before = (tmp_path / FILE).read_bytes()
    progress = Progress.at(tmp_path)
    assert (progress.learner_id, progress.learner_name, progress.note) == (OWN_ID, "Ada", "")
    record(progress, variant, {GAIN: 41, TRIM: 0})
    assert (tmp_path / FILE).read_bytes() == before
    assert [each["exercise"] for each in Progress.at(tmp_path).attempts] == [
        *("own/a", "own/b", "own/c"), variant.exercise.name
    ]  # fmt: skip
    assert "own/b" in json.dumps(kept(tmp_path))
    Progress.at(tmp_path, name="Bo")  # a name is written there, and what stands beside it is written again
    assert len(kept(tmp_path)["attempts"]) == 3


def test_on_a_drive_without_locks_each_notebook_has_a_file_of_its_own_and_says_so(tmp_path, variant, monkeypatch):
    import filelock

    def no_locks(self, *args, **kwargs):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(filelock.FileLock, "acquire", no_locks)
    one, two = Progress.at(tmp_path), Progress.at(tmp_path)
    said = [record(each, variant, {GAIN: gain, TRIM: 0}) for gain, each in ((41, one), (42, two), (43, one))]
    assert all(
        "cannot be locked (no locks available), so this notebook keeps a file of its own" in each for each in said
    )
    assert [re.search(r"attempt \d", each)[0] for each in said] == ["attempt 1", "attempt 2", "attempt 3"]
    assert len(list(tmp_path.glob("attempts-*.jsonl"))) == 2
    monkeypatch.undo()
    assert sorted(each["answer"][GAIN] for each in Progress.at(tmp_path).attempts) == [41.0, 42.0, 43.0]
    record(two, variant, {GAIN: 44, TRIM: 0})
    assert len(attempts(tmp_path)) == 1


def test_on_a_drive_without_locks_a_damaged_file_is_read_and_left_as_it_is(tmp_path, variant, monkeypatch):
    record(Progress.at(tmp_path), variant, {GAIN: 41, TRIM: 0})
    append_line(tmp_path / ATTEMPTS, "torn")
    before = (tmp_path / ATTEMPTS).read_bytes()
    monkeypatch.setattr(
        "filelock.FileLock.acquire", lambda *_, **__: (_ for _ in ()).throw(OSError(errno.ENOLCK, "no"))
    )
    after = Progress.at(tmp_path)
    assert (len(after.attempts), after.note) == (1, "A part of attempts.jsonl cannot be read.")
    assert (tmp_path / ATTEMPTS).read_bytes() == before


@pytest.mark.parametrize("fault", [OSError(errno.ENOTSUP, "Not supported"), NotImplementedError("flock")])
def test_a_lock_that_the_system_does_not_have_stops_nothing(tmp_path, monkeypatch, fault):
    import filelock

    monkeypatch.setattr(filelock.FileLock, "acquire", lambda *_, **__: (_ for _ in ()).throw(fault))
    with held_alone(tmp_path / ".lock") as why:
        assert why


def test_who_waits_longer_than_its_patience_goes_on_and_is_told(tmp_path):
    with held_alone(tmp_path / ".lock") as first, held_alone(tmp_path / ".lock", 0.0) as second:
        assert (first, bool(second)) == ("", True)


def test_two_threads_of_one_process_lose_nothing(tmp_path, variant):
    verdict = check(variant, {})
    progress = Progress.at(tmp_path)

    def press(gain):
        return progress.record(variant, {GAIN: gain}, verdict)

    with ThreadPoolExecutor(4) as threads:
        said = list(threads.map(press, range(40)))
    assert all("Saved:" in each for each in said)
    assert sorted(each["answer"][GAIN] for each in attempts(tmp_path)) == [float(gain) for gain in range(40)]
    assert len({re.search(r"attempt \d+", each)[0] for each in said}) == 40


def test_what_is_recorded_while_a_damaged_file_is_mended_is_not_lost(tmp_path, variant):
    verdict = check(variant, {})
    progress = Progress.at(tmp_path)

    def press(gain):
        if gain % 3:
            return progress.record(variant, {GAIN: gain}, verdict)
        append_line(tmp_path / ATTEMPTS, '{"exercise": "own/torn", "poi')
        Progress.at(tmp_path)
        return ""

    with ThreadPoolExecutor(4) as threads:
        told = [gain for gain, said in enumerate(threads.map(press, range(60))) if "Saved:" in said]
    assert len(told) == 40
    assert sorted(each["answer"][GAIN] for each in Progress.at(tmp_path).attempts) == told


def test_many_who_begin_at_once_get_one_id(tmp_path, monkeypatch):
    draw = secrets.token_hex

    def slowly(length):
        time.sleep(0)
        return draw(length)

    monkeypatch.setattr(secrets, "token_hex", slowly)
    with ThreadPoolExecutor(8) as threads:
        ids = set(threads.map(lambda _: Progress.at(tmp_path).learner_id, range(8)))
    assert len(ids) == 1


def test_two_processes_lose_nothing_that_was_told_as_saved_also_when_one_is_killed(tmp_path):
    """A few; tests/benchmarks/bench_progress.py has the thousands."""
    told = BENCH["two_processes"](tmp_path, 25, kill_after=10)
    found = [each["answer"]["who"] for each in Progress.at(tmp_path).attempts]
    assert (told - set(found), len(found)) == (set(), len(set(found)))
    assert len(told) >= 35


class Odd:
    """An answer that answers nothing it is asked."""

    def __float__(self):
        raise MemoryError

    def __repr__(self):
        raise RecursionError


class OddTable(Mapping):
    """A table that fails while it is read."""

    def __getitem__(self, name):
        raise RuntimeError(name)

    def __iter__(self):
        raise RuntimeError

    def __len__(self):
        return 1


ANSWERS = {
    "a table": OddTable,
    "an object": Odd,
    "a setting that is an object": lambda: {GAIN: Odd()},
    "half characters": lambda: {"\udc80": "\ud800"},
    "a name that is none": lambda: {(): [[[]]]},
    "digits": lambda: {GAIN: "9" * 6000},
}


@pytest.mark.parametrize("kind", ANSWERS)
def test_no_answer_at_all_makes_a_check_raise(tmp_path, variant, kind):
    said = Progress.at(tmp_path).record(variant, ANSWERS[kind](), check(variant, {}))
    assert "Saved:" in said
    assert len(Progress.at(tmp_path).attempts) == 1


@pytest.mark.parametrize("call", ["write", "fsync", "open", "lseek"])
@pytest.mark.parametrize("fault", [OSError(errno.EIO, "Input/output error"), MemoryError("no memory")])
def test_no_disk_makes_a_check_raise_and_what_was_not_saved_is_told(tmp_path, variant, monkeypatch, call, fault):
    progress, verdict = Progress.at(tmp_path), check(variant, {})

    def fail(*args, **kwargs):
        raise fault

    with monkeypatch.context() as patched:
        patched.setattr(os, call, fail)
        said = progress.record(variant, {GAIN: 41}, verdict)
    assert said.startswith("Not saved: ")
    assert str(fault.args[-1]).lower() in said
    assert Progress.at(tmp_path).attempts == ()


def test_a_folder_that_was_removed_is_said(tmp_path, variant, monkeypatch):
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    progress = Progress.here()
    assert "cannot be written (no such file or directory)" in progress.note
    assert record(progress, variant, {}).startswith("Not saved: ")


def test_a_file_damaged_between_two_attempts_keeps_the_id_of_the_open_notebook(tmp_path, variant):
    progress = Progress.at(tmp_path)
    (tmp_path / FILE).write_bytes(b"\xff\xfe\x00")
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert "was damaged; it is kept as" in said
    assert "Saved:" in said
    assert kept(tmp_path)["learner"]["id"] == progress.learner_id
    assert len(list(tmp_path.glob("progress (damaged*).json"))) == 1


def test_two_damaged_files_of_one_second_are_both_kept(tmp_path):
    for text in ("first", "second"):
        (tmp_path / FILE).write_text(text)
        Progress.at(tmp_path)
    assert sorted(each.read_text() for each in tmp_path.glob("progress (damaged*).json")) == ["first", "second"]


def test_a_file_of_a_newer_version_is_left_alone(tmp_path, variant):
    first = Progress.at(tmp_path)
    newer = (tmp_path / FILE).read_text(encoding="utf-8").replace('"version": 1', '"version": 2')
    (tmp_path / FILE).write_text(newer, encoding="utf-8")
    progress = Progress.at(tmp_path, name="Bo")
    assert progress.learner_id == first.learner_id
    assert "newer gainlib" in progress.note
    assert "Not saved" in record(progress, variant, {GAIN: 41, TRIM: 0})
    assert (tmp_path / FILE).read_text(encoding="utf-8") == newer


def test_a_read_only_folder_is_said_and_stops_nothing(tmp_path, variant, read_only):
    read_only()
    progress = Progress.at(tmp_path)
    assert "cannot be written (permission denied)" in progress.note
    assert progress.learner_id == Progress.at(tmp_path).learner_id  # the numbers stay the same from cell to cell
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert said.startswith("Not saved: ")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_way_of_the_file_is_said(tmp_path, variant):
    (tmp_path / FILE).mkdir()
    progress = Progress.at(tmp_path)
    assert "cannot be read" in progress.note
    assert "Not saved" in record(progress, variant, {GAIN: 41, TRIM: 0})


def test_a_file_that_cannot_be_read_is_never_replaced(tmp_path, variant, monkeypatch):
    progress = Progress.at(tmp_path)
    record(progress, variant, {GAIN: 41, TRIM: 0})
    before = (tmp_path / FILE).read_bytes()

    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patched:
        patched.setattr("pathlib.Path.read_bytes", forbid)
        assert "cannot be read (permission denied)" in record(progress, variant, {GAIN: 42, TRIM: 0})
        assert "cannot be read (permission denied)" in Progress.at(tmp_path, name="Bo").note
    assert (tmp_path / FILE).read_bytes() == before


def test_nothing_is_left_behind_when_writing_fails_half_way(tmp_path, variant, monkeypatch):
    progress = Progress.at(tmp_path)
    record(progress, variant, {GAIN: 40, TRIM: 0})
    before = (tmp_path / ATTEMPTS).read_bytes()
    write = os.write

    def full(file, content):
        if len(content) < 20:
            raise OSError(28, "No space left on device")
        return write(file, content[:20])  # as much as there was room for

    monkeypatch.setattr(os, "write", full)
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert "no space left on device" in said
    assert (tmp_path / ATTEMPTS).read_bytes() == before
    assert sorted(each.name for each in tmp_path.iterdir()) == [LOCK, ATTEMPTS, FILE]


def test_texts_orders_and_drawn_rides_are_kept_as_they_were_answered(tmp_path, variant):
    answer = {"where": "kick", "order": ["B", "A"], "voice/ride/points": ((0.0, 1.5), (2.0, -3.0)), "on": True}
    Progress.at(tmp_path).record(variant, answer, check(variant, {}), draw=3)
    (attempt,) = attempts(tmp_path)
    assert attempt["answer"] == {**answer, "voice/ride/points": [[0.0, 1.5], [2.0, -3.0]]}
    assert attempt["draw"] == 3


def test_what_is_too_long_to_be_an_answer_is_named_instead_of_kept(tmp_path, variant):
    deep = [[[[1.0]]]]
    Progress.at(tmp_path).record(variant, {"a": "x" * 10_000, "b": [0.0] * 10_000, "c": deep}, check(variant, {}))
    assert len(json.dumps(attempts(tmp_path))) < 1000
