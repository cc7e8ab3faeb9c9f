"""What a session takes of memory is told before anything is read, and is what it then takes at the most."""

from __future__ import annotations

import tracemalloc

import numpy as np
import psutil
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.flow import Bus, Session, Strip
from gainlib.flow.needs import Extent, extents_of, needed_bytes, require_room
from gainlib.sound_file import write
from gainlib.stages import Compressor, Converter, Fader, Limiter, Pan, Preamp, SoftClip, Source, Trim

RATE_HZ = 48_000


def loud(seconds: float, channels: int = 1) -> Audio:
    """Noise that clips wherever it can."""
    samples = np.random.default_rng(1).uniform(-1, 1, (round(seconds * RATE_HZ), channels))
    return Audio(samples.astype(np.float32), RATE_HZ, "noise")


def mixed(seconds: float) -> Session:
    strips = [
        Strip(
            name,
            loud(seconds),
            (Source(0), Preamp(20.0), Converter(18.0), Compressor(-30.0), Fader(), Pan()),
            to="band",
        )
        for name in "abc"
    ]
    return Session((*strips, Strip("d", loud(seconds, 2), (Trim(), Limiter(-12.0)))), (Bus("band", (SoftClip(),)),))


SESSIONS = {
    "a trim": Session.of(loud(5.0), [Trim()]),
    "clipped again and again": Session.of(
        loud(5.0), [Trim(20.0), *(SoftClip(float(-each), name=f"{each}") for each in range(3, 9))]
    ),
    "stereo under a limiter": Session.of(loud(5.0, 2), [Trim(), Compressor(-30.0), Limiter(-20.0)]),
    "mono limited on the curve": Session.of(loud(5.0), [Limiter(-20.0, true_peak=True)]),
    "a mix": mixed(3.0),
}


@pytest.mark.parametrize("name", SESSIONS)
def test_a_rendering_takes_at_most_what_was_told_and_not_far_less(name: str) -> None:
    session = SESSIONS[name]
    told = needed_bytes(session.channels, extents_of(session.strips))
    takes = sum(each.take.samples.nbytes for each in session.strips)
    session.render()  # loops are compiled
    tracemalloc.start()
    rendering = session.render()
    at = rendering.at(rendering.last_tap)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len(at.samples) > 0
    assert peak + takes <= told <= 4.0 * (peak + takes)


def test_what_is_held_counts_for_each_rendering_and_a_take_of_several_strips_once() -> None:
    stages = (Converter(18.0), Compressor(), Fader())
    # Silence stands for the takes: how long they are is told by their extents alone.
    strips = tuple(Strip(name, Audio(np.zeros(10), RATE_HZ), (Source(0), *stages)) for name in "ab")
    session = Session(strips)
    extents = {name: Extent(1_000_000, 1, 4_000_000, "song.wav") for name in "ab"}
    one, two = (needed_bytes(session.channels, extents, renderings=count) for count in (1, 2))
    # A strip holds 4 bytes behind the converter and 8 behind the compressor; where the converter clips takes 6.
    assert two - one == 2 * 18_000_000
    apart = {name: Extent(1_000_000, 1, 4_000_000, name) for name in "ab"}
    assert needed_bytes(session.channels, apart) - one == 4_000_000


def test_five_minutes_of_stereo_at_96_khz_pass_on_a_bench_where_there_is_room(monkeypatch) -> None:
    session = Session.of(Audio(np.zeros((10, 2)), 96_000), [Trim(), Compressor(), Fader(), Limiter()], name="take")
    frames = 300 * 96_000
    extents = {"take": Extent(frames, 2, frames * 8, "take.wav", float("inf"))}

    def free(count: float) -> None:
        monkeypatch.setattr(psutil, "virtual_memory", lambda: type("Memory", (), {"available": count}))

    free(16e9)
    require_room(session.channels, extents, "this session", "take a part")
    free(2e9)
    with pytest.raises(GainError, match=r"this session would need 4.\d GB of memory; 2 GB are free: take a part."):
        require_room(session.channels, extents, "this session", "take a part")


def test_a_session_of_hours_is_not_even_begun(monkeypatch) -> None:
    take = Audio(np.zeros(10), RATE_HZ)
    hours = np.broadcast_to(np.float32(0.0), (20 * 3600 * RATE_HZ, 2))  # that takes four bytes
    object.__setattr__(take, "samples", hours)
    with pytest.raises(
        GainError, match=r"this session would need \d+ GB .+ such as gl.read\(path, seconds=\(0, 60\)\), or"
    ):
        Session.of(take, [Trim(), Compressor()]).render()


def test_a_session_file_says_what_it_would_need_before_a_take_is_read(tmp_path, long_flac) -> None:
    long_flac(tmp_path / "long.flac", channels=8, rate_hz=192_000, seconds=1700)
    file = tmp_path / "session.toml"
    file.write_text('strips = [ { name = "a", take = "long.flac", stages = [ { stage = "Trim" } ] } ]')
    with pytest.raises(
        GainError, match=r"session.toml would need \d+ GB of memory; at most 800 MB are taken: shorten its"
    ):
        Session.load(file)
    stages = ", ".join(f'{{ stage = "Compressor", name = "c{each}" }}' for each in range(31))
    signal = '{ wave = "noise", seconds = 60 }'
    strips = [f'{{ name = "s{each}", signal = {signal}, stages = [ {stages} ] }}' for each in range(16)]
    file.write_text(f"strips = [ {', '.join(strips)} ]")
    # 16 x 31 x 60 s x 48 kHz x 8 bytes: 11.4 GB behind the compressors alone.
    with pytest.raises(GainError, match=r"session.toml would need 12 GB of memory"):
        Session.load(file)


def test_a_session_of_large_files_is_read_though_a_small_one_would_not_be(tmp_path) -> None:
    write(tmp_path / "a.wav", loud(5.0))
    file = tmp_path / "session.toml"
    file.write_text('strips = [ { name = "a", take = "a.wav", stages = [ { stage = "Trim" } ] } ]')
    assert Session.load(file).strips[0].take.seconds == 5.0
