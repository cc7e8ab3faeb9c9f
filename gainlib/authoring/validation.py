"""An exercise file held against all that it must be: every fault at once, each with its line."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pydantic import ValidationError

from gainlib.authoring.messages import FileFault, parse_text
from gainlib.errors import closest, suggest
from gainlib.exercises.collection import build_exercise, own_name, read_content
from gainlib.exercises.tables import EXERCISE_KINDS, Spec
from gainlib.exercises.variant import Exercise
from gainlib.storage.entry_faults import (
    PLAIN,
    Place,
    describe_fault,
    known_entries,
    number_in_quotes,
    plain_number,
)
from gainlib.storage.lessons import find_lesson, lesson_files
from gainlib.storage.positions import line_of, lines_of
from gainlib.text import describe_value

__all__ = ["validate"]

MOST_MENDINGS = 40


def validate(file: Path, name: str = "") -> tuple[Exercise | None, tuple[FileFault, ...], dict[Place, int]]:
    """The exercise if its file is without fault, else None and all faults; and the line of each entry.

    What can be guessed (a comma for a point, a unit behind a number, a wrong name with a near one) is told and then
    read as it was meant, so that the faults behind it are found in the same run. The file itself is not changed.
    Raises GainError for a file that cannot be read at all.
    """
    text = read_content(file)
    found: list[FileFault] = []
    entries, text = parse_text(text, found)
    if entries is None:
        return None, tuple(found), {}
    lines = lines_of(text)
    kind = entries.get("kind")
    if not isinstance(kind, str) or kind not in EXERCISE_KINDS:
        said = f"kind is {describe_value(kind)}; {suggest(str(kind)[:80], EXERCISE_KINDS)}"
        if kind is None:
            said = f"the entry kind is missing; known are {', '.join(EXERCISE_KINDS)}."
        found.append(FileFault(line_of(lines, ("kind",)), said))
        entries["kind"] = closest(str(kind)[:80], EXERCISE_KINDS)
        if not entries["kind"]:
            return None, _in_order(found), lines
    unsure: set[Place] = set()
    spec = _shaped(entries, lines, found, unsure)
    if spec is None:
        return None, _in_order(found), lines
    if said := _no_lesson(spec.lesson, file):
        found.append(FileFault(line_of(lines, ("lesson",)), said))
    exercise, senseless = build_exercise(name or own_name(file), file, spec, text.encode())
    found += [
        FileFault(line_of(lines, place), said)
        for place, said in senseless
        if not any(each[: len(place)] == place for each in unsure)  # what follows from a fault that is told already
    ]
    return None if found else exercise, _in_order(found), lines


def _no_lesson(given: str, file: Path) -> str:
    """What is wrong with a lesson's name; nothing for one of the course, or of a notebook beside the exercise."""
    known = lesson_files() | lesson_files(file.parent)
    name = find_lesson(given, known)
    if name == given:
        return ""
    said = f"lesson is {describe_value(given)}; "
    return f"{said}write its name alone: {name}." if name else said + suggest(given.lstrip("0123456789- ")[:80], known)


def _in_order(found: list[FileFault]) -> tuple[FileFault, ...]:
    unlike = dict.fromkeys(found)
    return tuple(sorted(unlike, key=lambda fault: fault.line or 10**6))


def _shaped(
    entries: dict[str, Any], lines: dict[Place, int], found: list[FileFault], unsure: set[Place]
) -> Spec | None:
    """The entries as a spec; what is wrong with their shape is told, and mended where it is plain what was meant.

    Where it is not, something that is allowed stands in, and the place is noted as unsure.
    """
    told_of: set[Place] = set()
    for _ in range(MOST_MENDINGS):
        try:
            return Spec.model_validate(entries)
        except ValidationError as fault:
            faults = fault.errors()
        mended = False
        elsewhere = {each["loc"][-1] for each in faults if each["type"] == "extra_forbidden" and len(each["loc"]) > 1}
        renamed: set[Place] = set()
        for each in faults:
            place: Place = tuple(each["loc"])
            if each["type"] == "extra_forbidden":
                renamed.add((*place[:-1], closest(str(place[-1]), known_entries(Spec, place[:-1]))))
        for each in faults:
            place = tuple(each["loc"])
            missing = each["type"] == "missing"
            if missing and (place in renamed or (len(place) == 1 and place[0] in elsewhere)):
                continue  # it is there under a wrong name or in a wrong place, which is told already
            if place not in told_of:
                told_of.add(place)
                at = line_of(lines, place[:-1] if missing else place)
                found.append(FileFault(at, describe_fault(each, Spec)))
            mended = _as_meant(entries, place, each, unsure) or mended
        if not mended:
            return None
    return None


def _as_meant(entries: dict[str, Any], place: Place, fault: Any, unsure: set[Place]) -> bool:
    """Change the entries to what was probably meant, or to what is allowed there; False where neither is known."""
    if fault["type"] != "extra_forbidden" and place[-1] in ("base", PLAIN):
        place = place[:-1]  # a number or a text that stands for a whole table
    *way, last = place
    owner: Any = entries
    for part in way:
        try:
            owner = owner[part]
        except (KeyError, IndexError, TypeError):
            return False
    if fault["type"] == "extra_forbidden" and isinstance(owner, dict) and last in owner:
        value = owner.pop(last)
        if way and last in known_entries(Spec, ()):
            entries.setdefault(str(last), value)
            return True
        if near := closest(str(last), known_entries(Spec, tuple(way))):
            owner.setdefault(near, value)
        else:
            unsure.add(place)
        return True
    given = fault.get("input")
    if isinstance(given, str) and number_in_quotes(given) and fault["type"] in ("float_type", "int_type", "model_type"):
        number = plain_number(given)
        whole = fault["type"] == "int_type"
        if not (whole and "." in number):
            owner[last] = int(number) if whole else float(number)
            return True
    allowed = _allowed(fault)
    if allowed is None or "[key]" in place:
        return False
    owner[last] = allowed
    unsure.add(place)
    return True


def _allowed(fault: Any) -> Any:
    """A value that stands in for one that is not allowed, so that the search goes on; None where there is none."""
    context = fault.get("ctx", {})
    if fault["type"] in ("greater_than_equal", "less_than_equal"):
        bound = context.get("ge", context.get("le"))
        return bound if isinstance(fault["input"], int) and float(bound).is_integer() else float(bound)
    if fault["type"] == "greater_than":
        return context["gt"] + 1.0
    if fault["type"] == "literal_error":
        return str(context["expected"]).split(",")[0].split(" or ")[0].strip(" '")
    return {"string_type": "-", "string_too_short": "-", "float_type": 1.0, "int_type": 1}.get(fault["type"])
