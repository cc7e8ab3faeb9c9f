"""Choices, switches and rides as controls; many strips and whose levels are shown: without a browser."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

import gainlib as gl
from gainlib.benches.controls import Breakpoints, Pick, Range, control_of
from gainlib.flow import Bus, Strip
from gainlib.stages import Stage
from gainlib.views import LevelDiagram
from gainlib.widgets.pick_input import PickInput
from gainlib.widgets.ride_table import RideTable

RATE_HZ = 48_000
SINE = np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)
TAKE = gl.Audio(SINE, RATE_HZ)


def every_stage():
    """One of each stage in chains that can be."""
    return gl.Session.of(
        TAKE,
        [
            gl.Source(-30.0), gl.Cable(), gl.Preamp(30.0), gl.Converter("EBU R 68"), gl.Trim(), gl.KWeighting(),
            gl.ClipGain(),
            gl.Ride(points=((0.0, 0.0), (0.5, -6.0))), gl.OutboardInsert("EBU R 68"), gl.Compressor(), gl.Saturation(),
            gl.SoftClip(), gl.Fader(), gl.Polarity(), gl.Delay(), gl.Pan(), gl.StoredFile(), gl.Limiter(),
            gl.Delivery(),
        ],
        name="voice",
    )  # fmt: skip


def offered(session):
    """Every setting of every stage that a control can be made for."""
    found = {}
    for stage in session.strips[0].stages:
        for field in dataclasses.fields(stage):
            if field.name == "name" or (stage.kind == "Clip gain" and field.name == "regions"):
                continue
            path = f"{stage.name}/{field.name}"
            try:
                found[path] = control_of(session, path)
            except gl.GainError:
                continue
    return found


def ends_and_middle(control):
    if isinstance(control, Pick):
        return control.options
    if isinstance(control, Range):
        return (control.low, (control.low + control.high) / 2, control.high)
    return ((), ((0.0, control.low), (control.seconds / 2, 0.0), (control.seconds, control.high)))


def test_a_control_is_called_after_its_stage_and_counts_in_the_unit_that_is_given():
    stages = [
        gl.ClipGain(((0.1, 0.5, 0.0),), name="shout"), gl.Preamp(0.0, name="desk"), gl.Trim(name="recorded"), gl.Trim(),
        gl.Saturation(name="first"),
    ]  # fmt: skip
    session = gl.Session.of(TAKE, [gl.Source(20.0), *stages[1:2], gl.Converter("EBU R 68"), stages[0], *stages[2:]])
    labels = {path: control_of(session, path) for path in (
        "shout/gain_db", "desk/gain_db", "recorded/gain_db", "trim/gain_db", "first/drive_db",
    )}  # fmt: skip
    assert [each.label for each in labels.values()] == ["Shout", "Desk gain", "Recorded", "Trim", "First drive"]
    assert [each.name for each in labels.values()] == ["Shout", "Desk gain", "Recorded", "Trim", "First drive"]
    desk = control_of(session, gl.Control("desk/gain_db", label="Desk output", unit="dBu"))
    assert (desk.printed(0.0), desk.printed(4.0)) == ("0.0 dBu", "+4.0 dBu")


def test_every_setting_that_can_stand_on_a_bench_goes_to_its_ends_and_middle():
    session = every_stage()
    controls = offered(session)
    # What must be among them, typed from the stages' papers: continuous, choices, switches and both rides.
    assert {
        "preamp/gain_db", "preamp/clipping", "converter/alignment", "converter/bits", "converter/dither",
        "compressor/ratio", "compressor/detector", "compressor/linked", "pan/law_db", "fader/muted", "fader/ride",
        "ride/points", "limiter/true_peak", "delivery/target", "delivery/coding", "insert/send",
    } <= set(controls)  # fmt: skip
    bench = gl.bench(session, controls=list(controls), views=["level diagram"])
    for path, control in controls.items():
        for value in ends_and_middle(control):
            bench.move(path, value)
            assert bench.values[path] == value, path
            assert bench.panel.inputs[path].value == (
                [list(each) for each in value] if isinstance(control, Breakpoints) else value
            )
            assert not math.isnan(bench.rendering.levels[-1].peak_dbfs), path
        bench.reset()
    bench.close()


def test_a_choice_is_picked_by_its_words():
    bench = gl.bench(every_stage(), controls=["converter/alignment", "converter/bits", "pan/law_db", "fader/muted"])
    inputs = bench.panel.inputs
    assert inputs["converter/alignment"].options == [
        "+15 dBu",
        "+18 dBu, EBU R 68",
        "+20 dBu",
        "+22 dBu",
        "+24 dBu, SMPTE RP 155",
    ]
    assert inputs["converter/bits"].options == ["16 bit", "24 bit"]
    assert inputs["pan/law_db"].options == ["−3.0 dB", "−4.5 dB", "−6.0 dB"]
    assert (inputs["fader/muted"].switch, inputs["fader/muted"].name) == (True, "Fader muted")
    inputs["converter/alignment"].chosen = 4
    # SMPTE RP 155 puts 0 dBFS at +24 dBu, EBU R 68 at +18 dBu: the same volts read 6 dB lower.
    assert bench.rendering.level("converter").peak_dbfs == pytest.approx(
        bench.before.level("converter").peak_dbfs - 6, abs=0.01
    )
    inputs["fader/muted"].chosen = 1
    assert bench.rendering.level("fader").peak_dbfs == -math.inf
    bench.undo()
    assert inputs["fader/muted"].chosen == 0
    assert "Fader muted: no" in bench.settings_text()
    bench.close()


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("converter/bits", 12, "converter/bits is 12; give 16 or 24"),
        (
            "converter/alignment",
            "EBU R68",
            "converter/alignment is 'EBU R68'; give '.15 dBu' or 'EBU R 68' or '.20 dBu'",
        ),
        ("fader/muted", 1, "fader/muted is 1; give False or True"),
        ("ride/points", ((0.0, 0.0), (2.0, 0.0)), "ride/points has a point at 2 s; give 0 s to 1.00 s"),
        ("ride/points", ((0.1, 30.0),), "ride/points has a point of \\+30.0 dB; this ride goes from −24.0 dB to"),
        ("ride/points", ((0.5, 0.0), (0.5, 1.0)), "ride/points goes from 0.5 s to 0.5 s; times must rise"),
        ("ride/points", ((math.nan, 0.0),), "ride/points has a point at nan s"),
        ("ride/points", 7, "ride/points is 7; give pairs of seconds and decibels"),
    ],
)
def test_what_cannot_be_chosen_is_refused_in_words(path, value, words):
    bench = gl.bench(every_stage(), controls=["converter/bits", "converter/alignment", "fader/muted", "ride/points"])
    before = bench.values
    with pytest.raises(gl.GainError, match=words):
        bench.move(path, value)
    assert bench.values == before


def test_a_choice_below_zero_is_written_with_a_real_minus_and_picked_all_the_same():
    chain = [gl.OutboardInsert("EBU R 68")]
    bench = gl.bench(gl.Session.of(TAKE, chain), controls=["insert/receive"])
    widget = bench.panel.inputs["insert/receive"]
    assert list(widget.options) == ["+4 dBu", "−10 dBV"]
    widget.chosen = 1
    assert bench.session.setting("insert/receive") == "-10 dBV"
    bench.close()


def test_a_number_without_a_usual_range_has_the_unit_of_its_name():
    session = gl.Session.of(TAKE, [gl.Delivery("EBU R 128", loudness_lufs=-23.0)])
    made = control_of(session, gl.Control("delivery/loudness_lufs", low=-30, high=-9, step=0.5))
    assert made.printed(-16.0) == "−16.0 LUFS"
    assert made.label == "Loudness"


def test_a_ride_is_drawn_in_the_table_and_undone():
    bench = gl.bench(every_stage(), controls=["ride/points"])
    table = bench.panel.inputs["ride/points"]
    assert isinstance(table, RideTable)
    assert (table.points, table.seconds) == ([[0.0, 0.0], [0.5, -6.0]], 1.0)
    # -24 dB in the second half: the peak stays, the last quarter lies 24 dB lower.
    for gain_db in (-7.0, -12.0, -24.0):
        table.set_state({"points": [[0.0, 0.0], [0.5, gain_db]], "stroke": 1})
    part = bench.rendering.at("ride").samples[-RATE_HZ // 4 :]
    earlier = bench.rendering.at("clip gain").samples[-RATE_HZ // 4 :]
    assert 20 * np.log10(np.abs(part).max() / np.abs(earlier).max()) == pytest.approx(-24.0, abs=0.01)
    bench.undo()
    assert table.points == [[0.0, 0.0], [0.5, -6.0]]
    table.set_state({"points": [[0.5, 0.0], [0.2, -6.0]], "stroke": 2})
    assert table.complaint == "ride/points goes from 0.5 s to 0.2 s; times must rise."
    assert table.points == [[0.0, 0.0], [0.5, -6.0]]
    bench.close()


def test_a_setting_without_a_usual_value_stands_among_the_usual_ones():
    session = gl.Session.of(TAKE, [gl.Source(-30.0), gl.Preamp(), gl.Converter(20.0)])
    bits = control_of(session, gl.Control("converter/bits", options=(16,)))
    assert bits.options == (24, 16)  # what it starts at is never left out


def mix():
    chain = (gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68"), gl.Fader())
    strips = (
        Strip("voice", TAKE, chain), Strip("bass", gl.Audio(0.5 * SINE, RATE_HZ), (gl.Trim(), gl.Fader())),
    )  # fmt: skip
    return gl.Session(strips, main=Bus("main", (gl.Trim(),)))


def test_the_strip_that_is_shown_is_chosen_and_its_controls_stand_below_it():
    diagram = LevelDiagram()
    bench = gl.bench(
        mix(), controls=["voice/preamp/gain_db", "bass/trim/gain_db", "main/trim/gain_db"], views=[diagram]
    )
    panel = bench.panel
    chooser = panel.chooser
    assert isinstance(chooser, PickInput)
    assert (chooser.options, chooser.value) == (["voice", "bass"], "voice")
    gain, trim = panel.inputs["voice/preamp/gain_db"], panel.inputs["bass/trim/gain_db"]
    assert gain in panel.below.children[0].children
    assert trim in panel.beside.children
    assert (gain.label, trim.label) == ("Preamp gain", "Bass, trim")
    earlier = panel.pictures[0].spec
    chooser.chosen = 1
    assert bench.strip == "bass"
    assert trim in panel.below.children[0].children
    assert gain in panel.beside.children
    assert (gain.label, trim.label) == ("Voice, preamp gain", "Trim")
    assert panel.pictures[0].spec != earlier
    assert panel.pictures[0].columns["stages"]["text"][:2] == ["Trim", "Fader"]
    assert diagram.strip is None  # the view that was given is not changed
    gain.value = 40.0
    assert panel.pictures[0].columns["stages"]["text"][:2] == ["Trim", "Fader"]
    with pytest.raises(gl.GainError, match="the session has no strip 'bas'; did you mean bass"):
        bench.show("bas")
    bench.close()


def test_without_a_level_diagram_a_control_of_one_of_several_strips_says_whose_it_is():
    shown = gl.bench(mix(), controls=["voice/fader/gain_db", "bass/fader/gain_db"], views=["balance"]).panel
    assert [each.label for each in shown.inputs.values()] == ["Voice, fader", "Bass, fader"]


def test_one_strip_needs_no_chooser():
    bench = gl.bench(every_stage(), controls=["trim/gain_db"])
    assert bench.panel.chooser is None
    bench.close()


def test_every_stage_was_in_the_chain():
    import gainlib.stages as room

    kinds = {each for each in vars(room).values() if isinstance(each, type) and issubclass(each, Stage)} - {Stage}
    assert {type(each) for each in every_stage().strips[0].stages} == kinds


def test_only_a_faders_slider_has_a_taper():
    inputs = gl.bench(mix(), controls=["bass/fader/gain_db", "bass/trim/gain_db"]).panel.inputs
    assert inputs["bass/fader/gain_db"].marks == [[100.0, 10.0], [50.0, -10.0], [25.0, -30.0], [10.0, -60.0]]
    assert inputs["bass/trim/gain_db"].marks == []


def test_a_pan_says_left_and_right():
    pan = control_of(gl.Session.of(gl.Audio(SINE, RATE_HZ), [gl.Pan()]), "pan/position")
    assert [pan.printed(each) for each in (-0.5, 0.0, 1.0)] == ["left 0.5", "middle", "right 1.0"]
    assert gl.bench(gl.Session.of(gl.Audio(SINE, RATE_HZ), [gl.Pan()]), controls=["pan/position"]).panel.inputs[
        "pan/position"
    ].ends == ["left", "right"]
