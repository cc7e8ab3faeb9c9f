"""The bext chunk against bytes that were laid by hand after EBU Tech 3285, and files that hold it."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import soundfile

from gainlib.broadcast import LOUDNESS, Broadcast, put_broadcast, read_broadcast
from gainlib.sound_file import SoundFile, read, write_blocks

# Field by field, as the sheet of the format has them: 602 bytes, then the history.
TEN_HOURS = 10 * 3600 * 48_000
CHUNK = b"".join(
    (
        b"Take 3, dry".ljust(256, b"\0"),
        b"A school".ljust(32, b"\0"),
        b"XX-1".ljust(32, b"\0"),
        b"2026-11-29",
        b"10:00:00",
        bytes.fromhex("0030ff66") + bytes(4),  # 10:00:00 at 48 kHz: 0x66FF3000, low word first
        b"\x02\x00",
        bytes(range(64)),
        bytes.fromhex("04f7"),  # -23.00 LUFS
        bytes.fromhex("da02"),  # 7.30 LU
        bytes.fromhex("9cff"),  # -1.00 dBTP
        bytes.fromhex("c0f9"),  # -16.00
        bytes.fromhex("ff7f"),  # not set
        bytes(180),
        b"A=PCM,F=48000,W=24,M=mono,T=desk\r\n",
    )
)


def with_chunks(path, before=b"", behind=b"", samples=4800):
    """A WAV with chunks before and behind its samples."""
    soundfile.write(path, np.full(samples, 0.25), 48_000, subtype="PCM_16")
    data = path.read_bytes()
    body = data[12:36] + before + data[36:] + behind
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body) + 4) + b"WAVE" + body)
    return path


def chunk(name, content):
    return name + struct.pack("<I", len(content)) + content + bytes(len(content) % 2)


def test_each_field_stands_at_its_offset():
    said = Broadcast.from_bytes(CHUNK)
    assert (said.description, said.originator, said.reference) == ("Take 3, dry", "A school", "XX-1")
    assert (said.date, said.time, said.starts_at) == ("2026-11-29", "10:00:00", TEN_HOURS)
    assert (said.umid, said.history) == (bytes(range(64)), "A=PCM,F=48000,W=24,M=mono,T=desk\r\n")
    # Signed, and the range is not passed over: the two faults that were seen in readers.
    assert said.loudness == {
        "loudness_lufs": -23.0, "loudness_range_lu": 7.3, "true_peak_dbtp": -1.0, "momentary_max_lufs": -16.0,
    }  # fmt: skip
    assert said.as_bytes() == CHUNK


def test_a_day_at_96_khz_needs_the_high_word():
    late = 23 * 3600 * 96_000
    assert late >> 32 == 1
    content = Broadcast(starts_at=late).as_bytes()
    assert struct.unpack("<II", content[338:346]) == (late & 0xFFFFFFFF, 1)
    assert Broadcast.from_bytes(content).starts_at == late


@pytest.mark.parametrize(("version", "known"), [(0, False), (1, False), (2, True)])
def test_what_an_older_version_has_in_reserve_is_no_loudness(version, known):
    content = CHUNK[:346] + struct.pack("<H", version) + CHUNK[348:]
    said = Broadcast.from_bytes(content)
    assert bool(said.loudness) is known
    assert (said.umid == bytes(range(64))) is (version >= 1)
    assert said.starts_at == TEN_HOURS


def test_levels_that_do_not_fit_and_silence_are_not_set():
    content = Broadcast(loudness=dict(zip(LOUDNESS, (-np.inf, 0.0, 120.0, np.nan, -99.99), strict=True))).as_bytes()
    assert struct.unpack("<5h", content[412:422]) == (0x7FFF, 0, 0x7FFF, 0x7FFF, -9999)
    beyond = CHUNK[:412] + struct.pack("<h", -10_000) + CHUNK[414:]
    assert "loudness_lufs" not in Broadcast.from_bytes(beyond).loudness


@pytest.mark.parametrize(("length", "start"), [(345, None), (346, TEN_HOURS), (602, TEN_HOURS)])
def test_a_short_chunk_tells_what_it_holds(length, start):
    assert Broadcast.from_bytes(CHUNK[:length]).starts_at == start


def test_it_is_found_before_and_behind_the_samples(tmp_path):
    odd = chunk(b"note", b"abc")
    for before, behind in ((odd + chunk(b"bext", CHUNK), b""), (odd, odd + chunk(b"bext", CHUNK))):
        path = with_chunks(tmp_path / "take.wav", before, behind)
        assert read_broadcast(path) == Broadcast.from_bytes(CHUNK)
        with SoundFile(path) as recording:
            assert recording.starts_at == TEN_HOURS
    assert read_broadcast(with_chunks(tmp_path / "plain.wav", odd)) is None


def test_a_length_beyond_all_files_ends_the_search(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros(480), 48_000, format="RF64")
    data = bytearray(path.read_bytes())
    data[28:36] = b"\xff" * 8  # the length of the samples
    path.write_bytes(data)
    assert read_broadcast(path) is None


@pytest.mark.parametrize("history", ["", "odd"])
@pytest.mark.parametrize("form", ["WAV", "RF64"])
def test_it_is_put_before_the_samples_and_the_sound_stays(tmp_path, form, history):
    path = tmp_path / "take.wav"
    sound = np.random.default_rng(1).uniform(-0.5, 0.5, (700_000, 1))  # more than is moved at once
    soundfile.write(path, sound, 48_000, subtype="PCM_24", format=form)
    expected = soundfile.read(path)[0]
    put_broadcast(path, Broadcast(starts_at=7, history=history))
    assert np.array_equal(soundfile.read(path)[0], expected)
    assert (read_broadcast(path).starts_at, read_broadcast(path).history) == (7, history)
    data = path.read_bytes()
    whole = struct.unpack("<Q", data[20:28])[0] if form == "RF64" else struct.unpack("<I", data[4:8])[0]
    assert whole == len(data) - 8
    assert data.index(b"bext") < data.index(b"data")
    assert soundfile.info(path).frames == 700_000


def test_blocks_are_written_with_what_is_known_only_at_their_end(tmp_path):
    heard = []

    def blocks():
        for _ in range(3):
            heard.append(1)
            yield np.full((480, 1), 0.5)

    path = write_blocks(
        tmp_path / "take.wav", blocks(), 48_000, 1, frames=1440, broadcast=lambda: Broadcast(starts_at=len(heard))
    )
    assert read_broadcast(path).starts_at == 3
    assert read(path).samples.shape == (1440, 1)
