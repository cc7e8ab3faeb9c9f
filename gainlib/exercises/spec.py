"""The shape of an exercise file: its entries, and each fault in it told in one plain sentence."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, ValidationError

from gainlib.errors import GainError, nearest

__all__ = ["Amount", "Check", "MoveEntry", "Range", "Reading", "SetSpec", "Slip", "Spec", "Vary", "read_spec", "shown"]

LARGEST_FILE_BYTES = 64 * 1024

Number = Annotated[float, Field(allow_inf_nan=False)]
Above0 = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Prose = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000)]
EntryName = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,39}$")]


class Entry(BaseModel):
    """What all tables of an exercise file share: known entries only, no type turned into another."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=False)


class Amount(Entry):
    """A number, or a number that follows a drawn value: `{ base = 14, minus = "level" }` is 14 less the level."""

    base: Number = 0.0
    plus: EntryName | None = None
    minus: EntryName | None = None

    def at(self, drawn: dict[str, float]) -> float:
        """The amount for one learner's drawn values."""
        value = self.base
        value += drawn[self.plus] if self.plus else 0.0
        value -= drawn[self.minus] if self.minus else 0.0
        return round(value, 9)


def _as_table(given: Any) -> Any:
    return {"base": given} if isinstance(given, int | float) and not isinstance(given, bool) else given


Rule = Annotated[Amount, BeforeValidator(_as_table)]
Amounts = Annotated[dict[str, Rule], Field(max_length=16)]


Stretch = Annotated[list[Annotated[float, Field(ge=0, allow_inf_nan=False)]], Field(min_length=2, max_length=2)]


class Given(Entry):
    """What the learner gets: a take, and the stages that it passes with their settings."""

    take: Line
    strip: Line = "take"
    stages: list[dict[str, Any]] = Field(min_length=1, max_length=32)
    listen: Line | None = None
    views: list[Line] = Field(default_factory=lambda: ["level diagram"], min_length=1, max_length=6)
    parts: Annotated[dict[Line, Stretch], Field(max_length=8)] = Field(default_factory=dict)


class Range(Entry):
    """A setting, and the values that it may have."""

    path: Line
    low: Number = Field(alias="from")
    high: Number = Field(alias="to")
    step: Above0


class Vary(Range):
    """A setting that is drawn for each learner."""


class MoveEntry(Range):
    """A setting that the learner may move; without `start` it begins where the stage was given."""

    start: Rule | None = None
    label: Line | None = None


class Reading(Entry):
    """One thing read from an answer (a measure at a tap, or a setting) and the bounds that it is held against."""

    measure: Line | None = None
    at: Line | None = None
    seconds: list[Annotated[float, Field(ge=0, allow_inf_nan=False)]] | None = Field(
        default=None, min_length=2, max_length=2
    )
    setting: Line | None = None
    at_least: Number | None = None
    at_most: Number | None = None


class Check(Entry):
    """One thing that is measured on the answer, its points, and what to say when it is low or high."""

    title: Line
    points: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
    reads: Reading
    low: Prose | None = None
    high: Prose | None = None
    good: Prose | None = None
    source: Prose
    standing: Literal["published", "derived", "common practice", "from memory"]


class Slip(Entry):
    """A known wrong answer: what it looks like, an answer that commits it, and the sentence that meets it."""

    name: Line
    when: list[Reading] = Field(min_length=1, max_length=8)
    answer: Amounts
    say: Prose


class HintEntry(Entry):
    """A hint and the points that it costs."""

    text: Prose
    cost: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0


class Spec(Entry):
    """What an exercise of every kind has."""

    title: Line
    lesson: Line
    level: Annotated[int, Field(ge=1, le=3)]
    goal: Line
    brief: Prose
    hints: list[HintEntry] = Field(default_factory=list, max_length=6)


class SetSpec(Spec):
    """Kind "set": move controls until the measured outcomes are met; any settings that meet them pass."""

    kind: Literal["set"]
    given: Given
    varies: Annotated[dict[EntryName, Vary], Field(max_length=16)] = Field(default_factory=dict)
    moves: list[MoveEntry] = Field(min_length=1, max_length=16)
    checks: list[Check] = Field(min_length=1, max_length=12)
    slips: list[Slip] = Field(default_factory=list, max_length=12)
    solution: Amounts


KINDS: dict[str, type[SetSpec]] = {"set": SetSpec}


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


def read_content(file: Path) -> str:
    """The text of an exercise file; a GainError for one that cannot be read, is too large or is not UTF-8."""
    try:
        if file.stat().st_size > LARGEST_FILE_BYTES:
            raise GainError(f"{file.name} is larger than {LARGEST_FILE_BYTES // 1024} kB; an exercise is a short text.")
        content = file.read_bytes()
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise GainError(f"{file} cannot be read ({reason}); check the name and its permissions.") from fault
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise GainError(f"{file.name} is not UTF-8 text (byte {fault.start}); save it as UTF-8.") from fault


def read_spec(file: Path) -> tuple[SetSpec, bytes]:
    """The entries of an exercise file, and the file's bytes; a GainError names the file and the entry at fault."""
    text = read_content(file)
    try:
        entries = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        reason = str(fault).rstrip(".") or "nested too deep"
        raise GainError(f"{file.name} is not valid TOML: {reason[0].lower()}{reason[1:]}.") from fault
    kind = entries.get("kind")
    if kind is None:
        raise GainError(f"{file.name} lacks the entry kind; known are {', '.join(KINDS)}.")
    if not isinstance(kind, str) or kind not in KINDS:
        raise GainError(f"{file.name}: kind is {shown(kind)}; {nearest(str(kind)[:80], KINDS)}")
    try:
        return KINDS[kind].model_validate(entries), text.encode()
    except ValidationError as fault:
        raise GainError(f"{file.name}: {told(fault.errors()[0], KINDS[kind])}") from fault


def shown(value: object) -> str:
    """A value as a sentence quotes it: short, whatever it is.

    >>> shown("loud"), shown(None), shown(float("nan")), shown([1, 2])
    ("'loud'", 'nothing', 'NaN', 'a list')
    """
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        try:
            number = float(value)
        except (OverflowError, ValueError):
            return "a number beyond all bounds"
        return "NaN" if number != number else f"{number:g}".replace("-", "−").replace("inf", "infinite")
    if isinstance(value, str):
        return repr(str(value[:40]) + ("…" if len(value) > 40 else ""))
    kind = {"dict": "table", "ndarray": "array"}.get(type(value).__name__, type(value).__name__)
    return f"{'an' if kind[:1].lower() in 'aeiou' else 'a'} {kind}"


def told(fault: Any, model: type[BaseModel]) -> str:
    """One of pydantic's faults as a plain sentence."""
    place, kind, given = tuple(fault["loc"]), fault["type"], fault.get("input")
    where, context = _where(place), fault.get("ctx", {})
    if kind == "missing":
        return f"the entry {where} is missing; add it."
    if kind == "extra_forbidden":
        if len(place) > 1 and place[-1] in known_entries((), model):
            return (
                f"{place[-1]} stands under {_where(place[:-1])}, but belongs to the whole exercise; "
                "move it above the first line in square brackets."
            )
        return f"there is no entry {where}; {nearest(str(place[-1]), known_entries(place[:-1], model))}"
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
    if context.get("class_name") == "Amount":
        if isinstance(given, str) and number_in_quotes(given):
            return f"{where} is {shown(given)}; {number_in_quotes(given)}"
        wanted = 'a number, or a rule such as { base = 14, minus = "level" }'
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
        return f"{where} is {shown(given)}; it must be {wanted}: {number_in_quotes(given)}"
    return f"{where} is {shown(given)}; it must be {wanted or fault['msg'].lower()}."


def _where(place: tuple[int | str, ...]) -> str:
    """`("checks", 0, "reads")` as `reads of check 1`."""
    parts: list[str] = []
    for part in place:
        if isinstance(part, int):
            parts[-1] = f"{parts[-1].removesuffix('s')} {part + 1}"
        elif part != "[key]":
            parts.append(str(part))
    return " of ".join(reversed(parts))


def known_entries(place: tuple[int | str, ...], model: Any) -> list[str]:
    """The entries that a table at this place may have."""
    for part in place:
        if isinstance(part, str) and isinstance(model, type) and issubclass(model, BaseModel):
            fields = {field.alias or name: field.annotation for name, field in model.model_fields.items()}
            model = fields.get(part)
        inner = _model_within(model)
        model = inner or model
    if isinstance(model, type) and issubclass(model, BaseModel):
        return [field.alias or name for name, field in model.model_fields.items()]
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
