"""Stems with planted faults, for the tests and the benchmarks: what is planted where is known to the sample."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 48_000


def noise(seed, seconds, *, rms=0.05, channels=1, rate_hz=RATE_HZ):
    """Noise below 1 kHz or so, with half a second of pause at its end, peaks about four times its RMS."""
    rng = np.random.default_rng(seed)
    white = rng.standard_normal((round(seconds * rate_hz) + 64, channels))
    kernel = np.hanning(66)[1:-1]
    kernel -= kernel.mean()  # no DC
    smooth = np.stack([np.convolve(each, kernel, "valid") for each in white.T], axis=1)
    smooth = smooth[: round(seconds * rate_hz)]
    smooth *= rms / smooth.std()
    smooth[-rate_hz // 2 :] *= 1e-4
    return smooth


def tone(seconds, amplitude, frequency_hz=220.0, *, rate_hz=RATE_HZ):
    """A sine, mono."""
    return amplitude * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz)[:, None]


def clipped_tone(seconds, over_db, level_db=0.0):
    """A sine driven over full scale, cut there, and turned down."""
    return np.clip(tone(seconds, 10 ** (over_db / 20)), -1, 1) * 10 ** (level_db / 20)


def save(path, samples, *, subtype="PCM_24", rate_hz=RATE_HZ):
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, samples, rate_hz, subtype=subtype)
    return path


def with_time_reference(path, samples_from_start):
    """Put a `bext` chunk (EBU Tech 3285) before the samples of a WAV."""
    data = Path(path).read_bytes()
    chunk = bytearray(602)
    chunk[338:346] = struct.pack("<Q", samples_from_start)
    body = data[12:36] + b"bext" + struct.pack("<I", len(chunk)) + bytes(chunk) + data[36:]
    Path(path).write_bytes(b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body)
    return path


def session(folder):
    """A folder of eleven stems of four seconds, most with a fault of their own; gives the faults by stem."""
    folder = Path(folder)
    seconds = 4.0
    one = noise(1, seconds)
    bass = tone(seconds, 0.25, 55.0)
    bass[-RATE_HZ // 10 :] *= np.linspace(1.0, 0.0, RATE_HZ // 10)[:, None]  # it ends, it is not cut off
    save(folder / "bass.wav", bass)
    save(folder / "drum-top.wav", one)
    save(folder / "drum-under.wav", -0.8 * one + noise(2, seconds, rms=0.01))
    clipped = np.clip(4.0 * noise(3, seconds, rms=0.15), -1.0, 1.0)
    save(folder / "guitar.wav", clipped)
    lowered = 0.3 * np.clip(4.0 * noise(4, seconds, rms=0.15), -1.0, 1.0)
    dither = np.random.default_rng(5).random((2, *lowered.shape))
    save(folder / "keys.wav", lowered + (dither[0] - dither[1]) / 32768, subtype="PCM_16")
    save(folder / "room.wav", np.zeros((round(seconds * RATE_HZ), 2)))
    save(folder / "solo.flac", noise(6, seconds - 1.0))
    twice = noise(7, seconds)
    save(folder / "synth.wav", np.repeat(twice, 2, axis=1))
    wide = noise(8, seconds, channels=2)
    save(folder / "strings.wav", wide * [1.0, 0.2])
    save(folder / "voice.wav", 0.05 * noise(9, seconds) + 0.01 + 2e-4 * noise(10, seconds))
    hiss = noise(11, seconds, rms=0.002)
    hiss[-RATE_HZ:] = 1e-4 * np.random.default_rng(12).standard_normal((RATE_HZ, 1))
    save(folder / "whisper.wav", hiss)
    return {
        "bass": set(), "drum-top": set(), "drum-under": {"opposed"}, "guitar": {"clipped"}, "keys": {"flat tops"},
        "room": {"silent"}, "solo": {"length"}, "synth": {"dual mono"}, "strings": {"imbalance"}, "voice": {"dc"},
        "whisper": {"noise"},
    }  # fmt: skip
