"""What was moved on a bench, step by step, so that it can be taken back and done again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = ["History", "Step"]

_LONGEST = 200
"""Steps that are kept; earlier ones are forgotten, so that a long evening does not fill the memory."""


@dataclass(frozen=True)
class Step:
    """One step: each path that it moved, with its value before and after; `stroke` tells one drag from the next."""

    moved: dict[str, tuple[Any, Any]]
    stroke: object = None


class History:
    """The steps that were done, and those that were taken back.

    >>> history = History()
    >>> history.note({"trim/gain_db": (0.0, -1.0)}, stroke=1)
    >>> history.note({"trim/gain_db": (-1.0, -6.0)}, stroke=1)
    >>> history.undone()
    {'trim/gain_db': 0.0}
    >>> history.redone()
    {'trim/gain_db': -6.0}
    """

    def __init__(self) -> None:
        self.done: list[Step] = []
        self.taken_back: list[Step] = []

    def note(self, moved: Mapping[str, tuple[Any, Any]], stroke: object = None) -> None:
        """Add a step; what belongs to the stroke of the step before goes into that one."""
        changed = {path: pair for path, pair in moved.items() if pair[0] != pair[1]}
        if not changed:
            return
        self.taken_back.clear()
        if stroke is not None and self.done and self.done[-1].stroke == stroke:
            earlier = self.done.pop().moved
            merged = {**earlier, **{path: (earlier.get(path, pair)[0], pair[1]) for path, pair in changed.items()}}
            changed = {path: pair for path, pair in merged.items() if pair[0] != pair[1]}
            if not changed:  # dragged there and back again
                return
        self.done.append(Step(changed, stroke))
        del self.done[:-_LONGEST]

    def undone(self) -> dict[str, Any] | None:
        """The values before the last step, which is taken back; None where there is none."""
        if not self.done:
            return None
        step = self.done.pop()
        self.taken_back.append(Step(step.moved))
        return {path: before for path, (before, _) in step.moved.items()}

    def redone(self) -> dict[str, Any] | None:
        """The values after the step that was taken back last, which is done again; None where there is none."""
        if not self.taken_back:
            return None
        step = self.taken_back.pop()
        self.done.append(step)
        return {path: after for path, (_, after) in step.moved.items()}
