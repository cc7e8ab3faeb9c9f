"""Sound files of all formats that libsndfile writes here, spoilt in every way that one can draw: what becomes of them.

    python tests/mutated_sound.py 5000

reads each whole, reads a part of it and surveys it with words, JSON and CSV, in this process; prints what went another
way than it should and the most memory that it took, and ends with 1 where something did. Nothing is to be printed on
standard error by anybody: `tests/test_mutated_sound.py` runs a few cases and looks.
"""

from __future__ import annotations

import json
import random
import struct
import sys
import tempfile
import traceback
import warnings
from collections import Counter
from pathlib import Path

import numpy as np
import soundfile

from gainlib.errors import GainError
from gainlib.sound_file import read
from gainlib.surveys import as_csv, as_json, lines
from gainlib.surveys.survey import survey

AT_ONCE = 5
"""So many files are surveyed together, side by side and added up."""
ODD = [b"\0", b"\xff", b"\x7f", b"\x80", b"\0\0\0\0", b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\x7f\xff\xff\xff"]
ODD_SAMPLES = [float("nan"), float("inf"), float("-inf"), 3e38, -3e38, 1e-40, 1e30, 1e15]


def whole_files(folder: Path) -> list[tuple[str, bytes]]:
    """A tenth of a second to a second in each format and coding, as (ending, content)."""
    rng = np.random.default_rng(1)
    made = []
    for form in soundfile.available_formats():
        for coding in soundfile.available_subtypes(form):
            if form in ("RAW", "SD2"):  # read by nobody without being told what they hold
                continue
            # Writing an MP3 into a WAV ends in libsndfile 1.2.2 with a fault of its memory.
            if (form, coding) in (("WAV", "MPEG_LAYER_III"), ("W64", "MPEG_LAYER_III"), ("WAVEX", "MPEG_LAYER_III")):
                continue
            path = folder / f"whole.{form.lower()}"
            for channels, rate_hz in ((2, 44_100), (1, 48_000), (1, 8_000)):
                samples = 0.5 * rng.uniform(-1, 1, (rate_hz // 4, channels))
                try:
                    soundfile.write(path, samples, rate_hz, format=form, subtype=coding)
                except (soundfile.LibsndfileError, RuntimeError, ValueError):
                    continue
                made.append((form.lower(), path.read_bytes()))
                break
    for coding, kind in (("FLOAT", "<f4"), ("DOUBLE", "<f8")):
        for channels in (1, 2, 8):
            path = folder / "odd.wav"
            samples = rng.uniform(-1, 1, (20_000, channels)).astype(kind)
            at = rng.integers(0, samples.size, 6)
            samples.flat[at] = ODD_SAMPLES[int(at[0]) % 3 + 3 :][0]
            samples.flat[int(at[1]) :: 997] = 3e38 if kind == "<f4" else 1e300
            soundfile.write(path, samples, 48_000, subtype=coding)
            made += [("wav", path.read_bytes())] * 3
    return made


def mutated(content: bytes, draw: random.Random) -> bytes:
    """The content, spoilt."""
    data = bytearray(content)
    for _ in range(draw.choice((1, 1, 2, 3, 8, 30))):
        reach = draw.choice((60, 200, len(data), len(data), len(data)))
        at = draw.randrange(min(reach, len(data)))
        how = draw.randrange(8)
        if how < 2:
            data[at] = draw.randrange(256)
        elif how == 2:
            data[at] ^= 1 << draw.randrange(8)
        elif how == 3:
            odd = draw.choice(ODD)
            data[at : at + len(odd)] = odd
        elif how == 4:
            data[at : at + 4] = struct.pack("<f", draw.choice(ODD_SAMPLES))
        elif how == 5 and len(data) > 100:
            del data[at : at + draw.randrange(1, 40)]
        elif how == 6:
            data[at:at] = data[at : at + draw.randrange(1, 2000)]
        elif draw.random() < 0.3:
            del data[max(20, draw.randrange(len(data))) :]
    return bytes(data)


def sound_cases(count: int, seed: int = 0) -> tuple[Counter[str], list[str]]:
    """How often each thing was the end of a case, and what should not have been."""
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        wholes = whole_files(folder)
        for each in folder.iterdir():
            each.unlink()
        for first in range(0, count, AT_ONCE):
            paths = []
            for number in range(first, min(first + AT_ONCE, count)):
                draw = random.Random(f"{seed} {number}")
                ending, content = wholes[number % len(wholes)] if number < len(wholes) else draw.choice(wholes)
                path = folder / f"{number}.{ending}"
                path.write_bytes(mutated(content, draw))
                paths.append(path)
                for what, seconds in (("read", None), ("part", (0.01, 0.05)), ("far part", (3600.0, 3601.0))):
                    counts[f"{what}: {_one_sentence(lambda p=path, s=seconds: read(p, seconds=s), path, wrong)}"] += 1
            found = _one_sentence(lambda p=paths: _surveyed(p, counts), paths, wrong)
            counts[f"survey of {AT_ONCE}: {found}"] += 1
            for path in paths:
                path.unlink()
    return counts, wrong


def _surveyed(paths: list[Path], counts: Counter[str]) -> None:
    found = survey(paths, workers=2)
    for name, said in found.unreadable:
        if not said.endswith(".") or "\n" in said or "could not be measured (" in said:
            raise AssertionError(f"{name}: {said}")
    counts["stems measured"] += len(found.stems)
    counts["stems told"] += len(found.unreadable)
    assert len({each.name for each in found.stems} | {name for name, _ in found.unreadable} - {"the sum"}) == len(paths)
    lines(found), json.loads(as_json(found)), as_csv(found)


def _one_sentence(work, where, wrong: list[str]) -> str:
    """What became of it; anything but a result or one sentence is added to `wrong`."""
    try:
        work()
    except GainError as fault:
        said = str(fault)
        if "\n" not in said and said.endswith("."):
            return "one sentence"
        wrong.append(f"{where}: {said!r}")
    except Exception:  # whatever it is, it is what we look for
        wrong.append(f"{where}: {traceback.format_exc()}")
    else:
        return "read"
    return "wrong"


def main() -> int:
    """Run so many cases and tell."""
    import resource

    warnings.simplefilter("always")
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    counts, wrong = sound_cases(count, seed)
    for what, often in sorted(counts.items()):
        print(f"{often:7} {what}")
    if sys.platform == "linux":
        # Of this program alone: what getrusage tells is at least what the program that started it had.
        megabytes = int(Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]) / 1024
    else:
        megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"{megabytes:7.0f} MB at the most")
    for each in wrong[:20]:
        print(each[-1500:])
    return 1 if wrong or megabytes > 1000 else 0


if __name__ == "__main__":
    raise SystemExit(main())
