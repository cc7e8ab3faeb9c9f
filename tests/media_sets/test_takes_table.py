"""The table of a set of takes: what it gives, every fault of it at once with its line, and the bundled one's truth."""

from __future__ import annotations

import re
import sys

import numpy as np
import pytest
import soundfile

from gainlib.errors import GainError
from gainlib.media_sets import bundled_set, first_table, read_media_set
from gainlib.storage import bundled_folder

RATE_HZ = 8_000


@pytest.fixture
def folder(tmp_path):
    """A voice of 20 s in mono, a kick of 15 s in stereo; each sample tells its second."""
    for name, seconds, channels in (("voice.wav", 20, 1), ("kick.flac", 15, 2)):
        ramp = np.repeat(np.arange(seconds) / 100, RATE_HZ)
        soundfile.write(tmp_path / name, np.stack([ramp] * channels, axis=1), RATE_HZ, subtype="PCM_16")
    return tmp_path


def table(folder, text):
    (folder / "takes.toml").write_text(text, encoding="utf-8")
    return folder


SOUND = """title = "Evening"
use = [2, 18]
[takes]
"lead voice" = "voice.wav"
kick = "kick.flac"
[parts]
verse = [3, 8.5]
shout = [10, 11]
"""


def test_a_part_is_told_and_cut_from_where_use_begins(folder):
    media = read_media_set(table(folder, SOUND))
    assert (media.title, media.parts) == ("Evening", {"verse": (1.0, 6.5), "shout": (8.0, 9.0)})
    assert media.lasts == {"lead voice": 16.0, "kick": 13.0}  # the kick ends before the voice
    assert media.channels == {"lead voice": 1, "kick": 2}
    shout = media.take("lead voice", "shout")
    assert (shout.name, shout.seconds) == ("lead-voice", 1.0)
    assert np.unique((100 * shout.samples).round()).tolist() == [10]  # the tenth second of the file
    assert media.take("kick").seconds == 13.0
    assert media.take("kick").samples[0, 0] == pytest.approx(0.02, abs=1e-4)


FAULTY = """tempo = 100
tempo_bpm = "fast"
title = ""
[takes]
lead = "voice.wav"
kick = "../kick.flac"
snare = "snare.wav"
bass = 3
[parts]
vers = [0, 2]
chorus = [5, 4]
shout = "0:10"
end = [1, 99]
"""


LINES = [1, 2, 3, 5, 6, 7, 8, 10, 11, 12, 13]


def test_all_faults_are_told_at_once_each_with_its_line(folder):
    with pytest.raises(GainError) as fault:
        read_media_set(table(folder, FAULTY))
    told = str(fault.value).splitlines()
    assert [int(re.match(r"takes.toml, line (\d+): ", each)[1]) for each in told] == LINES
    for piece in (
        "there is no entry 'tempo'; did you mean tempo_bpm?",
        "tempo_bpm is 'fast'",
        "title is ''",
        "there is no role 'lead'; known are backing voices, ",
        "kick is '../kick.flac'; name a file in this folder",
        "snare.wav is not there",
        "bass is 3",
        "there is no part 'vers'; did you mean verse?",
        "chorus is [5, 4]",
        "shout is '0:10'; give where it begins",
    ):
        assert sum(piece in each for each in told) == 1, piece


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("use = [2, 18]", "use = [18, 2]"), r"line 2: use is \[18, 2\]; the longest take has 20\.00 s"),
        (("use = [2, 18]", "use = [15, 18]"), r"line 5: kick ends at 15\.00 s, before what is used \(15 s\)"),
        (("verse", "end"), r"line 8: shout does not lie within the end"),
        (('"Evening"', '"Evening'), "takes.toml is not valid TOML"),
        (("[takes]", "[take]"), "there is no entry 'take'; did you mean takes"),
    ],
)
def test_a_fault_is_told_with_what_to_do(folder, change, says):
    with pytest.raises(GainError, match=says):
        read_media_set(table(folder, SOUND.replace(*change)))


def test_takes_of_a_whole_song_want_the_seconds_that_are_taught_with(tmp_path):
    soundfile.write(tmp_path / "long.wav", np.zeros(200 * 1000), 1000)
    with pytest.raises(GainError, match=r"line 2: 200 s are used.* 90 s at most; say which .* use = \[45\.0, 75\.0\]"):
        read_media_set(table(tmp_path, 'title = "x"\n[takes]\nkick = "long.wav"\n'))


def test_a_folder_without_a_table_and_one_that_is_not_there_say_so(tmp_path):
    with pytest.raises(GainError, match=r"has no takes\.toml, the table that says what each take is"):
        read_media_set(tmp_path)
    with pytest.raises(GainError, match="there is no folder"):
        read_media_set(tmp_path / "none")


def test_a_first_table_has_the_role_that_a_name_tells_and_asks_for_the_others(folder):
    (folder / "Lead_Voice 2.wav").write_bytes((folder / "voice.wav").read_bytes())
    lines = first_table(folder).splitlines()
    assert {'kick = "kick.flac"', '"lead voice" = "Lead_Voice 2.wav"', '# its role = "voice.wav"'} <= set(lines)
    read_media_set(table(folder, first_table(folder)))


def test_the_bundled_table_is_the_score(monkeypatch):
    """The tempo and the bars of `media/score.py`, and the phrases that the README's table measures."""
    monkeypatch.syspath_prepend(str(bundled_folder("media")))
    import score

    media = bundled_set()
    bar = 4 * score.BEAT_SAMPLES / 48_000
    assert media.tempo_bpm == pytest.approx(60 / score.BEAT_S, abs=0.005)
    assert media.parts["chorus"] == (4 * bar, 8 * bar) == (score.CHORUS_BEAT * score.BEAT_S, score.BEATS * score.BEAT_S)
    readme = (bundled_folder("media") / "README.md").read_text(encoding="utf-8")
    phrases = {
        name: (float(start), float(end))
        for name, start, end in re.findall(r"(?m)^\| ([a-z][^|]+?) \| (\d+\.\d+) \| (\d+\.\d+) \|", readme)
    }
    assert len(phrases) == 9
    assert media.parts["shout"] == phrases["day! (the shout)"]
    assert media.parts["last line"] == phrases["night into"]
    assert phrases["leaned to the night"][1] < media.parts["verse"][1] <= phrases["carry me over"][0] + 0.02
    assert {each.name for each in media.files.values()} == {
        each.name for each in bundled_folder("media").glob("*.flac")
    }
    for name in ("score", "voices"):
        sys.modules.pop(name, None)
