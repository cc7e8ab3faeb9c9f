"""The first page of the gain sheet: what to set, what to do and where to write, a line for each stem."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

from gainlib.surveys.folder import in_order
from gainlib.surveys.order import OrderLine, Session, word_said
from gainlib.surveys.report import fine
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.text import clock, signed

__all__ = ["desk"]

_A_PAGE = 60  # of more stems those with something to do come first, since the rest is on other pages
_ROOMY, _DENSE = 16, 30  # so many stems leave room for notes by hand; more go close together, to stand on one page


def desk(survey: SurveyResult, session: Session, order: Sequence[OrderLine], on: datetime.date) -> dict[str, Any]:
    """What the first page shows: the session's fields, the main, what of an order is not met, a row a stem.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = desk(survey(bundled_folder("media") / "bass.flac"), Session(), (), datetime.date(2026, 5, 1))
    >>> found["rows"][0]["trim"], found["rows"][0]["form"]
    ('+3.2', ('48', '24', '1', '0:19.000'))
    """
    tempo = session.tempo or (survey.tempo.beats_a_minute if survey.tempo else None)
    stems = sorted(survey.stems, key=lambda each: (survey.trim(each.name).group, in_order(each.name)))
    if len(stems) > _A_PAGE:
        stems = sorted(survey.stems, key=lambda each: fine(survey, each))
    return {
        "fields": [
            ("Song", session.song), ("Tempo", f"{tempo:g}" if tempo else ""), ("Key", session.key),
            ("Date", session.date or on.isoformat()), ("Engineer", session.engineer),
        ],
        "session_notes": session.notes,
        "main_trim": None if survey.sum is None else signed(survey.sum.main_trim_db, 1, "", plus=True),
        "room": "wide" if len(stems) <= _ROOMY else "dense" if len(stems) > _DENSE else "",
        "missed": [each.sentence for each in order if not each.met],
        "rows": [_row(survey, each) for each in stems],
        "marks": _marks(survey),
    }  # fmt: skip


def _row(survey: SurveyResult, stem: Stem) -> dict[str, Any]:
    trim = survey.trim(stem.name)
    mark = {"peaks": "*", "group": "+"}.get(trim.held, "")
    return {
        "stem": stem.name,
        "name": survey.short_names[stem.name],
        "group": trim.group,
        "trim": "–" if trim.held in ("silence", "lacks") else signed(trim.gain_db, 1, "", plus=True) + mark,
        "bad": not fine(survey, stem),
        "to_do": [f"{fault.sentence[0].upper()}{fault.sentence[1:]}" for fault in survey.faults_of(stem.name)
                  if not fault.remark],
        "remarks": " ".join(fault.sentence for fault in survey.faults_of(stem.name) if fault.remark),
        "form": (f"{stem.rate_hz / 1000:g}", word_said(stem, short=True), str(stem.channels), clock(stem.seconds)),
    }  # fmt: skip


def _marks(survey: SurveyResult) -> list[str]:
    """What the marks beside trims mean, those that are there."""
    held = {trim.held for trim in survey.trims}
    told = {"peaks": "* held back by its peaks", "group": "+ one trim with its group"}
    return [words for kind, words in told.items() if kind in held]
