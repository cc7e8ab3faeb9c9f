"""The levels of each moment behind the stages of a picture, for marks that move with the sound."""

from __future__ import annotations

import weakref
from collections.abc import Sequence

import numpy as np

from gainlib.audio import Audio
from gainlib.flow import Rendering
from gainlib.flow.render import Tap
from gainlib.meters import momentary_levels
from gainlib.widgets.listening import LONGEST_SECONDS
from gainlib.widgets.picture import FLOOR_DBFS, STEP_DB

__all__ = ["LevelTracks"]


class LevelTracks:
    """Peak and RMS of each moment behind several stages; what did not change since is not measured again."""

    def __init__(self) -> None:
        self._held: weakref.WeakKeyDictionary[Tap, tuple[float, bytes, bytes]] = weakref.WeakKeyDictionary()

    def of(self, rendering: Rendering, taps: Sequence[str], start: float) -> list[tuple[bytes, bytes]]:
        """Of each tap the peaks and the RMS levels from `start`, in seconds, for as long as a player holds at a time.

        A byte is a level: so many steps of `STEP_DB` above `FLOOR_DBFS`. Of several channels the highest counts.
        """
        return [self._of(rendering, tap, start) for tap in taps]

    def _of(self, rendering: Rendering, path: str, start: float) -> tuple[bytes, bytes]:
        # A rendering takes over each tap that did not change, and its levels with it.
        tap = rendering.taps[rendering.session.tap(path)]
        held = self._held.get(tap)
        if held is None or held[0] != start:
            held = self._held[tap] = start, *_tracks(rendering.at(path), start)
        return held[1], held[2]


def _tracks(audio: Audio, start: float) -> tuple[bytes, bytes]:
    first = round(start * audio.rate_hz)
    part = audio.samples[first : first + round(LONGEST_SECONDS * audio.rate_hz)]
    if not len(part):
        return b"", b""
    peaks, levels = momentary_levels(part, audio.rate_hz)
    # What is silent stands at the floor.
    codes = [np.rint((np.maximum(each.max(axis=1), FLOOR_DBFS) - FLOOR_DBFS) / STEP_DB) for each in (peaks, levels)]
    peak, rms = (np.minimum(each, 255).astype(np.uint8).tobytes() for each in codes)
    return peak, rms
