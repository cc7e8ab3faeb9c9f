"""Sound files: what is written is read back to the last bit, and what cannot be is told in one sentence."""

from __future__ import annotations

import os
import pickle
import struct
import tracemalloc
import weakref

import numpy as np
import psutil
import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st

import gainlib as gl
from gainlib.audio import Audio, require_memory
from gainlib.errors import GainError
from gainlib.sound_file import SoundFile, read, write
from gainlib.storage import bundled_folder

RATE_HZ = 48_000


def noise(frames=4800, channels=2, peak=0.5):
    return peak * np.random.default_rng(3).uniform(-1, 1, (frames, channels))


@pytest.mark.parametrize(
    ("ending", "subtype", "bits"),
    [("wav", "PCM_16", 16), ("wav", "PCM_24", 24), ("flac", "PCM_24", 24), ("aiff", "PCM_24", 24)],
)
def test_fixed_point_files_give_back_every_code(tmp_path, ending, subtype, bits):
    top = 2 ** (bits - 1)
    codes = np.random.default_rng(1).integers(-top, top, 20_000)
    codes[:2] = -top, top - 1
    write(tmp_path / f"a.{ending}", Audio(codes / top, RATE_HZ), subtype=subtype)
    back = read(tmp_path / f"a.{ending}")
    assert back.rate_hz == RATE_HZ
    assert np.array_equal(back.samples[:, 0] * top, codes)


@pytest.mark.parametrize("channels", [1, 2, 5])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24"])
@pytest.mark.parametrize("form", ["WAV", "WAV BIG", "WAVEX", "RF64", "W64", "AIFF", "AIFF LITTLE", "CAF", "FLAC"])
def test_words_become_the_floats_that_libsndfile_makes_of_them(tmp_path, form, subtype, channels):
    kind, order = (*form.split(), "FILE")[:2]
    codes = np.random.default_rng(3).integers(-(2**31), 2**31, (1001, channels), dtype=np.int64).astype(np.int32)
    codes[:4] = np.array([-(2**31), 2**31 - 1, 0, -256])[:, None]  # with the words' other neighbours beside them
    path = tmp_path / "some.sound"
    soundfile.write(path, codes, 48_000, format=kind, subtype=subtype, endian=order)
    theirs, _ = soundfile.read(path, dtype="float32", always_2d=True)
    with SoundFile(path) as recording:
        ours = list(recording.blocks(97))
        assert {block.dtype for block in ours} == {np.dtype(np.float32)}
        assert np.array_equal(np.concatenate(ours), theirs)
        assert np.array_equal(recording.part(500, 700), theirs[500:700])
        assert np.array_equal(np.concatenate(list(recording.blocks(300, start=101))), theirs[101:])


@pytest.mark.parametrize(
    ("subtype", "value", "kept"),
    [
        ("PCM_24", 1 - 2**-23, np.float32),
        ("PCM_32", 2**-1 + 2**-31, np.float64),  # 31 bits from end to end
        ("DOUBLE", 1e-300, np.float64),
        ("DOUBLE", 0.1, np.float64),
        ("DOUBLE", 0.25, np.float32),
    ],
)
def test_samples_are_held_in_single_precision_only_where_it_loses_nothing(tmp_path, subtype, value, kept):
    write(tmp_path / "a.wav", Audio(np.array([0.5, value]), RATE_HZ), subtype=subtype)
    back = read(tmp_path / "a.wav")
    assert back.samples.dtype == kept
    assert back.in_double.samples.dtype == np.float64
    assert back.in_double.samples[:, 0].tolist() == back.samples[:, 0].tolist() == [0.5, value]


def test_plus_full_scale_becomes_the_highest_code(tmp_path):
    write(tmp_path / "a.wav", Audio(np.array([1.0, -1.0]), RATE_HZ))
    assert read(tmp_path / "a.wav").samples[:, 0].tolist() == [1 - 2**-23, -1.0]


def test_a_float_file_keeps_what_is_over_full_scale(tmp_path):
    write(tmp_path / "a.wav", Audio(np.array([4.0, -0.25]), RATE_HZ), subtype="FLOAT")
    assert read(tmp_path / "a.wav").samples[:, 0].tolist() == [4.0, -0.25]


def test_a_stem_of_the_course_that_is_in_use_is_read_once_and_a_file_of_ones_own_each_time(tmp_path):
    stem = read("media/snare.flac")
    part = stem.between(0.0, 0.8 * stem.seconds)
    whole, start = stem.samples.copy(), stem.samples.__array_interface__["data"]
    del stem
    again = read("media/snare.flac")  # what a part of it holds in memory is not read a second time
    assert again.samples.__array_interface__["data"] == start
    assert np.array_equal(again.samples, whole)
    assert np.shares_memory(part.samples, again.samples)
    stem = again
    own = write(tmp_path / "own.wav", stem)
    assert not np.shares_memory(read(own).samples, read(own).samples)


@pytest.mark.parametrize("ending", ["ogg", "mp3", "w64", "au", "caf"])
def test_every_format_of_libsndfile_is_written_and_read(tmp_path, ending):
    if ending.upper() not in soundfile.available_formats():
        pytest.skip(f"this libsndfile has no {ending}")
    write(tmp_path / f"a.{ending}", Audio(noise(), RATE_HZ))
    assert read(tmp_path / f"a.{ending}").samples.shape[1] == 2


@given(st.integers(1, 3), st.integers(1, 500), st.sampled_from([8000, 44100, 192000]))
def test_shape_and_rate_survive(tmp_path_factory, channels, frames, rate_hz):
    path = tmp_path_factory.mktemp("files") / "a.flac"
    write(path, Audio(noise(frames, channels), rate_hz))
    back = read(path)
    assert (back.samples.shape, back.rate_hz) == ((frames, channels), rate_hz)
    # 24 bits round to at most half a step of 2^-23.
    assert np.abs(back.samples - noise(frames, channels)).max() <= 2**-24


def whole_wav(path):
    soundfile.write(path, noise(), RATE_HZ, subtype="PCM_24")
    return path.read_bytes()


def spoilt(tmp_path, kind):
    path = tmp_path / "take.wav"
    if kind == "missing":
        return path
    if kind == "folder":
        path.mkdir()
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "not audio":
        path.write_bytes(b"Dear diary, today we recorded the verse." * 20)
    elif kind == "truncated":
        path.write_bytes(whole_wav(path)[:5000])
    elif kind == "truncated flac":
        path = tmp_path / "take.flac"
        path.write_bytes(whole_wav(path)[:9000])
    elif kind == "header only":
        path.write_bytes(whole_wav(path)[:30])
    elif kind == "no samples":
        soundfile.write(path, np.zeros((0, 1)), RATE_HZ)
    elif kind == "not finite":
        soundfile.write(path, np.array([0.0, np.nan, 0.0], dtype=np.float32), RATE_HZ, subtype="FLOAT")
    elif kind == "zero channels":
        data = bytearray(whole_wav(path))
        at = data.index(b"fmt ") + 10
        data[at : at + 2] = struct.pack("<H", 0)
        path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("kind", "sentence"),
    [
        ("missing", r"take.wav is not there; check the name and the folder"),
        ("folder", r"take.wav is a folder; name one sound file in it."),
        ("empty", r"take.wav is empty \(0 bytes\); copy or export it again."),
        ("not audio", r"take.wav could not be read as a sound file \(.+\); export it as WAV or FLAC."),
        ("truncated", r"take.wav is truncated: it holds less than its own header says; copy or export it again."),
        ("truncated flac", r"take.flac (is truncated|could not be read)"),
        ("header only", r"take.wav (is truncated|could not be read)"),
        ("no samples", r"take.wav holds no samples; copy or export it again."),
        ("not finite", r"take.wav holds nan at sample 1, channel 1; every sample must be a number."),
        ("zero channels", r"take.wav could not be read as a sound file \(.+\); export it as WAV or FLAC."),
    ],
)
def test_a_file_that_cannot_be_read_is_told_in_one_sentence(tmp_path, kind, sentence):
    path = spoilt(tmp_path, kind)
    with pytest.raises(GainError, match=sentence) as caught:
        read(path)
    assert "\n" not in str(caught.value)


def test_any_cut_of_a_wav_is_refused(tmp_path):
    path = tmp_path / "take.wav"
    data = whole_wav(path)
    for length in range(0, len(data) - 1, 997):
        path.write_bytes(data[:length])
        with pytest.raises(GainError):
            read(path)


@pytest.mark.parametrize(
    ("name", "peak", "options", "sentence"),
    [
        ("take.xyz", 0.5, {}, "take.xyz ends in .xyz; give an ending such as .wav or .flac."),
        ("take", 0.5, {}, "take ends in nothing; give an ending such as .wav or .flac."),
        ("take.flac", 0.5, {"subtype": "FLOAT"}, "subtype is 'FLOAT'; FLAC files take PCM_S8"),
        ("nowhere/take.wav", 0.5, {}, "nowhere is not there; make it first."),
        ("take.wav", 2.0, {}, r"the audio reaches \+6.02 dBFS and PCM_24 ends at 0 dBFS; trim it first"),
    ],
)
def test_a_file_that_cannot_be_written_is_told_and_leaves_nothing(tmp_path, name, peak, options, sentence):
    with pytest.raises(GainError, match=sentence):
        write(tmp_path / name, Audio(np.array([0.0, peak]), RATE_HZ), **options)
    assert list(tmp_path.iterdir()) == []


def test_a_write_that_fails_half_way_leaves_the_old_file(tmp_path, monkeypatch):
    path = write(tmp_path / "take.wav", Audio(noise(), RATE_HZ))
    before = path.read_bytes()

    def full_disk(half, *_args, **_options):
        with open(half, "wb") as file:
            file.write(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(soundfile, "SoundFile", full_disk)
    with pytest.raises(GainError, match="take.wav cannot be written \\(no space left on device\\); nothing was left"):
        write(path, Audio(noise(peak=0.1), RATE_HZ), overwrite=True)
    assert path.read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == ["take.wav"]


def test_a_file_that_is_there_is_kept_unless_told(tmp_path):
    path = write(tmp_path / "take.wav", Audio(noise(), RATE_HZ))
    with pytest.raises(GainError, match="take.wav is there already; choose another name or say overwrite=True."):
        write(path, Audio(noise(), RATE_HZ))
    write(path, Audio(noise(peak=0.1), RATE_HZ), overwrite=True)
    assert np.abs(read(path).samples).max() < 0.11


@pytest.mark.skipif(os.name == "nt", reason="file modes are a matter of POSIX")
def test_a_written_file_is_readable_like_any_other(tmp_path):
    path = write(tmp_path / "take.wav", Audio(noise(), RATE_HZ))
    other = tmp_path / "other"
    other.touch()
    assert path.stat().st_mode == other.stat().st_mode


def test_a_bundled_stem_is_found_from_anywhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert read("media/lead-voice.flac").seconds == read(bundled_folder("media") / "lead-voice.flac").seconds


def test_a_path_out_of_the_media_folder_is_not_followed(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(GainError, match="is not there"):
        read("media/../pyproject.toml")


# --- a part, and how much is read at once ---

# What libsndfile writes here and reads back, one coding of each way to decode.
CODINGS = [
    ("wav", "PCM_16"), ("flac", "PCM_24"), ("wav", "PCM_32"), ("wav", "DOUBLE"), ("aiff", "FLOAT"), ("au", "ULAW"),
    ("caf", "ALAC_32"), ("ogg", "VORBIS"), ("ogg", "OPUS"), ("mp3", "MPEG_LAYER_III"), ("wav", "IMA_ADPCM"),
    ("au", "G721_32"), ("sds", "PCM_24"),
]  # fmt: skip


@pytest.mark.parametrize(("ending", "subtype"), CODINGS)
def test_a_part_is_what_the_whole_has_there_to_the_last_bit(tmp_path, ending, subtype):
    if ending.upper() not in soundfile.available_formats() or not soundfile.check_format(ending, subtype):
        pytest.skip(f"this libsndfile has no {subtype} in {ending}")
    rate_hz = 48_000  # an MP3 below 32 kHz is not even decoded alike twice: the decoder rounds by where its memory lies
    channels = 1 if subtype == "G721_32" or ending == "sds" else 2
    path = tmp_path / f"a.{ending}"
    soundfile.write(path, noise(5 * rate_hz, channels), rate_hz, subtype=subtype)
    whole = soundfile.read(path, dtype="float64", always_2d=True)[0]  # all at once, and none of our code
    assert np.array_equal(read(path).samples, whole)
    for start, end in ((0.0, 0.5), (1.0, 1.25), (3.333, 4.9), (4.99, 5.0), (0.0, 5.0)):
        part = read(path, seconds=(start, end))
        assert np.array_equal(part.samples, whole[round(start * rate_hz) : round(end * rate_hz)]), (start, end)
        assert part.path is None


@pytest.mark.parametrize(
    ("seconds", "sentence"),
    [
        ((0.5, 0.5), r"the part from 0.5 s to 0.5 s was asked for; this recording runs from 0 s to 1 s."),
        ((0.5, 1.1), r"the part from 0.5 s to 1.1 s was asked for"),
        ((-0.1, 1.0), r"the part from -0.1 s to 1 s was asked for"),
        ((float("nan"), 1.0), r"the part from nan s to 1 s was asked for"),
        ((0.9, 0.1), r"the part from 0.9 s to 0.1 s was asked for"),
        (5.0, r"seconds is 5; give the beginning and the end of the part, such as seconds=\(0, 60\)."),
        ((1, "x"), r"seconds is a tuple; give the beginning and the end of the part"),
    ],
)
def test_a_part_that_cannot_be_is_told(tmp_path, seconds, sentence):
    path = write(tmp_path / "a.wav", Audio(noise(RATE_HZ), RATE_HZ))
    with pytest.raises(GainError, match=sentence):
        read(path, seconds=seconds)


def test_a_part_of_a_stem_of_the_course_is_cut_from_the_one_that_is_held():
    stem = read("media/snare.flac")
    part = read("media/snare.flac", seconds=(0.0, 0.8 * stem.seconds))
    assert np.shares_memory(part.samples, stem.samples)


def test_a_small_file_that_holds_too_much_says_how_much_and_is_read_in_part(tmp_path, long_flac):
    # 8 channels, 192 kHz, 150 s, of 4 bytes each: 922 MB.
    path = long_flac(tmp_path / "silence.flac", channels=8, rate_hz=192_000, seconds=150)
    tracemalloc.start()
    with pytest.raises(
        GainError, match=r"lasts 2.5 min \(8 channels, 192 000 Hz\); read whole it would need 922 MB"
    ) as at:
        _ = read(path).samples
    assert "take a part, such as seconds=(0, 60), or survey it" in str(at.value)
    with pytest.raises(
        GainError, match=r"2.3 min of .+ would need 860 MB of memory; at most 800 MB are taken: take a sho"
    ):
        read(path, seconds=(0.0, 140.0))
    held = read(path, seconds=(0.2, 0.7)).samples
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert held.shape == (96_000, 8)
    assert peak < 20_000_000
    with pytest.raises(GainError, match="truncated|could not be read"):
        read(path, seconds=(149.0, 150.0))


def test_what_is_large_on_disk_may_be_large_in_memory(monkeypatch):
    """An hour of stereo in 24 bits at 48 kHz is 1.04 GB on disk and 1.4 GB when read; 20 hours are too much for any."""
    monkeypatch.setattr(psutil, "virtual_memory", lambda: type("Memory", (), {"available": 4e9}))
    require_memory(3600 * 48_000 * 2 * 4, "an hour", "x", on_disk=3600 * 48_000 * 2 * 3)
    with pytest.raises(GainError, match="20 hours would need 28 GB of memory; at most 8 GB are taken"):
        require_memory(72_000 * 48_000 * 2 * 4, "20 hours", "x", on_disk=72_000 * 48_000 * 2 * 3)
    # No file of 10 MB may ask for more than one of a few bytes.
    with pytest.raises(GainError, match="at most 800 MB"):
        require_memory(800_000_001, "silence", "x", on_disk=10_000_000)


def test_samples_that_are_no_numbers_are_found_wherever_they_stand(tmp_path):
    samples = np.zeros((3_000_000, 2), dtype=np.float32)
    samples[2_500_000, 1] = np.inf
    with pytest.raises(GainError, match="holds inf at sample 2500000, channel 2;"):
        Audio(samples, RATE_HZ)


@pytest.mark.parametrize("value", [1.1e10, -3e38, 1e300])
def test_samples_that_no_recording_holds_are_told_by_their_place(tmp_path, value):
    """+200 dBFS is where any gain of a studio ends; squares of what lies far beyond are no numbers any more."""
    samples = np.zeros((200_000, 2))
    samples[150_000, 1] = value
    soundfile.write(tmp_path / "a.wav", samples, RATE_HZ, subtype="DOUBLE")
    with pytest.raises(
        GainError, match=r"a.wav holds .+ at sample 150000, channel 2; no recording comes near that: exp"
    ):
        read(tmp_path / "a.wav")
    samples[150_000, 1] = 1e10
    soundfile.write(tmp_path / "a.wav", samples, RATE_HZ, subtype="DOUBLE")
    assert read(tmp_path / "a.wav").samples.max() == 1e10


def test_what_the_library_says_of_its_own_inside_is_told_as_damage(tmp_path, monkeypatch):
    path = write(tmp_path / "a.wav", Audio(noise(), RATE_HZ))

    def refused(_path):
        raise soundfile.LibsndfileError(24)  # "Internal error : SF_INFO struct incomplete."

    monkeypatch.setattr(soundfile, "SoundFile", refused)
    with pytest.raises(GainError, match=r"read as a sound file \(it is damaged\); export it as WAV or FLAC."):
        read(path)


# --- long recordings, which stay in their file ---


def long_file(path, subtype, *, seconds=70.0, rate_hz=RATE_HZ, channels=1):
    """A file of noise of more than a minute, written in stretches and with none of our code; its samples as read."""
    samples = noise(round(seconds * rate_hz), channels)
    with soundfile.SoundFile(path, "w", rate_hz, channels, subtype=subtype) as file:
        for start in range(0, len(samples), rate_hz):
            file.write(samples[start : start + rate_hz])
    return soundfile.read(path, dtype="float64", always_2d=True)[0]


BOUNDS = [(0, 10), (10, 4000), (100_000, 148_000), (round(43.3 * RATE_HZ), round(63.3 * RATE_HZ))]


@pytest.mark.parametrize(
    ("ending", "subtype"),
    [
        ("wav", "PCM_24"),
        ("flac", "PCM_16"),
        ("wav", "DOUBLE"),
        ("ogg", "VORBIS"),
        ("ogg", "OPUS"),
        ("wav", "IMA_ADPCM"),
    ],
)
def test_a_long_recording_gives_whole_part_and_stretches_as_its_file_has_them(tmp_path, ending, subtype):
    path = tmp_path / f"a.{ending}"
    whole = long_file(path, subtype)
    take = read(path)
    assert take.on_disk
    assert take.seeks_slowly == (ending == "ogg")
    assert (take.frames, take.channels, take.seconds, take.path) == (len(whole), 1, len(whole) / RATE_HZ, path)
    assert np.array_equal(take.between(43.3, 63.3).samples, whole[slice(*BOUNDS[-1])])
    assert np.array_equal(np.concatenate(list(take.blocks())), whole)
    for part, (start, end) in zip(take.stretches(BOUNDS), BOUNDS, strict=True):
        assert np.array_equal(part, whole[start:end])
    assert np.array_equal(take.samples, whole)
    assert take == Audio(whole, RATE_HZ)
    assert Audio(whole, RATE_HZ) == take
    assert hash(take) == hash(Audio(whole, RATE_HZ))
    assert pickle.loads(pickle.dumps(take)) == take


def test_a_late_part_of_a_long_mp3_is_gone_to_and_right_but_for_what_the_decoder_rounds(tmp_path, monkeypatch):
    """It rounds its sums by where its memory lies, which is below a 20-bit code; a frame too early would be a third."""
    whole = long_file(tmp_path / "a.mp3", "MPEG_LAYER_III")
    read_at_all = 0
    sound_read = soundfile.SoundFile.read

    def counted(file, frames, **form):
        nonlocal read_at_all
        read_at_all += frames
        return sound_read(file, frames, **form)

    monkeypatch.setattr(soundfile.SoundFile, "read", counted)
    part = read(tmp_path / "a.mp3").between(43.3, 63.3)
    assert np.abs(part.samples - whole[slice(*BOUNDS[-1])]).max() < 2.0**-20
    assert read_at_all <= 23 * RATE_HZ


def test_a_long_recording_holds_nothing_until_it_is_asked_and_then_only_for_who_asks(tmp_path):
    long_file(tmp_path / "a.wav", "PCM_16")
    _ = gl.measure("peak_dbfs", read("media/snare.flac"))  # what the meters open is not the recording's
    tracemalloc.start()
    take = read(tmp_path / "a.wav")
    _ = take.between(1.0, 2.0), gl.measure("peak_dbfs", take)
    assert tracemalloc.get_traced_memory()[1] < 70 * RATE_HZ * 4 / 2
    tracemalloc.stop()
    first = take.samples
    assert np.shares_memory(first, take.samples)
    assert not first.flags.writeable
    gone = weakref.ref(first.base)
    del first
    assert gone() is None


@pytest.mark.parametrize(
    "name", ["peak_dbfs", "rms_dbfs", "true_peak_dbtp", "loudness_lufs", "clipped_runs", "crest_db"]
)
def test_a_long_recording_measures_as_one_that_is_held(tmp_path, name):
    held = Audio(long_file(tmp_path / "a.flac", "PCM_16", channels=2), RATE_HZ)
    assert gl.measure(name, read(tmp_path / "a.flac")) == pytest.approx(gl.measure(name, held), abs=1e-9)


def test_a_long_recording_that_was_changed_meanwhile_is_refused(tmp_path):
    path = tmp_path / "a.wav"
    long_file(path, "PCM_16")
    take = read(path)
    long_file(path, "PCM_16", seconds=71.0)
    for asked in (lambda: take.samples, lambda: take.between(0.0, 1.0), lambda: next(take.blocks())):
        with pytest.raises(GainError, match=r"a.wav was changed since it was read; read it again."):
            asked()
    assert take != read(path)
    path.unlink()
    with pytest.raises(GainError, match="a.wav is not there"):
        take.between(0.0, 1.0)


def test_a_long_recording_tells_what_is_no_number_by_its_place(tmp_path):
    samples = np.zeros(70 * RATE_HZ)
    samples[65 * RATE_HZ] = np.nan
    soundfile.write(tmp_path / "a.wav", samples, RATE_HZ, subtype="FLOAT")
    take = read(tmp_path / "a.wav")
    assert take.between(0.0, 60.0).seconds == 60.0
    for asked in (lambda: take.samples, lambda: list(take.blocks()), lambda: take.between(64.5, 70.0)):
        with pytest.raises(GainError, match=f"a.wav holds nan at sample {65 * RATE_HZ}, channel 1; every sample"):
            asked()


def test_a_minute_and_more_is_written_a_stretch_at_a_time(tmp_path, monkeypatch):
    """The Vorbis encoder ends the process on a stretch of a minute, since it puts what it is given on the stack."""
    sizes = []
    written = soundfile.SoundFile.write

    def counted(file, block):
        sizes.append(len(block))
        return written(file, block)

    monkeypatch.setattr(soundfile.SoundFile, "write", counted)
    take = Audio(noise(70 * RATE_HZ, 1), RATE_HZ)
    assert read(write(tmp_path / "a.ogg", take)).frames == 70 * RATE_HZ
    assert max(sizes) <= 1 << 16
    assert (
        read(write(tmp_path / "b.wav", read(write(tmp_path / "a.wav", take, subtype="DOUBLE")), subtype="DOUBLE"))
        == take
    )
