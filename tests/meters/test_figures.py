"""A few figures as a small table: of recordings by their measures, and of figures that are there already."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.meters import tell

HALF = Audio(np.full(4800, 0.5), 48_000, "half")
FULL = Audio(np.full(4800, 1.0), 48_000, "full")


def test_recordings_side_by_side_are_read_by_their_measures():
    told = tell({"half": HALF, "full <b>": FULL}, "peak_dbfs", "rms_dbfs", "clipped_runs")
    assert told.columns == ("peak", "RMS (AES17)", "clipped runs")
    # DC at 1 is 3.0 dB over the RMS of a full-scale sine, and one run at full scale
    assert told.rows == (("half", ("−6.0 dBFS", "−3.0 dBFS", "0")), ("full <b>", ("0.0 dBFS", "3.0 dBFS", "1")))
    assert "<th scope=row>full &lt;b&gt;</th>" in told._repr_html_()


def test_one_recording_needs_no_name():
    told = tell(HALF, "peak_dbfs", "crest_db")
    assert repr(told) == "peak −6.0 dBFS, crest 0.0 dB"
    assert "scope=row" not in told._repr_html_()


def test_figures_stand_with_the_unit_of_their_column():
    told = tell({"softer": (0.74, 3, "as it is")}, "turned down by, dB", "cuts", "note")
    assert repr(told) == "softer: turned down by 0.7 dB, cuts 3, note as it is"


def test_what_cannot_be_told_is_refused():
    with pytest.raises(GainError, match="'softer' has 1 figures and there are 2 columns"):
        tell({"softer": [1.0]}, "one", "two")
    with pytest.raises(GainError, match="peak_dbfs"):
        tell(HALF, "peak_dbf")
