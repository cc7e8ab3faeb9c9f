"""What a folder holds beside sound, formats that ffmpeg decodes, lossy files that end a little early."""

from __future__ import annotations

import os
import shutil
import struct
import subprocess

import numpy as np
import pytest
import soundfile

import gainlib as gl
from gainlib.surveys.folder import find_files
from gainlib.surveys.survey import survey

with_ffmpeg = pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")


def encoded(path, samples, coding):
    """A file that ffmpeg wrote, from 48 kHz mono."""
    wav = path.with_suffix(".of.wav")
    soundfile.write(wav, samples, 48_000, subtype="PCM_24")
    command = ["ffmpeg", "-v", "error", "-nostdin", "-i", wav, "-c:a", coding, path]
    subprocess.run(command, check=True, stdin=subprocess.DEVNULL)
    wav.unlink()
    return path


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes in folders here")
def test_a_folder_says_what_it_passed_over(tmp_path, making):
    making.save(tmp_path / "bass.wav", making.noise(1, 0.5))
    for name in ("notes.txt", "cover.png", ".hidden.txt"):
        (tmp_path / name).write_text("x")
    (tmp_path / "gone.wav").symlink_to(tmp_path / "nothing.wav")
    (tmp_path / "round.wav").symlink_to(tmp_path / "round.wav")
    os.mkfifo(tmp_path / "live.wav")
    (tmp_path / "empty folder").mkdir()
    found = find_files([tmp_path])
    assert [name for _, name in found.files] == ["bass"]
    assert found.notes == (
        f"5 files in {tmp_path} passed over: cover.png, notes.txt (each no sound by its ending); "
        "gone.wav, round.wav (each a broken link); live.wav (a pipe or a device).",
    )


def test_a_link_to_the_folder_above_leads_to_no_stem_by_a_longer_way(tmp_path, making):
    (tmp_path / "drums").mkdir()
    paths = [making.save(tmp_path / each, making.noise(1, 0.5)) for each in ("bass.wav", "drums/kick.wav")]
    (tmp_path / "drums" / "again").symlink_to(tmp_path)
    assert [path for path, _ in find_files([tmp_path / "**"]).files] == paths
    assert [path for path, _ in find_files([tmp_path / "drums" / "again" / "*.wav"]).files] == [
        tmp_path / "drums" / "again" / "bass.wav"
    ]


@with_ffmpeg
@pytest.mark.parametrize(
    ("ending", "coding", "off"), [("wv", "wavpack", 1e-6), ("m4a", "alac", 1e-6), ("m4a", "aac", 0.02)]
)
def test_other_formats_are_read_by_ffmpeg_and_that_is_said(tmp_path, making, ending, coding, off):
    tone = making.tone(1.0, 0.25)
    encoded(tmp_path / f"a.{ending}", tone, coding)
    before = sorted(os.listdir(tmp_path))
    made = survey(tmp_path)
    assert made.stem("a").readings["rms_dbfs"] == pytest.approx(-12.041, abs=0.1)
    assert (made.stem("a").form, made.stem("a").bits) == (ending.upper(), None)
    assert "Decoded by ffmpeg before they were measured: a." in made.notes
    samples = gl.read(tmp_path / f"a.{ending}").samples
    assert np.abs(samples[4000:40_000] - tone[4000:40_000]).max() < off
    assert len(made.write(tmp_path / "out")) == 1
    assert sorted(os.listdir(tmp_path)) == [*before, "out"]


def test_without_ffmpeg_the_sentence_says_what_to_export(tmp_path, making, monkeypatch):
    (tmp_path / "a.m4a").write_bytes(b"x" * 1000)
    making.save(tmp_path / "b.wav", making.noise(1, 0.5))
    monkeypatch.setenv("PATH", str(tmp_path / "nowhere"))
    made = survey(tmp_path)
    said = "is read only with the help of ffmpeg, which is not installed here; export it as WAV or FLAC."
    assert [(name, sentence.endswith(said)) for name, sentence in made.unreadable] == [("a", True)]
    assert [each.name for each in made.stems] == ["b"]


@pytest.mark.skipif(os.name == "nt", reason="a program is a script here")
def test_nothing_that_lies_beside_a_recording_is_started(tmp_path, monkeypatch):
    (tmp_path / "a.m4a").write_bytes(b"x" * 1000)
    program = tmp_path / "ffmpeg"
    program.write_text(f"#!/bin/sh\ntouch '{tmp_path}/started'\n")
    program.chmod(0o755)
    for way in (str(tmp_path), "."):
        monkeypatch.setenv("PATH", way)
        monkeypatch.chdir(tmp_path)
        with pytest.raises(gl.GainError, match="ffmpeg, which is not installed here"):
            gl.read(tmp_path / "a.m4a")
    assert not (tmp_path / "started").exists()


@with_ffmpeg
def test_what_is_no_recording_opens_nothing_else(tmp_path, making):
    making.save(tmp_path / "secret.wav", making.noise(1, 0.5))
    for text in ("#EXTM3U\n#EXTINF:1,\nsecret.wav\n", "ffconcat version 1.0\nfile secret.wav\n"):
        (tmp_path / "a.m4a").write_text(text)
        with pytest.raises(gl.GainError, match=r"could not be decoded by ffmpeg \(it is damaged or another\)"):
            gl.read(tmp_path / "a.m4a")


@pytest.mark.parametrize(
    ("kind", "coding", "ending", "said"),
    [
        ("MP3", None, "wav", "its name ends in .wav, but MP3 is in it: export it again, or name it by what it holds."),
        ("WAV", "PCM_24", "flac", "its name ends in .flac, but WAV is in it: export it again"),
        ("AIFF", "PCM_24", "wav", "but AIFF is in it"),
        ("RF64", "PCM_24", "wav", None),
        ("WAVEX", "PCM_24", "wav", None),
        ("OGG", "OPUS", "opus", None),
        ("WAV", "PCM_24", "take", None),
    ],
)
def test_a_name_that_does_not_say_what_is_in_it(tmp_path, making, kind, coding, ending, said):
    path = tmp_path / f"take.{ending}"
    soundfile.write(path, making.noise(1, 2.0), 48_000, format=kind, subtype=coding)
    found = [each.sentence for each in survey(path).faults if each.kind == "format"]
    assert len(found) == (said is not None)
    assert all(said in each for each in found)


def ogg_checksum(page):
    """That of an Ogg page: CRC-32 of 0x04C11DB7, nothing turned round (RFC 3533)."""
    remainder = 0
    for byte in page:
        remainder ^= byte << 24
        for _ in range(8):
            remainder = ((remainder << 1) ^ (0x04C11DB7 if remainder & 0x80000000 else 0)) & 0xFFFFFFFF
    return remainder


def promising(path, more):
    """Have the last page of an Ogg file end so many samples later than what it holds."""
    data = bytearray(path.read_bytes())
    last = data.rindex(b"OggS")
    end = struct.unpack_from("<q", data, last + 6)[0]
    struct.pack_into("<qIII", data, last + 6, end + more, *struct.unpack_from("<II", data, last + 14), 0)
    struct.pack_into("<I", data, last + 22, ogg_checksum(data[last:]))
    path.write_bytes(data)
    return path


def test_a_lossy_file_may_end_a_little_before_its_header_says(tmp_path, making):
    take = making.noise(1, 2.0)
    for name, more in (("a", 5806), ("b", 200_000)):
        path = tmp_path / f"{name}.ogg"
        soundfile.write(path, take, 48_000)
        promising(path, more)
        assert soundfile.info(path).frames == len(take) + more
    made = survey(tmp_path / "a.ogg", tmp_path / "b.ogg", making.save(tmp_path / "c.wav", take))
    assert made.stem("a").frames == len(gl.read(tmp_path / "a.ogg").samples)
    # What the last page no longer cuts off of its last block stays: at most 4096 samples (Vorbis I, blocks of 2^13).
    assert len(take) <= made.stem("a").frames <= len(take) + 4096
    assert set(made.sum.stems) == {"a", "c"}
    assert [(name, "is truncated" in sentence) for name, sentence in made.unreadable] == [("b", True)]
    assert len(made.write(tmp_path / "out")) == 2
