"""The session file: there and back bit for bit, and a sentence for each thing that is wrong in it."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.decibels import Alignment
from gainlib.errors import GainError
from gainlib.flow import Bus, Session, Strip
from gainlib.flow.session_table import KINDS, _toml, session_faults
from gainlib.sound_file import write
from gainlib.stages import (
    ClipGain,
    Compressor,
    Converter,
    Delivery,
    Fader,
    OutboardInsert,
    Preamp,
    Ride,
    SoftClip,
    Source,
    Stage,
    StoredFile,
    Trim,
)


def test_a_session_comes_back_as_it_was(session: Session, tmp_path: Path) -> None:
    back = Session.load(session.save(tmp_path / "song.toml"))
    assert [(each.name, each.stages, each.to, each.sends) for each in back.strips] == [
        (each.name, each.stages, each.to, each.sends) for each in session.strips
    ]
    assert back.buses == session.buses
    assert back.main == session.main
    for mine, its in zip(session.strips, back.strips, strict=True):
        assert np.array_equal(mine.take.samples, its.take.samples)
    assert np.array_equal(back.render().at("main/limiter").samples, session.render().at("main/limiter").samples)


def test_every_stage_and_every_odd_value_comes_back(tmp_path: Path) -> None:
    stages: tuple[Stage, ...] = (
        Source(noise_dbfs=-math.inf, name='a "quoted" \\ näme'),
        Preamp(inverted=True, clipping="soft", pad_db=20),
        Converter("EBU R 68", 16, dither=True),
        StoredFile("fixed 16"),
        ClipGain(((0.5, 1.0, -6.0), (1.0, 2.0, 3.0))),
        Ride(((0.0, -1.5), (0.25, 1e-7))),
        Trim(-0.1),
        Compressor(ratio=math.inf, smoothing="decoupled", linked=False),
        OutboardInsert(Alignment("ours", 21.5), send="-10 dBV"),
        SoftClip(),
        Fader(-math.inf, muted=True, ride=((0.0, 1.0),)),
        Delivery("ATSC A/85", loudness_lufs=-16.0, rate_hz=44_100),
    )
    made = Session((Strip("t", Audio(np.zeros(100), 48_000), stages),))
    back = Session.load(made.save(tmp_path / "all.toml"))
    expected = [dataclasses.replace(each) for each in stages]
    insert = next(index for index, each in enumerate(expected) if isinstance(each, OutboardInsert))
    # An alignment without a published name is known by its number.
    expected[insert] = dataclasses.replace(expected[insert], alignment=21.5)
    assert list(back.strips[0].stages) == expected


def test_the_file_can_name_every_stage() -> None:
    import gainlib.stages as room

    kinds = {each for each in vars(room).values() if isinstance(each, type) and issubclass(each, Stage)} - {Stage}
    assert set(KINDS.values()) == kinds


@given(st.text() | st.floats(allow_nan=False) | st.integers(-(2**60), 2**60) | st.booleans())
def test_any_value_is_written_as_toml_reads_it(value: object) -> None:
    if isinstance(value, str) and any("\ud800" <= each <= "\udfff" for each in value):
        return
    back = tomllib.loads(f"value = {_toml(value)}")["value"]
    assert back == value
    assert type(back) is type(value)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.sampled_from(["hall", "a.b", 'q"', "ä ö", "x\n"]), unique=True, min_size=1))
def test_names_of_all_kinds_come_back(tmp_path_factory, names: list[str]) -> None:
    take = Audio(np.zeros(10), 48_000)
    made = Session(tuple(Strip(each, take, (Trim(),)) for each in names), main=Bus("main"))
    back = Session.load(made.save(tmp_path_factory.mktemp("names") / "s.toml"))
    assert [each.name for each in back.strips] == names


def test_stems_that_have_a_file_are_not_written_again(tmp_path: Path) -> None:
    write(tmp_path / "lead.wav", Audio(np.full(10, 0.5), 48_000))
    (tmp_path / "s.toml").write_text(GOOD)
    made = Session.load(tmp_path / "s.toml")
    made.replaced({"voice/trim/gain_db": -1.0}).save(tmp_path / "t.toml")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["lead.wav", "s.toml", "t.toml"]
    assert Session.load(tmp_path / "t.toml").setting("voice/trim/gain_db") == -1.0


def test_a_session_saved_elsewhere_takes_its_stems_along(tmp_path: Path) -> None:
    write(tmp_path / "lead.wav", Audio(np.full(10, 0.5), 48_000))
    (tmp_path / "s.toml").write_text(GOOD)
    other = tmp_path / "other"
    other.mkdir()
    # A file of that name is there already, but it is another recording.
    write(other / "lead.wav", Audio(np.full(10, 0.25), 48_000))
    moved = Session.load(Session.load(tmp_path / "s.toml").save(other / "t.toml"))
    assert (moved.strips[0].take.samples == 0.5).all()
    assert moved.strips[0].stem == "voice.wav"


def test_names_that_make_one_file_name_get_two_files(tmp_path: Path) -> None:
    takes = [Audio(np.full(10, value), 48_000) for value in (0.25, 0.5)]
    made = Session(tuple(Strip(name, take, (Trim(),)) for name, take in zip(("a:b", "a?b"), takes, strict=True)))
    back = Session.load(made.save(tmp_path / "s.toml"))
    assert [float(each.take.samples[0, 0]) for each in back.strips] == [0.25, 0.5]


def test_a_stem_of_the_course_is_found_anywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "s.toml").write_text(GOOD.replace("lead.wav", "media/lead-voice.flac"))
    monkeypatch.chdir(tmp_path)
    made = Session.load(tmp_path / "s.toml")
    assert made.strips[0].take.rate_hz == 48_000
    made.save(tmp_path / "t.toml")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["s.toml", "t.toml"]


def test_a_stem_is_not_looked_for_where_one_happens_to_be(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "here").mkdir()
    write(tmp_path / "here" / "lead.wav", Audio(np.full(10, 0.5), 48_000))
    monkeypatch.chdir(tmp_path / "here")
    (tmp_path / "s.toml").write_text(GOOD)
    assert session_faults(tmp_path / "s.toml") == ["strip 'voice' has no stem: lead.wav is not there."]


def test_nothing_is_overwritten_unasked(session: Session, tmp_path: Path) -> None:
    session.save(tmp_path / "s.toml")
    with pytest.raises(GainError, match=r"s.toml is there already; choose another name or say overwrite=True"):
        session.save(tmp_path / "s.toml")
    session.save(tmp_path / "s.toml", overwrite=True)
    with pytest.raises(GainError, match="is not there; make it first"):
        session.save(tmp_path / "none" / "s.toml")


GOOD = """version = 1

[[strips]]
name = "voice"
stem = "lead.wav"
to = "band"

[[strips.stages]]
kind = "trim"
gain_db = -3.0

[[strips.stages]]
kind = "fader"

[[strips.sends]]
to = "hall"
gain_db = -12.0

[[buses]]
name = "band"

[[buses]]
name = "hall"
to = "band"

[main]

[[main.stages]]
kind = "limiter"
"""


def faults(tmp_path: Path, old: str = "", new: str = "") -> list[str]:
    assert old in GOOD
    write(tmp_path / "lead.wav", Audio(np.full(100, 0.5), 48_000), overwrite=True)
    (tmp_path / "s.toml").write_text(GOOD.replace(old, new, 1) if old else GOOD)
    return session_faults(tmp_path / "s.toml")


def test_the_good_file_has_no_faults(tmp_path: Path) -> None:
    assert faults(tmp_path) == []
    assert Session.load(tmp_path / "s.toml").render().last_tap == "main/limiter"


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('kind = "trim"', 'kind = "trimm"', "stage 1 of strip 'voice' is of kind 'trimm'; did you mean trim?"),
        ('"lead.wav"', '"leed.wav"', "strip 'voice' has no stem: leed.wav is not there."),
        ('stem = "lead.wav"\n', "", "stem of strip 'voice' is None; give a text."),
        (
            'to = "band"\n\n[main]',
            'to = "hall"\n\n[main]',
            "the buses feed each other in a loop: hall to hall; take one of these routes away.",
        ),
        ("gain_db = -3.0", "gain_db = inf", "strip 'voice': gain_db of the trim is inf; it must be a finite number."),
        (
            "gain_db = -3.0",
            'gain_db = "loud"',
            "strip 'voice': gain_db of the trim is 'loud'; it must be a finite number.",
        ),
        (
            "gain_db = -3.0",
            "gain = -3.0",
            "stage 1 of strip 'voice' (trim) has 'gain', which is not known; did you mean gain_db?",
        ),
        (
            'kind = "fader"',
            'kind = "preamp"',
            "strip 'voice' puts the preamp on the converter's digital side; it takes analogue signal.",
        ),
        (
            'kind = "fader"',
            'kind = "converter"',
            "stage 2 of strip 'voice' (converter) lacks alignment; it has no usual value, give one.",
        ),
        ('to = "hall"', 'to = "hal"', "strip 'voice' goes to 'hal', which is no bus; did you mean hall?"),
        (
            "gain_db = -12.0",
            "gain_db = nan",
            "strip 'voice': gain_db of the send to hall is nan; it must be a number, -inf for none.",
        ),
        (
            "gain_db = -12.0",
            "level_db = 3",
            "send 1 of strip 'voice' has 'level_db', which is not known; known are gain_db, pre_fader, to.",
        ),
        ("version = 1", "version = 2", "version is 2; this gainlib reads session files of version 1."),
        (
            "version = 1",
            "version = 1\nspeed = 3",
            "the session file has 'speed', which is not known; known are buses, main, strips, version.",
        ),
        ("[main]", '[main]\nname = "mix"', "main must be a table of stages, without a name and without a route."),
        ("[[strips.sends]]", "[strips.sends]", "sends of strip 'voice' must be written as tables, [[sends]] each."),
        ('name = "hall"', "name = 3", "name of bus 2 is 3; give a text."),
    ],
)
def test_each_fault_is_one_sentence(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    assert faults(tmp_path, old, new) == [sentence]
    with pytest.raises(GainError) as caught:
        Session.load(tmp_path / "s.toml")
    assert str(caught.value).split("\n")[0] == sentence


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    found = faults(
        tmp_path,
        'kind = "trim"\ngain_db = -3.0\n\n[[strips.stages]]\nkind = "fader"',
        'kind = "trom"\n\n[[strips.stages]]\nkind = "fader"\ngain_db = 90',
    )
    assert found == [
        "stage 1 of strip 'voice' is of kind 'trom'; did you mean trim?",
        "strip 'voice': gain_db of the fader is 90; it must be 10 or below dB.",
    ]


def test_what_is_no_toml_is_said(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("version = ")
    assert session_faults(tmp_path / "s.toml")[0].startswith("s.toml is not a TOML file: ")
    (tmp_path / "s.toml").write_bytes(b"\xff\xfe")
    assert session_faults(tmp_path / "s.toml")[0].startswith("s.toml is not a TOML file: ")
    with pytest.raises(GainError, match=r"none.toml is not there; check the name and the folder"):
        Session.load(tmp_path / "none.toml")


def test_nothing_in_a_file_is_executed(tmp_path: Path) -> None:
    found = faults(tmp_path, 'kind = "trim"', 'kind = "__import__"')
    assert found[0].startswith("stage 1 of strip 'voice' is of kind '__import__'")
