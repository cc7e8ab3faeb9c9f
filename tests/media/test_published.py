"""The stems beside published figures: the README's table is true, and says so where a stem lies outside a range.

The ranges stand in the README with their sources and standings; what is measured here is measured with numpy and scipy.
"""

import re
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy.ndimage import median_filter
from scipy.signal import butter, hilbert, sosfiltfilt, welch

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


def falls_by_60_db_in_ms(sound: np.ndarray) -> float:
    """The first stroke of the verse, which nothing else covers for a second, over 20 ms RMS."""
    near = np.sqrt(np.convolve(cut(sound, 0.0, 1.1) ** 2, np.ones(960) / 960, "same"))
    top = int(np.argmax(near))
    return float(1000 / RATE_HZ * np.argmax(near[top:] < near[top] / 1000))


def tenth_partial_against_the_first(sound: np.ndarray) -> float:
    """How many times faster the tenth partial of the third bar's C4 dies than its first, until the next string."""
    slopes = []
    # the tenth of a string of stiffness 4e-5 is 3.4 cents sharp
    for hertz in (261.63, 2616.3 * (1.004 / 1.00004) ** 0.5):
        seconds = np.arange(len(sound)) / RATE_HZ
        low = butter(2, 9, fs=RATE_HZ, output="sos")
        turned = sound * np.exp(-2j * np.pi * hertz * seconds)
        partial = cut(sosfiltfilt(low, turned.real) + 1j * sosfiltfilt(low, turned.imag), 5.12, 5.30)[::480]
        slopes.append(np.polyfit(np.arange(len(partial)), 20 * np.log10(np.abs(partial)), 1)[0])
    return float(slopes[1] / slopes[0])


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


# Where each speaker of the radio scene speaks into the own microphone.
TURNS = {
    "radio-presenter.flac": ((0.35, 6.1), (8.75, 10.7), (13.65, 15.3)),
    "radio-guest.flac": ((6.25, 8.4), (10.85, 13.4), (15.5, 17.2)),
}


def octave_of_voice_db(voice: np.ndarray, centre_hz: float) -> float:
    """An octave's power against that from 80 Hz to 18 kHz."""
    hertz, power = welch(voice, RATE_HZ, nperseg=8192)
    octave = (hertz >= centre_hz / 2**0.5) & (hertz < centre_hz * 2**0.5)
    return float(10 * np.log10(power[octave].sum() / power[(hertz > 80) & (hertz < 18_000)].sum()))


def vibrato(sound: np.ndarray) -> tuple[float, float]:
    """Rate in Hz and extent from lowest to highest in cents, of the held B4 of "bay": the fundamental's own phase."""
    note = cut(sound, 13.15, 13.9)
    around = butter(2, [393.0, 620.0], "bandpass", fs=RATE_HZ, output="sos")
    hertz = np.diff(np.unwrap(np.angle(hilbert(sosfiltfilt(around, note))))) * RATE_HZ / (2 * np.pi)
    cents = 1200 * np.log2(hertz[4800:-4800] / 493.88)
    cents = np.convolve(cents, np.ones(960) / 960, "valid")[::48]
    times = np.arange(len(cents))
    cents = cents - np.polyval(np.polyfit(times, cents, 2), times)
    lines = np.abs(np.fft.rfft(cents * np.hanning(len(cents)), 1 << 14))
    return float(np.argmax(lines) * 1000 / (1 << 14)), float(np.percentile(cents, 97) - np.percentile(cents, 3))


MEASURED = {
    "vibrato of a held note, Hz": lambda sound: vibrato(sound)[0],
    "vibrato of a held note, lowest to highest, cents": lambda sound: vibrato(sound)[1],
    "chorus, octave at 4 kHz against the whole, dB": lambda sound: octave_of_voice_db(cut(sound, 9.33, 17.7), 4000),
    "shout, octave at 4 kHz against the whole, dB": lambda sound: octave_of_voice_db(cut(sound, 17.73, 18.8), 4000),
    "speech, octave at 500 Hz against the whole, dB": lambda sound: octave_of_voice_db(sound, 500),
    "speech, octave at 1 kHz against the whole, dB": lambda sound: octave_of_voice_db(sound, 1000),
    "speech, octave at 2 kHz against the whole, dB": lambda sound: octave_of_voice_db(sound, 2000),
    "speech, octave at 4 kHz against the whole, dB": lambda sound: octave_of_voice_db(sound, 4000),
    "speech, octave at 8 kHz against the whole, dB": lambda sound: octave_of_voice_db(sound, 8000),
    "crest factor, median of the chorus bars, dB": crest_of_the_chorus_bars_db,
    "lowest mode, Hz": lowest_mode_hz,
    "a stroke falls by 60 dB in, ms": falls_by_60_db_in_ms,
    "the tenth partial dies faster than the first, times": tenth_partial_against_the_first,
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
    sound = load(file)
    if figure.startswith("speech"):
        sound = np.concatenate([cut(sound, *turn) for turn in TURNS[file]])
    measured = MEASURED[figure](sound)
    said, _, outside = here.partition(", ")
    assert said == f"{measured:.1f}"
    low, high = (float(each) for each in re.fullmatch(r"(-?[\d.]+) to (-?[\d.]+)", elsewhere).groups())
    assert outside == ("below" if measured < low else "above" if measured > high else "")
    assert any(standing in source for standing in ("common practice", "as others quote it", "from memory"))


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


def test_a_sung_vowel_has_air() -> None:
    """In the held "bay" the octave at 8 kHz lies 30 to 45 dB under the vowel, and swells and falls with each period."""
    note = cut(load("lead-voice.flac"), 13.2, 13.6)
    air = sosfiltfilt(butter(4, [5657.0, 11_314.0], "bandpass", fs=RATE_HZ, output="sos"), note)
    assert -45 < 20 * np.log10(np.std(air) / np.std(note)) < -30
    hertz, swells = welch(np.abs(hilbert(air)), RATE_HZ, nperseg=8192)
    at_the_pitch = swells[(hertz > 460) & (hertz < 530)].max()
    assert at_the_pitch > 5 * np.median(swells[(hertz > 200) & (hertz < 800)])


def test_a_spoken_t_closes_bursts_and_breathes() -> None:
    """In "what time" the mouth is shut for 50 to 130 ms; then a burst, mostly above 3 kHz, and breath until the voice.

    The T's closure and its 50 to 90 ms to the voice are after Klatt 1975 and 1980 (from memory); two T's meet here.
    """
    presenter = load("radio-presenter.flac")
    at = 14.0
    near_db = 10 * np.log10(np.mean(cut(presenter, at, at + 0.3).reshape(-1, 240) ** 2, axis=1))
    burst = int(np.argmax(np.diff(near_db))) + 1
    voice = burst + 2 + int(np.argmax(near_db[burst + 2 :] > near_db[0] - 3))
    shut = np.flatnonzero(near_db[:burst] > near_db[0] - 15)[-1] + 1
    assert 10 <= burst - shut <= 26
    assert 10 <= voice - burst <= 18
    hertz, power = welch(cut(presenter, at + 0.005 * burst, at + 0.005 * burst + 0.015), RATE_HZ, nperseg=720)
    assert power[hertz > 3000].sum() > 4 * power[(hertz > 80) & (hertz < 2000)].sum()


def test_the_mouth_of_a_spoken_time_glides_forward() -> None:
    """The vowel of "time" rises from near 1200 Hz to near 1900 Hz in its second formant (Klatt 1980; from memory)."""
    presenter = load("radio-presenter.flac")
    ends = []
    for start_s in (14.25, 14.40):
        hertz, power = welch(cut(presenter, start_s, start_s + 0.03), RATE_HZ, nperseg=1440, nfft=8192)
        second = (hertz > 900) & (hertz < 2400)
        ends.append(float((hertz[second] * power[second]).sum() / power[second].sum()))
    assert ends[0] < 1400
    assert ends[1] > 1650


def rings_for_s(sound: np.ndarray, start_s: float, end_s: float) -> float:
    """How long a note stays within 6 dB of its loudest, over 50 ms RMS."""
    near = np.convolve(cut(sound, start_s, end_s) ** 2, np.ones(2400) / 2400, "same")
    return float(np.sum(near > near.max() / 4) / RATE_HZ)


def test_the_shout_rings_longer_than_any_word() -> None:
    """The longest word held in the song is "bay"."""
    take = load("lead-voice.flac")
    words = [rings_for_s(take, *each) for each in ((0.2, 0.86), (10.6, 11.2), (12.9, 13.95), (15.2, 16.1))]
    assert rings_for_s(take, 17.7, 18.95) > max(words) + 0.05


def middle_of_the_upper_formants_hz(sound: np.ndarray) -> float:
    """The centre of what sounds between 900 and 2600 Hz, over the first formant of the vowels read here."""
    hertz, power = welch(sound, RATE_HZ, nperseg=1440, nfft=8192)
    upper = (hertz > 900) & (hertz < 2600)
    return float((hertz[upper] * power[upper]).sum() / power[upper].sum())


def test_sung_words_are_joined() -> None:
    """From the vowel of "slow" to that of "the" the voice goes on through W, Z and DH: no 10 ms fall by 15 dB."""
    words = cut(load("lead-voice.flac"), 0.45, 1.49)
    near_db = 10 * np.log10(np.mean(words[:49_920].reshape(-1, 480) ** 2, axis=1))
    assert near_db.min() > 10 * np.log10(np.mean(words**2)) - 15


@pytest.mark.parametrize(
    ("word", "held_s", "closing_s"),
    [("homeward", (16.12, 16.20), (16.26, 16.31)), ("night", (16.68, 16.74), (16.84, 16.88))],
)
def test_a_sung_vowel_closes_towards_its_consonant(
    word: str, held_s: tuple[float, float], closing_s: tuple[float, float]
) -> None:
    """D and T draw the second formant towards some 1800 Hz (locus equations, Sussman and others 1991; from memory)."""
    take = load("lead-voice.flac")
    held, closing = (middle_of_the_upper_formants_hz(cut(take, *each)) for each in (held_s, closing_s))
    assert closing > held + 200
    assert closing > 1600
