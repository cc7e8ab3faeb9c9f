"""The part of long takes that a bench works on: which it is, and the takes cut to it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gainlib.audio import Audio
from gainlib.flow import Session, Strip
from gainlib.meters.loudest import LOUDEST_SECONDS, loudest_start_seconds
from gainlib.meters.take_noise import room_at_head_dbfs
from gainlib.sound_file import LONG_SECONDS
from gainlib.text import clock

__all__ = ["PartOfTakes", "loudest_part", "part_at"]


@dataclass(frozen=True, eq=False)
class PartOfTakes:
    """Where the part begins and how long it lasts, of takes whose longest lasts `longest` seconds.

    `takes` are the takes cut to it, by strip: a move changes settings and no samples, so they are cut once. `rooms` is
    the noise of each take's room, heard at its head (dBFS), which a part that never pauses could not tell; None where
    nobody knows it.
    """

    start: float
    seconds: float
    longest: float
    takes: dict[str, Audio]
    rooms: dict[str, float | None] = field(default_factory=dict)

    def of(self, session: Session) -> Session:
        """The session with its takes cut to the part."""
        return dataclasses.replace(session, strips=tuple(self._cut(each) for each in session.strips))

    def _cut(self, strip: Strip) -> Strip:
        return dataclasses.replace(strip, take=self.takes[strip.name])

    @property
    def words(self) -> str:
        """From where to where it goes.

        >>> PartOfTakes(65.0, 30.0, 300.0, {}).words
        '1:05 to 1:35 of 5:00'
        """
        start, end, longest = (
            clock(round(each)).partition(".")[0] for each in (self.start, self.start + self.seconds, self.longest)
        )
        return f"{start} to {end} of {longest}"


def loudest_part(session: Session) -> PartOfTakes | None:
    """The loudest half minute of a session with long takes; None where all are short, or a stage goes by the clock.

    A ride, clip gain and whatever else is drawn over the seconds of a take has no part of its own: such a session is
    worked on as a whole.
    """
    takes = [each.take for each in session.strips]
    if max(each.seconds for each in takes) <= LONG_SECONDS or any(
        _goes_by_the_clock(stage) for channel in session.channels for stage in channel.stages
    ):
        return None
    part = part_at(session, loudest_start_seconds(takes), {})
    rooms = {each.name: room_at_head_dbfs(each.take, part.takes[each.name]) for each in session.strips}
    return dataclasses.replace(part, rooms=rooms, takes=_told_of_rooms(part.takes, rooms))


def part_at(session: Session, start: float, rooms: dict[str, float | None]) -> PartOfTakes:
    """The part of a session that begins at a second, or as late as the longest take allows; `rooms` go with it."""
    longest = max(each.take.seconds for each in session.strips)
    begin = round(min(max(0.0, start), max(0.0, longest - LOUDEST_SECONDS)), 2)
    seconds = min(LOUDEST_SECONDS, longest)
    takes = {each.name: _cut(each.take, begin, begin + seconds) for each in session.strips}
    return PartOfTakes(begin, seconds, longest, _told_of_rooms(takes, rooms), rooms)


def _told_of_rooms(takes: dict[str, Audio], rooms: dict[str, float | None]) -> dict[str, Audio]:
    return {name: dataclasses.replace(each, room_dbfs=rooms.get(name)) for name, each in takes.items()}


def _cut(take: Audio, start: float, end: float) -> Audio:
    """A take between two seconds; one that has ended before is silent there."""
    if start >= take.seconds:
        return Audio(np.zeros((1, take.channels), dtype=np.float32), take.rate_hz, take.name)
    return take.between(start, min(end, take.seconds))


def _goes_by_the_clock(stage: Any) -> bool:
    """Whether a stage holds rows of seconds, as a ride does, and clip gain with regions."""
    return any(getattr(stage, name, ()) for name in ("points", "regions", "ride"))
