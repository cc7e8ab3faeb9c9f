"""Connecting equipment: what loading and wiring do to a level, and what each stage does to the noise."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.decibels import db_from_power, db_from_ratio, dbu_from_volts, power_from_db, sum_db
from gainlib.errors import GainError

__all__ = [
    "A_WEIGHTED_WHITE_DB",
    "INPUT_OHM",
    "NOISE_BAND_HZ",
    "WIRING_DB",
    "cable_corner_hz",
    "cable_treble_db",
    "cascade_noise_figure_db",
    "converter_noise_dbfs",
    "input_noise_dbu",
    "loading_db",
    "microphone_dbu",
    "noise_figure_db",
    "thermal_noise_dbu",
    "whole_band",
]

NOISE_BAND_HZ = 20_000.0
"""The band in which noise is given here, up from 0 Hz."""

A_WEIGHTED_WHITE_DB = -2.05
"""What A-weighting takes off white noise in 20 kHz (derived: the mean over frequency of the weighting's power)."""

BOLTZMANN = 1.380649e-23

INPUT_OHM = {"microphone": 1_500.0, "line": 10_000.0, "instrument": 1_000_000.0}
"""The impedance of the three usual kinds of input (common practice; makers differ)."""

WIRING_DB = {
    "balanced": 0.0,
    "one leg of two": db_from_ratio(0.5),
    "cold to ground": 0.0,
}
"""What the wiring takes off a balanced output's level: only where both legs are driven and one is left open."""


def loading_db(source_ohm: float, load_ohm: float) -> float:
    """An input of ten times the source's impedance takes 0.8 dB off, one of the same impedance 6 dB.

    Parameters
    ----------
    source_ohm : float
        The impedance of the output, 0 or above.
    load_ohm : float
        The impedance of the input, above 0.

    Returns
    -------
    float
        The change of the level in dB, 0 or below.

    Raises
    ------
    GainError
        For an impedance that is negative, and for an input of 0 ohm.

    References
    ----------
    *Derived*: a voltage divider, 20 log10 of load / (load + source), both taken as plain resistances.

    Examples
    --------
    >>> round(loading_db(150, 1500), 2), round(loading_db(600, 600), 2)
    (-0.83, -6.02)
    """
    _require_ohm("source_ohm", source_ohm)
    if not load_ohm > 0:
        raise GainError(f"load_ohm is {load_ohm:g}; an input has more than 0 ohm.")
    return db_from_ratio(load_ohm / (load_ohm + source_ohm)) if math.isfinite(load_ohm) else 0.0


CABLE_FARAD = 100e-12
"""What the two wires of a metre of cable have between them (common practice; cables have some 50 to 150 pF)."""


def cable_corner_hz(source_ohm: float, load_ohm: float, length_m: float) -> float:
    """From here up a cable takes treble: 1750 Hz for ten metres behind 100 000 ohm, far above hearing behind 150.

    Parameters
    ----------
    source_ohm, load_ohm : float
        The impedances of the output and of the input, as in `loading_db`.
    length_m : float
        The length of the cable in metres, 0 or above.

    Returns
    -------
    float
        Where 3 dB are lost, in Hz; inf where nothing is.

    Raises
    ------
    GainError
        As `loading_db`, and for a length below 0 m.

    References
    ----------
    *Derived*: a capacitance across both resistances side by side, a low-pass of first order; no pickup's coil is in
    it. *Common practice*: 100 pF a metre.

    Examples
    --------
    >>> round(cable_corner_hz(100_000, 1e6, 10)), round(cable_corner_hz(150, 1500, 10))
    (1751, 1167136)
    """
    if not 0.0 <= length_m < math.inf:
        raise GainError(f"length_m is {length_m:g}; a cable has 0 m or more.")
    both_ohm = source_ohm * 10.0 ** (loading_db(source_ohm, load_ohm) / 20.0)  # side by side
    slow = 2.0 * math.pi * both_ohm * CABLE_FARAD * length_m
    return 1.0 / slow if slow else math.inf


def cable_treble_db(source_ohm: float, load_ohm: float, length_m: float, hertz: ArrayLike) -> NDArray[np.float64]:
    """Ten metres behind a guitar that is turned down take 10 dB off at 5 kHz, and nothing behind a microphone.

    Parameters
    ----------
    source_ohm, load_ohm, length_m : float
        As in `cable_corner_hz`.
    hertz : float or array of float
        The frequencies that are asked for.

    Returns
    -------
    ndarray of float64, as `hertz`
        The change at each of them in dB, beside `loading_db`.

    Raises
    ------
    GainError
        As `cable_corner_hz`.

    References
    ----------
    *Derived*: 10 log10 of 1 + (f / corner)², a low-pass of first order.

    Examples
    --------
    >>> [round(float(cable_treble_db(ohm, 1e6, 10, 5000)), 1) for ohm in (100_000, 10_000)]
    [-9.6, -0.4]
    """
    over = np.asarray(hertz, dtype=np.float64) / cable_corner_hz(source_ohm, load_ohm, length_m)
    return np.asarray(-db_from_power(1.0 + over**2))


def thermal_noise_dbu(ohm: float, *, band_hz: float = NOISE_BAND_HZ, kelvin: float = 290.0) -> float:
    """A resistance of 150 ohm makes a noise of -131 dBu by its warmth alone; no amplifier behind it can be quieter.

    Parameters
    ----------
    ohm : float
        The resistance of the source, 0 or above.
    band_hz : float
        The width of the band.
    kelvin : float
        The temperature; 290 K is 17 °C.

    Returns
    -------
    float
        The noise's level in dBu; -inf for 0 ohm.

    Raises
    ------
    GainError
        For a negative resistance.

    References
    ----------
    *Derived* from the published law of Johnson and Nyquist, U² = 4 k T R B.

    Examples
    --------
    >>> round(thermal_noise_dbu(150), 2), round(thermal_noise_dbu(200), 2)
    (-130.96, -129.72)
    """
    _require_ohm("ohm", ohm)
    return dbu_from_volts(math.sqrt(4.0 * BOLTZMANN * kelvin * ohm * band_hz))


def input_noise_dbu(input_dbu: float, output_dbu: float, gain_db: float) -> float:
    """The equivalent input noise at this gain: it rises towards low gain, where the output stage's noise counts.

    Parameters
    ----------
    input_dbu : float
        The noise of the input stage, at the input.
    output_dbu : float
        The noise of what follows the gain, where it arises.
    gain_db : float
        The gain between the two.

    Returns
    -------
    float
        Both as if they came in at the input, in dBu.

    References
    ----------
    *Derived*: the second noise looks smaller by the gain from the input, and powers add.

    Examples
    --------
    >>> [round(input_noise_dbu(-128, -100, gain), 1) for gain in (0, 20, 40, 60)]
    [-100.0, -119.4, -127.7, -128.0]
    """
    return sum_db([input_dbu, output_dbu - gain_db])


def noise_figure_db(noise_dbu: float, source_ohm: float = 150.0, *, kelvin: float = 290.0) -> float:
    """An input noise of -128 dBu with 150 ohm is 3 dB over what the 150 ohm make themselves.

    Parameters
    ----------
    noise_dbu : float
        The equivalent input noise in 20 kHz, unweighted.
    source_ohm : float
        The source it was measured with.
    kelvin : float
        The temperature.

    Returns
    -------
    float
        The noise figure in dB; below 0 dB the source or the weighting was another one.

    References
    ----------
    *Derived*: the equivalent input noise less the thermal noise of the source.

    Examples
    --------
    >>> round(noise_figure_db(-128.0), 2)
    2.96
    """
    return noise_dbu - thermal_noise_dbu(source_ohm, kelvin=kelvin)


def cascade_noise_figure_db(gains_db: Sequence[float], noise_figures_db: Sequence[float]) -> float:
    """The first stage decides: what follows it counts the less, the more gain stands before it.

    Parameters
    ----------
    gains_db : sequence of float
        The gain of each stage, the first first; that of the last does not matter.
    noise_figures_db : sequence of float
        The noise figure of each, as many.

    Returns
    -------
    float
        The noise figure of the whole chain in dB.

    Raises
    ------
    GainError
        Where there is no stage, or not as many gains as noise figures.

    References
    ----------
    *Published*: Friis 1944, F = F1 + (F2 - 1) / G1 + (F3 - 1) / (G1 G2), all as ratios of powers (*as others quote
    it*).

    Examples
    --------
    >>> round(cascade_noise_figure_db([40, 0], [2, 30]), 2), round(cascade_noise_figure_db([10, 0], [2, 30]), 2)
    (2.27, 20.06)
    """
    if not noise_figures_db or len(gains_db) != len(noise_figures_db):
        raise GainError(
            f"there are {len(gains_db)} gains and {len(noise_figures_db)} noise figures; give both of each stage."
        )
    factor, before = 1.0, 1.0
    for gain_db, figure_db in zip(gains_db, noise_figures_db, strict=True):
        factor += (power_from_db(figure_db) - 1.0) / before
        before *= power_from_db(gain_db)
    return db_from_power(factor)


def microphone_dbu(sensitivity_mv: float, sound_db_spl: float) -> float:
    """A microphone of 2 mV/Pa in front of speech at 74 dB SPL gives -72 dBu.

    Parameters
    ----------
    sensitivity_mv : float
        What it gives at 1 pascal, which is 94 dB SPL, in millivolts RMS.
    sound_db_spl : float
        The sound pressure level at the microphone.

    Returns
    -------
    float
        Its level in dBu, with nothing connected.

    Raises
    ------
    GainError
        For a negative sensitivity.

    References
    ----------
    *Derived*: 1 Pa is 94 dB above 20 µPa (93.98 dB; 94 is what data sheets use).

    Examples
    --------
    >>> round(microphone_dbu(2, 74), 1), round(microphone_dbu(20, 130), 1)
    (-71.8, 4.2)
    """
    return dbu_from_volts(sensitivity_mv / 1000.0) + sound_db_spl - 94.0


def converter_noise_dbfs(dynamic_range_db: float) -> float:
    """A converter of 110 dB, A-weighted as data sheets give it, has a noise of -108 dBFS RMS (AES17) in 20 kHz.

    Parameters
    ----------
    dynamic_range_db : float
        From a full-scale sine down to the A-weighted noise, 0 or above; inf for no noise.

    Returns
    -------
    float
        The noise without weighting, AES17 RMS in the band up to 20 kHz, as white noise.

    Raises
    ------
    GainError
        For a range below 0 dB.

    References
    ----------
    *Derived*: A-weighting (the formula of IEC 61672-1) takes 2.05 dB off white noise in 20 kHz. AES17 itself measures
    with another weighting and a tone 60 dB down, so its figure is another one (*as others quote it*).

    Examples
    --------
    >>> round(converter_noise_dbfs(110), 2)
    -107.95
    """
    if not dynamic_range_db >= 0.0:
        raise GainError(f"dynamic_range_db is {dynamic_range_db:g}; it must be 0 dB or above.")
    return -dynamic_range_db - A_WEIGHTED_WHITE_DB


def whole_band(rate_hz: int) -> float:
    """By what the RMS of noise that is given in 20 kHz grows where it goes on, at the same density, to half the rate.

    Parameters
    ----------
    rate_hz : int
        The sample rate.

    Returns
    -------
    float
        The ratio of the two RMS.

    References
    ----------
    *Derived*: power is density times bandwidth.

    Examples
    --------
    >>> round(whole_band(48_000), 4), whole_band(40_000)
    (1.0954, 1.0)
    """
    return math.sqrt(rate_hz / 2 / NOISE_BAND_HZ)


def _require_ohm(name: str, ohm: float) -> None:
    if not 0.0 <= ohm < math.inf:
        raise GainError(f"{name} is {ohm:g}; give a resistance in ohm, 0 or above.")
