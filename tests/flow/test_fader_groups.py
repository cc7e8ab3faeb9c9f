"""A group adds its decibels to the faders of its members, and with them to what is sent behind these."""

from __future__ import annotations

import math

import numpy as np
import pytest

import gainlib as gl
from gainlib.flow import Bus, FaderGroup, Send, Session, Strip
from gainlib.stages import Compressor, Fader, Trim

RATE_HZ = 48_000
TONE = gl.Audio(0.1 * np.sin(2 * np.pi * 1000 * np.arange(RATE_HZ) / RATE_HZ), RATE_HZ)  # -20 dBFS


def mix(groups=(), *, pre_fader=False, fader_db=-5.0, bus_db=0.0):
    strips = (
        Strip("one", TONE, (Fader(fader_db),), "band", (Send("hall", -10.0, pre_fader=pre_fader),)),
        Strip("two", TONE, (Fader(0.0),), "band"),
    )
    return Session(strips, (Bus("band", (Fader(bus_db),)), Bus("hall", (Trim(),))), groups=groups)


def level(session, tap):
    return session.render().level(tap).rms_dbfs


def test_the_decibels_of_two_groups_add_to_the_fader():
    groups = FaderGroup("all", ("one", "two"), -3.0), FaderGroup("first", ("one",), -4.0)
    moved = mix(groups)
    assert level(moved, "one/fader") == pytest.approx(-20.0 - 5.0 - 3.0 - 4.0, abs=1e-9)
    assert level(moved, "two/fader") == pytest.approx(-20.0 - 3.0, abs=1e-9)
    assert moved.setting("one/fader/gain_db") == -5.0  # the member's own fader stays where it stands


# From paper: fader -5 dB, send -10 dB, a tone of -20 dBFS. A group of -6 dB takes a send behind the fader along, a bus
# fader of -6 dB leaves it; before the fader nothing moves it.
@pytest.mark.parametrize(
    ("group_db", "bus_db", "pre_fader", "hall_dbfs"),
    [(-6.0, 0.0, False, -41.0), (0.0, -6.0, False, -35.0), (-6.0, 0.0, True, -30.0), (0.0, -6.0, True, -30.0)],
)
def test_what_a_send_gets(group_db, bus_db, pre_fader, hall_dbfs):
    moved = mix((FaderGroup("all", ("one", "two"), group_db),), pre_fader=pre_fader, bus_db=bus_db)
    assert level(moved, "hall/trim") == pytest.approx(hall_dbfs, abs=1e-9)


def test_a_group_may_lift_a_fader_over_the_end_of_its_travel_and_silence_it():
    assert level(mix((FaderGroup("all", ("one",), 8.0),), fader_db=8.0), "one/fader") == pytest.approx(-4.0)
    assert level(mix((FaderGroup("all", ("one",), -math.inf),)), "one/fader") == -math.inf


def test_a_bus_compressor_hears_a_group_and_not_the_bus_fader():
    def reduction(group_db, bus_db):
        strip = Strip("one", TONE, (Fader(),), "band")
        band = Bus("band", (Compressor(threshold_db=-40.0, ratio=4.0, knee_db=0.0), Fader(bus_db)))
        session = Session((strip,), (band,), groups=(FaderGroup("all", ("one",), group_db),))
        return session.render().reading("band/compressor", "gain_reduction_db")

    assert reduction(0.0, -6.0) == reduction(0.0, 0.0)
    assert reduction(0.0, 0.0) - reduction(-6.0, 0.0) == pytest.approx(
        6.0 * 3 / 4, abs=0.15
    )  # the peak detector falls a little between the tops of the tone


def test_a_group_is_moved_by_its_path_and_only_its_members_are_rendered_anew():
    session = mix((FaderGroup("low", ("two",)),))
    before = session.render()
    after = session.replaced({"low/group/gain_db": -6.0}).render(after=before)
    assert after.session.setting("low/group/gain_db") == -6.0
    assert after.taps["one", "fader"] is before.taps["one", "fader"]
    assert after.level("two/fader").rms_dbfs == pytest.approx(-26.0, abs=1e-9)
    bench = gl.bench(session, controls=["low/group/gain_db", "one/send to hall/gain_db", "one/send to hall/pre_fader"])
    assert [each.label for each in bench.panel.inputs.values()] == [
        "Low, group fader", "One, send to hall", "One, send to hall, before the fader"
    ]  # fmt: skip
    bench.move("low/group/gain_db", -6.0).move("one/send to hall/pre_fader", True)
    assert bench.rendering.level("two/fader").rms_dbfs == pytest.approx(-26.0, abs=1e-9)
    assert bench.rendering.level("hall/trim").rms_dbfs == pytest.approx(-30.0, abs=1e-9)
    bench.close()


def test_a_session_file_has_its_groups(tmp_path):
    session = mix((FaderGroup("all", ("one", "two"), -3.0),))
    again = Session.load(session.save(tmp_path / "session.toml"))
    assert again.groups == session.groups
    assert level(again, "band/fader") == pytest.approx(level(session, "band/fader"), abs=1e-9)


@pytest.mark.parametrize(
    ("group", "sentence"),
    [
        (("all", ("won",)), "group 'all' has a member 'won'; did you mean"),
        (("hall", ("one",)), "the name of group 'hall' is taken already"),
        (("all", ("hall",)), "group 'all' moves the fader of 'hall', which has not just one"),
        (("all", ()), "group 'all' has the members"),
        (("all", ("one",), math.nan), "gain_db of the group 'all' is nan"),
        (("a/b", ("one",)), "needs a name without a slash"),
    ],
)
def test_a_group_that_cannot_be_is_refused_in_words(group, sentence):
    with pytest.raises(gl.GainError, match=sentence):
        mix((FaderGroup(*group),))


def test_a_fault_in_a_file_is_told_with_its_group(tmp_path):
    file = mix((FaderGroup("all", ("one",), -3.0),)).save(tmp_path / "session.toml")
    file.write_text(file.read_text().replace('members = ["one"]', 'members = ["one", "one"]'))
    with pytest.raises(gl.GainError, match="group 'all' has the members"):
        Session.load(file)
