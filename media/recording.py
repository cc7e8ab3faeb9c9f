"""What room, microphone and converter add to a dry sound: reflections, noise, hum, level and word length."""

import numpy as np
from scipy import signal

RATE_HZ = 48_000


def random_stream(seed: int) -> np.random.RandomState:
    """Give a random stream that every numpy version repeats (NEP 19 freezes RandomState, not Generator)."""
    return np.random.RandomState(seed)


def from_db(level_db: float) -> float:
    """Amplitude ratio of a level difference."""
    return float(10.0 ** (level_db / 20.0))


def decay(length: int, time_constant_s: float) -> np.ndarray:
    """Exponential decay that falls by 1/e in `time_constant_s`."""
    return np.exp(-np.arange(length) / (RATE_HZ * time_constant_s))


def filter_in_a_circle(sos: np.ndarray, sound: np.ndarray) -> np.ndarray:
    """Filter a loop as if it had been running for ever, so that its end still leads into its start."""
    twice = np.concatenate([sound, sound])
    return signal.sosfilt(sos, twice, axis=0)[len(sound) :]


def band(low_hz: float, high_hz: float, order: int = 2) -> np.ndarray:
    """Second-order sections of a Butterworth band-pass."""
    return signal.butter(order, [low_hz, high_hz], "bandpass", fs=RATE_HZ, output="sos")


def low_pass(cut_hz: float, order: int = 2) -> np.ndarray:
    """Second-order sections of a Butterworth low-pass."""
    return signal.butter(order, cut_hz, "lowpass", fs=RATE_HZ, output="sos")


def high_pass(cut_hz: float, order: int = 2) -> np.ndarray:
    """Second-order sections of a Butterworth high-pass."""
    return signal.butter(order, cut_hz, "highpass", fs=RATE_HZ, output="sos")


def add(take: np.ndarray, sound: np.ndarray, start: int) -> None:
    """Add a sound into a take from sample `start`; what lies before the take or runs over its end is cut off."""
    first, end = max(start, 0), min(start + len(sound), len(take))
    take[first:end] += sound[first - start : end - start]


def faded(take: np.ndarray) -> np.ndarray:
    """A take that comes out of its room within 3 ms and goes back into it within the last 60 ms."""
    shape = np.ones(len(take))
    for samples, way in ((RATE_HZ * 3 // 1000, 1), (RATE_HZ * 60 // 1000, -1)):
        shape[::way][:samples] = 0.5 - 0.5 * np.cos(np.pi * np.arange(samples) / samples)
    return take * shape[:, None]


def room_response(seed: int, decay_time_s: float, reflections: list[tuple[float, float]]) -> np.ndarray:
    """A small room's impulse response without its direct sound: single reflections (ms, dB), then a decaying noise.

    `decay_time_s` is the time in which the noise falls by 60 dB; its treble dies twice as fast.
    """
    stream = random_stream(seed)
    length = int(decay_time_s * 1.2 * RATE_HZ)
    noise = stream.standard_normal(length)
    dark = signal.sosfilt(low_pass(1500, 1), noise) * decay(length, decay_time_s / 6.9)
    bright = (noise - signal.sosfilt(low_pass(1500, 1), noise)) * decay(length, decay_time_s / 13.8)
    response = dark + bright
    response[: int(0.008 * RATE_HZ)] = 0.0
    response /= np.sqrt(np.sum(response**2))
    response *= from_db(-12.0)
    for delay_ms, level_db in reflections:
        response[int(delay_ms * 1e-3 * RATE_HZ)] += from_db(level_db)
    return response


def in_a_room(take: np.ndarray, response: np.ndarray, level_db: float) -> np.ndarray:
    """Add a room's answer to a take, at a level."""
    return take + from_db(level_db) * signal.fftconvolve(take, response)[: len(take)]


def background(length: int, seed: int, rms_dbfs: float, hum_db: float, rumble: float) -> np.ndarray:
    """Steady noise of a recording chain at an AES17 RMS level, with some mains hum, ready to loop.

    `hum_db` is the hum's level against the noise; `rumble` is the share of low room noise in it (0 is plain hiss).
    """
    stream = random_stream(seed)
    hiss = stream.standard_normal(length)
    low = filter_in_a_circle(low_pass(250, 1), stream.standard_normal(length))
    low /= np.std(low)
    noise = np.sqrt(1.0 - rumble) * hiss + np.sqrt(rumble) * low
    seconds = np.arange(length) / RATE_HZ
    hum = sum(
        np.sin(2 * np.pi * hz * seconds + hz) / share for hz, share in ((50, 1.0), (100, 2.0), (150, 1.5), (250, 4.0))
    )
    noise = noise / np.std(noise) + from_db(hum_db) * hum / np.std(hum)
    # AES17 reads a full-scale sine, whose mathematical RMS is 1/sqrt(2), as 0 dBFS.
    return noise / np.std(noise) * from_db(rms_dbfs) / np.sqrt(2.0)


def set_peak(sound: np.ndarray, peak_dbfs: float) -> np.ndarray:
    """Scale a sound so that its largest sample stands at a level."""
    return sound * (from_db(peak_dbfs) / np.max(np.abs(sound)))


def set_peak_and_rms(sound: np.ndarray, peak_dbfs: float, rms_dbfs: float) -> np.ndarray:
    """Bring a sound to a peak and to an AES17 RMS: its slow swells are made larger or smaller until both fit."""
    steps = np.abs(sound).reshape(-1, 24).max(axis=1)
    window = np.hanning(int(0.12 * RATE_HZ / 24) | 1)
    swell = np.convolve(steps, window / window.sum(), "same")
    swell = np.maximum(swell / swell.max(), 0.05)
    swell = np.interp(np.arange(len(sound)) / 24, np.arange(len(swell)), swell)
    wanted_db = peak_dbfs - rms_dbfs
    low, high = -0.6, 1.5
    for _ in range(40):
        power = (low + high) / 2
        shaped = sound * swell**power
        crest_db = 20 * np.log10(np.max(np.abs(shaped)) / np.sqrt(2 * np.mean(shaped**2)))
        low, high = (power, high) if crest_db < wanted_db else (low, power)
    return set_peak(shaped, peak_dbfs)


def to_word_length(sound: np.ndarray, bits: int, seed: int) -> np.ndarray:
    """Round to `bits` with triangular dither; returns 32-bit integers whose upper 24 bits hold the sample."""
    stream = random_stream(seed)
    steps = 2.0 ** (bits - 1)
    dither = stream.random_sample(sound.shape) - stream.random_sample(sound.shape)
    rounded = np.floor(sound * steps + dither + 0.5).astype(np.int64)
    if np.max(np.abs(rounded)) >= steps:
        raise ValueError(
            f"the sound reaches {np.max(np.abs(sound)):.3f} of full scale; it must stay below 1; lower its level."
        )
    return (rounded << (32 - bits)).astype(np.int32)
