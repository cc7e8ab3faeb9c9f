"""The columns of a survey: what is read of each stem, and what that is to the sheet, the trims and a comparison."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["COLUMNS", "Column"]


@dataclass(frozen=True)
class Column:
    """One measure of `gainlib.measures()` as a survey has it.

    `heading` is its name on the gain sheet; without one it stands in JSON and CSV only. `kind` says what a trim
    does to it: a "level" of the signal and the "floor" below it move with it decibel for decibel, "room" against it, a
    "shape" and a "count" not at all. Between two surveys a change of `least_change` and more, in its own unit, is told.
    `target` is the value that stems are brought to by it where none is given; without one they cannot be. Of a sum of
    stems, which is nobody's recording, it is read where `of_sum` says so.
    """

    measure: str
    kind: Literal["level", "floor", "room", "shape", "count"]
    heading: str = ""
    least_change: float = 0.1
    target: float | None = None
    of_sum: bool = True

    def moved(self, reading: float, gain_db: float) -> float:
        """What the reading is after a trim.

        >>> COLUMNS["crest_db"].moved(12.0, -3.0), COLUMNS["peak_dbfs"].moved(-6.0, -3.0)
        (12.0, -9.0)
        """
        return reading + {"level": gain_db, "floor": gain_db, "room": -gain_db}.get(self.kind, 0.0)


COLUMNS = {
    column.measure: column
    for column in (
        Column("peak_dbfs", "level", "Peak", target=-10.0),
        Column("true_peak_dbtp", "level", "True peak", target=-10.0),
        Column("rms_dbfs", "level", target=-18.0),
        Column("active_rms_dbfs", "level", "RMS while active", target=-18.0),
        Column("loudness_lufs", "level", "Loudness", target=-23.0),
        Column("momentary_max_lufs", "level"),
        Column("short_term_max_lufs", "level", "Short-term, highest", target=-20.0),
        Column("loudness_range_lu", "shape", "Range"),
        Column("crest_db", "shape", "Crest"),
        Column("headroom_db", "room"),
        Column("noise_floor_dbfs", "floor", "Noise floor"),  # on the sheet noise under sound stands there, in brackets
        Column("noise_under_sound_dbfs", "floor", of_sum=False),
        Column("dc_offset_dbfs", "floor", "DC"),
        Column("clipped_runs", "count", "Clipped", least_change=0.5),
        Column("flat_tops", "count", "Flat tops", least_change=0.5, of_sum=False),
    )
}
"""Every column by the name of its measure, in the order of the table. A new column is one entry here."""
