"""What the lesson "Finish a session" says in numbers, measured on the lesson's own session."""

from __future__ import annotations

import functools
import json

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl
from gainlib.storage import lesson_files

LESSON = "finish-session"


@pytest.fixture(scope="module")
def rough():
    """The session as the lesson's own first two cells build it."""
    notebook = json.loads(lesson_files()[LESSON].read_text(encoding="utf-8"))
    names: dict[str, object] = {}
    for cell in [each for each in notebook["cells"] if each["cell_type"] == "code"][:2]:
        exec("".join(cell["source"]), names)
    return names["rough"]


@pytest.fixture(scope="module")
def before(rough):
    return rough.render()


MENDED = {"voice/preamp/gain_db": 33, "voice/trim/gain_db": 6, "bass/preamp/gain_db": 25}
MENDED |= {"bass/trim/gain_db": 3, "snare/trim/gain_db": -1}


@pytest.fixture(scope="module")
def stripwise(rough, before):
    return rough.replaced(MENDED).render(before)


@pytest.fixture(scope="module")
def finished(stripwise):
    last = {"main/trim/gain_db": 0, "main/delivery/loudness_lufs": -23.0}
    return stripwise.session.replaced(last).render(stripwise)


def down(rendering):
    return rendering.reading("main/limiter", "gain_reduction_db")


# The strips of the lesson: stem, source (dBu), preamp (dB), trim (dB).
ROUGH = {
    "voice": ("lead-voice", -24, 50, -11),
    "kick": ("kick", -20, 33, -1),
    "snare": ("snare", -20, 29, 14),
    "bass": ("bass", -14, 8, 20),
    "guitar": ("guitar", -34, 46, 0),
}
STRIPWISE = ROUGH | {"voice": ("lead-voice", -24, 33, 6), "bass": ("bass", -14, 25, 3), "snare": ("snare", -20, 29, -1)}
LEVELS = "published: AES17, the stems' own samples; EBU R 68, 0 dBFS is +18 dBu"
CURVE = f"{LEVELS}; Giannoulis, Massberg and Reiss, JAES 60(6), 2012"
HOLDS = f"{CURVE}; BS.1770-5, annex 2; derived: who holds a ceiling turns down by peak - ceiling"


@functools.cache
def converted(stem, source_dbu, preamp_db):
    """What the converter would have without its ceiling; the noise of booth and preamp is left out."""
    return paper.stem(stem, 9.5, 18.8, source_dbu + preamp_db - 18)


def voice_reduction(strips):
    stem, source_dbu, preamp_db, trim_db = strips["voice"]
    entered = np.clip(converted(stem, source_dbu, preamp_db), -1, 1) * 10 ** (trim_db / 20)
    return entered, paper.reduction_db(entered, -20, 3)


@functools.cache
def limited_by(rough, main_db=6, snare_db=None):
    """What stands over the ceiling of -1 dBTP at the limiter: how far it has to turn down."""
    strips = dict(ROUGH if rough else STRIPWISE)
    if snare_db is not None:
        strips["snare"] = (*strips["snare"][:3], snare_db)
    entered, reduction = voice_reduction(strips)
    total = paper.both_sides(entered * 10 ** ((3 - reduction) / 20))
    for name in ("kick", "snare", "bass", "guitar"):
        *take, trim_db = strips[name]
        total = total + paper.both_sides(np.clip(converted(*take), -1, 1) * 10 ** (trim_db / 20))
    return paper.true_peak_dbtp(total) + main_db + 1


def test_the_limiter_turns_down_by_7_7_db(before, reckoned):
    """Predict: "turns down by up to 7.7 dB"."""
    reckoned("turns down by up to 7.7 dB", 7.7, limited_by(True), down(before), within=0.06, near=0.1, source=HOLDS)


def test_two_takes_are_wrong_and_no_others(before, reckoned):
    """Move: "Two takes are wrong": the voice clips, the bass is far too low."""
    taken = {name: before.level(f"{name}/converter") for name in ("kick", "snare", "bass", "guitar", "voice")}
    wrong = (
        [name for name, each in taken.items() if each.clipped],
        [name for name, each in taken.items() if each.peak_dbfs < -25],
    )
    peaks = {name: paper.peak_dbfs(converted(*strip[:3])) for name, strip in ROUGH.items()}
    on_paper = [name for name, peak in peaks.items() if peak > 0], [name for name, peak in peaks.items() if peak < -25]
    expected = (["voice"], ["bass"])
    reckoned("Two takes are wrong", True, on_paper == expected, wrong == expected, source=LEVELS)


def test_the_settings_that_move_names_do_what_it_says(stripwise, reckoned):
    """Move: "the loudest moment leaves 10 dB or more"; "about 5 dB at most".

    Also: "Raise its preamp until its peaks stand near −17 dBFS".
    """
    room = -paper.peak_dbfs(converted(*STRIPWISE["voice"][:3]))
    read = stripwise.level("voice/converter").headroom_db
    assert read == pytest.approx(room, abs=0.05)
    reckoned("the loudest moment leaves 10 dB or more", True, room >= 10, read >= 10, source=LEVELS)
    peak, read = paper.peak_dbfs(converted(*STRIPWISE["bass"][:3])), stripwise.level("bass/converter").peak_dbfs
    reckoned(
        "Raise its preamp until its peaks stand near −17 dBFS", -17, peak, read, within=0.5, near=0.05, source=LEVELS
    )
    most, read = voice_reduction(STRIPWISE)[1].max(), stripwise.reading("voice/compressor", "gain_reduction_db")
    reckoned("about 5 dB at most", 5, most, read, within=0.5, near=0.02, source=CURVE)


@pytest.mark.reading_of_our_own(count=2)
def test_nothing_on_the_main_mends_the_distorted_voice(rough, before):
    """Read: "Nothing on the main mends the distorted voice"; "the delivery only turns it up again"."""
    lowered = rough.replaced({"main/trim/gain_db": -6}).render(before)
    assert lowered.level("voice/converter").clipped == before.level("voice/converter").clipped > 100
    assert lowered.reading("main/delivery", "loudness_lufs") == pytest.approx(-14, abs=0.1)


def test_the_snare_had_caused_most_of_the_limiting(rough, before, stripwise, reckoned):
    """Read: "One strip, the snare, had caused most of it."."""
    assert down(stripwise) == pytest.approx(1.7, abs=0.1)
    assert limited_by(False) == pytest.approx(1.7, abs=0.1)
    snare_only = rough.replaced({"snare/trim/gain_db": -1}).render(before)
    most = down(before) - down(snare_only) > down(before) / 2
    on_paper = limited_by(True) - limited_by(True, snare_db=-1) > limited_by(True) / 2
    reckoned("One strip, the snare, had caused most of it.", True, on_paper, most, source=HOLDS)


def test_at_the_end_the_limiter_has_nothing_to_do_and_the_order_is_met(finished, reckoned):
    """Read: "At the end the limiter has nothing to do"; set-up: "−23 LUFS, at most −1 dBTP"."""
    quote = "At the end the limiter has nothing to do"
    reckoned(quote, True, limited_by(False, main_db=0) <= 0, down(finished) == 0.0, source=HOLDS)
    read = finished.reading("main/delivery", "loudness_lufs")
    quote = "−23 LUFS, at most −1 dBTP"
    reckoned(quote, -23, -23.0, read, within=0.1, source="published: EBU R 128, the target")
    assert finished.reading("main/delivery", "true_peak_dbtp") <= -1


def test_every_take_stands_between_minus_20_and_minus_12(finished, reckoned):
    """Read: "no clipped runs, peaks between −20 and −12 dBFS"."""
    levels = {name: finished.level(f"{name}/converter") for name in STRIPWISE}
    peaks = {name: paper.peak_dbfs(converted(*strip[:3])) for name, strip in STRIPWISE.items()}
    within = all(-20 <= each <= -12 for each in peaks.values())
    read = all(each.clipped == 0 and -20 <= each.peak_dbfs <= -12 for each in levels.values())
    reckoned("peaks between −20 and −12 dBFS", True, within, read, source=LEVELS)


def test_the_sheets_last_line_has_both_numbers_of_the_order(finished, own_reading, reckoned):
    """Read: "here −23.0 LUFS and −11.4 dBTP"."""
    file = finished.at("main/delivery")
    quote = "here −23.0 LUFS and −11.4 dBTP"
    reckoned(quote, -23.0, paper.loudness_lufs(file.samples), gl.measure("loudness_lufs", file), source="BS.1770-5")
    source = "published: BS.1770-5, annex 2, eight times oversampled by another filter"
    peak = paper.true_peak_dbtp(file.samples)
    reckoned(quote, -11.4, peak, gl.measure("true_peak_dbtp", file), within=0.06, near=0.06, source=source)


def test_what_is_repaired_is_no_mix_yet(finished, reckoned):
    """Move: "The snare plays 22 dB RMS under the voice and the guitar 14 dB"."""
    entered, reduction = voice_reduction(STRIPWISE)
    voice = paper.rms_dbfs(entered * 10 ** ((3 - reduction) / 20))
    read = gl.measure("rms_dbfs", finished.at("voice/fader"))
    quote = "The snare plays 22 dB RMS under the voice and the guitar 14 dB"
    for strip, said in (("snare", 22), ("guitar", 14)):
        *take, trim_db = STRIPWISE[strip]
        below = voice - paper.rms_dbfs(converted(*take)) - trim_db
        found = read - gl.measure("rms_dbfs", finished.at(f"{strip}/fader"))
        reckoned(quote, said, below, found, within=0.5, near=0.5, source=CURVE)
