"""Counts and amounts as the sentences print them."""

from __future__ import annotations

import math

from gainlib.decibels import signed
from gainlib.flow import Rendering
from gainlib.stages import Stage

__all__ = ["dbfs", "left", "level", "of_tap", "plain", "spoken", "stage_of", "times"]


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
    return rendering.session.part(strip).stage(stage)


def dbfs(value: float) -> str:
    """A level in dBFS to a tenth, a plus only where it is over full scale.

    >>> dbfs(-6.04), dbfs(1.0), dbfs(-math.inf)
    ('−6.0 dBFS', '+1.0 dBFS', '−∞ dBFS')
    """
    return signed(value, unit="dBFS", plus=value > 0)


def plain(name: str) -> str:
    """A name as running text has it.

    >>> plain("lead-voice")
    'lead voice'
    """
    return name.replace("-", " ").replace("_", " ")


def of_tap(rendering: Rendering, tap: str) -> str:
    """A tap in running text: the stage, and of several strips or buses whose it is.

    >>> import numpy as np
    >>> from gainlib import Audio, Session, Trim
    >>> of_tap(Session.of(Audio(np.zeros(9), 9), [Trim()], name="voice").render(), "voice/trim")
    'trim'
    """
    part, stage = rendering.session.tap(tap)
    if len(rendering.session.chains) == 1:
        return plain(stage)
    if stage == "sum":
        return f"{plain(part)} sum"
    return f"{plain(part)}{chr(39) if part.endswith('s') else chr(39) + 's'} {plain(stage)}"


def spoken(stage: Stage) -> str:
    """What a stage is called in running text.

    >>> from gainlib.stages import Trim
    >>> spoken(Trim()), spoken(Trim(name="main trim"))
    ('trim', 'main trim')
    """
    return plain(stage.name)
