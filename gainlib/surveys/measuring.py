"""The files of a survey measured: in threads, in processes beside this one, or by the workers of a cluster."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from pathlib import Path

from gainlib.errors import GainError
from gainlib.surveys.kept import FileWork, KeptStems
from gainlib.surveys.stem import Stem, Stopped, measure_stem
from gainlib.surveys.trims import MOST_SUMMED
from gainlib.text import counted, printable
from gainlib.workers import digest_of_sources, require_same_gainlib, run_on_workers

__all__ = ["Measuring", "Progress", "measure_files"]

Progress = Callable[[float, str], None]
"""Hears how much of the work is done, from 0 to 1, and what is being done."""

_ADDED_UP = 0.95
"""Of the work, when all are added up; the rest holds them against each other."""
_ROOMS = (
    "audio.py", "broadcast.py", "decibels.py", "decoding.py", "errors.py", "loops", "meters", "sound_file.py",
    "stages", "surveys", "text.py",
)  # fmt: skip
_MANY, _SHORT_BYTES = 400, 2_000_000
"""So many files that are so short take the interpreter longer than the loops, so that threads wait for each other."""
_AT_ONCE_BYTES = 8_000_000
_CLOCKS_APART_NS = 2_000_000_000  # of one file, seen from two machines


def measure_files(works: Sequence[FileWork]) -> list[Stem | str]:
    """Each file's stem, or a sentence that says why there is none; in the same order, on any machine.

    Raises GainError where this machine's gainlib or its files are not those of the machine that asks.

    >>> measure_files([])
    []
    """
    return [_measured_here(each) for each in works]


def _measured_here(work: FileWork) -> Stem | str:
    require_same_gainlib(work.engine, digest_of_sources(_ROOMS))
    here = FileWork.of(Path(work.path), work.name, work.engine)
    if here.size != work.size or abs(here.modified_ns - work.modified_ns) > _CLOCKS_APART_NS:
        what = "is another file" if here.modified_ns else "is not there"
        raise GainError(
            f"{printable(work.path)} {what} on the worker {socket.gethostname()}; all machines of a cluster must see "
            "the same files under the same paths: name them by a path on storage that all of them share."
        )
    return _measured(Path(work.path), work.name, lambda share: None, lambda: False)


def _measured(path: Path, name: str, tick: Callable[[float], None], stop: Callable[[], bool]) -> Stem | str:
    try:
        return measure_stem(path, name, tick=tick, stop=stop)
    except Stopped:
        raise
    except GainError as fault:
        return printable(str(fault))
    except Exception as fault:  # a broken file must not end the survey of the others, whatever the library raises
        return printable(f"{name} could not be measured ({type(fault).__name__}: {fault}); export it again.")


class Measuring:
    """The files of a survey while they are measured.

    With `cluster`, the address of a Dask scheduler, its workers measure; with `in_processes` processes do where files
    are many and short; else `workers` threads. `done` are the stems, `unreadable` names with reasons, `notes` what is
    worth saying; `ended` is set to end the work.
    """

    def __init__(
        self,
        files: tuple[tuple[Path, str], ...],
        progress: Progress,
        finished: Callable[[Stem], object],
        *,
        workers: int,
        cluster: str = "",
        in_processes: bool = False,
    ) -> None:
        engine = digest_of_sources(_ROOMS)
        self.works = [FileWork.of(path.absolute() if cluster else path, name, engine) for path, name in files]
        self.unreadable: list[tuple[str, str]] = []
        self.done: list[Stem] = []
        self.notes: list[str] = []
        self.ended = threading.Event()
        self._progress, self._finished = progress, finished
        self._workers, self._cluster = workers, cluster
        bytes_ = sum(each.size for each in self.works)
        many = in_processes and workers > 1 and len(files) >= _MANY and bytes_ < len(files) * _SHORT_BYTES
        self._by_others = bool(cluster) or many
        self._kept = KeptStems()
        self._lock = threading.Lock()
        self._units = 0.0
        # The work is told in bytes, which are known without opening a file; adding up, where there is any, a quarter.
        self._measuring = 0.8 if 1 < len(files) <= MOST_SUMMED else 1.0
        self._all = sum(max(1, each.size) for each in self.works) / self._measuring or 1.0
        self._summed = 0.0

    def measure(self, pool: ThreadPoolExecutor) -> bool:
        """Measure every file that was not measured before; whether that came to its end."""
        results: dict[int, Stem | str] = {}
        # The longest first, so that no worker is left with a long one at the end.
        order = sorted(range(len(self.works)), key=lambda index: -self.works[index].size)
        for index in order:
            stem = self._kept.of(self.works[index])
            if stem is not None:
                results[index] = stem
                self._finished(stem)
                self._more(self.works[index].size, stem.name)
        before = len(results)
        order = [index for index in order if index not in results]
        if self._by_others:
            self._ask_others(order, results)
        else:
            self._in_threads(order, results, pool)
        for index, result in sorted(results.items()):
            if isinstance(result, Stem):
                self.done.append(result)
            else:
                self.unreadable.append((self.works[index].name, result))
        if before:
            self.notes.append(
                f"{before} of {counted(len(self.works), 'file')} had been measured by a survey that was ended, and "
                "have not changed since; it went on from there."
            )
        return not self.ended.is_set()

    def _in_threads(self, order: list[int], results: dict[int, Stem | str], pool: ThreadPoolExecutor) -> None:
        waiting = {pool.submit(self._one, self.works[index]): index for index in order}
        try:
            # Without an end to the waiting, Ctrl-C is not heard on every system.
            while wait(waiting, timeout=0.5).not_done:
                pass
        except KeyboardInterrupt:
            self.ended.set()
            for future in waiting:
                future.cancel()
        for future, index in waiting.items():
            # What is being measured ends at its next block; what was finished stays.
            result = None if future.cancelled() else future.result()
            if result is not None:
                results[index] = result

    def _one(self, work: FileWork) -> Stem | str | None:
        if self.ended.is_set():
            return None
        told = 0.0

        def tick(share: float) -> None:
            nonlocal told
            told += work.size * share
            self._more(work.size * share, work.name)

        try:
            result = _measured(Path(work.path), work.name, tick, self.ended.is_set)
            self._keep(work, result)
            return result
        except Stopped:
            return None
        finally:
            self._more(max(1, work.size) - told, work.name)

    def _ask_others(self, order: list[int], results: dict[int, Stem | str]) -> None:
        of = {self.works[index]: index for index in order}
        workers = 1 if self._cluster else self._workers
        try:
            for work, found in run_on_workers(
                measure_files,
                of,
                workers=workers,
                cluster=self._cluster,
                weight=lambda work: work.size / _AT_ONCE_BYTES,
            ):
                # Of a worker that ended on it twice there is none.
                result = found or f"{work.name} could not be measured: the worker that had it ended, twice."
                results[of[work]] = result
                self._keep(work, result)
                self._more(max(1, work.size), work.name)
        except KeyboardInterrupt:
            self.ended.set()

    def _keep(self, work: FileWork, result: Stem | str) -> None:
        if isinstance(result, Stem):
            self._kept.add(work, result)
            self._finished(result)

    def close(self, whole: bool) -> None:
        """Let go of what was kept: for good where the survey is whole, else for the next one, which is told."""
        if whole:
            self._kept.forget(self.works)
        elif self._kept.leave() and self.done:
            self.notes.append(
                f"What was measured is kept in {printable(self._kept.file)}: survey the same files again, and it goes "
                "on from there."
            )

    def tick_sum(self, share: float) -> None:
        """So much more of the sum was added up."""
        self._summed += share
        share = self._measuring + (_ADDED_UP - self._measuring) * min(1.0, self._summed)
        self._progress(max(share, self._measuring), "adding up")

    def tick_pairs(self, share: float) -> None:
        """So much of the stems was held against each other."""
        share = _ADDED_UP + (1.0 - _ADDED_UP) * share
        self._progress(max(share, self._measuring), "holding the stems against each other")

    def finish(self) -> None:
        """All is done, also where there was nothing to add up."""
        self._progress(1.0, "")

    def _more(self, units: float, name: str) -> None:
        with self._lock:
            self._units += units
            with contextlib.suppress(ValueError):
                self._progress(min(1.0, self._units / self._all), name)
