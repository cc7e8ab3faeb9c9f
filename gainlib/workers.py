"""Who does the work: this process, some processes beside it, or a Dask cluster. The results are the same."""

from __future__ import annotations

import concurrent.futures
import contextlib
import functools
import hashlib
import importlib
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, TypeVar

from gainlib import __version__
from gainlib.errors import GainError

__all__ = ["digest_of_sources", "require_same_gainlib", "run_on_workers"]

Item = TypeVar("Item")
Result = TypeVar("Result")
Function = Callable[[list[Item]], list[Result]]
Done = Iterator[tuple[Item, "Result | None"]]

CHUNK, LARGEST_CHUNK = 16, 256
_OF_A_KIND = 64  # so many neighbours that share what is worked out stay in one chunk
_CHUNK_SECONDS = 0.25  # of a processor: sending a chunk costs client, scheduler and worker some ms each
_WAITING = 3  # chunks that lie ready for each worker, so that none waits and few are held in memory
_RETRIES = 5
LONGEST_ANSWER_SECONDS = 20
LONGEST_RETURN_SECONDS = 60


@functools.cache
def digest_of_sources(rooms: tuple[str, ...]) -> str:
    """The digest of gainlib's version and of some of its rooms and files, on which a result depends.

    >>> len(digest_of_sources(("meters", "decibels.py")))
    16
    """
    package = Path(__file__).parent
    files = sorted(
        file
        for room in rooms
        for file in ([package / room] if room.endswith(".py") else (package / room).rglob("*.py"))
    )
    content = [__version__.encode()]
    for file in files:
        content += [file.relative_to(package).as_posix().encode(), file.read_bytes().replace(b"\r\n", b"\n")]
    return hashlib.sha256(b"\0".join(content)).hexdigest()[:16]


def require_same_gainlib(asking: str, here: str) -> None:
    """Refuse work of a machine whose gainlib, by its digest, is not the one that is here.

    >>> require_same_gainlib("a" * 16, "a" * 16)
    """
    if asking != here:
        raise GainError(
            f"a worker has another gainlib ({__version__}, {here}) than this machine ({asking}); "
            "install the same one everywhere."
        )


def run_on_workers(
    function: Function[Item, Result],
    items: Iterable[Item],
    *,
    workers: int = 1,
    cluster: str = "",
    ahead: bool = False,
    weight: Callable[[Item], float] = lambda item: 0.0,
    together: Callable[[Item], object] | None = None,
) -> Done[Item, Result]:
    """Each item with its result, as they come; None where the worker ended on that very item, twice.

    `function` takes a list and gives a list. With `workers` above 1 it runs in as many processes, with `cluster` on the
    Dask scheduler at that address; a worker that ends takes nothing along, its items are done by another. What the
    function raises is raised. `ahead` starts the processes before the first item is asked for, so that they are there
    when a slow source gives it. Items go out 16 at a time, or more where a worker needs less than a quarter of a second
    for them; fewer where their `weight` together comes to 1.
    Of neighbours for which `together` gives the same, which share what is worked out, up to 64 go to one worker.
    """
    chunks = _Chunks(items, weight, together)
    if cluster:
        yield from _on_cluster(function, chunks, cluster, ahead)
    elif workers > 1:
        yield from _in_processes(function, chunks, workers, ahead)
    else:
        for chunk in chunks:
            yield from zip(chunk, function(chunk), strict=True)


class _Chunks(Iterator[list[Item]]):
    """The items in chunks, the next as large as the last one that came back lets it be."""

    def __init__(
        self, items: Iterable[Item], weight: Callable[[Item], float], together: Callable[[Item], object] | None
    ) -> None:
        self._size = CHUNK
        self._chunks = self._cut(items, weight, together)

    def __next__(self) -> list[Item]:
        return next(self._chunks)

    def took(self, count: int, seconds: float) -> None:
        """Hear how long so many items kept a processor."""
        self._size = min(max(CHUNK, int(count * _CHUNK_SECONDS / max(seconds, 1e-6))), LARGEST_CHUNK)

    def _cut(
        self, items: Iterable[Item], weight: Callable[[Item], float], together: Callable[[Item], object] | None
    ) -> Iterator[list[Item]]:
        chunk: list[Item] = []
        load, group = 0.0, None
        for each in items:
            of = together(each) if together else None
            if len(chunk) >= (max(self._size, _OF_A_KIND) if together and of == group else self._size):
                yield chunk
                chunk, load = [], 0.0
            chunk.append(each)
            load += weight(each)
            group = of
            if load >= 1.0 or (together is None and len(chunk) >= self._size):
                yield chunk
                chunk, load = [], 0.0
        if chunk:
            yield chunk


def _timed(function: Function[Item, Result], chunk: list[Item]) -> tuple[list[Result], float]:
    """The results of a chunk, and how long it kept a processor."""
    begin = time.thread_time()
    return function(chunk), time.thread_time() - begin


def _in_processes(
    function: Function[Item, Result], chunks: _Chunks[Item], count: int, ahead: bool
) -> Done[Item, Result]:
    pool = _Pool(count)
    held: dict[concurrent.futures.Future[tuple[list[Result], float]], list[Item]] = {}
    try:
        for _ in range(count if ahead else 0):
            pool.submit(function, [])
        more = True
        while more or held:
            lost: list[list[Item]] = []
            while more and not lost and len(held) < count * _WAITING:
                chunk = next(chunks, None)
                if chunk is None:
                    more = False
                    continue
                try:
                    held[pool.submit(_timed, function, chunk)] = chunk
                except BrokenProcessPool:  # a worker ended since the last results were taken
                    lost.append(chunk)
            done = () if lost else concurrent.futures.wait(held, return_when=concurrent.futures.FIRST_COMPLETED).done
            for future in done:
                chunk = held.pop(future)
                try:
                    results, seconds = future.result()
                except BrokenProcessPool:
                    lost.append(chunk)
                else:
                    chunks.took(len(chunk), seconds)
                    yield from zip(chunk, results, strict=True)
            if lost:
                # One worker ended, and the pool with it. What it held is done one by one: so the item is known.
                lost += held.values()
                held.clear()
                pool.shutdown(wait=False, cancel_futures=True)
                yield from _one_by_one(function, [each for chunk in lost for each in chunk])
                pool = _Pool(count)
        pool.shutdown()
    finally:
        pool.end()


def _one_by_one(function: Function[Item, Result], items: list[Item]) -> Done[Item, Result]:
    pool = _Pool(1)
    try:
        for each in items:
            try:
                yield each, pool.submit(function, [each]).result()[0]
            except BrokenProcessPool:
                pool.shutdown(wait=False)
                pool = _Pool(1)
                yield each, None
        pool.shutdown()
    finally:
        pool.end()


class _Pool(concurrent.futures.ProcessPoolExecutor):
    """So many processes; what is at work in them when they are ended is left there, since nobody waits for it."""

    def __init__(self, count: int) -> None:
        context = multiprocessing.get_context("spawn")  # everywhere: compiled loops and threads do not survive a fork
        ended, self._open = context.Pipe(duplex=False)
        super().__init__(count, context, _end_with_parent, (ended,))

    def end(self) -> None:
        """End the processes now."""
        self._open.close()
        self.shutdown(wait=True, cancel_futures=True)


def _end_with_parent(ended: Connection) -> None:
    """A worker ends when its parent was killed, or waits for nothing any more; Ctrl-C is the parent's."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:

        def watch() -> None:
            wait([parent.sentinel, ended])
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()


def _on_cluster(
    function: Function[Item, Result], chunks: _Chunks[Item], address: str, ahead: bool
) -> Done[Item, Result]:
    try:
        dask: Any = importlib.import_module("distributed")
    except ImportError as fault:
        raise GainError('--cluster wants Dask, which is not installed: pip install "gainlib[cluster]"') from fault
    try:
        client = dask.Client(address, timeout=LONGEST_ANSWER_SECONDS)
    except (OSError, ValueError, TimeoutError) as fault:
        raise GainError(f"no cluster answers at {address}; give a scheduler such as tcp://10.0.0.5:8786.") from fault
    with contextlib.closing(client):

        def other_workers(ended: set[str]) -> list[str]:
            """The workers that are none of these, waited for."""
            latest = time.monotonic() + LONGEST_RETURN_SECONDS
            while not (there := sorted(set(client.scheduler_info()["workers"]) - ended)):
                if time.monotonic() > latest:
                    start = f"dask worker {address} --nworkers -1 --nthreads 1"
                    raise GainError(f"the cluster at {address} has no workers; start some: {start}")
                time.sleep(0.1)
            return there

        there = other_workers(set())
        for worker in there if ahead else ():
            dask.fire_and_forget(client.submit(function, [], pure=False, workers=[worker]))
        held: dict[str, list[Item]] = {}
        coming = dask.as_completed()
        most = until_asked = 0

        def send(chunk: list[Item]) -> None:
            future = client.submit(_timed, function, chunk, pure=False, retries=_RETRIES)
            held[future.key] = chunk
            coming.add(future)

        def fill() -> None:
            nonlocal most, until_asked
            if until_asked <= 0:  # workers come and go, but asking costs as much as a chunk
                most = until_asked = max(1, sum(client.nthreads().values())) * _WAITING
            until_asked -= 1
            while len(held) < most and (chunk := next(chunks, None)) is not None:
                send(chunk)

        fill()
        suspects: list[Item] = []
        ended: set[str] = set()
        while held:
            future: Any = next(coming)
            chunk = held.pop(future.key)
            try:
                results, seconds = future.result()
            except dask.KilledWorker as fault:
                # What only shared a worker with the item that ended it is blamed as well.
                suspects += chunk
                ended.add(fault.last_worker.address)
            else:
                future.release()
                chunks.took(len(chunk), seconds)
                yield from zip(chunk, results, strict=True)
            fill()
        for each in suspects:
            # Alone on a worker that no earlier item ended, so that the item is known; a worker that comes back has
            # another address.
            result = None
            try:
                fresh = other_workers(ended)
                future = client.submit(function, [each], pure=False, workers=fresh, allow_other_workers=True)
                result = future.result()[0]
            except dask.KilledWorker as fault:
                ended.add(fault.last_worker.address)
            yield each, result
