"""What the player sends: before and after at one loudness, any tap, a bounded part of a long take."""

from __future__ import annotations

import math

import numpy as np
import pytest

import gainlib as gl
from gainlib.benches.bench_panel import Bench
from gainlib.flow import Bus, Strip
from gainlib.widgets.listening import LONGEST_SECONDS, level_heard

RATE_HZ = 48_000
RNG = np.random.default_rng(5)


class Sent(list):
    """What a player sends to the page, in place of the page."""

    def __call__(self, content, buffers=None):
        self.append((content, buffers))


def player_of(bench):
    made = bench.panel.player
    made.send = Sent()
    return made


def asked(player, **content):
    player._handle_custom_msg(content, None)


def codes_of(message):
    content, buffers = message
    return np.frombuffer(buffers[0], dtype="<i2").reshape(content["channels"], content["length"]).T / 32767


def bench_of(samples, rate_hz=RATE_HZ, **given):
    chain = [gl.Trim(), gl.Compressor(-30.0, 4.0, makeup_db=0.0), gl.Fader()]
    session = gl.Session.of(gl.Audio(samples, rate_hz), chain, name="voice")
    return gl.bench(session, controls=["trim/gain_db", "compressor/threshold_db", "fader/gain_db"], **given)


def noise(seconds):
    """Noise whose second half is louder and duller, so that RMS and loudness part."""
    count = round(seconds * RATE_HZ)
    white = RNG.standard_normal(count)
    dull = np.cumsum(white) * 0.02
    return np.concatenate([0.05 * white[: count // 2], 0.3 * np.tanh(dull[count // 2 :])])


def test_before_and_after_sound_equally_loud():
    pyebur128 = pytest.importorskip("pyebur128")
    bench = bench_of(noise(6.0))
    player = player_of(bench)
    bench.move("compressor/threshold_db", -45.0).move("fader/gain_db", 6.0)
    asked(player, kind="want", slot="before")
    asked(player, kind="want", slot="after")
    heard = []
    for message in player.send:
        content, _ = message
        gain = 10 ** (content["gains"][content["slot"]] / 20)
        # Measured by another library, on what the page is sent.
        meter = pyebur128.R128State(1, RATE_HZ, pyebur128.MeasurementMode.MODE_I)
        meter.add_frames(np.ascontiguousarray(codes_of(message)[:, 0] * gain, dtype=np.float64), content["length"])
        heard.append(pyebur128.get_loudness_global(meter))
    assert abs(heard[0] - heard[1]) < 0.2
    assert max(player.gains.values()) == 0.0
    assert min(player.gains.values()) < -1.0  # they were not equally loud before
    assert "(loudness)" in player.matched
    bench.close()


def test_what_is_too_short_for_loudness_is_matched_by_rms_and_that_is_said():
    bench = bench_of(0.1 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ // 5) / RATE_HZ))
    bench.move("compressor/threshold_db", 0.0)
    player = player_of(bench.move("fader/gain_db", -6.0))
    player.match()
    assert player.matched.endswith("(RMS, AES17: too short for loudness)")
    bench.close()


def test_silence_is_left_alone():
    bench = bench_of(np.zeros(RATE_HZ))
    player = player_of(bench.move("fader/gain_db", -6.0))
    player.match()
    assert player.gains == {"before": 0.0, "after": 0.0}
    assert level_heard(np.zeros((RATE_HZ, 1)), RATE_HZ).level == -math.inf
    bench.close()


def test_a_drag_that_nobody_hears_measures_nothing_until_it_has_ended(monkeypatch):
    bench = bench_of(noise(1.0))
    player = player_of(bench)
    measured = []
    monkeypatch.setattr("gainlib.widgets.player.level_heard", lambda *given: measured.append(1) or level_heard(*given))
    for gain_db in range(-10, 0):
        bench.move("trim/gain_db", float(gain_db))
    assert measured == []
    assert player.moves >= 10
    asked(player, kind="ended")
    asked(player, kind="ended")
    assert len(measured) == 2  # before and after, once
    assert player.send == []
    bench.close()


def test_a_tap_is_heard_alone():
    bench = bench_of(noise(1.0))
    player = player_of(bench)
    assert player.taps == ["voice/trim", "voice/compressor", "voice/fader"]
    assert player.tap == "voice/fader"
    bench.move("fader/gain_db", -20.0)
    asked(player, kind="tap", tap="voice/trim")
    assert bench.listen == "voice/trim"
    asked(player, kind="want", slot="after")
    assert player.send[-1][0]["tap"] == "voice/trim"
    assert np.abs(codes_of(player.send[-1]) - noise_free(bench, "trim")).max() <= 0.5 / 32767 + 1e-9
    asked(player, kind="tap", tap="voice/nothing")
    assert bench.listen == "voice/trim"
    with pytest.raises(gl.GainError, match="strip 'voice' has no stage 'fade'; did you mean fader"):
        bench.hear("voice/fade")
    bench.close()


def noise_free(bench, tap):
    return np.clip(bench.rendering.at(tap).samples.reshape(-1, 1), -1, 1)


def test_while_it_sounds_a_chosen_tap_is_sent_at_once():
    bench = bench_of(noise(1.0))
    player = player_of(bench)
    asked(player, kind="sounding", now=True)
    bench.hear("trim")
    assert [content["tap"] for content, _ in player.send if content["kind"] == "samples"] == ["voice/trim"]
    bench.close()


def test_of_a_long_take_a_minute_is_sent_and_the_part_moves_where_it_is_wanted():
    rate_hz = 8000
    ramp = np.linspace(0.0, 0.9, 150 * rate_hz)
    session = gl.Session.of(gl.Audio(ramp, rate_hz), [gl.Trim()], name="voice")
    bench = Bench(session, controls=["trim/gain_db"])  # whole, as an exercise has it
    player = player_of(bench)
    asked(player, kind="want", slot="after")
    content = player.send[-1][0]
    assert (content["length"], content["start"]) == (LONGEST_SECONDS * rate_hz, 0.0)
    assert (player.seconds, player.longest) == (150.0, 60.0)
    for wanted, start in ((100.0, 90.0), (75.5, 74.5), (0.2, 0.0)):
        asked(player, kind="from", seconds=wanted)
        asked(player, kind="want", slot="after")
        content, _ = player.send[-1]
        assert (content["kind"], content["start"]) == ("samples", start)
        first = codes_of(player.send[-1])[0, 0]
        assert first == pytest.approx(0.9 * start / 150, abs=1e-3)
    for wrong in (-1.0, 151.0, "10", None):
        asked(player, kind="from", seconds=wrong)
    assert player.start == 0.0
    bench.close()


def test_sixty_decibels_too_much_and_no_numbers_stay_under_the_ceiling():
    samples = noise(1.0)
    bench = bench_of(samples)
    player = player_of(bench)
    bench.move("fader/gain_db", 10.0).move("trim/gain_db", 24.0)
    loud = bench.rendering.at("fader").samples * 1000.0
    loud[1000:1100] = np.nan
    broken = gl.Audio(np.ones(10), RATE_HZ)
    object.__setattr__(broken, "samples", loud)
    player._renderings["after"] = type("Broken", (), {"at": lambda self, tap: broken})()
    asked(player, kind="want", slot="after")
    codes = codes_of(player.send[-1])
    assert np.abs(codes).max() <= 1.0
    assert (codes[1000:1100] == 0).all()
    assert all(gain_db <= 0.0 for gain_db in player.gains.values())
    bench.close()


def test_every_tap_of_every_strip_can_be_heard_whatever_is_drawn():
    take = gl.Audio(0.1 * noise(0.5), RATE_HZ)
    strips = (Strip("voice", take, (gl.Trim(),), to="band"), Strip("bass", take, (gl.Trim(), gl.Fader()), to="band"))
    session = gl.Session(strips, (Bus("band", (gl.Fader(),)),), Bus("main", (gl.Trim(),)))
    for drawn in ("level diagram", "balance", "sum"):
        bench = gl.bench(session, views=[drawn])
        player = player_of(bench)
        assert player.taps == [
            "voice/trim", "bass/trim", "bass/fader", "band/sum", "band/fader", "main/sum", "main/trim"
        ]  # fmt: skip
        asked(player, kind="tap", tap="bass/trim")
        asked(player, kind="want", slot="after")
        assert np.abs(codes_of(player.send[-1])[:, 0] - take.samples[:, 0]).max() <= 0.5 / 32767 + 1e-9
        bench.close()


SEVERAL = [
    "meters/loudest-of-four", "levels/out-of-line", "trims/one-range", "rides/even-dialogue", "rides/tame-which-word"
]  # fmt: skip


@pytest.mark.parametrize("name", SEVERAL)
def test_an_exercise_with_several_strips_lets_each_be_heard(name):
    opened = gl.exercise(name)
    ends = {f"{each.name}/{each.stages[-1].name}" for each in opened.bench.session.strips}
    assert len(ends) > 1
    assert ends <= set(opened.bench.panel.player.taps)
    opened.close()


def test_of_before_and_after_only_what_moved_is_measured_again(monkeypatch):
    import gainlib.widgets.player as room

    read = []
    level = room.level_heard
    monkeypatch.setattr(room, "level_heard", lambda *given: read.append(1) or level(*given))
    bench = bench_of(noise(1.0))
    player = player_of(bench)
    for step in (1.0, 2.0, 3.0):
        bench.move("fader/gain_db", step)
        asked(player, kind="want", slot="after")
        assert player.gains["after"] == pytest.approx(-step, abs=0.01)
        asked(player, kind="arrived")
    assert len(read) == 1 + 3  # before once, after each time
    bench.close()


def test_what_is_about_to_be_heard_of_a_move_is_sent_first_and_all_of_it_when_nothing_newer_came(monkeypatch):
    now = [100.0]
    monkeypatch.setattr("gainlib.widgets.player.time.monotonic", lambda: now[0])
    ramp = np.linspace(0.1, 0.4, 4 * RATE_HZ)
    session = gl.Session.of(gl.Audio(ramp, RATE_HZ), [gl.Trim(), gl.Fader()], name="voice")
    bench = gl.bench(session, controls=["trim/gain_db"], views=[])
    player = player_of(bench)
    asked(player, kind="want", slot="after")
    asked(player, kind="sounding", now=True, at=None)
    asked(player, kind="arrived", slot="after", at=3.0)
    now[0] += 0.5
    player.send.clear()
    bench.move("trim/gain_db", -6.0)
    bench.move("trim/gain_db", -12.0)  # while the first is under way
    (part,) = player.send
    content, _ = part
    # A second and a half from a little before 3.5 s, round the end of the loop.
    assert (content["whole"], content["length"]) == (len(ramp), 72_000)
    assert content["first"] == pytest.approx(3.35 * RATE_HZ, abs=2)
    places = (content["first"] + np.arange(72_000)) % len(ramp)
    assert np.abs(codes_of(part)[:, 0] - ramp[places] * 10 ** (-6 / 20)).max() < 1e-4
    assert "gains" not in content  # nothing was measured for it
    asked(player, kind="arrived", slot="after", at=3.6)
    assert [each["length"] for each, _ in player.send] == [72_000, 72_000]
    asked(player, kind="arrived", slot="after", at=3.7)
    assert [each["length"] for each, _ in player.send] == [72_000, 72_000, len(ramp)]
    assert player.send[-1][0]["gains"]["before"] == pytest.approx(-12.0, abs=0.1)
    assert np.abs(codes_of(player.send[-1])[:, 0] - ramp * 10 ** (-12 / 20)).max() < 1e-4
    asked(player, kind="arrived", slot="after", at=3.8)
    assert len(player.send) == 3
    # A page that holds nothing of it, as after a leap to another stage, gets all of it.
    bench.hear("trim")
    assert player.send[-1][0]["length"] == len(ramp)
    bench.close()


def test_a_bench_can_open_with_each_version_at_its_own_level():
    for matched in (True, False):
        bench = gl.bench(gl.Session.of(gl.Audio(noise(1.0), RATE_HZ), [gl.Trim()], name="voice"), ["trim/gain_db"],
                         matched=matched)  # fmt: skip
        player = bench.panel.player
        assert (player.opens_matched, player.matching) == (matched, True)  # it can be taken on and off
        bench.close()


def test_in_mono_the_page_is_sent_the_mean_of_both_sides_and_told_what_it_costs():
    left, right = 0.1 * np.ones(RATE_HZ), -0.04 * np.ones(RATE_HZ)
    session = gl.Session.of(gl.Audio(np.stack([left, right], axis=1), RATE_HZ), [gl.Trim()], name="pair")
    bench = gl.bench(session, controls=["trim/gain_db"])
    player = player_of(bench)
    assert player.stereo
    asked(player, kind="want", slot="after")
    player.mono = True
    asked(player, kind="want", slot="after")
    before, after = (codes_of(each) for each in player.send if each[0]["kind"] == "samples")
    assert after == pytest.approx(np.full((RATE_HZ, 2), 0.03), abs=1e-4)
    assert before[0] == pytest.approx([0.1, -0.04], abs=1e-4)
    # 2 x 0.03^2 against 0.1^2 + 0.04^2: -8.1 dB
    assert player.fold == "mono: 8.1 dB softer than in stereo"
    assert bench.rendering.at("trim").channels == 2
    player.mono = False
    asked(player, kind="want", slot="after")
    assert codes_of(player.send[-1]) == pytest.approx(before)
    assert player.fold == ""
    bench.close()


def test_a_mono_stage_cannot_be_folded():
    assert not player_of(bench_of(noise(1.0))).stereo


def test_six_channels_are_heard_on_two_and_no_louder_than_one_of_them_can_be():
    # Left, right, centre, low, left behind, right behind, all at full scale: a browser would add three to each side.
    loud = np.ones((RATE_HZ // 2, 6)) * [1.0, -1.0, 1.0, 1.0, 1.0, -1.0]
    bench = gl.bench(gl.Session.of(gl.Audio(loud, RATE_HZ), [gl.Trim()], name="film"), views=[])
    player = player_of(bench)
    asked(player, kind="want", slot="after")
    (sent,) = player.send
    assert sent[0]["channels"] == 2
    heard = codes_of(sent)
    assert np.abs(heard).max() <= 1.0
    # Derived: the mean of 1, 1, 1 on the left, of -1, 1, -1 on the right; the low channel is left out.
    assert heard[100] == pytest.approx([1.0, -1 / 3], abs=1e-4)
    assert player.stereo
    bench.close()
