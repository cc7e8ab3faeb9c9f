"""A column of the survey is one entry: JSON, CSV, the sheet, trims, the sum and a comparison then have it."""

from __future__ import annotations

import csv
import io

import pytest

from gainlib.meters import measures
from gainlib.surveys import COLUMNS, Column, as_csv, as_dict
from gainlib.surveys.comparison import compare
from gainlib.surveys.sheet import gain_sheet
from gainlib.surveys.survey import survey

NEW = "ppm_type2_max_dbfs"


def test_every_column_is_a_measure_that_a_stream_can_be_read_by():
    for name, column in COLUMNS.items():
        assert column.measure == name
        assert measures()[name].make is not None


@pytest.mark.parametrize(
    ("name", "after"),
    [
        ("peak_dbfs", -9.0),
        ("noise_floor_dbfs", -9.0),
        ("headroom_db", -3.0),
        ("crest_db", -6.0),
        ("clipped_runs", -6.0),
    ],
)
def test_what_a_trim_of_3_db_down_does_to_a_reading_of_minus_6(name, after):
    assert COLUMNS[name].moved(-6.0, -3.0) == after


def test_a_new_column_is_one_entry(tmp_path, making, monkeypatch):
    assert NEW not in COLUMNS
    monkeypatch.setitem(COLUMNS, NEW, Column(NEW, "level", "Programme meter"))
    quieter = making.save(tmp_path / "quieter.wav", making.tone(2.0, 0.125, 1000.0))
    # Twice the amplitude is 6.02 dB more on any meter; half a stem more makes a sum of two.
    making.save(tmp_path / "two" / "a.wav", making.tone(2.0, 0.25, 1000.0))
    making.save(tmp_path / "two" / "b.wav", making.tone(2.0, 0.25, 1000.0))
    made, before = survey(tmp_path / "two"), survey(quieter, title="then")
    one = made.stem("a").readings[NEW]
    assert as_dict(made)["stems"][0]["measures"][NEW] == pytest.approx(one, abs=1e-3)
    assert made.sum.before[NEW] == pytest.approx(one + 6.0206, abs=0.01)
    assert made.sum.delivered(NEW) == pytest.approx(made.sum.after[NEW] + made.sum.main_trim_db)
    assert float(next(csv.DictReader(io.StringIO(as_csv(made))))[NEW]) == pytest.approx(one, abs=0.051)
    assert "Programme meter<br>dBFS" in gain_sheet(made)
    changes = compare(before, survey(tmp_path / "two" / "a.wav"))
    moved = {change.measure: change.after - change.before for change in changes.levels}
    assert moved[NEW] == pytest.approx(6.0206, abs=0.01)
