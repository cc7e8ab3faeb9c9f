"""A fault in the shape of a file's entries, as pydantic finds it, in one plain sentence."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ValidationError

from gainlib.errors import suggest
from gainlib.exercises.tables import A_NUMBER, PLAIN, known_entries, number_in_quotes
from gainlib.text import describe_value

__all__ = ["describe_fault", "describe_first"]


def describe_fault(fault: Any) -> str:
    """One of pydantic's faults as a plain sentence."""
    place, kind, given = tuple(fault["loc"]), fault["type"], fault.get("input")
    if kind != "extra_forbidden" and place[-1] in ("base", PLAIN):
        place = place[:-1]  # a number or a text that stands for a whole table
    where, context = _where(place), fault.get("ctx", {})
    if kind == "missing":
        return f"the entry {where} is missing; add it."
    if kind == "extra_forbidden":
        if len(place) > 1 and place[-1] in known_entries(()):
            return (
                f"{place[-1]} stands under {_where(place[:-1])}, but belongs to the whole exercise; "
                "move it above the first line in square brackets."
            )
        return f"there is no entry {where}; {suggest(str(place[-1]), known_entries(place[:-1]))}"
    wanted = {
        "string_type": "text in quotes",
        "float_type": "a number",
        "int_type": "a whole number",
        "list_type": "a list in square brackets",
        "dict_type": "a table",
        "model_type": "a table",
        "model_attributes_type": "a table",
        "finite_number": "a finite number",
        "string_too_short": "a text that is not empty",
        "string_pattern_mismatch": "a short name of small letters, digits and _",
    }.get(kind)
    if context.get("class_name") in ("Amount", "ValueEntry", "AnswerEntry"):
        if isinstance(given, str) and number_in_quotes(given):
            return f"{where} is {describe_value(given)}; {number_in_quotes(given)}"
        wanted = A_NUMBER
    elif kind == "literal_error":
        wanted = f"one of {context.get('expected', '')}".replace(" or ", ", ").replace("'", "")
    elif kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        words = {"gt": "above", "ge": "at least", "lt": "below", "le": "at most"}
        key = next(iter(context))
        wanted = f"{words.get(key, key)} {context[key]:g}"
    elif kind == "string_too_long":
        return f"{where} is longer than {context['max_length']} characters; shorten it."
    elif kind in ("too_long", "too_short"):
        if kind == "too_long":
            return f"{where} holds too many values; give at most {context['max_length']}."
        return f"{where} holds too few values; give at least {context['min_length']}."
    if "[key]" in place:
        return f"{_where(place[:-1])} has a name that cannot be used; it must be {wanted}."
    if isinstance(given, str) and wanted in ("a number", "a whole number") and number_in_quotes(given):
        return f"{where} is {describe_value(given)}; it must be {wanted}: {number_in_quotes(given)}"
    return f"{where} is {describe_value(given)}; it must be {wanted or fault['msg'].lower()}."


def _where(place: tuple[int | str, ...]) -> str:
    """`("checks", 0, "reads")` as `reads of check 1`."""
    parts: list[str] = []
    for part in place:
        if isinstance(part, int):
            one = "bus" if parts[-1] == "buses" else parts[-1].removesuffix("s")
            parts[-1] = f"{one} {part + 1}"
        elif part != "[key]":
            parts.append(str(part))
    return " of ".join(reversed(parts))


def describe_first(fault: ValidationError, model: type[BaseModel]) -> str:
    """The first of pydantic's faults as a plain sentence."""
    first: Any = fault.errors(include_url=False)[0]
    *table, name = first["loc"]
    if first["type"] != "extra_forbidden":
        return describe_fault(first)
    if table:
        return f"there is no entry {str(name)[:80]} in {' '.join(str(each) for each in table[:1])}; leave it out."
    known = [field.alias or own for own, field in model.model_fields.items()]
    return f"there is no entry {str(name)[:80]}; {suggest(str(name)[:80], known)}"
