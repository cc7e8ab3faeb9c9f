"""The noise of a take: read in its pauses, and of a long one that never pauses in the room's seconds at its head."""

from __future__ import annotations

import math

from gainlib.audio import Audio
from gainlib.meters.streaming import read_whole
from gainlib.meters.windows import PAUSE_DB, QUIETEST, WindowMeter

__all__ = ["ROOM_SECONDS", "room_at_head_dbfs", "take_noise_dbfs"]

ROOM_SECONDS = 3.0
"""So much silence stands first in a recorded take: the room's own noise, before anybody plays (the course's choice)."""


def take_noise_dbfs(take: Audio) -> float | None:
    """The noise of a take in dBFS (AES17 RMS); None says that nobody can tell it.

    It is `noise_in_pauses_dbfs`. Of a take that never pauses it is what is known of its room: `take.room_dbfs`, or what
    is read in the seconds at its head, where these are less than the twentieth that noise is read in.

    >>> import numpy as np
    >>> tone, hiss = 0.1 * np.sin(np.arange(650_000) / 10), np.resize([0.0001, -0.0001], 24_000)
    >>> take = Audio(np.concatenate([hiss, tone]), 8000)
    >>> round(take_noise_dbfs(take), 1), take_noise_dbfs(take.between(20.0, 50.0))
    (-77.0, None)
    """
    meter = _of(take)
    found = meter.noise_in_pauses_dbfs
    if found is not None or take.room_dbfs is not None:
        return take.room_dbfs if found is None else found
    return _room(take.between(0.0, ROOM_SECONDS), meter) if QUIETEST * take.seconds > ROOM_SECONDS else None


def room_at_head_dbfs(take: Audio, playing: Audio) -> float | None:
    """The noise of the room in the first seconds of a take; None where they are no pause beside the part that plays.

    >>> import numpy as np
    >>> tone, hiss = 0.1 * np.sin(np.arange(650_000) / 10), np.resize([0.0001, -0.0001], 24_000)
    >>> take = Audio(np.concatenate([hiss, tone]), 8000)
    >>> round(room_at_head_dbfs(take, take.between(20.0, 50.0)), 1)
    -77.0
    """
    return _room(take.between(0.0, min(ROOM_SECONDS, take.seconds)), _of(playing))


def _of(take: Audio) -> WindowMeter:
    return read_whole(lambda channels: WindowMeter(take.rate_hz, channels), take.samples)


def _room(head: Audio, playing: WindowMeter) -> float | None:
    floor, active = float(_of(head).noise_floor_dbfs.max()), float(playing.active_rms_dbfs().max())
    # Digital silence before the first sound of an export is no room's.
    return floor if math.isfinite(floor) and floor <= active - PAUSE_DB else None
