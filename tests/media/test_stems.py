"""The bundled stems: they can be made again, they keep what their README promises, and its tables tell the truth.

Two of the ten are made again here, an instrument and a voice; with GAINLIB_ALL_STEMS=1 in the environment all are.
"""

import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile

MEDIA = Path(__file__).parents[2] / "media"
RATE_HZ = 48_000
CHANNELS = {
    "kick": 1,
    "snare": 1,
    "hats": 1,
    "bass": 1,
    "guitar": 2,
    "pad": 2,
    "lead-voice": 1,
    "backing-voices": 2,
    "radio-presenter": 1,
    "radio-guest": 1,
}
SONG = [name for name in CHANNELS if not name.startswith("radio")]
SCENE = [name for name in CHANNELS if name.startswith("radio")]
CHORUS_S = 9.5
REBUILT: dict[str, tuple[str, ...]] = {"bass": ("bass",), "lead": ("lead-voice",)}
if os.environ.get("GAINLIB_ALL_STEMS"):
    REBUILT |= {"drums": ("kick", "snare", "hats"), "pad": ("pad",)}
    REBUILT |= {"guitar": ("guitar",), "backing": ("backing-voices",), "radio": ("radio-presenter", "radio-guest")}


def load(name: str, folder: Path = MEDIA) -> np.ndarray:
    """Samples as floats, shape (n, channels)."""
    samples, rate_hz = soundfile.read(folder / f"{name}.flac", always_2d=True)
    assert rate_hz == RATE_HZ
    return samples


# The measures are written out here with plain numpy, apart from those that made the README's tables.
def peak_dbfs(sound: np.ndarray) -> float:
    return 20 * np.log10(np.abs(sound).max())


def rms_dbfs(sound: np.ndarray) -> float:
    """AES17: 0 dBFS is a full-scale sine, so 3.01 dB (10 log10 2) above the mathematical RMS; the louder channel's."""
    return max(20 * np.log10(np.sqrt(np.mean(channel**2))) + 10 * np.log10(2) for channel in sound.T)


def crest_db(sound: np.ndarray) -> float:
    return max(20 * np.log10(np.abs(channel).max() / np.sqrt(np.mean(channel**2))) for channel in sound.T)


def quietest_dbfs(sound: np.ndarray) -> float:
    return min(rms_dbfs(sound[at : at + 4800]) for at in range(0, len(sound) - 4799, 4800))


def cut(sound: np.ndarray, start_s: float, end_s: float) -> np.ndarray:
    return sound[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)]


def readme_rows(first_heading: str) -> list[list[str]]:
    """The cells of the README table whose heading starts with a word and holds numbers."""
    lines = (MEDIA / "README.md").read_text(encoding="utf-8").splitlines()
    head = next(i for i, line in enumerate(lines) if re.match(rf"\| {first_heading} \|.*dBFS", line))
    rows = []
    for line in lines[head + 2 :]:
        if not line.startswith("|"):
            break
        rows.append([cell.strip().replace("\N{MINUS SIGN}", "-") for cell in line.strip("|").split("|")])
    return rows


def phrases() -> list[tuple[str, float, float]]:
    return [(row[0], float(row[1]), float(row[2])) for row in readme_rows("phrase")]


@pytest.fixture(scope="module")
def rebuilt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stems")
    command = [sys.executable, str(MEDIA / "make_stems.py"), "--folder", str(folder), "--only", *REBUILT]
    subprocess.run(command, check=True, capture_output=True)
    return folder


@pytest.mark.parametrize("name", [name for names in REBUILT.values() for name in names])
def test_a_rebuild_gives_the_bundled_samples(name: str, rebuilt: Path) -> None:
    bundled, again = load(name), load(name, rebuilt)
    assert again.shape == bundled.shape
    # Bit for bit on one machine. On another, sines, exponentials and Fourier transforms may differ in their last bit
    # (1e-16); the resonators raise that to some 1e-12 at most. Where this meets an edge of the rounding to 18 bits, the
    # sample falls one step of 2**-17 further: about 1e-12 / 2**-17, one sample in ten million. One in ten thousand
    # leaves room.
    step = 2.0**-17
    difference = np.abs(again - bundled)
    assert difference.max() <= step
    assert np.mean(difference > 0) <= 1e-4


def test_no_other_sound_is_bundled_and_all_fit_in_14_megabytes() -> None:
    files = sorted(MEDIA.glob("*.flac"))
    assert [file.stem for file in files] == sorted(CHANNELS)
    assert sum(file.stat().st_size for file in files) <= 14e6


@pytest.mark.parametrize("name", CHANNELS)
def test_format_and_channels(name: str) -> None:
    info = soundfile.info(MEDIA / f"{name}.flac")
    assert (info.format, info.subtype, info.samplerate, info.channels) == ("FLAC", "PCM_24", RATE_HZ, CHANNELS[name])


@pytest.mark.parametrize("name", CHANNELS)
def test_18_of_the_24_bits_are_used(name: str) -> None:
    # soundfile gives the 24 bits in the upper end of 32, so the lowest of 18 is bit 14
    words, _ = soundfile.read(MEDIA / f"{name}.flac", dtype="int32")
    assert not np.any(words & 0x3FFF)
    assert np.any(words & 0x4000)


def test_lengths() -> None:
    # 8 bars of 4 beats of 28 500 samples
    assert {len(load(name)) for name in SONG} == {912_000}
    assert {len(load(name)) for name in SCENE} == {840_000}


@pytest.mark.parametrize("name", SONG)
def test_the_loop_closes_without_a_click(name: str) -> None:
    sound = load(name)
    seam = np.abs(sound[0] - sound[-1])
    around = np.abs(np.diff(np.roll(sound, 240, axis=0)[:480], axis=0))
    ordinary = np.delete(around, 239, axis=0).max(axis=0)
    assert np.all(seam <= ordinary)


@pytest.mark.parametrize("name", CHANNELS)
def test_nothing_near_full_scale_and_no_dc(name: str) -> None:
    sound = load(name)
    assert peak_dbfs(sound) <= -1.0
    assert 20 * np.log10(np.abs(sound.mean(axis=0)).max() + 1e-12) < -60.0


def test_the_snare_is_peaky_and_the_pad_is_dense() -> None:
    assert crest_db(load("snare")) >= 18.0
    assert crest_db(load("pad")) < 13.0


def test_the_chorus_is_fuller_than_the_verse() -> None:
    mix = sum(load(name).mean(axis=1, keepdims=True) for name in SONG)
    assert rms_dbfs(cut(mix, CHORUS_S, 19.0)) - rms_dbfs(cut(mix, 0.0, CHORUS_S)) >= 3.0


def test_stems_come_at_very_different_levels() -> None:
    peaks = [peak_dbfs(load(name)) for name in CHANNELS]
    assert max(peaks) - min(peaks) >= 12.0


def test_the_phrases_of_the_lead_voice_differ_by_8_db_and_more() -> None:
    take = load("lead-voice")
    levels = [rms_dbfs(cut(take, start_s, end_s)) for name, start_s, end_s in phrases() if "shout" not in name]
    assert len(levels) == 8
    assert max(levels) - min(levels) >= 8.0


def test_the_shout_peaks_10_db_over_the_verse() -> None:
    take = load("lead-voice")
    ((start_s, end_s),) = [(start_s, end_s) for name, start_s, end_s in phrases() if "shout" in name]
    shout = peak_dbfs(cut(take, start_s, end_s))
    assert shout == peak_dbfs(take)
    assert shout == pytest.approx(-4.0, abs=0.5)
    assert 9.5 <= shout - peak_dbfs(cut(take, 0.0, CHORUS_S)) <= 11.0


def test_the_lead_voice_breathes_over_a_noise_floor() -> None:
    take = load("lead-voice")
    floor = quietest_dbfs(take)
    assert -70.0 <= floor <= -66.0
    spans = phrases()
    pauses = [
        (0.0, spans[0][1]),
        *((before[2], after[1]) for before, after in pairwise(spans[:-1])),
    ]
    assert len(pauses) == 8
    for start_s, end_s in pauses:
        loudest = max(rms_dbfs(cut(take, at, at + 0.03)) for at in np.arange(start_s, end_s - 0.029, 0.01))
        assert floor + 6.0 <= loudest <= -30.0


@pytest.mark.parametrize("name", ["kick", "snare", "hats", "backing-voices"])
def test_other_stems_with_pauses_are_quieter_in_them_than_the_lead_voice(name: str) -> None:
    assert -100.0 <= quietest_dbfs(load(name)) < quietest_dbfs(load("lead-voice"))


def test_the_two_speakers_are_very_uneven() -> None:
    presenter, guest = (load(name) for name in SCENE)
    assert rms_dbfs(presenter) - rms_dbfs(guest) >= 12.0


@pytest.mark.parametrize("row", readme_rows("file"), ids=lambda row: row[0])
def test_the_readme_table_of_files_is_true(row: list[str]) -> None:
    file, *figures = row
    sound = load(file.removesuffix(".flac"))
    measured = (peak_dbfs(sound), rms_dbfs(sound), crest_db(sound), quietest_dbfs(sound))
    assert figures == [f"{len(sound) / RATE_HZ:.3f}", str(sound.shape[1]), *(f"{value:.1f}" for value in measured)]


@pytest.mark.parametrize("row", readme_rows("phrase"), ids=lambda row: row[0])
def test_the_readme_table_of_phrases_is_true(row: list[str]) -> None:
    _, start_s, end_s, *figures = row
    phrase = cut(load("lead-voice"), float(start_s), float(end_s))
    assert figures == [f"{peak_dbfs(phrase):.1f}", f"{rms_dbfs(phrase):.1f}"]


def test_the_readme_lists_every_file() -> None:
    assert sorted(row[0] for row in readme_rows("file")) == sorted(f"{name}.flac" for name in CHANNELS)
