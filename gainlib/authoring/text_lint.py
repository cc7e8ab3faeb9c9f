"""The texts of an exercise held against its checks: promised numbers, units, sentences that give the answer away."""

from __future__ import annotations

import re
from collections.abc import Iterator

from gainlib.authoring.evidence import Evidence
from gainlib.exercises.formulas import formulas
from gainlib.exercises.readings import LEVEL_UNITS, Reading, reading_of, words_of
from gainlib.exercises.tables import PLACEHOLDER, READS, AskEntry, ValueEntry, VaryEntry, fill_in
from gainlib.exercises.variant import Variant, unit_of_path
from gainlib.meters import measures
from gainlib.storage.entry_faults import Place
from gainlib.text import listed

__all__ = ["check_texts"]

OTHER_UNITS = {"dBA", "Hz", "kHz", "s", "ms", "m", "ohm", "mV"}
"""Units of settings and of texts, beside those of measures and reckonings."""


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
        _texts_that_answer(evidence, ask)
        _unit_of_ask(evidence, index, ask)
    for name, vary in evidence.spec.varies.items():
        _unit_of_drawn(evidence, name, vary)
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


def _texts_that_answer(evidence: Evidence, ask: AskEntry) -> None:
    """A drawn word that is the answer, printed where it is read before the answer."""
    answer = evidence.spec.solution[ask.name].plain
    drawn = PLACEHOLDER.fullmatch(answer) if isinstance(answer, str) else None
    if drawn is None:
        return
    texts: list[tuple[Place, str, str]] = [(("brief",), "the brief", evidence.spec.brief)]
    texts += [(("hints", at, "text"), f"hint {at + 1}", hint.text) for at, hint in enumerate(evidence.spec.hints)]
    for place, name, text in texts:
        if drawn[1] in PLACEHOLDER.findall(text):
            evidence.note_remark(place, f"{name} prints {drawn[0]}, which is the answer to the ask {ask.name}.")


def _unit_of_ask(evidence: Evidence, index: int, ask: AskEntry) -> None:
    """A unit that is not written as it is elsewhere, none, or another than that of what is right."""
    if ask.expected is None or not evidence.variants:
        return
    wanted = _unit_of_value(ask.expected, evidence.variants[0])
    place: Place = ("asks", index, "unit" if ask.unit else "within")
    said = f"the unit of the ask {ask.name} is {ask.unit!r}"
    if wanted and not ask.unit:
        evidence.note_remark(
            place,
            f"the ask {ask.name} has no unit, so that within {ask.within:g} says nothing to a reader; "
            f'what is right is in {wanted}: unit = "{wanted}".',
        )
    elif wanted and ask.unit != wanted and not (wanted == "dB" and ask.unit in LEVEL_UNITS):  # levels add up to a level
        evidence.note_remark(place, f"{said}; what is right is in {wanted}.")
    elif near := _unit_meant(ask.unit):
        evidence.note_remark(place, f"{said}; it is written {near}.")


def _unit_of_value(value: ValueEntry, variant: Variant) -> str:
    """The unit that a number is read or reckoned in, where that says one."""
    if value.reckon is not None:
        return formulas()[value.reckon].unit
    read = READS & value.model_fields_set
    return reading_of(value, variant.values, variant.session).unit(variant.session) if read else ""


def _unit_of_drawn(evidence: Evidence, name: str, vary: VaryEntry) -> None:
    said = f"the unit of {name} is {vary.unit!r}"
    if near := _unit_meant(vary.unit):
        evidence.note_remark(("varies", name, "unit"), f"{said}; it is written {near}.")
    elif vary.unit and vary.path and evidence.variants:
        variant = evidence.variants[0]
        path = fill_in(vary.path, words_of(variant.values))
        own = unit_of_path(variant.session, path)
        if own != vary.unit:
            has = f"is in {own}" if own else "has none"
            evidence.note_remark(("varies", name, "unit"), f"{said}, but {path} {has}; leave the unit out.")


def _unit_meant(given: str) -> str:
    """How a unit is written that was typed in another way; empty for one that is known, or unlike any."""
    known = {each.unit for each in measures().values()} | {each.unit for each in formulas().values()} | OTHER_UNITS
    alike = {each.lower(): each for each in known if each}
    return "" if given in known else alike.get("".join(given.split()).lower(), "")


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
