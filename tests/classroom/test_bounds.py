"""An exercise whose take was swapped for hours of silence, since the class began: marking says so before it reads."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.classroom import RosterLine, new_class, read_class
from gainlib.classroom.marks import mark_folder
from gainlib.classroom.store import Store
from gainlib.errors import GainError
from gainlib.sound_file import write
from gainlib.storage import bundled_folder

from .conftest import EXERCISE


def test_a_take_that_holds_hours_now_is_told(tmp_path, long_flac):
    levels = tmp_path / "levels"
    levels.mkdir()
    rng = np.random.default_rng(1)
    write(levels / "own.flac", Audio(0.1 * rng.uniform(-1, 1, 19 * 8000), 8000))
    text = (bundled_folder("exercises") / f"{EXERCISE}.toml").read_text(encoding="utf-8")
    own = levels / "own.toml"
    own.write_text(text.replace("media/lead-voice.flac", "own.flac"), encoding="utf-8")
    file, _ = new_class(
        tmp_path / "group", roster=[RosterLine(id="a-01", name="Ada Quill")], exercises=[EXERCISE, str(own)]
    )
    of_class = read_class(file)
    hand_ins = tmp_path / "hand-ins"
    hand_ins.mkdir()
    long_flac(levels / "own.flac", channels=8, rate_hz=192_000, seconds=1700)
    with (
        Store(tmp_path / "marks.sqlite") as store,
        pytest.raises(
            GainError, match=r"^own.toml: this exercise would need \d+ GB of memory; at most 800 MB are taken"
        ),
    ):
        mark_folder(hand_ins, of_class, store, home=tmp_path)
