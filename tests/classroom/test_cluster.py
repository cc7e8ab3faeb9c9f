"""Marking on a Dask cluster: the same marks, and a worker that is killed halfway loses nothing and doubles nothing."""

from __future__ import annotations

import os
import signal
from collections import Counter
from pathlib import Path

import pytest
from waiting import wait_until

from gainlib.classroom.run import mark_class
from gainlib.classroom.store import Store
from gainlib.errors import GainError
from gainlib.workers import run_on_workers

distributed = pytest.importorskip("distributed", reason='Dask is not installed: pip install "gainlib[cluster]"')
pytestmark = [
    pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill signal"),
    # Dask tells of the worker that the test kills in warnings of its own.
    pytest.mark.filterwarnings("default"),
]


@pytest.fixture(scope="module")
def two_workers(work_module, two_workers):
    """They find the gainlib under test and the work of these tests."""
    return two_workers


def sheet(done):
    return (done.out / "marks.csv").read_bytes()


def test_a_worker_killed_halfway_loses_nothing_and_doubles_nothing(group, cluster, tmp_path, monkeypatch):
    group.grow(12)
    monkeypatch.setattr("gainlib.workers.CHUNK", 2)
    with distributed.Client(cluster.scheduler_address) as client:
        workers = list(client.run(os.getpid).values())
    assert len(set(workers)) == 2
    added, killed = Counter(), []
    add_mark = Store.add_mark

    def counting(store, key, mark):
        added[key] += 1
        add_mark(store, key, mark)

    def told(what, done, of):
        if what == "marking answers" and done >= 4 and not killed:
            killed.append(workers[0])
            os.kill(workers[0], signal.SIGKILL)

    monkeypatch.setattr(Store, "add_mark", counting)
    done = mark_class(
        group.folder,
        group.file,
        tmp_path / "cluster",
        cluster=cluster.scheduler_address,
        feedback="none",
        on_progress=told,
    )
    assert killed
    assert (done.answers, done.marked_before, done.not_marked) == (12, 0, 0)
    assert set(added.values()) == {1}
    assert len(added) == 12
    alone = mark_class(group.folder, group.file, tmp_path / "alone", feedback="none")
    assert sheet(done) == sheet(alone)


def test_workers_of_a_cluster_load_what_they_need_while_the_items_are_still_being_read(work, cluster):
    def read():
        # In vain, were they not started before the first item is there.
        wait_until(lambda: len(list(Path(work.__file__).parent.glob("started-*"))) == 2)
        yield from range(3)

    found = list(run_on_workers(work.tells_its_start, read(), cluster=cluster.scheduler_address, ahead=True))
    assert sorted(found) == [(0, 0), (1, 2), (2, 4)]


def test_an_item_that_ends_every_worker_is_given_back_without_a_result(work, cluster, monkeypatch):
    monkeypatch.setattr(cluster.scheduler, "allowed_failures", 0)  # one worker is enough to see it
    found = list(run_on_workers(work.ends_on_7, range(5, 9), cluster=cluster.scheduler_address))
    assert sorted(found, key=lambda each: each[0]) == [(5, 10), (6, 12), (7, None), (8, 16)]


def test_an_address_where_no_cluster_is_is_one_sentence(group, monkeypatch):
    group.put("1.json", group.content("a-01"))
    monkeypatch.setattr("gainlib.workers.LONGEST_ANSWER_SECONDS", 1)
    with pytest.raises(GainError, match="no cluster answers at tcp://127.0.0.1:9"):
        mark_class(group.folder, group.file, cluster="tcp://127.0.0.1:9", feedback="none")
