"""Loading, thermal noise, noise figures and a converter's noise against worked tables."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib import connection
from gainlib.errors import GainError

# Derived: 20 log10 (load / (load + source)).
LOADING = [
    (150, 1000, -1.214), (150, 1500, -0.828), (150, 2000, -0.628), (200, 1000, -1.584), (50, 600, -0.695),
    (50, 10e3, -0.043), (100, 10e3, -0.086), (600, 10e3, -0.506), (600, 600, -6.021), (2200, 47e3, -0.397),
    (10e3, 47e3, -1.676), (10e3, 10e3, -6.021), (10e3, 1e6, -0.086),
    # One output of 100 ohm into 2, 4, 8, 16 inputs of 10 kilohm side by side.
    (100, 10e3 / 2, -0.172), (100, 10e3 / 4, -0.341), (100, 10e3 / 8, -0.668), (100, 10e3 / 16, -1.289),
]  # fmt: skip

# Derived: sqrt(4 k T R 20 kHz) against sqrt(0.6) V.
THERMAL = [
    (290, 50, -135.74), (290, 100, -132.73), (290, 150, -130.96), (290, 200, -129.72), (290, 600, -124.94),
    (290, 1e3, -122.73), (290, 10e3, -112.73), (290, 50e3, -105.74), (290, 1e6, -92.73), (293.15, 150, -130.92),
    (293.15, 200, -129.67), (300, 150, -130.82), (300, 200, -129.57),
]  # fmt: skip

# Published law (Friis 1944, as others quote it), worked by hand: gains, noise figures, total.
FRIIS = [
    ([40, 0], [2, 30], 2.27),
    ([20, 0], [2, 30], 10.64),
    ([10, 0], [2, 30], 20.06),
    ([-20, 40, 0], [20, 2, 30], 22.27),
]


@pytest.mark.parametrize(("source", "load", "db"), LOADING)
def test_loading(source: float, load: float, db: float) -> None:
    assert connection.loading_db(source, load) == pytest.approx(db, abs=0.0006)


@pytest.mark.parametrize(("kelvin", "ohm", "dbu"), THERMAL)
def test_thermal_noise(kelvin: float, ohm: float, dbu: float) -> None:
    assert connection.thermal_noise_dbu(ohm, kelvin=kelvin) == pytest.approx(dbu, abs=0.006)


def test_a_wider_band_has_more_thermal_noise() -> None:
    # 20 Hz to 20 kHz changes it by 0.004 dB (derived: 10 log10 of 19980 / 20000).
    narrow = connection.thermal_noise_dbu(150, band_hz=19_980)
    assert connection.thermal_noise_dbu(150) - narrow == pytest.approx(0.0043, abs=0.0002)
    assert connection.thermal_noise_dbu(0) == -math.inf


@pytest.mark.parametrize(("noise", "figure"), [(-130, 0.96), (-129, 1.96), (-128, 2.96), (-126, 4.96), (-125, 5.96)])
def test_the_noise_figure_at_150_ohm(noise: float, figure: float) -> None:
    assert connection.noise_figure_db(noise) == pytest.approx(figure, abs=0.006)


def test_a_noise_figure_below_0_tells_of_the_wrong_source() -> None:
    assert connection.noise_figure_db(-130.0, 200.0) == pytest.approx(-0.28, abs=0.006)


@pytest.mark.parametrize(("gains", "figures", "total"), FRIIS)
def test_the_noise_figure_of_a_chain(gains: list[float], figures: list[float], total: float) -> None:
    assert connection.cascade_noise_figure_db(gains, figures) == pytest.approx(total, abs=0.006)


def test_input_and_output_noise_are_a_cascade_too() -> None:
    """Friis in the units of audio: each stage's own noise over the thermal noise of 150 ohm."""
    thermal = -130.96
    for gain in (0, 10, 25, 60):
        factors = [1 + 10 ** ((own - thermal) / 10) for own in (-131.0, -100.0)]
        whole = connection.cascade_noise_figure_db([gain, 0], [10 * math.log10(each) for each in factors])
        added = connection.input_noise_dbu(-131.0, -100.0, gain)
        assert whole == pytest.approx(10 * math.log10(1 + 10 ** ((added - thermal) / 10)), abs=1e-9)


@pytest.mark.parametrize(("mv", "spl", "dbu"), [(2, 74, -71.8), (10, 94, -37.8), (20, 94, -31.8), (20, 130, 4.2)])
def test_what_a_microphone_gives(mv: float, spl: float, dbu: float) -> None:
    assert connection.microphone_dbu(mv, spl) == pytest.approx(dbu, abs=0.05)


def test_what_a_weighting_takes_off_white_noise() -> None:
    """Published: the formula of IEC 61672-1 (corners 20.6, 107.7, 737.9 and 12194 Hz, 0 dB at 1 kHz), averaged."""
    f = (np.arange(200_000) + 0.5) / 10.0
    weighting = (
        12194**2 * f**4 / ((f**2 + 20.6**2) * np.sqrt((f**2 + 107.7**2) * (f**2 + 737.9**2)) * (f**2 + 12194**2))
    )
    off = 10 * math.log10(np.mean(weighting**2)) + 2.00
    assert off == pytest.approx(-2.05, abs=0.01)
    assert connection.converter_noise_dbfs(118.0) == pytest.approx(-118.0 - off, abs=0.01)
    assert connection.converter_noise_dbfs(math.inf) == -math.inf


def test_one_leg_of_two_is_half_the_voltage() -> None:
    assert {
        "balanced": 0.0,
        "one leg of two": pytest.approx(-6.02, abs=0.01),
        "cold to ground": 0,
    } == connection.WIRING_DB


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: connection.loading_db(-1, 10), "source_ohm is -1; give a resistance in ohm, 0 or above"),
        (lambda: connection.cable_corner_hz(10, 20, -1), "length_m is -1; a cable has 0 m or more"),
        (lambda: connection.loading_db(10, 0), "load_ohm is 0; an input has more than 0 ohm"),
        (lambda: connection.thermal_noise_dbu(math.nan), "ohm is nan"),
        (lambda: connection.cascade_noise_figure_db([1], []), "there are 1 gains and 0 noise figures"),
        (lambda: connection.converter_noise_dbfs(-3), "dynamic_range_db is -3; it must be 0 dB or above"),
    ],
)
def test_what_cannot_be_is_refused(call, sentence: str) -> None:
    with pytest.raises(GainError, match=sentence):
        call()
