"""A second set of takes, made by arithmetic: other times, lengths, levels, notes and channels than the bundled ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import soundfile

SECONDS = 25.5
PARTS = {
    "verse": (0.0, 11.0),
    "into the chorus": (5.6, 15.6),
    "chorus": (11.4, 24.0),
    "end": (18.7, 24.0),
    "last line": (20.0, 21.9),
    "shout": (22.2, 23.4),
}
# Start and end in seconds, RMS in dBFS (AES17): four soft lines, four loud ones, a shout.
LINES = (
    (0.6, 2.7, -26), (3.1, 5.3, -32), (5.8, 8.0, -24), (8.6, 10.8, -35),
    (11.5, 13.2, -19), (13.5, 15.4, -17), (16.0, 18.4, -18), (20.0, 21.9, -19), (22.2, 23.4, -15.6),
)  # fmt: skip
BEAT_SECONDS = 0.55  # 109 beats a minute


def write_second_takes(folder: Path, rate_hz: int = 48_000) -> Path:
    """Write the takes and their table into a folder, and give it back."""
    folder.mkdir(parents=True, exist_ok=True)
    made = {
        "lead voice": _voice(rate_hz, LINES, 233.0, -71.0),
        "kick": _struck(rate_hz, 0.0, 61.0, 0.10, 0.28, 0.0),
        "snare": _struck(rate_hz, 1.0, 190.0, 0.005, 0.75, 0.7),
        "bass": _held(rate_hz, (61.0, 82.0, 55.0, 73.0), -17.0, 8, wide=False),
        "guitar": _held(rate_hz, (246.0, 330.0, 220.0, 294.0), -25.0, 12, wide=False),
        "pad": _held(rate_hz, (247.1, 331.3, 221.7, 295.9), -27.0, 16, wide=True),
    }
    made["hats"] = _struck(rate_hz, 0.5, 7_000.0, 0.02, 0.09, 0.9)
    made["backing voices"] = _voice(rate_hz, LINES[4:8], 311.0, -76.0)
    for role, sound in made.items():
        soundfile.write(folder / f"{role}.wav", sound, rate_hz, subtype="PCM_24")
    takes = "\n".join(f'"{role}" = "{role}.wav"' for role in made)
    parts = "\n".join(f'"{name}" = [{start}, {end}]' for name, (start, end) in PARTS.items())
    table = f'title = "Second song"\ntempo_bpm = {60 / BEAT_SECONDS:.1f}\n\n[takes]\n{takes}\n\n[parts]\n{parts}\n'
    (folder / "takes.toml").write_text(table, encoding="utf-8")
    return folder


def _time(rate_hz: int) -> np.ndarray:
    return np.arange(round(SECONDS * rate_hz)) / rate_hz


def _noise(rate_hz: int, level_dbfs: float, seed: int) -> np.ndarray:
    size = round(SECONDS * rate_hz)
    return 10 ** (level_dbfs / 20) / np.sqrt(2) * np.random.RandomState(seed).standard_normal(size)


def _harmonics(cycles: np.ndarray, count: int) -> np.ndarray:
    """A tone with overtones that fall by 9 dB an octave, each at a phase of its own, read from one period of it."""
    period = 2 * np.pi * np.arange(4097) / 4096
    table = sum(np.sin(each * period + each**2) / each**1.5 for each in range(1, count + 1))
    return table[(cycles % 1 * 4096).astype(int)]


def _voice(rate_hz: int, lines: tuple, note_hz: float, noise_dbfs: float) -> np.ndarray:
    time = _time(rate_hz)
    cycles = np.cumsum(note_hz * (1 + 0.02 * np.sin(2 * np.pi * 5.3 * time))) / rate_hz
    tone, sung = _harmonics(cycles, 14), np.zeros(len(time))
    for number, (start, end, level_dbfs) in enumerate(lines):
        at = slice(round(start * rate_hz), round(end * rate_hz))
        share = np.linspace(0, 1, at.stop - at.start)
        syllables = 0.35 + np.abs(np.sin(np.pi * share * (4 + number % 3))) * (1 + 0.3 * np.sin(7 * share + number))
        line = tone[at] * syllables * np.minimum(1, 30 * np.minimum(share, 1 - share))
        sung[at] += line * 10 ** (level_dbfs / 20) / np.sqrt(2 * np.mean(line**2))
    return sung + _noise(rate_hz, noise_dbfs, 7)


def _struck(rate_hz: int, first: float, mode_hz: float, ring: float, peak: float, noisy: float) -> np.ndarray:
    """A drum on every other beat: a mode and a noise that die away, no two alike; a noisy one has ghost notes."""
    time, made = _time(rate_hz), np.zeros(round(SECONDS * rate_hz))
    rattle = np.random.RandomState(3).standard_normal(len(made)) / 3
    softer = np.where(time < PARTS["verse"][1], 0.5, 1.0)
    since = np.arange(round((30 if noisy else 10) * ring * rate_hz)) / rate_hz
    tail = np.exp(-since / (ring * 8)) * noisy / 1.5
    fall = np.maximum(np.exp(-since / ring), tail) * np.minimum(1, since / 4e-4)
    for number, at in enumerate(np.arange(first * BEAT_SECONDS + 0.05, SECONDS - 3, 2 * BEAT_SECONDS)):
        for later, share in ((0.0, 1 - 0.12 * (number % 3)), (0.75, noisy / 5), (1.25, noisy / 6)):
            first_sample = round((at + later * BEAT_SECONDS) * rate_hz)
            stroke = slice(first_sample, first_sample + len(since))
            body = (1 - noisy) * np.sin(2 * np.pi * mode_hz * since + number) + noisy * rattle[stroke]
            made[stroke] += peak * share * fall * body
    return made * softer + _noise(rate_hz, -78.0, int(mode_hz))


def _held(rate_hz: int, notes_hz: tuple, level_dbfs: float, count: int, *, wide: bool) -> np.ndarray:
    """A chord or a note for four beats each, which fades as it is held."""
    time = _time(rate_hz)
    bar = np.floor(time / (4 * BEAT_SECONDS)).astype(int)
    within = time % (4 * BEAT_SECONDS)
    pitch = np.array(notes_hz)[bar % len(notes_hz)]
    fall = np.exp(-within / 2.5) * np.minimum(1, within / 0.004) * np.minimum(1, (4 * BEAT_SECONDS - within) / 0.02)
    fall *= np.where(time < PARTS["verse"][1], 0.6, 1.0)
    sides = [_harmonics(np.cumsum(pitch * detuned) / rate_hz, count) * fall for detuned in (1.0, 1.003)]
    sound = np.stack(sides, axis=1) if wide else sides[0]
    return sound * 10 ** (level_dbfs / 20) / np.sqrt(2 * np.mean(sound**2))
