"""Level arithmetic against printed tables and worked examples."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import gainlib.decibels as db
from gainlib.errors import GainError

# (function, argument, expected, tolerance, source, standing)
CONVERSIONS = [
    (db.volts_from_dbu, 0.0, 0.7746, 5e-5, "1 mW in 600 ohm; ITU-R BS.645-2 prints 0.775 V", "published"),
    (db.volts_from_dbu, 4.0, 1.228, 5e-4, "line level +4 dBu = 1.228 V, in many manuals", "published"),
    (db.volts_from_dbu, 18.0, 6.1528, 5e-5, "sqrt(0.6) x 10^0.9", "derived"),
    (db.volts_from_dbu, 24.0, 12.2765, 5e-5, "sqrt(0.6) x 10^1.2", "derived"),
    (db.volts_from_dbv, -10.0, 0.3162, 5e-5, "definition of dBV", "published"),
    (db.dbu_from_volts, 1.0, 2.2185, 5e-5, "0 dBV = +2.2185 dBu", "derived"),
    (db.dbu_from_dbv, -10.0, -7.7815, 5e-5, "0 dBV = +2.2185 dBu", "derived"),
    (db.dbv_from_dbu, 4.0, 1.7815, 5e-5, "0 dBV = +2.2185 dBu", "derived"),
    (db.dbu_from_volts, 0.502, -3.77, 0.005, "EBU Tech 3344 6.20: 502 mV", "published"),
    (db.db_from_ratio, 2.0, 6.0206, 5e-5, "20 log10 2", "derived"),
    (db.db_from_power, 2.0, 3.0103, 5e-5, "10 log10 2", "derived"),
    (db.ratio_from_db, -20.0, 0.1, 1e-12, "definition of the decibel", "published"),
    (db.power_from_db, -20.0, 0.01, 1e-12, "definition of the decibel", "published"),
    (db.rms_dbfs_from_power, 0.5, 0.0, 1e-12, "AES17: a full-scale sine, mean square 1/2, reads 0 dBFS", "published"),
    (db.rms_dbfs_from_power, 1.0, 3.0103, 5e-5, "AES17: a full-scale square reads +3.01 dBFS", "published"),
    (db.power_from_rms_dbfs, -20.0, 0.005, 1e-12, "AES17: a hundredth of a full-scale sine's power", "published"),
]


@pytest.mark.parametrize(("function", "given_", "expected", "tolerance", "source", "standing"), CONVERSIONS)
def test_conversions_agree_with_the_printed_figure(function, given_, expected, tolerance, source, standing):
    assert function(given_) == pytest.approx(expected, abs=tolerance), source


# (levels, coherent, expected, tolerance, source)
SUMS = [
    ([35, 40, 45], False, 46.5, 0.05, "Städtebauliche Lärmfibel 2.4.2"),
    ([40, 45], False, 46.2, 0.05, "Städtebauliche Lärmfibel 2.4.2"),
    ([55, 55], False, 58, 0.05, "Städtebauliche Lärmfibel 2.4.2"),
    ([43, 44, 58], False, 58, 0.5, "Städtebauliche Lärmfibel 2.4.2"),
    ([62, 73], False, 73.3, 0.05, "worked example, published"),
    ([50] * 2, False, 53, 0.05, "Minnesota noise guide 2008"),
    ([50] * 4, False, 56, 0.05, "Minnesota noise guide 2008"),
    ([50] * 8, False, 59, 0.05, "Minnesota noise guide 2008"),
    ([-20] * 10, False, -10, 1e-9, "10 log10 10 = 10 dB, derived"),
    ([0, 0], True, 6.02, 0.005, "two coherent equal sines +6 dB"),
    ([-20] * 10, True, 0, 1e-9, "20 log10 10 = 20 dB, derived"),
    ([0, -6], True, 3.529, 0.0005, "20 log10(1 + 10^(-6/20)), derived"),
    ([0, -6], False, 0.973, 0.0005, "10 log10(1 + 10^(-6/10)), derived"),
]


@pytest.mark.parametrize(("levels", "coherent", "expected", "tolerance", "source"), SUMS)
def test_sums_agree_with_worked_examples(levels, coherent, expected, tolerance, source):
    assert db.sum_db(levels, coherent=coherent) == pytest.approx(expected, abs=tolerance), source


def test_a_sum_of_nothing_or_of_silence_is_silence():
    assert db.sum_db([]) == -math.inf
    assert db.sum_db([-math.inf, -math.inf], coherent=True) == -math.inf
    assert db.sum_db([-math.inf, -20.0]) == pytest.approx(-20.0)


# (alignment, dBu, dBFS, source)
ALIGNED = [
    ("EBU R 68", 0.0, -18.0, "EBU R 68-2000: alignment level 18 dB below full scale"),
    ("EBU R 68", 6.0, -12.0, "EBU Tech 3344 6.20: -12 dBTP is +6 dBu"),
    ("SMPTE RP 155", 4.0, -20.0, "SMPTE RP 155: +4 dBu at -20 dBFS"),
    (22.0, 4.0, -18.0, "0 dBFS at +22 dBu, headroom arithmetic"),
]


@pytest.mark.parametrize(("choice", "dbu", "dbfs", "source"), ALIGNED)
def test_alignment(choice, dbu, dbfs, source):
    aligned = db.alignment(choice)
    assert aligned.dbfs_from_dbu(dbu) == pytest.approx(dbfs, abs=1e-12), source
    assert aligned.dbu_from_dbfs(dbfs) == pytest.approx(dbu, abs=1e-12)


def test_the_voltage_that_fills_a_converter():
    # +18 dBu is 6.1528 V RMS, so a sine of 8.7014 V peak (derived).
    assert db.EBU_R68.full_scale_volts == pytest.approx(8.7014, abs=5e-5)


@given(st.floats(-200, 200))
def test_decibels_and_ratios_undo_each_other(level):
    assert db.db_from_ratio(db.ratio_from_db(level)) == pytest.approx(level, abs=1e-9)
    assert db.db_from_power(db.power_from_db(level)) == pytest.approx(level, abs=1e-9)
    assert db.dbu_from_volts(db.volts_from_dbu(level)) == pytest.approx(level, abs=1e-9)
    assert db.dbv_from_dbu(db.dbu_from_dbv(level)) == pytest.approx(level, abs=1e-9)


@given(st.lists(st.floats(-120, 20), min_size=1, max_size=20))
def test_a_sum_lies_between_the_loudest_and_the_coherent_sum(levels):
    unrelated = db.sum_db(levels)
    assert max(levels) - 1e-9 <= unrelated <= db.sum_db(levels, coherent=True) + 1e-9


def test_silence_is_minus_infinity_and_back():
    assert db.db_from_ratio(0.0) == -math.inf
    assert db.ratio_from_db(-math.inf) == 0.0
    assert db.db_from_ratio([0.0, 1.0]).tolist() == [-math.inf, 0.0]


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: db.db_from_ratio(-1.0), "ratio holds -1; it must be 0 or above"),
        (lambda: db.db_from_power([1.0, math.nan]), "power holds nan; it must be 0 or above"),
        (lambda: db.ratio_from_db(math.nan), "level_db holds a value that is not a number"),
        (lambda: db.sum_db([0.0, math.nan]), "levels_db holds a value that is not a number"),
        (lambda: db.alignment("EBU R 86"), "alignment is 'EBU R 86'; give [+]15 dBu, EBU R 68, [+]20 dBu"),
        (lambda: db.Alignment("x", math.inf), "dbu_at_full_scale is inf; give the dBu"),
    ],
)
def test_errors_name_what_arrived_and_what_to_do(call, sentence):
    with pytest.raises(GainError, match=sentence.replace("(", r"\(")):
        call()


def test_the_zero_of_rms_levels_stands_in_one_place():
    # Whoever squares the zero, or writes 3.01 dB for it, makes a second definition beside `rms_dbfs_from_power`.
    package = Path(db.__file__).parent
    second = r"AES17_ZERO_RMS\s*\*\*\s*2|10\.?0? \* (np|math)\.log10\(2|[-+] 3\.010?3?\b"
    found = [path.name for path in package.rglob("*.py") if re.search(second, path.read_text(encoding="utf-8"))]
    assert found == ["decibels.py"]


def test_one_number_gives_one_number_and_an_array_an_array():
    for function, _, *_ in CONVERSIONS:
        assert type(function(0.5)) is type(function(np.float64(0.5))) is float
        assert function(np.array([0.5, 1.0])).shape == function([0.5, 1.0]).shape == (2,)
