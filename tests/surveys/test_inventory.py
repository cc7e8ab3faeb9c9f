"""What is handed over: checksums that the system's own command reads, the inventory, copies that keep their header."""

from __future__ import annotations

import csv
import hashlib
import io
import shutil
import subprocess

import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from gainlib.broadcast import Broadcast, put_broadcast, read_broadcast
from gainlib.cli import app
from gainlib.errors import GainError
from gainlib.meters import measure
from gainlib.sound_file import read
from gainlib.surveys.inventory import FILES, write_inventory
from gainlib.surveys.survey import survey

START = 48_000 * 36_000


@pytest.fixture
def stems(tmp_path, making):
    """Two stems, one of which says what it is, and one of no sound."""
    folder = tmp_path / "stems"
    making.save(folder / "bass.wav", making.noise(1, 3.0))
    voice = making.save(folder / "voice.wav", making.noise(2, 3.0))
    put_broadcast(
        voice, Broadcast("Take 3, dry", "A school", starts_at=START, date="2026-11-29", time="10:00:00",
                         loudness={"loudness_lufs": -3.0}, history="A=PCM,F=48000,W=24,M=mono,T=desk\r\n"),
    )  # fmt: skip
    (folder / "broken.wav").write_bytes(b"nothing")
    return folder


def test_checksums_are_those_of_the_files(stems):
    write_inventory(survey(stems), stems)
    text = (stems / "checksums.sha256").read_text(encoding="utf-8")
    assert text.splitlines() == [
        f"{hashlib.sha256((stems / name).read_bytes()).hexdigest()}  {name}" for name in ("bass.wav", "voice.wav")
    ]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="the system has no sha256sum")
def test_the_systems_own_command_reads_them(stems, making):
    making.save(stems / "a\\b 'c' ドラム.wav", making.noise(3, 1.0))
    (stems.parent / "hand-over").mkdir()
    for folder in (stems, stems.parent / "hand-over"):
        write_inventory(survey(stems), folder)
        done = subprocess.run(["sha256sum", "-c", FILES[0]], cwd=folder, capture_output=True, text=True)
        assert (done.returncode, done.stdout.count(": OK")) == (0, 3)
    with (stems / "bass.wav").open("ab") as file:
        file.write(b"!")
    assert subprocess.run(["sha256sum", "-c", "--status", FILES[0]], cwd=stems).returncode == 1


def test_the_inventory_says_what_each_file_is(stems):
    found = survey(stems)
    write_inventory(found, stems)
    rows = {row["file"]: row for row in csv.DictReader(io.StringIO((stems / "inventory.csv").read_text("utf-8-sig")))}
    voice = rows["voice.wav"]
    assert (voice["rate_hz"], voice["coding"], voice["samples"], voice["starts_at_sample"], voice["start"]) == (
        "48000", "PCM_24", "144000", str(START), "10:00:00.000"
    )  # fmt: skip
    assert (voice["description"], voice["origination"]) == ("Take 3, dry", "2026-11-29 10:00:00")
    assert rows["bass.wav"]["starts_at_sample"] == ""
    loudness = measure("loudness_lufs", read(stems / "voice.wav"))
    assert float(voice["loudness_lufs"]) == pytest.approx(loudness, abs=0.051)
    assert "its header tells −3.0 LUFS, measured are" in voice["notes"]
    text = (stems / "inventory.txt").read_text(encoding="utf-8")
    assert "WAV, 24 bits, 48 000 Hz, 1 channel, 0:03.000 (144000 samples), starts at 10:00:00.000" in text
    assert "Take 3, dry" in text
    assert "Not in it: broken. " in text


def test_what_is_said_of_a_copys_level_is_said_of_its_original(tmp_path, making):
    # Clipped at full scale by 6 dB and then 7 dB down: the tops stand at −7 dBFS before the trim, not after it.
    making.save(tmp_path / "stems" / "a.wav", np.clip(making.tone(3.0, 2.0, 997.0), -1.0, 1.0) * 10 ** (-7 / 20))
    where = str(tmp_path / "copies")
    done = CliRunner().invoke(app, ["survey", str(tmp_path / "stems"), "--write", where, "--inventory", where])
    assert done.exit_code == 1, done.output
    text = (tmp_path / "copies" / "inventory.txt").read_text(encoding="utf-8")
    notes = [line.strip() for line in text.splitlines() if "Note:" in line]
    assert notes[0].startswith("Note: Turned down by")
    assert any(each.startswith("Note: Before the trim: ") and "same height, −7.0 dBFS" in each for each in notes)


def test_copies_keep_their_header_and_get_their_own_loudness(stems, tmp_path):
    done = CliRunner().invoke(
        app, ["survey", str(stems / "bass.wav"), str(stems / "voice.wav"), "--write", str(tmp_path / "out"),
              "--inventory", str(tmp_path / "out")],
    )  # fmt: skip
    assert done.exit_code <= 1, done.output
    assert "checksums.sha256, inventory.csv, inventory.txt in" in done.output
    copy = tmp_path / "out" / "voice.wav"
    said, was = read_broadcast(copy), read_broadcast(stems / "voice.wav")
    assert (said.starts_at, said.description, said.date) == (START, was.description, was.date)
    heard = read(copy)
    for name, value in said.loudness.items():
        assert value == pytest.approx(measure(name, heard), abs=0.011), name
    assert len(said.loudness) == 5
    assert said.history.startswith(was.history + "A=PCM,F=48000,W=24,M=mono,T=gainlib; trim ")
    # Where the original has no header of that kind, the copy has none.
    assert read_broadcast(tmp_path / "out" / "bass.wav") is None
    sums = (tmp_path / "out" / "checksums.sha256").read_text(encoding="utf-8")
    assert f"{hashlib.sha256(copy.read_bytes()).hexdigest()}  voice.wav\n" in sums
    # The samples are those of the trim alone.
    trim = survey(stems / "bass.wav", stems / "voice.wav").trim("voice").gain_db
    original = soundfile.read(stems / "voice.wav")[0] * 10 ** (trim / 20)
    assert np.abs(soundfile.read(copy)[0] - original).max() < 2.0**-22


def test_nothing_is_written_over_and_a_folder_must_be_there(stems, tmp_path):
    found = survey(stems)
    (stems / "inventory.txt").write_text("mine")
    with pytest.raises(GainError, match="inventory.txt is in .* already; name another folder or say --overwrite"):
        write_inventory(found, stems)
    assert sorted(each.name for each in stems.iterdir()) == ["bass.wav", "broken.wav", "inventory.txt", "voice.wav"]
    write_inventory(found, stems, overwrite=True)
    with pytest.raises(GainError, match="the folder .*nowhere is not there; make it first"):
        write_inventory(found, tmp_path / "nowhere")
    refused = CliRunner().invoke(app, ["survey", str(stems), "--inventory", str(tmp_path / "nowhere")])
    assert refused.exit_code != 0
    assert refused.stdout == ""
