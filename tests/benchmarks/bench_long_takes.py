"""Long takes on a bench beside one of 30 s: the first picture, a move, memory; each length in a process of its own.

    .venv/bin/python tests/benchmarks/bench_long_takes.py            # 5 and 30 minutes of stereo at 48 kHz
    .venv/bin/python tests/benchmarks/bench_long_takes.py 60         # so many minutes

The chain is trim, compressor, saturation, limiter and fader; a move is of the compressor, and is drawn. Ratios are to
the take of 30 s on the same bench in the same run; reading is told apart, since it takes what the disk and the coding
take. Seconds are those of the processor, which another process on the machine does not lengthen much.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RATE_HZ = 48_000
MOVES = 12


def written(folder: Path, seconds: float) -> Path:
    """A stereo file of noise with a loud half minute at a third of it, a minute at a time."""
    import soundfile

    path = folder / f"take-{seconds:.0f}.wav"
    random = np.random.default_rng(7)
    with soundfile.SoundFile(path, "w", RATE_HZ, 2, subtype="PCM_24") as file:
        for minute in range(int(-(-seconds // 60))):
            count = round(min(60.0, seconds - 60.0 * minute) * RATE_HZ)
            at = 60.0 * minute + np.arange(count) / RATE_HZ
            loud = np.where((at >= seconds / 3) & (at < seconds / 3 + 30.0), 0.25, 0.03)
            file.write((loud[:, None] * random.standard_normal((count, 2))).clip(-1.0, 1.0))
    return path


def measured(path: Path, *, whole: bool) -> dict[str, float]:
    """One file on a bench: seconds to read, to the first picture, for a move, for all; memory in MB."""
    import psutil

    import gainlib as gl
    from gainlib.flow.buffers import give_back

    warm = gl.Session.of(gl.tone(-6, 997, seconds=1, rate_hz=RATE_HZ), chain(gl), name="warm")
    gl.bench(warm, controls=["compressor/threshold_db"]).panel.close()  # the libraries opened, the loops compiled
    began = time.process_time()
    take = gl.read(path)
    read = time.process_time()
    bench = gl.bench(gl.Session.of(take, chain(gl), name="take"), controls=["compressor/threshold_db"])
    _ = bench.panel
    shown = time.process_time()
    moves = []
    for index in range(MOVES):
        start = time.process_time()
        bench.move("compressor/threshold_db", -21.0 - index)
        moves.append(time.process_time() - start)
    held = psutil.Process().memory_info().rss / 1e6
    rendered = 0.0
    if whole and bench.is_long:
        start = time.process_time()
        bench.render_all()
        rendered = time.process_time() - start
    give_back()
    return {
        "read": read - began, "first": shown - read, "move": statistics.median(moves), "memory": held,
        "all": rendered, "told": bench.all_seconds,
    }  # fmt: skip


def chain(gl):
    return [gl.Trim(), gl.Compressor(), gl.Saturation(drive_db=3.0), gl.Limiter(), gl.Fader()]


def alone(path: Path, *, whole: bool) -> dict[str, float]:
    """The same in a process of its own."""
    run = subprocess.run(
        [sys.executable, __file__, "one", str(path), str(int(whole))], capture_output=True, text=True, check=True
    )
    return json.loads(run.stdout)


def main() -> None:
    minutes = [float(each) for each in sys.argv[1:]] or [5.0, 30.0]
    with tempfile.TemporaryDirectory() as folder:
        short = alone(written(Path(folder), 30.0), whole=False)
        print(f"30 s: first picture {short['first']:.2f} s, a move {1000 * short['move']:.0f} ms, "
              f"{short['memory']:.0f} MB")  # fmt: skip
        for each in minutes:
            path = written(Path(folder), 60.0 * each)
            found = alone(path, whole=each <= 5.0)
            print(
                f"{each:g} min: read {found['read']:.2f} s, first picture {found['first']:.2f} s "
                f"({found['first'] / short['first']:.2f} times), a move {1000 * found['move']:.0f} ms "
                f"({found['move'] / short['move']:.2f} times), {found['memory']:.0f} MB"
                + (f"; all in {found['all']:.1f} s, told as {found['told']:.1f} s" if found["all"] else "")
            )
            path.unlink()


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        print(json.dumps(measured(Path(sys.argv[2]), whole=sys.argv[3] == "1")))
    else:
        main()
