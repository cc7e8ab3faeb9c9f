"""The fader's taper, its mute, and the pan laws, against their tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gainlib.errors import GainError
from gainlib.stages import TAPER, Fader, Pan, Trim, pan_gains

# The documented taper, worked by hand from its marks: position in mm, gain in dB, dB a millimetre.
TAPERED = [
    (100.0, 10.0, 0.4),
    (75.0, 0.0, 0.4),
    (60.0, -6.0, 0.4),
    (37.5, -20.0, 0.8),
    (20.0, -40.0, 2.0),
    (15.0, -50.0, 2.0),
    # Below 10 mm the amplitude is straight: half way is 6.0206 dB less, where a millimetre is 20/ln 10/5 dB.
    (5.0, -66.0206, 1.7372),
]


@pytest.mark.parametrize(("position_mm", "gain_db", "db_per_mm"), TAPERED)
def test_the_taper(position_mm: float, gain_db: float, db_per_mm: float) -> None:
    assert TAPER.gain_db(position_mm) == pytest.approx(gain_db, abs=5e-5)
    fader = Fader(gain_db=gain_db)
    assert fader.position_mm == pytest.approx(position_mm, abs=5e-4)
    assert fader.db_per_mm == pytest.approx(db_per_mm, abs=5e-4)


def test_the_bottom_is_off() -> None:
    assert TAPER.gain_db(0.0) == -math.inf
    assert TAPER.position_mm(-math.inf) == 0.0
    assert TAPER.db_per_mm(-math.inf) == math.inf


@given(st.floats(1e-6, 100.0))
def test_there_and_back(position_mm: float) -> None:
    assert TAPER.position_mm(TAPER.gain_db(position_mm)) == pytest.approx(position_mm, rel=1e-9)


@given(st.floats(0.0, 99.9), st.floats(0.01, 0.1))
def test_up_is_louder(position_mm: float, more_mm: float) -> None:
    assert TAPER.gain_db(position_mm + more_mm) > TAPER.gain_db(position_mm)


def test_far_below_a_millimetre_is_five_times_as_much_as_at_0_db() -> None:
    # Why trims come first: a strip that needs its fader at -50 dB is set in steps of 2 dB a millimetre.
    assert Fader(-50.0).db_per_mm / Fader(0.0).db_per_mm == pytest.approx(5.0)


def test_a_fader_is_its_gain(signal_of) -> None:
    samples = np.random.default_rng(1).standard_normal((100, 2))
    signal = signal_of(samples, noise_power=1e-6)
    assert np.array_equal(Fader(0.0).process(signal).signal.samples, samples)
    down = Fader(-20.0).process(signal).signal
    np.testing.assert_allclose(down.samples, samples / 10, rtol=1e-12)
    assert down.noise_power == pytest.approx(1e-8)
    for off in (Fader(muted=True), Fader(-math.inf)):
        assert not off.process(signal).signal.samples.any()
        assert off.process(signal).signal.noise_power == 0.0


def test_a_trim_at_0_db_passes_every_sample_bit_for_bit(signal_of) -> None:
    samples = np.random.default_rng(2).standard_normal(100)
    assert np.array_equal(Trim(0.0).process(signal_of(samples)).signal.samples[:, 0], samples)


# Common practice; gains worked by hand: cos 45 deg, 1/2, the root of their product; a quarter of the way across for the
# -3 dB law: cos 22.5 deg and sin 22.5 deg.
PANNED = [
    (-3.0, 0.0, -3.0103, -3.0103),
    (-6.0, 0.0, -6.0206, -6.0206),
    (-4.5, 0.0, -4.5154, -4.5154),
    (-3.0, -0.5, -0.6877, -8.3432),
    (-6.0, -0.5, -2.4988, -12.0412),
]


@pytest.mark.parametrize(("law_db", "position", "left_db", "right_db"), PANNED)
def test_the_pan_laws(signal_of, law_db: float, position: float, left_db: float, right_db: float) -> None:
    out = Pan(position, law_db).process(signal_of(np.ones(10))).signal.samples
    assert out.shape == (10, 2)
    np.testing.assert_allclose(20 * np.log10(out[0]), [left_db, right_db], atol=1e-4)


@given(st.floats(-1, 1))
def test_what_each_law_keeps(position: float) -> None:
    left, right = pan_gains(position, -3.0)
    assert left**2 + right**2 == pytest.approx(1.0, abs=1e-12)
    left, right = pan_gains(position, -6.0)
    assert left + right == pytest.approx(1.0, abs=1e-12)
    for law_db in (-3.0, -4.5, -6.0):
        assert pan_gains(position, law_db) == pan_gains(-position, law_db)[::-1]


@pytest.mark.parametrize("law_db", [-3.0, -4.5, -6.0])
def test_hard_left_is_all_left_and_nothing_right(signal_of, law_db: float) -> None:
    samples = np.random.default_rng(3).standard_normal(100)
    left = Pan(-1.0, law_db).process(signal_of(samples)).signal.samples
    assert np.array_equal(left[:, 0], samples)
    assert not left[:, 1].any()
    right = Pan(1.0, law_db).process(signal_of(samples)).signal.samples
    assert np.array_equal(right[:, 1], samples)
    assert not right[:, 0].any()


# A centred mono source folded down to mono: +3.01, +1.51, 0 dB (derived from the centre gains).
@pytest.mark.parametrize(("law_db", "fold_db"), [(-3.0, 3.0103), (-4.5, 1.5051), (-6.0, 0.0)])
def test_the_mono_sum_of_a_centred_source(signal_of, law_db: float, fold_db: float) -> None:
    out = Pan(0.0, law_db).process(signal_of(np.ones(10))).signal.samples
    assert 20 * math.log10(out[0].sum()) == pytest.approx(fold_db, abs=1e-4)


def test_stereo_is_balanced(signal_of) -> None:
    samples = np.random.default_rng(4).standard_normal((100, 2))
    assert np.array_equal(Pan(0.0).process(signal_of(samples)).signal.samples, samples)
    turned = Pan(0.5).process(signal_of(samples)).signal.samples
    assert np.array_equal(turned[:, 1], samples[:, 1])
    # sin 22.5 deg against sin 45 deg: 5.3329 dB down.
    assert 20 * math.log10(turned[5, 0] / samples[5, 0]) == pytest.approx(-5.3329, abs=1e-4)


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda: Fader(10.5), "gain_db of the fader is 10.5; it must be 10 dB or below"),
        (lambda: TAPER.gain_db(101.0), "position_mm is 101.0; the fader travels from 0 to 100 mm"),
        (lambda: TAPER.position_mm(11.0), r"gain_db is 11.0; this fader ends at \+10 dB"),
        (lambda: TAPER.position_mm(math.nan), "gain_db is nan"),
        (lambda: Pan(1.5), "position of the pan is 1.5; it must be from -1 to 1"),
        (lambda: Pan(0.0, -5.0), "law_db of the pan is -5.0; give -3.0 or -4.5 or -6.0"),
        (lambda: pan_gains(0.0, -5.0), "law_db is -5.0; give -3.0, -4.5 or -6.0"),
    ],
)
def test_bad_settings_are_refused(make, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        make()


def test_a_pan_takes_no_surround(signal_of) -> None:
    with pytest.raises(GainError, match="the pan got 3 channels; it takes a mono or a stereo signal"):
        Pan().process(signal_of(np.zeros((10, 3))))
