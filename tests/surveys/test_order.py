"""An order and a delivery: each line met, each line not met, what cannot be an order, and one written from a folder."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from gainlib.cli import app
from gainlib.errors import GainError
from gainlib.surveys.order import check_order, order_text, read_order
from gainlib.surveys.record import schema_text
from gainlib.surveys.sheet import gain_sheet
from gainlib.surveys.survey import survey

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def delivery(tmp_path_factory, making):
    """Two stems of three seconds with half a second of silence before and one after, and their mix."""
    folder = tmp_path_factory.mktemp("delivery") / "song"
    sounds = []
    for index, name in enumerate(("bass", "voice")):
        sound = np.zeros((3 * RATE_HZ, 1))
        sound[RATE_HZ // 2 : 2 * RATE_HZ] = making.noise(index, 2.0)[: 3 * RATE_HZ // 2]
        sounds.append(sound)
        making.with_time_reference(making.save(folder / f"song_{name}.wav", sound), 48_000)
    mix = making.save(folder / "song_mix.wav", np.repeat(sounds[0] + sounds[1], 2, axis=1))
    making.with_time_reference(mix, 48_000)
    return folder, survey(folder)


def checked(tmp_path, found, text):
    path = tmp_path / "order.toml"
    path.write_text(text, encoding="utf-8")
    return check_order(found, read_order(path))


@pytest.mark.parametrize(
    ("entry", "met", "missed", "but"),
    [
        ("names", "['song_*.wav']", "['song_bass.wav', 'song_keys.wav']",
         "but song_voice.wav fits none, nothing fits song_keys.wav."),
        ("count", "2", "3", "3 files, but there are 2."),
        ("formats", "['wav']", "['FLAC', 'AIFF']", "format FLAC or AIFF, but song_bass is WAV, song_voice is WAV."),
        ("rate_hz", "48000", "44100", "rate 44 100 Hz, but song_bass has 48 000 Hz, song_voice has 48 000 Hz."),
        ("word", "'24'", "'16'", "word length 16 bits, but song_bass has 24 bits, song_voice has 24 bits."),
        ("channels", "[1, 2]", "[2]", "2 channels, but song_bass has 1, song_voice has 1."),
        ("seconds", "3", "3.0001", "length 3.000 s, but song_bass has 3.000 s, song_voice has 3.000 s."),
        ("starts_at", "48000", "0", "start at sample 0, but song_bass starts at 48000, song_voice starts at 48000."),
        ("headroom_db", "6", "20", "headroom 20 dB at least, but song_"),
        ("true_peak_dbtp", "-6", "-30", "true peak −30.0 dBTP at most, but song_"),
        ("loudness_lufs", "[-60, -10]", "[-12, -10.0]", "loudness from −12.0 to −10.0 LUFS, but song_"),
        ("silence_before_seconds", "[0.5, 0.5]", "[0, 0.2]", "from 0 to 0.2 s, but song_bass has 0.50 s"),
        ("silence_after_seconds", "[1, 1]", "[2, 3]", "from 2 to 3 s, but song_bass has 1.00 s"),
    ],
)  # fmt: skip
def test_each_line_is_met_or_not(delivery, tmp_path, entry, met, missed, but):
    for value, right in ((met, True), (missed, False)):
        # The mix is another part, so it is none of the stems.
        (line,) = checked(tmp_path, delivery[1], f"stems.{entry} = {value}\nmix.names = ['*_mix.wav']\n")[:1]
        assert (line.part, line.entry, line.met) == ("stems", entry, right)
        assert but in line.sentence or right
        assert line.line.startswith("meets the order: stems: " if right else "DOES NOT MEET THE ORDER: stems: ")


def test_the_mix_is_a_file_or_the_sum(delivery, tmp_path):
    folder, found = delivery
    mix = "[mix]\nnames = ['*_mix.wav']\nchannels = [2]\nloudness_lufs = [{}, {}]\n"
    loudness = found.stem("song_mix").readings["loudness_lufs"]
    lines = checked(tmp_path, found, mix.format(loudness - 0.5, loudness + 0.5))
    assert [(each.part, each.entry, each.met) for each in lines] == [
        ("mix", "names", True), ("mix", "channels", True), ("mix", "loudness_lufs", True),
    ]  # fmt: skip
    assert not checked(tmp_path, found, mix.format(loudness + 0.1, loudness + 0.5))[-1].met
    assert not checked(tmp_path, found, "mix.names = ['master.wav']")[0].met
    alone = survey(folder / "song_bass.wav", folder / "song_voice.wav")
    both = sum(soundfile.read(folder / f"song_{name}.wav")[0] for name in ("bass", "voice"))
    headroom = -20 * np.log10(np.abs(both).max())
    for asked, met in ((headroom - 0.05, True), (headroom + 0.05, False)):
        (line,) = checked(tmp_path, alone, f"mix.headroom_db = {asked:.3f}")
        assert line.met is met
    assert f"the sum of the stems has {headroom:.2f} dB" in line.sentence


def test_what_is_not_there_and_what_cannot_be_read_meets_nothing(delivery, tmp_path, making):
    folder = tmp_path / "song"
    shutil.copytree(delivery[0], folder)
    (folder / "song_keys.wav").write_bytes(b"no sound")
    lines = checked(tmp_path, survey(folder), "stems.rate_hz = 48000")
    assert [(each.entry, each.met) for each in lines] == [("files", False), ("rate_hz", True)]
    nothing = survey(making.save(tmp_path / "mix.wav", making.noise(1, 1.0)))
    (line, _) = checked(tmp_path, nothing, "stems.rate_hz = 48000\nmix.names = ['mix.wav']")
    assert line.sentence == "stems: rate 48 000 Hz, but no such file is there."


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("[stems]\nrate = 48000", "order.toml: there is no entry rate of stems; did you mean rate_hz?"),
        ("[stems]\nword = 24", "order.toml: word of stems is 24; it must be one of 8, 16, 24, 32, float, double."),
        ("[stems]\nchannels = 2", "channels of stems is 2; it must be a list in square brackets."),
        ("[mix]\nloudness_lufs = [-22, -24]", "from -22 to -24; give the least first, then the most."),
        ("[mix]\nloudness_lufs = [-22]", "loudness_lufs of mix holds too few values; give at least 2."),
        ("[mix]\nrate_hz = 48000", "rate_hz of mix is asked of a file; add names"),
        ("[stems]\nseconds = nan", "seconds of stems is NaN"),
        ("", "asks for nothing; write an order with --write-order"),
        ("[stems", "is not valid TOML"),
    ],
)
def test_what_is_no_order(tmp_path, text, sentence):
    path = tmp_path / "order.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(GainError) as told:
        read_order(path)
    assert sentence in str(told.value)


def test_an_order_is_written_from_a_folder_that_meets_it(delivery, tmp_path):
    folder, found = delivery
    lines = checked(tmp_path, found, order_text(found))
    assert all(each.met for each in lines)
    assert {each.entry for each in lines if each.part == "stems"} == {
        "names", "count", "formats", "rate_hz", "word", "channels", "seconds", "starts_at", "headroom_db",
        "silence_before_seconds", "silence_after_seconds",
    }  # fmt: skip
    assert {each.entry for each in lines if each.part == "mix"} > {"loudness_lufs", "true_peak_dbtp"}
    # Without a mix it is the sum's level that is ordered.
    alone = survey(folder / "song_bass.wav", folder / "song_voice.wav")
    lines = checked(tmp_path, alone, order_text(alone))
    assert all(each.met for each in lines)
    assert [each.entry for each in lines if each.part == "mix"] == ["true_peak_dbtp", "loudness_lufs"]


def test_the_order_in_the_readme_is_one(tmp_path):
    text = Path(__file__).parents[2].joinpath("README.md").read_text(encoding="utf-8")
    (tmp_path / "order.toml").write_text(text.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    order = read_order(tmp_path / "order.toml")
    assert (order.stems.count, order.mix.loudness_lufs) == (12, [-24.0, -22.0])


def test_names_with_brackets_are_names(tmp_path, making):
    found = survey(making.save(tmp_path / "kick [old]*.wav", making.noise(1, 1.0)))
    assert all(each.met for each in checked(tmp_path, found, order_text(found)))


def test_the_command_the_json_and_the_sheet(delivery, tmp_path):
    folder, found = delivery
    order = tmp_path / "order.toml"
    written = CliRunner().invoke(app, ["survey", str(folder), "--write-order", str(order)])
    assert f"Written: {order}" in written.stdout
    met = CliRunner().invoke(app, ["survey", str(folder), "--order", str(order)])
    assert met.exit_code == 0
    assert "meets the order: stems: rate 48 000 Hz." in met.stdout.splitlines()
    order.write_text(order.read_text(encoding="utf-8").replace("48000\nword", "44100\nword"), encoding="utf-8")
    missed = CliRunner().invoke(app, ["survey", str(folder), "--order", str(order), "--json"])
    assert missed.exit_code == 1
    content = json.loads(missed.stdout)
    jsonschema.validate(content, json.loads(schema_text()))
    assert content["order"]["met"] is False
    assert [each["entry"] for each in content["order"]["lines"] if not each["met"]] == ["rate_hz", "rate_hz"]
    page = gain_sheet(found, order=check_order(found, read_order(order)))
    assert "does not meet it</b>: stems: rate 44 100 Hz" in page
    again = CliRunner().invoke(app, ["survey", str(folder), "--write-order", str(order)])
    assert again.exit_code != 0


def test_what_a_written_order_offers_can_be_filled_in(delivery, tmp_path):
    path = tmp_path / "order.toml"
    head, rest = order_text(delivery[1]).split("\n\n", 1)
    offered = [line.removeprefix("# ") for line in head.splitlines()[1:]]
    path.write_text("\n".join([*offered, rest]), encoding="utf-8")
    order = read_order(path)
    assert (order.session.tempo, order.groups) == (120, {"drums": ["kick*", "snare*"]})
    assert {"song", "key", "date", "engineer", "notes"} <= order.session.model_fields_set
