"""The session file: there and back bit for bit, and a sentence for each thing that is wrong in it."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.decibels import Alignment
from gainlib.errors import GainError
from gainlib.flow import Bus, Session, Strip
from gainlib.sound_file import read, write
from gainlib.stages import (
    ClipGain,
    Compressor,
    Converter,
    Delivery,
    Fader,
    OutboardInsert,
    Preamp,
    Ride,
    Signal,
    SoftClip,
    Source,
    Stage,
    StageResult,
    StoredFile,
    Trim,
    stage_kinds,
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


def test_a_stage_of_ones_own_comes_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gainlib.stages.base._KINDS", stage_kinds())  # so that it is forgotten afterwards

    @dataclass(frozen=True)
    class Halver(Stage):
        steps: tuple[float, ...] = ()
        times: int = 1

        def process(self, signal: Signal) -> StageResult:
            return StageResult(dataclasses.replace(signal, samples=signal.samples * 0.5**self.times))

    stages = (Halver(times=np.int64(2), steps=(0.5, 0.25)), Halver(name="again"))
    made = Session.of(Audio(np.ones(10), 48_000), stages, name="voice")
    back = Session.load(made.save(tmp_path / "s.toml"))
    assert back.setting("halver/times") == 2
    assert back.render().at("again").samples[0, 0] == 0.125


def test_strips_side_by_side_come_back_side_by_side(tmp_path: Path) -> None:
    take = Audio(np.full(10, 0.5), 48_000)
    made = Session(tuple(Strip(name, take, (Trim(),)) for name in "ab"))
    assert made.main is None
    back = Session.load(made.save(tmp_path / "s.toml"))
    assert back.main is None
    assert [each.name for each in back.strips] == ["a", "b"]


def test_several_strips_go_to_a_main_unless_they_say_otherwise(tmp_path: Path) -> None:
    made = 'signal = { wave = "sine", level_dbfs = -6, seconds = 1 }, stages = [{ stage = "Trim" }]'
    (tmp_path / "s.toml").write_text(f'strips = [{{ name = "a", {made} }}, {{ name = "b", {made} }}]')
    # Two equal sines of peak -6 dBFS: +6.02 dB.
    assert Session.load(tmp_path / "s.toml").render().level("main/sum").peak_dbfs == pytest.approx(0.02, abs=0.01)


def test_what_is_copied_is_a_session_file(session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = session.as_text()
    session.save("song.toml")
    notes = [line for line in text.splitlines() if line.startswith("#")]
    assert len(notes) == 3
    assert notes[0].startswith("# voice.wav is not written yet")
    written = (tmp_path / "song.toml").read_text()
    assert [line for line in text.splitlines() if line not in notes] == written.splitlines()
    # Now that the takes lie there, nothing is to be noted.
    assert session.as_text() == written


def test_what_is_copied_can_be_given_in_an_exercise(session: Session, tmp_path: Path) -> None:
    from gainlib.exercises.given import laid_out
    from gainlib.exercises.tables import Given

    file = session.save(tmp_path / "song.toml")
    found: list[tuple[tuple[str | int, ...], str]] = []
    given_ = Given.model_validate(tomllib.loads("[given]\n" + file.read_text())["given"])
    layout = laid_out(given_, file, found)
    assert found == []
    assert layout is not None
    heard = layout.heard(layout.start())
    assert np.array_equal(heard.render().at("main/limiter").samples, session.render().at("main/limiter").samples)


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
    assert 'take = "lead.wav"' in (tmp_path / "t.toml").read_text()
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
    assert moved.strips[0].take.path == other / "voice.wav"
    head = "# voice.wav is a copy of lead.wav that was written beside this file: a session finds its takes below"
    assert (other / "t.toml").read_text().startswith(head)


@pytest.mark.parametrize(
    "take", ["link.wav", "folder/lead.wav", "{tmp}/out/lead.wav", "../out/lead.wav", "/etc/passwd"]
)
def test_a_session_reads_nothing_from_outside_its_folder(tmp_path: Path, take: str) -> None:
    for name in ("home", "out"):
        (tmp_path / name).mkdir()
    lead = write(tmp_path / "out" / "lead.wav", Audio(np.full(10, 0.5), 48_000))
    (tmp_path / "home" / "link.wav").symlink_to(lead)
    (tmp_path / "home" / "folder").symlink_to(lead.parent)
    (tmp_path / "home" / "s.toml").write_text(GOOD.replace("lead.wav", take.format(tmp=tmp_path)))
    (said,) = told(tmp_path / "home" / "s.toml")
    assert "link that leads out of home" in said or "without .. or a drive" in said


def test_a_take_behind_a_link_is_copied_when_its_session_is_saved(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    lead = write(tmp_path / "lead.wav", Audio(np.full(10, 0.5), 48_000))
    (tmp_path / "home" / "link.wav").symlink_to(lead)
    made = Session.of(read(tmp_path / "home" / "link.wav"), [Trim()], name="v" * 200)
    back = Session.load(made.save(tmp_path / "home" / "s.toml"))
    assert (back.strips[0].take.samples == 0.5).all()
    assert back.strips[0].take.path == tmp_path / "home" / ("v" * 60 + ".wav")


def test_names_that_make_one_file_name_get_two_files(tmp_path: Path) -> None:
    takes = [Audio(np.full(10, value), 48_000) for value in (0.25, 0.5)]
    made = Session(tuple(Strip(name, take, (Trim(),)) for name, take in zip(("a:b", "a?b"), takes, strict=True)))
    back = Session.load(made.save(tmp_path / "s.toml"))
    assert [float(each.take.samples[0, 0]) for each in back.strips] == [0.25, 0.5]


def test_no_recording_is_overwritten(tmp_path: Path) -> None:
    write(tmp_path / "voice.wav", Audio(np.full(10, 0.25), 48_000))
    made = Session.of(Audio(np.full(10, 0.5), 48_000), [Trim()], name="voice")
    for _ in range(2):
        made.save(tmp_path / "s.toml", overwrite=True)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["s.toml", "voice-2.wav", "voice.wav"]
    assert (Session.load(tmp_path / "s.toml").strips[0].take.samples == 0.5).all()


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
    assert told(tmp_path / "s.toml") == [
        "strip 'voice': take is 'lead.wav', which is not there; put the recording beside this file."
    ]


def test_nothing_is_overwritten_unasked(session: Session, tmp_path: Path) -> None:
    session.save(tmp_path / "s.toml")
    with pytest.raises(GainError, match=r"s.toml is there already; choose another name or say overwrite=True"):
        session.save(tmp_path / "s.toml")
    session.save(tmp_path / "s.toml", overwrite=True)
    with pytest.raises(GainError, match="is not there; make it first"):
        session.save(tmp_path / "none" / "s.toml")


GOOD = """
[[strips]]
name = "voice"
take = "lead.wav"
to = "band"
stages = [
  { stage = "Trim", gain_db = -3.0 },
  { stage = "Fader" },
]
sends = [{ to = "hall", gain_db = -12.0 }]

[[buses]]
name = "band"

[[buses]]
name = "hall"
to = "band"

[[buses]]
name = "main"
stages = [{ stage = "Limiter" }]
"""


def told(file: Path) -> list[str]:
    try:
        Session.load(file)
    except GainError as fault:
        return str(fault).split("\n")
    return []


def faults(tmp_path: Path, old: str = "", new: str = "") -> list[str]:
    assert old in GOOD
    write(tmp_path / "lead.wav", Audio(np.full(100, 0.5), 48_000), overwrite=True)
    (tmp_path / "s.toml").write_text(GOOD.replace(old, new, 1) if old else GOOD)
    return told(tmp_path / "s.toml")


def test_the_good_file_has_no_faults(tmp_path: Path) -> None:
    assert faults(tmp_path) == []
    assert Session.load(tmp_path / "s.toml").render().last_tap == "main/limiter"


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('"Trim"', '"Trimm"', "stage 1 of strip 'voice' is 'Trimm'; did you mean Trim?"),
        ('{ stage = "Trim", ', "{ ", "stage 1 of strip 'voice' lacks the entry stage; give its kind, such as 'Trim'."),
        (
            '"lead.wav"',
            '"leed.wav"',
            "strip 'voice': take is 'leed.wav', which is not there; did you mean lead.wav?",
        ),
        (
            '"lead.wav"',
            '"../lead.wav"',
            "strip 'voice': take is '../lead.wav'; "
            "name a file under media/ or beside this file, without .. or a drive.",
        ),
        ('take = "lead.wav"\n', "", "strip 'voice' has neither a take nor a signal; give one of them."),
        (
            'to = "band"\n\n[[',
            'to = "hall"\n\n[[',
            "the buses feed each other in a loop: hall to hall; take one of these routes away.",
        ),
        ("-3.0", "inf", "strip 'voice': gain_db of the trim is inf; it must be a finite number."),
        ("-3.0", '"loud"', "strip 'voice': gain_db of the trim is 'loud'; it must be a finite number."),
        (
            "-3.0",
            '"-3 dB"',
            "strip 'voice': gain_db of the trim is '-3 dB'; "
            "leave the unit out, it belongs in the name, and the quotes as well: -3",
        ),
        ("gain_db = -3.0", "gain = -3.0", "the trim of strip 'voice' has no setting 'gain'; did you mean gain_db?"),
        (
            '"Fader"',
            '"Preamp"',
            "strip 'voice' puts the preamp on the converter's digital side; it takes analogue signal.",
        ),
        ('to = "hall"', 'to = "hal"', "strip 'voice' goes to 'hal', which is no bus; did you mean hall?"),
        (
            "-12.0",
            "nan",
            "strip 'voice': gain_db of the send to hall is nan; it must be a number, -inf for none.",
        ),
        (
            "gain_db = -12.0",
            "level_db = 3",
            "there is no entry level_db of send 1 of strip 1; known are gain_db, pre_fader, to.",
        ),
        ("[[strips]]", "speed = 3\n[[strips]]", "there is no entry speed; known are buses, groups, strips."),
        ('"main"', '"main"\nto = "band"', "bus 'main': the main is the end of all routes; leave its entry to out."),
        ('name = "hall"', "name = 3", "name of bus 2 is 3; it must be text in quotes."),
        ('name = "hall"\n', "", "the entry name of bus 2 is missing; add it."),
    ],
)
def test_each_fault_is_one_sentence(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    assert faults(tmp_path, old, new) == [sentence]


def test_a_stage_without_a_setting_that_it_needs_is_told(tmp_path: Path) -> None:
    (sentence,) = faults(tmp_path, '"Fader"', '"Converter"')
    assert sentence.startswith("the converter of strip 'voice' cannot be made: ")
    assert "'alignment'" in sentence


def test_all_faults_are_told_at_once(tmp_path: Path) -> None:
    found = faults(
        tmp_path,
        '"Trim", gain_db = -3.0 },\n  { stage = "Fader"',
        '"Trom" },\n  { stage = "Fader", gain_db = 90',
    )
    assert found == [
        "stage 1 of strip 'voice' is 'Trom'; did you mean Trim?",
        "strip 'voice': gain_db of the fader is 90; it must be 10 dB or below.",
    ]


@pytest.mark.parametrize("start", ["version = 1\n", "[main]\n"])
def test_a_file_in_the_older_form_says_what_to_write_instead(tmp_path: Path, start: str) -> None:
    (sentence,) = faults(tmp_path, "[[strips]]", f"{start}[[strips]]")
    assert "write take for stem" in sentence
    assert 'stage = "StoredFile" for kind = "stored file"' in sentence


def test_what_is_no_toml_is_said(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("strips = ")
    assert told(tmp_path / "s.toml")[0].startswith("s.toml is not valid TOML: ")
    (tmp_path / "s.toml").write_bytes(b"\xff\xfe")
    assert told(tmp_path / "s.toml")[0].startswith("s.toml is not UTF-8 text (byte 0)")
    with pytest.raises(GainError, match=r"none.toml is not there; check the name and the folder"):
        Session.load(tmp_path / "none.toml")


def test_nothing_in_a_file_is_executed(tmp_path: Path) -> None:
    found = faults(tmp_path, 'stage = "Trim"', 'stage = "__import__"')
    assert found[0].startswith("stage 1 of strip 'voice' is '__import__'")
