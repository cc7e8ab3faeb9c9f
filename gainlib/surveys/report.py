"""A survey in words for a person, as JSON for a program, as CSV for a table."""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING

from gainlib.meters import measures
from gainlib.storage import Cell, csv_text
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.comparison import Changes
from gainlib.surveys.record import as_dict
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.surveys.trims import MOST_SUMMED, Sum, Trim
from gainlib.text import counted, printable, signed

if TYPE_CHECKING:
    from gainlib.surveys.order import OrderLine

__all__ = [
    "as_csv",
    "as_json",
    "fine",
    "lines",
    "stem_line",
    "sum_lines",
    "threshold_lines",
    "trim_line",
    "unjudged_lines",
    "verdict",
]


def lines(survey: SurveyResult, *, faults_only: bool = False, rows: int | None = None, width: int = 80) -> list[str]:
    """What a person is told: the rules and the sum, a line for each stem, the worst last, then how many are fine.

    The worst stand last since that is where a terminal is read. `faults_only` leaves out the stems with which nothing
    is wrong. With `rows`, the lines of a screen of so many columns as `width`, the stems that have no room there are
    left out, the best first, and a line says how many and where all of them are.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> print(lines(survey(bundled_folder("media") / "bass.flac"))[-2])
    bass: nothing wrong. Trim +3.2 dB.
    """
    before = [*survey.notes, *sum_lines(survey), *threshold_lines(survey), *unjudged_lines(survey)]
    shown = [each for each in reversed(survey.stems) if not faults_only or not fine(survey, each)]
    told = [stem_line(survey, each) for each in shown]
    told += [f"{name}: NOT READ. {sentence}" for name, sentence in survey.unreadable]
    after = [verdict(survey)]
    if not survey.whole:
        after.insert(
            0,
            f"The survey was ended before its end, with {counted(len(survey.stems), 'stem')} finished; none was "
            "added up or held against another.",
        )
    if rows is not None:
        told = _last_of(told, rows - _height([*before, *after], width) - 2, width)
    return [*before, *told, *after]


def _height(told: Sequence[str], width: int) -> int:
    """How many rows of a screen these lines take."""
    return sum(max(1, -(-len(each) // width)) for each in told)


def _last_of(told: list[str], rows: int, width: int) -> list[str]:
    """The last lines, as many as have room, three at least, under one that says how many more there are."""
    if _height(told, width) <= rows:
        return told
    kept = 3
    while kept < len(told) and _height(told[-kept - 1 :], width) <= rows - 1:
        kept += 1
    more = len(told) - kept
    if more <= 0:
        return told
    return [f"{more} more are not shown here; --sheet and --csv have every one.", *told[more:]]


def fine(survey: SurveyResult, stem: Stem) -> bool:
    """Whether nothing is wrong with a stem.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "bass.flac")
    >>> fine(found, found.stems[0])
    True
    """
    return all(each.remark for each in survey.faults_of(stem.name))


def verdict(survey: SurveyResult) -> str:
    """How many stems are fine and how many are not, in one sentence."""
    bad = {each.stem for each in survey.faults if not each.remark}
    parts = [f"{counted(len(survey.stems), 'stem')} surveyed"]
    if survey.stems:
        parts.append("nothing wrong was found" if not bad else f"something is wrong with {len(bad)}")
    if survey.unreadable:
        parts.append(f"{len(survey.unreadable)} could not be read")
    return ", ".join(parts) + "."


def stem_line(survey: SurveyResult, stem: Stem) -> str:
    """One stem in one line: what is wrong with it, and its trim.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "lead-voice.flac")
    >>> stem_line(found, found.stems[0])
    'lead-voice: nothing wrong. Trim −2.0 dB, held back by its peaks.'
    """
    faults = survey.faults_of(stem.name)
    said = " ".join(f"{each.sentence[0].upper()}{each.sentence[1:]}" for each in faults)
    if fine(survey, stem):
        said = f"nothing wrong. {said}".rstrip()
    return f"{stem.name}: {said} {trim_line(survey.trim(stem.name))}"


def trim_line(trim: Trim) -> str:
    """The trim of a stem in words."""
    if trim.held == "silence":
        return "No trim: there is nothing to bring to a level."
    if trim.held == "lacks":
        return "No trim: the measure cannot be read from it."
    if trim.held == "group":
        return f"Trim {signed(trim.gain_db, 1, 'dB', plus=True)}, with its group {printable(trim.group)}."
    held = ", held back by its peaks" if trim.held == "peaks" else ""
    return f"Trim {signed(trim.gain_db, 1, 'dB', plus=True)}{held}."


def sum_lines(survey: SurveyResult) -> list[str]:
    """What the stems add up to, and what the main then needs."""
    total = survey.sum
    if total is None:
        many = len(survey.stems) > MOST_SUMMED
        return [f"No sum: more than {MOST_SUMMED} stems are not added up."] if many else []
    told = [
        f"The sum of {counted(len(total.stems), 'stem')} with these trims: true peak {_of(total, 'true_peak_dbtp')}"
        + (f", {_of(total, 'loudness_lufs')}" if "loudness_lufs" in total.after else "")
        + f" (before the trims {_printed('true_peak_dbtp', total.before['true_peak_dbtp'])}). "
        + (
            f"Turn the main down by {abs(total.main_trim_db):.1f} dB."
            if total.main_trim_db
            else f"All trims are {total.lowered_db:.1f} dB lower for that; the main stays at 0 dB."
            if total.lowered_db
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


def threshold_lines(survey: SurveyResult) -> list[str]:
    """What a compressor with the practice's threshold would do before the trims and after."""
    threshold = survey.practice.threshold_dbfs
    working = [each for each in survey.trims if each.works_after >= 0.005]
    if not working:
        return []
    shown = sorted(working, key=lambda each: -each.works_after)[:8]
    parts = [
        f"{survey.short_names[each.stem]} {_percent(each.works_after)} (before {_percent(each.works_before)})"
        for each in shown
    ]
    more = f" and {len(working) - len(shown)} more" if len(working) > len(shown) else ""
    return [
        f"A compressor threshold of {signed(threshold, 1, 'dBFS')} then works, of the time that each plays, on "
        f"{', '.join(parts)}{more}."
    ]


def unjudged_lines(survey: SurveyResult) -> list[str]:
    """Which stems' noise and hum could not be told from their sound, so that nobody takes them for clean."""
    told = []
    names = sorted(survey.short_names[each.name] for each in survey.stems if each.noise.level_dbfs is None)
    if names:
        whose = "its sound: it never rests, or is" if len(names) == 1 else "their sound: they never rest, or are"
        told.append(f"The noise of {_some(names)} could not be told from {whose} too short to say.")
    hidden = []
    for each in survey.stems:
        found, from_dbfs = each.noise.hum, each.noise.hum_told_from_dbfs
        if found is None and from_dbfs is not None and not each.silent:
            after_dbfs = min(from_dbfs, each.readings["active_rms_dbfs"]) + survey.trim(each.name).gain_db
            if after_dbfs > survey.practice.noise_limit_dbfs:
                hidden.append((after_dbfs, f"{survey.short_names[each.name]} up to {signed(after_dbfs, 0, 'dBFS')}"))
    if hidden:
        parts = [said for _, said in sorted(hidden, reverse=True)]
        told.append(f"Mains hum could hide under what plays, told after the trims: {_some(parts)}.")
    return told


def _some(parts: Sequence[str]) -> str:
    """Eight at most, and how many more there are."""
    more = f" and {len(parts) - 8} more" if len(parts) > 8 else ""
    return f"{', '.join(parts[:8])}{more}"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _of(total: Sum, measure: str) -> str:
    return _printed(measure, total.after[measure])


def _printed(measure: str, value: float) -> str:
    return signed(value, 1, measures()[measure].unit)


def as_json(survey: SurveyResult, *, changes: Changes | None = None, order: Sequence[OrderLine] | None = None) -> str:
    """`as_dict` as text, with `changes` where there is something to compare with, `order` where there is an order."""
    content = as_dict(survey) | ({} if changes is None else {"changes": changes.as_dict()})
    if order is not None:
        from gainlib.surveys.order import as_dict as order_as_dict

        content["order"] = order_as_dict(order)
    # A line for each entry of a list: Python writes JSON that is indented throughout ten times as slowly.
    told = functools.partial(json.dumps, ensure_ascii=False, allow_nan=False)
    lines = []
    for name, value in content.items():
        rows = ",\n  ".join(map(told, value)) if isinstance(value, list) else ""
        lines.append(f"{told(name)}: [\n  {rows}\n ]" if rows else f"{told(name)}: {told(value)}")
    return "{\n " + ",\n ".join(lines) + "\n}"


def as_csv(survey: SurveyResult) -> str:
    """A row for each stem, in the order of the report, as a table program reads it: commas, points, a header.

    Silence reads -inf. A text that a table program would take for a formula gets an apostrophe before it.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> as_csv(survey(bundled_folder("media") / "bass.flac")).splitlines()[0].split(",")[:4]
    ['"stem"', '"rate_hz"', '"channels"', '"seconds"']
    """
    rows: list[Sequence[Cell]] = [
        ["stem", "rate_hz", "channels", "seconds", *COLUMNS, "trim_db", "after_trim", "true_peak_after_dbtp", "faults"]
    ]
    for stem in survey.stems:
        trim = survey.trim(stem.name)
        readings = [_cell(stem.readings.get(name), measures()[name].digits) for name in COLUMNS]
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
