"""A bench as it was left: what was moved and not checked stands there again after a kernel's restart."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from gainlib.benches.bench_model import SLOTS, BenchModel
from gainlib.errors import GainError
from gainlib.flow import Session
from gainlib.widgets.as_left import as_left

__all__ = ["come_back", "left_on", "stand_as_left"]

AS_LEFT = "This stands as you left it; Reset takes it back."


def come_back(bench: BenchModel, session: Session) -> None:
    """Stand as this bench was left, where it belongs to a learner's lesson, and keep what is moved from now on.

    `session` is the one that the cell gave; a bench with another session, other controls or another title is another.
    """
    place = as_left("bench", bench.title, bench.key, tuple(bench.controls), _described(session))
    if place is None:
        return
    stand_as_left(bench, place.found)
    for event in (bench.on_move, bench.on_keep):
        event(lambda _: place.keep(left_on(bench)))


def left_on(bench: BenchModel) -> dict[str, Any]:
    """What was moved on a bench, and what was kept to compare; empty where all stands as at the start."""
    moved = {path: value for path, value in bench.values.items() if value != bench.controls[path].start}
    kept = {slot: dict(values) for slot, values in bench.kept.items()}
    return {name: each for name, each in (("moved", moved), ("kept", kept)) if each}


def stand_as_left(bench: BenchModel, left: Mapping[str, Any]) -> None:
    """Move a bench to where it was left, in one step that can be undone; what no control can be set to is passed over.

    Nothing is raised, whatever `left` holds: it comes from a file that anybody may have changed.
    """
    kept = left.get("kept")
    for slot in SLOTS:
        if isinstance(kept, dict) and (values := _usable(bench, kept.get(slot))):
            bench.kept[slot] = {**bench.values, **values}
    if moved := _usable(bench, left.get("moved")):
        try:
            bench.move_all(moved)
        except GainError:  # each can be set, and all together cannot be rendered
            return
        bench.note = AS_LEFT


def _usable(bench: BenchModel, values: object) -> dict[str, Any]:
    found = {}
    for path, value in values.items() if isinstance(values, dict) else ():
        try:
            found[path] = bench.controls[path].checked(value)
        except (KeyError, TypeError, ValueError, OverflowError):
            continue
    return found


def _described(session: Session) -> tuple[Any, ...]:
    """What makes a session this one, without looking at its samples."""
    takes = [
        (each.name, each.take.name, each.take.frames, each.take.channels, each.take.rate_hz) for each in session.strips
    ]
    return (*takes, *((each.name, each.to, each.stages, each.sends) for each in session.channels))
