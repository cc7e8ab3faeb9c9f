"""What follows from what was shown on a bench: rules for every learner, the looks of wrong answers, plain sentences."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from gainlib.authoring.draft import Draft, rule_of, stage_names
from gainlib.errors import GainError
from gainlib.exercises.readings import LEVEL_UNITS, Reading, Renderings, reading_of
from gainlib.exercises.tables import Drawn, ReadingEntry
from gainlib.exercises.variant import control_label
from gainlib.flow import Session
from gainlib.storage.foreign import is_number
from gainlib.text import listed

__all__ = ["bounds_around", "complete", "control_name", "name_of_reading", "reading_of_check"]

Settings = Mapping[str, Any]
Rules = dict[str, dict[str, int]]
MOST_RULES = 243
"""So many ways in which settings may follow what is drawn are tried at most."""
MOST_ENDS = 8
"""At so many ends of what is drawn a wrong answer is looked at, at most: half of them from each end of the list."""


def complete(draft: Draft, file: Path) -> Draft:
    """The draft with what was left open worked out: rules, the looks of wrong answers, sentences that nobody wrote.

    Which settings follow what is drawn is found by trying: the fewest that let the right answer pass, and the beginning
    fail, at both ends of each range; the beginning follows as well, where controls reach so far. What is said already
    stays. Raises GainError where the recording or the stages are at fault.
    """
    session = draft.session(file.parent)
    if _rules_are_open(draft):
        draft = _with_rules(draft, *_found_rules(draft, session), session)
    renderings = Renderings()
    for at, slip in enumerate(draft.get("slips", unless=())):
        if not slip.get("when"):
            draft = draft.put("slips", at, "when", value=_looks_of(draft, slip, session, renderings))
    for at, check in enumerate(draft.get("checks", unless=())):
        draft = draft.put("checks", at, value=_in_words(check, draft, session))
    if not draft.get("goal"):
        draft = draft.put("goal", value=_goal(draft, session))
    return draft if draft.get("brief") else draft.put("brief", value=_brief(draft, session))


def reading_of_check(check: Mapping[str, Any], session: Session, drawn: Drawn | None = None) -> Reading:
    """What a check of a draft reads, with its bounds; those that are measured for each learner are no numbers here.

    >>> import gainlib as gl
    >>> session = gl.Session.of(gl.tone(-20, 997, seconds=1, rate_hz=48_000), [gl.Trim()])
    >>> reading_of_check({"reads": {"measure": "peak_dbfs", "at": "trim", "at_most": -6}}, session).side(-5.0)
    'high'
    """
    return reading_of(ReadingEntry.model_validate(check["reads"]), drawn or {}, session)


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


# --- rules ---


def _numbers(draft: Draft) -> list[Mapping[str, Any]]:
    """The moves of a number that the right answer sets."""
    right = draft.get("solution", unless={})
    return [
        each
        for each in draft.get("moves", unless=())
        if "from" in each and not each.get("points") and each.get("path") in right
    ]


def _rules_are_open(draft: Draft) -> bool:
    """Whether rules are to be found: settings are drawn from ranges, and the right answer is that of one bench."""
    plain = all(is_number(each) for each in (
        draft.get("solution", row["path"]) for row in _numbers(draft)
    ))  # fmt: skip
    checks = draft.get("checks", unless=())
    simple = not any("each" in each or _has_words(each.get("reads")) for each in checks)
    return bool(_ends(draft) and checks and _numbers(draft)) and plain and simple and not draft.get("plant")


def _ends(draft: Draft) -> list[dict[str, float]]:
    """Both ends of each range with those of all others; empty where anything but a setting in a range is drawn."""
    varies = draft.get("varies", unless={})
    if not varies or not all(
        "step" in each and "{" not in each.get("path", "{") and "signal/" not in each["path"]
        for each in varies.values()
    ):
        return []
    ends = itertools.product(*((each["from"], each["to"]) for each in varies.values()))
    return [dict(zip(varies, each, strict=True)) for each in ends]


def _put(draft: Draft, drawn: Mapping[str, float]) -> dict[str, float]:
    """What is drawn as the settings that it is drawn of."""
    return {draft.get("varies", name, "path"): value for name, value in drawn.items()}


def _found_rules(draft: Draft, session: Session) -> tuple[Rules, bool]:
    """Which moved settings follow which drawn values, and in which direction, and whether the beginning follows too.

    No rules where none serves.
    """
    numbers, varies = _numbers(draft), draft.get("varies")
    right = draft.stood(draft.get("solution"), session)
    checks = draft.get("checks")
    renderings = Renderings()

    def meets(settings: Settings, drawn: Drawn) -> bool:
        read = renderings.read(session.replaced(settings))
        readings = (reading_of_check(each, session, drawn) for each in checks)
        return not any(reading.side(read.value(reading)) for reading in readings)

    def serves(rules: Rules, begins: bool) -> bool:
        for drawn in _ends(draft):
            put = _put(draft, drawn)
            moved = {}
            for each in numbers:
                moved[each["path"]] = sum(
                    slope * (value - float(session.setting(varies[name]["path"])))
                    for name, value in drawn.items()
                    if (slope := rules.get(each["path"], {}).get(name, 0))
                )
            answer = {path: value + moved[path] if path in moved else value for path, value in right.items()}
            start = {
                each["path"]: float(session.setting(each["path"])) + begins * moved[each["path"]] for each in numbers
            }
            ends = ((each, settings[each["path"]]) for each in numbers for settings in (answer, start))
            if not all(each["from"] <= value <= each["to"] for each, value in ends):
                return False
            if not meets(put | answer, drawn) or meets(put | start, drawn):
                return False
        return True

    ways = itertools.product(itertools.islice(_rules(varies, numbers), MOST_RULES), (True, False))
    return next((way for way in ways if serves(*way)), ({}, False))


def _rules(varies: Mapping[str, Any], numbers: list[Mapping[str, Any]]) -> Iterator[Rules]:
    """Ways in which settings may follow, those with the fewest first; at most two follow one drawn value."""
    one = [((each["path"], sign),) for each in numbers for sign in (-1, 1)]
    two = [(*first, *second) for first, second in itertools.combinations(one, 2) if first[0][0] != second[0][0]]
    choices: list[tuple[tuple[str, int], ...]] = [(), *one, *two]
    for chosen in sorted(itertools.product(choices, repeat=len(varies)), key=lambda each: sum(map(len, each))):
        rules: Rules = {}
        for name, follows in zip(varies, chosen, strict=True):
            for path, sign in follows:
                rules.setdefault(path, {})[name] = sign
        yield rules


def _with_rules(draft: Draft, rules: Rules, begins: bool, session: Session) -> Draft:
    """The draft whose right answer follows what is drawn, with beginnings and wrong answers as far as controls go."""
    nominal = draft.nominal(session)
    moves = {each["path"]: each for each in draft.get("moves")}

    def reaches(path: str, rule: Any) -> bool:
        stood = [draft.stood({path: rule}, session, drawn)[path] for drawn in _ends(draft)]
        return all(moves[path]["from"] <= each <= moves[path]["to"] for each in stood)

    for path, slopes in rules.items():
        draft = draft.put("solution", path, value=rule_of(draft.get("solution", path), slopes, nominal))
        for at, move in enumerate(draft.get("moves")):
            if begins and move["path"] == path and "start" not in move:
                start = rule_of(float(session.setting(path)), slopes, nominal)
                draft = draft.put("moves", at, "start", value=start)
        for at, slip in enumerate(draft.get("slips", unless=())):
            value = slip["answer"].get(path)
            if is_number(value) and reaches(path, rule := rule_of(value, slopes, nominal)):
                draft = draft.put("slips", at, "answer", path, value=rule)
    return draft


# --- what tells a wrong answer ---


def _looks_of(
    draft: Draft, slip: Mapping[str, Any], session: Session, renderings: Renderings
) -> list[Mapping[str, Any]]:
    """What tells a wrong answer: each check that it misses, from halfway to the bound on, and each that it meets.

    Of questions it is each answer that is not the right one.
    """
    when: list[Mapping[str, Any]] = []
    missed = 0
    if checks := draft.get("checks", unless=()):
        ends = _ends(draft)
        if len(ends) > MOST_ENDS:  # so each range is seen at its lowest and at its highest
            ends = [*ends[: MOST_ENDS // 2], *ends[-(MOST_ENDS // 2) :]]
        every = [draft.nominal(session), *ends]
        put = [{}, *(_put(draft, each) for each in ends)]
        reads = [
            renderings.read(session.replaced(settings | draft.stood(slip["answer"], session, drawn)))
            for settings, drawn in zip(put, every, strict=True)
        ]
        for each in checks:
            seen = [reading_of_check(each, session, drawn) for drawn in every]
            values = [read.value(reading) for read, reading in zip(reads, seen, strict=True)]
            reading, side = seen[0], seen[0].side(values[0])
            # The nearest to the bound of what any learner's wrong answer reads, where all are on one side of it.
            same = all(one.side(value) == side for one, value in zip(seen, values, strict=True))
            value = values[0] if not same else min(values) if side == "high" else max(values)
            found = dict(each["reads"])
            if side and math.isfinite(value):
                bound = float((reading.most if side == "high" else reading.least) or 0.0)
                middle = (bound + value) / 2
                edge = math.ceil(middle) if not reading.digits else round(middle, reading.digits)
                bounds = ("at_least", "at_most")
                found = {name: one for name, one in found.items() if name not in bounds}
                found[bounds[side != "high"]] = edge
            missed += bool(side)
            when.append(found)
    for ask in draft.get("asks", unless=()):
        given, right = slip["answer"].get(ask["name"]), draft.get("solution", ask["name"])
        if given is None or given == right:
            continue
        missed += 1
        near = {"near": given, "within": ask["within"]} if ask.get("within") else {"is": given}
        when.append({"ask": ask["name"], **near})
    if not missed:
        raise GainError(
            f"the wrong answer {slip.get('name', '')!r} meets every check; narrow a bound, or take the answer away."
        )
    return when


# --- sentences that nobody wrote ---


def name_of_reading(reading: str, at: str) -> str:
    """What a check is headed with until somebody names it.

    >>> name_of_reading("true_peak_dbtp", "main/limiter"), name_of_reading("rms_dbfs", "trim")
    ('True peak after the limiter', 'RMS after the trim')
    """
    words = re.sub(r"_(dbfs|dbtp|db|lufs|lu|percent)$", "", reading).replace("_", " ")
    words = words[:1].upper() + words[1:]
    return f"{re.sub(r'[Rr]ms', 'RMS', words)} after the {at.rpartition('/')[2]}"


def _in_words(check: Mapping[str, Any], draft: Draft, session: Session) -> dict[str, Any]:
    """A check with the sentences that it lacks; one that says all of them stays as it is."""
    reads = check["reads"]
    made = dict(check)
    made["title"] = check.get("title") or name_of_reading(_what_is_read(reads), reads.get("at", ""))
    low, high = _which_way(check, draft, session)
    if not check.get("low") and "at_least" in reads:
        made["low"] = low
    if not check.get("high") and "at_most" in reads:
        made["high"] = high
    made["source"] = check.get("source") or "The teacher's own target."
    made["standing"] = check.get("standing") or "common practice"
    return made


def _has_words(value: Any) -> bool:
    """Whether a drawn word stands in a path of it."""
    if isinstance(value, Mapping):
        return any(_has_words(each) for each in value.values())
    return isinstance(value, str) and "{" in value


def _what_is_read(reads: Mapping[str, Any]) -> str:
    return str(reads.get("measure") or reads.get("told") or reads.get("setting") or "")


def _which_way(check: Mapping[str, Any], draft: Draft, session: Session) -> tuple[str, str]:
    """What is said when a check is low, and when it is high: which control brings it right, if one does."""
    reads = check["reads"]
    if "each" in check or _has_words(reads) or draft.get("given", "strips"):
        return "It is {off} too low.", "It is {off} too high."
    unit = reading_of_check(check, session, draft.nominal(session)).unit(session)
    if not unit:
        return "There are {off} too few.", "There are {off} too many."
    names = stage_names(draft.get("given", "stages"))
    here = names.index(reads["at"]) if reads.get("at") in names else len(names)
    reach = [
        each["path"]
        for each in _numbers(draft)
        if each["path"].endswith("gain_db")
        and each["path"].partition("/")[0] in names
        and names.index(each["path"].partition("/")[0]) <= here
    ]
    if unit in ("dBFS", "dBTP", "LUFS") and reach:
        moved = control_name(session, reach[-1])
        return f"Turn the {moved} up by {{off}}.", f"Turn the {moved} down by {{off}}."
    return "It is {off} too low.", "It is {off} too high."


def _goal(draft: Draft, session: Session) -> str:
    if draft.get("checks"):
        moves = [each["path"] for each in draft.get("moves", unless=()) if "{" not in each["path"]]
        return f"Set {listed(control_name(session, each) for each in moves[:4]) or 'a level'} by what is measured."
    titles = [each["title"] for each in draft.get("asks", unless=()) if each.get("title")]
    return f"Work out: {listed(titles)}." if titles else "Say here what one can do afterwards."


def _brief(draft: Draft, session: Session) -> str:
    said = [
        f"{control_name(session, each['path']).capitalize()} is {{{name}}}."
        for name, each in draft.get("varies", unless={}).items()
        if each.get("path") and "{" not in each["path"] and "signal/" not in each["path"]
    ]
    drawn = draft.nominal(session)
    for each in draft.get("checks", unless=()):
        if "each" in each or _has_words(each["reads"]):
            continue
        wanted = reading_of_check(each, session, drawn).wanted(session)
        title = each["title"][:1].lower() + each["title"][1:] if each["title"][1:2].islower() else each["title"]
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
