"""The stems beside published figures: the README's table is true, and says so where a stem lies outside a range.

The ranges stand in the README with their sources and standings; what is measured here is measured with numpy and scipy.
"""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.ndimage import median_filter
from scipy.signal import welch

MEDIA = Path(__file__).parents[2] / "media"
RATE_HZ = 48_000
BAR_S = 4 * 28_500 / RATE_HZ


def load(file: str) -> np.ndarray:
    """A stem's left channel."""
    samples, rate_hz = soundfile.read(MEDIA / file, always_2d=True)
    assert rate_hz == RATE_HZ
    return samples[:, 0]


def cut(sound: np.ndarray, start_s: float, end_s: float) -> np.ndarray:
    return sound[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)]


def crest_of_the_chorus_bars_db(sound: np.ndarray) -> float:
    bars = (cut(sound, bar * BAR_S, (bar + 1) * BAR_S) for bar in range(4, 8))
    return float(np.median([20 * np.log10(np.abs(bar).max() / np.sqrt(np.mean(bar**2))) for bar in bars]))


def lowest_mode_hz(sound: np.ndarray) -> float:
    """The highest line of the first chorus stroke's ring, read to 0.4 Hz."""
    ring = cut(sound, 9.6, 9.9)
    lines = np.abs(np.fft.rfft(ring * np.hanning(len(ring)), 1 << 17))
    return float(np.argmax(lines) * RATE_HZ / (1 << 17))


def share_above_3_khz_percent(sound: np.ndarray) -> float:
    hertz, power = welch(cut(sound, 9.5, 19.0), RATE_HZ, nperseg=8192)
    return float(100 * power[hertz > 3000].sum() / power.sum())


def falls_by_20_db_in_ms(sound: np.ndarray) -> float:
    """The median of the first eight strokes of the chorus, a quarter of a beat apart, over 5 ms RMS."""
    times = []
    for stroke in range(8):
        at = 9.5 + stroke * BAR_S / 16
        near = np.sqrt(np.convolve(cut(sound, at - 0.006, at + 0.13) ** 2, np.ones(240) / 240, "same"))
        top = int(np.argmax(near))
        times.append(1000 / RATE_HZ * int(np.argmax(near[top:] < near[top] / 10)))
    return float(np.median(times))


MEASURED = {
    "crest factor, median of the chorus bars, dB": crest_of_the_chorus_bars_db,
    "lowest mode, Hz": lowest_mode_hz,
    "power above 3 kHz, %": share_above_3_khz_percent,
    "a closed stroke falls by 20 dB in, ms": falls_by_20_db_in_ms,
}


def rows() -> list[list[str]]:
    lines = (MEDIA / "README.md").read_text(encoding="utf-8").replace("\N{MINUS SIGN}", "-").splitlines()
    head = lines.index("| figure | stem | elsewhere | here | source |")
    table = []
    for line in lines[head + 2 :]:
        if not line.startswith("|"):
            break
        table.append([cell.strip() for cell in line.strip("|").split("|")])
    return table


@pytest.mark.parametrize("row", rows(), ids=lambda row: f"{row[1]}: {row[0]}")
def test_the_readme_beside_published_figures_is_true(row: list[str]) -> None:
    figure, file, elsewhere, here, source = row
    measured = MEASURED[figure](load(file))
    said, _, outside = here.partition(", ")
    assert said == f"{measured:.1f}"
    low, high = (float(each) for each in re.fullmatch(r"(-?[\d.]+) to (-?[\d.]+)", elsewhere).groups())
    assert outside == ("below" if measured < low else "above" if measured > high else "")
    assert "common practice" in source or "published" in source


def test_no_figure_is_measured_for_nothing() -> None:
    assert {row[0] for row in rows()} == set(MEASURED)


def test_no_line_rings_through_the_hats() -> None:
    """Hundreds of modes, none of which stands 6 dB over those within 500 Hz: metal, and no chord."""
    hertz, power = welch(cut(load("hats.flac"), 9.5, 19.0), RATE_HZ, nperseg=8192)
    over = 10 * np.log10(power / median_filter(power, 171))
    assert over[(hertz > 2000) & (hertz < 18_000)].max() < 6


@pytest.mark.parametrize("file", ["guitar.flac", "hats.flac", "kick.flac", "pad.flac", "snare.flac", "bass.flac"])
def test_no_stem_is_cut_off(file: str) -> None:
    """Both ends lie 20 dB and more under the stem: nothing begins or ends in the middle of a sound."""
    sound = load(file)
    whole = np.sqrt(np.mean(sound**2))
    for end in (sound[:48], sound[-96:]):
        assert 20 * np.log10(np.sqrt(np.mean(end**2)) / whole) < -20


def test_picks_and_strings_reach_12_khz() -> None:
    """The strummed guitar stands at least 10 dB over its own noise between 10 and 12 kHz."""
    guitar = load("guitar.flac")
    hertz, power = welch(cut(guitar, 9.5, 19.0), RATE_HZ, nperseg=4096)
    band = (hertz > 10_000) & (hertz < 12_000)
    # The stem's noise floor is flat up there: read between 20 and 23 kHz.
    floor = (hertz > 20_000) & (hertz < 23_000)
    assert 10 * np.log10(power[band].mean() / power[floor].mean()) > 10
