"""Counts and amounts as the sentences print them."""

from __future__ import annotations

import math

from gainlib.flow import Rendering
from gainlib.stages import Stage

__all__ = ["left", "level", "spoken", "stage_of", "times"]


def times(count: int) -> str:
    """How often.

    >>> times(1), times(14)
    ('once', '14 times')
    """
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def level(value: float, *, plus: bool = False) -> str:
    """A level to the whole decibel, with a real minus.

    >>> level(-44.3), level(0.2), level(-math.inf), level(3.1, plus=True)
    ('−44', '0', '−∞', '+3')
    """
    if math.isinf(value):
        return "−∞" if value < 0 else "∞"
    whole = round(value)
    return f"−{-whole}" if whole < 0 else f"{'+' if plus and whole else ''}{whole}"


def left(headroom_db: float) -> str:
    """The room below a ceiling: whole decibels, a tenth where less than two are left.

    >>> left(12.4), left(0.43), left(-1e-16), left(math.inf)
    ('12 dB', '0.4 dB', '0 dB', 'all')
    """
    if math.isinf(headroom_db):
        return "all"
    tenths = f"{headroom_db:.1f}"
    return f"{tenths} dB" if float(tenths) < 2.0 and not tenths.endswith(".0") else f"{abs(headroom_db):.0f} dB"


def stage_of(rendering: Rendering, strip: str, stage: str) -> Stage:
    """The stage behind a column of the level diagram's table."""
    return rendering.session.strip(strip).stage(stage)


def spoken(stage: Stage) -> str:
    """What a stage is called in running text.

    >>> from gainlib.stages import Trim
    >>> spoken(Trim()), spoken(Trim(name="main trim"))
    ('trim', 'main trim')
    """
    return stage.name.replace("-", " ").replace("_", " ")
