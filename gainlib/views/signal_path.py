"""The way of a signal through a session: what stands before a stage, and where a kind of stage is to be found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio
from gainlib.flow import Bus, Rendering, Session, Strip
from gainlib.stages import Delivery, Stage

__all__ = ["entering", "last_of", "peaks_over_time", "route", "traced"]


def route(session: Session, strip: str) -> tuple[Strip | Bus, ...]:
    """A strip, the buses that it goes through, and the main; the strip alone where nothing is summed.

    >>> from gainlib import Audio, Session, Trim
    >>> [each.name for each in route(Session.of(Audio(np.zeros(9), 9), [Trim()], name="voice"), "voice")]
    ['voice']
    """
    parts: list[Strip | Bus] = [session.strip(strip)]
    while session.main is not None and parts[-1] is not session.main and parts[-1].to:
        parts.append(session.channel(parts[-1].to))
    return tuple(parts)


def last_of(rendering: Rendering, wanted: Callable[[Stage], bool]) -> str:
    """The last tap whose stage is one that is wanted; empty where there is none.

    >>> from gainlib import Audio, Session, Trim
    >>> last_of(Session.of(Audio(np.zeros(9), 9), [Trim()], name="voice").render(), lambda stage: stage.name == "trim")
    'voice/trim'
    """
    found = [
        f"{part.name}/{stage.name}"
        for part in rendering.session.channels
        for stage in part.tapped_stages
        if wanted(stage)
    ]
    return found[-1] if found else ""


def traced(rendering: Rendering) -> str:
    """The last compressor or limiter; where there is none, a delivery that limits; else empty."""
    before_the_file = last_of(rendering, lambda stage: stage.traced and not isinstance(stage, Delivery))
    return before_the_file or last_of(rendering, lambda stage: stage.traced)


def entering(rendering: Rendering, tap: str) -> Audio:
    """What comes into a stage; into the first stage of a strip that is the recording.

    >>> from gainlib import Audio, Session, Trim
    >>> entering(Session.of(Audio(np.ones(9), 9), [Trim(-6.0)], name="voice").render(), "voice/trim").samples.max()
    np.float64(1.0)
    """
    name, stage = rendering.session.tap(tap)
    part = rendering.session.channel(name)
    at = part.stage_names.index(stage)
    if at:
        return rendering.at(f"{name}/{part.stage_names[at - 1]}")
    return part.take.in_double if isinstance(part, Strip) else rendering.at(f"{name}/{stage}")


def peaks_over_time(audio: Audio, columns: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """Seconds, and the largest sample of each of these columns in dBFS; of several channels the highest.

    >>> peaks_over_time(Audio(np.repeat([1.0, 0.1], 5), 10), 2)[1].round(3).tolist()
    [0.0, -20.0]
    """
    count = min(columns, len(audio.samples))
    sides = [side for each in range(audio.channels) for side in loops.extremes(audio.samples[:, each], count)]
    levels = db_from_ratio(np.max(np.abs(sides), axis=0))
    if count == 1:  # one sample is drawn as long as it lasts
        return np.array([0.0, audio.seconds]), levels.repeat(2)
    return (np.arange(count) + 0.5) * audio.seconds / count, levels
