"""Test signals of the standards, made from their descriptions, and a table of the worst deviation for each."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import settings

# The first call of a compiled loop compiles it.
settings.register_profile("gainlib", deadline=None)
settings.load_profile("gainlib")

_WORST = pytest.StashKey[dict]()


def pytest_configure(config):
    config.stash[_WORST] = {}


@pytest.fixture
def worst(request):
    """Keep the largest deviation of a signal for the table at the end: `worst(signal, deviation, unit, allowed)`."""
    kept = request.config.stash.setdefault(_WORST, {})

    def keep(signal, deviation, unit, allowed):
        deviation = float(np.max(np.abs(deviation)))
        before = kept.get(signal, (0.0, unit, allowed))
        kept[signal] = (max(before[0], deviation), unit, allowed)
        return deviation

    return keep


def pytest_terminal_summary(terminalreporter, config):
    kept = config.stash.get(_WORST, {})
    if kept:
        terminalreporter.section("worst deviation of the meters, by signal")
        for signal in sorted(kept):
            deviation, unit, allowed = kept[signal]
            terminalreporter.write_line(f"{signal:<74} {deviation:9.1e} {unit:<2} of {allowed:g}")


def amplitude(level_db):
    return 0.0 if level_db is None else 10 ** (level_db / 20)


def tone(parts, rate_hz, frequency_hz=1000.0, channels=2):
    """Pieces of one sine in phase on all channels: (seconds, peak dBFS or None for silence), phase from sample 0 on."""
    counts = [round(seconds * rate_hz) for seconds, _ in parts]
    gains = np.repeat([amplitude(level) for _, level in parts], counts)
    wave = gains * np.sin(2 * np.pi * frequency_hz * np.arange(len(gains)) / rate_hz)
    return np.tile(wave[:, None], (1, channels))


def faded(wave, rate_hz, seconds=0.01):
    """The wave with linear fades at both ends."""
    count = round(seconds * rate_hz)
    away = np.minimum(np.arange(len(wave)), np.arange(len(wave))[::-1])
    return wave * np.minimum(1.0, away / count)


def steady_sine(share_of_rate, peak, degrees, rate_hz, seconds=0.2):
    """A faded sine at a share of the rate that starts at a phase: Tech 3341 cases 15 to 19."""
    turns = share_of_rate * np.arange(round(seconds * rate_hz)) + degrees / 360
    return faded(peak * np.sin(2 * np.pi * turns), rate_hz)


def high_rate_burst(offset, rate_hz):
    """Tech 3341 cases 20 to 23: one louder period of a quarter of the rate in a sixth, low-passed and decimated."""
    from scipy.signal import firwin, oaconvolve

    fast = 4 * rate_hz
    count = fast // 2
    middle = count // 2 // 24 * 24
    at = np.arange(count)
    wave = 0.5 * np.sin(2 * np.pi * at / 24)
    wave[middle : middle + 16] = np.sin(2 * np.pi * np.arange(16) / 16)
    wave[middle + 16 :] = 0.5 * np.sin(2 * np.pi * (at[middle + 16 :] - middle - 16) / 24)
    taps = firwin(2047, 0.98 * rate_hz / 2, window=("kaiser", 12), fs=fast)
    return oaconvolve(faded(wave, fast), taps, mode="same")[offset::4]


def dft_peak(wave, times=32):
    """The largest |value| of a faded signal, its discrete Fourier transform padded with zeros: the exact yardstick."""
    count = len(wave)
    lines = np.fft.rfft(wave)
    if count % 2 == 0:
        lines[-1] /= 2
    return float(np.abs(np.fft.irfft(lines, count * times)).max()) * times


@pytest.fixture(scope="session")
def signals():
    """The makers of test signals."""
    return SimpleNamespace(
        amplitude=amplitude,
        tone=tone,
        faded=faded,
        steady_sine=steady_sine,
        high_rate_burst=high_rate_burst,
        dft_peak=dft_peak,
    )


@pytest.fixture(scope="session")
def stems():
    """The course's own stems, by name."""
    from gainlib.errors import GainError
    from gainlib.sound_file import read
    from gainlib.storage import bundled_folder

    try:
        folder = bundled_folder("media")
    except GainError as missing:
        pytest.skip(f"the course's stems are not in this checkout: {missing}")
    found = {path.stem: read(path) for path in sorted(folder.glob("*.flac"))}
    if not found:
        pytest.skip(f"no stems in {folder} yet")
    return found
