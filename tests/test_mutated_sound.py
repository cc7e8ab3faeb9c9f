"""Spoilt sound files of all formats end in a result or in one sentence, in little memory, and nobody prints anything.

A few here; GAINLIB_SOUND_CASES=5000 makes it as many. `mutated_sound.py` says what is done with each.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

CASES = os.environ.get("GAINLIB_SOUND_CASES", "60")
HERE = Path(__file__).parent

PRINTS = """
import ctypes, os, sys, threading
from gainlib.sound_file import _unheard

libc = ctypes.CDLL(None)
def say(text):
    for stream in {streams!r}:
        libc.fputs(text.encode(), ctypes.c_void_p.in_dll(libc, stream))
        libc.fflush(None)

say("before\\n")
with _unheard:
    say("lost\\n")
    print("of Python", file=sys.stderr, flush=True)
    os.write(1, b"of Python\\n")
    def also():
        with _unheard:
            say("lost\\n")
    inside = threading.Thread(target=also)
    inside.start()
    inside.join()
    say("lost as well\\n")
say("after\\n")
"""


def test_every_spoilt_file_ends_in_a_result_or_one_sentence_and_nothing_is_printed():
    ended = subprocess.run(
        [sys.executable, HERE / "mutated_sound.py", CASES],
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    assert ended.returncode == 0, ended.stdout
    assert ended.stderr == ""
    told = [line.split(None, 1) for line in ended.stdout.splitlines()]
    # Its own lines and no others: a decoder that prints on standard output would spoil a survey's JSON.
    assert all(count.isdigit() for count, _ in told)
    counts = {what: int(count) for count, what in told}
    assert counts["read: read"] + counts["read: one sentence"] == int(CASES)
    assert counts["stems measured"] + counts["stems told"] == int(CASES)
    assert min(counts["read: read"], counts["read: one sentence"]) > int(CASES) / 5


@pytest.mark.skipif(
    sys.platform not in ("linux", "darwin"), reason="C's streams are variables on Linux and macOS alone"
)
def test_what_c_prints_meanwhile_is_lost_and_what_python_prints_is_not():
    streams = ("__stdoutp", "__stderrp") if sys.platform == "darwin" else ("stdout", "stderr")
    ended = subprocess.run(
        [sys.executable, "-c", PRINTS.format(streams=streams)], capture_output=True, text=True, check=True
    )
    assert ended.stdout.split("\n") == ended.stderr.split("\n") == ["before", "of Python", "after", ""]


def test_a_survey_of_damaged_mp3s_prints_nothing(tmp_path):
    if "MP3" not in soundfile.available_formats():
        pytest.skip("this libsndfile has no mp3")
    rng = np.random.default_rng(5)
    soundfile.write(tmp_path / "0.mp3", 0.1 * rng.uniform(-1, 1, (48_000, 2)), 48_000)
    whole = (tmp_path / "0.mp3").read_bytes()
    for number in range(1, 20):
        data = bytearray(whole)
        for at in rng.integers(200, len(data), 20):
            data[at] = rng.integers(0, 256)
        (tmp_path / f"{number}.mp3").write_bytes(data)
    command = [sys.executable, "-c", "from gainlib.cli import main; main()", "survey", str(tmp_path), "--json"]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    assert ended.returncode == 1
    assert ended.stderr == ""
    assert ended.stdout.startswith("{")
    # libsndfile alone, which is asked here in a process of its own, prints on these.
    alone = "import soundfile, sys; [soundfile.read(each) for each in sys.argv[1:]]"
    files = sorted(str(each) for each in tmp_path.iterdir())
    heard = subprocess.run([sys.executable, "-c", alone, *files], capture_output=True, text=True, check=False)
    assert heard.stderr
