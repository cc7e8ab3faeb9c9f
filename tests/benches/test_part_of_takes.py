"""Long takes on a bench: the loudest half minute first, any other part, all when asked; what is kept is the whole."""

from __future__ import annotations

import re
import tracemalloc

import numpy as np
import pytest
import soundfile

import gainlib as gl
from gainlib.benches.bench_model import BenchModel
from gainlib.errors import GainError
from gainlib.meters.take_noise import take_noise_dbfs

RATE_HZ = 8000
LOUD = 61.0


def take(seconds, begin=LOUD, seed=3):
    samples = 0.01 * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    samples[round(begin * RATE_HZ) : round((begin + 30) * RATE_HZ)] *= 8.0
    return gl.Audio(samples, RATE_HZ, "long")


@pytest.fixture
def long():
    session = gl.Session.of(take(150.0), [gl.Trim(), gl.Compressor(), gl.Fader()], name="voice")
    made = gl.bench(session, controls=["trim/gain_db", "fader/gain_db"])
    yield made
    made.close()


def test_it_opens_on_the_loudest_half_minute(long):
    assert long.part.start == pytest.approx(LOUD, abs=150 / 400)
    assert long.rendering.at("fader").seconds == long.before.at("trim").seconds == 30.0
    assert long.panel.parts.words == "Part of the take: 1:01 to 1:31 of 2:30"
    assert not long.panel.parts.whole


def test_a_part_is_the_whole_there_as_far_as_no_stage_has_a_memory(long):
    long.show_part(20.0).move("trim/gain_db", 3.0)
    whole = long.session.render().at("trim").samples
    assert np.array_equal(long.rendering.at("trim").samples, whole[20 * RATE_HZ : 50 * RATE_HZ])


def test_another_part_is_drawn_heard_and_told(long):
    panel = long.panel
    panel.parts._handle_custom_msg({"kind": "from", "start": 133.0}, None)
    # No part reaches beyond the end: the last begins 30 s before it.
    assert (long.part.start, panel.parts.start) == (120.0, 120.0)
    assert panel.player.seconds == 30.0
    panel.parts._handle_custom_msg({"kind": "loudest"}, None)
    assert long.part.start == pytest.approx(LOUD, abs=150 / 400)


def test_all_is_rendered_with_its_progress_until_something_moves(long):
    told = []
    long.show_part(7.0).move("fader/gain_db", -4.0)
    long.panel.parts.observe(lambda change: told.append(change["new"]), "done")
    long.panel.parts._handle_custom_msg({"kind": "all"}, None)
    assert (long.part, long.rendering.at("fader").seconds, long.before.at("fader").seconds) == (None, 150.0, 150.0)
    assert long.panel.parts.whole
    assert told == sorted(told)
    assert told[-1] == 1.0
    assert len(told) >= 4
    assert long.rendering.level("fader").peak_dbfs == pytest.approx(
        long.before.level("fader").peak_dbfs - 4.0, abs=1e-6
    )
    long.move("fader/gain_db", -6.0)
    assert long.part.start == 7.0
    assert long.rendering.at("fader").seconds == 30.0


ROOM_DBFS = -58.0


def after_the_room(room):
    """A tone that never pauses, loudest at a minute, behind three seconds of what is given as the room."""
    held = 0.1 * np.sin(2 * np.pi * 440 * np.arange(117 * RATE_HZ) / RATE_HZ)
    held[57 * RATE_HZ : 87 * RATE_HZ] *= 3.0
    return gl.Audio(np.concatenate([room, held]), RATE_HZ, "held")


def noise(level_dbfs):
    """White noise of that RMS (AES17), 3 s of it."""
    drawn = np.random.default_rng(5).standard_normal(3 * RATE_HZ)
    return 10 ** (level_dbfs / 20) * drawn / np.sqrt(2 * np.mean(drawn**2))


def test_the_noise_of_the_room_at_a_takes_head_goes_with_each_part_and_with_the_whole():
    """The quietest twentieth of white noise lies 0.5 dB below its level: of 60 windows of 400 samples the lowest three
    are on average two standard deviations down, each the square root of 2/400 of the power (derived: −0.65 dB)."""
    session = gl.Session.of(after_the_room(noise(ROOM_DBFS)), [gl.Trim(), gl.Fader()], name="voice")
    made = gl.bench(session, controls=["trim/gain_db"])
    assert made.part.start == pytest.approx(60.0, abs=120 / 400)
    for show in (lambda: None, lambda: made.show_part(10.0), made.render_all):
        show()
        assert made.rendering.level("trim").noise_dbfs == pytest.approx(ROOM_DBFS - 0.65, abs=0.3)
    made.show_part(10.0).move("trim/gain_db", 6.0)
    assert made.rendering.level("fader").noise_dbfs == pytest.approx(ROOM_DBFS + 6.0 - 0.65, abs=0.3)
    (told,) = re.findall(r"Trim.*?noise floor −(\d+\.\d) dBFS", made.sentences[0])
    assert float(told) == pytest.approx(-ROOM_DBFS - 6.0 + 0.65, abs=0.3)


@pytest.mark.parametrize("head", [np.zeros(3 * RATE_HZ), noise(-25.0)])
def test_a_head_that_is_silent_or_plays_tells_nothing_of_a_room(head):
    session = gl.Session.of(after_the_room(head), [gl.Trim()], name="voice")
    assert take_noise_dbfs(session.strips[0].take) is None
    made = gl.bench(session, controls=["trim/gain_db"])
    for show in (lambda: None, made.render_all):
        show()
        assert made.rendering.level("trim").noise_dbfs == -np.inf


def test_what_is_saved_and_copied_is_of_the_whole(long, tmp_path):
    long.move("trim/gain_db", 2.0)
    saved = gl.Session.load(long.save(tmp_path / "session.toml"))
    assert saved.strips[0].take.seconds == 150.0
    assert saved.setting("trim/gain_db") == 2.0
    assert long.session.strips[0].take.seconds == 150.0


def test_several_takes_are_cut_at_one_place_and_one_that_has_ended_is_silent():
    strips = [gl.Strip("voice", take(150.0), [gl.Fader()]), gl.Strip("count-in", take(10.0, seed=4), [gl.Fader()])]
    made = gl.bench(gl.Session(tuple(strips), main=gl.Bus("main")), controls=["voice/fader/gain_db"])
    assert made.part.start == pytest.approx(LOUD, abs=150 / 400)
    assert made.rendering.level("count-in/fader").peak_dbfs == -np.inf
    assert made.show_part(0.0).rendering.level("count-in/fader").peak_dbfs > -60.0


@pytest.mark.parametrize(
    "made",
    [
        lambda: gl.bench(gl.Session.of(take(59.0, 5.0), [gl.Trim()], name="short")),
        lambda: gl.bench(gl.Session.of(take(90.0), [gl.Ride(points=((1.0, 0.0), (80.0, -6.0)))], name="ridden")),
        lambda: gl.bench(gl.Session.of(take(90.0), [gl.Ride()], name="to ride"), controls=["ride/points"]),
        lambda: gl.bench(gl.Session.of(take(90.0), [gl.ClipGain(((0.0, 1.0, 6.0),))], name="clip gain")),
        lambda: BenchModel(gl.Session.of(take(90.0), [gl.Trim()], name="an exercise")),
    ],
)
def test_short_takes_and_those_with_what_goes_by_the_clock_are_worked_on_whole(made):
    bench = made()
    assert (bench.part, bench.is_long) == (None, False)
    assert bench.rendering.at(bench.listen).seconds == bench.session.strips[0].take.seconds
    with pytest.raises(GainError, match="there is one part, the whole"):
        bench.show_part(3.0)


@pytest.mark.parametrize("start", [-1.0, float("nan"), float("inf"), "7", [3]])
def test_a_part_that_begins_nowhere_is_refused_and_the_page_says_so(long, start):
    with pytest.raises(GainError, match="give the second at which the part begins"):
        long.show_part(start)
    long.panel.parts._handle_custom_msg({"kind": "from", "start": start}, None)
    assert "give the second" in long.panel.parts.complaint
    assert long.part.start == pytest.approx(LOUD, abs=150 / 400)


def test_a_long_file_is_worked_on_in_parts_and_is_never_held_whole(tmp_path):
    """Three minutes of stereo at 48 kHz, written a stretch at a time: 69 MB if they were held."""
    path, rate_hz = tmp_path / "long.wav", 48_000
    with soundfile.SoundFile(path, "w", rate_hz, 2, subtype="PCM_16") as file:
        for second in range(180):
            level = 0.2 if 100 <= second < 130 else 0.02
            file.write(level * np.random.default_rng(second).standard_normal((rate_hz, 2)).clip(-4, 4))
    gl.bench(gl.Session.of(take(150.0), [gl.Trim(), gl.Fader()], name="warm"), controls=["trim/gain_db"]).close()
    tracemalloc.start()
    bench = gl.bench(gl.Session.of(gl.read(path), [gl.Trim(), gl.Fader()], name="voice"), controls=["trim/gain_db"])
    bench.move("trim/gain_db", -3.0).show_part(12.0)
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert held < 50e6
    assert bench.show_part().part.start == pytest.approx(100.0, abs=1.0)
    expected = soundfile.read(path, start=12 * rate_hz, frames=30 * rate_hz)[0]
    assert np.array_equal(bench.show_part(12.0).before.at("trim").samples, expected)
    bench.render_all()
    assert bench.rendering.at("fader").seconds == 180.0
    bench.close()


def test_all_says_what_it_needs_of_memory_where_that_is_much_and_is_refused_where_it_is_too_much(long, monkeypatch):
    assert "memory" not in long.panel.parts.offer
    monkeypatch.setattr(type(long), "all_bytes", 2.34e9)
    long.show_part(3.0)
    assert long.panel.parts.offer.endswith(", 2.3 GB of memory")
    monkeypatch.setattr("gainlib.audio.MOST_BYTES", 1e6)
    monkeypatch.setattr("gainlib.audio.MOST_BYTES_OF_LARGE", 1e6)
    long.panel.parts._handle_custom_msg({"kind": "all"}, None)
    assert re.search(r"all of it would need \d+ MB of memory; .* stay with a part, or use", long.panel.parts.complaint)
    assert long.part.start == 3.0
