"""Level arithmetic: ratios and decibels, dBu, dBV and volts, sums of levels, alignment of analogue to digital."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.errors import GainError

__all__ = [
    "AES17_ZERO_RMS",
    "ALIGNMENTS",
    "EBU_R68",
    "SMPTE_RP155",
    "ZERO_DBU_VOLTS",
    "Alignment",
    "alignment",
    "db_from_power",
    "db_from_ratio",
    "dbu_from_dbv",
    "dbu_from_volts",
    "dbv_from_dbu",
    "dbv_from_volts",
    "power_from_db",
    "power_from_rms_dbfs",
    "ratio_from_db",
    "rms_dbfs_from_power",
    "sum_db",
    "volts_from_dbu",
    "volts_from_dbv",
]

MOST_DBU = 200.0
ZERO_DBU_VOLTS = math.sqrt(0.6)
"""0 dBu in volts RMS: 1 mW in 600 ohm, 0.7746 V (published: ITU-R BS.645-2 prints 0.775 V)."""

AES17_ZERO_RMS = math.sqrt(0.5)
"""The mathematical RMS that reads 0 dBFS RMS: that of a full-scale sine (published: AES17, IEC 61606)."""

Floats = NDArray[np.float64]
Many = NDArray[np.floating[Any]] | NDArray[np.integer[Any]] | Sequence[float]
One = float | np.floating[Any]


def _as_levels(values: ArrayLike, name: str) -> Floats:
    levels = np.asarray(values, dtype=np.float64)
    if np.isnan(levels).any():
        raise GainError(f"{name} holds a value that is not a number; give levels in dB, -inf for silence.")
    return levels


def _as_amounts(values: ArrayLike, name: str) -> Floats:
    amounts = np.asarray(values, dtype=np.float64)
    if np.isnan(amounts).any() or (amounts < 0).any():
        raise GainError(f"{name} holds {np.ravel(amounts)[~(np.ravel(amounts) >= 0)][0]:g}; it must be 0 or above.")
    return amounts


def _plain(values: Floats) -> Floats | float:
    return float(values) if values.ndim == 0 else values


@overload
def db_from_ratio(ratio: One) -> float: ...
@overload
def db_from_ratio(ratio: Many) -> Floats: ...
def db_from_ratio(ratio: One | Many) -> Floats | float:
    """An amplitude ratio of 2 is +6.02 dB: 20 log10 of the ratio; 0 is -inf.

    Parameters
    ----------
    ratio : float or array
        Amplitude ratios, 0 or above.

    Returns
    -------
    float or ndarray
        Decibels, in the same shape.

    Raises
    ------
    GainError
        For a negative ratio or one that is not a number.

    References
    ----------
    *Published*: ISO 80000-8 (level of a field quantity).

    Examples
    --------
    >>> round(db_from_ratio(2.0), 2)
    6.02
    >>> db_from_ratio(0.0)
    -inf
    """
    amounts = _as_amounts(ratio, "ratio")
    with np.errstate(divide="ignore"):
        return _plain(np.asarray(20.0 * np.log10(amounts)))


@overload
def ratio_from_db(level_db: One) -> float: ...
@overload
def ratio_from_db(level_db: Many) -> Floats: ...
def ratio_from_db(level_db: One | Many) -> Floats | float:
    """-6 dB is about half the amplitude: 10 to the power of level / 20; -inf is 0.

    Parameters
    ----------
    level_db : float or array
        Decibels.

    Returns
    -------
    float or ndarray
        Amplitude ratios, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Published*: ISO 80000-8 (level of a field quantity).

    Examples
    --------
    >>> round(ratio_from_db(-6.0206), 4)
    0.5
    """
    return _plain(np.asarray(10.0 ** (_as_levels(level_db, "level_db") / 20.0)))


@overload
def db_from_power(power: One) -> float: ...
@overload
def db_from_power(power: Many) -> Floats: ...
def db_from_power(power: One | Many) -> Floats | float:
    """Twice the power is +3.01 dB: 10 log10 of a power ratio; 0 is -inf.

    Parameters
    ----------
    power : float or array
        Power ratios, 0 or above.

    Returns
    -------
    float or ndarray
        Decibels, in the same shape.

    Raises
    ------
    GainError
        For a negative ratio or one that is not a number.

    References
    ----------
    *Published*: ISO 80000-8 (level of a power quantity).

    Examples
    --------
    >>> round(db_from_power(2.0), 2)
    3.01
    """
    amounts = _as_amounts(power, "power")
    with np.errstate(divide="ignore"):
        return _plain(np.asarray(10.0 * np.log10(amounts)))


@overload
def power_from_db(level_db: One) -> float: ...
@overload
def power_from_db(level_db: Many) -> Floats: ...
def power_from_db(level_db: One | Many) -> Floats | float:
    """+3.01 dB is twice the power: 10 to the power of level / 10; -inf is 0.

    Parameters
    ----------
    level_db : float or array
        Decibels.

    Returns
    -------
    float or ndarray
        Power ratios, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Published*: ISO 80000-8 (level of a power quantity).

    Examples
    --------
    >>> round(power_from_db(10.0), 6)
    10.0
    """
    return _plain(np.asarray(10.0 ** (_as_levels(level_db, "level_db") / 10.0)))


@overload
def rms_dbfs_from_power(mean_square: One) -> float: ...
@overload
def rms_dbfs_from_power(mean_square: Many) -> Floats: ...
def rms_dbfs_from_power(mean_square: One | Many) -> Floats | float:
    """A mean square of 0.5, that of a full-scale sine, is 0 dBFS RMS: the AES17 zero, and the only place that has it.

    Parameters
    ----------
    mean_square : float or array
        Mean squares of samples whose full scale is ±1.0, 0 or above.

    Returns
    -------
    float or ndarray
        AES17 RMS levels in dBFS, in the same shape; -inf for silence.

    Raises
    ------
    GainError
        For a negative mean square or one that is not a number.

    References
    ----------
    *Published*: AES17 and IEC 61606 (the zero is a full-scale sine, so a full-scale square reads +3.01 dBFS).

    Examples
    --------
    >>> round(rms_dbfs_from_power(1.0), 2), round(rms_dbfs_from_power(0.005), 2)
    (3.01, -20.0)
    """
    return db_from_power(np.asarray(mean_square) / AES17_ZERO_RMS**2)


@overload
def power_from_rms_dbfs(level_dbfs: One) -> float: ...
@overload
def power_from_rms_dbfs(level_dbfs: Many) -> Floats: ...
def power_from_rms_dbfs(level_dbfs: One | Many) -> Floats | float:
    """0 dBFS RMS is a mean square of 0.5: the way back from `rms_dbfs_from_power`.

    Parameters
    ----------
    level_dbfs : float or array
        AES17 RMS levels in dBFS, -inf for silence.

    Returns
    -------
    float or ndarray
        Mean squares, full scale ±1.0, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Published*: AES17 and IEC 61606 (the zero).

    Examples
    --------
    >>> round(power_from_rms_dbfs(-20.0), 6)
    0.005
    """
    return _plain(np.asarray(power_from_db(_as_levels(level_dbfs, "level_dbfs")) * AES17_ZERO_RMS**2))


@overload
def dbu_from_volts(volts_rms: One) -> float: ...
@overload
def dbu_from_volts(volts_rms: Many) -> Floats: ...
def dbu_from_volts(volts_rms: One | Many) -> Floats | float:
    """0.7746 V RMS is 0 dBu; 1.228 V is +4 dBu.

    Parameters
    ----------
    volts_rms : float or array
        Volts RMS, 0 or above.

    Returns
    -------
    float or ndarray
        dBu, in the same shape.

    Raises
    ------
    GainError
        For a negative voltage or one that is not a number.

    References
    ----------
    *Published*: ITU-R BS.645-2.

    Examples
    --------
    >>> round(dbu_from_volts(1.227653), 3)
    4.0
    """
    return db_from_ratio(_as_amounts(volts_rms, "volts_rms") / ZERO_DBU_VOLTS)


@overload
def volts_from_dbu(level_dbu: One) -> float: ...
@overload
def volts_from_dbu(level_dbu: Many) -> Floats: ...
def volts_from_dbu(level_dbu: One | Many) -> Floats | float:
    """+4 dBu is 1.228 V RMS.

    Parameters
    ----------
    level_dbu : float or array
        dBu.

    Returns
    -------
    float or ndarray
        Volts RMS, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Published*: ITU-R BS.645-2.

    Examples
    --------
    >>> round(volts_from_dbu(4.0), 3)
    1.228
    """
    return ratio_from_db(level_dbu) * ZERO_DBU_VOLTS


@overload
def dbv_from_volts(volts_rms: One) -> float: ...
@overload
def dbv_from_volts(volts_rms: Many) -> Floats: ...
def dbv_from_volts(volts_rms: One | Many) -> Floats | float:
    """1 V RMS is 0 dBV; 0.316 V is -10 dBV.

    Parameters
    ----------
    volts_rms : float or array
        Volts RMS, 0 or above.

    Returns
    -------
    float or ndarray
        dBV, in the same shape.

    Raises
    ------
    GainError
        For a negative voltage or one that is not a number.

    References
    ----------
    *Published*: IEC 60027-3.

    Examples
    --------
    >>> round(dbv_from_volts(0.316228), 3)
    -10.0
    """
    return db_from_ratio(_as_amounts(volts_rms, "volts_rms"))


@overload
def volts_from_dbv(level_dbv: One) -> float: ...
@overload
def volts_from_dbv(level_dbv: Many) -> Floats: ...
def volts_from_dbv(level_dbv: One | Many) -> Floats | float:
    """-10 dBV is 0.316 V RMS.

    Parameters
    ----------
    level_dbv : float or array
        dBV.

    Returns
    -------
    float or ndarray
        Volts RMS, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Published*: IEC 60027-3.

    Examples
    --------
    >>> round(volts_from_dbv(-10.0), 3)
    0.316
    """
    return ratio_from_db(level_dbv)


@overload
def dbu_from_dbv(level_dbv: One) -> float: ...
@overload
def dbu_from_dbv(level_dbv: Many) -> Floats: ...
def dbu_from_dbv(level_dbv: One | Many) -> Floats | float:
    """0 dBV is +2.22 dBu.

    Parameters
    ----------
    level_dbv : float or array
        dBV.

    Returns
    -------
    float or ndarray
        dBu, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Derived*: 20 log10 of 1 V over 0.7746 V.

    Examples
    --------
    >>> round(dbu_from_dbv(-10.0), 2)
    -7.78
    """
    return dbu_from_volts(volts_from_dbv(level_dbv))


@overload
def dbv_from_dbu(level_dbu: One) -> float: ...
@overload
def dbv_from_dbu(level_dbu: Many) -> Floats: ...
def dbv_from_dbu(level_dbu: One | Many) -> Floats | float:
    """+4 dBu is +1.78 dBV.

    Parameters
    ----------
    level_dbu : float or array
        dBu.

    Returns
    -------
    float or ndarray
        dBV, in the same shape.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Derived*: 20 log10 of 0.7746 V over 1 V.

    Examples
    --------
    >>> round(dbv_from_dbu(4.0), 2)
    1.78
    """
    return dbv_from_volts(volts_from_dbu(level_dbu))


def sum_db(levels_db: Iterable[float], *, coherent: bool = False) -> float:
    """Two equal unrelated signals add to +3 dB, two identical ones to +6 dB.

    Parameters
    ----------
    levels_db : iterable of float
        Any number of levels in dB; -inf for silence.
    coherent : bool
        Unrelated signals (the default) add their powers; coherent ones, which are the same signal in phase, add their
        amplitudes.

    Returns
    -------
    float
        The level of the sum in dB; of no level at all -inf.

    Raises
    ------
    GainError
        For a level that is not a number.

    References
    ----------
    *Derived*: 10 log10 of the sum of powers, 20 log10 of the sum of amplitudes.

    Examples
    --------
    >>> round(sum_db([-20.0, -20.0]), 2), round(sum_db([-20.0, -20.0], coherent=True), 2)
    (-16.99, -13.98)
    """
    levels = _as_levels(list(levels_db), "levels_db")
    if coherent:
        return db_from_ratio(float(np.sum(ratio_from_db(levels))))
    return db_from_power(float(np.sum(power_from_db(levels))))


def _converter_dbu(name: str, value: object) -> float:
    """The number of dBu that make 0 dBFS, or a GainError for what no converter has."""
    if not isinstance(value, int | float | np.integer | np.floating) or isinstance(value, bool):
        raise GainError(f"{name} is a {type(value).__name__}; give the dBu that make 0 dBFS, for example 18.")
    if not -MOST_DBU <= value <= MOST_DBU:
        given = f"{value:g}" if isinstance(value, float) else f"beyond {MOST_DBU:g}"
        raise GainError(f"{name} is {given}; give the dBu that make 0 dBFS, for example 18.")
    return float(value)


@dataclass(frozen=True)
class Alignment:
    """How many dBu make 0 dBFS in a converter: an equipment setting, never assumed.

    `dbu_at_full_scale` is the RMS level of the sine that just reaches full scale. Raises GainError if it is no
    number that a converter can have.

    >>> EBU_R68.dbfs_from_dbu(0.0), SMPTE_RP155.dbfs_from_dbu(4.0)
    (-18.0, -20.0)
    """

    name: str
    dbu_at_full_scale: float

    def __post_init__(self) -> None:
        _converter_dbu("dbu_at_full_scale", self.dbu_at_full_scale)

    def dbfs_from_dbu(self, level_dbu: float) -> float:
        """The dBFS that this many dBu read behind the converter."""
        return level_dbu - self.dbu_at_full_scale

    def dbu_from_dbfs(self, level_dbfs: float) -> float:
        """The dBu in front of the converter that read this many dBFS behind it."""
        return level_dbfs + self.dbu_at_full_scale

    @property
    def full_scale_volts(self) -> float:
        """The voltage peak that reaches ±1.0 in the converter."""
        return volts_from_dbu(self.dbu_at_full_scale) * math.sqrt(2.0)


EBU_R68 = Alignment("EBU R 68", 18.0)
"""The alignment level stands at -18 dBFS (published); where that level is 0 dBu, as here, 0 dBFS is +18 dBu."""

SMPTE_RP155 = Alignment("SMPTE RP 155", 24.0)
"""The alignment level stands at -20 dBFS (published, as ATSC A/85 quotes it); with +4 dBu, as here, 0 dBFS is +24."""

ALIGNMENTS = {
    each.name: each
    for each in (
        Alignment("+15 dBu", 15.0), EBU_R68, Alignment("+20 dBu", 20.0), Alignment("+22 dBu", 22.0), SMPTE_RP155,
    )
}  # fmt: skip
"""The usual full scales of converters by name: the two published alignments at their usual level in dBu, and others
(common practice). Neither publication says how many dBu its alignment level is."""


def alignment(choice: str | float | Alignment) -> Alignment:
    """The alignment meant by a published name or by a number of dBu for 0 dBFS.

    Parameters
    ----------
    choice : str, float or Alignment
        One of `ALIGNMENTS` by its name, or the dBu of the sine that reaches full scale, or an alignment itself.

    Returns
    -------
    Alignment
        What was meant.

    Raises
    ------
    GainError
        For a name that is not known, and a number that is not finite.

    References
    ----------
    *Published*: EBU R 68 (-18 dBFS), SMPTE RP 155 (-20 dBFS); *common practice*: their level in dBu, other full scales.

    Examples
    --------
    >>> alignment("EBU R 68").dbu_at_full_scale, alignment(22).dbu_at_full_scale
    (18.0, 22.0)
    """
    if isinstance(choice, Alignment):
        return choice
    if isinstance(choice, str):
        if choice not in ALIGNMENTS:
            raise GainError(
                f"alignment is {choice!r}; give {', '.join(ALIGNMENTS)}, or the number of dBu that make 0 dBFS."
            )
        return ALIGNMENTS[choice]
    dbu = _converter_dbu("alignment", choice)
    return Alignment(f"{dbu:+g} dBu", dbu)
