"""The compressor against worked examples, the definition of its times, and a reference written out sample by sample."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.errors import GainError
from gainlib.stages import Compressor, choices_of, settings_of
from gainlib.stages.compressor import coefficient

RATE_HZ = 48_000

# Worked by hand from equation (4) of Giannoulis, Massberg and Reiss, JAES 60(6), 2012 (published), T = -20 dB, R = 4:
# knee width, level in, level out. Tolerance 0.0005 dB (the fourth decimal is rounded).
CURVES: dict[float, dict[float, float]] = {
    0.0: {-40: -40, -26: -26, -20: -20, -18: -19.5, -14: -18.5, -8: -17.0, 0: -15},
    6.0: {-23: -23, -22: -22.0625, -20: -20.5625, -18: -19.5625, -17: -19.25},
    10.0: {-25: -25, -23: -23.15, -20: -20.9375, -17: -19.40, -15: -18.75},
    12.0: {-26: -26, -25: -25.0313, -20: -21.125, -15: -18.7813, 0: -15},
}
WORKED = [(knee_db, level_db, out_db) for knee_db, curve in CURVES.items() for level_db, out_db in curve.items()]


@pytest.mark.parametrize(("knee_db", "level_db", "out_db"), WORKED)
def test_the_static_curve_gives_the_worked_levels(knee_db: float, level_db: float, out_db: float) -> None:
    assert Compressor(-20.0, 4.0, knee_db).curve_db(level_db) == pytest.approx(out_db, abs=5e-4)


@pytest.mark.parametrize(("knee_db", "level_db", "out_db"), WORKED)
def test_a_steady_level_comes_out_at_the_curve(signal_of, knee_db: float, level_db: float, out_db: float) -> None:
    steady = np.full(20_000, 10 ** (level_db / 20))
    passed = Compressor(-20.0, 4.0, knee_db, attack_ms=5.0, release_ms=20.0).process(signal_of(steady))
    assert 20 * math.log10(passed.signal.samples[-1, 0]) == pytest.approx(out_db, abs=5e-4)


# Equal by measurement of three other programs at a steady level: T = -20 dB, 4:1, hard knee; 0.01 dB.
@pytest.mark.parametrize(("level_db", "out_db"), [(-8.0, -17.0), (-14.0, -18.5), (0.0, -15.0)])
def test_an_independent_compressor_gives_the_same_steady_level(signal_of, level_db: float, out_db: float) -> None:
    other = pytest.importorskip("pedalboard", reason="the C++ effects library is not installed")
    steady = np.full(48_000, 10 ** (level_db / 20))
    its = other.Compressor(-20.0, 4.0, 5.0, 50.0)(steady[None].astype(np.float32), RATE_HZ)
    mine = Compressor(-20.0, 4.0, 0.0, 5.0, 50.0).process(signal_of(steady)).signal.samples
    assert 20 * math.log10(its[0, -1]) == pytest.approx(out_db, abs=0.01)
    assert 20 * math.log10(mine[-1, 0]) == pytest.approx(20 * math.log10(its[0, -1]), abs=0.01)


def test_an_infinite_ratio_holds_steady_levels_at_the_threshold() -> None:
    curve = Compressor(-20.0, math.inf, 0.0).curve_db([-30.0, -20.0, -10.0, 0.0])
    assert np.allclose(curve, [-30.0, -20.0, -20.0, -20.0])


def test_the_ratio_is_the_slope_above_the_threshold() -> None:
    # Worked example of a published definition: 15 dB more in, 3 dB more out, is 5:1.
    curve = np.asarray(Compressor(-20.0, 5.0, 0.0).curve_db([-20.0, -5.0]))
    assert curve[1] - curve[0] == pytest.approx(3.0)


# alpha = exp(-1 / (tau fs)), printed to ten places (computed outside): milliseconds, rate, coefficient.
@pytest.mark.parametrize(
    ("milliseconds", "rate_hz", "expected"),
    [
        (10.0, 48_000, 0.9979188353),
        (10.0, 44_100, 0.9977349953),
        (1.0, 48_000, 0.9793821813),
        (1.0, 44_100, 0.9775794253),
        (100.0, 48_000, 0.9997916884),
        (0.0, 48_000, 0.0),
    ],
)
def test_the_coefficient_of_a_time_constant(milliseconds: float, rate_hz: int, expected: float) -> None:
    assert coefficient(milliseconds, rate_hz) == pytest.approx(expected, abs=5e-11)


def step(signal_of, stage: Compressor) -> np.ndarray:
    """The trace for a step from far below the threshold to 12 dB of reduction, and back after a second."""
    samples = np.full(3 * RATE_HZ, 1e-4)
    samples[RATE_HZ : 2 * RATE_HZ] = 10 ** (-4 / 20)
    trace = stage.process(signal_of(samples)).reduction_db
    assert trace is not None
    return trace[:, 0].astype(np.float64)


STEPPED = {"threshold_db": -20.0, "ratio": 4.0, "knee_db": 0.0, "attack_ms": 10.0, "release_ms": 100.0}


@pytest.mark.parametrize("smoothing", ["branching", "decoupled"])
def test_the_attack_reaches_63_percent_after_its_time(signal_of, smoothing: str) -> None:
    trace = step(signal_of, Compressor(**STEPPED, smoothing=smoothing))
    # Derived: 1 - 1/e of the way, 12 dB, after 480 samples; a sample more or less is 0.2 %.
    assert trace[RATE_HZ + 480 - 1] == pytest.approx(12 * (1 - math.exp(-1)), rel=1e-6)
    assert trace[2 * RATE_HZ - 1] == pytest.approx(12.0, rel=1e-6)


def test_from_10_to_90_percent_takes_2_2_time_constants(signal_of) -> None:
    trace = step(signal_of, Compressor(**STEPPED)) / 12.0
    rise = np.searchsorted(trace[RATE_HZ : 2 * RATE_HZ], [0.1, 0.9])
    assert (rise[1] - rise[0]) / RATE_HZ == pytest.approx(0.010 * math.log(9), abs=1.5 / RATE_HZ)
    fall = np.searchsorted(-trace[2 * RATE_HZ :], [-0.9, -0.1])
    assert (fall[1] - fall[0]) / RATE_HZ == pytest.approx(0.100 * math.log(9), abs=1.5 / RATE_HZ)


def test_the_branching_release_loses_63_percent_in_its_time(signal_of) -> None:
    trace = step(signal_of, Compressor(**STEPPED))
    assert trace[2 * RATE_HZ + 4800 - 1] == pytest.approx(12 * math.exp(-1), rel=1e-5)


def test_the_decoupled_release_is_two_stages_in_a_row(signal_of) -> None:
    # Derived: release and attack in cascade, a decay from 1 is (R e^(-t/R) - A e^(-t/A)) / (R - A).
    trace = step(signal_of, Compressor(**STEPPED, smoothing="decoupled"))
    for seconds in (0.02, 0.1, 0.3):
        expected = 12 * (0.1 * math.exp(-seconds / 0.1) - 0.01 * math.exp(-seconds / 0.01)) / 0.09
        # Discrete and continuous time differ by about a sample: 1/480 of the shorter time.
        assert trace[2 * RATE_HZ + round(seconds * RATE_HZ) - 1] == pytest.approx(expected, rel=3e-3)


def reference(samples: np.ndarray, stage: Compressor) -> np.ndarray:
    """The published equations written out sample by sample for one channel; smooth detectors on the gain in dB."""
    attack = math.exp(-1 / (stage.attack_ms / 1000 * RATE_HZ))
    release = math.exp(-1 / (stage.release_ms / 1000 * RATE_HZ))
    rms_pole = math.exp(-1 / (stage.rms_ms / 1000 * RATE_HZ))
    square = first = second = 0.0
    out = []
    for x in samples.tolist():
        if stage.detector == "rms":
            square = rms_pole * square + (1 - rms_pole) * x * x
            level = 10 * math.log10(2 * square) if square > 0 else -math.inf
        else:
            level = 20 * math.log10(abs(x)) if x != 0 else -math.inf
        doubled, width = 2 * (level - stage.threshold_db), stage.knee_db
        if doubled < -width:
            target = level
        elif abs(doubled) <= width and width > 0:
            target = level + (1 / stage.ratio - 1) * (level - stage.threshold_db + width / 2) ** 2 / (2 * width)
        else:
            target = stage.threshold_db + (level - stage.threshold_db) / stage.ratio
        wanted = level - target if level > -math.inf else 0.0
        if stage.smoothing == "branching":
            pole = attack if wanted > second else release
            second = pole * second + (1 - pole) * wanted
        else:
            first = max(wanted, release * first + (1 - release) * wanted)
            second = attack * second + (1 - attack) * first
        gain = 10 ** ((stage.makeup_db - second) / 20)
        wet = stage.wet_percent / 100
        out.append(x * (gain * wet + (1 - wet)))
    return np.array(out)


@settings(max_examples=40, deadline=None)
@given(
    st.builds(
        Compressor,
        threshold_db=st.floats(-50, 0),
        ratio=st.floats(1, 50) | st.just(math.inf),
        knee_db=st.sampled_from([0.0, 4.0, 12.0]),
        attack_ms=st.floats(0.1, 50),
        release_ms=st.floats(1, 500),
        makeup_db=st.floats(0, 12),
        wet_percent=st.sampled_from([0.0, 30.0, 100.0]),
        detector=st.sampled_from(["peak", "rms"]),
        smoothing=st.sampled_from(["branching", "decoupled"]),
    ),
    st.integers(0, 2**31),
)
def test_against_the_equations_sample_by_sample(signal_of, stage: Compressor, seed: int) -> None:
    draw = np.random.default_rng(seed)
    samples = draw.standard_normal(700) * np.repeat(10 ** draw.uniform(-3, 0.3, 7), 100)
    samples[::97] = 0.0
    out = stage.process(signal_of(samples)).signal.samples[:, 0]
    # 1e-9: reductions below 1e-9 dB are taken as none.
    np.testing.assert_allclose(out, reference(samples, stage), rtol=1e-9, atol=1e-15)


def test_ratio_1_passes_every_sample_bit_for_bit(signal_of) -> None:
    samples = np.random.default_rng(1).standard_normal((5000, 2))
    passed = Compressor(-30.0, 1.0).process(signal_of(samples))
    assert np.array_equal(passed.signal.samples, samples)


def test_below_the_threshold_every_sample_passes_bit_for_bit(signal_of) -> None:
    samples = 0.01 * np.random.default_rng(1).uniform(-1, 1, (5000, 2))
    passed = Compressor(-20.0, 8.0, 6.0).process(signal_of(samples))
    assert np.array_equal(passed.signal.samples, samples)
    assert passed.readings["gain_reduction_db"] == 0.0


def test_linked_channels_keep_their_balance_and_unlinked_ones_do_not(signal_of) -> None:
    loud, soft = np.full(9600, 0.8), np.full(9600, 0.05)
    samples = np.column_stack((loud, soft))
    linked = Compressor(-20.0, 4.0, 0.0).process(signal_of(samples))
    assert linked.reduction_db is not None
    assert linked.reduction_db.shape == (9600, 1)
    np.testing.assert_allclose(linked.signal.samples[:, 0] / linked.signal.samples[:, 1], 16.0, rtol=1e-12)
    apart = Compressor(-20.0, 4.0, 0.0, linked=False).process(signal_of(samples))
    assert apart.reduction_db is not None
    assert apart.reduction_db.shape == (9600, 2)
    assert np.array_equal(apart.signal.samples[:, 1], soft)
    np.testing.assert_array_equal(apart.signal.samples[:, 0], linked.signal.samples[:, 0])


def test_the_rms_detector_reads_a_sine_at_its_peak_level(signal_of) -> None:
    # AES17 (published): a sine has the same level by peak and by RMS. -8 dB in, 4:1 above -20 dB: -17 dB.
    sine = 10 ** (-8 / 20) * np.sin(2 * np.pi * 997 * np.arange(96_000) / RATE_HZ)
    out = Compressor(-20.0, 4.0, 0.0, 20.0, 200.0, detector="rms", rms_ms=100.0).process(signal_of(sine))
    assert 20 * math.log10(np.abs(out.signal.samples[-4800:]).max()) == pytest.approx(-17.0, abs=0.02)


def test_makeup_and_mix_raise_the_noise_by_what_they_do_at_rest(signal_of) -> None:
    quiet = signal_of(np.zeros(480), noise_power=1e-10)
    # Derived: 6.0206 dB is twice the voltage, four times the power; half of it wet is 1.5 times the voltage.
    assert Compressor(makeup_db=20 * math.log10(2)).process(quiet).signal.noise_power == pytest.approx(4e-10)
    mixed = Compressor(makeup_db=20 * math.log10(2), wet_percent=50.0).process(quiet)
    assert mixed.signal.noise_power == pytest.approx(2.25e-10)


def test_the_trace_and_its_readings_agree(signal_of) -> None:
    samples = np.random.default_rng(2).standard_normal(9600)
    passed = Compressor(-30.0, 4.0).process(signal_of(samples))
    assert passed.reduction_db is not None
    assert passed.readings["gain_reduction_db"] == passed.reduction_db.max() > 5
    assert passed.readings["mean_gain_reduction_db"] == pytest.approx(passed.reduction_db.mean(), rel=1e-5)
    gains = passed.signal.samples[:, 0] / samples
    np.testing.assert_allclose(-20 * np.log10(gains), passed.reduction_db[:, 0], atol=1e-5)


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"ratio": 0.5}, "ratio of the compressor is 0.5; it must be 1 or above"),
        ({"release_ms": 0.0}, "release_ms of the compressor is 0.0; it must be above 0 and at most 60000 ms"),
        ({"wet_percent": 120.0}, "wet_percent of the compressor is 120.0; it must be from 0 to 100 %"),
        ({"knee_db": -1.0}, "knee_db of the compressor is -1.0; it must be from 0 to 100 dB"),
        ({"threshold_db": math.nan}, "threshold_db of the compressor is nan; it must be a finite number"),
        ({"detector": "pek"}, "detector of the compressor is 'pek'; did you mean peak"),
        ({"linked": 1}, "linked of the compressor is 1; give False or True"),
        ({"attack_ms": "5"}, "attack_ms of the compressor is '5'; it must be from 0 to 10000 ms"),
    ],
)
def test_bad_settings_are_refused_in_one_sentence(values: dict[str, object], sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        Compressor(**values)  # type: ignore[arg-type]


def test_controls_find_its_settings() -> None:
    assert settings_of(Compressor())["attack_ms"].unit == "ms"
    assert choices_of(Compressor())["smoothing"].options == ("branching", "decoupled")


@pytest.mark.parametrize(("frequency_hz", "down_db"), [(100, 3.0103), (50, 6.9897), (1000, 0.0432)])
def test_the_sidechain_hears_less_of_what_is_low(signal_of, frequency_hz: int, down_db: float) -> None:
    """Derived: a first-order high-pass at 100 Hz lets through 1/sqrt(1 + (100/f)^2); a sine at 0 dBFS, T -20, 4:1."""
    sine = np.sin(2 * np.pi * frequency_hz * np.arange(2 * RATE_HZ) / RATE_HZ)
    stage = Compressor(-20.0, 4.0, 0.0, attack_ms=0.0, release_ms=100.0, sidechain_hz=100.0)
    result = stage.process(signal_of(sine))
    held_db = result.reduction_db[RATE_HZ:, 0].max()
    assert held_db == pytest.approx(0.75 * (20.0 - down_db), abs=0.01)


def test_the_look_ahead_hears_the_step_before_it_comes(signal_of) -> None:
    step = np.concatenate([np.full(30_000, 0.01), np.full(30_000, 0.9)])
    now = Compressor(-20.0, attack_ms=5.0).process(signal_of(step)).reduction_db
    early = Compressor(-20.0, attack_ms=5.0, look_ahead_ms=10.0).process(signal_of(step)).reduction_db
    assert np.array_equal(early[: 60_000 - 480], now[480:])
