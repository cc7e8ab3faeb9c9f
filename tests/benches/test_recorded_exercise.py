"""An exercise with a take of the learner's own: the take on the bench, its figures in the record."""

from __future__ import annotations

import json

import numpy as np
import pytest

import gainlib as gl
from gainlib.classroom.start_files import new_class
from gainlib.exercises import check, load

RATE_HZ = 48_000
NAME = "recording/your-own-level"


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def record(opened, verse_dbfs, shout_dbfs):
    """Hand the exercise's recorder a take as the page does: a quiet room, words, louder words."""
    time = np.arange(18 * RATE_HZ) / RATE_HZ
    level = np.where(time < 3.0, -80.0, np.where(time < 13.0, verse_dbfs, shout_dbfs))
    samples = 10.0 ** (level / 20.0) * (0.001 + 0.999 * (time % 0.6 < 0.4)) * np.sin(2.0 * np.pi * 240.0 * time)
    told = {"kind": "piece", "index": 0, "of": 1, "channels": 1, "rate_hz": RATE_HZ, "settings": {}, "lost": 0}
    opened.recorder._handle_custom_msg(told, [memoryview(samples.astype("<f4").tobytes())])


def test_a_take_is_shown_checked_and_kept_as_figures_that_are_judged_alike(here):
    opened = gl.exercise(NAME)
    panel = opened.panel
    opened.panel._asked(None, {"kind": "check", "after": 0}, None)
    assert "press Record first" in panel.answer.missing
    assert opened.recorder.longest == 18.0
    record(opened, -25.0, -17.0)
    assert opened.bench.panel.box in panel.box.children
    assert "about 10.0 dB" in opened.check().text
    record(opened, -15.0, -8.0)
    assert panel.answer.stale
    verdict = opened.check()
    assert verdict.passed, verdict.text
    (line,) = [
        json.loads(each) for each in (here / "attempts.jsonl").read_text().splitlines() if '"passed": true' in each
    ]
    assert check(load(NAME).variant("anybody"), line["answer"]) == verdict
    assert len(list((here / "takes").iterdir())) == 2


def test_a_class_gives_it_no_points_unless_the_teacher_says_so(here):
    every, _ = new_class(here / "every")
    (line,) = [each for each in every.read_text().splitlines() if NAME in each]
    assert "points" not in line
