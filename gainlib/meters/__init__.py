"""What reads a level: sample peak, RMS, crest, noise floor, clipped runs, and the registry that names each measure."""

from __future__ import annotations

from gainlib.meters.clipping import ClippedRuns, clipped_runs, flat_runs
from gainlib.meters.levels import crest_db, noise_floor_dbfs, peak_dbfs, rms_dbfs
from gainlib.meters.registry import Measure, measure, measures

__all__ = [
    "ClippedRuns",
    "Measure",
    "clipped_runs",
    "crest_db",
    "flat_runs",
    "measure",
    "measures",
    "noise_floor_dbfs",
    "peak_dbfs",
    "rms_dbfs",
]
