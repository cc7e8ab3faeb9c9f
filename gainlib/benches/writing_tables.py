"""The tables of an exercise file on the page on which it is written, each with the rows that it begins with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel

from gainlib.authoring.entry_form import ROWS
from gainlib.benches.exercise_writer import ExerciseWriter
from gainlib.benches.rows_form import More, RowsForm
from gainlib.exercises.tables import (
    AskEntry,
    CandidateEntry,
    CheckEntry,
    HintEntry,
    MoveEntry,
    PlantEntry,
    PromptEntry,
    SlipEntry,
    VaryEntry,
)
from gainlib.flow.session_table import BusEntry, GroupEntry, StripEntry

__all__ = ["tables_of"]

Row = Callable[[], dict[str, Any]]


def tables_of(writer: ExerciseWriter) -> dict[str, RowsForm]:
    """Every table that has rows, by its name in the file."""

    def table(name: str, model: type[BaseModel], **given: Any) -> RowsForm:
        place = ("given", name) if name in ("strips", "buses", "groups") else (name,)
        return RowsForm(writer, place, model, row_is=ROWS[name], **given)

    recordings = {"take": lambda: writer.recordings}
    strip, bus = More("One strip more", _strip(writer)), More("One bus more", lambda: {"name": "bus", "stages": []})
    varies = [
        More("Draw a number", lambda: {"from": -6, "to": 6, "step": 1, "unit": "dB"}, "drawn"),
        More("Draw a word", lambda: {"choose": ["first", "second"]}, "word"),
    ]
    planted = More("Put something wrong", lambda: {"at": next(iter(writer.settings), ""), "by": -6})
    made = [
        table("strips", StripEntry, more=[strip], leave=["stages"], options=recordings, needless=_no_use_to_sound),
        table("buses", BusEntry, more=[bus], leave=["stages"]),
        table("groups", GroupEntry),
        table("checks", CheckEntry),
        table("asks", AskEntry, more=_asks(writer), needless=_no_use_to_ask),
        table("varies", VaryEntry, more=varies, drop=writer.vary_no_more, needless=_no_use_to_draw),
        table("plant", PlantEntry, more=[planted], told=PLANTED),
        table("moves", MoveEntry, needless=_no_use_to_move),
        table("candidates", CandidateEntry),
        table("prompts", PromptEntry, more=[More("One prompt more", _prompt(writer))]),
        table("slips", SlipEntry, more=_slips(writer)),
        table(
            "hints",
            HintEntry,
            more=[More("One hint more", lambda: {"text": "Look at …", "cost": 0})],
            told=HINTS,
        ),
    ]
    return {each.place[-1]: each for each in made}


PLANTED = (
    "What is put wrong for this learner, on top of what is given: to a value, or changed by an amount. "
    "A drawn word may stand in a path as {word}."
)
HINTS = "Hints in their order. One that costs nothing is told after a miss, the others are offered."
SOURCE = {"source": "The teacher's own target.", "standing": "common practice"}


def _asks(writer: ExerciseWriter) -> list[More]:
    """Questions to begin with: those that this kind of exercise can ask."""

    def ask(name: str, **more: Any) -> Row:
        return lambda: {"name": name, "title": "What is asked", "points": 1, **more, **SOURCE}

    last = writer.taps[-1]
    what = {"measure": "peak_dbfs", "at": last}
    number = {"unit": "dBFS", "within": 0.5, "from": -90, "to": 30, "expected": what}
    asks = [More("Ask for a number", ask("number", **number), "name")]
    if writer.draft.kind == "judge":
        by = {"measure": "loudness_lufs", "at": last}
        return [
            *asks,
            More("Ask which one", ask("which", by=by, pick="largest"), "name"),
            More("Ask for the order", ask("order", by=by, order="rising"), "name"),
        ]
    strip = {"among": "strips", "by": {"told": "clipped", "at": last.rpartition("/")[2]}, "pick": "largest"}
    stage = {"among": "stages", "of": writer.channel, "by": {"told": "clipped", "at_least": 1}, "pick": "first"}
    moment = {"among": "seconds", "at": last, "moment": "highest peak", "within": 0.5}
    return [
        *asks,
        *([More("Ask for a strip", ask("strip", **strip), "name")] if writer.several else []),
        More("Ask for a stage", ask("stage", **stage), "name"),
        More("Ask for a moment", ask("moment", **moment), "name"),
    ]


OF_A_NUMBER = {"unit", "within", "from", "to", "expected", "low", "high"}
OF_A_CHOICE = {"by", "pick", "order", "wrong"}


def _no_use_to_ask(row: Mapping[str, Any]) -> set[str]:
    """What this question has no use for: a number has no choices, a choice no bounds."""
    if "expected" in row:
        return OF_A_CHOICE | {"among", "of", "at", "moment"}
    uses = {
        "strips": {"among", "by", "pick", "wrong"},
        "stages": {"among", "of", "by", "pick", "wrong"},
        "seconds": {"among", "at", "moment", "within", "low", "high"},
    }.get(row.get("among", ""), {"by", "order" if "order" in row else "pick", "wrong"})
    return (OF_A_NUMBER | OF_A_CHOICE | {"among", "of", "at", "moment"}) - uses


def _no_use_to_sound(row: Mapping[str, Any]) -> set[str]:
    return {"signal"} if "take" in row else set()


def _no_use_to_draw(row: Mapping[str, Any]) -> set[str]:
    return {"from", "to", "step"} if "choose" in row else {"choose"} if "step" in row else set()


def _no_use_to_move(row: Mapping[str, Any]) -> set[str]:
    if row.get("points"):
        return {"step", "options"}
    return {"from", "to", "step", "points"} if "options" in row else {"options", "points"}


def _slips(writer: ExerciseWriter) -> list[More]:
    """A wrong answer in words; one of controls is stood on the bench instead."""
    if not writer.draft.get("asks"):
        return []

    def row() -> dict[str, Any]:
        right = dict(writer.draft.get("solution", unless={}))
        return {"name": "a guess", "when": [], "answer": right, "say": "Look again."}

    return [More("One wrong answer more", row)]


def _strip(writer: ExerciseWriter) -> Row:
    """One like the last, so that the part that is cut out fits, and what is asked of every strip can be read of it."""

    def row() -> dict[str, Any]:
        strips = writer.draft.get("given", "strips")
        names = {each.get("name") for each in strips}
        name = next(
            each for number in range(len(strips) + 1, 2 * len(strips) + 2) if (each := f"strip {number}") not in names
        )
        return {**strips[-1], "name": name}

    return row


def _prompt(writer: ExerciseWriter) -> Row:
    def row() -> dict[str, Any]:
        seconds = max((each.get("seconds", 0) for each in writer.draft.get("prompts", unless=())), default=-5)
        return {"seconds": seconds + 5, "say": "Now play."}

    return row
