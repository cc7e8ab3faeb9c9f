"""Who measures the files of a survey: what was measured before is not again, and others measure the same."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import FIRST_COMPLETED, wait
from dataclasses import replace

import pytest

from gainlib.errors import GainError
from gainlib.surveys import measuring
from gainlib.surveys.kept import FileWork, KeptStems
from gainlib.surveys.measuring import measure_files
from gainlib.surveys.record import as_dict
from gainlib.surveys.report import lines
from gainlib.surveys.stem import measure_stem
from gainlib.surveys.survey import survey


@pytest.fixture
def stems(tmp_path, making):
    """A folder of five stems, written long ago, the longest first in order of name."""
    for number, name in enumerate("abcde"):
        path = making.save(tmp_path / "stems" / f"{name}.wav", making.noise(number, 3.0 - 0.3 * number))
        os.utime(path, (1e9, 1e9))  # exported a while ago
    return tmp_path / "stems"


@pytest.fixture
def measured(monkeypatch):
    """The names of the stems that are measured in this process."""
    names = []

    def noted(path, name, **heard):
        names.append(name)
        return measure_stem(path, name, **heard)

    monkeypatch.setattr(measuring, "measure_stem", noted)
    return names


@pytest.fixture
def ended(monkeypatch, stems):
    """A survey of them by one thread that hears Ctrl-C when one was measured; what is finished is told."""

    def wait_for_one(futures, timeout):
        wait(futures, return_when=FIRST_COMPLETED)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(measuring, "wait", wait_for_one)
        found = survey(stems, workers=1)
    assert not found.whole
    assert found.stems
    yield found
    KeptStems().forget([])


def found_in(made):
    """A survey as data, without what it says of itself."""
    return {name: each for name, each in as_dict(made).items() if name not in ("notes", "whole")}


def test_a_survey_that_was_ended_goes_on_where_it_was(stems, ended, measured):
    before = {each.name for each in ended.stems}
    assert any(str(KeptStems().file) in each for each in ended.notes)
    again = survey(stems)
    assert set(measured) == set("abcde") - before
    assert any(f"{len(before)} of 5 files had been measured" in each for each in again.notes)
    # It is the survey that was never ended, and leaves nothing behind.
    measured.clear()
    alone = survey(stems)
    assert sorted(measured) == list("abcde")
    assert found_in(again) == found_in(alone)
    assert not any("had been measured" in each for each in alone.notes)


def test_of_a_survey_that_was_ended_the_stems_that_are_finished_are_counted(stems):
    for given, finished in ((stems / "a.wav", "1 stem"), (stems, "5 stems")):
        (said,) = [each for each in lines(replace(survey(given), whole=False)) if "ended before its end" in each]
        assert f"with {finished} finished; none was" in said


def test_a_survey_that_is_ended_again_before_another_stem_is_measured_says_what_is_kept_too(stems, ended, monkeypatch):
    def nothing_more(survey, order, results, pool):
        survey.ended.set()

    monkeypatch.setattr(measuring.Measuring, "_in_threads", nothing_more)
    again = survey(stems)
    assert {each.name for each in again.stems} == {each.name for each in ended.stems}
    assert [each for each in again.notes if "What was measured is kept in" in each]


def test_what_is_kept_of_a_stem_is_all_of_it(stems):
    path = stems / "a.wav"
    work, stem = FileWork.of(path, "a", "0" * 16), measure_stem(path, "a")
    store = KeptStems()
    store.add(work, stem)
    assert store.leave()
    back = KeptStems().of(work)
    for name, value in vars(stem).items():
        if hasattr(value, "dtype"):
            assert (getattr(back, name) == value).all()
        else:
            assert repr(getattr(back, name)) == repr(value), name
    store = KeptStems()
    assert store.of(work).name == "a"
    store.forget([work])
    assert KeptStems().of(work) is None


def test_two_stems_of_one_date_and_size_whose_names_were_changed_over_are_measured_again(stems):
    paths, store = [stems / "a.wav", stems / "b.wav"], KeptStems()
    shutil.copy(paths[0], paths[1])
    os.utime(paths[1], (1e9, 1e9))
    for each in paths:
        store.add(FileWork.of(each, each.stem, "0" * 16), measure_stem(each, each.stem))
    assert store.leave()
    works = [FileWork.of(each, each.stem, "0" * 16) for each in paths]
    assert [KeptStems().of(each).name for each in works] == ["a", "b"]
    paths[0].rename(stems / "c")
    paths[1].rename(paths[0])
    (stems / "c").rename(paths[1])
    assert [KeptStems().of(FileWork.of(each, each.stem, "0" * 16)) for each in paths] == [None, None]
    store.forget(works)


def test_a_file_that_is_written_while_it_is_measured_is_refused(stems):
    path, heard = stems / "a.wav", []

    def written_anew(share):
        heard.append(share)
        path.write_bytes(path.read_bytes())

    with pytest.raises(GainError, match=r"^a was changed while it was measured; survey it again when it is written\.$"):
        measure_stem(path, "a", tick=written_anew)
    assert heard
    found = survey(stems)
    assert found.whole
    assert len(found.stems) == 5


def test_a_file_that_is_taken_away_while_it_is_measured_is_refused(stems):
    path = stems / "a.wav"
    with pytest.raises(
        GainError, match=r"^a was taken away while it was measured; survey it again when it is there\.$"
    ):
        measure_stem(path, "a", tick=lambda share: path.unlink(missing_ok=True))


def test_a_changed_file_is_measured_again(stems, ended, measured):
    changed = next(each for each in "abcde" if each in {stem.name for stem in ended.stems})
    data = bytearray((stems / f"{changed}.wav").read_bytes())
    data[-1] ^= 1
    (stems / f"{changed}.wav").write_bytes(data)
    survey(stems)
    assert changed in measured


def test_another_gainlib_measures_again(stems, ended, measured, monkeypatch):
    monkeypatch.setattr(measuring, "digest_of_sources", lambda rooms: "another")
    survey(stems)
    assert sorted(measured) == list("abcde")


def test_a_store_that_cannot_be_read_is_as_if_there_was_none(stems, ended, measured):
    KeptStems().file.write_bytes(b"no base at all" * 100)
    made = survey(stems)
    assert made.whole
    assert sorted(measured) == list("abcde")
    KeptStems().file.unlink()


def test_a_stem_that_was_exported_this_very_moment_is_not_kept(stems):
    path, now = stems / "a.wav", int(time.time()) + 10**6
    os.utime(path, (now, now))
    work, stem = FileWork.of(path, "a", "0" * 16), measure_stem(path, "a")
    store = KeptStems()
    store.add(work, stem)
    assert not store.leave()  # so it is not said that anything was kept
    assert KeptStems().of(work) is None


def test_a_short_survey_writes_nothing(stems, monkeypatch):
    monkeypatch.setattr(KeptStems, "_write", lambda store: pytest.fail("it wrote"))
    assert survey(stems).whole


STOPPING = """
import sys
import time
from gainlib.surveys import kept
from gainlib.surveys.survey import survey
kept.KEPT_AFTER_SECONDS = kept._SECONDS_BETWEEN_WRITES = 0.0
names = []
def finished(stem):
    names.append(stem.name)
    if len(names) == 3:
        print("three", flush=True)
        sys.stdin.read()  # until it is killed
survey(sys.argv[1], workers=1, finished=finished)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal")
def test_a_killed_survey_goes_on_where_it_was(stems, measured):
    with subprocess.Popen(
        [sys.executable, "-c", STOPPING, str(stems)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout.readline() == "three\n"
        process.kill()
    made = survey(stems)
    assert sorted(measured) == ["d", "e"]
    assert (made.whole, len(made.stems)) == (True, 5)


def test_many_short_files_are_measured_in_processes(stems, measured, monkeypatch):
    (stems / "f.wav").write_bytes(b"no sound")
    alone = survey(stems, workers=1)
    measured.clear()
    monkeypatch.setattr(measuring, "_MANY", 2)
    heard = []
    beside = survey(stems, workers=2, in_processes=True, finished=lambda stem: heard.append(stem.name))
    assert measured == []
    assert sorted(heard) == list("abcde")
    assert found_in(beside) == found_in(alone)
    assert [name for name, _ in beside.unreadable] == ["f"]


def test_a_worker_refuses_another_gainlib(stems):
    with pytest.raises(GainError, match="another gainlib.*install the same one everywhere"):
        measure_files([FileWork.of(stems / "a.wav", "a", "f" * 16)])


def test_a_worker_refuses_files_that_it_does_not_see(stems):
    work = FileWork.of(stems / "a.wav", "a", measuring.digest_of_sources(measuring._ROOMS))
    own = (stems / "a.wav").read_bytes()
    for content, modified_ns in (((stems / "b.wav").read_bytes(), work.modified_ns), (own, work.modified_ns - 10**10)):
        (stems / "a.wav").write_bytes(content)
        os.utime(stems / "a.wav", ns=(modified_ns, modified_ns))
        with pytest.raises(GainError, match="is another file on the worker .*the same files under the same paths"):
            measure_files([work])
    (stems / "a.wav").unlink()
    with pytest.raises(GainError, match=r"a\.wav is not there on the worker"):
        measure_files([work])


# -- on a cluster


@pytest.mark.filterwarnings("default")  # Dask tells of the worker that the test kills in warnings of its own
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal")
def test_a_cluster_measures_the_same_also_when_a_worker_is_killed(stems, cluster, measured, monkeypatch):
    import distributed

    alone = survey(stems)
    measured.clear()
    monkeypatch.setattr(measuring, "_AT_ONCE_BYTES", 1)
    with distributed.Client(cluster.scheduler_address) as client:
        workers = list(client.run(os.getpid).values())
    killed = []

    def finished(stem):
        if not killed:
            killed.append(workers[0])
            os.kill(workers[0], signal.SIGKILL)

    made = survey(stems, cluster=cluster.scheduler_address, finished=finished)
    assert killed
    assert measured == []
    assert found_in(made) == found_in(alone)


def test_a_survey_on_a_cluster_that_is_ended_goes_on_where_it_was(stems, cluster, monkeypatch):
    monkeypatch.setattr(measuring, "_AT_ONCE_BYTES", 1)
    done = []

    def finished(stem):
        done.append(stem.name)
        if len(done) == 2:
            raise KeyboardInterrupt

    ended = survey(stems, cluster=cluster.scheduler_address, finished=finished)
    assert not ended.whole
    assert sorted(each.name for each in ended.stems) == sorted(done)
    assert any("What was measured is kept in" in each for each in ended.notes)
    made = survey(stems, cluster=cluster.scheduler_address)
    assert made.whole
    assert any(each.startswith("2 of 5 files had been measured by a survey that was ended") for each in made.notes)
    assert found_in(made) == found_in(survey(stems))


def test_a_cluster_with_another_gainlib_is_refused_in_a_sentence(run, stems, cluster, monkeypatch):
    monkeypatch.setattr(measuring, "digest_of_sources", lambda rooms: "f" * 16)
    status, _, said = run("survey", stems, "--cluster", cluster.scheduler_address)
    assert status == 2
    assert "another gainlib" in said
    assert "Traceback" not in said


def test_the_command_measures_on_a_cluster(run, stems, cluster):
    status, said, _ = run("survey", stems, "--json", "--cluster", cluster.scheduler_address)
    assert status in (0, 1)
    assert sorted(each["name"] for each in json.loads(said)["stems"]) == list("abcde")


def test_no_cluster_is_a_sentence(run, stems, monkeypatch):
    pytest.importorskip("distributed", reason='Dask is not installed: pip install "gainlib[cluster]"')
    monkeypatch.setattr("gainlib.workers.LONGEST_ANSWER_SECONDS", 1)
    status, _, said = run("survey", stems, "--cluster", "tcp://127.0.0.1:9")
    assert status == 2
    assert "no cluster answers at tcp://127.0.0.1:9" in said
