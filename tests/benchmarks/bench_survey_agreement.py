"""The survey's columns beside ffmpeg's, libebur128's and sox's for the same files.

`python tests/benchmarks/bench_survey_agreement.py`; ffmpeg and sox where they are installed. Printed are
the largest differences over the course's stems and some made ones, with why they differ where they do.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections import defaultdict
from pathlib import Path

import numpy as np
import soundfile

from gainlib.storage import bundled_folder
from gainlib.surveys.stem import measure_stem

RATE_HZ = 48_000

WHY = {
    "ffmpeg peak_dbfs": "",
    "ffmpeg rms_dbfs": "ffmpeg's zero is a full-scale square: 3.01 dB were added to it (AES17)",
    "ffmpeg dc": "as a share of full scale",
    "ffmpeg loudness_lufs": "printed to a tenth; -70 for silence; at other rates than 48 kHz its filter drifts by 0.02",
    "ffmpeg loudness_range_lu": "printed to a tenth; its short-term grid starts with silence of 3 s",
    "ffmpeg true_peak_dbtp": "printed to a tenth; it takes the highest sample at 192 kHz, which reads lower",
    "libebur128 loudness_lufs": "the filter at other rates than 48 kHz (up to 0.02 LU at 44.1 and 96 kHz)",
    "libebur128 true_peak_dbtp": "its filter reads up to 0.44 dB low and 0.11 dB high near half the rate",
    "libebur128 loudness_range_lu": "it steps by a second, which is coarse on takes this short",
    "libebur128 short_term_max_lufs": "its grid is what it was fed, here 100 ms; ours is 10 ms and may read higher",
    "sox peak_dbfs": "printed to a hundredth",
    "sox rms_dbfs": "printed to a hundredth; 3.01 dB were added to it, as to ffmpeg's",
    "sox dc": "as a share of full scale, printed to six places",
}


def takes(folder: Path) -> list[Path]:
    """The course's stems, and made ones: stereo at 44.1 and 96 kHz, tones near half the rate, a lossy one."""
    made = sorted(bundled_folder("media").glob("*.flac"))
    rng = np.random.default_rng(1)
    for rate_hz in (44_100, 96_000):
        gains = np.repeat(10 ** (rng.uniform(-40, -14, 30) / 20), rate_hz)[:, None]
        made.append(folder / f"swelling-{rate_hz}.wav")
        soundfile.write(made[-1], gains * rng.standard_normal((30 * rate_hz, 2)), rate_hz, subtype="FLOAT")
    fade = np.minimum(1.0, np.minimum(np.arange(10 * RATE_HZ), np.arange(10 * RATE_HZ)[::-1]) / 4800)
    for share in (0.1, 0.25, 0.4, 0.45):
        made.append(folder / f"tone-{share}.wav")
        tone = 0.5 * fade * np.sin(2 * np.pi * share * np.arange(10 * RATE_HZ) + 0.7)
        soundfile.write(made[-1], tone + 0.003, RATE_HZ, subtype="PCM_24")
    return made


def by_ffmpeg(path: Path) -> dict[str, float]:
    command = ["ffmpeg", "-nostdin", "-i", str(path), "-af", "astats,ebur128=peak=true", "-f", "null", "-"]
    said = subprocess.run(command, capture_output=True, text=True, check=True).stderr
    summary = said[said.rindex("Summary:") :]
    channels = said[: said.rindex("Overall")]

    def worst(name: str) -> float:
        found = re.findall(rf"{name}: (-?[\d.]+|-?inf|nan)", channels)
        return max(abs(float(each)) if "DC" in name else float(each) for each in found)

    def of(name: str) -> float:
        return float(re.findall(rf"{name}:\s+(-?[\d.]+|-inf)", summary)[0])

    return {
        "peak_dbfs": worst("Peak level dB"), "rms_dbfs": worst("RMS level dB") + 3.0103, "dc": worst("DC offset"),
        "loudness_lufs": of("I"), "loudness_range_lu": of("LRA"), "true_peak_dbtp": of("Peak"),
    }  # fmt: skip


def by_libebur128(path: Path) -> dict[str, float]:
    import pyebur128

    mode = pyebur128.MeasurementMode
    samples, rate_hz = soundfile.read(path, always_2d=True)
    channels = samples.shape[1]
    state = pyebur128.R128State(channels, rate_hz, mode.MODE_I | mode.MODE_LRA | mode.MODE_TRUE_PEAK | mode.MODE_S)
    highest = -np.inf
    step = rate_hz // 10
    for index, start in enumerate(range(0, len(samples), step)):
        block = samples[start : start + step]
        state.add_frames(np.ascontiguousarray(block).ravel(), len(block))
        if index >= 29:
            highest = max(highest, pyebur128.get_loudness_shortterm(state))
    peak = max(pyebur128.get_true_peak(state, channel) for channel in range(channels))
    return {
        "loudness_lufs": pyebur128.get_loudness_global(state), "short_term_max_lufs": highest,
        "loudness_range_lu": pyebur128.get_loudness_range(state), "true_peak_dbtp": 20 * np.log10(peak),
    }  # fmt: skip


def by_sox(path: Path) -> dict[str, float]:
    said = subprocess.run(["sox", str(path), "-n", "stats"], capture_output=True, text=True, check=True).stderr
    rows = {line[:11].strip(): line[11:].split() for line in said.splitlines()}
    per_channel = slice(1, None) if len(rows["Pk lev dB"]) > 1 else slice(None)

    def worst(name: str) -> float:
        return max(abs(float(each)) if "DC" in name else float(each) for each in rows[name][per_channel])

    return {"peak_dbfs": worst("Pk lev dB"), "rms_dbfs": worst("RMS lev dB") + 3.0103, "dc": worst("DC offset")}


def columns(folder: Path) -> None:
    peers = {"libebur128": by_libebur128}
    peers |= {name: peer for name, peer in (("ffmpeg", by_ffmpeg), ("sox", by_sox)) if shutil.which(name)}
    apart: dict[str, list[tuple[float, str]]] = defaultdict(list)
    paths = takes(folder)
    for path in paths:
        stem = measure_stem(path, path.stem)
        ours = {**stem.readings, "dc": 10 ** (stem.readings["dc_offset_dbfs"] / 20)}
        for name, peer in peers.items():
            for measure, value in peer(path).items():
                if np.isfinite(value) and np.isfinite(ours[measure]):
                    apart[f"{name} {measure}"].append((ours[measure] - value, path.stem))
    print(f"{len(paths)} files; ours minus theirs, the lowest, the median and the highest, and where the largest is")
    for what, found in sorted(apart.items()):
        low, high = min(found)[0], max(found)[0]
        largest = max(found, key=lambda each: abs(each[0]))
        middle = float(np.median([each[0] for each in found]))
        print(f"{what:<32} {low:+8.4f} {middle:+8.4f} {high:+8.4f}   {largest[1]:<16} {WHY.get(what, '')}")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as temporary:
        columns(Path(temporary))
