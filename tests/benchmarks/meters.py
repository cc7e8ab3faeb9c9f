"""How fast the meters are beside others, in one run on the same audio: `python tests/benchmarks/meters.py`.

Prints times in milliseconds, the best of several turns taken in alternation, and the ratio of each to ours. A busy
machine lengthens all of them; the ratios move less.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000
SECONDS = 60
TURNS = 7


def best_ms(*contenders: Callable[[], object]) -> list[float]:
    """The shortest time of each, called in turns so that a busy moment meets all of them."""
    times: list[list[float]] = [[] for _ in contenders]
    for _ in range(TURNS):
        for kept, contender in zip(times, contenders, strict=True):
            start = time.perf_counter()
            contender()
            kept.append(1000 * (time.perf_counter() - start))
    return [min(kept) for kept in times]


def line(what: str, ours: float, others: dict[str, tuple[float, float]]) -> None:
    print(f"{what:<44} {ours:8.1f} ms")
    for name, (theirs, aim) in others.items():
        verdict = "" if theirs >= aim * ours else "   <- below the aim"
        print(f"    {name:<40} {theirs:8.1f} ms   {theirs / ours:6.1f} times as long (aim {aim:g}){verdict}")


def programme() -> np.ndarray:
    """Stereo noise that swells, with pauses: 60 s."""
    rng = np.random.default_rng(1)
    gains = np.repeat(10 ** (rng.uniform(-40, -14, SECONDS) / 20), RATE_HZ)
    return np.clip(gains[:, None] * rng.standard_normal((SECONDS * RATE_HZ, 2)), -1, 1)


def tone() -> np.ndarray:
    """A steady 1 kHz tone, 60 s: every crest could be the highest, the hardest case for the true peak."""
    wave = 0.5 * np.sin(2 * np.pi * 1000.3 / RATE_HZ * np.arange(SECONDS * RATE_HZ))
    return np.stack([wave, wave], axis=1)


def loudness_and_true_peak() -> None:
    import pyebur128
    import pyloudnorm

    from gainlib.meters import loudness_lufs, true_peak_dbtp

    def state(take: np.ndarray, mode: object) -> object:
        made = pyebur128.R128State(2, RATE_HZ, mode)
        made.add_frames(np.ascontiguousarray(take).ravel(), len(take))
        return made

    mode = pyebur128.MeasurementMode
    for name, made in (("swelling noise", programme()), ("steady tone", tone())):
        for dtype in (np.float32, np.float64):
            take = made.astype(dtype)
            what = f"{name}, {np.dtype(dtype).name}"
            loudness_lufs(take, RATE_HZ)
            true_peak_dbtp(take)
            ours, ebur, norm = best_ms(
                lambda take=take: loudness_lufs(take, RATE_HZ),
                lambda take=take: pyebur128.get_loudness_global(state(take, mode.MODE_I)),
                lambda take=take: pyloudnorm.Meter(RATE_HZ).integrated_loudness(take),
            )
            line(f"integrated loudness, {what}", ours, {"libebur128": (ebur, 2), "pyloudnorm": (norm, 5)})
            ours, ebur = best_ms(
                lambda take=take: true_peak_dbtp(take),
                lambda take=take: pyebur128.get_true_peak(state(take, mode.MODE_TRUE_PEAK), 0),
            )
            line(f"true peak, {what}", ours, {"libebur128": (ebur, 5)})


SURVEY = [
    "peak_dbfs", "true_peak_dbtp", "rms_dbfs", "active_rms_dbfs", "crest_db", "headroom_db", "dc_offset_dbfs",
    "noise_floor_dbfs", "clipped_runs", "flat_tops", "phrase_range_db", "loudness_lufs", "momentary_max_lufs",
    "short_term_max_lufs", "loudness_range_lu",
]  # fmt: skip


def survey(folder: Path) -> None:
    from gainlib.meters import measure_all
    from gainlib.sound_file import read

    for subtype in ("FLOAT", "DOUBLE"):
        path = folder / f"{subtype}.wav"
        soundfile.write(path, programme(), RATE_HZ, subtype=subtype)
        measure_all(read(path))
        command = ["ffmpeg", "-v", "error", "-i", str(path), "-af", "ebur128=peak=true,astats", "-f", "null", "-"]
        contenders: list[Callable[[], object]] = [
            lambda path=path: measure_all(read(path), SURVEY),
            lambda path=path: measure_all(read(path)),
        ]
        if shutil.which("ffmpeg"):
            contenders.append(lambda command=command: subprocess.run(command, check=True))
        ours, everything, *theirs = best_ms(*contenders)
        others = {"ffmpeg, ebur128=peak=true and astats": (theirs[0], 3)} if theirs else {}
        line(f"survey of a file, {len(SURVEY)} measures, {subtype.lower()} WAV", ours, others)
        print(f"    with the VU and programme meters         {everything:8.1f} ms")
        if not theirs:
            print("    ffmpeg is not installed")


FIRST_CALLS = """
import time
start = time.perf_counter()
import gainlib
imported = time.perf_counter()
import numpy as np
from gainlib.meters import loudness_lufs, true_peak_dbtp, vu, ppm
take = np.random.default_rng(0).standard_normal((48000, 2))
times = [f"import gainlib {1000 * (imported - start):.0f} ms"]
for name, call in (("loudness", lambda: loudness_lufs(take, 48000)), ("true peak", lambda: true_peak_dbtp(take)),
                   ("VU", lambda: vu(take, 48000)), ("programme meter", lambda: ppm(take, 48000, "II"))):
    before = time.perf_counter()
    call()
    times.append(f"{name} {1000 * (time.perf_counter() - before):.0f} ms")
print(", ".join(times))
"""


def first_calls(folder: Path) -> None:
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(folder / "cache")}
    for what in ("first call, nothing compiled yet", "first call, compiled before"):
        done = subprocess.run(
            [sys.executable, "-c", FIRST_CALLS], env=environment, capture_output=True, text=True, check=True
        )
        print(f"{what:<34} {done.stdout.strip()}")


if __name__ == "__main__":
    print(f"stereo, {SECONDS} s at {RATE_HZ} Hz; {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f}\n")
    with tempfile.TemporaryDirectory() as temporary:
        first_calls(Path(temporary))
        print()
        loudness_and_true_peak()
        print()
        survey(Path(temporary))
