"""Trims that are not a stem's own: one for a group, all lowered alike for the main, held back by an order."""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest
import soundfile
from typer.testing import CliRunner

from gainlib.cli import app
from gainlib.errors import GainError
from gainlib.surveys import Practice
from gainlib.surveys.order import Order, Part, practice_of, read_order
from gainlib.surveys.record import as_dict, schema_text
from gainlib.surveys.survey import survey

RATE_HZ = 48_000


@pytest.fixture(scope="module")
def band(tmp_path_factory, making):
    """Two drums and a voice: tones whose RMS is known, the drums in a folder of their own."""
    folder = tmp_path_factory.mktemp("band")
    for name, amplitude in (("drums/kick", 0.5), ("drums/snare", 0.05), ("voice", 0.1)):
        making.save(folder / f"{name}.wav", making.tone(2.0, amplitude, 440.0))
    return folder


def gains(made):
    return {each.stem: each.gain_db for each in made.trims}


def test_a_group_shares_the_lowest_of_its_trims(band):
    # A sine's AES17 RMS is its amplitude in dB: to -18 dBFS, 0.5 needs -12.0, 0.05 needs +8.0, 0.1 needs +2.0.
    own = survey(f"{band}/**/*.wav")
    assert gains(own) == {"kick": -12.0, "snare": 8.0, "voice": 2.0}
    made = survey(f"{band}/**/*.wav", groups={"drums": ["kick*", "snare*"]})
    assert gains(made) == {"kick": -12.0, "snare": -12.0, "voice": 2.0}
    assert (made.trim("snare").held, made.trim("snare").group, made.trim("voice").group) == ("group", "drums", "")
    assert "snare: nothing wrong. Trim −12.0 dB, with its group drums." in repr(made).splitlines()
    jsonschema.validate(as_dict(made), json.loads(schema_text()))


def test_a_folder_can_be_a_group(band):
    made = survey(f"{band}/**/*.wav", groups="folders")
    assert {each.stem: each.group for each in made.trims} == {"kick": "drums", "snare": "drums", "voice": band.name}
    assert gains(made)["snare"] == -12.0


def test_groups_that_overlap_are_refused_before_any_work_and_ones_of_nobody_are_told(band):
    with pytest.raises(GainError, match=r"kick\.wav is in the groups drums and low; make one of the patterns narrower"):
        survey(f"{band}/**/*.wav", groups={"drums": ["*k*"], "low": ["kick.wav"]}, progress=None)
    made = survey(band / "voice.wav", groups={"strings": ["viola*"]})
    assert "No file fits viola* of the group strings." in made.notes


def test_a_silent_stem_of_a_group_keeps_its_trim(tmp_path, making):
    making.save(tmp_path / "room.wav", np.zeros((RATE_HZ, 1)))
    making.save(tmp_path / "kick.wav", making.tone(1.0, 0.5, 440.0))
    assert gains(survey(tmp_path, groups={"drums": ["*.wav"]})) == {"room": 0.0, "kick": -12.0}


def test_all_trims_are_lowered_alike_until_the_sum_fits_with_the_main_at_zero(band):
    usual = survey(f"{band}/**/*.wav", practice=Practice(target=-10.0))
    made = survey(f"{band}/**/*.wav", practice=Practice(target=-10.0, main_at_zero=True))
    assert usual.sum.main_trim_db < 0 == made.sum.main_trim_db
    assert made.sum.lowered_db == -usual.sum.main_trim_db
    assert {name: round(gain - gains(usual)[name], 1) for name, gain in gains(made).items()} == dict.fromkeys(
        gains(usual), usual.sum.main_trim_db
    )
    # The sum, added up here from the files, is what is announced, and fits.
    total = sum(soundfile.read(each.path)[0] * 10 ** (made.trim(each.name).gain_db / 20) for each in made.stems)
    assert made.sum.after["peak_dbfs"] == pytest.approx(20 * np.log10(np.abs(total).max()), abs=0.01)
    assert made.sum.after["true_peak_dbtp"] <= -6.0
    assert f"All trims are {made.sum.lowered_db:.1f} dB lower for that; the main stays at 0 dB." in repr(made)
    jsonschema.validate(as_dict(made), json.loads(schema_text()))


@pytest.mark.parametrize(
    ("part", "ceiling"),
    [(Part(headroom_db=10.0), -10.0), (Part(true_peak_dbtp=-8.0), -8.0),
     (Part(headroom_db=10.0, true_peak_dbtp=-12.0), -12.0), (Part(headroom_db=1.0), -6.0), (Part(), -6.0)],
)  # fmt: skip
def test_an_order_lowers_the_ceilings_and_never_lifts_them(part, ceiling):
    assert practice_of(Order(stems=part), Practice()).stem_ceiling_dbtp == ceiling
    assert practice_of(Order(mix=part), Practice()).main_ceiling_dbtp == ceiling


def test_copies_of_stems_that_missed_an_orders_headroom_meet_it(band, tmp_path):
    order = tmp_path / "order.toml"
    order.write_text(
        "[groups]\ndrums = ['kick*', 'snare*']\n[session]\nsong = 'song 4'\n[stems]\nheadroom_db = 20.0\n",
        encoding="utf-8",
    )
    files = [str(band / "drums"), str(band / "voice.wav"), "--order", str(order)]
    done = CliRunner().invoke(app, ["survey", *files, "--write", str(tmp_path / "out")])
    assert done.exit_code == 1
    # A trim of -14.0 dB gives the kick's 6.02 dB of headroom the 20 that are asked for.
    assert "headroom 20 dB at least, but kick has 6.02 dB, 20.02 dB trimmed." in done.stdout
    again = CliRunner().invoke(app, ["survey", str(tmp_path / "out"), "--order", str(order)])
    assert again.exit_code == 0, again.stdout
    both = CliRunner().invoke(app, ["survey", *files, "--folders-as-groups"])
    assert both.exit_code != 0
    assert read_order(order).session.song == "song 4"
