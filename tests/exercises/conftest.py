"""A stand-in take with round peaks, and the bundled exercise copied beside it."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio, bundled_folder, write


@pytest.fixture(scope="session")
def stand_in(tmp_path_factory):
    """A folder with leave-room.toml and take.wav: 19 s whose verse peaks at -14 dBFS and whose shout at -4 dBFS."""
    folder = tmp_path_factory.mktemp("own")
    rate_hz = 8000
    seconds = np.arange(19 * rate_hz) / rate_hz
    # 250 Hz at 8 kHz visits its crest at every period, so the sample peak is the amplitude itself.
    sine = np.sin(2 * np.pi * 250 * seconds)
    peak_dbfs = np.where(seconds < 9.3, -14.0, np.where(seconds > 17.7, -4.0, -30.0))
    write(folder / "take.wav", Audio(sine * 10 ** (peak_dbfs / 20), rate_hz))
    text = (bundled_folder("exercises") / "recording" / "leave-room.toml").read_text(encoding="utf-8")
    assert text.count('"media/lead-voice.flac"') == 1
    (folder / "leave-room.toml").write_text(text.replace('"media/lead-voice.flac"', '"take.wav"'), encoding="utf-8")
    return folder


@pytest.fixture
def written(stand_in, tmp_path):
    """Write the exercise with some text replaced, beside a copy of the take; gives the file's path."""

    def write_it(*changes: tuple[str, str]):
        text = (stand_in / "leave-room.toml").read_text(encoding="utf-8")
        for before, after in changes:
            assert before in text, f"{before!r} is no longer in the exercise; the test must follow it"
            text = text.replace(before, after, 1)
        (tmp_path / "take.wav").write_bytes((stand_in / "take.wav").read_bytes())
        file = tmp_path / "leave-room.toml"
        file.write_text(text, encoding="utf-8")
        return file

    return write_it
