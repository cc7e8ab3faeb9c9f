"""Whether an attempt that was told as saved is ever lost: python tests/benchmarks/bench_progress.py [--records 500].

Two processes record attempts in one folder, each as fast as it can; then the same again as often as `--kills` says,
where one of the two is killed with SIGKILL at a random moment. Prints how many were told as saved, how many stand
there, and how many of those told do not (0 is wanted); and how long one record takes in a folder of 10,000 attempts.
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace


def attempt(progress, who):
    """Record one attempt, its answer telling whose it is; gives what was said."""
    exercise = SimpleNamespace(name="levels/one", digest="0" * 16)
    variant = SimpleNamespace(exercise=exercise, values={"level": -24.0})
    verdict = SimpleNamespace(points=1.0, out_of=2.0, passed=False)
    return progress.record(variant, {"who": who, "voice/preamp/gain_db": 41.0}, verdict)


def work(folder, name, records):
    """Record so many attempts, and print each that was told as saved as soon as it was."""
    from gainlib.learners.progress import Progress

    progress = Progress.at(folder)
    for count in range(records):
        if "Saved:" in attempt(progress, f"{name} {count}"):
            print(f"{name} {count}", flush=True)


def two_processes(folder, records, kill_after=None):
    """What two processes were told as saved; the second is killed when it was told that often."""
    running = []
    for name in "ab":
        told = (Path(folder) / f"told-{name}.txt").open("w")
        command = [sys.executable, __file__, "--work", str(folder), name, "--records", str(records)]
        running.append((subprocess.Popen(command, stdout=told), told))
    if kill_after is not None:
        second = running[1][0]
        while second.poll() is None and len((Path(folder) / "told-b.txt").read_text().splitlines()) < kill_after:
            time.sleep(0.0005)
        second.kill()
    for process, told in running:
        process.wait()
        told.close()
    return {line for name in "ab" for line in (Path(folder) / f"told-{name}.txt").read_text().splitlines()}


def kept(folder):
    """Whose attempts stand in the folder, read without the library; a line that was cut off counts for nothing."""
    found = []
    for line in (Path(folder) / "attempts.jsonl").read_text().splitlines():
        try:
            found.append(json.loads(line)["answer"]["who"])
        except ValueError:
            continue
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--records", type=int, default=500)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--work", nargs=2, metavar=("FOLDER", "NAME"), help="be one of the two")
    given = parser.parse_args()
    if given.work:
        return work(*given.work, given.records)
    for kill in (None, *(random.randrange(given.records) for _ in range(given.kills))):
        with tempfile.TemporaryDirectory() as folder:
            begun = time.perf_counter()
            told, found = two_processes(folder, given.records, kill), kept(folder)
            seconds = time.perf_counter() - begun
            how = "both to the end" if kill is None else f"one killed after {kill}"
            print(
                f"{how}: told {len(told)}, kept {len(found)}, lost {len(told - set(found))}, "
                f"twice {len(found) - len(set(found))}, {seconds:.1f} s"
            )
    from gainlib.learners.progress import Progress

    with tempfile.TemporaryDirectory() as folder:
        progress = Progress.at(folder)
        attempt(progress, "first")
        file = Path(folder) / "attempts.jsonl"
        file.write_text(file.read_text() * 10_000)
        taken = []
        for _ in range(10):
            begun = time.perf_counter()
            attempt(progress, "late")
            taken.append(time.perf_counter() - begun)
        print(f"a record beside 10,000 others ({file.stat().st_size / 1e6:.1f} MB): {1000 * sorted(taken)[5]:.0f} ms")
    return None


if __name__ == "__main__":
    main()
