"""The entries of one table of an exercise file as the fields of a form, and what was typed there as entries again.

Which entries a table has, and of which form each is, is asked of the tables themselves, so a form offers what a file
may say. A field is a table with `name` (the entry's path within its table), `label`, `form` and more, as a page has it.
"""

from __future__ import annotations

import re
import types
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from gainlib.authoring.one_line import (
    condition_from,
    condition_line,
    number_text,
    send_from,
    send_line,
    value_from,
    value_line,
)
from gainlib.errors import GainError
from gainlib.exercises.readings import stage_readings
from gainlib.exercises.tables import Amount, LessEntry, PlantEntry, ReadingEntry
from gainlib.meters import measures
from gainlib.stages import Stage
from gainlib.stages.described import described_settings
from gainlib.storage import toml_value
from gainlib.storage.foreign import is_number, toml_table

__all__ = [
    "NOTHING", "OF_THE_FILE", "ROWS", "as_labelled", "entry_fields", "entry_values", "entry_with",
    "setting_fields", "setting_values", "setting_with",
]  # fmt: skip

NOTHING = "–"
"""What a choice shows where the entry is left out."""
NOWHERE, NONE = "nowhere", "none"
"""What stands for an empty text, as a bus has it that ends by itself, and for an empty row."""

LABELS = {
    "name": "Name",
    "title": "Headed",
    "points": "Points",
    "source": "Where it comes from",
    "standing": "which is",
    "low": "Said when it is too low; {off} prints how far",
    "high": "Said when it is too high",
    "good": "Said when it is right",
    "wrong": "Said when it is wrong",
    "each": "For each of these strips",
    "unit": "Unit",
    "within": "Right within",
    "from": "from",
    "to": "to",
    "step": "in steps of",
    "choose": "one of",
    "options": "one of",
    "path": "Setting",
    "expected": "What is right",
    "among": "Asks for one of",
    "of": "of the strip",
    "at": "at",
    "moment": "which moment",
    "pick": "which one",
    "order": "in which order",
    "say": "What is said",
    "text": "The hint",
    "cost": "costs points",
    "when": "How it is known, a line each",
    "answer": "The wrong answer, a line each",
    "set": "What is set in it, a line each",
    "start": "begins at",
    "label": "What it is called",
    "by": "changed by",
    "take": "Recording",
    "sends": "Sends, a line each",
    "seconds": "from second",
    "question": "What is asked",
    "rungs": "The rungs, the clearest first",
    "odd": "Set in the odd one alone, a line each",
    "what": "The size in a sentence; {size} prints it",
    "known.from": "What others can hear: from",
    "known.to": "to, in the unit of the rungs",
    "known.say": "Said beside it",
    "known.source": "Where that is known from",
    "signal.wave": "Made signal",
    "signal.frequency_hz": "its frequency",
    "signal.level_dbfs": "its level",
    "signal.seconds": "how long",
    "between": "Cut to the seconds",
    "listen": "Heard at",
    "advise": "The sentence on top says the way",
    "views": "Pictures",
    "parts": "Parts by name, a line each",
    "strip": "What the strip is called",
    "is": "stands as",
    "at_least": "at least",
    "at_most": "at most",
    "less": "less the same, or another, reading",
    "members": "Members",
    "gain_db": "Gain",
}
"""What a field is headed with, by the entry's path within its table, or by its last part."""
OF_THE_FILE = {
    "kind": "What learners do",
    "title": "Title",
    "lesson": "Lesson",
    "level": "Level",
    "goal": "What one can do afterwards",
    "brief": "What is asked; an empty line begins a paragraph, {name} prints what is drawn",
    "between": "Cut: from",
    "checks": "What is measured",
    "asks": "What is asked",
    "ladder": "The ladder",
    "moves": "What learners move",
    "prompts": "What the page asks for while it records",
    "varies": "What differs from learner to learner",
    "solution": "Your own answer",
}
"""What a field or a part of the page is headed with, by the entry of the whole file, or of given, that it holds."""
ROWS = {
    "strips": "Strip",
    "buses": "Bus",
    "groups": "Fader group",
    "checks": "Check",
    "asks": "Question",
    "varies": "What is drawn",
    "plant": "What is put wrong",
    "moves": "Control",
    "candidates": "Version",
    "prompts": "Prompt",
    "slips": "Wrong answer",
    "hints": "Hint",
}
"""What a row of a table is called."""
HINTS = {
    "expected": "rms_dbfs at trim, 14 − level, or sum_db(level, −20)",
    "at_least": "−16, or 14 − level",
    "at_most": "−12, or 16 − level",
    "start": "left empty: as given, drawn or planted",
    "choose": "kick, snare",
    "options": "false, true",
    "views": "level diagram, waveform",
    "between": "0 to 6",
    "seconds": "0 to 9.3",
    "when": "peak_dbfs at trim, at least −8",
    "answer": "trim/gain_db = 14 − level",
    "set": "trim/gain_db = 12",
    "each": "strips",
    "by": "6, or −off",
    "less": "at trim",
    "sends": "hall at −12, before the fader",
    "odd": "file/dither = false",
    "rungs": "−36, −32, −28",
    "parts": "verse = [0, 9.3]",
    "members": "kick, snare",
}
"""What is shown in a field while nothing stands in it."""
UNITS = {"frequency_hz": "Hz", "level_dbfs": "dBFS", "gain_db": "dB"}


def entry_fields(
    table: type[BaseModel],
    *,
    leave: Sequence[str] = (),
    taps: Sequence[str] = (),
    paths: Sequence[str] = (),
    options: Mapping[str, Sequence[str]] | None = None,
) -> list[dict[str, Any]]:
    """The fields of a table's entries, in the order of the table.

    `leave` are entries that have no field, `taps` what is proposed where a tap is asked for, `paths` where a setting is
    named, `options` the choices of entries that are texts.

    >>> from gainlib.exercises.tables import HintEntry
    >>> [(each["name"], each["form"]) for each in entry_fields(HintEntry)]
    [('text', 'prose'), ('cost', 'number')]
    """
    made: list[dict[str, Any]] = []
    for name, form in _forms(table):
        if name.partition(".")[0] in leave or name in leave:
            continue
        last = name.rpartition(".")[2]
        field: dict[str, Any] = {"name": name, "label": LABELS.get(name, LABELS.get(last, last.replace("_", " ")))}
        if name == "expected":
            field["wide"] = True
        if name == "points" and form == "tick":
            field["label"] = "a ride is drawn"
        if name == "to" and form == "line":
            field |= {"label": "Goes to the bus", "hint": "left empty: the main"}
        if hint := HINTS.get(last):
            field["hint"] = hint
        if options and name in options:
            field |= {"form": "choice", "options": [NOTHING, *options[name]]}
        elif form == "number":
            field |= {"form": "number", "unit": UNITS.get(last, "s" if last == "seconds" else "")}
        elif form == "what":
            field |= {"form": "choice", "label": "What is read", "wide": True, "options": _what_can_be_read()}
        elif isinstance(form, tuple):
            field |= {"form": "choice", "options": [NOTHING, *form]}
        else:
            field |= {
                "form": "tick"
                if form == "tick"
                else "prose"
                if form in ("prose", "answers", "conditions", "sends")
                else "line"
            }
            if form == "prose" and last not in ("text", "brief", "say"):
                field |= {"form": "line", "wide": True}
        if form == "line" and last in ("at", "path", "listen"):
            field["options"] = list(paths if last == "path" or table is PlantEntry else taps)
        made.append(field)
    return made


def entry_values(table: type[BaseModel], row: Mapping[str, Any]) -> dict[str, Any]:
    """What stands in each field for the entries of a row.

    >>> from gainlib.exercises.tables import VaryEntry
    >>> entry_values(VaryEntry, {"from": -30, "to": -16, "step": 1, "unit": "dB"})["from"]
    -30
    """
    return {name: _shown(name, form, row) for name, form in _forms(table)}


def entry_with(table: type[BaseModel], row: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """The row with what was changed in its fields; entries whose field still says the same stay as they were.

    Raises GainError for what cannot be read.

    >>> from gainlib.exercises.tables import HintEntry
    >>> entry_with(HintEntry, {"text": "Look.", "cost": 1}, {"text": "Listen.", "cost": 1})
    {'text': 'Listen.', 'cost': 1}
    """
    made = _copied(row)
    before = entry_values(table, row)
    for name, form in _forms(table):
        if name in values and values[name] != before[name]:
            try:
                _put(made, name, form, values[name])
            except GainError as fault:
                raise GainError(f"{LABELS.get(name, name)}: {fault}") from fault
    return made


def as_labelled(said: str) -> str:
    """A sentence about entries of the file, with the labels that a page has for them.

    >>> as_labelled("good of ask low holds {of}; known are measured.")
    '“Said when it is right” of question “low” holds {of}; known are measured.'
    >>> as_labelled("the entry goal is missing; add it."), as_labelled("between of given ends before it starts.")
    ('the entry “What one can do afterwards” is missing; add it.', '“Cut: from” ends before it starts.')
    """
    said = _OF_A_TABLE.sub(lambda found: _headed(found[1], of_given=found[2] == "given"), said)
    said = said.replace("” of given", "”").replace("” of ladder", "” of the ladder")
    said = _OF_THE_WHOLE.sub(lambda found: f"{found[1]}“{_short(OF_THE_FILE[found[2]])}”", said)
    said = _A_NAMED_ROW.sub(lambda found: f"{found[1]}{_ROW_CALLED[found[2]]} “{found[3]}”", said)
    return _A_ROW.sub(lambda found: f"{found[1]}{_ROW_CALLED[found[2]]} ", said)


# --- the settings of a stage ---


def setting_fields(kind: type[Stage]) -> list[dict[str, Any]]:
    """The fields of a stage's settings, each with what it may be.

    >>> from gainlib.stages import Trim
    >>> [(each["name"], each["hint"]) for each in setting_fields(Trim)]
    [('name', 'a name of its own'), ('gain_db', 'unless said: 0')]
    """
    named = {"name": "name", "label": "called", "form": "line", "hint": "a name of its own"}
    return [named] + [
        {
            "name": each.name,
            "label": f"{each.name}, {_A_MINUS.sub('−', each.may_be)}",
            "form": "line",
            "hint": f"unless said: {each.unless_said}",
        }
        for each in described_settings(kind)
    ]


def setting_values(kind: type[Stage], row: Mapping[str, Any]) -> dict[str, str]:
    """What stands in each of these fields; empty where the row leaves it out.

    >>> from gainlib.stages import Trim
    >>> setting_values(Trim, {"stage": "Trim", "gain_db": -6})
    {'name': '', 'gain_db': '−6'}
    """
    return {each["name"]: _scalar_text(row.get(each["name"])) for each in setting_fields(kind)}


def setting_with(kind: type[Stage], row: Mapping[str, Any], values: Mapping[str, str]) -> dict[str, Any]:
    """The row with what was changed in these fields.

    >>> from gainlib.stages import Trim
    >>> setting_with(Trim, {"stage": "Trim"}, {"name": "", "gain_db": "-6"})
    {'stage': 'Trim', 'gain_db': -6}
    """
    made = dict(row)
    before = setting_values(kind, row)
    for name, text in values.items():
        if name not in before or text == before[name]:
            continue
        if text.strip():
            made[name] = _scalar(text)
        else:
            made.pop(name, None)
    return made


# --- within ---

_ROW_CALLED = {"bus" if name == "buses" else name.removesuffix("s"): each.lower() for name, each in ROWS.items()}
_READ = {"reads": "What is read"}
_NAMED = "|".join(sorted({each.rpartition(".")[2] for each in (*LABELS, *OF_THE_FILE, *_READ)}, key=len, reverse=True))
_OF_A_TABLE = re.compile(
    rf"(?<![\w“'])(?<!the )({_NAMED}) of (?=(?:the )?({'|'.join(_ROW_CALLED)}|given|ladder|varies|reads|known)\b)"
)
_OF_THE_WHOLE = re.compile(rf"^((?:the entry )?)({'|'.join(OF_THE_FILE)})(?= (?:is|are|has|holds|begin|ends)\b)")
_A_ROW = re.compile(rf"(^|\bof (?:the )?|\bthe )({'|'.join(_ROW_CALLED)}) (?=[\d']|\w+(?:[ :;,.]|$))")
_A_NAMED_ROW = re.compile(r"(^|\bof (?:the )?)(ask|candidate) ([a-z_]\w*)")
_A_MINUS = re.compile(r"(?<!\w)-(?=\d|inf)")
Form = str | tuple[str, ...]


def _headed(name: str, *, of_given: bool) -> str:
    """The label of an entry in the words of a sentence, with what follows it."""
    known = OF_THE_FILE if of_given and name in OF_THE_FILE else LABELS
    label = (
        known.get(name) or _READ.get(name) or next(each for path, each in LABELS.items() if path.endswith(f".{name}"))
    )
    return f"“{_short(label)}” of "


def _short(label: str) -> str:
    return re.split("[,;]", label)[0]


def _forms(table: type[BaseModel], within: str = "") -> Iterator[tuple[str, Form]]:
    """Each entry's path within its table with the form of its field: tables in a table are gone through."""
    for own, field in table.model_fields.items():
        name = within + (field.alias or own)
        form = _form_of(field)
        if isinstance(form, type) and issubclass(form, ReadingEntry):
            yield f"{name}.what", "what"
            yield f"{name}.at", "line"
            for part in ("seconds", "less", "at_least", "at_most", "is"):
                yield f"{name}.{part}", {"seconds": "stretch", "less": "less", "is": "scalar"}.get(part, "value")
        elif isinstance(form, type):
            yield from _forms(form, f"{name}.")
        elif form:
            yield name, form


def _form_of(field: FieldInfo) -> Any:
    """How a field is typed, or the table that it holds; empty where it has no field of its own."""
    kind, notes = _bare(field.annotation)
    notes = [*notes, *field.metadata]
    if kind in (float, int):
        return "number"
    if kind is bool:
        return "tick"
    if kind is str:
        return "prose" if any(getattr(each, "max_length", 0) == 4000 for each in notes) else "line"
    if get_origin(kind) is Literal:
        return tuple(map(str, get_args(kind)))
    if get_origin(kind) is list:
        inner, _ = _bare(get_args(kind)[0])
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            return "conditions" if issubclass(inner, ReadingEntry) else "sends"
        if get_origin(inner) is dict:
            return ""  # the stages, which have a form of their own
        return (
            "stretch"
            if any(getattr(each, "max_length", 0) == 2 for each in [*notes, *_bare(field.annotation)[1]])
            else "row"
        )
    if get_origin(kind) is dict:
        return "answers"
    if isinstance(kind, type) and issubclass(kind, Amount):
        return "value"
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return "less" if kind is LessEntry else kind
    return "scalar"


def _bare(annotation: Any) -> tuple[Any, list[Any]]:
    """An annotation without Annotated and None, and what was noted beside it."""
    notes: list[Any] = []
    while True:
        if get_origin(annotation) is Annotated:
            annotation, *more = get_args(annotation)
            for each in more:
                notes += list(each.metadata) if isinstance(each, FieldInfo) else [each]
        elif get_origin(annotation) in (Union, types.UnionType):
            annotation = next(each for each in get_args(annotation) if each is not type(None))
        else:
            return annotation, notes


def _shown(name: str, form: Form, row: Mapping[str, Any]) -> Any:
    raw = _at(row, name)
    if form == "what":
        reads = _at(row, name.rpartition(".")[0]) or {}
        kind = next((each for each in ("measure", "told", "setting") if each in reads), "")
        return "setting" if kind == "setting" else f"{kind} {reads[kind]}" if kind else NOTHING
    if form == "line" and name.endswith(".at") and raw is None:
        return str((_at(row, name.rpartition(".")[0]) or {}).get("setting", ""))
    if form == "number":
        return raw
    if form == "tick":
        return bool(raw)
    if isinstance(form, tuple):
        return NOTHING if raw is None else raw
    if raw is None:
        return ""
    if form in ("line", "prose"):
        return str(raw) or (NOWHERE if name == "to" else "")
    if form == "stretch":
        return f"{number_text(raw[0])} to {number_text(raw[1])}"
    if form == "value":
        return value_line(raw)
    if form == "less":
        return condition_line(raw)
    if form == "row":
        return ", ".join(_scalar_text(each) for each in raw) or NONE
    if form == "answers":
        return "\n".join(f"{_key(key)} = {value_line(each)}" for key, each in raw.items())
    if form == "conditions":
        return "\n".join(condition_line(each) for each in raw)
    if form == "sends":
        return "\n".join(send_line(each) for each in raw)
    return _scalar_text(raw) if not isinstance(raw, list) else ", ".join(_scalar_text(each) for each in raw)


def _put(row: dict[str, Any], name: str, form: Form, given: Any) -> None:
    """Put what was typed into a row; nothing typed takes the entry away."""
    *way, last = name.split(".")
    owner: Any = row
    for part in way:
        owner = owner.setdefault(part, {})
    text = given.strip() if isinstance(given, str) else given
    if form == "what":
        for each in ("measure", "told", "setting"):
            owner.pop(each, None)
        kind, _, what = text.partition(" ")
        if kind == "setting":
            owner["setting"] = owner.pop("at", "")
        elif what:
            owner[kind] = what
    elif form == "line" and last == "at" and "setting" in owner:
        owner["setting"] = text
    elif text is None or text is False or text in ("", NOTHING):
        owner.pop(last, None)
    else:
        owner[last] = "" if name == "to" and text == NOWHERE else _read(form, text)
    if way and not owner:
        row.pop(way[0], None)


def _read(form: Form, text: Any) -> Any:
    if form in ("number", "tick", "line", "prose") or isinstance(form, tuple):
        return text
    if form == "stretch":
        found = re.fullmatch(r"([\d.]+)\s*(?:to|–|-|,)\s*([\d.]+)(?:\s*s)?", text)
        if not found:
            raise GainError(f"“{text}” is no stretch of time; write two numbers of seconds, as 0 to 9.3.")
        return [_number(found[1]), _number(found[2])]
    if form == "value":
        return value_from(text)
    if form == "less":
        return _less(text)
    lines = [each.strip() for each in text.split("\n") if each.strip()]
    if form == "answers":
        return dict(_answer(each) for each in lines)
    if form == "conditions":
        return [condition_from(each) for each in lines]
    if form == "sends":
        return [send_from(each) for each in lines]
    if form == "row":
        return [] if text == NONE else _listed(text)
    given = _listed(text)
    return given[0] if len(given) == 1 else given


def _listed(text: str) -> list[Any]:
    """What stands between commas; one with a digit on each side may as well be a decimal sign, so it is asked."""
    if found := re.search(r"(?<![\d.])\d+,\d+", text):
        raise GainError(
            f"{found[0]} may be one number or two; write decimals behind a point and a blank behind a comma, "
            f"as {found[0].replace(',', '.')} or {found[0].replace(',', ', ')}."
        )
    return [_scalar(each) for each in text.split(",") if each.strip()]


def _less(text: str) -> dict[str, Any]:
    """What a reading takes off: `at trim`, or another reading."""
    if text.startswith("{"):
        return dict(value_from(text))
    found = condition_from(f"peak_dbfs at x less {text}")
    return dict(found["less"])


def _answer(line: str) -> tuple[str, Any]:
    found = re.fullmatch(r'("(?:[^"]*)"|[^=]+?)\s*=\s*(.+)', line)
    if not found:
        raise GainError(f"“{line}” cannot be read; write a path or the name of a question, = and the value.")
    return found[1].strip('"'), value_from(found[2])


def _key(name: str) -> str:
    return f'"{name}"' if "=" in name else name


def _scalar(text: str) -> Any:
    """A number, a switch, rows of numbers, or a text."""
    bare = text.strip()
    if re.fullmatch(r"[-−–+]?\d+(\.\d+)?", bare):
        return _number(bare)
    if re.fullmatch(r"[-−–]?inf", bare):
        return float("-inf" if bare[0] != "i" else "inf")
    if bare in ("true", "false"):
        return bare == "true"
    if bare[:1] in ("[", "{") and not re.match(r"\{\w+\}", bare):
        return value_from(bare)
    return toml_table(f"it = {bare}", "the line")["it"] if bare[:1] == '"' == bare[-1:] and len(bare) > 1 else bare


def _scalar_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        again = _scalar(value) if value and "," not in value and value == value.strip() else None
        return value if again == value else toml_value(value)
    if is_number(value):
        return number_text(value)
    return toml_value(value)


def _number(text: str) -> float:
    plain = re.sub(r"[−–]", "-", text)
    return float(plain) if "." in plain else int(plain)


def _what_can_be_read() -> list[list[str]]:
    known = measures()
    told = [[f"told {name}", f"told by a stage: {name}"] for name in stage_readings()]
    return [
        [NOTHING, NOTHING], *([f"measure {name}", f"{name}: {each.meaning}"] for name, each in known.items()), *told,
        ["setting", "how a control stands: its path below"],
    ]  # fmt: skip


def _at(row: Mapping[str, Any], name: str) -> Any:
    found: Any = row
    for part in name.split("."):
        found = found.get(part) if isinstance(found, Mapping) else None
    return found


def _copied(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _copied(each) if isinstance(each, Mapping) else each for name, each in row.items()}
