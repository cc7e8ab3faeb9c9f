"""The one step that the controls of a bench can do towards what is aimed at."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple, Protocol

import numpy as np

from gainlib.flow import Rendering, Session, Strip
from gainlib.meters import peak_dbfs
from gainlib.stages import ClipGain, Compressor, Delivery, Fader, Source, Stage
from gainlib.text import plain, printed_number
from gainlib.views.aim import Aim
from gainlib.views.phrasing import of_tap, stage_of
from gainlib.views.signal_path import entering

__all__ = ["Movable", "Step", "step_below", "step_to"]

_GAINS = ("gain_db", "makeup_db", "return_gain_db", "device_gain_db", "full_scale_dbu")
"""Settings that raise what follows by as many decibels as they are raised."""

_WORKING_DB = 0.05
"""Below this a reduction reads 0.0."""

_MOMENT_S = 0.01
"""How far around the hardest moment of a limiter one looks for the strip that stands highest there."""


class Movable(Protocol):
    """What is asked of a control for a number."""

    @property
    def path(self) -> str:
        """The setting that it moves."""

    @property
    def tap(self) -> str:
        """The stage that it stands at, as strip/stage."""

    @property
    def label(self) -> str:
        """What it is headed with."""

    @property
    def low(self) -> float:
        """Where it ends downward."""

    @property
    def high(self) -> float:
        """Where it ends upward."""

    @property
    def step(self) -> float:
        """Its smallest step."""


class Step(NamedTuple):
    """A move: of which settings, by how much, in words, and whether it `ends` at the control's end, short of the goal.

    `driver` says which strip it is about.
    """

    paths: tuple[str, ...]
    by: float
    words: str
    ends: bool = False
    driver: str = ""


class _Knob(NamedTuple):
    """One control, or all the faders of a mix together, and how far a decibel of it moves the reading."""

    controls: tuple[Movable, ...]
    words: str
    per_db: float
    exact: bool = True
    driver: str = ""


def step_to(rendering: Rendering, controls: Sequence[Movable], aim: Aim, value: float) -> Step | None:
    """The step that brings what is aimed at within its bounds, or nearer; None where no control here can.

    A control that reaches it goes before one that only comes nearer; of those the nearest in front of the tap.
    """
    tap = "/".join(rendering.session.tap(aim.at))
    if aim.reading == "gain_reduction_db":
        knobs = list(_on_reduction(rendering, controls, tap, aim))
        value -= _under_corner_db(rendering, tap) if value < _WORKING_DB else 0.0
    else:
        knobs = list(_in_front(rendering, controls, tap))
    if aim.reading == "loudness_lufs":
        knobs += [_Knob((each,), _words(rendering, each), 1.0) for each in controls if _delivers(each, tap)]
    if aim.by:
        full = rendering.session.full_path
        knobs = [each for each in knobs if [full(one.path) for one in each.controls] == [full(aim.by)]]

    def fits(moved: float) -> bool:
        return aim.holds(round(value + moved, 1))

    return _first(rendering, knobs, aim.wanted - value, fits)


def _under_corner_db(rendering: Rendering, tap: str) -> float:
    """What a stage would turn down less than nothing: its loudest moment stays below the corner."""
    stage = stage_of(rendering, *rendering.session.tap(tap))
    came = float(peak_dbfs(entering(rendering, tap).samples).max())
    if stage.corner is None or not math.isfinite(came):
        return 0.0
    return max(0.0, stage.corner.level_dbfs - came) * _slope(stage)


def _slope(stage: Stage) -> float:
    """How far a stage turns down for each decibel over its corner: 1 for a limiter, 1 − 1/ratio for a compressor."""
    return 1.0 - 1.0 / stage.ratio if isinstance(stage, Compressor) else 1.0


def step_below(rendering: Rendering, controls: Sequence[Movable], tap: str, over_db: float) -> Step | None:
    """The step that takes what clips at a tap below its ceiling; None where no control here reaches it."""
    before = [each for each in controls if not (each.tap == tap and each.path.endswith("/return_gain_db"))]
    knobs = list(_in_front(rendering, before, tap))
    knobs += [_Knob((each,), _words(rendering, each), 1.0) for each in controls if _delivers(each, tap)]
    # The smallest whole number of decibels that brings the peak below the ceiling, not onto it.
    down = float(max(1, math.floor(over_db) + 1))
    found = _first(rendering, knobs, -down, lambda moved: moved <= -down)
    return found if found is None or found.ends else found._replace(words=f"{found.words} or more")


def _delivers(control: Movable, tap: str) -> bool:
    return control.tap == tap and control.path.endswith("/loudness_lufs")


def _in_front(rendering: Rendering, controls: Sequence[Movable], tap: str) -> Iterator[_Knob]:
    """Each gain whose decibels arrive as they are at the tap, the nearest first; then all faders of the mix at once."""
    by_tap: dict[str, list[Movable]] = {}
    for each in controls:
        if each.path.rpartition("/")[2] in _GAINS:
            by_tap.setdefault(each.tap, []).append(each)
    session = rendering.session
    name, stage = session.tap(tap)
    here = stage
    while True:
        part = session.channel(name)
        stages = {each.name: each for each in part.tapped_stages}
        order = list(stages)
        for at in reversed(order[: order.index(here) + 1]):
            for each in by_tap.get(f"{name}/{at}", ()):
                if not isinstance(stages[at], ClipGain):  # moves a stretch only
                    yield _Knob((each,), _words(rendering, each), 1.0)
            if _alters(stages[at]):
                return
        if isinstance(part, Strip):
            return
        sources = [each for each in session.channels if each is not session.main and each.to == name]
        if len(sources) != 1 or any(each.to == name for one in session.channels for each in one.sends):
            together = [_last_gain(session, each.name, by_tap) for each in sources]
            if together and all(together):
                yield _Knob(tuple(each for each in together if each), "every fader", 1.0)
            return
        name, here = sources[0].name, sources[0].stage_names[-1] if sources[0].stage_names else ""
        if not here:
            return


def _alters(stage: Stage) -> bool:
    """Whether a decibel in front of it is not a decibel behind it."""
    return stage.bends or isinstance(stage, Delivery)


def _last_gain(session: Session, name: str, by_tap: dict[str, list[Movable]]) -> Movable | None:
    """The fader of a strip, where nothing behind it bends the level."""
    for stage in reversed(session.channel(name).stages):
        if _alters(stage):
            return None
        if isinstance(stage, Fader) and (found := by_tap.get(f"{name}/{stage.name}")):
            return found[0]
    return None


def _on_reduction(rendering: Rendering, controls: Sequence[Movable], tap: str, aim: Aim) -> Iterator[_Knob]:
    """What moves how far a stage turns down: its threshold, and the gains in front of it."""
    session = rendering.session
    name, stage_name = session.tap(tap)
    slope = _slope(stage_of(rendering, name, stage_name))
    if slope <= 0.0:
        return
    if aim.driver and not isinstance(session.channel(name), Strip):
        loudest = _driver(rendering, tap)
        for each in controls:
            if each.tap.startswith(f"{loudest}/") and each.path.rpartition("/")[2] in _GAINS:
                said = f"At its hardest moment the {plain(loudest)} stands highest."
                yield _Knob((each,), _words(rendering, each), slope, False, said)
        return
    for each in controls:
        if each.tap == tap and each.path.endswith("/threshold_db"):
            yield _Knob((each,), _words(rendering, each), -slope, False)
        if _delivers(each, tap):
            yield _Knob((each,), _words(rendering, each), slope, False)
    order = session.channel(name).stage_names
    if at := order.index(stage_name):
        for knob in _in_front(rendering, controls, f"{name}/{order[at - 1]}"):
            yield knob._replace(per_db=slope, exact=False)


def _driver(rendering: Rendering, tap: str) -> str:
    """The strip that stands highest at the moment at which a stage turns down most."""
    trace = rendering.reduction_db(tap).max(axis=1)
    rate_hz = rendering.at(tap).rate_hz
    moment, around = int(trace.argmax()), max(1, round(_MOMENT_S * rate_hz))

    def height(strip: Strip) -> float:
        audio = rendering.at(f"{strip.name}/{strip.stage_names[-1]}") if strip.stage_names else strip.take
        return float(np.abs(audio.samples[max(0, moment - around) : moment + around + 1]).max(initial=0.0))

    return max(rendering.session.strips, key=height).name


def _first(rendering: Rendering, knobs: list[_Knob], wanted: float, fits: Callable[[float], bool]) -> Step | None:
    """The first knob that does it in whole decibels, its own steps or tenths (which are typed); else the nearest."""
    nearest: tuple[float, Step] | None = None
    for knob in knobs:
        now = [float(rendering.session.setting(each.path)) for each in knob.controls]
        low = max(each.low - at for each, at in zip(knob.controls, now, strict=True))
        high = min(each.high - at for each, at in zip(knob.controls, now, strict=True))
        finest = max(each.step for each in knob.controls)
        need = wanted / knob.per_db
        away = math.copysign(math.ceil(abs(need) - 1e-9), need)
        for by in (away, float(round(need)), round(need / finest) * finest, round(need, 1)):
            if by and low <= by <= high and fits(by * knob.per_db):
                return _step(knob, by)
        reach = min(max(need, low), high)
        reach = math.copysign(math.floor(abs(reach) / finest + 1e-9) * finest, reach)
        if reach and (nearest is None or abs(reach * knob.per_db) > nearest[0]):
            nearest = abs(reach * knob.per_db), _step(knob, reach, ends=True)
    return nearest[1] if nearest else None


def _step(knob: _Knob, by: float, ends: bool = False) -> Step:
    way = "raise" if by > 0 else "lower"
    about = "" if knob.exact else "about "
    words = f"{way} {knob.words} by {about}{printed_number(abs(by), 'dB')}"
    if ends:
        words += ", as far as it goes"
    return Step(tuple(each.path for each in knob.controls), by, words, ends, knob.driver)


def _words(rendering: Rendering, control: Movable) -> str:
    """What a control is called in running text: its stage, and what of it where that is not its one gain."""
    name = control.path.rpartition("/")[2]
    stage = of_tap(rendering, control.tap)
    kind = stage_of(rendering, *rendering.session.tap(control.tap))
    if name == "gain_db" or isinstance(kind, Source):
        return f"the {stage}"
    what = control.label.lower().removeprefix(plain(kind.kind).lower()).strip()
    return f"the {what} of the {stage}"
