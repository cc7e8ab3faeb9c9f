"""What a survey meets in the wild: spoilt files of every kind, many files, a terminal's Ctrl-C."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest
import soundfile

from gainlib.surveys import as_json, lines
from gainlib.surveys.sheet import gain_sheet
from gainlib.surveys.survey import survey


@pytest.mark.parametrize("ending", ["wav", "flac", "ogg", "mp3", "aiff", "caf", "w64", "au"])
def test_spoilt_files_are_told_and_end_nothing(tmp_path, making, ending):
    if ending.upper() not in soundfile.available_formats():
        pytest.skip(f"this libsndfile has no {ending}")
    subtype = {"ogg": "VORBIS", "mp3": "MPEG_LAYER_III"}.get(ending, "PCM_16")
    whole = making.save(tmp_path / f"whole.{ending}", making.noise(1, 0.5), subtype=subtype).read_bytes()
    rng = np.random.default_rng(len(ending))
    for index in range(25):
        data = bytearray(whole)
        reach = 80 if index % 2 else len(data)  # every other in the header alone
        for at in rng.integers(0, reach, rng.integers(1, 12)):
            data[at] = rng.integers(0, 256)
        if index % 5 == 0:
            data = data[: rng.integers(0, len(data))]
        (tmp_path / f"spoilt {index}.{ending}").write_bytes(data)
    made = survey(tmp_path)
    assert len(made.stems) + len({name for name, _ in made.unreadable} - {"the sum"}) == 26
    assert "whole" in [each.name for each in made.stems]
    for _, sentence in made.unreadable:
        assert sentence.endswith(".")
        assert "\n" not in sentence
    as_json(made), lines(made), gain_sheet(made)


def test_many_files_are_done_and_not_added_up(tmp_path, making):
    path = making.save(tmp_path / "0.wav", making.noise(1, 0.1))
    for index in range(1, 300):
        os.link(path, tmp_path / f"{index}.wav")
    made = survey(tmp_path)
    assert len(made.stems) == 300
    assert made.sum is None
    assert "No sum: more than 256 stems are not added up." in lines(made)
    gain_sheet(made)


@pytest.mark.skipif(os.name == "nt", reason="a signal is sent as a terminal does")
def test_ctrl_c_in_a_terminal(tmp_path, making):
    making.save(tmp_path / "a.wav", making.noise(1, 1.0))
    with soundfile.SoundFile(tmp_path / "b.wav", "w", 48_000, 2) as sound:
        for _ in range(600):
            sound.write(making.noise(2, 1.0, channels=2))
    code = (
        "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\nfrom gainlib.cli import main; main()"
    )
    started = subprocess.Popen(
        [
            sys.executable,
            "-c",
            code,
            "survey",
            str(tmp_path),
            "--workers",
            "1",
            "--sheet",
            str(tmp_path / "sheet.html"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        time.sleep(0.3)
        while started.poll() is None and not _mapped(started.pid):
            time.sleep(0.01)
        started.send_signal(signal.SIGINT)
        said, aside = started.communicate(timeout=60)
    finally:
        started.kill()
    assert started.returncode == 2, aside
    assert "Traceback" not in aside
    assert "The survey was ended before its end" in said
    assert "this is what was finished" in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def _mapped(process: int) -> bool:
    """Whether it has a stem open."""
    folder = f"/proc/{process}/fd"
    if not os.path.isdir(folder):  # where that cannot be seen, a second will do
        time.sleep(1.0)
        return True
    try:
        return any(os.path.realpath(f"{folder}/{each}").endswith(".wav") for each in os.listdir(folder))
    except OSError:
        return False


def test_what_no_one_thought_of_is_told_as_well(tmp_path, making, monkeypatch):
    making.save(tmp_path / "a.wav", making.noise(1, 0.5))
    making.save(tmp_path / "b.wav", making.noise(2, 0.5))
    from gainlib.surveys.stem import measured
    from gainlib.surveys.survey import survey

    def fails(path, name, **heard):
        if name == "a":
            raise ZeroDivisionError("something of the library")
        return measured(path, name, **heard)

    monkeypatch.setitem(survey.__globals__, "measured", fails)
    made = survey(tmp_path)
    assert [each.name for each in made.stems] == ["b"]
    assert made.unreadable == (
        ("a", "a could not be measured (ZeroDivisionError: something of the library); export it again."),
    )
