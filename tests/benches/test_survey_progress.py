"""What a cell shows while a survey runs: the share, the stems as they come, those with something wrong first."""

from __future__ import annotations

import re

import numpy as np
import pytest
import soundfile

import gainlib as gl
from gainlib.benches.survey_progress import SurveyProgress


@pytest.fixture
def folder(tmp_path):
    tone = np.sin(2 * np.pi * 220 * np.arange(48_000) / 48_000)
    for index in range(12):
        soundfile.write(tmp_path / f"tone {index}.wav", 0.25 * tone, 48_000)
    soundfile.write(tmp_path / "<b>loud.wav", np.clip(2 * tone, -1, 1), 48_000)
    return tmp_path


def test_every_stem_is_heard_and_the_share_comes_to_all(folder):
    told, stems = [], []
    clock = iter(range(10_000))
    progress = SurveyProgress(told.append, clock=lambda: next(clock))

    def finished(stem):
        stems.append(stem.name)
        progress.finished(stem)

    gl.survey(folder, progress=progress, finished=finished, workers=1)
    assert len(stems) == 13
    assert told[0].count("<li>") <= 1
    shares = [int(re.search(r"([0-9]+) %", each)[1]) for each in told]
    assert shares == sorted(shares)
    assert shares[-1] == 100
    last = told[-1]
    assert "13 stems measured" in last
    # What is wrong stays in sight, of the others the last ones: eight lines in all.
    assert last.count("<li>") == 8
    assert last.index("▼ <b>&lt;b&gt;loud</b>: peak 0.0 dBFS. It is clipped") < last.index("<b>tone ")
    assert "<b>loud" not in last


def test_it_is_drawn_a_few_times_a_second(folder):
    told = []
    SurveyProgress(told.append, clock=lambda: 7.0)(0.1, "one")
    progress = SurveyProgress(told.append, clock=iter((0.0, 0.1, 0.19, 0.2, 0.3)).__next__)
    for share in (0.1, 0.2, 0.3, 0.4, 0.5):
        progress(share, "one")
    assert [re.search(r"([0-9]+) %", each)[1] for each in told] == ["10", "10", "40"]


def test_a_script_shows_nothing(folder, capsys):
    gl.survey(folder / "tone 1.wav")
    assert capsys.readouterr().out == ""
