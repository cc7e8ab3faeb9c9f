"""How often a survey finds what is wrong, and how often it accuses what is whole.

`python tests/benchmarks/bench_survey_faults.py [FOLDER] [--most FILES]`. Plants each fault at places drawn by chance in
the course's ten stems, or in files drawn by chance from a folder that is named (real recordings; the first 60 s of each
unless --seconds says otherwise), and prints for each fault how many were found and named rightly, with the files in
which it was missed; then a table of every kind: how many were found of those planted, and of how many of the same files
it was told untouched. Of noise and hum that were not found it is counted apart how often the survey says that they
cannot be told, and clips are counted again by how many crests of three samples and more they cut. What is planted is
known to the sample; nothing is tuned here. `--seed` draws other files and places; `--only click,drop-out` plants and
counts these kinds alone, at the same places as a run of all does. `--whole` plants nothing and prints what is told of
each file of the folder as it is, to be read one by one.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile

from gainlib.broadcast import Broadcast, put_broadcast
from gainlib.surveys import KINDS, Fault
from gainlib.surveys.folder import find_files
from gainlib.surveys.survey import Survey, survey

MEDIA = Path(__file__).resolve().parents[2] / "media"
AMONG = ("twin", "opposed", "late", "length", "swapped sides", "rate", "start")
_NEAR = 64
_DAMAGES = 12
_LEAST_SECONDS = 5.0
Samples = np.ndarray


def ratio(db: float) -> float:
    return 10.0 ** (db / 20.0)


def loud_places(samples: Samples, rate: int, rng: np.random.Generator, count: int) -> list[int]:
    """Samples at which it sounds: in windows of 50 ms within 15 dB of the loudest tenth of them."""
    width = rate // 20
    rows = samples[: len(samples) // width * width, 0].reshape(-1, width)
    levels = np.sqrt((rows.astype(float) ** 2).mean(axis=1))
    loudest = np.sort(levels)[-max(1, len(levels) // 10) :]
    good = np.flatnonzero(levels > np.sqrt((loudest**2).mean()) * ratio(-15.0))
    good = good[(good * width > rate // 2) & (good * width < len(samples) - rate)]
    return [int(each) * width + int(rng.integers(width)) for each in rng.choice(good, count)] if len(good) else []


def cut_crests(samples: Samples, over_db: float) -> str:
    """How many crests of three samples and more a clip so far over full scale cuts, in words."""
    beyond = np.abs(samples) * ratio(over_db) >= np.abs(samples).max()
    steps = np.diff(np.pad(beyond, ((1, 1), (0, 0))).astype(np.int8), axis=0)
    count = 0
    for channel in steps.T:
        count += int(np.count_nonzero(np.flatnonzero(channel < 0) - np.flatnonzero(channel > 0) >= 3))
    return "none" if count == 0 else "one" if count == 1 else "2 to 5" if count < 6 else "6 and more"


def damage(y: Samples, at: int, rate: int) -> Iterator[tuple[str, str, object, object]]:
    """Name, the kind that is to be told, where in the samples something else stands, and what."""
    against = -np.sign(y[at, 0] or 1.0)
    yield "click, one sample at full scale", "click", (at, 0), 0.9 * against
    yield "click, one sample at the file's peak", "click", (at, 0), np.abs(y).max() * against
    yield "click, three samples", "click", (slice(at, at + 3), 0), 0.9
    yield "drop-out of 200 ms", "drop-out", slice(at, at + rate // 5), 0.0
    yield "drop-out of 64 samples", "drop-out", slice(at, at + 64), 0.0
    signs = np.sign(y[at : at + rate // 10, 0])
    zero = at + int(np.argmax(signs[1:] != signs[:-1])) + 1
    yield "drop-out of 512 samples from a zero crossing on", "drop-out", (slice(zero, zero + 512), 0), 0.0
    yield "drop-out of 512 samples, one side", "drop-out", (slice(at, at + 512), 0), 0.0
    yield "frozen for 256 samples", "drop-out", (slice(at, at + 256), 0), y[at, 0]
    stood = np.concatenate((np.repeat(y[at : at + 1], 256, axis=0), y[at:-256]))
    yield "frozen for 256 samples, then on from there", "drop-out", slice(at, None), stood
    yield "buffer of 512 samples played twice", "repeated", slice(at, at + 512), y[at - 512 : at].copy()
    yield "buffer of 64 samples played twice", "repeated", slice(at, at + 64), y[at - 64 : at].copy()
    yield "digital silence from there to the end", "cut", slice(at, None), 0.0


def whole_file(samples: Samples, rate: int, rng: np.random.Generator) -> Iterator[tuple[str, str, Samples]]:
    """Faults of a whole file: name, the kind that is to be told, samples."""
    count = len(samples)
    time = np.arange(count)[:, None] / rate
    loud = np.sqrt((samples**2).mean()) or 1.0
    top = np.abs(samples).max()
    steps = 2.0**15
    for level in (-50, -45, -40, -36, -30):
        white = rng.standard_normal(samples.shape) * ratio(level - 3.01)
        yield f"white noise at {level} dBFS", "noise", np.clip(samples + white, -1, 1)
        yield (
            f"hum of 50 Hz at {level} dBFS",
            "hum",
            np.clip(samples + ratio(level) * np.sin(2 * np.pi * 50 * time), -1, 1),
        )
        buzz = sum(np.sin(2 * np.pi * 60.02 * k * time + k * k) / k for k in range(1, 12) if 60 * k < 0.4 * rate)
        buzz = buzz * ratio(level - 3.01) / buzz.std()
        yield f"buzz of 60 Hz at {level} dBFS", "hum", np.clip(samples + buzz, -1, 1)
    centred = samples - samples.mean(axis=0)
    yield "an offset of 1 %", "dc", np.clip(centred + 0.01, -1, 1)
    yield "an offset of 0.2 %", "dc", np.clip(centred + 0.002, -1, 1)
    for over in (1, 3, 6):
        cut = np.clip(samples / top * ratio(over), -1, 1) * ratio(-7.0)
        yield f"clipped by {over} dB, then 7 dB down", "flat tops", cut
        taller = cut.copy()
        taller[count // 2 - 48 : count // 2 + 48] = ratio(-3.0) * np.hanning(96)[:, None]
        yield f"the same by {over} dB, one whole peak at −3 dBFS", "flat tops", taller
        dither = rng.random((2, *cut.shape))
        yield (
            f"the same by {over} dB, 16 bits dithered",
            "flat tops",
            np.rint(taller * steps + dither[0] - dither[1]) / steps,
        )
        yield f"clipped at full scale by {over} dB", "clipped", np.clip(samples / top * ratio(over), -1, 1)
    yield "a float file 3 dB beyond full scale", "over", samples / top * ratio(3.0)
    yield "nothing in it", "silent", np.zeros_like(samples)
    between = samples / top * 0.9
    burst = np.arange(rate // 20)[:, None]
    between[count // 2 : count // 2 + len(burst)] = 1.35 * np.sin(np.pi / 2 * burst + np.pi / 4)  # ±0.95 at the samples
    yield "peaks of +2.6 dBTP between the samples", "true peak", between
    side = np.roll(samples[::-1, :1], count // 3, axis=0)
    yield "one side silent", "silent channel", samples[:, :1] * [1.0, 0.0]
    middle, apart = samples[:, :1], side * (2.2 * samples[:, 0].std() / side.std())
    yield "sides that lose 7.7 dB in mono", "mono loss", 0.25 * np.concatenate((middle + apart, middle - apart), axis=1)
    deep = np.fft.rfft(samples[:, 0])
    deep[np.fft.rfftfreq(count, 1 / rate) > 150.0] = 0.0
    low = np.fft.irfft(deep, count)[:, None]
    if 0.05 < (low**2).mean() / (samples[:, 0] ** 2).mean() < 0.4:
        yield "what lies below 150 Hz upside down on the right", "low end", 0.5 * (middle - low * [0.0, 2.0])
    sixteen = np.rint(samples * steps * 0.9) / steps
    yield "16 bits in words of 24", "word", sixteen
    first = np.argmax(np.abs(samples).max(axis=1) > loud)
    if first + 2 * rate < count:
        yield "starts inside its sound", "cut", samples[first + rate // 50 :]
    wide = np.repeat(samples, 2, axis=1) if samples.shape[1] == 1 else None
    if wide is not None:
        dither = rng.random((2, *wide.shape))
        yield (
            "both channels the same, dithered to 16 bits",
            "dual mono",
            np.rint(wide * steps + dither[0] - dither[1]) / steps,
        )
        yield "both channels the same, the right 1 dB down", "dual mono", wide * [1.0, ratio(-1.0)]
        yield "right upside down", "opposed channels", wide * [1.0, -1.0]
        third = wide.copy()
        parts = np.array_split(third, 3)
        parts[int(np.argmax([(each**2).sum() for each in parts]))][:, 1] *= -1
        yield "right upside down for the loudest third", "opposed channels", third
        late = round(0.005 * rate)
        yield "right 5 ms late", "late channel", np.stack((samples[late:, 0], samples[:-late, 0]), axis=1)
        late = round(0.002 * rate)
        upside = np.stack((samples[late:, 0], -samples[:-late, 0]), axis=1)
        yield "right upside down and 2 ms late", "late channel", upside
    else:
        yield "right 6.0 dB down on equal sides", "imbalance", samples.mean(axis=1, keepdims=True) * [1.0, 0.5]


def sessions(samples: Samples, rate: int) -> Iterator[tuple[str, str, dict[str, tuple[Samples, int, int]]]]:
    """Faults of a stem among others: name, the kind, and the files with their rate and start; "planted" has it."""
    samples = samples[: 20 * rate]
    other = samples[::-1]
    whole = {"a": samples, "b": other, "c": np.roll(other, len(samples) // 3, axis=0)}
    late = round(0.030 * rate)
    planted = {
        "the same once more, 6 dB down": ("twin", 0.5 * samples),
        "upside down, with a tenth of another sound": ("opposed", 0.1 * other - samples),
        "30 ms late, with a tenth of another sound": ("late", 0.1 * other + np.roll(samples, late, axis=0)),
        "half a second short": ("length", 0.5 * other[rate // 2 :]),
    }
    if samples.shape[1] == 2 and np.abs(np.diff(samples, axis=1)).max() > 0.2 * np.abs(samples).max():
        planted["left and right changed over"] = ("swapped sides", 0.1 * other + samples[:, ::-1])
    yield "", "", {name: (each, rate, 0) for name, each in whole.items()}
    for name, (kind, stem) in planted.items():
        yield name, kind, {**{each: (whole[each], rate, 0) for each in whole}, "planted": (stem, rate, 0)}
    for name, kind, its_rate, start in (
        ("another rate in its header", "rate", 96_000 if rate < 96_000 else 48_000, 0),
        ("a start 10 s later in its header", "start", rate, 10 * rate),
    ):
        yield (
            name,
            kind,
            {**{each: (whole[each], rate, 0) for each in whole}, "planted": (0.5 * other, its_rate, start)},
        )


def tell_whole_files(files: list[Path]) -> None:
    """Print what is told of each file by itself, and of how many files each kind is."""
    told: Counter[str] = Counter()
    for path in files:
        found = survey(path, workers=1).faults
        told.update({each.kind for each in found})
        for each in found:
            print(f"{path.name}: {each.kind}: {each.sentence}", flush=True)
    print(f"{len(files)} files as they are; " + ", ".join(f"{kind} {told[kind]}" for kind in KINDS if told[kind]))


def kinds_named(text: str) -> tuple[str, ...]:
    """The kinds that `--only` names."""
    named = tuple(each.strip() for each in text.split(","))
    unknown = [each for each in named if each not in KINDS]
    if unknown:
        raise argparse.ArgumentTypeError(f"{unknown[0]!r} is no kind; kinds are {', '.join(KINDS)}.")
    return named


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?")
    parser.add_argument("--seconds", type=int, default=60, help="of each file so many at most, from its start")
    parser.add_argument("--most", type=int, default=20, help="of a folder's files so many, drawn by chance")
    parser.add_argument("--seed", type=int, default=1, help="other files and places are drawn with another number")
    parser.add_argument("--only", type=kinds_named, default=KINDS, metavar="KINDS", help="with commas between them")
    parser.add_argument("--whole", action="store_true", help="plant nothing: what is told of each file as it is")
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    files = [path for path, _ in find_files([f"{given.folder}/**/*" if given.folder else MEDIA]).files]
    if given.whole:
        tell_whole_files(files)
        return
    if given.folder:
        long = [path for path in files if soundfile.info(str(path)).duration >= _LEAST_SECONDS]
        files = [long[index] for index in sorted(rng.choice(len(long), min(given.most, len(long)), replace=False))]
    found: dict[str, Counter[bool]] = defaultdict(Counter)
    missed: dict[str, list[str]] = defaultdict(list)
    untouched: Counter[str] = Counter()
    untold: Counter[str] = Counter()
    crests: dict[tuple[str, str], Counter[bool]] = defaultdict(Counter)
    accused: list[str] = []
    count = 0
    by_kind: dict[str, Counter[bool]] = defaultdict(Counter)

    def tally(name: str, kind: str, good: bool, path: Path) -> None:
        found[name][good] += 1
        by_kind[kind][good] += 1
        if not good:
            missed[name].append(path.stem)

    with tempfile.TemporaryDirectory() as temporary:
        place = Path(temporary) / "take.wav"

        def surveyed(samples: Samples, rate: int) -> Survey:
            beyond = np.abs(samples).max() > 1.0
            soundfile.write(place, samples, rate, subtype="FLOAT" if beyond else "PCM_24")
            return survey(place, workers=1)

        def faults(samples: Samples, rate: int) -> tuple[Fault, ...]:
            return surveyed(samples, rate).faults

        def faults_among(files: dict[str, tuple[Samples, int, int]]) -> tuple[Fault, ...]:
            folder = Path(temporary) / "session"
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            for name, (samples, rate, start) in files.items():
                path = folder / f"{name}.wav"
                soundfile.write(path, samples, rate, subtype="FLOAT" if np.abs(samples).max() > 1.0 else "PCM_24")
                put_broadcast(path, Broadcast(starts_at=start))
            return survey(folder).faults

        def kinds(samples: Samples, rate: int) -> Counter[str]:
            return Counter(each.kind for each in faults(samples, rate))

        def look_at(path: Path) -> bool:
            """Plant everything in one file; whether it is one that anything can be planted in."""
            try:
                samples, rate = soundfile.read(
                    path, always_2d=True, frames=given.seconds * soundfile.info(str(path)).samplerate
                )
            except soundfile.LibsndfileError:
                return False
            if len(samples) < 4 * rate or np.abs(samples).max() < 0.003:
                return False
            before = kinds(samples, rate)
            untouched.update(before.keys())
            if before:
                accused.append(f"{path.name}: {', '.join(sorted(before))}")
            for index, at in enumerate(loud_places(samples, rate, rng, _DAMAGES)):
                name, kind, where, what = list(damage(samples, at, rate))[index]
                if kind not in given.only:
                    continue
                first = where[0] if isinstance(where, tuple) else where
                at = first.start if isinstance(first, slice) else first
                planted = samples.copy()
                planted[where] = what
                good = any(
                    each.kind == kind and any(abs(place.sample - at) <= _NEAR for place in each.places)
                    for each in faults(planted, rate)
                )
                tally(name, kind, good, path)
            for name, kind, files_of in sessions(samples, rate):
                if not set(given.only).intersection([kind] if name else AMONG):
                    continue
                told = faults_among(files_of)
                if not name:
                    untouched.update({each.kind for each in told if each.kind in AMONG})
                    continue
                good = any(each.kind == kind for each in told)
                tally(name, kind, good, path)
            for name, kind, planted in whole_file(samples, rate, rng):
                if kind not in given.only:
                    continue
                made = surveyed(planted, rate)
                good = any(each.kind == kind for each in made.faults)
                tally(name, kind, good, path)
                noise = made.stems[0].noise
                if kind in ("noise", "hum") and not good:
                    level, from_dbfs = float(name.split()[-2]), noise.hum_told_from_dbfs
                    hides = from_dbfs is None or from_dbfs > level
                    untold[kind] += hides if kind == "hum" else noise.level_dbfs is None
                if " by " in name:
                    over_db = float(name.split(" by ")[1].split()[0])
                    how = name.replace(f" by {over_db:g} dB", "")
                    crests[how, cut_crests(samples, over_db)][good] += 1
            return True

        try:
            for path in files:
                count += look_at(path)
        except KeyboardInterrupt:
            print("Ended before its end; of the last file only a part was planted.")
    print(f"{count} files; found of planted:")
    for name, hits in found.items():
        print(f"  {name:48}{hits[True]:4} of {sum(hits.values()):3}   {', '.join(missed[name])}")
    print(f"\n{'kind':18}{'found of planted':>18}{'told of ' + str(count) + ' files as they are':>32}")
    for kind in given.only:
        rates = by_kind[kind]
        share = f"{rates[True]} of {sum(rates.values())}" if rates else "–"
        print(f"{kind:18}{share:>18}{untouched[kind]:>32}")
    for kind, times in untold.items():
        print(f"Of {kind} that was not found {times} times it was said that it cannot be told, or could hide there.")
    if crests:
        print("Clips by the crests of three samples and more that they cut:")
    for (how, many), hits in sorted(crests.items()):
        print(f"  {how:48}{many:12}{hits[True]:4} of {sum(hits.values()):3}")
    print("\n".join(f"  {each}" for each in accused))


if __name__ == "__main__":
    sys.exit(main())
