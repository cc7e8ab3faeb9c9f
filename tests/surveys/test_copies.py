"""Trimmed copies: the right samples, dithered where words are cut, all or none, originals never touched."""

from __future__ import annotations

import hashlib
import os
import resource

import numpy as np
import pytest
import soundfile

from gainlib import GainError
from gainlib.broadcast import Broadcast, put_broadcast, read_broadcast
from gainlib.surveys.exports import export
from gainlib.surveys.survey import survey


def digests(folder):
    return {each.name: hashlib.sha256(each.read_bytes()).hexdigest() for each in sorted(folder.iterdir())}


@pytest.fixture
def stems(tmp_path, making):
    folder = tmp_path / "stems"
    making.save(folder / "a.wav", making.noise(1, 2.0, channels=2))
    making.save(folder / "b.flac", making.noise(2, 2.0), subtype="PCM_16")
    making.save(folder / "c.wav", making.tone(2.0, 10 ** (-18 / 20), 997.0))  # needs no trim
    return folder


def test_a_copy_is_the_stem_times_its_trim(stems, tmp_path):
    made = survey(stems)
    before = digests(stems)
    paths = export(made, tmp_path / "out")
    assert [each.name for each in paths] == ["a.wav", "b.flac", "c.wav"]
    for name in "ab":
        gain = 10 ** (made.trim(name).gain_db / 20)
        stem = next(each for each in paths if each.stem == name)
        copied, original = soundfile.read(stem)[0], soundfile.read(made.stem(name).path)[0]
        # Triangular dither of a step either way and rounding by half a step, never more; its mean square is a quarter
        # of a step squared (published: Wannamaker et al. 2000).
        error = (copied - original * gain) * 2**23
        assert np.abs(error).max() <= 1.5
        assert np.mean(error**2) == pytest.approx(0.25, rel=0.05)
        assert soundfile.info(stem).subtype == "PCM_24"
    assert digests(stems) == before


@pytest.mark.parametrize(("ending", "subtype", "word"), [("wav", "PCM_24", "24"), ("flac", "PCM_24", "24"),
                                                      ("wav", "FLOAT", "float")])  # fmt: skip
def test_what_a_header_tells_a_person_is_carried_over(tmp_path, making, ending, subtype, word):
    texts = {"title": "bass, dry", "artist": "the band", "comment": "take 3, second mic: Übergang", "date": "2026"}
    original = tmp_path / "in" / f"bass.{ending}"
    original.parent.mkdir()
    with soundfile.SoundFile(original, "w", making.RATE_HZ, 1, subtype=subtype) as sound:
        for name, text in texts.items():
            setattr(sound, name, text)
        sound.write(making.noise(1, 2.0))
    notes = b"<BWFXML><NOTE>mind the desk</NOTE></BWFXML>"  # an odd chunk is padded
    if ending == "wav":
        put_broadcast(original, Broadcast("bass", starts_at=172_800_000, ixml=notes))
    copy = export(survey(original), tmp_path / "out", word=word)[0]
    with soundfile.SoundFile(copy) as sound:
        assert {name: text for name, text in sound.copy_metadata().items() if name != "software"} == texts
    if ending == "wav":
        assert read_broadcast(copy).ixml == notes + b"\0"
        assert read_broadcast(copy).starts_at == 172_800_000


def test_no_trim_no_dither(stems, tmp_path):
    made = survey(stems)
    assert made.trim("c").gain_db == 0.0
    export(made, tmp_path / "out")
    assert np.array_equal(soundfile.read(tmp_path / "out" / "c.wav")[0], soundfile.read(stems / "c.wav")[0])


def test_floats_are_not_dithered_and_may_pass_full_scale(stems, tmp_path):
    made = survey(stems).with_trims({"a": 30.0}, add_up=False)
    with pytest.raises(
        GainError, match=r"a would reach \+.* dBFS and 24 bits end at 0 dBFS; trim it lower, or write floats"
    ):
        export(made, tmp_path / "out")
    assert not (tmp_path / "out").exists()
    export(made, tmp_path / "out", word="float")
    copied, original = soundfile.read(tmp_path / "out" / "a.wav")[0], soundfile.read(stems / "a.wav")[0]
    assert copied == pytest.approx(original * 10**1.5, rel=2**-23)
    assert soundfile.info(tmp_path / "out" / "b.wav").subtype == "FLOAT"


def test_the_same_seed_gives_the_same_copies(stems, tmp_path):
    made = survey(stems)
    for name, seed in (("one", 0), ("same", 0), ("other", 1)):
        export(made, tmp_path / name, seed=seed)
    assert digests(tmp_path / "one") == digests(tmp_path / "same") != digests(tmp_path / "other")


def test_nothing_that_is_there_is_written_over_unless_told(stems, tmp_path):
    made = survey(stems)
    out = tmp_path / "out"
    out.mkdir()
    (out / "b.flac").write_text("mine")
    with pytest.raises(GainError, match="b.flac is in .*out already; name another folder or say --overwrite"):
        export(made, out)
    assert [each.name for each in out.iterdir()] == ["b.flac"]
    assert (out / "b.flac").read_text() == "mine"
    export(made, out, overwrite=True)
    assert soundfile.info(out / "b.flac").frames == 96_000


@pytest.mark.parametrize("way", ["itself", "a link to it"])
def test_an_original_is_never_written_over(stems, tmp_path, way):
    made, before = survey(stems), digests(stems)
    folder = stems
    if way == "a link to it":
        folder = tmp_path / "link"
        folder.symlink_to(stems)
    with pytest.raises(GainError, match="would stand in the place of .*a.wav; name another folder, originals stay"):
        export(made, folder, overwrite=True)
    assert digests(stems) == before


def test_two_stems_that_would_share_a_name(tmp_path, making):
    making.save(tmp_path / "in" / "a.wav", making.noise(1, 0.5))
    making.save(tmp_path / "in" / "a.aiff", making.noise(2, 0.5))
    making.save(tmp_path / "in" / "A.au", making.noise(3, 0.5), subtype="PCM_16")
    paths = export(survey(tmp_path / "in"), tmp_path / "out")
    assert len({each.name.lower() for each in paths}) == 3
    assert all(each.suffix == ".wav" for each in paths)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda folder: folder / "x" / "y", "x is not there; make it first"),
        (lambda folder: folder / "stems" / "a.wav", "a.wav is a file; name a folder for the copies"),
    ],
)
def test_a_folder_that_cannot_be(stems, tmp_path, make, sentence):
    with pytest.raises(GainError, match=sentence):
        export(survey(stems), make(tmp_path))
    with pytest.raises(GainError, match="word is '16'; give '24' or 'float'"):
        export(survey(stems), tmp_path / "out", word="16")


def test_a_disk_that_is_full_leaves_nothing_behind(stems, tmp_path, monkeypatch):
    made, out = survey(stems), tmp_path / "out"
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, hard))  # a.wav takes 576 044 bytes
    try:
        with pytest.raises(GainError, match=r"a.wav cannot be written"):
            export(made, out)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert not out.exists()
    export(made, out)
    assert len(list(out.iterdir())) == 3


def test_a_folder_that_is_read_only(stems, tmp_path):
    out = tmp_path / "out"
    out.mkdir(mode=0o500)
    if os.access(out, os.W_OK):
        pytest.skip("whoever runs this may write anywhere")
    with pytest.raises(GainError, match="cannot be written to"):
        export(survey(stems), out)


def test_a_stem_that_changed_meanwhile_is_told(stems, tmp_path, making):
    made = survey(stems)
    making.save(stems / "a.wav", making.noise(1, 1.0, channels=2))
    with pytest.raises(GainError, match=r"cannot be written \(the disk took less|changed"):
        export(made, tmp_path / "out")
    assert not (tmp_path / "out").exists()
