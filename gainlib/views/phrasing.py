"""What the sentences call a stage and a tap of a rendering."""

from __future__ import annotations

import math

from gainlib.flow import Rendering
from gainlib.stages import Stage
from gainlib.text import dbfs, plain

__all__ = ["floor_words", "of_tap", "spoken", "stage_of"]


def stage_of(rendering: Rendering, strip: str, stage: str) -> Stage:
    """The stage behind a column of the level diagram's table."""
    return rendering.session.channel(strip).stage(stage)


def floor_words(noise_dbfs: float) -> str:
    """A noise floor as a figure; a take without pauses tells none, and none is made up for it.

    >>> floor_words(-68.3), floor_words(float("-inf"))
    ('−68.3 dBFS', 'none to read')
    """
    return dbfs(noise_dbfs) if math.isfinite(noise_dbfs) else "none to read"


def of_tap(rendering: Rendering, tap: str) -> str:
    """A tap in running text: the stage, and of several strips or buses whose it is.

    >>> import numpy as np
    >>> from gainlib import Audio, Session, Trim
    >>> of_tap(Session.of(Audio(np.zeros(9), 9), [Trim()], name="voice").render(), "voice/trim")
    'trim'
    """
    part, stage = rendering.session.tap(tap)
    if len(rendering.session.channels) == 1:
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
