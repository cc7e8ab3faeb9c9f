"""How many planted clips `flat_tops` still finds after what may stand behind a clip, and what it takes for clips.

`python tests/benchmarks/bench_flat_tops.py`: each of the course's stems is driven over full scale by 1, 3 and 6 dB and
cut off there, and four steady tones as well; then it goes through one of the ways below. Printed are the files in which
anything was found, of those that were clipped at two places and more; the places found, of those planted; and how many
whole files were accused.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
import soundfile
from scipy.signal import firwin, lfilter, oaconvolve, resample_poly

from gainlib.meters import clipped_runs, flat_tops
from gainlib.storage import bundled_folder

RATE_HZ = 48_000
OVERS_DB = (1.0, 3.0, 6.0)
Way = Callable[[np.ndarray], np.ndarray]
rng = np.random.default_rng(2)


def dithered(samples: np.ndarray, bits: int) -> np.ndarray:
    steps = 2.0 ** (bits - 1)
    return np.rint(samples * steps + rng.random(samples.shape) - rng.random(samples.shape)) / steps


def with_whole_peak(samples: np.ndarray) -> np.ndarray:
    """With one crest of either side in the middle that is round and stands at -3 dBFS."""
    taller, middle = samples.copy(), len(samples) // 2
    crest = 10 ** (-3 / 20) * np.hanning(96)[:, None]
    taller[middle - 96 : middle + 96] = np.concatenate((crest, -crest))
    return taller


def low_pass(samples: np.ndarray, corner_hz: float) -> np.ndarray:
    """Linear phase, as a converter's or a rate converter's filter: 255 taps."""
    return oaconvolve(samples, firwin(255, corner_hz, fs=RATE_HZ)[:, None], mode="same", axes=0)


def coupled(samples: np.ndarray, corner_hz: float) -> np.ndarray:
    """A capacitor in the path: a high-pass of first order."""
    pole = np.exp(-2 * np.pi * corner_hz / RATE_HZ)
    return lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], samples, axis=0)


def bell(samples: np.ndarray, middle_hz: float, gain_db: float, quality: float = 1.0) -> np.ndarray:
    """One band of an equaliser (the bilinear transform of the textbook bell)."""
    gain, turn = 10 ** (gain_db / 40), 2 * np.pi * middle_hz / RATE_HZ
    width = np.sin(turn) / (2 * quality)
    top = np.array([1 + width * gain, -2 * np.cos(turn), 1 - width * gain])
    below = np.array([1 + width / gain, -2 * np.cos(turn), 1 - width / gain])
    return lfilter(top / below[0], below / below[0], samples, axis=0)


def coded(samples: np.ndarray, kind: str, subtype: str, level: float) -> np.ndarray:
    """Through a lossy coder and back, by libsndfile."""
    kept = io.BytesIO()
    options = {"bitrate_mode": "CONSTANT"} if kind == "MP3" else {}
    soundfile.write(kept, samples, RATE_HZ, format=kind, subtype=subtype, compression_level=level, **options)
    kept.seek(0)
    return soundfile.read(kept, always_2d=True)[0]


WAYS: dict[str, Way] = {
    "left as it is": lambda x: x,
    **{f"turned down {db:g} dB": lambda x, db=db: x * 10 ** (-db / 20) for db in (0.1, 1, 6, 20)},
    **{
        f"turned down {db:g} dB, 16 bit dithered": lambda x, db=db: dithered(x * 10 ** (-db / 20), 16)
        for db in (0.1, 1, 6, 20)
    },
    "turned down 7 dB, a whole peak at -3": lambda x: with_whole_peak(x * 10 ** (-7 / 20)),
    "turned down 6 dB, 24 bit dithered": lambda x: dithered(x / 2, 24),
    "anti-alias filter at 20 kHz": lambda x: low_pass(x / 2, 20_000),
    "anti-alias filter at 15 kHz": lambda x: low_pass(x / 2, 15_000),
    "coupling capacitor, 1 Hz": lambda x: coupled(x / 2, 1.0),
    "coupling capacitor, 5 Hz": lambda x: coupled(x / 2, 5.0),
    "coupling capacitor, 20 Hz": lambda x: coupled(x / 2, 20.0),
    "equaliser, +3 dB at 3 kHz": lambda x: bell(x / 2, 3000.0, 3.0),
    "equaliser, -3 dB at 200 Hz": lambda x: bell(x / 2, 200.0, -3.0),
    "equaliser, +1 dB at 10 kHz": lambda x: bell(x / 2, 10_000.0, 1.0),
    "resampled to 44.1 kHz": lambda x: resample_poly(x / 2, 147, 160, axis=0),
    "resampled to 96 kHz": lambda x: resample_poly(x / 2, 2, 1, axis=0),
    "MP3, near its best": lambda x: coded(x / 2, "MP3", "MPEG_LAYER_III", 0.1),
    "Vorbis, near its best": lambda x: coded(x / 2, "OGG", "VORBIS", 0.1),
}


def rate(way: Way, recordings: list[np.ndarray]) -> str:
    """Files and places found of those planted, and whole files accused."""
    accused = sum(len(flat_tops(way(samples))) > 0 for samples in recordings)
    files = found_files = places = found_places = 0
    for samples in recordings:
        for over in OVERS_DB:
            cut = np.clip(samples / np.abs(samples).max() * 10 ** (over / 20), -1, 1)
            planted = len(clipped_runs(cut))
            if planted < 2:  # one place may be chance, and is not looked for
                continue
            found = len(flat_tops(way(cut)))
            files, places = files + 1, places + planted
            found_files, found_places = found_files + (found > 0), found_places + min(found, planted)
    share = f"{found_files} of {files} files"
    return (
        f"{share:>15}, {100 * found_places / places:5.1f} % of {places} places, {accused} of {len(recordings)} accused"
    )


def rates() -> None:
    stems = [soundfile.read(each, always_2d=True)[0] for each in sorted(bundled_folder("media").glob("*.flac"))]
    tones = [0.5 * np.sin(2 * np.pi * hz * np.arange(5 * RATE_HZ) / RATE_HZ)[:, None] for hz in (30, 80, 220, 997)]
    print(f"driven over full scale by {', '.join(f'{over:g}' for over in OVERS_DB)} dB; {len(WAYS)} ways")
    print(f"{'':<36}{'the stems':>15} {'':<47}steady tones")
    for name, way in WAYS.items():
        print(f"{name:<36}{rate(way, stems)}    {rate(way, tones)}", flush=True)


if __name__ == "__main__":
    rates()
