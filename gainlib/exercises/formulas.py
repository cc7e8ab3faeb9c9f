"""The reckonings that a file may name: level arithmetic on numbers, by a fixed list; nothing of a file is executed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from gainlib import connection, decibels
from gainlib.errors import GainError, suggest
from gainlib.stages import Compressor

__all__ = ["Formula", "calculate", "formulas"]


@dataclass(frozen=True)
class Formula:
    """One reckoning: its name, what it is given, the unit of what it gives, what it means.

    >>> formulas()["sum_db"].needs
    'level_db, level_db, …'
    """

    name: str
    needs: str
    unit: str
    meaning: str
    work: Callable[..., object]

    @property
    def least(self) -> int:
        """How many numbers it needs at least."""
        return len(self.needs.removesuffix(", …").split(", "))

    @property
    def any_more(self) -> bool:
        """Whether it takes more of the same."""
        return self.needs.endswith("…")


def _equal_sum_db(level_db: float, count: float) -> float:
    return level_db + float(decibels.db_from_power(count))


def _equal_same_sum_db(level_db: float, count: float) -> float:
    return level_db + float(decibels.db_from_ratio(count))


def _word_noise_dbfs(bits: float) -> float:
    # A step is 2^(1 - bits) of full scale, its rounding has the RMS step / sqrt(12), and AES17 counts from a sine.
    return float(decibels.db_from_ratio(2.0 ** (1.0 - bits) / math.sqrt(12.0) / decibels.AES17_ZERO_RMS))


def _static_reduction_db(level_db: float, threshold_db: float, ratio: float) -> float:
    return float(Compressor(threshold_db=threshold_db, ratio=ratio, knee_db=0.0).reduction_at_db(level_db))


_FORMULAS = {
    each.name: each
    for each in (
        Formula("dbu_from_volts", "volts_rms", "dBu", "0.775 V is 0 dBu.", decibels.dbu_from_volts),
        Formula("volts_from_dbu", "level_dbu", "V", "0 dBu is 0.775 V.", decibels.volts_from_dbu),
        Formula("dbv_from_volts", "volts_rms", "dBV", "1 V is 0 dBV.", decibels.dbv_from_volts),
        Formula("volts_from_dbv", "level_dbv", "V", "0 dBV is 1 V.", decibels.volts_from_dbv),
        Formula("dbu_from_dbv", "level_dbv", "dBu", "0 dBV is 2.2 dBu.", decibels.dbu_from_dbv),
        Formula("dbv_from_dbu", "level_dbu", "dBV", "4 dBu is 1.8 dBV.", decibels.dbv_from_dbu),
        Formula("db_from_ratio", "ratio", "dB", "Twice the voltage or amplitude is 6 dB.", decibels.db_from_ratio),
        Formula("ratio_from_db", "level_db", "", "6 dB is twice the voltage or amplitude.", decibels.ratio_from_db),
        Formula("db_from_power", "ratio", "dB", "Twice the power is 3 dB.", decibels.db_from_power),
        Formula("power_from_db", "level_db", "", "3 dB is twice the power.", decibels.power_from_db),
        Formula(
            "sum_db",
            "level_db, level_db, …",
            "dB",
            "Unrelated signals together: their powers add.",
            lambda *levels: decibels.sum_db(levels),
        ),
        Formula(
            "sum_same_db",
            "level_db, level_db, …",
            "dB",
            "The same signal several times: amplitudes add.",
            lambda *levels: decibels.sum_db(levels, coherent=True),
        ),
        Formula("equal_sum_db", "level_db, count", "dB", "So many unrelated signals of one level.", _equal_sum_db),
        Formula("equal_same_sum_db", "level_db, count", "dB", "The same signal so many times.", _equal_same_sum_db),
        Formula(
            "dbfs_from_dbu",
            "level_dbu, zero_dbfs_dbu",
            "dBFS",
            "What a level reads after a converter whose full scale is so many dBu.",
            lambda level, zero: decibels.Alignment("", zero).dbfs_from_dbu(level),
        ),
        Formula(
            "dbu_from_dbfs",
            "level_dbfs, zero_dbfs_dbu",
            "dBu",
            "The level in front of that converter.",
            lambda level, zero: decibels.Alignment("", zero).dbu_from_dbfs(level),
        ),
        Formula(
            "word_noise_dbfs",
            "bits",
            "dBFS",
            "The rounding noise of so many bits (AES17, no dither).",
            _word_noise_dbfs,
        ),
        Formula(
            "static_reduction_db",
            "level_db, threshold_db, ratio",
            "dB",
            "What a compressor without a knee takes off a steady level.",
            _static_reduction_db,
        ),
        Formula(
            "allowed_hours",
            "level_dba",
            "h",
            "How long a day a sound level is allowed: 8 h at 85 dBA, half of that for each 3 dB more.",
            lambda level_dba: 8.0 / 2.0 ** ((level_dba - 85.0) / 3.0),
        ),
        Formula(
            "loading_db",
            "source_ohm, load_ohm",
            "dB",
            "What an input takes off an output's level.",
            connection.loading_db,
        ),
        Formula("difference", "first, second", "", "The first less the second.", lambda first, second: first - second),
        Formula("total", "first, second, …", "", "All of them added up.", lambda *numbers: sum(numbers)),
        Formula("product", "first, second, …", "", "All of them multiplied.", lambda *numbers: math.prod(numbers)),
        Formula("quotient", "first, second", "", "The first over the second.", lambda first, second: first / second),
    )
}


def formulas() -> dict[str, Formula]:
    """Every reckoning that a file may name: what it needs, its unit and its meaning.

    >>> formulas()["volts_from_dbu"].unit
    'V'
    """
    return dict(_FORMULAS)


def require_formula(name: str, count: int) -> Formula:
    """The reckoning of that name, or a GainError that names the nearest or says how many numbers it needs.

    >>> require_formula("total", 3).meaning
    'All of them added up.'
    """
    if name not in _FORMULAS:
        raise GainError(f"{name!r} is not a formula; {suggest(name[:80], _FORMULAS)}")
    chosen = _FORMULAS[name]
    if count < chosen.least or (count > chosen.least and not chosen.any_more):
        raise GainError(f"{name} is given {count} numbers in with; it needs {chosen.needs}.")
    return chosen


def calculate(name: str, numbers: list[float]) -> float:
    """The result of a reckoning; GainError for one that is not known and for numbers it cannot work with.

    >>> round(calculate("sum_db", [-20.0, -20.0]), 2)
    -16.99
    """
    chosen = require_formula(name, len(numbers))
    given = ", ".join(f"{each:g}" for each in numbers)
    try:
        with np.errstate(over="ignore"):
            result = float(chosen.work(*numbers))  # type: ignore[arg-type]
    except (OverflowError, ZeroDivisionError, ValueError) as fault:
        raise GainError(f"{name} cannot be worked out from {given}: {fault}") from fault
    if math.isnan(result) or result == math.inf:
        raise GainError(f"{name} of {given} is beyond all bounds; give other numbers.")
    return result
