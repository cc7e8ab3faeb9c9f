"""What the lesson "Align the outboard" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import math

import pytest

import gainlib as gl
from gainlib import decibels

LESSON = "14-align-outboard"


@pytest.fixture(scope="module")
def session():
    take = gl.read("media/lead-voice.flac").between(0, 9.4)
    loop = gl.OutboardInsert("EBU R 68", send="+4 dBu", receive="-10 dBV", device_noise_dbu=-55)
    return gl.Session.of(take, [gl.Trim(), loop, gl.Fader()], name="voice")


def noisy(session, **gains):
    changes = {"insert/receive": "+4 dBu", "insert/device_noise_dbu": -40}
    return session.replaced(changes | {f"{stage}/gain_db": gain for stage, gain in gains.items()}).render()


def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.OutboardInsert("EBU R 68", send="+4 dBu", receive="-10 dBV", device_noise_dbu=-55)' in text
    assert '{"insert/receive": "+4 dBu", "insert/device_noise_dbu": -40}' in text


def test_the_voice_comes_back_11_8_db_louder(session):
    """Read: "From there to +4 dBu it is 11.8 dB."; "put −11.8 dB into the return"."""
    rendering = session.render()
    step = rendering.level("insert").peak_dbfs - rendering.level("trim").peak_dbfs
    assert step == pytest.approx(11.8, abs=0.05)
    mended = session.replaced({"insert/return_gain_db": -11.8}).render()
    assert mended.level("insert").peak_dbfs == pytest.approx(rendering.level("trim").peak_dbfs, abs=0.05)


def test_minus_10_dbv_is_0_316_volts_and_minus_7_8_dbu():
    """Read: "−10 dBV is 0.316 volts, and that is −7.8 dBu"; set-up: "0 dBu is 0.775 volts"."""
    assert decibels.volts_from_dbv(-10) == pytest.approx(0.316, abs=0.0005)
    assert decibels.dbu_from_dbv(-10) == pytest.approx(-7.8, abs=0.05)
    assert decibels.volts_from_dbu(0) == pytest.approx(0.775, abs=0.0005)


def test_both_ends_at_minus_10_dbv_cost_distance_to_the_devices_noise(session):
    """Move: "The step is gone, but look at the dotted line. What did that cost?"."""
    high = session.replaced({"insert/receive": "+4 dBu"}).render().level("insert")
    low = session.replaced({"insert/send": "-10 dBV"}).render().level("insert")
    assert low.peak_dbfs == pytest.approx(high.peak_dbfs, abs=0.05)
    # The device at -55 dBu in 20 kHz, 0.79 dB more in all 24 kHz, 0 dBFS at +18 dBu, beside the hiss of the recording;
    # with both ends 11.8 dB lower its noise comes back 11.8 dB higher.
    own = float(gl.measure("noise_floor_dbfs", session.strips[0].take))
    for level, device in ((high, -72.21), (low, -72.21 + 11.78)):
        expected = 10 * math.log10(10 ** (own / 10) + 10 ** (device / 10))
        assert level.noise_dbfs == pytest.approx(expected, abs=0.05)
    assert low.noise_dbfs - high.noise_dbfs > 6


def test_turning_down_at_the_end_leaves_31_db_and_turning_up_before_gives_39(session):
    """Read: "they stay 31 dB apart"; "Turning up before the device lifts the voice over its noise: 39 dB"."""

    def apart(**gains):
        level = noisy(session, **gains).level("fader")
        return level.rms_dbfs - level.noise_dbfs

    assert apart() == pytest.approx(31, abs=0.5)
    assert apart(fader=-10.0) == pytest.approx(apart(), abs=0.01)
    assert apart(trim=10.0, fader=-10.0) == pytest.approx(39, abs=0.5)


def test_10_db_more_leave_4_db_below_the_ceiling(session):
    """Read: "the voice peaks at −14 dBFS, and 10 dB more leaves 4 dB"."""
    assert noisy(session).level("insert").peak_dbfs == pytest.approx(-14, abs=0.5)
    raised = noisy(session, trim=10.0).level("insert")
    assert raised.headroom_db == pytest.approx(4, abs=0.5)
    assert raised.clipped == 0


def test_full_scale_is_18_db_above_the_alignment_level():
    """Predict: "alignment level 0 dBu = −18 dBFS"; Read: "Full scale is 18 dB above it", "+4 dBu = −20 dBFS"."""
    assert decibels.EBU_R68.dbfs_from_dbu(0) == -18
    assert decibels.SMPTE_RP155.dbfs_from_dbu(4) == -20


# Printed in NIOSH 98-126, table 1-1 (published), minutes.
@pytest.mark.parametrize(
    ("level_dba", "minutes"), [(82, 960), (85, 480), (88, 240), (91, 120), (94, 60), (97, 30), (100, 15)]
)
def test_hours_at_a_level_are_those_of_the_printed_table(lesson_text, level_dba, minutes):
    """Read: "At 94 dBA it is one hour, at 100 dBA a quarter of an hour"; the cell's formula."""
    assert "8 / 2 ** ((level_dba - 85) / 3)" in lesson_text(LESSON)
    assert 8 / 2 ** ((level_dba - 85) / 3) * 60 == pytest.approx(minutes)
