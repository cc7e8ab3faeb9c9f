"""An exercise in the making, as a page holds it: what was shown on a bench becomes the entries of an exercise file.

A draft holds what was stood on a bench once: where learners begin, what is right, what is wrong. Its text is an
exercise file of kind `set`, and such a file is read back when nothing in it would be lost.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from gainlib.errors import GainError
from gainlib.exercises import Exercise
from gainlib.exercises.collection import build_exercise, own_name
from gainlib.exercises.given import Layout, laid_out
from gainlib.exercises.tables import Given, Spec
from gainlib.flow import Session
from gainlib.stages import stage_kinds
from gainlib.storage import toml_value
from gainlib.storage.entry_faults import Fault, describe_fault
from gainlib.storage.foreign import toml_table
from gainlib.text import describe_value

__all__ = ["Draft", "DraftCheck", "DraftMove", "DraftSlip", "DraftVary", "read_draft", "stage_names"]

Settings = Mapping[str, Any]
Entries = TypeVar("Entries", bound=BaseModel)
_SIGNS = {"plus": 1, "minus": -1}
"""In a rule, which words name the drawn values that a setting follows upwards, and downwards."""


@dataclass(frozen=True)
class DraftVary:
    """A setting that differs from learner to learner, on the steps of a range."""

    name: str
    path: str
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class DraftMove:
    """A control that learners have: a range with its step, or options."""

    path: str
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    options: tuple[Any, ...] = ()


@dataclass(frozen=True)
class DraftCheck:
    """One thing that is measured: what (a measure, or what a stage tells), where, its bounds and its sentences."""

    kind: str
    reading: str
    at: str
    at_least: float | None = None
    at_most: float | None = None
    title: str = ""
    points: float = 1.0
    low: str = ""
    high: str = ""
    source: str = ""
    standing: str = "common practice"

    @property
    def reads(self) -> dict[str, Any]:
        """What it reads, as a file has it."""
        bounds = {"at_least": self.at_least, "at_most": self.at_most}
        return {
            self.kind: self.reading,
            "at": self.at,
            **{name: each for name, each in bounds.items() if each is not None},
        }


@dataclass(frozen=True)
class DraftSlip:
    """A wrong answer as it was stood on the bench, its sentence, and what it looks like."""

    name: str
    answer: Settings
    say: str
    when: tuple[Mapping[str, Any], ...] = ()


@dataclass(frozen=True)
class Draft:
    """An exercise of kind `set` in the making; `entries` are those of its file, `text` is that file.

    `stages` hold the settings with which learners begin, `right` the author's answer, both as they stand on the bench;
    `follows` says of a setting which drawn values it follows, upwards (1) or downwards (-1).

    >>> Draft(take="media/bass.flac").entries["given"]["strip"]
    'bass'
    """

    title: str = "New exercise"
    lesson: str = "set-recording-level"
    level: int = 1
    goal: str = ""
    brief: str = ""
    take: str = "media/bass.flac"
    strip: str = "bass"
    between: tuple[float, float] | None = None
    views: tuple[str, ...] = ("level diagram",)
    stages: tuple[Mapping[str, Any], ...] = ({"stage": "Trim", "gain_db": -12.0},)
    varies: tuple[DraftVary, ...] = ()
    moves: tuple[DraftMove, ...] = ()
    right: Settings = dataclasses.field(default_factory=dict)
    follows: Mapping[str, Mapping[str, int]] = dataclasses.field(default_factory=dict)
    checks: tuple[DraftCheck, ...] = ()
    slips: tuple[DraftSlip, ...] = ()
    hints: tuple[Mapping[str, Any], ...] = ()

    # --- the session ---

    def layout(self, folder: Path) -> Layout:
        """The recording and its stages; GainError with the first thing that is wrong with them."""
        found: list[Fault] = []
        made = laid_out(_validated(Given, self.entries["given"]), folder / "draft.toml", found)
        if found or made is None:
            raise GainError(found[0][1] if found else "the stages cannot be joined; take one away.")
        return made

    def session(self, folder: Path) -> Session:
        """The session as it begins, with its recording; GainError as `layout`."""
        layout = self.layout(folder)
        return layout.heard(layout.start())

    # --- the file ---

    @property
    def entries(self) -> dict[str, Any]:
        """The entries of the exercise file."""
        given: dict[str, Any] = {"take": self.take, "strip": self.strip}
        if self.between is not None:
            given["between"] = list(self.between)
        given |= {"views": list(self.views), "stages": [dict(each) for each in self.stages]}
        made: dict[str, Any] = {
            "title": self.title, "lesson": self.lesson, "kind": "set", "level": self.level, "goal": self.goal,
            "brief": self.brief, "given": given,
        }  # fmt: skip
        if self.varies:
            made["varies"] = {
                each.name: {"path": each.path, "from": each.low, "to": each.high, "step": each.step}
                for each in self.varies
            }
        made["moves"] = [self._move(each) for each in self.moves]
        made["solution"] = {path: self._rule(path, value) for path, value in self.right.items()}
        if self.hints:
            made["hints"] = [dict(each) for each in self.hints]
        if self.checks:
            made["checks"] = [
                {
                    "title": each.title, "points": each.points, "reads": each.reads,
                    **{name: text for name, text in (("low", each.low), ("high", each.high)) if text},
                    "source": each.source, "standing": each.standing,
                }
                for each in self.checks
            ]  # fmt: skip
        if self.slips:
            made["slips"] = [
                {
                    "name": each.name, "when": [dict(one) for one in each.when],
                    "answer": {path: self._rule(path, value) for path, value in each.answer.items()}, "say": each.say,
                }
                for each in self.slips
            ]  # fmt: skip
        return made

    @property
    def text(self) -> str:
        """The exercise file."""
        entries = self.entries
        lines = [
            f"{name} = {toml_value(entries[name])}" for name in ("title", "lesson", "kind", "level", "goal", "brief")
        ]
        for name, value in entries["given"].items():
            lines += _rows(f"given.{name}", value) if name == "stages" else [f"given.{name} = {toml_value(value)}"]
        lines += [f"varies.{name} = {toml_value(value)}" for name, value in entries.get("varies", {}).items()]
        lines += _rows("moves", entries["moves"])
        lines.append(f"solution = {toml_value(entries['solution'])}")
        if "hints" in entries:
            lines += _rows("hints", entries["hints"])
        for table in ("checks", "slips"):
            for each in entries.get(table, ()):
                lines += ["", f"[[{table}]]", *(f"{name} = {toml_value(value)}" for name, value in each.items())]
        return "\n".join(lines) + "\n"

    def exercise(self, file: Path) -> Exercise:
        """The exercise of this text, as `file` would hold it; GainError with the first thing that is wrong with it."""
        made, faults = build_exercise(own_name(file), file, _validated(Spec, self.entries), self.text.encode())
        if made is None:
            raise GainError(faults[0][1])
        return made

    def _move(self, move: DraftMove) -> dict[str, Any]:
        if move.options:
            return {"path": move.path, "options": list(move.options)}
        made: dict[str, Any] = {"path": move.path, "from": move.low, "to": move.high, "step": move.step}
        if any(self.follows.get(move.path, {}).values()) and (start := self._started(move.path)) is not None:
            made["start"] = self._rule(move.path, start)
        return made

    def _rule(self, path: str, value: Any) -> Any:
        """A setting as it stood on the bench, for every learner: what it follows is taken from what stood there."""
        slopes = {name: slope for name, slope in self.follows.get(path, {}).items() if slope}
        if isinstance(value, bool) or not isinstance(value, int | float) or not slopes:
            return value
        base = value - sum(slope * self.drawn(name) for name, slope in slopes.items())
        rule: dict[str, Any] = {"base": round(base, 9)}
        for word, sign in _SIGNS.items():
            names = [name for name, slope in slopes.items() if slope == sign]
            if names:
                rule[word] = names[0] if len(names) == 1 else names
        return rule

    def drawn(self, name: str) -> float:
        """What stands on the bench for a drawn value."""
        return float(self._started({each.name: each.path for each in self.varies}[name]) or 0.0)

    def _started(self, path: str) -> Any:
        """What a stage's row says of a setting; None where it is not said."""
        stage, _, setting = path.rpartition("/")
        for row, name in zip(self.stages, stage_names(self.stages), strict=True):
            if name == stage:
                return row.get(setting)
        return None


def stage_names(rows: tuple[Mapping[str, Any], ...]) -> list[str]:
    """How the stages of these rows are called in paths.

    >>> stage_names(({"stage": "Trim"}, {"stage": "ClipGain", "name": "words"}))
    ['trim', 'words']
    """
    kinds = stage_kinds()
    return [str(row.get("name") or kinds[row["stage"]].kind.lower()) for row in rows]


def _validated(model: type[Entries], entries: Mapping[str, Any]) -> Entries:
    """The entries as `model` has them; GainError with the first that it cannot take."""
    try:
        return model.model_validate(entries)
    except ValidationError as fault:
        raise GainError(describe_fault(fault.errors()[0], model)) from fault


def _rows(name: str, rows: list[Any]) -> list[str]:
    return [f"{name} = [", *(f"  {toml_value(each)}," for each in rows), "]"]


# --- a file that is there ---


def read_draft(text: str, name: str) -> Draft:
    """The draft of an exercise file; GainError where a page would lose something of it, or cannot show it."""
    entries = toml_table(text, name)
    if entries.get("kind") != "set":
        kind = describe_value(entries.get("kind"))
        raise GainError(f"{name} is of kind {kind}; the page writes exercises of kind 'set'. Change this one as text.")
    try:
        draft = _draft_of(entries)
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        raise GainError(f"{name} cannot be shown as a page ({fault}); change it as text.") from fault
    if draft.entries != entries:
        other = next((each for each in entries if draft.entries.get(each) != entries[each]), "an entry")
        raise GainError(
            f"{name} says more in {other} than the page can show; change it as text, so that nothing is lost."
        )
    if any(line.lstrip().startswith("#") for line in text.split("\n")):
        raise GainError(f"{name} holds notes of yours behind #, which the page would lose; change it as text.")
    return draft


def _draft_of(entries: dict[str, Any]) -> Draft:
    given = entries["given"]
    between = given.get("between")
    draft = Draft(
        title=entries["title"], lesson=entries["lesson"], level=entries["level"], goal=entries["goal"],
        brief=entries["brief"], take=given["take"], strip=given["strip"],
        between=None if between is None else (between[0], between[1]), views=tuple(given["views"]),
        stages=tuple(given["stages"]),
        varies=tuple(
            DraftVary(name, each["path"], each["from"], each["to"], each["step"])
            for name, each in entries.get("varies", {}).items()
        ),
        moves=tuple(
            DraftMove(
                each["path"],
                each.get("from", 0.0),
                each.get("to", 0.0),
                each.get("step", 0.0),
                tuple(each.get("options", ())),
            )
            for each in entries["moves"]
        ),
        checks=tuple(_check_of(each) for each in entries.get("checks", ())),
        hints=tuple(entries.get("hints", ())),
    )  # fmt: skip
    follows = {path: _slopes(rule) for path, rule in entries["solution"].items() if isinstance(rule, dict)}
    draft = dataclasses.replace(draft, follows=follows)

    def shown(answer: Mapping[str, Any]) -> dict[str, Any]:
        return {
            path: rule["base"] + sum(sign * draft.drawn(name) for name, sign in _slopes(rule).items())
            if isinstance(rule, dict)
            else rule
            for path, rule in answer.items()
        }

    slips = tuple(
        DraftSlip(each["name"], shown(each["answer"]), each["say"], tuple(each["when"]))
        for each in entries.get("slips", ())
    )
    return dataclasses.replace(draft, right=shown(entries["solution"]), slips=slips)


def _slopes(rule: Mapping[str, Any]) -> dict[str, int]:
    found: dict[str, int] = {}
    for word, sign in _SIGNS.items():
        names = rule.get(word, [])
        found |= dict.fromkeys([names] if isinstance(names, str) else names, sign)
    return found


def _check_of(entry: Mapping[str, Any]) -> DraftCheck:
    reads = entry["reads"]
    kind = "measure" if "measure" in reads else "told"
    return DraftCheck(
        kind, reads[kind], reads["at"], reads.get("at_least"), reads.get("at_most"), entry["title"], entry["points"],
        entry.get("low", ""), entry.get("high", ""), entry["source"], entry["standing"],
    )  # fmt: skip
