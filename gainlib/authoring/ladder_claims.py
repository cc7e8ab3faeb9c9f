"""What a proof claims of a listening ladder: its sounds differ, by less from rung to rung, and by nothing else."""

from __future__ import annotations

import itertools
import math

from gainlib.authoring.evidence import Evidence
from gainlib.exercises.ladder import Heard, Ladder, ladder_of
from gainlib.exercises.variant import Variant
from gainlib.text import signed

__all__ = ["ladder_is_sound"]

MATCHED_WITHIN_DB = 0.1
LEAST_SPAN_DB = 15.0
"""So far at least the difference of the two sounds falls from the first rung to the last."""
SAME_BELOW_DB = -200.0
"""What differs by less than this is the same but for the rounding of arithmetic."""
OUTSIDE_KNOWN = 2
"""So many rungs lie on either side of what others have found that people can hear."""


def ladder_is_sound(evidence: Evidence) -> None:
    """Every rung of every variant rendered and measured; the first that is wrong is noted with its variant."""
    faults = len(evidence.faults)
    apart: list[tuple[float, float]] = []
    for variant in evidence.variants:
        apart.append(_rungs(evidence, variant))
        if len(evidence.faults) > faults:
            return
    first, last = min(each[0] for each in apart), max(each[1] for each in apart)
    count = ladder_of(evidence.variants[0]).count
    evidence.shown.append(f"The two sounds differ on each of {count} rungs, and by less from rung to rung.")
    evidence.shown.append(
        f"On the first rung their difference lies {_below(first)} the sound itself, on the last one {_below(last)} it."
    )
    if evidence.spec.matched:
        evidence.shown.append(f"Both are equally loud within {MATCHED_WITHIN_DB:g} LU on every rung.")
    evidence.shown.append("Neither is cut off on its way to the ear.")
    entry = evidence.spec.ladder
    if entry is not None and entry.known is None:
        evidence.note_remark(("ladder",), "nothing says what others have heard; give known if a source has it.")


def _below(level_db: float) -> str:
    return f"{signed(abs(level_db), plus=False)} {'below' if level_db < 0 else 'above'}"


def _rungs(evidence: Evidence, variant: Variant) -> tuple[float, float]:
    """How far apart the sounds of the first and of the last rung are; what is wrong is noted."""
    ladder, place = ladder_of(variant), ("ladder", "rungs")
    where = evidence.describe([variant])
    ways = {first < second for first, second in itertools.pairwise(ladder.sizes)}
    if len(ways) > 1 or len(set(ladder.sizes)) < ladder.count or not all(map(math.isfinite, ladder.sizes)):
        read = ", ".join(ladder.printed(each) for each in ladder.sizes)
        evidence.note_fault(place, f"what is read does not go one way from rung to rung {where}: {read}.")
        return 0.0, 0.0
    before = math.inf
    first = last = 0.0
    for rung in range(ladder.count):
        heard = ladder.heard(rung)
        said = _wrong(evidence, ladder, heard, before)
        if said:
            evidence.note_fault(place, f"rung {rung + 1}, {ladder.printed(ladder.sizes[rung])}: {said} {where}.")
            return 0.0, 0.0
        before = last = heard.apart_db
        first = last if rung == 0 else first
    if first - last < LEAST_SPAN_DB:
        evidence.note_fault(
            place,
            f"the last rung differs by only {signed(first - last, plus=False)} less than the first {where}; "
            f"let the ladder reach over {LEAST_SPAN_DB:g} dB or more.",
        )
    _ends(evidence, ladder, where)
    return first, last


def _wrong(evidence: Evidence, ladder: Ladder, heard: Heard, before: float) -> str:
    if heard.apart_db == math.inf:
        return "there is nothing to hear"
    if heard.apart_db < SAME_BELOW_DB:
        how = " once all are equally loud (with matched = false they are not)" if evidence.spec.matched else ""
        return f"the odd one is the same as the others{how}"
    if heard.apart_db >= before:
        return f"the odd one differs by more than on the rung before ({signed(heard.apart_db)}, {signed(before)})"
    usual, odd = heard.levels
    if evidence.spec.matched and not abs(usual - odd) <= MATCHED_WITHIN_DB:
        return f"the odd one is not as loud as the others ({signed(odd, 2, 'LUFS')}, {signed(usual, 2, 'LUFS')})"
    if heard.peak > 1.0:
        return f"a sound is cut off on its way to the ear, {signed(20 * math.log10(heard.peak))} over full scale"
    return ""


def _ends(evidence: Evidence, ladder: Ladder, where: str) -> None:
    """Whether the ladder begins and ends well outside what others have found."""
    known = ladder.entry.known
    if known is None:
        return
    sign = 1.0 if ladder.sizes[0] > ladder.sizes[-1] else -1.0
    clear, fine = sorted((known.low, known.high), key=lambda each: -sign * each)
    for side, count in (
        ("clearer", sum(sign * each > sign * clear for each in ladder.sizes)),
        ("finer", sum(sign * each < sign * fine for each in ladder.sizes)),
    ):
        if count < OUTSIDE_KNOWN:
            evidence.note_fault(
                ("ladder", "rungs"),
                f"{count} of the rungs is {side} than what is known, {ladder.printed(known.low)} to "
                f"{ladder.printed(known.high)} {where}; give {OUTSIDE_KNOWN} or more.",
            )
