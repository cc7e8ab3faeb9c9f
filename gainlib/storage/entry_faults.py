"""The entries of a TOML file: known ones only, and each fault in their shape in one plain sentence."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator
from typing import Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict, ValidationError

from gainlib.errors import GainError, closest, suggest
from gainlib.storage.foreign import Place, describe_place
from gainlib.text import describe_value

__all__ = [
    "PLAIN", "Entry", "Fault", "Place", "collecting", "describe_fault", "describe_first",
    "known_entries", "number_in_quotes", "plain_number",
]  # fmt: skip

Fault = tuple[Place, str]
"""A fault's place, and the sentence that tells it."""
PLAIN = "(plain)"
"""Where a value that is no table is put, so that every value has one shape; no author types it."""


class Entry(BaseModel):
    """What all tables of a file share: known entries only, no type turned into another.

    `entry_form` is what stands for such a table, and `file_kind` what the whole file is called.
    """

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=False)
    entry_form: ClassVar[str] = "a table"
    file_kind: ClassVar[str] = "file"


@contextlib.contextmanager
def collecting(found: list[Fault], place: Place) -> Iterator[None]:
    """Collect a fault with its place in the file, so that the next one is looked for as well."""
    try:
        yield
    except GainError as fault:
        found.append((place, str(fault)))


def describe_fault(fault: Any, model: Any) -> str:
    """One of pydantic's faults in a file that `model` describes, as a plain sentence."""
    place, kind, given = tuple(fault["loc"]), fault["type"], fault.get("input")
    if kind != "extra_forbidden" and place[-1] in ("base", PLAIN):
        place = place[:-1]  # a number or a text that stands for a whole table
    where, context = describe_place(place), fault.get("ctx", {})
    if kind == "missing":
        return f"the entry {where} is missing; add it."
    if kind == "extra_forbidden":
        if len(place) > 1 and place[-1] in known_entries(model, ()):
            return (
                f"{place[-1]} stands under {describe_place(place[:-1])}, but belongs to the whole {model.file_kind}; "
                "move it above the first line in square brackets."
            )
        return f"there is no entry {where}; {suggest(str(place[-1]), known_entries(model, place[:-1]))}"
    wanted = {
        "string_type": "text in quotes",
        "float_type": "a number",
        "int_type": "a whole number",
        "bool_type": "true or false, without quotes",
        "date_type": "a day such as 2027-01-15, without quotes",
        "list_type": "a list in square brackets",
        "dict_type": "a table",
        "model_type": "a table",
        "model_attributes_type": "a table",
        "finite_number": "a finite number",
        "string_too_short": "a text that is not empty",
        "string_pattern_mismatch": "a short name of small letters, digits and _",
    }.get(kind)
    form = _form_of(context.get("class_name"))
    if form != Entry.entry_form:
        if isinstance(given, str) and number_in_quotes(given):
            return f"{where} is {describe_value(given)}; {number_in_quotes(given)}"
        wanted = form
    elif kind == "literal_error":
        wanted = _one_of(context.get("expected", ""))
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
        return f"{describe_place(place[:-1])} has a name that cannot be used; it must be {wanted}."
    if isinstance(given, str) and wanted in ("a number", "a whole number") and number_in_quotes(given):
        return f"{where} is {describe_value(given)}; it must be {wanted}: {number_in_quotes(given)}"
    return f"{where} is {describe_value(given)}; it must be {wanted or fault['msg'].lower()}."


def describe_first(fault: ValidationError, model: type[BaseModel]) -> str:
    """The first of pydantic's faults as a plain sentence."""
    first: Any = fault.errors(include_url=False)[0]
    *table, name = first["loc"]
    if first["type"] != "extra_forbidden":
        return describe_fault(first, model)
    if table and name in known_entries(model, ()) and len(table) == 1:
        return describe_fault(first, model)
    if table:
        known = known_entries(model, tuple(table))
        near = closest(str(name)[:80], known)
        where = f"{str(name)[:80]} in {' '.join(str(each) for each in table[:1])}"
        return f"there is no entry {where}; {f'did you mean {near}?' if near else 'leave it out.'}"
    known = [field.alias or own for own, field in model.model_fields.items()]
    return f"there is no entry {str(name)[:80]}; {suggest(str(name)[:80], known)}"


def _one_of(expected: str) -> str:
    """The words that may stand there; in quotes where one of them is a mere sign.

    >>> _one_of("'latest' or 'best'"), _one_of("',', ';' or 'tab'"), _one_of("1")
    ('one of latest, best', "one of ',', ';', 'tab'", '1')
    """
    words = expected.replace(" or ", ", ")
    if all(re.search(r"\w", each) for each in re.findall(r"'([^']*)'", expected)):
        words = words.replace("'", "")
    return f"one of {words}" if ", " in words else words


def _form_of(class_name: str | None, kind: type[Entry] = Entry) -> str:
    """What stands for a table of that class."""
    for below in kind.__subclasses__():
        form = below.entry_form if below.__name__ == class_name else _form_of(class_name, below)
        if form != Entry.entry_form:
            return form
    return Entry.entry_form


NUMBER_IN_QUOTES = re.compile(r"\s*([-+−–—]?)\s*(\d+)(?:([.,])(\d+))?\s*([A-Za-z%]*)\s*")


def number_in_quotes(text: str) -> str:
    """What to do about a number that was typed as a text; empty where the text is none.

    >>> number_in_quotes("6 dB")
    'leave the unit out, it belongs in the name, and the quotes as well: 6'
    """
    found = NUMBER_IN_QUOTES.fullmatch(text)
    if not found:
        return ""
    number = plain_number(text)
    if found[5]:
        return f"leave the unit out, it belongs in the name, and the quotes as well: {number}"
    if found[3] == ",":
        return f"write the decimals behind a point, without quotes: {number}"
    return f"leave the quotes out: {number}"


def plain_number(text: str) -> str:
    """The number in a text as TOML writes it.

    >>> plain_number("−0,5 dB")
    '-0.5'
    """
    found = NUMBER_IN_QUOTES.fullmatch(text)
    if not found:
        return text
    sign = "-" if found[1] in ("-", "−", "–", "—") and found[1] else ""
    return f"{sign}{found[2]}" + (f".{found[4]}" if found[4] else "")


def known_entries(model: Any, place: Place) -> list[str]:
    """The entries that a table at this place of a file may have."""
    for part in place:
        if isinstance(part, str) and isinstance(model, type) and issubclass(model, BaseModel):
            fields = {field.alias or name: field.annotation for name, field in model.model_fields.items()}
            model = fields.get(part)
        inner = _model_within(model)
        model = inner or model
    if isinstance(model, type) and issubclass(model, BaseModel):
        return [alias for name, field in model.model_fields.items() if (alias := field.alias or name) != PLAIN]
    return ["the entries of this table"]


def _model_within(annotation: Any) -> Any:
    """The model that a list, a table or an optional entry holds, if there is one."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        found = _model_within(inner)
        if found:
            return found
    return None
