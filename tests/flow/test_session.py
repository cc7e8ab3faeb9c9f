"""A session is data; rendering it gives taps, and only what changed is rendered again."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.flow import Rendering, Session, Strip
from gainlib.meters import measure
from gainlib.stages import Converter, Preamp, Source, Trim, stage_kinds

RATE_HZ = 48_000


@pytest.fixture
def session():
    tone = 0.5 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)
    stages = [Source(-30.0, noise_dbfs=-70.0), Preamp(30.0), Converter("EBU R 68"), Trim(-6.0)]
    return Session.of(Audio(tone, RATE_HZ), stages, name="voice")


def test_the_level_diagram_follows_the_arithmetic(session):
    # Peak -6.02 dBFS in the file, 0 dBFS of the file at -30 dBu, +18 dBu at full scale of the converter:
    # source -6.02 - 30 - 18 = -54.02; preamp +30 = -24.02; trim -6 = -30.02 dBFS (derived, on paper).
    levels = {each.stage: each for each in session.render().levels}
    assert [levels[name].peak_dbfs for name in ("source", "preamp", "converter", "trim")] == pytest.approx(
        [-54.02, -24.02, -24.02, -30.02], abs=0.01
    )
    # A sine's AES17 RMS equals its peak.
    assert levels["trim"].rms_dbfs == pytest.approx(-30.02, abs=0.01)
    # Noise: -70 in the recording - 48 = -118 at the source; the preamp's -128 dBu + 0.79 dB (24 kHz) - 18 = -145.2 is
    # far below; +30, -6: -94 behind the trim. The converter's own noise (110 dB A-weighted, so -107.2 dBFS up to
    # 24 kHz) adds 0.05 dB to -88 (powers: 10 log10(1 + 10^-1.92)); the quantiser's -144.5 dB nothing to be seen.
    assert [levels[name].noise_dbfs for name in ("source", "preamp", "trim")] == pytest.approx(
        [-118, -88, -93.95], abs=0.02
    )
    # Ceilings: the preamp's +26 dBu is +8 dBFS of this converter; 0 dBFS behind it; none at the trim.
    assert levels["preamp"].ceiling_dbfs == pytest.approx(8.0, abs=1e-9)
    assert levels["converter"].ceiling_dbfs == pytest.approx(0.0, abs=1e-9)
    assert levels["converter"].headroom_db == pytest.approx(24.02, abs=0.01)
    assert math.isinf(levels["trim"].ceiling_dbfs)


def test_taps_are_audio_and_agree_with_the_table(session):
    rendering = session.render()
    for each in rendering.levels:
        tap = rendering.at(f"{each.strip}/{each.stage}")
        assert measure("peak_dbfs", tap) == pytest.approx(each.peak_dbfs, abs=1e-9)
        assert measure("rms_dbfs", tap) == pytest.approx(each.rms_dbfs, abs=1e-9)
    assert rendering.last_tap == "voice/trim"
    assert rendering.level("trim") == rendering.levels[-1]


def test_only_what_lies_behind_a_moved_control_is_rendered_again(session):
    first = session.render()
    second = session.replaced({"trim/gain_db": -12.0}).render(first)
    for name in ("source", "preamp", "converter"):
        assert second.taps["voice", name] is first.taps["voice", name]
    third = session.replaced({"preamp/gain_db": 31.0}).render(second)
    assert third.taps["voice", "source"] is first.taps["voice", "source"]
    assert third.taps["voice", "converter"] is not first.taps["voice", "converter"]
    for name in ("preamp", "converter", "trim"):  # and what is taken over is what a fresh rendering gives
        fresh = session.replaced({"preamp/gain_db": 31.0}).render().at(name).samples
        assert np.array_equal(third.at(name).samples, fresh)


def test_a_new_alignment_moves_the_analogue_figures_too(session):
    first = session.render()
    second = session.replaced({"converter/alignment": 24.0}).render(first)
    assert second.level("preamp").peak_dbfs == pytest.approx(first.level("preamp").peak_dbfs - 6.0, abs=1e-9)


def test_another_take_is_rendered_from_the_start(session):
    first = session.render()
    louder = session.with_take(Audio(session.strips[0].take.samples * 2, RATE_HZ)).render(first)
    assert louder.level("trim").peak_dbfs == pytest.approx(first.level("trim").peak_dbfs + 6.02, abs=0.01)


def test_turning_the_trim_down_keeps_the_clipped_runs(session):
    hot = session.replaced({"preamp/gain_db": 58.0, "trim/gain_db": 0.0}).render()  # -6.02 - 48 + 58 = +3.98 dBFS
    lowered = hot.session.replaced({"trim/gain_db": -20.0}).render(hot)
    assert len(hot.clipped("converter")) == 2 * 997  # top and bottom of each period
    assert len(lowered.clipped("converter")) == 2 * 997
    assert measure("clipped_runs", lowered.at("trim")) == 0
    assert measure("flat_tops", lowered.at("trim")) == 2 * 997
    assert lowered.level("trim").peak_dbfs == pytest.approx(-20.0, abs=1e-3)


def test_silence_renders_without_a_warning():
    silent = Session.of(Audio(np.zeros(480), RATE_HZ), [Trim()], name="pause").render()
    assert silent.level("trim").peak_dbfs == silent.level("trim").noise_dbfs == -math.inf


def test_settings_are_read_and_replaced_by_their_path(session):
    assert session.setting("voice/preamp/gain_db") == session.setting("preamp/gain_db") == 30.0
    moved = session.replaced({"voice/preamp/gain_db": 41.0, "trim/gain_db": 1.0})
    assert (moved.setting("preamp/gain_db"), moved.setting("trim/gain_db")) == (41.0, 1.0)
    assert session.setting("preamp/gain_db") == 30.0


def tone():
    return Audio(np.zeros(480), RATE_HZ)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda s: s.replaced({"preamp/gian_db": 1}), "voice/preamp has no setting 'gian_db'; did you mean gain_db?"),
        (
            lambda s: s.replaced({"voice/preamb/gain_db": 1}),
            "strip 'voice' has no stage 'preamb'; did you mean preamp?",
        ),
        (lambda s: s.replaced({"voise/preamp/gain_db": 1}), "the session has no strip 'voise'; did you mean voice?"),
        (lambda s: s.render().at("a/b/c"), "'a/b/c' is not a tap; write strip/stage, for example voice/source."),
        (lambda s: s.render().clipped("trim"), "trim cannot clip; ask a stage with a ceiling"),
        (lambda s: Strip("v", tone(), ()), "strip 'v' has no stages; give at least one"),
        (
            lambda s: Strip("v", tone(), (Trim(), Trim())),
            "strip 'v' has two stages named 'trim'; give one of them another",
        ),
        (
            lambda s: Strip("v", tone(), (Preamp(),)),
            "puts the preamp on the converter's digital side; it takes analogue",
        ),
        (
            lambda s: Strip("v", tone(), (Source(), Trim())),
            "puts the trim on the analogue side; it takes digital signal",
        ),
        (
            lambda s: Strip("v", tone(), (Source(),)),
            "ends before a converter; put a Converter after its analogue stages",
        ),
        (lambda s: Session(()), "the session has no strips; give at least one."),
        (
            lambda s: Session((s.strips[0],), main=(Trim(),)),
            "main holds a tuple; give a Bus, such as Bus",
        ),
        (lambda s: Session((s.strips[0],), (Trim(),)), "buses holds a Trim; give a Bus, such as Bus"),
        (lambda s: Session((tone(),)), "strips holds a Audio; give a Strip, such as Strip"),
        (lambda s: Session((s.strips[0], s.strips[0])), "two strips named 'voice'; give one of them another name"),
    ],
)
def test_what_cannot_be_is_told_in_one_sentence(session, call, sentence):
    with pytest.raises(GainError, match=sentence):
        call(session)


def test_the_table_of_readings_names_every_reading_and_every_stage_that_gives_it():
    table = Rendering.reading.__doc__ or ""
    for kind, stage in stage_kinds().items():
        for name in stage.reading_names:
            assert any(f"`{name}`" in row and kind in row for row in table.splitlines()), (kind, name)
