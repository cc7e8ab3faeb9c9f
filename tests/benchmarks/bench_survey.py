"""How fast a survey is beside ffmpeg on the same stems in one run, how its time grows, and what it keeps in memory.

`python tests/benchmarks/bench_survey.py [--memory] [--growth]`; without an option, all three. ffmpeg reads loudness
with true peaks and its statistics; the survey reads more (flat tops, noise floor, polarity, the sum before and after
trims). Each is taken in turns, the best of three; ffmpeg both one file after the other and two side by side.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
STEMS = 16
SECONDS = 300
TURNS = 3

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


def programme(seed: int, seconds: float, rate_hz: int, channels: int = 2) -> np.ndarray:
    """Notes and noise that swell and pause: what a stem may hold."""
    rng = np.random.default_rng(seed)
    count = round(seconds * rate_hz)
    gains = np.repeat(10 ** (rng.uniform(-40, -14, int(seconds) + 1) / 20), rate_hz)[:count, None]
    gains[rng.integers(0, count) :][: 2 * rate_hz] *= 1e-4
    note = np.sin(2 * np.pi * rng.uniform(60, 900) / rate_hz * np.arange(count))[:, None]
    return np.clip(gains * (0.5 * rng.standard_normal((count, channels)) + note), -1, 1).astype(np.float32)


def survey(paths: list[Path], workers: int = 2) -> tuple[float, float]:
    """Seconds from the start of the interpreter's work, and the most memory in MB, of a survey of its own process."""
    command = [sys.executable, "-c", SURVEY, str(workers), *map(str, paths)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seconds, megabytes = map(float, done.stdout.split())
    return seconds, megabytes


def ffmpeg(path: Path) -> None:
    filters = "ebur128=peak=true,astats"
    subprocess.run(["ffmpeg", "-nostdin", "-v", "error", "-i", path, "-af", filters, "-f", "null", "-"], check=True)


def speed(folder: Path) -> None:
    paths = []
    for index in range(STEMS):
        paths.append(folder / f"stem-{index:02}.wav")
        soundfile.write(paths[-1], programme(index, SECONDS, RATE_HZ), RATE_HZ, subtype="PCM_24")
    survey(paths[:2])
    ours, after, beside = [], [], []
    for _ in range(TURNS):
        ours.append(survey(paths))
        if shutil.which("ffmpeg"):
            start = time.perf_counter()
            for path in paths:
                ffmpeg(path)
            after.append(time.perf_counter() - start)
            start = time.perf_counter()
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(ffmpeg, paths))
            beside.append(time.perf_counter() - start)
    best = min(seconds for seconds, _ in ours)
    print(f"{STEMS} stereo stems of {SECONDS} s, 24 bit: {best:.1f} s, {max(each for _, each in ours):.0f} MB")
    for what, times in (("one after the other", after), ("two side by side", beside)):
        if times:
            print(f"    ffmpeg, {what}: {min(times):.1f} s, {min(times) / best:.1f} times as long (aim 3)")
    for path in paths:
        path.unlink()


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
    path.unlink()


if __name__ == "__main__":
    options = argparse.ArgumentParser(description=__doc__)
    for name in ("speed", "memory", "growth"):
        options.add_argument(f"--{name}", action="store_true")
    chosen = vars(options.parse_args())
    print(f"{os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as temporary:
        for name, bench in (("speed", speed), ("growth", growth), ("memory", memory)):
            if chosen[name] or not any(chosen.values()):
                bench(Path(temporary))
