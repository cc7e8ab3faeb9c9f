"""What follows from what was shown on a bench: rules for every learner, the looks of wrong answers, plain sentences."""

from __future__ import annotations

import dataclasses
import itertools
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from gainlib.authoring.draft import Draft, DraftCheck, DraftMove, DraftSlip, stage_names
from gainlib.errors import GainError
from gainlib.exercises.readings import LEVEL_UNITS, Probe, Reading, Renderings
from gainlib.exercises.variant import control_label
from gainlib.flow import Session
from gainlib.text import listed

__all__ = ["bounds_around", "complete", "control_name", "name_of_reading", "reading_of_check"]

Settings = Mapping[str, Any]
MOST_RULES = 243
"""So many ways in which settings may follow what is drawn are tried at most."""


def complete(draft: Draft, file: Path) -> Draft:
    """The draft with what was left open worked out: rules, the looks of wrong answers, sentences that nobody wrote.

    Which settings follow what is drawn is found by trying: the fewest that let the right answer pass, and the beginning
    fail, at both ends of each range. Raises GainError where the recording or the stages are at fault.
    """
    session = draft.session(file.parent)
    if draft.varies and draft.checks and draft.right:
        draft = dataclasses.replace(draft, follows=_found_rules(draft, session))
    renderings = Renderings()
    slips = tuple(dataclasses.replace(each, when=_looks_of(draft, each, session, renderings)) for each in draft.slips)
    checks = tuple(_in_words(each, draft, session) for each in draft.checks)
    draft = dataclasses.replace(draft, slips=slips, checks=checks)
    goal = (
        draft.goal
        or f"Set {listed(control_name(session, each.path) for each in draft.moves) or 'a level'} by what is measured."
    )
    return dataclasses.replace(draft, goal=goal, brief=draft.brief or _brief(draft, session))


def reading_of_check(check: DraftCheck) -> Reading:
    """What a check of a draft reads, with its bounds.

    >>> reading_of_check(DraftCheck("measure", "peak_dbfs", "trim", at_most=-6.0)).side(-5.0)
    'high'
    """
    measure, told = (check.reading, None) if check.kind == "measure" else (None, check.reading)
    return Reading(Probe(measure=measure, told=told, at=check.at), None, check.at_least, check.at_most)


def bounds_around(value: float, unit: str) -> tuple[float | None, float | None]:
    """Bounds to begin with around what was right: 2 dB on either side of a level, no more of what is counted.

    >>> bounds_around(-14.2, "dBFS"), bounds_around(0.0, ""), bounds_around(1.25, "%")
    ((-16.0, -12.0), (None, 0.0), (1.0, 1.5))
    """
    if unit in LEVEL_UNITS:
        middle = float(round(value)) if math.isfinite(value) else 0.0
        return middle - 2.0, middle + 2.0
    if not unit:
        return None, value
    return round(0.8 * value, 2), round(1.2 * value, 2)


def _found_rules(draft: Draft, session: Session) -> dict[str, dict[str, int]]:
    """Which moved settings follow which drawn values, and in which direction; none where no rule serves."""
    numbers = [each for each in draft.moves if not each.options and each.path in draft.right]
    corners = list(itertools.product(*((each.low, each.high) for each in draft.varies)))
    readings = [reading_of_check(each) for each in draft.checks]
    renderings = Renderings()

    def meets(settings: Settings) -> bool:
        read = renderings.read(session.replaced(settings))
        return not any(reading.side(read.value(reading)) for reading in readings)

    def serves(rules: dict[str, dict[str, int]]) -> bool:
        for corner in corners:
            drawn = {each.path: value for each, value in zip(draft.varies, corner, strict=True)}
            moved = {}
            for each in numbers:
                moved[each.path] = sum(
                    slope * (value - float(session.setting(vary.path)))
                    for vary, value in zip(draft.varies, corner, strict=True)
                    if (slope := rules.get(each.path, {}).get(vary.name, 0))
                )
            right = {path: value + moved.get(path, 0.0) for path, value in draft.right.items()}
            start = {each.path: float(session.setting(each.path)) + moved[each.path] for each in numbers}
            if not all(each.low <= end[each.path] <= each.high for each in numbers for end in (right, start)):
                return False
            if not meets(drawn | right) or meets(drawn | start):
                return False
        return True

    return next((rules for rules in itertools.islice(_rules(draft, numbers), MOST_RULES) if serves(rules)), {})


def _rules(draft: Draft, numbers: list[DraftMove]) -> Iterator[dict[str, dict[str, int]]]:
    """Ways in which settings may follow, those with the fewest first; at most two follow one drawn value."""
    one = [((each.path, sign),) for each in numbers for sign in (-1, 1)]
    two = [(*first, *second) for first, second in itertools.combinations(one, 2) if first[0][0] != second[0][0]]
    choices: list[tuple[tuple[str, int], ...]] = [(), *one, *two]
    for chosen in sorted(itertools.product(choices, repeat=len(draft.varies)), key=lambda each: sum(map(len, each))):
        rules: dict[str, dict[str, int]] = {}
        for vary, follows in zip(draft.varies, chosen, strict=True):
            for path, sign in follows:
                rules.setdefault(path, {})[vary.name] = sign
        yield rules


def _looks_of(draft: Draft, slip: DraftSlip, session: Session, renderings: Renderings) -> tuple[dict[str, Any], ...]:
    """What tells a wrong answer: each check that it misses, from halfway to the bound on, and each that it meets."""
    read = renderings.read(session.replaced(dict(slip.answer)))
    when = []
    missed = 0
    for each in draft.checks:
        reading = reading_of_check(each)
        value = read.value(reading)
        side = reading.side(value)
        found = each.reads
        if side and math.isfinite(value):
            bound = float((each.at_most if side == "high" else each.at_least) or 0.0)
            edge = math.ceil((bound + value) / 2) if not reading.digits else round((bound + value) / 2, reading.digits)
            found = {each.kind: each.reading, "at": each.at, "at_least" if side == "high" else "at_most": edge}
        missed += bool(side)
        when.append(found)
    if not missed:
        raise GainError(f"the wrong answer {slip.name!r} meets every check; narrow a bound, or take the answer away.")
    return tuple(when)


# --- sentences that nobody wrote ---


def name_of_reading(reading: str, at: str) -> str:
    """What a check is headed with until somebody names it.

    >>> name_of_reading("true_peak_dbtp", "main/limiter"), name_of_reading("rms_dbfs", "trim")
    ('True peak after the limiter', 'RMS after the trim')
    """
    words = re.sub(r"_(dbfs|dbtp|db|lufs|lu|percent)$", "", reading).replace("_", " ")
    words = words[:1].upper() + words[1:]
    return f"{re.sub(r'[Rr]ms', 'RMS', words)} after the {at.rpartition('/')[2]}"


def _in_words(check: DraftCheck, draft: Draft, session: Session) -> DraftCheck:
    reading = reading_of_check(check)
    unit = reading.unit(session)
    low, high = (
        ("It is {off} too low.", "It is {off} too high.")
        if unit
        else ("There are {off} too few.", "There are {off} too many.")
    )
    names = stage_names(draft.stages)
    here = names.index(check.at) if check.at in names else len(names)
    reach = [
        each.path
        for each in draft.moves
        if not each.options and each.path.endswith("gain_db") and names.index(each.path.partition("/")[0]) <= here
    ]
    if unit in ("dBFS", "dBTP", "LUFS") and reach:
        moved = control_name(session, reach[-1])
        low, high = f"Turn the {moved} up by {{off}}.", f"Turn the {moved} down by {{off}}."
    return dataclasses.replace(
        check,
        title=check.title or name_of_reading(check.reading, check.at),
        low=check.low or (low if check.at_least is not None else ""),
        high=check.high or (high if check.at_most is not None else ""),
        source=check.source or "The teacher's own target.",
    )


def _brief(draft: Draft, session: Session) -> str:
    said = [f"{control_name(session, each.path).capitalize()} is {{{each.name}}}." for each in draft.varies]
    for each in draft.checks:
        wanted = reading_of_check(each).wanted(session)
        title = each.title[:1].lower() + each.title[1:] if each.title[1:2].islower() else each.title
        said.append(f"Bring the {title} to {wanted}.")
    return " ".join(said) or "Say here what is asked."


def control_name(session: Session, path: str) -> str:
    """What a control is called within a sentence.

    >>> from gainlib.exercises import load
    >>> control_name(load("recording/leave-room").variant("ada").session, "preamp/gain_db")
    'preamp gain'
    """
    label = control_label(session, session.full_path(path))
    return label[:1].lower() + label[1:]
