"""A take of the learner's own is read and judged; takes of planted levels say which way the knob goes."""

from __future__ import annotations

import json

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.exercises import check, figures_of, load

RATE_HZ = 48_000
NAME = "recording/your-own-level"


def planted(verse_dbfs=-15.0, shout_dbfs=-8.0, room_dbfs=-75.0, hum_dbfs=None, seconds=18.0):
    """A quiet room for 3 s, words of 0.4 s at the verse's peak until 13 s, then at the shout's."""
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    level = np.where(time < 3.0, -np.inf, np.where(time < 13.0, verse_dbfs, shout_dbfs))
    words = 10.0 ** (level / 20.0) * (time % 0.6 < 0.4) * np.sin(2.0 * np.pi * 240.0 * time)
    noise = np.random.default_rng(2).standard_normal(len(time)) * 10.0 ** ((room_dbfs - 3.01) / 20.0)
    hum = 0.0 * time
    if hum_dbfs is not None:
        hum = 10.0 ** (hum_dbfs / 20.0) * (np.sin(2.0 * np.pi * 50.0 * time) + np.sin(2.0 * np.pi * 150.0 * time))
    return Audio(np.clip(words + noise + hum, -1.0, 1.0), RATE_HZ)


@pytest.fixture(scope="module")
def variant():
    return load(NAME).variant("ada")


def said(variant, take):
    verdict = check(variant, figures_of(variant, take))
    return verdict, {each.title: each for each in verdict.lines}


def test_a_take_at_the_right_level_passes_whatever_its_rate(variant):
    verdict, lines = said(variant, planted())
    assert verdict.passed, verdict.text
    assert "−15.0 dBFS" in lines["The verse"].sentence
    slower = Audio(planted().samples[: 18 * 44_100], 44_100)
    assert not said(variant, slower)[0].notes


@pytest.mark.parametrize(
    ("take", "title", "sentence"),
    [
        (planted(-28.0, -20.0, -100.0), "The verse", "Turn the gain of your interface up by about 13.0 dB."),
        (planted(-6.0, -1.0, -100.0), "The verse", "Turn the gain of your interface down by about 9.0 dB"),
        (planted(-15.0, 6.0), "Clipped runs in the whole take", "Turn the gain of your interface down"),
        (planted(-15.0, -14.0), "How far the shout is over the verse", "hardly louder than the verse"),
        (planted(room_dbfs=-45.0), "The room's noise under the verse", "The gain does not help there."),
        (planted(hum_dbfs=-58.0), "Mains hum", "Never take the protective earth off"),
        (planted(seconds=12.0), "The verse", "Not measured: the part from 3 s to 13 s was asked for"),
        (Audio(np.zeros(18 * RATE_HZ), RATE_HZ), "The verse", "Turn the gain of your interface up by a long way."),
    ],
    ids=["low", "high", "clipped", "no shout", "noisy", "hum", "short", "silent"],
)
def test_each_miss_is_told_with_its_cure(variant, take, title, sentence):
    verdict, lines = said(variant, take)
    assert not lines[title].passed
    assert sentence in lines[title].sentence
    assert not verdict.passed


def test_a_room_that_only_hums_is_told_what_hum_wants_and_nothing_of_windows(variant):
    for hum_dbfs, room_dbfs in ((-45.0, -90.0), (-47.0, -56.0)):
        _, lines = said(variant, planted(hum_dbfs=hum_dbfs, room_dbfs=room_dbfs))
        room = lines["The room's noise under the verse"].sentence
        assert room.endswith(" dB; wanted: at most −40 dB. Most of it is hum: mend “Mains hum” first.")
        assert "Keep the cable and the microphone away from mains adapters" in lines["Mains hum"].sentence
        assert "licensed electrician" in lines["Mains hum"].sentence
    _, lines = said(variant, planted(hum_dbfs=-60.0, room_dbfs=-40.0))
    assert "close the window" in lines["The room's noise under the verse"].sentence
    assert not lines["Mains hum"].passed


def test_a_slip_is_met_by_its_own_sentence(variant):
    assert "leave it the room now" in (said(variant, planted(-13.0, 6.0))[0].slip or "")
    assert "Nothing clips" in (said(variant, planted(-30.0, -22.0))[0].slip or "")


def test_the_answer_is_plain_data_and_reads_the_same_after_a_hand_in(variant):
    for take in (planted(), planted(-28.0, -20.0), Audio(np.zeros(18 * RATE_HZ), RATE_HZ), planted(seconds=5.0)):
        answer = figures_of(variant, take)
        carried = json.loads(json.dumps(answer, allow_nan=False))
        assert check(variant, carried) == check(variant, answer)


def test_an_answer_that_lacks_figures_or_holds_anything_else_is_told_and_gets_no_points(variant):
    whole = figures_of(variant, planted())
    for answer in ({"read 1": whole["read 1"]}, {**whole, "read 2": [1]}, {**whole, "read 2": "x" * 5000}):
        verdict = check(variant, answer)
        assert not verdict.passed
        assert "Not measured" in verdict.text


BROKEN = [
    (
        'moves    = [{ path = "knob/gain_db", from = -40, to = 40,',
        'moves    = [{ path = "knob/gain_db", from = 5, to = 40,',
        "has one move",
    ),
    ("{ seconds = 3, say", "{ seconds = 0.5, say", "prompts begin at 0 s and rise by a second"),
    ("{ seconds = 18, say", "{ seconds = 400, say", "the last prompt is at 400 s; at most 300 s"),
    ("prompts  = [", "prompts = []\nhints_of_old  = [", "prompts"),
]


@pytest.mark.parametrize(("old", "new", "told"), BROKEN, ids=["knob", "prompts", "long", "none"])
def test_a_file_that_makes_no_sense_is_refused(tmp_path, old, new, told):
    text = load(NAME).file.read_text(encoding="utf-8")
    assert old in text
    file = tmp_path / "own.toml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(GainError, match=told):
        load(file)
