"""An exercise in the making, as a page holds it: the entries of its file, and the file that they make.

A draft is the exercise file as data, finished or not. What the page changes is changed in these entries and nothing
else is, so whatever a file says stays said; only notes behind # have no place in them.
"""

from __future__ import annotations

import copy
import dataclasses
import itertools
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise
from gainlib.exercises.collection import build_exercise, own_name
from gainlib.exercises.given import Layout, laid_out
from gainlib.exercises.tables import EXERCISE_KINDS, Amount, Given, Spec, fill_in
from gainlib.flow import Session
from gainlib.flow.channels import GROUP
from gainlib.stages import stage_kinds
from gainlib.storage import toml_key, toml_value
from gainlib.storage.entry_faults import Fault, describe_fault
from gainlib.storage.foreign import toml_table
from gainlib.text import describe_value, listed

__all__ = ["Draft", "UnreadableDraft", "read_draft", "rule_of", "stage_names"]

Entries = TypeVar("Entries", bound=BaseModel)
_SIGNS = {"plus": 1, "minus": -1}
"""In a rule, which words name the drawn values that a setting follows upwards, and downwards."""
_UNFINISHED = {"missing", "string_too_short", "too_short"}
"""Faults that only say that something is still to be written."""
_TABLES = ("checks", "asks", "slips")
_ROWS = ("plant", "moves", "candidates", "prompts", "hints")
_GIVEN_ROWS = ("stages", "strips", "buses", "groups")
_TEXT_OR_NOTE = re.compile(r'"""[\s\S]*?"""|\'\'\'[\s\S]*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|(?P<note>#[^\n]*)')


class UnreadableDraft(GainError):
    """A file that a page cannot hold without loss: `reasons` name what, `notes` says that it is notes alone."""

    def __init__(self, name: str, reasons: Sequence[str], *, notes: bool = False) -> None:
        super().__init__(f"{name} cannot be written on a page: {'; '.join(reasons)} Change it as text.")
        self.reasons, self.notes = tuple(reasons), notes


@dataclass(frozen=True)
class Draft:
    """An exercise in the making: `entries` are those of its file, `text` is that file.

    >>> Draft({"kind": "set", "given": {"take": "media/bass.flac", "stages": [{"stage": "Trim"}]}}).text
    'kind = "set"\\ngiven.take = "media/bass.flac"\\ngiven.stages = [\\n  { stage = "Trim" },\\n]\\n'
    """

    entries: Mapping[str, Any]

    @property
    def kind(self) -> str:
        """What the learner does."""
        return str(self.entries["kind"])

    def get(self, *place: str | int, unless: Any = None) -> Any:
        """What stands at a place of the file; `unless` where nothing does."""
        found: Any = self.entries
        for each in place:
            try:
                found = found[each]
            except (KeyError, IndexError, TypeError):
                return unless
        return found

    def put(self, *place: str | int, value: Any) -> Draft:
        """The draft with another value at a place; None takes the entry away, and an index behind the last adds."""
        entries: Any = copy.deepcopy(dict(self.entries))
        owner = entries
        for each, following in itertools.pairwise(place):
            if isinstance(owner, dict) and each not in owner:
                owner[each] = [] if isinstance(following, int) else {}
            owner = owner[each]
        last: Any = place[-1]
        if isinstance(owner, list) and last == len(owner):
            owner.append(value)
        elif value is not None:
            owner[last] = value
        elif isinstance(owner, list) or last in owner:
            del owner[last]
        emptied = len(place) > 1 and not owner and place[0] not in ("given", "moves", "solution")
        if emptied:
            return Draft(entries).put(*place[:-1], value=None)
        return Draft(entries)

    # --- the session ---

    def layout(self, folder: Path) -> Layout:
        """The recordings and their stages; GainError with the first thing that is wrong with them."""
        found: list[Fault] = []
        made = laid_out(_validated(Given, self.entries["given"]), folder / "draft.toml", found)
        if found or made is None:
            raise GainError(found[0][1] if found else "the stages cannot be joined; take one away.")
        return made

    def session(self, folder: Path) -> Session:
        """The session as `given` has it, with its recordings; GainError as `layout`."""
        layout = self.layout(folder)
        return layout.heard(layout.start())

    @property
    def channels(self) -> dict[str, tuple[str | int, ...]]:
        """Where the stages of each strip and bus stand in the file, by the names of these."""
        if not self.get("given", "strips"):
            return {str(self.get("given", "strip", unless="take")): ("given", "stages")}
        return {
            str(row.get("name")): ("given", table, at, "stages")
            for table in ("strips", "buses")
            for at, row in enumerate(self.get("given", table, unless=()))
        }

    def with_setting(self, session: Session, path: str, value: Any) -> Draft:
        """The draft whose session has another value of a setting: of a stage, a send or a group's fader."""
        part, stage, setting = session.full_path(path).split("/")
        raw = [list(each) for each in value] if isinstance(value, tuple) else value
        if stage == GROUP:
            names = [row["name"] for row in self.entries["given"]["groups"]]
            return self.put("given", "groups", names.index(part), setting, value=raw)
        place = self.channels[part]
        if stage.startswith("send to "):
            sends = self.get(*place[:-1], "sends", unless=())
            at = [f"send to {row['to']}" for row in sends].index(stage)
            return self.put(*place[:-1], "sends", at, setting, value=raw)
        rows = self.get(*place, unless=())
        at = stage_names(rows).index(stage)
        usual = {field.name: field.default for field in dataclasses.fields(stage_kinds()[rows[at]["stage"]])}
        if setting not in rows[at] and value == usual.get(setting):
            return self
        return self.put(*place, at, setting, value=raw)

    def nominal(self, session: Session) -> dict[str, Any]:
        """A value for each thing that is drawn: what `given` has for it, else its middle or its first choice."""
        found: dict[str, Any] = {}
        for name, each in self.get("varies", unless={}).items():
            choices, path = each.get("choose"), each.get("path", "")
            low, high, step = (each.get(end, 0) for end in ("from", "to", "step"))
            found[name] = choices[0] if choices else low + (round((high - low) / step / 2) * step if step else 0)
            if path and "{" not in path and "signal/" not in path:
                value = session.setting(path)
                if isinstance(value, int | float | str) and (not choices or value in choices):
                    found[name] = value
        return found

    def stood(
        self, answer: Mapping[str, Any], session: Session, drawn: Mapping[str, Any] | None = None
    ) -> dict[str, Any]:
        """The settings that an answer means at what is drawn, at nominal values unless given; asks are left out."""
        nominal = self.nominal(session) if drawn is None else drawn
        words = {name: each for name, each in nominal.items() if isinstance(each, str)}
        found: dict[str, Any] = {}
        for key, part in answer.items():
            path = fill_in(key, words)
            if "/" not in path:
                continue
            if isinstance(part, Mapping) and not set(part) <= {"base", "plus", "minus", "times"}:
                continue  # a ride that is proposed
            value = Amount.model_validate(part).amount(nominal) if isinstance(part, Mapping) else part
            found[path] = tuple(map(tuple, value)) if isinstance(value, list) else value
        return found

    # --- the file ---

    @property
    def text(self) -> str:
        """The exercise file."""
        entries = dict(self.entries)
        lines: list[str] = []
        order = [field.alias or name for name, field in Spec.model_fields.items()]
        known = sorted(entries, key=lambda name: order.index(name) if name in order else len(order))
        for name in (each for each in known if each not in _TABLES):
            value = entries[name]
            if name == "given":
                for entry, each in value.items():
                    lines += (
                        _rows(f"given.{entry}", each)
                        if entry in _GIVEN_ROWS
                        else [f"given.{entry} = {toml_value(each)}"]
                    )
            elif name in ("varies", "solution", "ladder") and value:
                lines += [f"{name}.{toml_key(entry)} = {toml_value(each)}" for entry, each in value.items()]
            else:
                lines += _rows(name, value) if name in _ROWS else [f"{name} = {_prose(value)}"]
        for table in _TABLES:
            for each in entries.get(table, ()):
                lines += ["", f"[[{table}]]"]
                for entry, value in each.items():
                    lines += _rows(entry, value) if entry == "when" else [f"{entry} = {_prose(value)}"]
        return "\n".join(lines) + "\n"

    def exercise(self, file: Path) -> Exercise:
        """The exercise of this text, as `file` would hold it; GainError with the first thing that is wrong with it."""
        made, faults = build_exercise(own_name(file), file, _validated(Spec, self.entries), self.text.encode())
        if made is None:
            raise GainError(faults[0][1])
        return made


def rule_of(value: float, slopes: Mapping[str, int], nominal: Mapping[str, Any]) -> Any:
    """A number that stood on the bench, as a rule for every learner: what it follows is taken from what stood there.

    >>> rule_of(36.0, {"loud": -1}, {"loud": -22.0})
    {'base': 14.0, 'minus': 'loud'}
    """
    rule: dict[str, Any] = {
        "base": round(value - sum(slope * float(nominal[name]) for name, slope in slopes.items()), 9)
    }
    for word, sign in _SIGNS.items():
        names = [name for name, slope in slopes.items() if slope == sign]
        if names:
            rule[word] = names[0] if len(names) == 1 else names
    return rule if len(rule) > 1 else value


def stage_names(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """How the stages of these rows are called in paths.

    >>> stage_names(({"stage": "Trim"}, {"stage": "ClipGain", "name": "words"}))
    ['trim', 'words']
    """
    kinds = stage_kinds()
    return [str(row.get("name") or kinds[row["stage"]].kind.lower()) for row in rows]


def _validated(table: type[Entries], entries: Any) -> Entries:
    """The entries as a table; GainError with the first thing that is wrong with their shape."""
    try:
        return table.model_validate(entries)
    except ValidationError as fault:
        raise GainError(describe_fault(fault.errors()[0], table)) from fault


def _rows(name: str, rows: Sequence[Any]) -> list[str]:
    return [f"{name} = [", *(f"  {_row(each)}," for each in rows), "]"] if rows else [f"{name} = []"]


def _row(row: Any) -> str:
    """A table on one line; the stages of a strip on lines of their own."""
    if not (isinstance(row, Mapping) and row.get("stages")):
        return toml_value(row)
    inside = []
    for name, each in row.items():
        stages = "\n".join(f"    {toml_value(stage)}," for stage in each) if name == "stages" else ""
        inside.append(f"stages = [\n{stages}\n  ]" if stages else f"{name} = {toml_value(each)}")
    return f"{{ {', '.join(inside)} }}"


def _prose(value: Any) -> str:
    """A value; a text of several paragraphs as it is read."""
    if isinstance(value, str) and "\n" in value and not re.search(r'["\\\x00-\x09\x0b-\x1f\x7f]', value):
        return f'"""\n{value}"""'
    return toml_value(value)


# --- a file that is there ---


def read_draft(text: str, name: str, *, without_notes: bool = False) -> Draft:
    """The draft of an exercise file; UnreadableDraft names what a page would lose of it, or cannot show.

    `without_notes` reads one that holds notes behind #, which are lost when it is written.
    """
    entries = toml_table(text, name)
    kind = entries.get("kind")
    if not isinstance(kind, str) or kind not in EXERCISE_KINDS:
        said = f"kind is {describe_value(kind)}; {suggest(str(kind)[:80], EXERCISE_KINDS)}"
        raise UnreadableDraft(name, [said])
    try:
        Spec.model_validate(entries)
    except ValidationError as fault:
        wrong = [each for each in fault.errors() if each["type"] not in _UNFINISHED]
        if wrong:
            raise UnreadableDraft(name, [describe_fault(each, Spec) for each in wrong]) from fault
    if not isinstance(entries.get("given"), dict):
        raise UnreadableDraft(name, ["the entry given is missing; add it."])
    noted = [text.count("\n", 0, found.start()) + 1 for found in _TEXT_OR_NOTE.finditer(text) if found["note"]]
    if noted and not without_notes:
        where = listed(str(each) for each in noted[:8]) + (" and more" if len(noted) > 8 else "")
        lines = "lines" if len(noted) > 1 else "line"
        raise UnreadableDraft(
            name, [f"it holds notes of yours behind #, which the page would lose, in {lines} {where}."], notes=True
        )
    return Draft(entries)
