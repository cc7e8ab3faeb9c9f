"""How fast the stages and a whole session are, as ratios within one run: python tests/benchmarks/bench_stages.py.

Beside gainlib runs a C++ effects library from the package registry (pip install pedalboard), on the same samples in
the same process, by turns, so that a busy machine slows both. Each figure is the median of the rounds' ratios.
"""

from __future__ import annotations

import argparse
import statistics
import time
import tracemalloc
from collections.abc import Callable

import numpy as np

from gainlib.audio import Audio
from gainlib.flow import Bus, Session, Strip
from gainlib.stages import Compressor, Fader, Limiter, Pan, Saturation, Signal, Trim

RATE_HZ = 48_000


def stem(seconds: float, channels: int, number: int) -> np.ndarray:
    """Noise in phrases: loud enough to be compressed, with pauses."""
    count = round(seconds * RATE_HZ)
    swell = 0.5 + 0.5 * np.sin(2 * np.pi * np.arange(count) / RATE_HZ * (0.3 + 0.07 * number))
    return 0.15 * np.random.default_rng(number).standard_normal((count, channels)) * swell[:, None]


def session(strips: int, seconds: float, channels: int = 1) -> Session:
    """Strips of trim, compressor, fader and pan, into two buses with saturation at 4x, into compressor and limiter."""
    made = [
        Strip(
            f"stem {number}",
            Audio(stem(seconds, channels, number), RATE_HZ),
            (Trim(3.0), Compressor(-20.0, 4.0, 0.0, 5.0, 100.0), Fader(-2.0), Pan((number % 5 - 2) / 2)),
            to="low" if number % 2 else "high",
        )
        for number in range(strips)
    ]
    buses = (Bus("low", (Saturation(4.0, 6.0),)), Bus("high", (Saturation(4.0, 6.0),)))
    assert all(bus.stages[0].oversampling(RATE_HZ) == 4 for bus in buses)
    main = Bus("main", (Compressor(-12.0, 2.0, 0.0, 30.0, 200.0, makeup_db=9.0), Limiter(-1.0, 2.0, 100.0)))
    return Session(tuple(made), buses, main)


def other_session(stems: list[np.ndarray], resampler: str) -> Callable[[], np.ndarray]:
    """The same chain in the C++ library: gain, compressor, gain; pan and sums in numpy; distortion at 4x; limiter.

    Its limiter knows no true peak, and its resampler comes in qualities: "WindowedSinc32" is its own choice,
    "WindowedSinc8" the cheapest that is a low-pass at all.
    """
    from pedalboard import Compressor as OtherCompressor
    from pedalboard import Distortion, Gain, Pedalboard, Resample
    from pedalboard import Limiter as OtherLimiter
    from pedalboard.io import StreamResampler

    quality = Resample.Quality.__members__[resampler]
    inputs = [np.ascontiguousarray(each.T, dtype=np.float32) for each in stems]

    def saturated(bus: np.ndarray) -> np.ndarray:
        up = StreamResampler(RATE_HZ, 4 * RATE_HZ, bus.shape[0], quality)
        down = StreamResampler(4 * RATE_HZ, RATE_HZ, bus.shape[0], quality)
        fine = np.concatenate([up.process(bus), up.process(None)], axis=1)
        fine = Distortion(4.0)(fine, 4 * RATE_HZ)
        return np.concatenate([down.process(fine), down.process(None)], axis=1)

    def run() -> np.ndarray:
        buses = [np.zeros((2, inputs[0].shape[1]), dtype=np.float32) for _ in range(2)]
        for number, each in enumerate(inputs):
            board = Pedalboard([Gain(3.0), OtherCompressor(-20.0, 4.0, 5.0, 100.0), Gain(-2.0)])
            out = board(each, RATE_HZ, reset=True)
            angle = np.pi / 4 * ((number % 5 - 2) / 2 + 1)
            buses[1 - number % 2] += np.array([[np.cos(angle)], [np.sin(angle)]], dtype=np.float32) * out
        mixed = [saturated(bus) for bus in buses]
        count = min(each.shape[1] for each in mixed)
        main = Pedalboard([OtherCompressor(-12.0, 2.0, 30.0, 200.0), Gain(9.0), OtherLimiter(-1.0, 100.0)])
        return main(mixed[0][:, :count] + mixed[1][:, :count], RATE_HZ, reset=True)

    return run


def seconds_of(work: Callable[[], object]) -> float:
    """How long it takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def median_seconds(work: Callable[[], object], rounds: int) -> float:
    """The median of some turns, after one to warm up."""
    work()
    return statistics.median(seconds_of(work) for _ in range(rounds))


def ratio(one: Callable[[], object], other: Callable[[], object], rounds: int) -> tuple[float, float, float]:
    """Median seconds of both, and the median of other/one, by turns after one turn to warm up."""
    one(), other()
    pairs = [(seconds_of(one), seconds_of(other)) for _ in range(rounds)]
    return (
        statistics.median(first for first, _ in pairs),
        statistics.median(second for _, second in pairs),
        statistics.median(second / first for first, second in pairs),
    )


def compressor_figures(rounds: int) -> None:
    """The compressor on 12 s of stereo."""
    from pedalboard import Compressor as OtherCompressor

    samples = stem(12.0, 2, 1)
    signal = Signal(samples, RATE_HZ, 0.0, "digital")
    stage = Compressor(-20.0, 4.0, 0.0, 5.0, 100.0)
    narrow = np.ascontiguousarray(samples.T, dtype=np.float32)
    other = OtherCompressor(-20.0, 4.0, 5.0, 100.0)
    mine, its, faster = ratio(lambda: stage.process(signal), lambda: other(narrow, RATE_HZ, reset=True), rounds)
    print(f"compressor, 12 s stereo: {1e3 * mine:.1f} ms, C++ {1e3 * its:.1f} ms: {faster:.2f}x faster (wanted 1.5)")


def session_figures(rounds: int) -> None:
    """A whole session of eight strips of 19 s, and a change of its last stage."""
    made = session(8, 19.0)
    stems = [np.asarray(strip.take.samples) for strip in made.strips]
    for resampler in ("WindowedSinc32", "WindowedSinc8"):
        mine, its, faster = ratio(made.render, other_session(stems, resampler), rounds)
        print(
            f"session, 8 strips of 19 s: {mine:.2f} s, C++ with {resampler} {its:.2f} s: "
            f"{1 / faster:.2f} of its time (wanted 1 at most)"
        )
    before = made.render()
    changed = made.replaced({"main/limiter/release_ms": 80.0})
    last, full, share = ratio(lambda: changed.render(after=before), made.render, rounds)
    print(f"last stage changed: {last:.3f} s of {full:.2f} s: {1 / share:.2f} of the full render (wanted 0.2 at most)")
    first = made.replaced({"stem 0/fader/gain_db": -6.0})
    moved, full, share = ratio(lambda: first.render(after=before), made.render, rounds)
    print(f"one strip's fader changed: {moved:.3f} s of {full:.2f} s: {1 / share:.2f} of the full render")


def memory_figures() -> None:
    """What a rendering holds, and its highest point, against the recordings."""
    for channels, word in ((1, "mono"), (2, "stereo")):
        made = session(8, 19.0, channels)
        audio = sum(strip.take.samples.nbytes for strip in made.strips)
        tracemalloc.start()
        before, _ = tracemalloc.get_traced_memory()
        rendering = made.render()
        held, highest = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        print(
            f"memory, 8 {word} strips: with the rendering {1 + (held - before) / audio:.2f} times the recordings, "
            f"{1 + (highest - before) / audio:.2f} at the highest point (wanted 4 at most)"
        )
        del rendering


def growth_figures(rounds: int) -> None:
    """Time against strips and against seconds."""
    for strips in (2, 4, 8, 16):
        made = session(strips, 5.0)
        print(f"growth: {strips} strips of 5 s: {median_seconds(made.render, rounds):.3f} s")
    for seconds in (5.0, 10.0, 20.0, 40.0):
        made = session(4, seconds)
        print(f"growth: 4 strips of {seconds:g} s: {median_seconds(made.render, rounds):.3f} s")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--growth", action="store_true", help="print times against strips and seconds as well")
    chosen = parser.parse_args()
    compressor_figures(5 * chosen.rounds)
    session_figures(chosen.rounds)
    memory_figures()
    if chosen.growth:
        growth_figures(3)
