"""The gain sheet: a file complete in itself, the desk's page first, the details behind; prints on A4 or Letter."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from gainlib.errors import GainError
from gainlib.html.pages import part, render
from gainlib.meters import ClippedRuns, measures
from gainlib.storage import atomic_write, given_path
from gainlib.surveys.checks import Fault, passages
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.comparison import Changes
from gainlib.surveys.desk import desk
from gainlib.surveys.drawings import Levels, level_diagram, waveform
from gainlib.surveys.order import OrderLine, Session
from gainlib.surveys.report import sum_lines, threshold_lines, unjudged_lines, verdict
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.text import clock, printable, signed

__all__ = ["fragment", "gain_sheet", "require_writable", "write_sheet"]

_DRAWN = 40
_WAVES = 120
_PLACES = 12


def write_sheet(
    survey: SurveyResult,
    path: str | os.PathLike[str],
    *,
    changes: Changes | None = None,
    order: Sequence[OrderLine] = (),
    session: Session | None = None,
    overwrite: bool = False,
) -> Path:
    """Write the gain sheet as one HTML file, whole or not at all; gives the path back.

    Raises GainError for a file that is there already unless `overwrite` is set, and where it cannot be written.
    """
    where = require_writable(path, overwrite=overwrite)
    return atomic_write(where, gain_sheet(survey, changes=changes, order=order, session=session))


def require_writable(path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """The path, or a GainError where a file is there already or its folder is not.

    >>> require_writable("sheet-of-nobody.html").name
    'sheet-of-nobody.html'
    """
    where = given_path(path)
    if where.is_dir():
        raise GainError(f"{printable(path)} is a folder; name a file.")
    if where.exists() and not overwrite:
        raise GainError(f"{printable(path)} is there already; choose another name or say --overwrite.")
    if not where.resolve().parent.is_dir():
        raise GainError(f"the folder {printable(where.resolve().parent)} is not there; make it first.")
    return where


def gain_sheet(
    survey: SurveyResult,
    *,
    changes: Changes | None = None,
    order: Sequence[OrderLine] = (),
    session: Session | None = None,
    on: datetime.date | None = None,
) -> str:
    """The gain sheet as HTML that needs nothing else: no script, no font, no picture from outside.

    Its first page is for the desk: trims, what to do, lines to write on; the details stand behind. `changes` adds what
    is different from an earlier survey, `order` whether an order is met, `session` what stands on top; `on` is the date
    that it bears, today's unless given.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> "<script" in gain_sheet(survey(bundled_folder("media") / "bass.flac"))
    False
    """
    return render(
        "gain_sheet.html",
        title=f"Gain sheet: {survey.title}" if survey.title else "Gain sheet",
        verdict=verdict(survey),
        whole=survey.whole,
        main=[*sum_lines(survey), *threshold_lines(survey), *unjudged_lines(survey)],
        changes=None if changes is None else changes.lines,
        order=[(each.met, each.sentence) for each in order],
        rules=[*survey.practice.sentences, *survey.notes],
        **desk(survey, session or Session(), order, on or datetime.date.today()),
        details=_faults_and_table(survey),
        **_diagrams(survey),
        **_waves(survey),
    )


def fragment(survey: SurveyResult) -> str:
    """What is wrong and the table, to stand in a page of another's, such as a notebook, in its colours.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> "▼" in fragment(survey(bundled_folder("media") / "bass.flac"))
    True
    """
    return str(part("survey_part.html", **_faults_and_table(survey)))


def _faults_and_table(survey: SurveyResult) -> dict[str, Any]:
    shown = {name: column for name, column in COLUMNS.items() if column.heading}
    target = measures()[survey.practice.measure]
    return {
        "faults": [
            {
                "stem": fault.stem,
                "kind": fault.kind,
                "sentence": fault.sentence,
                "remark": fault.remark,
                "where": _passages(survey, fault) if fault.count > 1 and fault.places else "",
            }
            for fault in survey.faults
        ],
        "unreadable": survey.unreadable,
        "columns": [
            {"heading": column.heading, "unit": measures()[name].unit, "meaning": measures()[name].meaning}
            for name, column in shown.items()
        ],
        "rows": [_row(survey, stem, list(shown)) for stem in survey.stems],
        "after": {"heading": _heading_after(target.name), "unit": target.unit},
        "held": any(trim.held == "peaks" for trim in survey.trims),
        "under": any(stem.noise.under_sound_dbfs is not None for stem in survey.stems),
    }


def _passages(survey: SurveyResult, fault: Fault) -> str:
    """Where it is, run by run where they stand apart, from when to when where they crowd."""
    stem, tempo = survey.stem(fault.stem), survey.tempo
    found = passages(_runs_of(stem, fault), stem.rate_hz)
    told = []
    for start, end in found[:_PLACES]:
        bars = (tempo.place(start), tempo.place(end)) if tempo else ("", "")
        span = f"{clock(start)} to {clock(end)}" if end - start >= 0.05 else clock(start)
        bar = "" if not tempo else f" (bar {bars[0]})" if bars[0] == bars[1] else f" (bar {bars[0]} to {bars[1]})"
        told.append(span + bar)
    more = f" and {len(found) - len(told)} passages more" if len(found) > len(told) else ""
    return f"{', '.join(told)}{more}"


def _runs_of(stem: Stem, fault: Fault) -> ClippedRuns:
    """All places of a clip, the first of anything else."""
    if fault.kind in ("clipped", "flat tops"):
        return stem.clipped if fault.kind == "clipped" else stem.flat
    told = np.array([(place.sample, place.length, place.channel - 1) for place in fault.places], dtype=np.int64)
    return ClippedRuns(told[:, 0], told[:, 1], told[:, 2])


def _row(survey: SurveyResult, stem: Stem, names: Sequence[str]) -> dict[str, Any]:
    trim = survey.trim(stem.name)
    return {
        "stem": stem.name,
        "name": survey.short_names[stem.name],
        "bad": _bad(survey, stem),
        "readings": [_reading(stem, name) for name in names],
        "trim": signed(trim.gain_db, 1, "") + ("*" if trim.held == "peaks" else ""),
        "after": "" if trim.after is None else _plain(trim.after, 1),
        "true_peak": _plain(trim.true_peak_dbtp, 1),
    }


def _reading(stem: Stem, name: str) -> str:
    if name in stem.readings:
        return _plain(stem.readings[name], measures()[name].digits)
    under_dbfs = stem.noise.under_sound_dbfs
    return f"({_plain(under_dbfs, 1)})" if name == "noise_floor_dbfs" and under_dbfs is not None else "–"


def _heading_after(measure: str) -> str:
    heading = COLUMNS[measure].heading or measure.rsplit("_", 1)[0]
    return heading if heading.startswith("RMS") else heading.lower()


def _plain(value: float, digits: int) -> str:
    return signed(value, digits, "", plus=False)


def _bad(survey: SurveyResult, stem: Stem) -> bool:
    return any(not fault.remark for fault in survey.faults_of(stem.name))


def _diagrams(survey: SurveyResult) -> dict[str, Any]:
    """The level diagrams, as the stems are and with their trims, and the key to their strokes."""
    stems, level, practice = survey.stems[:_DRAWN], "active_rms_dbfs", survey.practice
    # What nobody asked for is not drawn: the level that trims go by unless told stands among the rules.
    ordered = practice.target is not None and practice.measure in ("active_rms_dbfs", "rms_dbfs")
    target = practice.value if ordered else None
    before, after, last = [], [], 0
    for stem in stems:
        trim, bad = survey.trim(stem.name), _bad(survey, stem)
        before.append(Levels(stem.name, stem.readings["peak_dbfs"], stem.readings[level], stem.noise.level_dbfs, bad))
        rms_dbfs = stem.readings[level] + trim.gain_db
        after.append(Levels(stem.name, trim.peak_dbfs, rms_dbfs, trim.noise_level_dbfs, bad))
    if survey.sum is not None:
        total, last = survey.sum, 2
        quiet = None if total.noise_dbfs is None else total.noise_dbfs - total.main_trim_db
        was = total.before["peak_dbfs"]
        before.append(Levels("sum", was, total.before[level], None, was > 0))
        after.append(Levels("sum", total.after["peak_dbfs"], total.after[level], quiet))
        after.append(Levels("main", total.delivered("peak_dbfs"), total.delivered(level), total.noise_dbfs))
    toward = "after the trims" if target is None else "after the trims toward the target"
    more = f" The {_DRAWN} first of {len(survey.stems)} are drawn." if len(survey.stems) > _DRAWN else ""
    key = [("peak", "peak"), ("rms", "RMS while active"), ("ceiling", "full scale"),
           ("noise", "noise, in pauses or else under the sound, where it can be told")]  # fmt: skip
    return {
        "key": key if target is None else [*key, ("target", "target")],
        "diagrams": [
            {
                "heading": heading,
                "caption": caption + more,
                "drawing": level_diagram(columns, _said(heading, columns), target_dbfs=goal, last=ends),
            }
            for heading, caption, columns, goal, ends in (
                ("As they are", "Each stem from its noise to its peak, and the sum of all with every fader at 0 dB.",
                 before, None, min(last, 1)),
                ("With the trims", f"The same {toward}; then the sum, and the main after its trim.", after, target,
                 last),
            )
            if columns
        ],
    }  # fmt: skip


def _said(heading: str, columns: Sequence[Levels]) -> str:
    parts = [
        f"{column.name}: peak {signed(column.peak_dbfs, 1, 'dBFS', plus=True)}, "
        f"RMS {signed(column.rms_dbfs, 1, 'dBFS', plus=True)}"
        for column in columns
    ]
    return f"{heading}. {'; '.join(parts)}."


def _waves(survey: SurveyResult) -> dict[str, Any]:
    """The waveforms, and how many of all they are."""
    waves = []
    for stem in survey.stems[:_WAVES]:
        marked = [fault for fault in survey.faults_of(stem.name) if fault.places]
        peak = stem.readings["peak_dbfs"]
        level = "silent" if math.isinf(peak) else f"peak {signed(peak, 1, 'dBFS')}"
        waves.append(
            {
                "drawing": waveform(stem, marked),
                "stem": stem.name,
                "said": f"{clock(stem.seconds)}, {level}",
                "marked": "; ".join(f"▼ {fault.kind}, {fault.count}" for fault in marked),
            }
        )
    more = f", the {_WAVES} first of {len(survey.stems)}" if len(survey.stems) > _WAVES else ""
    return {"waves": waves, "more_waves": more}
