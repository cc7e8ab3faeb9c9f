"""What a survey meets in the wild: spoilt files of every kind, many files, a terminal's Ctrl-C."""

from __future__ import annotations

import itertools
import os
import signal
import subprocess
import sys

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
    told = []
    made = survey(tmp_path, progress=lambda share, doing: told.append(share), workers=1)
    assert len(made.stems) == 300
    # Nothing is added up, and the bar comes to its end all the same, by no leap.
    assert told[-1] == 1.0
    assert max(after - before for before, after in itertools.pairwise(told)) < 0.01
    assert made.sum is None
    assert any(line.startswith("No sum") and "256" in line for line in lines(made))
    gain_sheet(made)


# The command as a terminal runs it, but that measuring `b` says so and then waits for Ctrl-C.
COMMAND = """
import signal, sys, threading
from gainlib.cli import main
from gainlib.surveys.stem import StemMeter

heard, push = threading.Event(), StemMeter.push

def hear(*_):
    heard.set()
    raise KeyboardInterrupt

def push_and_wait(meter, block):
    if meter.name == "b" and not heard.is_set():
        print("measuring", file=sys.stderr, flush=True)
        heard.wait()
    push(meter, block)

signal.signal(signal.SIGINT, hear)
StemMeter.push = push_and_wait
main()
"""


@pytest.mark.skipif(os.name == "nt", reason="a signal is sent as a terminal does")
def test_ctrl_c_in_a_terminal(tmp_path, making):
    for name, seconds in (("a", 3.0), ("b", 2.0), ("c", 1.0)):
        making.save(tmp_path / f"{name}.wav", making.noise(ord(name), seconds))
    sheet = tmp_path / "sheet.html"
    started = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "survey", str(tmp_path), "--workers", "1", "--sheet", str(sheet)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert started.stderr.readline() == "measuring\n"
        started.send_signal(signal.SIGINT)
        said, aside = started.communicate()
    finally:
        started.kill()
    assert started.returncode == 2, aside
    assert "Traceback" not in aside
    assert any(line.startswith("a: ") for line in said.splitlines())
    assert "The survey was ended before its end" in said
    assert "this is what was finished" in sheet.read_text(encoding="utf-8")


def test_what_no_one_thought_of_is_told_as_well(tmp_path, making, monkeypatch):
    making.save(tmp_path / "a.wav", making.noise(1, 0.5))
    making.save(tmp_path / "b.wav", making.noise(2, 0.5))
    from gainlib.surveys.stem import measure_stem
    from gainlib.surveys.survey import survey

    def fails(path, name, **heard):
        if name == "a":
            raise ZeroDivisionError("something of the library")
        return measure_stem(path, name, **heard)

    monkeypatch.setattr("gainlib.surveys.measuring.measure_stem", fails)
    made = survey(tmp_path)
    assert [each.name for each in made.stems] == ["b"]
    ((name, sentence),) = made.unreadable
    assert name == "a"
    assert "ZeroDivisionError: something of the library" in sentence
