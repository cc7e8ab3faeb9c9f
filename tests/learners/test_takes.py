"""A take is added to the folder and never written over; each sample in the file is the one that arrived."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest
import soundfile

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.takes import keep_take, kept_takes, takes_folder

WHEN = datetime(2026, 3, 1, 12, 0, 7)


def test_a_take_is_in_the_file_sample_by_sample_also_beyond_full_scale(tmp_path):
    samples = np.random.default_rng(3).uniform(-1.2, 1.2, (4800, 2)).astype(np.float32)
    path = keep_take(Audio(samples, 44_100), tmp_path / "takes", WHEN)
    found, rate_hz = soundfile.read(path, dtype="float32")
    assert rate_hz == 44_100
    np.testing.assert_array_equal(found, samples)
    assert soundfile.info(path).subtype == "FLOAT"


def test_takes_of_one_second_stand_beside_each_other_and_the_newest_is_first(tmp_path):
    one, two = (keep_take(Audio(np.full(480, level), 48_000), tmp_path, WHEN) for level in (0.1, 0.2))
    later = keep_take(Audio(np.zeros(480), 48_000), tmp_path, datetime(2026, 3, 1, 12, 0, 8))
    assert kept_takes(tmp_path) == (later, two, one)
    assert [soundfile.read(each)[0][0] for each in (one, two)] == pytest.approx([0.1, 0.2])


def test_a_take_from_anywhere_in_a_course_folder_goes_to_its_own(tmp_path):
    install_lessons(tmp_path, "1")
    (tmp_path / "inside").mkdir()
    assert takes_folder(tmp_path / "inside") == tmp_path / "takes"


def test_a_file_in_the_folder_s_place_is_told(tmp_path):
    (tmp_path / "takes").write_text("")
    with pytest.raises(GainError, match=r"the folder .*takes cannot be made \(file exists\)"):
        keep_take(Audio(np.zeros(480), 48_000), tmp_path / "takes")
