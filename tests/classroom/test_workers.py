"""Who does the work: resuming after a kill, what is marked again and what is not, workers that end."""

from __future__ import annotations

import json
import multiprocessing
import signal
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from gainlib import workers
from gainlib.classroom import marking, new_class, read_class
from gainlib.classroom import marks as marks_module
from gainlib.classroom.marking import Work, engine_digest, mark_answers, own_values, task_digest
from gainlib.classroom.run import mark_class
from gainlib.errors import GainError
from gainlib.exercises import Exercise, author_answer, load
from gainlib.learners.hand_in_file import signature_of
from gainlib.sound_file import read, write
from gainlib.workers import run_on_workers

from .conftest import EXERCISE, GAIN, TRIM


@pytest.fixture
def counted(monkeypatch):
    """How many answers are marked in this process."""
    done = []

    def counting(works):
        done.extend(each.key for each in works)
        return mark_answers(works)

    monkeypatch.setattr(marks_module, "mark_answers", counting)
    return done


@pytest.mark.parametrize("workers", [1, 2])
def test_every_item_comes_back_once_with_its_result(work, workers):
    found = list(run_on_workers(work.doubled, range(50), workers=workers))
    assert sorted(found) == [(each, 2 * each) for each in range(50)]


def test_a_worker_that_ends_takes_nothing_along_but_the_item_that_ended_it(work):
    found = list(run_on_workers(work.ends_on_7, range(20), workers=2))
    assert sorted(found, key=lambda each: each[0]) == [(each, None if each == 7 else 2 * each) for each in range(20)]


def test_workers_that_end_while_results_are_being_written_take_nothing_along(work):
    results = run_on_workers(work.doubled, range(60), workers=2)
    found = [next(results)]
    for each in multiprocessing.active_children():
        each.kill()
        each.join()
    for each in threading.enumerate():  # the pool's own thread ends where it has noticed
        if type(each).__name__ == "_ExecutorManagerThread":
            each.join()
    found += results
    assert sorted(found) == [(each, 2 * each) for each in range(60)]


def test_workers_are_there_before_the_first_item_where_they_are_to_start_ahead(work):
    def slow():
        running.append(len(multiprocessing.active_children()))
        yield from range(3)

    running = []
    for ahead in (False, True):
        assert sorted(run_on_workers(work.doubled, slow(), workers=2, ahead=ahead)) == [(0, 0), (1, 2), (2, 4)]
    assert running == [0, 2]


def test_work_that_nobody_waits_for_any_more_is_left_at_once(work, tmp_path):
    results = run_on_workers(work.stays, [0, str(tmp_path / "finished")], workers=2, weight=lambda item: 1.0)
    assert next(results)[0] == 0
    results.close()  # as Ctrl-C does
    assert multiprocessing.active_children() == []
    assert not (tmp_path / "finished").exists()


@pytest.mark.parametrize("workers", [1, 2])
def test_what_the_work_raises_is_raised(work, workers):
    with pytest.raises(GainError, match="no"):
        list(run_on_workers(work.refuses, range(40), workers=workers))


def test_what_is_marked_is_not_marked_again(group, counted):
    for number in ("1", "2", "3"):
        group.put(f"{number}.json", group.content(f"a-0{number}"))
    assert mark_class(group.folder, group.file, feedback="none").marked_before == 0
    assert len(counted) == 3
    counted.clear()
    assert mark_class(group.folder, group.file, feedback="none").marked_before == 3
    assert counted == []


def test_a_changed_hand_in_is_marked_again_and_no_other(group, counted):
    for number in ("1", "2"):
        group.put(f"{number}.json", group.content(f"a-0{number}"))
    mark_class(group.folder, group.file, feedback="none")
    counted.clear()
    group.put("2.json", group.content("a-02", answer={GAIN: 10, TRIM: 0}))
    done = mark_class(group.folder, group.file, feedback="none")
    assert len(counted) == 1
    assert '"a-02","Bo Marsh","40.0"' in (done.out / "marks.csv").read_text(encoding="utf-8-sig")


def test_a_changed_due_date_or_weight_marks_nothing_again(group, counted):
    group.put("1.json", group.content("a-01"))
    mark_class(group.folder, group.file, feedback="none")
    counted.clear()
    group.file.write_text(group.file.read_text().replace("points = 5", "points = 7").replace("2026", "2025"))
    done = mark_class(group.folder, group.file, feedback="none")
    assert counted == []
    assert '"a-01","Ada Quill","100.0","7.0","7.0","7.0",' in (done.out / "marks.csv").read_text(encoding="utf-8-sig")


def test_another_gainlib_marks_again(group, counted, monkeypatch):
    group.put("1.json", group.content("a-01"))
    mark_class(group.folder, group.file, feedback="none")
    counted.clear()
    monkeypatch.setattr("gainlib.classroom.marks.engine_digest", lambda: "another")
    monkeypatch.setattr("gainlib.classroom.marking.engine_digest", lambda: "another")
    mark_class(group.folder, group.file, feedback="none")
    assert len(counted) == 1


def test_the_digest_of_gainlib_follows_its_version_and_its_sources(monkeypatch):
    def digest():
        workers.digest_of_sources.cache_clear()
        return marking.engine_digest()

    found = {digest(), digest()}
    assert len(found) == 1
    monkeypatch.setattr(marking, "_ROOMS", marking._ROOMS[:-1])
    found.add(digest())
    monkeypatch.setattr(workers, "__version__", "another")
    found.add(digest())
    workers.digest_of_sources.cache_clear()
    assert len(found) == 3


def test_a_changed_exercise_or_recording_is_marked_again_and_the_other_is_not(tmp_path, counted):
    (tmp_path / "levels").mkdir()
    take = read("media/lead-voice.flac")
    text = load(EXERCISE).file.read_text(encoding="utf-8").replace("media/lead-voice.flac", "take.flac")
    for name in ("one", "two"):
        (tmp_path / "levels" / f"{name}.toml").write_text(text.replace("take.flac", f"{name}.flac"), encoding="utf-8")
        write(tmp_path / "levels" / f"{name}.flac", take)
    names = [str(tmp_path / "levels" / f"{name}.toml") for name in ("one", "two")]
    file, _ = new_class(tmp_path / "own", exercises=names)
    of_class = read_class(file)

    def put(*exercises):
        answers = []
        for each in exercises:
            variant = load(each).variant("zoe", of_class.key_of("zoe"))
            answers.append(
                {"exercise": variant.exercise.name, "exercise_digest": variant.exercise.digest,
                 "values": variant.values, "answer": author_answer(variant),
                 "hints_used": 0, "attempts": 1, "time": "x"}
            )  # fmt: skip
        content = {
            "schema": "gainlib hand-in", "version": 1, "class": {"title": "own", "tag": of_class.tag},
            "learner": {"id": "zoe", "name": "Zoe"}, "course": {"gainlib": "0.1.0", "digest": "x"},
            "made": "2026-01-15T12:00:00Z", "answers": answers,
        }  # fmt: skip
        (tmp_path / "in").mkdir(exist_ok=True)
        content["signed"] = signature_of(content, of_class.key_of("zoe"))
        (tmp_path / "in" / "zoe.json").write_text(json.dumps(content))

    put(*names)
    mark_class(tmp_path / "in", file, feedback="none")
    assert len(counted) == 2
    counted.clear()
    write(tmp_path / "levels" / "two.flac", take.between(0.0, 18.9), overwrite=True)
    mark_class(tmp_path / "in", file, feedback="none")
    assert len(counted) == 1
    counted.clear()
    changed = tmp_path / "levels" / "one.toml"
    changed.write_text(changed.read_text(encoding="utf-8").replace("points   = 1", "points   = 2"), encoding="utf-8")
    done = mark_class(tmp_path / "in", file, feedback="none")
    assert (counted, done.not_marked) == ([], 1)  # another version than was answered: told, not marked
    put(*names)
    mark_class(tmp_path / "in", file, feedback="none")
    assert len(counted) == 1


def test_a_page_that_is_there_is_not_made_again(group):
    group.put("1.json", group.content("a-01"))
    done = mark_class(group.folder, group.file, feedback="light")
    page = done.out / "feedback" / "for-a-01.html"
    page.write_text("kept")
    assert mark_class(group.folder, group.file, feedback="light").pages == 1
    assert page.read_text() == "kept"
    page.unlink()
    mark_class(group.folder, group.file, feedback="light")
    assert "5 of 5 points" in page.read_text(encoding="utf-8")


def test_the_same_answer_at_the_same_numbers_is_measured_once(group, counted):
    """Two learners whose numbers are the same, and one whose are not, all with one answer."""
    group.file.write_text(group.file.read_text().replace('"a-02"', '"twin"'))
    twin = next(each for each in map(str, range(1000)) if group.variant(each).values == group.variant("a-01").values)
    group.file.write_text(group.file.read_text().replace('"twin"', f'"{twin}"'))
    for each in ("a-01", twin, "a-03"):
        group.put(f"{each}.json", group.content(each, answer=author_answer(group.variant("a-01"))))
    done = mark_class(group.folder, group.file, feedback="none")
    assert (len(counted), done.answers, done.handed_in) == (2, 2, 3)
    lines = (done.out / "marks.csv").read_text(encoding="utf-8-sig").splitlines()
    assert [line.split(",")[3].strip('"') for line in lines[1:]] == ["5.0", "5.0", "2.0"]


def test_items_that_belong_together_go_to_one_worker_as_far_as_64_of_them():
    sizes = []

    def asked(items):
        sizes.append(len(items))
        return items

    def sent(groups, **given):
        sizes.clear()
        items = [(group, index) for group, count in groups for index in range(count)]
        assert [item for item, _ in run_on_workers(asked, items, **given)] == items
        return sizes

    groups = [("a", 10), ("b", 30), ("c", 16), ("d", 100)]
    assert sent(groups, together=lambda item: item[0]) == [40, 16, 64, 36]
    assert sent(groups) == [16] * 9 + [12]
    assert sent(groups, together=lambda item: item[0], weight=lambda item: 0.25) == [4] * 39


def test_a_chunk_is_as_large_as_what_a_worker_does_in_a_quarter_of_a_second():
    chunks = workers._Chunks(range(1000), weight=lambda item: 0.0, together=None)
    for seconds, size in ((0.125, 32), (10.0, 16), (0.0, 256), (0.01, 256), (0.25, 16)):
        chunks.took(16, seconds)
        assert len(next(chunks)) == size


def test_two_threads_of_a_worker_take_nothing_over_from_one_another():
    """A Dask worker has as many as its machine has processors, unless it is told otherwise."""
    task = task_digest(load(EXERCISE))
    with ThreadPoolExecutor(1) as one, ThreadPoolExecutor(1) as other:
        kept = [each.submit(lambda: marking._KEPT.exercise(EXERCISE, task)).result() for each in (one, other, one)]
        values = json.dumps(kept[0][0].variant("ada").values)
        variants = [
            each.submit(lambda: marking._KEPT.variant(EXERCISE, task, values)).result() for each in (one, other)
        ]
    assert kept[0] is kept[2]
    assert kept[0][1] is not kept[1][1]
    assert variants[0] is not variants[1]


def test_answers_at_the_same_numbers_come_together_and_their_variant_is_made_once(group, monkeypatch):
    group.grow(30)
    different = {json.dumps(group.variant(f"b-{index:02d}").values) for index in range(30)}
    made = []
    whole = Exercise.with_values
    monkeypatch.setattr(Exercise, "with_values", lambda self, values: made.append(values) or whole(self, values))
    marking._KEPT.variant.cache_clear()
    marks = group.marked()[0].values()
    assert [each.total for each in marks].count(0) == 0
    assert len(made) == len(different) < 15


STOPPING = """
import sys
from gainlib.classroom.run import mark_class
import gainlib.workers as workers, gainlib.classroom.store as store
workers.CHUNK, store._SECONDS_BETWEEN_WRITES = 1, 0.0
def told(what, done, of):
    if what == "marking answers":
        print(done, flush=True)
        if done == 8:
            sys.stdin.read()  # until it is killed
mark_class(sys.argv[1], sys.argv[2], feedback="none", on_progress=told)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal")
def test_a_killed_marking_goes_on_where_it_was(group, counted):
    group.grow(12)
    with subprocess.Popen(
        [sys.executable, "-c", STOPPING, str(group.folder), str(group.file)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        assert "8\n" in iter(process.stdout.readline, "")
        process.kill()
    done = mark_class(group.folder, group.file, feedback="none")
    assert 7 <= done.marked_before <= 8
    assert len(counted) == 12 - done.marked_before
    assert (done.answers, done.handed_in, done.not_marked) == (12, 12, 0)
    alone = mark_class(group.folder, group.file, group.home / "alone", feedback="none")
    written = [{each.name: each.read_bytes() for each in out.glob("[!.]*.[!s]*")} for out in (done.out, alone.out)]
    assert sorted(written[0]) == ["changes.html", "marks.csv", "marks.xlsx", "not-marked.csv", "report.html"]
    assert written[0] == written[1]


@pytest.mark.parametrize("name", ["recording/leave-room", "levels/two-tracks", "balance/two-sums"])
def test_a_mark_does_not_hang_on_what_was_marked_before_it(name):
    exercise = load(name)
    works = []
    for learner in ("ada", "ben", "cem", "dora"):
        values = own_values(exercise, learner, "key")
        solution = author_answer(exercise.with_values(values))
        for answer in (solution, dict.fromkeys(solution, 0.0), dict.fromkeys(solution, 60.0)):
            works.append(Work(exercise.name, exercise.name, task_digest(exercise), engine_digest(), values, answer, 0))
    alone = []
    for work in works:
        marking._KEPT.exercise.cache_clear()
        marking._KEPT.variant.cache_clear()
        alone += mark_answers([work])
    marking._KEPT.exercise.cache_clear()
    marking._KEPT.variant.cache_clear()
    together = mark_answers(works)
    assert [mark["fault"] for mark in alone] == [""] * len(works)
    assert len({json.dumps(mark) for mark in alone}) > 2
    assert together == alone
    assert list(reversed(mark_answers(works[::-1]))) == alone
