"""What `--against` tells of planted changes, and how often it is wrong.

`python tests/benchmarks/bench_comparison.py`: each of the course's stems and five invented noises is changed in one of
the ways below, written as 24 bits and compared with what it was. Printed are, for each way, in how many files exactly
that was told, what was told instead in the others, and the processor time of a pair; the last row counts the alarms on
copies in which nothing changed (another file of the same samples, compared by sound and not by checksum). Names of ways
behind the command are the only ones that are tried.
"""

from __future__ import annotations

import math
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

from gainlib.storage import bundled_folder
from gainlib.surveys.likeness import Likeness, find_likeness

RATE_HZ = 48_000
rng = np.random.default_rng(2)


def late(samples: np.ndarray, count: int) -> np.ndarray:
    return np.vstack((np.zeros((count, samples.shape[1])), samples))


def passage(samples: np.ndarray) -> np.ndarray:
    """A second of noise as loud as the stem, from a third of it on."""
    changed, start = samples.copy(), len(samples) // 3
    changed[start : start + RATE_HZ] = max(samples.std(), 0.01) * rng.standard_normal((RATE_HZ, samples.shape[1]))
    return np.clip(changed, -0.99, 0.99)


def drop_out(samples: np.ndarray) -> np.ndarray:
    """10 ms of zeros at the loudest place."""
    changed = samples.copy()
    start = min(int(np.abs(samples).max(axis=1).argmax()), len(samples) - 480)
    changed[start : start + 480] = 0.0
    return changed


def click(samples: np.ndarray) -> np.ndarray:
    changed = samples.copy()
    changed[len(samples) // 2] += 0.25
    return np.clip(changed, -0.99, 0.99)


def louder(samples: np.ndarray) -> np.ndarray:
    changed, start = samples.copy(), len(samples) // 3
    changed[start : start + RATE_HZ] *= 10 ** (-3 / 20)
    return changed


def inserted(samples: np.ndarray) -> np.ndarray:
    half = len(samples) // 2
    return np.vstack((samples[:half], np.zeros((24_000, samples.shape[1])), samples[half:]))


def plain(found: Likeness, later: int = 0, gain_db: float = 0.0, turned: bool = False, swapped: bool = False) -> bool:
    level = all(abs(each - gain_db) < 0.01 for each in found.gains_db)
    told = (found.later, found.swapped, found.other, found.all_through) == (later, swapped, "", False)
    return told and level and all(each == turned for each in found.turned)


def whole(**settings: object) -> Callable[[Likeness], bool]:
    return lambda found: plain(found, **settings) and not found.passages


def of_kinds(*kinds: str) -> Callable[[Likeness], bool]:
    def told(found: Likeness) -> bool:
        return plain(found) and len(found.passages) == 1 and found.passages[0].what in kinds

    return told


WAYS: dict[str, tuple[Callable[[np.ndarray], np.ndarray], Callable[[Likeness], bool], int]] = {
    **{
        f"{count} samples later": (lambda samples, count=count: late(samples, count), whole(later=count), RATE_HZ)
        for count in (1, 37, 1000, 48_000)
    },
    "1000 samples early": (lambda samples: samples[1000:], lambda found: plain(found, -1000), RATE_HZ),
    "0.1 dB down": (lambda samples: samples * 10 ** (-0.1 / 20), whole(gain_db=-0.1), RATE_HZ),
    "6 dB down": (lambda samples: samples * 10 ** (-6 / 20), whole(gain_db=-6.0), RATE_HZ),
    "polarity": (lambda samples: -samples, whole(turned=True), RATE_HZ),
    "sides swapped": (lambda samples: samples[:, ::-1], whole(swapped=True), RATE_HZ),
    "37 later, 3 dB down, turned": (
        lambda samples: -(10 ** (-3 / 20)) * late(samples, 37), whole(later=37, gain_db=-3.0, turned=True), RATE_HZ),
    "1 s replaced": (passage, of_kinds("other", "added"), RATE_HZ),
    "drop-out of 10 ms": (drop_out, of_kinds("gone"), RATE_HZ),
    "click of one sample": (click, of_kinds("other", "added", "level"), RATE_HZ),
    "1 s 3 dB down": (louder, of_kinds("level"), RATE_HZ),
    "half a second put in": (inserted, lambda found: bool(found.passages) and not found.other, RATE_HZ),
    "rounded to 16 bits": (lambda samples: np.round(samples * 2**15) / 2**15, whole(), RATE_HZ),
    "resampled to 44.1 kHz": (lambda samples: resample_poly(samples, 147, 160, axis=0), whole(), 44_100),
    "resampled to 96 kHz": (lambda samples: resample_poly(samples, 2, 1, axis=0), whole(), 96_000),
    "another sound": (
        lambda samples: 0.1 * rng.standard_normal(samples.shape), lambda found: bool(found.other), RATE_HZ),
    "nothing": (lambda samples: samples, lambda found: not found.moved and found.null_db == -math.inf, RATE_HZ),
}  # fmt: skip


def stems() -> dict[str, np.ndarray]:
    found = {path.stem: soundfile.read(path, always_2d=True)[0] for path in bundled_folder("media").glob("*.flac")}
    found = {name: samples for name, samples in sorted(found.items()) if len(samples) > 4 * RATE_HZ}
    for index in range(5):
        noise = rng.standard_normal((8 * RATE_HZ, 1 + index % 2))
        found[f"noise {index}"] = (
            0.1 * noise * np.interp(np.arange(len(noise)), np.arange(9) * RATE_HZ, rng.random(9))[:, None]
        )
    return found


def told(found: Likeness) -> str:
    parts = [f"{found.later} later"] if found.later else []
    parts += ["sides"] if found.swapped else []
    parts += ["all through"] if found.all_through else []
    parts += [each.what for each in found.passages[:3]]
    return found.other or ", ".join(parts) or f"gains {[round(each, 2) for each in found.gains_db]}"


def main(*only: str) -> None:
    made = stems()
    print(f"{len(made)} stems\n{'planted':30}{'told':>9}{'s/pair':>8}  told instead")
    with tempfile.TemporaryDirectory() as place:
        one, other = Path(place, "before.wav"), Path(place, "after.wav")
        for way, (change, right, rate_hz) in WAYS.items():
            if only and way not in only:
                continue
            hits, count, seconds, wrong = 0, 0, 0.0, []
            for name, samples in made.items():
                samples = np.round(0.7 * samples * 2**23) / 2**23
                if way == "sides swapped" and samples.shape[1] != 2:
                    continue
                soundfile.write(one, samples, RATE_HZ, subtype="PCM_24")
                soundfile.write(other, np.clip(change(samples), -1, 1 - 2**-23), rate_hz, subtype="PCM_24")
                started = time.process_time()
                found = find_likeness(one, other, rate_hz, samples.shape[1])
                seconds += time.process_time() - started
                count, hits = count + 1, hits + right(found)
                if not right(found):
                    wrong.append(f"{name}: {told(found)}")
            print(f"{way:30}{hits:>4}/{count:<4}{seconds / count:>8.2f}  {'; '.join(wrong[:6])}", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
