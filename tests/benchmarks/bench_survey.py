"""How fast a survey is beside ffmpeg on the same stems in one run, how its time grows, and what it keeps in memory.

`python tests/benchmarks/bench_survey.py [--speed] [--many] [--growth] [--memory]`; without an option, all four. ffmpeg
reads loudness with true peaks and its statistics; the survey reads more (flat tops, damage, noise, hum, polarity, a
checksum, the sum before and after trims). Each is taken in turns, the best of three; ffmpeg both one file after the
other and two side by side. Processor time counts the starting of Python and the compiled loops' opening too.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
STEMS = 8
SECONDS = 300
TURNS = 3
MANY = 10_000
MEDIA = Path(__file__).resolve().parents[2] / "media"

SURVEY = """
import sys, time
before = time.perf_counter()
from gainlib.surveys.survey import survey
found = survey(*sys.argv[2:], workers=int(sys.argv[1]))
assert found.whole and not found.unreadable and found.sum is not None, found.unreadable
took = time.perf_counter() - before
# Of this program alone: what getrusage tells is at least what the program that started it had.
status = open("/proc/self/status").read() if sys.platform == "linux" else "VmHWM: 0 kB"
print(took, int(status.split("VmHWM:")[1].split()[0]) / 1024)
"""

COMMAND = """
import sys
from gainlib.cli import main
sys.argv = ["gainlib", "survey", sys.argv[1]]
try:
    main()
except SystemExit:
    status = open("/proc/self/status").read() if sys.platform == "linux" else "VmHWM: 0 kB"
    print(int(status.split("VmHWM:")[1].split()[0]) / 1024, file=sys.stderr)
"""


def programme(seed: int, seconds: float, rate_hz: int, channels: int = 2) -> np.ndarray:
    """Notes and noise that swell and pause: what a stem may hold."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    gains = np.repeat(10 ** (rng.uniform(-40, -14, int(seconds) + 1) / 20), rate_hz)[:count, None]
    gains[rng.integers(0, count) :][: 2 * rate_hz] *= 1e-4
    note = np.sin(2 * np.pi * rng.uniform(60, 900) / rate_hz * np.arange(count))[:, None]
    return np.clip(gains * (0.5 * rng.standard_normal((count, channels)) + note), -1, 1).astype(np.float32)


def dense(seed: int, seconds: float, rate_hz: int) -> np.ndarray:
    """Loud from end to end, its peaks all alike: no stretch can be passed over when the highest is looked for."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    note = np.sin(2 * np.pi * rng.uniform(60, 900, 2) / rate_hz * np.arange(count)[:, None])
    return (0.8 * np.tanh(rng.standard_normal((count, 2)) + note)).astype(np.float32)


def course(seed: int, seconds: float, rate_hz: int) -> np.ndarray:
    """The course's own stems on end, two of them as two sides."""
    stems = [soundfile.read(each, dtype="float32", always_2d=True)[0][:, 0] for each in sorted(MEDIA.glob("*.flac"))]
    count = round(seconds * rate_hz)
    sides = [np.resize(np.concatenate(stems[turn:] + stems[:turn]), count) for turn in (seed, seed + 1)]
    return np.stack(sides, axis=1)


def survey(paths: list[Path], workers: int = 2) -> tuple[float, float]:
    """Seconds from the start of the interpreter's work, and the most memory in MB, of a survey of its own process."""
    command = [sys.executable, "-c", SURVEY, str(workers), *map(str, paths)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, megabytes = map(float, done.stdout.split())
    return seconds, megabytes


def ffmpeg(path: Path) -> None:
    filters = "ebur128=peak=true,astats"
    subprocess.run(["ffmpeg", "-nostdin", "-v", "error", "-i", path, "-af", filters, "-f", "null", "-"], check=True)


def ffmpeg_beside(paths: list[Path]) -> None:
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(ffmpeg, paths))


def took(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock, and of processor time in the processes that the work starts."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    work()
    clock, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return clock, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def speed(folder: Path) -> None:
    print(
        f"{STEMS} stereo stems of {SECONDS} s, 24 bit    clock, processor; ffmpeg: how many times as long (aims 3, 1.5)"
    )
    for made in (programme, dense, course):
        paths = [folder / f"stem-{index}.wav" for index in range(STEMS)]
        for index, path in enumerate(paths):
            soundfile.write(path, made(index, SECONDS, RATE_HZ), RATE_HZ, subtype="PCM_24")
        survey(paths[:2])
        contenders: dict[str, Callable[[], object]] = {"survey, two side by side": lambda paths=paths: survey(paths)}
        if shutil.which("ffmpeg"):
            contenders["ffmpeg, one after the other"] = lambda paths=paths: [ffmpeg(path) for path in paths]
            contenders["ffmpeg, two side by side"] = lambda paths=paths: ffmpeg_beside(paths)
        times: dict[str, list[tuple[float, float]]] = {name: [] for name in contenders}
        for _ in range(TURNS):
            for name, contender in contenders.items():
                times[name].append(took(contender))
        best = {name: tuple(map(min, zip(*each, strict=True))) for name, each in times.items()}
        ours = best["survey, two side by side"]
        print(f"  {made.__name__}")
        for name, (clock, processor) in best.items():
            ratios = f"{clock / ours[0]:6.2f} {processor / ours[1]:6.2f}" if name.startswith("ffmpeg") else ""
            print(f"    {name:30} {clock:7.2f} s {processor:7.2f} s {ratios}")
        for path in paths:
            path.unlink()


def many(folder: Path) -> None:
    sound = programme(1, 60, RATE_HZ, 1)
    rng = np.random.default_rng(0)
    place = folder / "many"
    place.mkdir()
    for index in range(MANY):
        length = round(rng.uniform(0.3, 2.0) * RATE_HZ)
        start = int(rng.integers(0, len(sound) - length))
        soundfile.write(place / f"{index:05}.wav", sound[start : start + length], RATE_HZ, subtype="PCM_16")
    # The command, which has many short files measured in processes; it ends with 1 where it tells of a fault.
    command = [Path(sys.executable).with_name("gainlib"), "survey", place, "--workers", "2", "--json"]

    def work() -> None:
        done = subprocess.run(command, capture_output=True, text=True)
        assert done.returncode in (0, 1), done.stderr
        assert len(json.loads(done.stdout)["stems"]) == MANY

    clock, processor = map(min, zip(*[took(work) for _ in range(2)], strict=True))
    print(f"{MANY} files of 0.3 to 2 s: {clock:.1f} s by the clock, {processor:.1f} s of processor time (aim 20 by it)")


def growth(folder: Path) -> None:
    print("minutes   seconds   seconds a minute   MB")
    path = folder / "long.wav"
    survey_of_nothing = folder / "short.wav"
    soundfile.write(survey_of_nothing, programme(1, 1, RATE_HZ), RATE_HZ)
    start = min(survey([survey_of_nothing])[0] for _ in range(TURNS))
    for minutes in (5, 10, 20, 40, 80):
        with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_24") as sound:
            for minute in range(minutes):
                sound.write(programme(minute % 7, 60, RATE_HZ))
        times, sizes = zip(*[survey([path]) for _ in range(TURNS)], strict=True)
        took = min(times) - start
        print(f"{minutes:7}   {took:7.2f}   {took / minutes:16.3f}   {max(sizes):.0f}")
    path.unlink()


def memory(folder: Path) -> None:
    path = folder / "hours.wav"
    block = programme(3, 60, 96_000)
    with soundfile.SoundFile(path, "w", 96_000, 2, "PCM_16", format="RF64") as sound:
        for _ in range(180):
            sound.write(block)
    os.environ["NUMBA_CACHE_DIR"] = str(folder / "cache")
    for what in ("loops compiled now", "compiled before"):
        seconds, megabytes = survey([path])
        print(f"3 hours of 96 kHz stereo, {what}: {seconds:.0f} s, {megabytes:.0f} MB (aim 200)")
    done = subprocess.run([sys.executable, "-c", COMMAND, path], capture_output=True, text=True, check=True)
    print(f"the same by the command, with what it opens for itself: {float(done.stderr.split()[-1]):.0f} MB")
    path.unlink()


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    for name in ("speed", "many", "growth", "memory"):
        options.add_argument(f"--{name}", action="store_true")
    chosen = vars(options.parse_args())
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as temporary:
        for name, bench in (("speed", speed), ("many", many), ("growth", growth), ("memory", memory)):
            if chosen[name] or not any(chosen.values()):
                bench(Path(temporary))
