"""A survey as plain data, as JSON holds it: written, described by a schema, read back."""

from __future__ import annotations

import math
import os
from dataclasses import asdict, fields
from importlib import resources
from typing import Any

from gainlib import __version__
from gainlib.errors import GainError
from gainlib.meters.hum import Hum
from gainlib.storage.foreign import read_json
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.surveys.trims import Trim
from gainlib.text import describe_value, printable

__all__ = ["FORM", "as_dict", "read_survey", "schema_text"]

LARGEST_SURVEY_BYTES = 64 * 1024 * 1024
FORM = 1
"""The version of the JSON object; it rises when an entry changes its meaning or goes."""


def _number(value: float | None, digits: int = 4) -> float | None:
    """A number as JSON can hold it: silence and what was not read are null."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0


def as_dict(survey: SurveyResult) -> dict[str, Any]:
    """The survey as JSON holds it; `gainlib survey --schema` prints the schema. Levels of silence are null.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> list(as_dict(survey(bundled_folder("media") / "bass.flac")))[3:8]
    ['stems', 'faults', 'sum', 'trims', 'unreadable']
    """
    total, practice = survey.sum, survey.practice
    return {
        "form": FORM,
        "gainlib": __version__,
        "title": survey.title,
        "stems": [
            {
                "name": each.name,
                "path": _path(each),
                "format": each.form,
                "coding": each.coding,
                "rate_hz": each.rate_hz,
                "channels": each.channels,
                "frames": each.frames,
                "seconds": _number(each.seconds, 6),
                "starts_at": each.starts_at,
                "sounds_from_seconds": None if each.sounds is None else _number(each.sounds[0], 3),
                "sounds_to_seconds": None if each.sounds is None else _number(each.sounds[1], 3),
                "silent": each.silent,
                "correlation": None if each.pair is None else _number(each.pair.correlation),
                "balance_db": None if each.pair is None else _number(each.pair.balance_db),
                "mono_loss_db": None if each.pair is None else _number(each.pair.mono_loss_db),
                "used_bits": each.used_bits,
                "hum": _hum(each.noise.hum),
                "hum_told_from_dbfs": _number(each.noise.hum_told_from_dbfs),
                "measures": {name: _number(each.readings.get(name)) for name in COLUMNS},
                "lacks": dict(each.lacks),
                "sound_sha256": each.sound_sha256,
                "file_bytes": each.file_bytes,
                "file_modified": _number(each.file_modified, 3),
            }
            for each in survey.stems
        ],
        "faults": [
            {
                "stem": each.stem,
                "kind": each.kind,
                "remark": each.remark,
                "count": each.count,
                "sentence": each.sentence,
                "places": [
                    {**asdict(place), "seconds": _number(place.seconds, 6), "bar": place.bar or None}
                    for place in each.places
                ],
            }
            for each in survey.faults
        ],
        "sum": None
        if total is None
        else {
            "stems": list(total.stems),
            "left_out": [{"stem": name, "why": why} for name, why in total.left_out],
            "rate_hz": total.rate_hz,
            "channels": total.channels,
            "seconds": _number(total.seconds, 6),
            "before": {name: _number(value) for name, value in total.before.items()},
            "after": {name: _number(value) for name, value in total.after.items()},
            "main_trim_db": _number(total.main_trim_db),
            "lowered_db": _number(total.lowered_db),
            "noise_dbfs": _number(total.noise_dbfs),
        },
        "trims": [_trim(each) for each in survey.trims],
        "unreadable": [{"name": name, "sentence": sentence} for name, sentence in survey.unreadable],
        "practice": {
            "measure": practice.measure,
            "target": practice.value,
            "stem_ceiling_dbtp": practice.stem_ceiling_dbtp,
            "main_ceiling_dbtp": practice.main_ceiling_dbtp,
            "noise_limit_dbfs": practice.noise_limit_dbfs,
            "threshold_dbfs": practice.threshold_dbfs,
            "main_at_zero": practice.main_at_zero,
        },
        "notes": list(survey.notes),
        "whole": survey.whole,
    }


def _hum(hum: Hum | None) -> dict[str, Any] | None:
    if hum is None:
        return None
    return {"mains_hz": hum.mains_hz, "lines_hz": list(hum.lines_hz), "level_dbfs": _number(hum.level_dbfs)}


def _trim(trim: Trim) -> dict[str, Any]:
    """A trim by the names of its fields; a text that is empty is null."""
    # Its hum stands in the stem's entry.
    entries = {each.name: getattr(trim, each.name) for each in fields(trim) if each.name != "hum"}
    return {name: value or None if isinstance(value, str) else _number(value) for name, value in entries.items()}


def _path(stem: Stem) -> str:
    """The path as text; a name that is no text on this system keeps its odd bytes as replacement characters."""
    return str(stem.path).encode("utf-8", "replace").decode("utf-8")


def schema_text() -> str:
    """The JSON Schema of `as_dict`, each entry with what it means."""
    return resources.files("gainlib.surveys").joinpath("schema.json").read_text(encoding="utf-8").rstrip()


def read_survey(path: str | os.PathLike[str]) -> dict[str, Any]:
    """An earlier survey from the file that `gainlib survey --json` wrote.

    Raises GainError for a file that is not there, is no such survey, or is of a later form.
    """
    try:
        content = read_json(path, LARGEST_SURVEY_BYTES, "a survey")
    except GainError as fault:
        raise GainError(
            f"no earlier survey: {str(fault).rstrip('.')}; give a file that gainlib survey --json wrote."
        ) from fault
    if not isinstance(content, dict) or not isinstance(content.get("stems"), list):
        raise GainError(f"{printable(path)} is no survey; give a file that gainlib survey --json wrote.")
    if content.get("form") != FORM:
        form = describe_value(content.get("form"))
        raise GainError(f"{printable(path)} has the form {form}; this gainlib reads form {FORM}.")
    return content
