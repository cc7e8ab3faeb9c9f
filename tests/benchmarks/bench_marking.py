"""How fast a class is marked, beside a notebook that is run, in growing classes, by more workers; and what kills do.

    python tests/benchmarks/bench_marking.py notebook            # one answer rendered again, beside running a notebook
    python tests/benchmarks/bench_marking.py growth              # 250 to 2,000 hand-ins: time and memory
    python tests/benchmarks/bench_marking.py growth --kind reckon --sizes 1000 3000 10000
    python tests/benchmarks/bench_marking.py workers             # one worker beside two, on the same work
    python tests/benchmarks/bench_marking.py kills               # 12 kills of a marking of 60, and what it ends with
    python tests/benchmarks/bench_marking.py class --learners 10000 --keep /tmp/big-class
    python tests/benchmarks/bench_marking.py cluster             # two workers of a Dask cluster, beside one process

A machine that has other work to do spoils seconds, so growth and workers are told in processor time as well: of the
process that had most of it, which is how long the marking takes where each process has a processor to itself.
Hand-ins are made with a fixed seed: ten exercises each, answered right, nearly right, with a slip, or anyhow; one in
twenty is broken, in twenty ways by turns. Every broken one must be listed and every other one marked.
"""

from __future__ import annotations

import argparse
import concurrent.futures
import contextlib
import functools
import json
import multiprocessing
import os
import random
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

from gainlib.classroom import RosterLine, new_class, read_class
from gainlib.classroom.marking import Work, engine_digest, mark_answers, own_values, task_digest
from gainlib.classroom.run import mark_class
from gainlib.exercises import answer_from, author_answer, exercise_names, load
from gainlib.learners.hand_in_file import signature_of

BROKEN_ONE_IN = 20


def entry(content, *path, to):
    """The hand-in with one entry changed."""
    content = json.loads(json.dumps(content))
    at = content
    for name in path[:-1]:
        at = at[name]
    at[path[-1]] = to
    return json.dumps(content)


WAYS = {
    "cut off": lambda good: json.dumps(good)[:-50],
    "empty": lambda good: "",
    "a letter": lambda good: "Dear teacher, here it is.",
    "not UTF-8": lambda good: b"\xff\xfe\x00{",
    "too large": lambda good: json.dumps(good | {"more": "x" * 600_000}),
    "nested": lambda good: "[" * 50_000,
    "NaN": lambda good: entry(good, "answers", 0, "answer", to={"a": float("nan")}),
    "infinite": lambda good: entry(good, "answers", 0, "answer", to={"a": float("inf")}),
    "beyond all bounds": lambda good: json.dumps(good).replace('"attempts": 1', '"attempts": 1e999'),
    "a list": lambda good: json.dumps([good]),
    "another schema": lambda good: json.dumps(good | {"schema": "gainlib progress"}),
    "a newer version": lambda good: json.dumps(good | {"version": 9}),
    "hints in words": lambda good: entry(good, "answers", 0, "hints_used", to="none"),
    "an answer in an answer": lambda good: entry(good, "answers", 0, "answer", to={"a": {"b": 1}}),
    "an entry too much": lambda good: json.dumps(good | {"points": 100}),
    "an entry missing": lambda good: json.dumps({name: each for name, each in good.items() if name != "course"}),
    "no time": lambda good: json.dumps(good | {"made": "soon"}),
    "a stranger": lambda good: entry(good, "learner", "id", to="nobody"),
    "another class": lambda good: entry(good, "class", "tag", to="0" * 16),
    "an entry twice": lambda good: json.dumps(good).replace('"version": 1', '"version": 1, "version": 1', 1),
}


@functools.cache
def known_answers(exercise, values):
    """The author's answer and those of the slips at these numbers, and the controls."""
    variant = exercise.with_values(dict(values))
    return author_answer(variant), [answer_from(variant, slip.answer) for slip in exercise.spec.slips], variant.controls


def answered(exercise, values, chance, distinct):
    """An answer as a class gives them: half right or nearly, a quarter with a slip, some anyhow."""
    solution, slips, moves = known_answers(exercise, tuple(values.items()))
    answer, kind = dict(solution), chance.random()
    if kind < 0.25 and slips:
        answer = dict(chance.choice(slips))
    if distinct and not moves:
        for name, value in answer.items():
            answer[name] = round(value + chance.randint(-400, 400) / 1000, 6) if isinstance(value, float) else value
    for move in moves:
        if move.options or move.points or not isinstance(answer.get(move.path), float | int):
            continue
        if kind > 0.9:
            steps = round((move.high - move.low) / move.step)
            answer[move.path] = round(move.low + move.step * chance.randint(0, steps), 6)
        elif kind > 0.5:
            answer[move.path] = answer[move.path] + move.step * chance.choice([-1, 0, 0, 1])
        if distinct:
            answer[move.path] += chance.randint(-400, 400) * move.step / 1000
        answer[move.path] = round(min(move.high, max(move.low, answer[move.path])), 6)
    return answer


def made_class(home, learners, exercises, *, distinct=False, seed=7):
    """A class with its hand-ins in `home`; gives the class file and how many hand-ins are broken."""
    chance = random.Random(seed)
    roster = [RosterLine(id=f"l-{index:05d}", name=f"Learner {index}") for index in range(learners)]
    file, _ = new_class(home / "big", title="A large class", roster=roster, exercises=exercises)
    of_class = read_class(file)
    loaded = [load(each) for each in exercises]
    folder = home / "hand-ins"
    folder.mkdir()
    broken = 0
    for index, learner in enumerate(roster):
        answers = []
        for exercise in loaded:
            values = own_values(exercise, learner.id, of_class.key_of(learner.id))
            answers.append(
                {
                    "exercise": exercise.name, "exercise_digest": exercise.digest, "values": values,
                    "answer": answered(exercise, values, chance, distinct),
                    "hints_used": chance.choice([0, 0, 0, 1]), "attempts": 1, "time": "2026-01-15T12:00:00Z",
                }
            )  # fmt: skip
        content = {
            "schema": "gainlib hand-in", "version": 1, "class": {"title": of_class.title, "tag": of_class.tag},
            "learner": {"id": learner.id, "name": learner.name}, "course": {"gainlib": "0", "digest": "0"},
            "made": "2026-01-15T12:00:00Z", "answers": answers,
        }  # fmt: skip
        content["signed"] = signature_of(content, of_class.key_of(learner.id))
        text = json.dumps(content)
        if index % BROKEN_ONE_IN == BROKEN_ONE_IN - 1:
            text = list(WAYS.values())[broken % len(WAYS)](content)
            broken += 1
        where = folder / f"{index // 1000:02d}"
        where.mkdir(exist_ok=True)
        (where / f"{learner.id}.json").write_bytes(text if isinstance(text, bytes) else text.encode())
    return file, broken


@dataclass(frozen=True)
class Cost:
    """What a marking took: seconds, processor time in all, and processor time of the busiest process."""

    seconds: float
    processor: float
    busiest: float


class Peaks:
    """The most resident megabytes that this process and any worker had, and each worker's processor time so far."""

    def __enter__(self):
        self.own = self.worker = 0.0
        self.used = {}
        self._before = {each.pid: sum(each.cpu_times()[:2]) for each in psutil.Process().children()}
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._ended.set()
        self._thread.join()

    def _look(self):
        me = psutil.Process()
        while not self._ended.wait(0.2):
            with contextlib.suppress(psutil.Error):
                self.own = max(self.own, me.memory_info().rss / 1024**2)
                for each in me.children():
                    self.worker = max(self.worker, each.memory_info().rss / 1024**2)
                    self.used[each.pid] = sum(each.cpu_times()[:2]) - self._before.get(each.pid, 0.0)


def made_apart(*given, **named):
    """`made_class` in a process of its own, so that what it needs is not counted as the marking's."""
    with concurrent.futures.ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        return pool.submit(made_class, *given, **named).result()


def run_of(home, file, learners, broken, out, **given):
    """Mark, hold what was marked against what was made, and print one line."""
    begin, processor = time.perf_counter(), time.process_time()
    before = os.times()
    with Peaks() as peaks:
        done = mark_class(home / "hand-ins", file, out, feedback="none", **given)
    seconds, own = time.perf_counter() - begin, time.process_time() - processor
    after = os.times()
    workers = after.children_user + after.children_system - before.children_user - before.children_system
    workers = max(workers, sum(peaks.used.values()))  # those of a cluster go on, so the system has not counted them yet
    assert (done.handed_in, done.not_marked) == (learners - broken, broken), done
    each = " + ".join(f"{used:.1f}" for used in sorted(peaks.used.values()) if used >= 0.1) or "0.0"
    print(
        f"{learners:6d} hand-ins, {broken} broken: {seconds:7.1f} s, {learners / seconds:6.1f} hand-ins/s; "
        f"{done.answers} different answers, {done.marked_before} marked before; processor time: {own:.1f} s here, "
        f"{each} s in others, {workers:.1f} s in all of them; "
        f"at most {peaks.own:.0f} MB here, {peaks.worker:.0f} MB in a worker; "
        f"load {os.getloadavg()[0]:.1f}",
        flush=True,
    )
    return Cost(seconds, own + workers, max([own, *peaks.used.values()]))


def notebook(arguments):
    """One answer marked by rendering it again, beside a notebook that gives the same answer and is run."""
    import nbformat
    from nbclient import NotebookClient

    name = arguments.exercise
    exercise = load(name)
    values = own_values(exercise, "ada", "key")
    answer, own = author_answer(exercise.with_values(values)), author_answer(exercise.variant("ada"))
    books = {
        "a notebook of two lines": [
            "from gainlib.exercises import check, load\n"
            f"verdict = check(load({name!r}).variant('ada', 'key'), {answer!r})",
            "print(verdict.text)",
        ],
        "a notebook that sits it": [
            f"import gainlib as gl\n\nsitting = gl.exercise({name!r}, learner='ada')\nsitting",
            f"for path, value in {own!r}.items():\n    sitting.bench.move(path, value)",
            "print(sitting.check().text)",
        ],
    }
    runs = {book: [] for book in books}
    for _ in range(5):
        for kind, cells in books.items():
            book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
            begin = time.perf_counter()
            NotebookClient(book, timeout=120, kernel_name="python3").execute()
            runs[kind].append(time.perf_counter() - begin)
            assert "Passed" in book.cells[-1].outputs[0]["text"]
    marks = []
    for index in range(60):
        others = own_values(exercise, f"learner {index}", "key")
        work = Work(name, name, task_digest(exercise), engine_digest(), others, answer | {"n": index}, 0)
        begin = time.perf_counter()
        (mark,) = mark_answers([work])
        marks.append(time.perf_counter() - begin)
        assert not mark["fault"], mark
    other = statistics.median(marks[5:])
    print(f"{name}: marked in {1000 * other:.1f} ms (median of {len(marks) - 5} different answers)")
    for kind, seconds in runs.items():
        one = statistics.median(seconds)
        times = f"marking is {one / other:.0f} times as fast"
        print(f"{kind} is run in {1000 * one:.0f} ms (median of {len(seconds)}): {times}")


def growth(arguments):
    """The same kind of class at growing sizes, every answer different, so that each is measured."""
    costs = {}
    for learners in arguments.sizes:
        home = Path(tempfile.mkdtemp(prefix="gainlib-bench-"))
        file, broken = made_apart(home, learners, exercises_of(arguments), distinct=True)
        costs[learners] = run_of(home, file, learners, broken, home / "out", workers=arguments.workers)
        shutil.rmtree(home)
    first = next(iter(costs))
    for learners, cost in costs.items():
        print(
            f"{learners / first:5.1f} times the hand-ins: {cost.seconds / costs[first].seconds:5.2f} times the time, "
            f"{cost.processor / costs[first].processor:5.2f} times the processor time"
        )


def workers(arguments):
    """One worker beside two on the same hand-ins, by turns."""
    home, learners = Path(tempfile.mkdtemp(prefix="gainlib-bench-")), arguments.learners or 200
    file, broken = made_apart(home, learners, exercises_of(arguments), distinct=True)
    costs = {1: [], 2: []}
    for turn in range(2):
        for count, found in costs.items():
            found.append(run_of(home, file, learners, broken, home / f"out-{turn}-{count}", workers=count))
    tell_ratio("two workers", costs[1], costs[2])
    shutil.rmtree(home)


def tell_ratio(who, one, more):
    """How many times as fast some marked as one process, the best of each."""
    fast = min(each.seconds for each in one) / min(each.seconds for each in more)
    free = min(each.processor for each in one) / min(each.busiest for each in more)
    extra = min(each.processor for each in more) / min(each.processor for each in one)
    print(
        f"{who}: {fast:.2f} times as fast as one here (best of {len(one)} each); {free:.2f} times where each process "
        f"has a processor to itself; {extra:.2f} times the processor time in all"
    )


def cluster(arguments):
    """Two workers of a Dask cluster beside one process, on the same hand-ins; both must write the same sheets.

    Scheduler and workers are processes of their own, as they are elsewhere, so that each one's processor time is told.
    They wake up 50 to 100 times a second, whatever they do: on a machine that others keep busy that is much of it.
    """
    from distributed import Client
    from distributed.deploy.subprocess import SubprocessCluster

    home, learners = Path(tempfile.mkdtemp(prefix="gainlib-bench-")), arguments.learners or 200
    file, broken = made_apart(home, learners, exercises_of(arguments), distinct=True)
    one = run_of(home, file, learners, broken, home / "out-one")
    plain = {"worker_class": "distributed.Worker", "dashboard_address": None}
    with SubprocessCluster(n_workers=2, threads_per_worker=1, **plain) as local:
        with Client(local.scheduler_address) as client:
            client.wait_for_workers(2)
        two = run_of(home, file, learners, broken, home / "out-two", cluster=local.scheduler_address)
    tell_ratio("two workers of a cluster", [one], [two])
    first, second = results(home / "out-one"), results(home / "out-two")
    unlike = [name for name in first | second if first.get(name) != second.get(name)]
    print(f"{len(first)} files, unlike those of one process: {unlike or 'none'}")
    shutil.rmtree(home)
    assert not unlike


def results(folder):
    """Everything that a marking wrote, but for the store."""
    files = [each for each in folder.rglob("*") if each.is_file() and not each.name.startswith("marks.sqlite")]
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


def kills(arguments):
    """Kill the command at random moments until it ends by itself; hold what it wrote against an undisturbed run."""
    home, learners = Path(tempfile.mkdtemp(prefix="gainlib-bench-")), arguments.learners or 60
    exercises = arguments.exercises or ["recording/leave-room", "levels/two-tracks", "levels/out-of-line"]
    file, broken = made_apart(home, learners, exercises, distinct=True)
    chance = random.Random(7)

    def ended(out, seconds=None):
        """Mark into a folder; whether it came to its end, or was killed after so many seconds."""
        command = [
            sys.executable, "-c", "from gainlib.cli import main; main()", "mark", home / "hand-ins", "--class", file,
            "--out", out, "--workers", str(arguments.workers), "--feedback", "light",
        ]  # fmt: skip
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
        try:
            said = process.communicate(timeout=seconds)[1]
        except subprocess.TimeoutExpired:
            process.kill()
            process.communicate()
            return False
        assert (process.returncode, said) == (1 if broken else 0, b""), said
        return True

    begin = time.perf_counter()
    ended(home / "undisturbed")
    whole = time.perf_counter() - begin
    wanted = results(home / "undisturbed")
    print(f"{learners} hand-ins, {broken} broken: undisturbed {whole:.1f} s, {len(wanted)} files", flush=True)
    killed = unlike = left = compared = 0
    out = home / "out"
    while killed < arguments.times or out.exists():
        seconds = chance.uniform(0.2, whole) if killed < arguments.times else None
        if not ended(out, seconds):
            killed += 1
            print(f"killed {killed} of {arguments.times} after {seconds:.1f} s: {kept_in(out)} marks kept", flush=True)
            continue
        found = results(out)
        unlike += sum(found.get(name) != wanted[name] for name in wanted)
        left += len(found.keys() - wanted.keys())
        compared += len(wanted)
        print(
            f"came to its end: {unlike} of {compared} files unlike the undisturbed run's, {left} left over", flush=True
        )
        shutil.rmtree(out)
    shutil.rmtree(home)
    assert not unlike
    assert not left


def kept_in(out):
    """How many marks a killed marking left in its store."""
    if not (out / "marks.sqlite").exists():
        return 0
    with contextlib.closing(sqlite3.connect(out / "marks.sqlite")) as base:
        try:
            return base.execute("SELECT count(*) FROM marks").fetchone()[0]
        except sqlite3.OperationalError:  # it was killed before it had made its tables
            return 0


def whole_class(arguments):
    """A large class in one go; with `--keep`, what was made and marked there before is used again."""
    home = arguments.keep or Path(tempfile.mkdtemp(prefix="gainlib-bench-"))
    home.mkdir(parents=True, exist_ok=True)
    learners = arguments.learners or 10_000
    file, broken = home / "big.toml", sum(index % BROKEN_ONE_IN == BROKEN_ONE_IN - 1 for index in range(learners))
    if not file.exists():
        file, broken = made_apart(home, learners, exercises_of(arguments), distinct=arguments.distinct)
    for _ in range(2):
        run_of(home, file, learners, broken, home / "out", workers=arguments.workers)


def exercises_of(arguments):
    names = arguments.exercises or [each for each in exercise_names() if arguments.kind in (None, load(each).spec.kind)]
    return names[: arguments.count]


def main():
    parts = {
        "notebook": notebook,
        "growth": growth,
        "workers": workers,
        "kills": kills,
        "class": whole_class,
        "cluster": cluster,
    }
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("part", choices=parts)
    given.add_argument("--exercise", default="recording/leave-room")
    given.add_argument("--exercises", nargs="*")
    given.add_argument("--kind", help="only exercises of this kind, such as reckon or set")
    given.add_argument("--count", type=int, default=10, help="how many exercises a hand-in has")
    given.add_argument("--learners", type=int, default=0)
    given.add_argument("--sizes", type=int, nargs="*", default=[250, 500, 1000, 2000])
    given.add_argument("--workers", type=int, default=2)
    given.add_argument("--times", type=int, default=12, help="how many kills")
    given.add_argument("--distinct", action="store_true", help="every answer different, so that each is measured")
    given.add_argument("--keep", type=Path)
    arguments = given.parse_args()
    parts[arguments.part](arguments)


if __name__ == "__main__":
    main()
