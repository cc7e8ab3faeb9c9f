"""Rendering: sums, noise on its own path, the figures of every tap, and that only what changed is made again."""

from __future__ import annotations

import contextlib
import math
import tracemalloc
import weakref
from dataclasses import replace
from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.flow import Bus, Send, Session, Strip
from gainlib.flow.buffers import release_buffers
from gainlib.stages import (
    ClipGain,
    Compressor,
    Converter,
    Delivery,
    Fader,
    Limiter,
    Pan,
    Preamp,
    Ride,
    Saturation,
    SoftClip,
    Source,
    Stage,
    Trim,
)

RATE_HZ = 48_000


def mixed(takes: list[Audio], gain_db: float = 0.0, **values: object) -> Session:
    strips = tuple(Strip(f"s{number}", take, (Trim(gain_db),)) for number, take in enumerate(takes))
    return Session(strips, main=Bus("main"))


# Published sum laws: unrelated signals add 10 log10 N, the same signal 20 log10 N.
@pytest.mark.parametrize(
    ("count", "unrelated_db", "same_db"), [(2, 3.010, 6.021), (4, 6.021, 12.041), (10, 10.0, 20.0)]
)
def test_the_sum_laws(count: int, unrelated_db: float, same_db: float) -> None:
    draw = np.random.default_rng(1)
    noises = [Audio(0.01 * draw.standard_normal(2**17), RATE_HZ) for _ in range(count)]
    one = mixed(noises[:1]).render().level("main/sum").rms_dbfs
    # 0.1 dB: the noises of 2^17 samples are unrelated to about a part in 360, and differ in RMS by as little.
    assert mixed(noises).render().level("main/sum").rms_dbfs - one == pytest.approx(unrelated_db, abs=0.1)
    assert mixed(noises[:1] * count).render().level("main/sum").rms_dbfs - one == pytest.approx(same_db, abs=5e-4)


def test_a_float_sum_keeps_what_a_fixed_point_one_would_clip() -> None:
    hot = [Audio(np.full(100, 0.9), RATE_HZ)] * 4
    rendering = mixed(hot).render()
    assert rendering.level("main/sum").peak_dbfs == pytest.approx(20 * math.log10(3.6))
    mended = Session(mixed(hot).strips, main=Bus("main", (Trim(-12.0412),))).render()
    assert mended.level("main/trim").peak_dbfs == pytest.approx(20 * math.log10(0.9), abs=1e-4)


def test_the_sum_is_exact_in_double_precision() -> None:
    # 2^-40 beside 1.0 is lost in single precision, kept in double.
    rendering = mixed([Audio(np.full(10, 1.0), RATE_HZ), Audio(np.full(10, 2.0**-40), RATE_HZ)]).render()
    assert (rendering.at("main/sum").samples == 1.0 + 2.0**-40).all()


def test_mono_goes_to_both_sides_and_short_stems_end_in_silence() -> None:
    mono, stereo = Audio(np.full(50, 0.25), RATE_HZ), Audio(np.tile([0.5, -0.5], (100, 1)), RATE_HZ)
    for takes in ([mono, stereo], [stereo, mono]):
        out = mixed(takes).render().at("main/sum").samples
        assert out.shape == (100, 2)
        assert (out[:50] == [0.75, -0.25]).all()
        assert (out[50:] == [0.5, -0.5]).all()
    with pytest.raises(GainError, match="sums 2 and 3 channels; give both the same"):
        mixed([stereo, Audio(np.zeros((10, 3)), RATE_HZ)]).render()


def by_hand(session: Session) -> np.ndarray:
    """The session of the fixture, stage by stage without the flow."""
    from gainlib.stages import Signal

    def through(samples: np.ndarray, *stages: Stage) -> np.ndarray:
        signal = Signal(samples, RATE_HZ, 0.0, "digital")
        for stage in stages:
            signal = stage.process(signal).signal
        return signal.samples

    voice, guitar, drums = (session.strip(name) for name in ("voice", "guitar", "drums"))
    dry = through(voice.take.samples, *voice.stages[:2])
    drums_out = through(drums.take.samples, *drums.stages)
    hall = through(dry * 10 ** (-10 / 20) + drums_out * 10 ** (-20 / 20), *session.channel("hall").stages)
    band = through(dry, *voice.stages[2:]) + through(guitar.take.samples, *guitar.stages) + hall
    main = drums_out + through(band, *session.channel("band").stages)
    return through(main, *session.channel("main").stages)


def test_the_routes_do_what_they_say(session: Session) -> None:
    rendering = session.render()
    assert rendering.last_tap == "main/limiter"
    # Sums run in another order here: the last bits differ, and the saturation's peak search scales by them.
    np.testing.assert_allclose(rendering.at("main/limiter").samples, by_hand(session), atol=1e-12)


def test_a_muted_fader_silences_what_comes_after_it_and_not_a_send_before_it(session: Session) -> None:
    rendering = session.replaced({"voice/fader/muted": True, "guitar/fader/muted": True}).render()
    assert rendering.level("voice/pan").peak_dbfs == -math.inf
    assert rendering.level("hall/sum").peak_dbfs > -40
    post = session.replaced(
        {"voice/send to hall/pre_fader": False, "voice/fader/muted": True, "drums/fader/muted": True}
    )
    assert post.render().level("hall/sum").peak_dbfs == -math.inf


def test_a_send_before_a_fader_that_comes_first_takes_the_recording(stems: dict[str, Audio]) -> None:
    made = Session(
        (Strip("voice", stems["voice"], (Fader(muted=True),), sends=(Send("hall", 0.0, True),)),), (Bus("hall"),)
    )
    assert np.array_equal(made.render().at("hall/sum").samples, stems["voice"].samples)


def counted(session: Session, after=None) -> tuple[object, list[str]]:
    """A rendering, and the stages that it ran."""
    ran: list[str] = []

    def counting(kind: type[Stage]):
        plain = kind.process

        def process(self, signal):
            ran.append(f"{signal.strip}/{self.name}")
            return plain(self, signal)

        return mock.patch.object(kind, "process", process)

    with contextlib.ExitStack() as patched:
        for kind in {type(stage) for part in session.channels for stage in part.tapped_stages}:
            patched.enter_context(counting(kind))
        return session.render(after), ran


def test_everything_is_made_once(session: Session) -> None:
    _, ran = counted(session)
    assert sorted(ran) == sorted(
        f"{part.name}/{stage.name}" for part in session.channels for stage in part.tapped_stages
    )


@pytest.mark.parametrize(
    ("path", "value", "expected"),
    [
        ("main/limiter/ceiling_dbfs", -3.0, ["main/limiter"]),
        ("main/compressor/ratio", 3.0, ["main/sum", "main/compressor", "main/limiter"]),
        ("voice/compressor/ratio", 3.0, None),
    ],
)
def test_a_change_runs_what_lies_behind_it(
    session: Session, path: str, value: float, expected: list[str] | None
) -> None:
    rendering = session.render()
    again, ran = counted(session.replaced({path: value}), rendering)
    if expected is not None:
        assert set(ran) <= set(expected)
        assert path.rpartition("/")[0] in ran
    # What costs something runs only behind the change; what is a multiplication may be made again on the way.
    dear = {each for each in ran if each.endswith(("compressor", "saturation", "limiter"))}
    if path.startswith("voice"):
        assert dear == {"voice/compressor", "band/saturation", "main/compressor", "main/limiter"}
    fresh = session.replaced({path: value}).render()
    assert np.array_equal(again.at("main/limiter").samples, fresh.at("main/limiter").samples)  # type: ignore[attr-defined]


def test_nothing_changed_runs_nothing(session: Session) -> None:
    rendering = session.render()
    again, ran = counted(session, rendering)
    assert ran == []
    assert again.levels == rendering.levels  # type: ignore[attr-defined]


changes = st.lists(
    st.sampled_from(
        [
            ("voice/trim/gain_db", -6.0),
            ("voice/trim/gain_db", 0.0),
            ("voice/compressor/threshold_db", -30.0),
            ("voice/fader/gain_db", -12.0),
            ("voice/fader/muted", True),
            ("voice/send to hall/gain_db", -3.0),
            ("voice/send to hall/pre_fader", False),
            ("guitar/pan/position", 0.5),
            ("drums/send to hall/gain_db", -6.0),
            ("hall/trim/gain_db", 0.0),
            ("band/saturation/drive_db", 0.0),
            ("main/compressor/makeup_db", 6.0),
            ("main/limiter/true_peak", False),
        ]
    ),
    max_size=3,
)


@settings(max_examples=30, deadline=None)
@given(st.lists(changes, min_size=1, max_size=4))
def test_after_any_changes_the_rendering_is_that_of_a_fresh_one(
    session: Session, steps: list[list[tuple[str, object]]]
) -> None:
    rendering, current = session.render(), session
    for step in steps:
        current = current.replaced(dict(step))
        rendering = current.render(after=rendering)
    fresh = current.render()
    assert rendering.levels == fresh.levels
    for tap in ("voice/fader", "hall/sum", "band/saturation", "main/sum", "main/limiter"):
        assert np.array_equal(rendering.at(tap).samples, fresh.at(tap).samples)


def test_a_rendering_that_rested_gives_the_same_and_keeps_it_again(session: Session) -> None:
    rendering, fresh = session.render(), session.render()
    kept = rendering.held_bytes
    assert kept > 0
    rendering.release()
    assert rendering.held_bytes == 0
    assert rendering.levels == fresh.levels
    for strip, stage in rendering.taps:
        assert np.array_equal(rendering.at(f"{strip}/{stage}").samples, fresh.at(f"{strip}/{stage}").samples)
    assert rendering.held_bytes == kept
    rendering.release()
    moved = session.replaced({"main/compressor/ratio": 3.0})
    assert moved.render(after=rendering).levels == moved.render().levels


@pytest.mark.parametrize(
    "stage",
    [Ride(points=((0.0, -3.0), (1.0, 0.0))), ClipGain(regions=((0.1, 0.2, -6.0),)), Compressor(-20.0), Saturation(4.0)],
    ids=lambda stage: stage.name,
)
def test_what_costs_more_than_a_multiplication_is_worked_out_once(
    stems: dict[str, Audio], monkeypatch: pytest.MonkeyPatch, stage: Stage
) -> None:
    worked: list[Stage] = []
    process = type(stage).process
    monkeypatch.setattr(type(stage), "process", lambda own, entering: (worked.append(own), process(own, entering))[1])
    rendering = Session.of(stems["voice"], (stage, Trim(-3.0), Fader(-6.0)), name="voice").render()
    for tap in ("fader", "trim", stage.name):
        rendering.at(f"voice/{tap}")
    assert worked == [stage]


def test_a_rendering_holds_no_double_copy_of_a_narrow_recording(stems: dict[str, Audio]) -> None:
    narrow = Audio(stems["voice"].samples.astype(np.float32), RATE_HZ)
    rendering = Session.of(narrow, [Trim(-6.0)], name="voice").render()
    head = rendering.taps["voice", "trim"].node.sources[0][0]
    assert head.signal().samples.dtype == np.float64
    assert np.array_equal(head.signal().samples, narrow.samples)
    held = weakref.ref(head.signal())
    assert held() is None


def test_short_renderings_rest_together_and_long_ones_keep_their_samples(session: Session) -> None:
    rendering, other = session.render(), session.render()
    kept = rendering.held_bytes
    longest = max(len(strip.take.samples) for strip in session.strips) / RATE_HZ
    release_buffers(0.5 * min(len(strip.take.samples) for strip in session.strips) / RATE_HZ)
    assert rendering.held_bytes == kept
    release_buffers(longest)
    assert rendering.held_bytes == other.held_bytes == 0


@pytest.mark.parametrize("bits", [16, 24])
def test_what_is_kept_in_single_precision_is_exact(stems: dict[str, Audio], bits: int) -> None:
    from gainlib.stages import Signal

    stages = (Source(-30.0), Preamp(30.0), Converter("EBU R 68", bits, dither=True, dynamic_range_db=100.0))
    rendering = Session.of(stems["voice"], (*stages, Trim(0.0)), name="voice").render()
    signal = Signal(np.asarray(stems["voice"].samples), RATE_HZ, 0.0, "digital", "voice")
    for stage in stages:
        signal = stage.process(signal).signal
    for tap in ("converter", "trim"):
        assert np.array_equal(rendering.at(tap).samples, signal.samples)


def test_a_take_in_single_precision_renders_as_its_values_do() -> None:
    narrow = np.random.default_rng(2).standard_normal(1000).astype(np.float32)
    one, other = (mixed([Audio(each, RATE_HZ)]).render() for each in (narrow, narrow.astype(np.float64)))
    assert np.array_equal(one.at("main/sum").samples, other.at("main/sum").samples)


@pytest.mark.parametrize(("gain_db", "channels"), [(-200.0, 1), (200.0, 2), (0.0, 5)])
def test_silence_and_the_loudest_signals_come_out_as_numbers(gain_db: float, channels: int) -> None:
    takes = [Audio(np.zeros((RATE_HZ // 2, channels)), RATE_HZ), Audio(np.ones((RATE_HZ // 2, channels)), RATE_HZ)]
    for take in takes:
        strip = Strip("s", take, (Trim(gain_db), Compressor(), Fader()), "band")
        bus = Bus("band", (Saturation(6.0), Saturation(3.0, name="again")))
        main = Bus("main", (SoftClip(), Compressor(detector="rms"), Limiter(), Delivery()))
        rendering = Session((strip,), (bus,), main).render()
        assert np.isfinite(rendering.at("main/delivery").samples).all()
        assert not any(math.isnan(level.peak_dbfs) or math.isnan(level.noise_dbfs) for level in rendering.levels)
        assert (rendering.level("main/sum").peak_dbfs == -math.inf) == (take is takes[0])


def test_another_take_is_rendered_anew(session: Session, stems: dict[str, Audio]) -> None:
    rendering = session.render()
    other = session.with_take(Audio(stems["voice"].samples * 0.5, RATE_HZ), strip="voice")
    again = other.render(after=rendering)
    assert np.array_equal(again.at("main/limiter").samples, other.render().at("main/limiter").samples)
    assert again.level("voice/trim").peak_dbfs == pytest.approx(
        rendering.level("voice/trim").peak_dbfs - 6.0206, abs=1e-4
    )


def chain(gain_db: float = 40.0, **values: object) -> Session:
    quiet = Audio(np.zeros(2**17), RATE_HZ)
    stages = (
        Source(-30.0, noise_dbfs=-math.inf),
        Preamp(gain_db, input_noise_dbu=-128.0, output_noise_dbu=-math.inf),
        Converter("EBU R 68", 24, dynamic_range_db=110.0),
        Trim(12.0),
        Fader(-6.0),
    )
    return Session.of(quiet, stages, name="voice")


def test_the_noise_of_a_chain_is_that_of_the_cascade() -> None:
    rendering = chain().render()
    # Worked: -128 dBu + 40 dB is -88 dBu in 20 kHz, +0.792 dB up to 24 kHz; 0 dBFS is +18 dBu: -105.208 dBFS.
    preamp_dbfs = -128 + 40 + 0.79181 - 18
    # The converter adds -110 dB A-weighted, so -107.95 dBFS in 20 kHz and 0.792 dB more up to 24 kHz, and 24-bit
    # rounding, 146.255 dB below a full-scale sine; powers add.
    own = 10 ** ((-107.95 + 0.79181) / 10)
    converter_dbfs = 10 * math.log10(10 ** (preamp_dbfs / 10) + own + 10**-14.6255)
    for tap, expected in (
        ("preamp", preamp_dbfs),
        ("converter", converter_dbfs),
        ("trim", converter_dbfs + 12),
        ("fader", converter_dbfs + 6),
    ):
        assert rendering.level(tap).noise_dbfs == pytest.approx(expected, abs=0.001)
        # A silent recording leaves only the noise, so the samples tell the same: 0.05 dB for 2^17 of them.
        assert rendering.level(tap).rms_dbfs == pytest.approx(expected, abs=0.05)


def test_gain_before_a_noisy_stage_wins_distance() -> None:
    # The cascade's lesson: 20 dB more in the preamp and 20 dB less behind it lowers the converter's share.
    early, late = (chain(gain_db).render() for gain_db in (60.0, 20.0))
    gained = (late.level("fader").noise_dbfs + 40) - early.level("fader").noise_dbfs
    assert gained > 15


def test_the_noise_of_a_sum_is_the_sum_of_the_noises(stems: dict[str, Audio]) -> None:
    stages = (Source(-30.0, noise_dbfs=-60.0), Preamp(20.0, input_noise_dbu=-math.inf), Converter(18.0))
    strips = tuple(Strip(f"s{number}", stems["voice"], stages, "band") for number in range(4))
    rendering = Session(strips, (Bus("band", (Trim(-6.0206),)),)).render()
    one = rendering.level("s0/converter").noise_dbfs
    assert rendering.level("band/sum").noise_dbfs == pytest.approx(one + 6.0206, abs=1e-4)
    assert rendering.level("main/sum").noise_dbfs == pytest.approx(one, abs=1e-4)


def test_the_noise_of_a_take_is_carried_from_its_pauses_on() -> None:
    # Hiss of RMS 0.001 (AES17 -56.99 dBFS) for two seconds, then a tone as well: 6 dB down it is at -62.99 dBFS.
    hiss = 0.001 * np.random.default_rng(3).standard_normal(4 * RATE_HZ)
    tone = 0.25 * np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(4 * RATE_HZ))
    tone[: 2 * RATE_HZ] = 0.0
    take = Session.of(Audio(hiss + tone, RATE_HZ), [Trim(-6.0)], name="voice").render()
    assert take.level("trim").noise_dbfs == pytest.approx(-62.99, abs=0.3)
    # Two of them together have twice the noise power, in volts as in numbers.
    both = Session(tuple(replace(take.session.strips[0], name=name) for name in ("a", "b")), main=Bus("main")).render()
    assert both.level("main/sum").noise_dbfs == pytest.approx(take.level("trim").noise_dbfs + 3.0103, abs=1e-4)
    through = [Source(0.0), Preamp(0.0, input_noise_dbu=-math.inf), Converter(0.0)]
    aligned = Session.of(Audio(hiss + tone, RATE_HZ), through, name="voice").render()
    assert aligned.level("converter").noise_dbfs == pytest.approx(-56.99, abs=0.3)


def test_a_take_without_a_pause_brings_no_noise_that_could_be_told() -> None:
    tone = Audio(0.25 * np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(4 * RATE_HZ)), RATE_HZ)
    assert Session.of(tone, [Trim(0.0)], name="tone").render().level("trim").noise_dbfs == -math.inf


def test_the_figures_of_a_tap_are_those_of_its_samples(session: Session) -> None:
    from gainlib.meters import peak_dbfs, rms_dbfs

    rendering = session.render()
    assert len(rendering.levels) == sum(len(part.tapped_stages) for part in session.channels)
    for level in rendering.levels:
        samples = rendering.at(f"{level.strip}/{level.stage}").samples
        assert level.peak_dbfs == pytest.approx(float(peak_dbfs(samples).max()), abs=1e-9)
        assert level.rms_dbfs == pytest.approx(float(rms_dbfs(samples).max()), abs=1e-9)
    limiter = rendering.level("main/limiter")
    assert limiter.ceiling_dbfs == pytest.approx(-1.0)
    assert limiter.headroom_db == pytest.approx(-1.0 - limiter.peak_dbfs)
    assert rendering.level("main/sum").headroom_db == math.inf


def test_side_readings_and_traces(session: Session) -> None:
    rendering = session.render()
    trace = rendering.reduction_db("voice/compressor")
    assert trace.shape == (4800, 1)
    assert rendering.reading("voice/compressor", "gain_reduction_db") == pytest.approx(float(trace.max()))
    assert rendering.reading("band/saturation", "distortion_percent") > 0
    with pytest.raises(GainError, match="voice/trim has no gain reduction to trace"):
        rendering.reduction_db("voice/trim")
    with pytest.raises(GainError, match="voice/trim has no reading 'gain_db'; it has none"):
        rendering.reading("voice/trim", "gain_db")
    with pytest.raises(GainError, match="voice/trim cannot clip"):
        rendering.clipped("voice/trim")


def test_latency_is_told_and_taken_out(session: Session) -> None:
    rendering = session.render()
    saturation = Saturation(3.0).latency_samples(RATE_HZ)
    limiter = Limiter(-1.0, 1.0).latency_samples(RATE_HZ)
    assert limiter == 48 + 32
    assert rendering.latency_samples("voice/pan") == 0
    assert rendering.latency_samples("main/sum") == saturation > 0
    assert rendering.latency_samples("main/limiter") == saturation + limiter
    lags = np.correlate(rendering.at("main/limiter").samples[:, 0], rendering.at("main/sum").samples[:, 0], "full")
    assert lags.argmax() == 4799


def test_a_rendering_holds_at_most_four_times_its_recordings() -> None:
    draw = np.random.default_rng(1)
    takes = [Audio(0.2 * draw.standard_normal(200_000), RATE_HZ) for _ in range(8)]
    stages = (Trim(1.0), Compressor(-20.0), Fader(-3.0), Pan(0.2))
    strips = tuple(
        Strip(f"s{number}", take, stages, "low" if number % 2 else "high") for number, take in enumerate(takes)
    )
    buses = (Bus("low", (Saturation(4.0, 6.0),)), Bus("high", (Saturation(4.0, 6.0),)))
    made = Session(strips, buses, Bus("main", (Compressor(-12.0), Limiter(-1.0))))
    audio = sum(take.samples.nbytes for take in takes)
    made.render()
    tracemalloc.start()
    rendering = made.render()
    held, highest = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    # The recordings themselves were there before: they are the 1.
    assert 1 + held / audio < 3.6
    assert 1 + highest / audio < 4.0
    assert rendering.last_tap == "main/limiter"
