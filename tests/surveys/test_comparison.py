"""A folder of stems against what it was: what is told of each, and the one line that sums it up."""

from __future__ import annotations

import json
import os
import shutil

import jsonschema
import numpy as np
import pytest
import soundfile

from gainlib.surveys import as_json
from gainlib.surveys.comparison import compare
from gainlib.surveys.record import read_survey, schema_text
from gainlib.surveys.survey import survey

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def first(tmp_path_factory, making):
    """A first revision of five stems of 24 bits: four seconds of noise, each of its own."""
    folder = tmp_path_factory.mktemp("first") / "revision 2"
    for index, name in enumerate(("bass", "drums", "keys", "voice", "strings")):
        sound = making.noise(index, 4.0, channels=2 if name == "strings" else 1)
        making.save(folder / f"{name}.wav", np.round(sound * 2**23) / 2**23)
    return folder


@pytest.fixture
def revised(first, tmp_path, making):
    """A copy of it with some of its stems changed; gives what changed, at 120 beats a minute."""

    def made(changes=None, remove=(), **new):
        folder = tmp_path / "revision 3"
        shutil.copytree(first, folder)
        for name, change in (changes or {}).items():
            samples, _ = soundfile.read(folder / f"{name}.wav", always_2d=True)
            making.save(folder / f"{name}.wav", change(samples))
        for name in remove:
            (folder / f"{name}.wav").unlink()
        for name, samples in new.items():
            making.save(folder / f"{name}.wav", samples)
        return compare(survey(first), survey(folder, tempo=120))

    return made


def phrase(samples):
    """Another phrase from 1.5 s to 2.5 s: from beat 2 of bar 1 (beats of 0.5 s) into bar 2."""
    changed = samples.copy()
    changed[72_000:120_000] = 0.1 * np.random.default_rng(5).standard_normal((48_000, samples.shape[1]))
    return changed


def test_nothing_changed(revised):
    changes = revised()
    assert changes.lines == ["revision 3: nothing has changed, each stem is what it was, sample for sample."]
    assert all(each.likeness.same for each in changes.sounds)


def test_only_the_voice_changed(revised):
    changes = revised({"voice": phrase})
    assert changes.summary == "revision 3: only voice changed, bars 1 to 2."
    told = next(line for line in changes.lines if line.startswith("voice: "))
    assert told == (
        "voice: from 0:01.500 to 0:02.500 (bar 1:4 to 2:1) it is another sound; "
        "the rest is the same, sample for sample."
    )


def test_a_stem_without_its_start_is_said_so(revised):
    # Half a second and 96 samples off its head; what is left is the same.
    changes = revised({"voice": lambda samples: samples[24_096:]})
    assert changes.summary == "revision 3: only voice changed, 24096 samples earlier, its start is cut off."
    told = next(line for line in changes.lines if line.startswith("voice: it comes"))
    assert "; the start of the earlier one is cut off (24096 samples, 0.502 s); " in told


@pytest.mark.parametrize("later", [300, 24_000])
def test_what_fell_off_the_end_of_a_fixed_length_is_said_to_be_cut_off(revised, later):
    # Half a second holds the last steps that sound in both, and is told alike.
    changes = revised({"voice": lambda samples: np.vstack((np.zeros((later, 1)), samples[:-later]))})
    assert changes.summary == f"revision 3: only voice changed, {later} samples later, its end is cut off."
    told = next(line for line in changes.lines if line.startswith("voice: it comes"))
    assert told.endswith(
        f" later; the end of the earlier one is cut off ({later} samples, {later / RATE_HZ:.4g} s); "
        "the rest is the same, sample for sample."
    )


def test_a_comparison_that_is_ended_says_so(revised, monkeypatch):
    def ended(*given, **named):
        raise KeyboardInterrupt

    monkeypatch.setattr("gainlib.surveys.comparison.wait", ended)
    changes = revised({"voice": phrase})
    assert not changes.whole
    assert not changes.as_dict()["whole"]
    assert "The comparison was ended before its end: of 5 stems " in changes.lines[-2]


def test_several_changed_and_each_is_told(revised, making):
    changes = revised(
        {
            "bass": lambda samples: -np.vstack((np.zeros((37, 1)), samples)),
            "drums": lambda samples: samples * 10 ** (-6 / 20),
            "strings": lambda samples: samples[:, ::-1],
        },
        remove=["keys"],
        organ=making.noise(20, 4.0),
    )
    assert "bass: new fault, length." in changes.lines
    said = {line.partition(":")[0]: line for line in changes.lines if "new fault" not in line}
    assert said["New"] == "New: organ."
    assert said["No longer there"] == "No longer there: keys."
    assert said["bass"] == (
        "bass: it comes 37 samples (0.0007708 s) later; its polarity is inverted; 0.001 s (37 samples) longer; "
        "apart from that it is the same, sample for sample."
    )
    assert said["drums"].startswith("drums: it is turned down by 6.0 dB; apart from that it nulls to −1")
    assert said["strings"].startswith("strings: left and right are swapped; apart from that it is the same")
    assert "voice" not in said
    parts = "bass (37 samples later, polarity inverted, another form)", "drums (−6.0 dB)", "strings (sides swapped)"
    assert all(each in changes.summary for each in parts)
    assert changes.summary.startswith("revision 3: 3 of 4 stems changed: ")
    assert changes.summary.endswith("; 1 is new; 1 is gone.")


def test_another_name_is_no_other_stem(revised, first):
    keys, _ = soundfile.read(first / "keys.wav", always_2d=True)
    voice, _ = soundfile.read(first / "voice.wav", always_2d=True)
    changes = revised(remove=["keys", "voice"], organ=keys, singer=phrase(voice))
    assert (changes.came, changes.went) == ((), ())
    assert {each.stem: each.former for each in changes.sounds if each.stem != each.former} == {
        "organ": "keys",
        "singer": "voice",
    }
    assert "organ: it was called keys and is the same, sample for sample." in changes.lines
    assert changes.summary == "revision 3: only singer changed, bars 1 to 2; 2 are renamed."


def test_two_that_changed_names(revised, first):
    bass, drums = (soundfile.read(first / f"{name}.wav", always_2d=True)[0] for name in ("bass", "drums"))
    changes = revised({"bass": lambda _: drums, "drums": lambda _: bass})
    assert {each.stem: each.former for each in changes.sounds if each.stem != each.former} == {
        "bass": "drums",
        "drums": "bass",
    }


def test_the_form_of_a_file(first, tmp_path, making):
    folder = tmp_path / "revision 3"
    shutil.copytree(first, folder)
    bass, _ = soundfile.read(folder / "bass.wav", always_2d=True)
    making.save(folder / "bass.wav", bass, subtype="FLOAT")
    drums, _ = soundfile.read(folder / "drums.wav", always_2d=True)
    making.save(folder / "drums.wav", drums, rate_hz=44_100)
    making.with_time_reference(folder / "voice.wav", 48_000)
    said = {each.stem: each.sentence for each in compare(survey(first), survey(folder)).sounds}
    assert said["bass"] == "bass: 32-bit floats, were 24 bits; apart from that it is the same, sample for sample."
    # 44 100 / 48 000 is 8.1 % less and 12 log2 of it 1.47 semitones.
    assert (
        "44 100 Hz, was 48 000 Hz, though the samples are the same: it plays 8.1 % slower and 1.47 semitones lower"
        in (said["drums"])
    )
    assert "its header tells a start now (sample 48000)" in said["voice"]


def test_16_bits_in_a_file_of_24(revised):
    changes = revised({"voice": lambda samples: np.round(samples * 2**15) / 2**15})
    assert next(line for line in changes.lines if line.startswith("voice: ")).startswith(
        "voice: 16 bits of its words are in use, were 24; apart from that it nulls to −"
    )


def test_an_earlier_survey_finds_its_files_by_their_sound_whatever_their_date(first, tmp_path):
    then, now = tmp_path / "there" / "stems", tmp_path / "stems"
    shutil.copytree(first, then)
    (tmp_path / "there" / "then.json").write_text(as_json(survey(then)), encoding="utf-8")
    before = read_survey(tmp_path / "there" / "then.json")
    shutil.copytree(first, now)
    samples, _ = soundfile.read(now / "voice.wav", always_2d=True)
    soundfile.write(now / "voice.wav", phrase(samples), RATE_HZ, subtype="PCM_24")
    found = survey(now)
    assert compare(before, found).summary == "stems: only voice changed, 0:01.500 to 0:02.500."
    # A copy elsewhere with another date is told by its sound.
    moved = tmp_path / "elsewhere"
    then.rename(moved)
    os.utime(moved / "voice.wav", (1e9, 1e9))
    assert next(each for each in compare(before, found).sounds if each.stem == "voice").likeness is None
    assert compare(before, found, beside=moved).summary == "stems: only voice changed, 0:01.500 to 0:02.500."


def test_a_stem_that_is_later_and_changed_somewhere_is_said_to_be_both(revised):
    changes = revised({"voice": lambda samples: phrase(np.concatenate((np.zeros((480, 1)), samples[:-480])))})
    assert changes.summary.startswith("revision 3: only voice changed, 480 samples later, bar")


def test_where_the_earlier_sound_is_gone_readings_are_compared_and_it_is_said(first, tmp_path):
    folder = tmp_path / "stems"
    shutil.copytree(first, folder)
    before = survey(folder).as_json()
    samples, _ = soundfile.read(folder / "voice.wav", always_2d=True)
    written = (folder / "voice.wav").stat().st_mtime_ns
    soundfile.write(folder / "voice.wav", 0.5 * samples, RATE_HZ, subtype="PCM_24")
    os.utime(folder / "voice.wav", ns=(written, written))  # as long, and within one tick of the disk's clock
    (tmp_path / "then.json").write_text(before, encoding="utf-8")
    changes = compare(read_survey(tmp_path / "then.json"), survey(folder))
    said = [line for line in changes.lines if line.startswith("voice: ")]
    assert said[0].startswith(
        "voice: only its readings are compared, since its sound is another, but the earlier sound"
    )
    assert said[1].startswith("voice: turned down by 6.0 dB, peak_dbfs")
    assert changes.summary == "stems: only voice changed, its readings."


def test_json_has_it_all(revised):
    changes = revised({"voice": phrase})
    content = json.loads(json.dumps(changes.as_dict(), allow_nan=False))
    schema = json.loads(schema_text())
    jsonschema.validate(content, {**schema["properties"]["changes"], "$defs": schema["$defs"]})
    voice = next(each for each in content["sounds"] if each["stem"] == "voice")
    assert voice["passages"][0] | {"difference_db": 0} == {
        "start": 72_000, "end": 120_000, "what": "other", "difference_db": 0, "gain_db": 0.0, "later": 0,
        "from_seconds": 1.5, "to_seconds": 2.5, "from_bar": "1:4", "to_bar": "2:1",
    }  # fmt: skip
    assert content["summary"] == changes.summary
