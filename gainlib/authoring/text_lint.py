"""The texts of an exercise held against its checks: promised numbers, sentences that give the answer away."""

from __future__ import annotations

import re
from collections.abc import Iterator

from gainlib.authoring.evidence import Evidence
from gainlib.exercises.readings import Reading
from gainlib.exercises.tables import PLACEHOLDER
from gainlib.storage.entry_faults import Place
from gainlib.text import listed

__all__ = ["check_texts"]


def check_texts(evidence: Evidence) -> None:
    """Numbers in the texts that no check with their unit would accept, and sentences that give the answer away."""
    for index, ask in enumerate(evidence.spec.asks):
        for side in ("low", "high", "wrong"):
            words = set(PLACEHOLDER.findall(getattr(ask, side) or ""))
            if told := sorted(words & {"measured", "wanted"}):
                evidence.note_remark(
                    ("asks", index, side),
                    f"{side} of the ask {ask.name} tells {{{told[0]}}}, which gives the answer away.",
                )
    if not evidence.count or not evidence.variants:
        return
    texts: list[tuple[Place, str, str]] = [(("brief",), "the brief", evidence.spec.brief)]
    texts += [(("hints", at, "text"), f"hint {at + 1}", hint.text) for at, hint in enumerate(evidence.spec.hints)]
    for at, entry in enumerate(evidence.spec.checks):
        for side in ("low", "high", "good"):
            texts.append((("checks", at, side), f"{side} of check {at + 1}", getattr(entry, side) or ""))
    bounds: dict[str, list[Reading]] = {}
    for variant in evidence.ends():
        for reading in variant.checks:
            bounds.setdefault(reading.unit(variant.session), []).append(reading)
    remarks = len(evidence.remarks)
    for place, name, text in texts:
        for number, unit in _numbers_in(text):
            held = bounds.get(unit, [])
            if held and not any(each.room(number) >= 0 for each in held):
                wanted = listed(_bounds(each) for each in held)
                evidence.note_remark(place, f"{name} says {number:g} {unit}; the checks want {wanted} {unit}.")
    if len(evidence.remarks) == remarks:
        evidence.shown.append("No text promises another number than the checks use.")


def _bounds(reading: Reading) -> str:
    low, high = reading.least, reading.most
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    return f"at most {high:g}" if high is not None else f"at least {low:g}"


_PROMISED = re.compile(
    r"([-−–]?\d+(?:[.,]\d+)?)(?:\s*(?:to|and|or|–|…)\s*([-−–]?\d+(?:[.,]\d+)?))?\s*(dBFS|dBTP|dBu|LUFS|LU|dB)\b"
)


def _numbers_in(text: str) -> Iterator[tuple[float, str]]:
    """The numbers with a level's unit in a text, `-15 dBFS` or `-17 to -13 dBFS`."""
    for found in _PROMISED.finditer(text):
        for part in (found[1], found[2]):
            if part:
                yield float(re.sub("[−–]", "-", part).replace(",", ".")), found[3]
