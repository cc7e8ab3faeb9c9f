"""A check that is meant for each of many strips, made into one for each of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeVar

from gainlib.errors import GainError, suggest
from gainlib.exercises.tables import CheckEntry, LessEntry, Spec, fill_in
from gainlib.flow.session_table import StripPlan
from gainlib.storage.entry_faults import Fault, collecting

__all__ = ["spread_over_strips", "within_part"]

Reads = TypeVar("Reads", bound=LessEntry)


def spread_over_strips(
    spec: Spec, strips: Sequence[StripPlan], found: list[Fault] | None = None
) -> tuple[Spec, tuple[int, ...]]:
    """The entries with a check for each strip where one is meant for each, and from which check of the file each came.

    What is wrong is added to `found`, with its place in the file.

    >>> from gainlib.exercises import load
    >>> exercise = load("recording/leave-room")
    >>> spread_over_strips(exercise.spec, exercise.layout.plan.strips)[1]
    (0, 1, 2)
    """
    checks: list[CheckEntry] = []
    rows: list[int] = []
    for row, check in enumerate(spec.checks):
        made = [check] if check.each is None else []
        with collecting([] if found is None else found, ("checks", row, "each")):
            if check.each is not None:
                made = [_for_strip(check, name) for name in _meant(check, strips)]
        checks += made
        rows += [row] * len(made)
    return spec.model_copy(update={"checks": checks}), tuple(rows)


def _meant(check: CheckEntry, strips: Sequence[StripPlan]) -> list[str]:
    """The names of the strips that a check is meant for."""
    names = [each.name for each in strips]
    if check.each != "strips":
        for each in check.each:
            if each not in names:
                raise GainError(
                    f"each of check {check.title!r} names {each!r}, which is no strip; {suggest(each, names)}"
                )
        return [each for each in names if each in check.each]
    stage = (check.reads.at or check.reads.setting or "").partition("/")[0]
    having = [
        each.name for each in strips if stage in [*(one.name for one in each.stages), *(one.name for one in each.sends)]
    ]
    if not having:
        known = {one.name for each in strips for one in each.stages}
        raise GainError(
            f"no strip has a stage {stage!r}, which check {check.title!r} reads of each; {suggest(stage, known)}"
        )
    return having


def _for_strip(check: CheckEntry, name: str) -> CheckEntry:
    texts = {each: text for each in ("title", "low", "high", "good") if (text := getattr(check, each)) is not None}
    told = {each: fill_in(text, {"strip": name}) for each, text in texts.items()}
    return check.model_copy(update={**told, "reads": within_part(check.reads, name), "each": None})


def within_part(entry: Reads, part: str) -> Reads:
    """What is read, with the name of a strip or bus in front of its paths and those of its bounds where they are short.

    >>> within_part(LessEntry(at="trim"), "voice").at
    'voice/trim'
    """
    change: dict[str, Any] = {}
    if entry.at is not None and "/" not in entry.at:
        change["at"] = f"{part}/{entry.at}"
    if entry.setting is not None and entry.setting.count("/") == 1:
        change["setting"] = f"{part}/{entry.setting}"
    for name in ("less", "at_least", "at_most"):
        if isinstance(inner := getattr(entry, name, None), LessEntry):
            change[name] = within_part(inner, part)
    return entry.model_copy(update=change)
