"""What rendering a session gives: the signal behind every stage, and the level diagram's table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from gainlib import kernels
from gainlib.audio import Audio
from gainlib.decibels import AES17_ZERO_RMS, db_from_power, db_from_ratio
from gainlib.errors import GainError
from gainlib.meters import ClippedRuns
from gainlib.stages import Passed, Signal, Stage

if TYPE_CHECKING:
    from gainlib.flow.session import Session, Strip

__all__ = ["Rendering", "TapLevels", "rendered"]


@dataclass(frozen=True)
class TapLevels:
    """One column of the level diagram: the levels behind one stage, all against 0 dBFS of the converter after it.

    `peak_dbfs`, `rms_dbfs` (AES17) and `noise_dbfs` are -inf for silence; `ceiling_dbfs` is +inf for a stage that
    cannot clip; `clipped` counts the runs that this stage clipped. Of several channels the highest counts.
    """

    strip: str
    stage: str
    kind: str
    peak_dbfs: float
    rms_dbfs: float
    noise_dbfs: float
    ceiling_dbfs: float
    clipped: int

    @property
    def headroom_db(self) -> float:
        """From the peak up to this stage's ceiling; +inf where there is none."""
        return self.ceiling_dbfs - self.peak_dbfs


@dataclass(frozen=True)
class _Tap:
    stage: Stage
    entered: Signal
    passed: Passed
    levels: TapLevels


@dataclass(frozen=True)
class Rendering:
    """A session rendered: `at(tap)` is the audio behind a stage, `levels` the level diagram's table.

    >>> from gainlib.flow import Session
    >>> from gainlib.stages import Trim
    >>> rendering = Session.of(Audio(np.ones(480), 48000), [Trim(-6.0)], name="voice").render()
    >>> round(rendering.level("trim").peak_dbfs, 1), rendering.at("voice/trim").rate_hz
    (-6.0, 48000)
    """

    session: Session
    taps: dict[tuple[str, str], _Tap]

    @property
    def levels(self) -> tuple[TapLevels, ...]:
        """The level diagram's table, strip by strip, stage by stage."""
        return tuple(tap.levels for tap in self.taps.values())

    def level(self, tap: str) -> TapLevels:
        """The levels behind one stage, such as `voice/preamp`."""
        return self.taps[self.session.tap(tap)].levels

    def at(self, tap: str) -> Audio:
        """The audio behind one stage, 0 dBFS at ±1.0; before the converter that is what would fill it."""
        strip, stage = self.session.tap(tap)
        signal = self.taps[strip, stage].passed.signal
        full_scale = _full_scale(self.session.strip(strip), stage)
        samples = signal.samples if full_scale == 1.0 else signal.samples / full_scale
        return Audio(samples, signal.rate_hz, f"{strip}/{stage}")

    def clipped(self, tap: str) -> ClippedRuns:
        """Where this stage clipped. Raises GainError for a stage that cannot clip."""
        passed = self.taps[self.session.tap(tap)].passed
        if passed.clipped is None:
            raise GainError(f"{tap} cannot clip; ask a stage with a ceiling, such as the converter.")
        return passed.clipped

    @property
    def last_tap(self) -> str:
        """The path of the last tap: what is delivered."""
        return "/".join(list(self.taps)[-1])


def rendered(session: Session, after: Rendering | None) -> Rendering:
    """The session through all its stages, taking over from `after` each stage that did not change."""
    earlier = after.taps if after else {}
    taps: dict[tuple[str, str], _Tap] = {}
    for strip in session.strips:
        signal = _entering(strip, earlier)
        for index, stage in enumerate(strip.stages):
            key = strip.name, stage.name
            before = earlier.get(key)
            if before is None or before.entered is not signal or before.stage != stage or _moved(strip, index, after):
                passed = stage.process(signal)
                before = _Tap(stage, signal, passed, _levels(strip, index, passed))
            taps[key] = before
            signal = before.passed.signal
    return Rendering(session, taps)


def _entering(strip: Strip, earlier: dict[tuple[str, str], _Tap]) -> Signal:
    first = earlier.get((strip.name, strip.stage_names[0]))
    take = strip.take
    if first and first.entered.samples is take.samples and first.entered.rate_hz == take.rate_hz:
        return first.entered
    return Signal(take.samples, take.rate_hz, 0.0, "digital")  # type: ignore[arg-type]


def _moved(strip: Strip, index: int, after: Rendering | None) -> bool:
    """Whether what is 0 dBFS behind an analogue stage has changed, since its figures are read against it."""
    if after is None or strip.stages[index].gives == "digital":
        return False
    earlier = after.session.strip(strip.name)
    name = strip.stage_names[index]
    return earlier.full_scale_after(earlier.stage_names.index(name)) != strip.full_scale_after(index)


def _full_scale(strip: Strip, stage: str) -> float:
    return strip.full_scale_after(strip.stage_names.index(stage))


def _levels(strip: Strip, index: int, passed: Passed) -> TapLevels:
    stage, signal = strip.stages[index], passed.signal
    full_scale = strip.full_scale_after(index)
    pairs = [kernels.peak_and_square_sum(signal.samples[:, each]) for each in range(signal.samples.shape[1])]
    peak = max(pair[0] for pair in pairs) / full_scale
    power = max(pair[1] for pair in pairs) / len(signal.samples) / full_scale**2
    noise = signal.noise_power / full_scale**2
    return TapLevels(
        strip=strip.name,
        stage=strip.stage_names[index],
        kind=stage.kind,
        peak_dbfs=float(db_from_ratio(peak)),
        rms_dbfs=float(db_from_power(power / AES17_ZERO_RMS**2)),
        noise_dbfs=float(db_from_power(noise / AES17_ZERO_RMS**2)),
        ceiling_dbfs=float(np.inf if np.isinf(stage.ceiling) else db_from_ratio(stage.ceiling / full_scale)),
        clipped=len(passed.clipped) if passed.clipped else 0,
    )
