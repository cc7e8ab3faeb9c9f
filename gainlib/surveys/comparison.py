"""Two surveys compared: before and after, one take and the next, this week's mix and last week's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from gainlib.errors import GainError
from gainlib.meters import measures
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.record import as_dict
from gainlib.surveys.result import SurveyResult
from gainlib.text import signed

__all__ = ["Change", "Changes", "compare"]

_LOW_DBFS = -90.0  # what lies below this on both sides is noise of no consequence


@dataclass(frozen=True)
class Change:
    """One measure of one stem, or of the sum, before and after; None for silence and for what was not read."""

    stem: str
    measure: str
    before: float | None
    after: float | None


@dataclass(frozen=True)
class Changes:
    """What is different between two surveys: stems that came and went, faults that are new and gone, levels that moved.

    `lines` says it in words.
    """

    came: tuple[str, ...]
    went: tuple[str, ...]
    new_faults: tuple[tuple[str, str], ...]
    gone_faults: tuple[tuple[str, str], ...]
    levels: tuple[Change, ...]

    @property
    def lines(self) -> list[str]:
        """The differences, a sentence each; one sentence where there is none."""
        told = []
        if self.came:
            told.append(f"New: {', '.join(self.came)}.")
        if self.went:
            told.append(f"No longer there: {', '.join(self.went)}.")
        for stem, kind in self.new_faults:
            # Clipping that was only turned down is not mended.
            lowered = kind == "flat tops" and (stem, "clipped") in self.gone_faults
            told.append(f"{stem}: {'still clipped, it was only turned down' if lowered else f'new fault, {kind}'}.")
        for stem, kind in self.gone_faults:
            if not (kind == "clipped" and (stem, "flat tops") in self.new_faults):
                told.append(f"{stem}: mended, {kind}.")
        moved: dict[str, list[Change]] = {}
        for each in self.levels:
            moved.setdefault(each.stem, []).append(each)
        told += [f"{stem}: {'; '.join(_told(changes))}." for stem, changes in moved.items()]
        return told or ["Nothing has changed by a tenth of a decibel or more."]

    def as_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "came": list(self.came),
            "went": list(self.went),
            "new_faults": [{"stem": stem, "kind": kind} for stem, kind in self.new_faults],
            "gone_faults": [{"stem": stem, "kind": kind} for stem, kind in self.gone_faults],
            "levels": [asdict(each) for each in self.levels],
        }


def compare(before: SurveyResult | Mapping[str, Any], after: SurveyResult | Mapping[str, Any]) -> Changes:
    """What changed from one survey to another; each is a SurveyResult or what `as_dict` gave.

    Stems are matched by name; where each has only one, those two. Levels that moved by a tenth of a decibel and more
    are told. Raises GainError for something that is no survey.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "bass.flac")
    >>> compare(found, found).lines
    ['Nothing has changed by a tenth of a decibel or more.']
    """
    old, new = (as_dict(each) if isinstance(each, SurveyResult) else each for each in (before, after))
    try:
        return _changes(old, new)
    except (KeyError, TypeError, AttributeError) as fault:
        raise GainError("one of the two is no survey; give Surveys, or what as_dict gave of them.") from fault


def _changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> Changes:
    olds = {str(each["name"]): each for each in old["stems"]}
    news = {str(each["name"]): each for each in new["stems"]}
    pairs = {name: name for name in news if name in olds}
    if len(olds) == len(news) == 1:
        pairs = {next(iter(news)): next(iter(olds))}
    back = {former: name for name, former in pairs.items()}
    was = {(back.get(str(each["stem"]), str(each["stem"])), str(each["kind"])) for each in old["faults"]}
    now = {(str(each["stem"]), str(each["kind"])) for each in new["faults"]}
    there = set(pairs)
    levels = [
        change
        for name, former in pairs.items()
        for change in _moved(name, olds[former]["measures"], news[name]["measures"])
    ]
    if old.get("sum") and new.get("sum"):
        levels += _moved("the sum before trims", old["sum"]["before"], new["sum"]["before"])
    return Changes(
        tuple(sorted(set(news) - there)),
        tuple(sorted(set(olds) - set(pairs.values()))),
        tuple(sorted(each for each in now - was if each[0] in there)),
        tuple(sorted(each for each in was - now if each[0] in there)),
        tuple(levels),
    )


def _moved(stem: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    found = []
    for name, column in COLUMNS.items():
        if column.kind == "room":  # the peak says the same
            continue
        before, after = old.get(name), new.get(name)
        unit = measures()[name].unit
        if unit.startswith(("dB", "LU")) and all(each is None or each < _LOW_DBFS for each in (before, after)):
            continue
        # A thousandth of grace, so that a move of a tenth that was rounded is still a tenth.
        if (before is None) != (after is None) or (
            before is not None and abs(after - before) >= column.least_change - 1e-3
        ):
            found.append(Change(stem, name, before, after))
    return found


def _told(changes: list[Change]) -> list[str]:
    """The changes of one stem in words; levels that all moved alike are told once."""
    levels = [
        each
        for each in changes
        if COLUMNS[each.measure].kind == "level" and each.before is not None and each.after is not None
    ]
    steps = [each.after - each.before for each in levels if each.after is not None and each.before is not None]
    if len(levels) < 3 or max(steps) - min(steps) > 0.06:
        return [_said(each) for each in changes]
    way = "up" if steps[0] > 0 else "down"
    alike = [each for each in changes if each in levels or COLUMNS[each.measure].kind == "floor"]
    rest = [_said(each) for each in changes if each not in alike]
    return [f"turned {way} by {abs(steps[0]):.1f} dB, {_said(levels[0])}", *rest]


def _said(change: Change) -> str:
    measure = measures()[change.measure]
    before, after = (
        "nothing" if each is None else signed(each, measure.digits, measure.unit, plus=False)
        for each in (change.before, change.after)
    )
    moved = ""
    if change.before is not None and change.after is not None:
        unit = "LU" if measure.unit == "LUFS" else "dB" if measure.unit.startswith("dB") else measure.unit
        moved = f" ({signed(change.after - change.before, measure.digits, unit)})"
    return f"{change.measure} {before} → {after}{moved}"
