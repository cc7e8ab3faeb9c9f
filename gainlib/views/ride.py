"""A drawn ride over the phrases: how loud each phrase is, what the ride does, and what comes of it."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_power, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.flow import Rendering
from gainlib.meters import Phrase, find_phrases
from gainlib.stages import Fader, Ride, Stage
from gainlib.stages.automation import Points
from gainlib.text import counted, dbfs, signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import stage_of
from gainlib.views.signal_path import entering
from gainlib.views.style import coloured, hover, key, key_columns, level_axis, sources_of, time_frame

__all__ = ["DrawnRide"]

_REACH_DB = 18.0
_KEY_DB = 6.0

Phrases = tuple[tuple[Phrase, ...], NDArray[Any], NDArray[Any], NDArray[Any]]


class DrawnRide(TapView):
    """The breakpoints of a ride in dB, over the phrases that it rides.

    `tap` is a ride, or a fader with a ride, by default the first that there is. Each phrase stands as a dashed line as
    far above or below the usual phrase (the mean power of all) as its RMS is before the ride, and as a strong line
    where the ride puts it: a ride that mirrors the dashed lines brings them all to one level. The source `ride` holds
    the breakpoints as `seconds` and `gain_db`, not cut off anywhere.
    """

    name: ClassVar[str] = "ride"
    title: ClassVar[str] = "Ride over the phrases"
    joined: ClassVar[str] = ", "
    height = 250

    def usual_tap(self, rendering: Rendering) -> str:
        """The first ride, else the first fader with a ride."""
        stages = [(part.name, stage) for part in rendering.session.channels for stage in part.tapped_stages]
        rides = [f"{part}/{stage.name}" for part, stage in stages if isinstance(stage, Ride)]
        ridden = [f"{part}/{stage.name}" for part, stage in stages if isinstance(stage, Fader) and stage.ride]
        return next(iter([*rides, *ridden]), "")

    def tap_of(self, rendering: Rendering) -> str:
        """The stage whose ride is drawn; empty where there is none."""
        tap = super().tap_of(rendering)
        if tap and not isinstance(stage_of(rendering, *tap.split("/")), Ride | Fader):
            raise GainError(f"{self.tap} holds no ride; name a Ride or a Fader.")
        return tap

    def _stage(self, rendering: Rendering) -> Stage | None:
        tap = self.tap_of(rendering)
        return stage_of(rendering, *tap.split("/")) if tap else None

    def _points(self, rendering: Rendering) -> Points:
        stage = self._stage(rendering)
        return stage.points if isinstance(stage, Ride) else stage.ride if isinstance(stage, Fader) else ()

    def _audio(self, rendering: Rendering) -> Audio:
        tap = self.tap_of(rendering)
        return entering(rendering, tap) if tap else rendering.session.strips[0].take

    def _phrases(self, rendering: Rendering) -> Phrases:
        """The phrases before the ride, the RMS of each before and behind, and that of those that are found behind.

        The last are what `phrase_range_db` measures there.
        """
        audio, tap = self._audio(rendering), self.tap_of(rendering)
        ridden = rendering.at(tap) if tap else audio
        found = find_phrases(audio.samples, audio.rate_hz)
        anew = [phrase.rms_dbfs for phrase in find_phrases(ridden.samples, ridden.rate_hz)]
        gain_db = self._own_gain_db(rendering)
        return found, _levels(audio, found), _levels(ridden, found) - gain_db, np.array(anew or [-math.inf]) - gain_db

    def _own_gain_db(self, rendering: Rendering) -> float:
        """What a fader does beside its ride, which is not the ride's work; nothing for a fader at the bottom."""
        stage = self._stage(rendering)
        return stage.gain_db if isinstance(stage, Fader) and math.isfinite(stage.gain_db) else 0.0

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, dB up: the ride as a line with its points, phrases as steps around the usual one."""
        audio = self._audio(rendering)
        drawing = time_frame(self.height, audio.seconds, (-_REACH_DB, _REACH_DB + _KEY_DB), "dB, 0 is the usual phrase")
        level_axis(drawing, {each: signed(each, 0, "") for each in (-18.0, -12.0, -6.0, 0.0, 6.0, 12.0, 18.0)})
        sources = sources_of(self.columns(rendering))
        dashed: dict[str, Any] = {"line_width": 2.0, "line_dash": [6, 4]}
        strong: dict[str, Any] = {"line_width": 4.0, "line_alpha": 0.75}
        line: dict[str, Any] = {"line_width": 2.0}
        before = drawing.segment("left", "drawn_db", "right", "drawn_db", source=sources["before"], **dashed,
                                 **coloured(line_color="rms"))  # fmt: skip
        drawing.segment("left", "drawn_db", "right", "drawn_db", source=sources["behind"], **strong,
                        **coloured(line_color="rms"))  # fmt: skip
        drawing.line("seconds", "gain_db", source=sources["line"], **line, **coloured(line_color="text"))
        points = drawing.scatter("seconds", "gain_db", source=sources["ride"], marker="diamond", size=13,
                                 **coloured(fill_color="text", line_color="background"))  # fmt: skip
        key(drawing, sources["key"], [("rms", dashed), ("rms", strong), ("text", line)])
        hover(drawing, [points], {"at": "@seconds{0.00} s", "gain": "@gain_db{+0.0} dB"})
        hover(drawing, [before], {"phrase": "@said", "after the ride": "@then"})
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The breakpoints, the line through them from end to end, and each phrase before and behind."""
        points = self._points(rendering)
        found, before, behind, _ = self.once(rendering, self._phrases)
        seconds = self._audio(rendering).seconds
        usual = _usual_dbfs(before)
        left, right = np.array([[each.start_seconds, each.end_seconds] for each in found]).reshape(-1, 2).T
        at = [0.0, *(each for each, _ in points), seconds]
        gains = [points[0][1], *(each for _, each in points), points[-1][1]] if points else [0.0, 0.0]
        return {
            "ride": {
                "seconds": np.array([each for each, _ in points], dtype=float),
                "gain_db": np.array([each for _, each in points], dtype=float),
            },
            "line": {"seconds": np.array(at), "gain_db": np.array(gains)},
            "before": {
                "left": left,
                "right": right,
                "drawn_db": np.clip(before - usual, -_REACH_DB, _REACH_DB),
                "said": [f"RMS {dbfs(float(each))}" for each in before],
                "then": [f"RMS {dbfs(float(each))}" for each in behind],
            },
            "behind": {
                "left": left,
                "right": right,
                "drawn_db": np.clip(behind - usual, -_REACH_DB, _REACH_DB),
            },
            "key": key_columns(
                ["phrases before", "phrases after", "the ride"], 3, lambda part: part * seconds,
                _REACH_DB + _KEY_DB, _KEY_DB,
            ),
        }  # fmt: skip

    def sentence(self, rendering: Rendering) -> str:
        """How far apart the phrases are before and behind, and what the ride does."""
        found, before, _, anew = self.once(rendering, self._phrases)
        if not found:
            return "There is no phrase to ride: silence."
        points = self._points(rendering)
        many = f"{len(found)} phrases" if len(found) > 1 else "one phrase"
        said = f"{many[:1].upper()}{many[1:]} before the ride, RMS {_span(before)}"
        if not points:
            return f"{said}; nothing is drawn yet."
        gains = [gain_db for _, gain_db in points]
        moves = signed(gains[0]) if len(set(gains)) == 1 else f"{signed(min(gains))} to {signed(max(gains))}"
        return f"{said}; after it {_span(anew)}. The ride has {counted(len(points), 'point')}, {moves}."


def _span(levels: NDArray[Any]) -> str:
    low, high = float(levels.min()), float(levels.max())
    if len(levels) == 1 or not math.isfinite(low):
        return dbfs(high)
    return f"{dbfs(low)} to {dbfs(high)}, {high - low:.1f} dB apart"


def _usual_dbfs(levels: NDArray[Any]) -> float:
    return db_from_power(np.mean(10.0 ** (levels / 10.0))) if len(levels) else 0.0


def _levels(audio: Audio, found: tuple[Phrase, ...]) -> NDArray[Any]:
    """The AES17 RMS of each phrase's stretch, of several channels the highest."""
    levels = []
    for each in found:
        part = audio.samples[round(each.start_seconds * audio.rate_hz) : round(each.end_seconds * audio.rate_hz)]
        power = float(np.mean(np.square(part, dtype=np.float64), axis=0).max())
        levels.append(rms_dbfs_from_power(power))
    return np.array(levels, dtype=float)
