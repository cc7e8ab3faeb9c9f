"""A survey in words for a person, as JSON for a program, as CSV for a table."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from decimal import Decimal
from importlib import resources
from typing import TYPE_CHECKING, Any

from gainlib.decibels import signed
from gainlib.meters import measures
from gainlib.storage import Cell, csv_text
from gainlib.surveys.stem import MEASURED, Stem
from gainlib.surveys.survey import Survey
from gainlib.surveys.trims import MOST_SUMMED, Sum, Trim

if TYPE_CHECKING:
    from gainlib.surveys.comparison import Changes

__all__ = ["FORM", "as_csv", "as_dict", "as_json", "line_of", "lines", "said_of_sum", "said_of_thresholds",
           "said_of_trim", "schema_text", "verdict"]  # fmt: skip

FORM = 1
"""The version of the JSON object; it rises when an entry changes its meaning or goes."""


def lines(survey: Survey) -> list[str]:
    """What a person is told: a line for each stem, the worst first, then the sum, what could not be read, the rules.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> print(lines(survey(bundled_folder("media") / "bass.flac"))[0])
    bass: nothing wrong. Trim +3.0 dB.
    """
    told = [line_of(survey, each) for each in survey.stems]
    told += [f"{name}: NOT READ. {sentence}" for name, sentence in survey.unreadable]
    told += said_of_sum(survey)
    told += said_of_thresholds(survey)
    told += survey.notes
    if not survey.whole:
        told.append(f"The survey was ended before its end: {len(survey.stems)} stems were finished, none was added up.")
    told.append(verdict(survey))
    return told


def verdict(survey: Survey) -> str:
    """How many stems are fine and how many are not, in one sentence."""
    bad = {each.stem for each in survey.faults if not each.remark}
    parts = [f"{len(survey.stems)} {'stem' if len(survey.stems) == 1 else 'stems'} surveyed"]
    if survey.stems:
        parts.append("nothing wrong was found" if not bad else f"something is wrong with {len(bad)}")
    if survey.unreadable:
        parts.append(f"{len(survey.unreadable)} could not be read")
    return ", ".join(parts) + "."


def line_of(survey: Survey, stem: Stem) -> str:
    """One stem in one line: what is wrong with it, and its trim.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "kick.flac")
    >>> line_of(found, found.stems[0])
    'kick: nothing wrong. Trim +1.4 dB, held back by its peaks.'
    """
    faults = survey.faults_of(stem.name)
    said = " ".join(f"{each.sentence[0].upper()}{each.sentence[1:]}" for each in faults)
    if all(each.remark for each in faults):
        said = f"nothing wrong. {said}".rstrip()
    return f"{stem.name}: {said} {said_of_trim(survey.trim(stem.name))}"


def said_of_trim(trim: Trim) -> str:
    """The trim of a stem in words."""
    if trim.held == "silence":
        return "No trim: there is nothing to bring to a level."
    if trim.held == "lacks":
        return "No trim: the measure cannot be read from it."
    held = ", held back by its peaks" if trim.held == "peaks" else ""
    return f"Trim {signed(trim.gain_db, 1, 'dB', plus=True)}{held}."


def said_of_sum(survey: Survey) -> list[str]:
    """What the stems add up to, and what the main then needs."""
    total = survey.sum
    if total is None:
        many = len(survey.stems) > MOST_SUMMED
        return [f"No sum: more than {MOST_SUMMED} stems are not added up."] if many else []
    told = [
        f"The sum of {_stems(len(total.stems))} with these trims: true peak {_of(total, 'true_peak_dbtp')}"
        + (f", {_of(total, 'loudness_lufs')}" if "loudness_lufs" in total.after else "")
        + f" (before the trims {_printed('true_peak_dbtp', total.before['true_peak_dbtp'])}). "
        + (
            f"Turn the main down by {abs(total.main_trim_db):.1f} dB."
            if total.main_trim_db
            else "The main needs no trim."
        )
    ]
    limit = survey.practice.noise_limit_dbfs
    if total.noise_dbfs is not None:
        what = "above the limit of" if total.noise_dbfs > limit else "below the limit of"
        told.append(
            f"The noise of all stems together comes to {signed(total.noise_dbfs, 1, 'dBFS')} after trims and main, "
            f"{what} {signed(limit, 1, 'dBFS')}."
        )
    if total.left_out:
        names = "; ".join(f"{name}: {why}" for name, why in total.left_out[:6])
        more = f"; and {len(total.left_out) - 6} more" if len(total.left_out) > 6 else ""
        told.append(f"Left out of the sum: {names}{more}.")
    return told


def said_of_thresholds(survey: Survey) -> list[str]:
    """What a compressor with the practice's threshold would do before the trims and after."""
    threshold = survey.practice.threshold_dbfs
    working = [each for each in survey.trims if each.works_after >= 0.005]
    if not working:
        return []
    shown = sorted(working, key=lambda each: -each.works_after)[:8]
    parts = [f"{each.stem} {_percent(each.works_after)} (before {_percent(each.works_before)})" for each in shown]
    more = f" and {len(working) - len(shown)} more" if len(working) > len(shown) else ""
    return [
        f"A compressor threshold of {signed(threshold, 1, 'dBFS')} then works, of the time that each plays, on "
        f"{', '.join(parts)}{more}."
    ]


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _stems(count: int) -> str:
    return f"{count} {'stem' if count == 1 else 'stems'}"


def _of(total: Sum, measure: str) -> str:
    return _printed(measure, total.after[measure])


def _printed(measure: str, value: float) -> str:
    return signed(value, 1, measures()[measure].unit)


def _number(value: float | None, digits: int = 4) -> float | None:
    """A number as JSON can hold it: silence and what was not read are null."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0


def as_dict(survey: Survey) -> dict[str, Any]:
    """The survey as JSON holds it; `gainlib survey --schema` prints the schema. Levels of silence are null.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> list(as_dict(survey(bundled_folder("media") / "bass.flac")))[3:8]
    ['stems', 'faults', 'sum', 'trims', 'unreadable']
    """
    from gainlib import __version__

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
                "measures": {name: _number(each.readings.get(name)) for name in MEASURED},
                "lacks": dict(each.lacks),
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
                    {
                        "sample": place.sample,
                        "seconds": _number(place.seconds, 6),
                        "length": place.length,
                        "channel": place.channel,
                        "bar": place.bar or None,
                    }
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
            "noise_dbfs": _number(total.noise_dbfs),
        },
        "trims": [
            {
                "stem": each.stem,
                "gain_db": _number(each.gain_db),
                "held": each.held or None,
                "before": _number(each.before),
                "after": _number(each.after),
                "peak_dbfs": _number(each.peak_dbfs),
                "true_peak_dbtp": _number(each.true_peak_dbtp),
                "noise_dbfs": _number(each.noise_dbfs),
                "works_before": _number(each.works_before),
                "works_after": _number(each.works_after),
            }
            for each in survey.trims
        ],
        "unreadable": [{"name": name, "sentence": sentence} for name, sentence in survey.unreadable],
        "practice": {
            "measure": practice.measure,
            "target": practice.value,
            "stem_ceiling_dbtp": practice.stem_ceiling_dbtp,
            "main_ceiling_dbtp": practice.main_ceiling_dbtp,
            "noise_limit_dbfs": practice.noise_limit_dbfs,
            "threshold_dbfs": practice.threshold_dbfs,
        },
        "notes": list(survey.notes),
        "whole": survey.whole,
    }


def _path(stem: Stem) -> str:
    """The path as text; a name that is no text on this system keeps its odd bytes as replacement characters."""
    return str(stem.path).encode("utf-8", "replace").decode("utf-8")


def as_json(survey: Survey, *, changes: Changes | None = None) -> str:
    """`as_dict` as text, with an entry `changes` where there is something to compare with."""
    content = as_dict(survey) | ({} if changes is None else {"changes": changes.as_dict()})
    return json.dumps(content, ensure_ascii=False, indent=1, allow_nan=False)


def schema_text() -> str:
    """The JSON Schema of `as_dict`, each entry with what it means."""
    return resources.files("gainlib.surveys").joinpath("schema.json").read_text(encoding="utf-8").rstrip()


def as_csv(survey: Survey) -> str:
    """A row for each stem, in the order of the report, as a table program reads it: commas, points, a header.

    Silence reads -inf. A text that a table program would take for a formula gets an apostrophe before it.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> as_csv(survey(bundled_folder("media") / "bass.flac")).splitlines()[0].split(",")[:4]
    ['"stem"', '"rate_hz"', '"channels"', '"seconds"']
    """
    rows: list[Sequence[Cell]] = [
        ["stem", "rate_hz", "channels", "seconds", *MEASURED, "trim_db", "after_trim", "true_peak_after_dbtp", "faults"]
    ]
    for stem in survey.stems:
        trim = survey.trim(stem.name)
        readings = [_cell(stem.readings.get(name), measures()[name].digits) for name in MEASURED]
        rows.append(
            [
                stem.name, stem.rate_hz, stem.channels, Decimal(f"{stem.seconds:.3f}"), *readings,
                _cell(trim.gain_db, 1), _cell(trim.after, 1), _cell(trim.true_peak_dbtp, 1),
                " ".join(each.sentence for each in survey.faults_of(stem.name)),
            ]
        )  # fmt: skip
    return csv_text(rows)


def _cell(value: float | None, digits: int) -> Cell:
    """A reading with the digits that it is printed with; silence is -inf."""
    if value is None or value == -math.inf:
        return value
    return Decimal(f"{value:.{max(digits, 1) if digits else 0}f}")
