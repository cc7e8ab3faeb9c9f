"""The registry of measures: what each says about itself, and any recording whatever in front of every one."""

from __future__ import annotations

import contextlib
import math
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

import gainlib.meters
from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters import (
    Meters,
    active_rms_dbfs,
    clipped_runs,
    crest_db,
    dc_offset_dbfs,
    flat_tops,
    harmonics,
    loudness_lufs,
    loudness_range_lu,
    measure,
    measure_all,
    measures,
    momentary_max_lufs,
    noise_floor_dbfs,
    noise_under_sound_dbfs,
    peak_dbfs,
    ppm,
    rms_dbfs,
    short_term_max_lufs,
    thd_n_percent,
    true_peak_dbtp,
    vu,
)

RATE_HZ = 48_000
NAMES = sorted(measures())


def take(seconds=4.0, channels=2, rate_hz=RATE_HZ):
    time = np.arange(round(seconds * rate_hz)) / rate_hz
    wave = np.where(time % 1.5 < 1.0, 0.4 * np.sin(2 * np.pi * 220 * time), 0.0) + 0.01 * np.sin(2 * np.pi * 50 * time)
    return Audio(np.stack([wave * (index + 1) / channels for index in range(channels)], axis=1), rate_hz, "take")


def test_each_measure_says_what_a_person_needs():
    units = {"": "", "dbfs": "dBFS", "dbtp": "dBTP", "db": "dB", "lufs": "LUFS", "lu": "LU", "percent": "%"}
    for name, each in measures().items():
        assert each.name == name
        assert each.meaning.endswith("."), name
        assert each.meaning.count(".") - each.meaning.count("BS.1770") - each.meaning.count("3.0 dB") == 1, (
            f"{name}: one sentence"
        )
        assert len(each.meaning) < 110, name
        ending = name.rsplit("_", 1)[-1]
        assert each.unit == units.get(ending, ""), f"the unit of {name} is in its name"
        assert name in repr(measures())


@pytest.mark.parametrize(
    ("name", "direct"),
    [
        ("peak_dbfs", lambda a: peak_dbfs(a.samples)),
        ("true_peak_dbtp", lambda a: true_peak_dbtp(a.samples)),
        ("rms_dbfs", lambda a: rms_dbfs(a.samples)),
        ("active_rms_dbfs", lambda a: active_rms_dbfs(a.samples, a.rate_hz)),
        ("crest_db", lambda a: crest_db(a.samples)),
        ("headroom_db", lambda a: -peak_dbfs(a.samples)),
        ("dc_offset_dbfs", lambda a: dc_offset_dbfs(a.samples)),
        ("noise_floor_dbfs", lambda a: noise_floor_dbfs(a.samples, a.rate_hz)),
        ("noise_under_sound_dbfs", lambda a: noise_under_sound_dbfs(a.samples, a.rate_hz)),
        ("clipped_runs", lambda a: np.array([len(clipped_runs(a.samples[:, each])) for each in range(a.channels)])),
        ("flat_tops", lambda a: np.array([len(flat_tops(a.samples[:, each])) for each in range(a.channels)])),
        ("vu_max_dbfs", lambda a: vu(a.samples, a.rate_hz, frames_a_second=1).highest_dbfs),
        ("ppm_type1_max_dbfs", lambda a: ppm(a.samples, a.rate_hz, "I", frames_a_second=1).highest_dbfs),
        ("ppm_type2_max_dbfs", lambda a: ppm(a.samples, a.rate_hz, "II", frames_a_second=1).highest_dbfs),
        ("thd_percent", lambda a: harmonics(a.samples, a.rate_hz).thd_percent),
        ("thd_n_percent", lambda a: thd_n_percent(a.samples, a.rate_hz)),
        ("loudness_lufs", lambda a: loudness_lufs(a.samples, a.rate_hz)),
        ("momentary_max_lufs", lambda a: momentary_max_lufs(a.samples, a.rate_hz)),
        ("short_term_max_lufs", lambda a: short_term_max_lufs(a.samples, a.rate_hz)),
        ("loudness_range_lu", lambda a: loudness_range_lu(a.samples, a.rate_hz)),
    ],
)
def test_a_measure_is_its_function(name, direct):
    audio = take()
    found = np.atleast_1d(direct(audio))
    if measures()[name].whole:
        assert measure(name, audio) == found[0]
        with pytest.raises(GainError, match=f"{name} is one reading of the whole recording; leave out per_channel"):
            measure(name, audio, per_channel=True)
    else:
        assert np.array_equal(measure(name, audio, per_channel=True), found)
        assert measure(name, audio) == (found.min() if name == "headroom_db" else found.max())


def test_flat_tops_and_loudness_are_read_in_this_room_alone():
    # A second detector would have to ask the loops itself.
    package = Path(gainlib.meters.__file__).parents[1]
    texts = {path.relative_to(package).as_posix(): path.read_text(encoding="utf-8") for path in package.rglob("*.py")}
    rooms = {name: text for name, text in texts.items() if not name.startswith("loops/")}
    assert [name for name, text in rooms.items() if "find_flat_tops(" in text] == ["meters/clipping.py"]
    assert [name for name, text in rooms.items() if "weighted_cell_sums(" in text] == ["meters/loudness_meter.py"]
    whole = {name for name, each in measures().items() if each.make is None}
    assert whole == {"phrase_range_db", "hum_dbfs", "thd_percent", "thd_n_percent"}, (
        "every other measure has a meter of a stream"
    )


def test_phrase_range():
    # The take's phrases are alike; its channels are 6 dB apart and the loudest counts.
    assert measure("phrase_range_db", take()) == pytest.approx(0.0, abs=0.1)
    louder = take().samples.copy()
    louder[: round(1.2 * RATE_HZ)] *= 0.25
    assert measure("phrase_range_db", Audio(louder, RATE_HZ)) == pytest.approx(12.04, abs=0.1)


def test_measure_all_shares_its_work_and_gives_the_same():
    audio = take()
    found = measure_all(audio)
    assert list(found) == [name for name, each in measures().items() if not each.tone]
    for name, value in found.items():
        assert value == measure(name, audio)
    assert list(measure_all(audio, ["crest_db", "peak_dbfs"])) == ["crest_db", "peak_dbfs"]


def test_measure_all_leaves_out_what_the_recording_lacks():
    short = Audio(take().samples[: RATE_HZ // 5], RATE_HZ)
    assert not {"loudness_lufs", "short_term_max_lufs"} & set(measure_all(short))
    nine = Audio(np.ones((RATE_HZ, 9)) * 0.1, RATE_HZ)
    assert "loudness_lufs" not in measure_all(nine)
    assert "true_peak_dbtp" in measure_all(nine)
    with pytest.raises(GainError, match="loudness_lufs needs at most 6 channels; this recording has 9"):
        measure_all(nine, ["peak_dbfs", "loudness_lufs"])


@pytest.mark.parametrize(
    ("ask", "message"),
    [
        (lambda: measure("true_peak_db", take()), r"'true_peak_db' is not a measure; did you mean true_peak_dbtp\?"),
        (lambda: measure("flat_runs", take()), r"'flat_runs' is not a measure; did you mean flat_tops\?"),
        (lambda: measure("lufs", take()), "'lufs' is not a measure"),
        (lambda: measure_all(take(), ["peak"]), r"'peak' is not a measure; did you mean"),
        (lambda: measure("peak_dbfs", np.zeros(4)), "peak_dbfs was asked of ndarray; give Audio"),
        (lambda: measure_all(np.zeros(4)), "measure_all was asked of ndarray"),
        (lambda: measure("loudness_lufs", Audio(np.zeros(4800), RATE_HZ)),
         "loudness_lufs needs 0.4 s or more; this recording lasts 0.1 s"),
        (lambda: measure("loudness_range_lu", Audio(np.zeros(RATE_HZ), RATE_HZ)), "needs 3 s or more"),
        (lambda: measure("loudness_lufs", Audio(np.zeros(RATE_HZ), 4_000)),
         "needs a rate of 8000 to 192 000 Hz; this recording has 4000 Hz"),
    ],
)  # fmt: skip
def test_refusals_name_the_measure(ask, message):
    with pytest.raises(GainError, match=message):
        ask()


def test_readings_are_printed_as_a_person_reads_them():
    for name, value, expected in (
        ("loudness_lufs", -23.04, "−23.0 LUFS"),
        ("loudness_range_lu", 7.26, "7.3 LU"),
        ("crest_db", 3.01, "3.0 dB"),
        ("thd_percent", 0.0123, "0.012 %"),
        ("clipped_runs", 3.0, "3"),
        ("true_peak_dbtp", 1.25, "1.2 dBTP"),
        ("noise_floor_dbfs", -math.inf, "−∞ dBFS"),
    ):
        assert measures()[name].printed(value) == expected
    assert measures()["true_peak_dbtp"].needs == ""
    assert measures()["thd_percent"].needs == "a steady tone"


# Recordings that nobody should make, and every measure on each: a number that is not NaN, or one sentence.
LOW_HZ = 8_000


def low(seconds=4.0, channels=2):
    return take(seconds, channels, LOW_HZ)


ODD = {
    "one sample": Audio(np.array([0.5]), LOW_HZ),
    "one silent sample": Audio(np.array([0.0]), LOW_HZ),
    "two samples": Audio(np.array([0.5, -0.5]), LOW_HZ),
    "silence": Audio(np.zeros((4 * LOW_HZ, 2)), LOW_HZ),
    "half silent": Audio(np.stack([np.zeros(4 * LOW_HZ), low().samples[:, 1]], axis=1), LOW_HZ),
    "a constant": Audio(np.full(4 * LOW_HZ, 0.25), LOW_HZ),
    "nine channels": low(channels=9),
    "1 Hz": Audio(low(1.0).samples, 1),
    "7 Hz": Audio(low(0.1).samples, 7),
    "1 GHz": Audio(low(1.0).samples, 10**9),
    "10 MHz": Audio(low(1.0).samples, 10**7),
    "denormal": Audio(np.full(4 * LOW_HZ, 5e-324), LOW_HZ),
    "tiny": Audio(1e-200 * low().samples, LOW_HZ),
    "huge": Audio(1e100 * low().samples, LOW_HZ),
    "beyond squares": Audio(1e200 * low().samples, LOW_HZ),
    "nearly infinite": Audio(4e307 * low().samples, LOW_HZ),
    "float32": Audio(low().samples.astype(np.float32), LOW_HZ),
    "huge float32": Audio((1e30 * low().samples).astype(np.float32), LOW_HZ),
    "columns": Audio(np.asfortranarray(low().samples), LOW_HZ),
    "every other sample": Audio(take(2.0).samples[::2], RATE_HZ // 2),
    "backwards": Audio(low().samples[::-1], LOW_HZ),
}


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("odd", ODD)
def test_any_recording_gives_a_number_or_one_sentence(name, odd):
    # pytest turns every warning into an error here.
    try:
        value = measure(name, ODD[odd])
    except GainError as refusal:
        text = str(refusal)
        assert text.count("\n") == 0
        assert text.endswith(".")
        assert len(text) < 220
    else:
        assert isinstance(value, float)
        assert not math.isnan(value)


def test_the_layout_in_memory_does_not_matter():
    plain = measure_all(Audio(take().samples + 0.001, RATE_HZ))
    columns = Audio(np.asfortranarray(take().samples + 0.001), RATE_HZ)
    assert measure_all(columns) == pytest.approx(plain, abs=1e-9)
    single = Audio((take().samples + 0.001).astype(np.float32), RATE_HZ)
    assert measure_all(single) == pytest.approx(plain, abs=1e-4)


@pytest.mark.parametrize("name", NAMES)
def test_a_recording_held_in_single_precision_reads_the_same_to_the_last_bit(name):
    tone = 0.5 * np.sin(2 * np.pi * 997 * np.arange(4 * RATE_HZ) / RATE_HZ)
    noise = 1e-3 * np.random.default_rng(5).standard_normal(len(tone))
    narrow = Audio((tone + noise).astype(np.float32), RATE_HZ)
    assert measure(name, narrow) == measure(name, Audio(narrow.samples.astype(np.float64), RATE_HZ))


@pytest.mark.parametrize("name", measures())
@pytest.mark.parametrize("channels", [1, 2])
def test_a_measure_takes_no_more_memory_than_it_declares(name, channels):
    # Noise clipped at many places, and a tone for what needs one; long enough that blocks do not count.
    rng = np.random.default_rng(1)
    for samples in (
        np.clip(3.0 * rng.uniform(-1, 1, (480_000, channels)), -1, 1),
        0.5 * np.sin(np.arange(480_000) / 7.0)[:, None] * np.ones(channels),
    ):
        audio = Audio(samples, 48_000)
        with contextlib.suppress(GainError):
            measures()[name].read(audio)  # what it opens and compiles
            tracemalloc.start()
            measures()[name].read(audio)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        # The recording once more, in another order of its samples, and what is declared.
        assert peak <= 8 * len(samples) * (channels + measures()[name].copies)


@pytest.mark.parametrize("cut", [4800, 4801])
def test_meters_read_the_same_by_figures_of_windows_that_were_reckoned_before(cut):
    # Planted: a run at full scale over the seam of two blocks, one inside, an offset, silence; blocks of whole windows
    # and of others. Expected: what each meter reads of the samples by itself.
    take = 0.2 * np.random.default_rng(5).standard_normal((24_000, 2)).astype(np.float32) + np.float32(0.01)
    take[cut - 2 : cut + 2, 0], take[9000:9005, 1], take[14_400:] = 1.0, -1.0, 0.0
    names = [
        "peak_dbfs",
        "rms_dbfs",
        "dc_offset_dbfs",
        "crest_db",
        "active_rms_dbfs",
        "noise_floor_dbfs",
        "clipped_runs",
    ]
    known, plain = Meters(48_000, 2, names), Meters(48_000, 2, names)
    for block in (take[:cut], take[cut:12_000], take[12_000:]):
        columns = np.asfortranarray(block)
        known.take(block, columns, known.figures_of(columns))
        plain.take(block)
    for name, reading in plain.readings().items():
        assert known.readings()[name] == pytest.approx(reading, abs=1e-11), name
    assert known.readings()["clipped_runs"].tolist() == [1, 1]
