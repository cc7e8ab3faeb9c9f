"""A take of the learner's own as an answer: the figures that were read of it, since a hand-in carries no sound."""

from __future__ import annotations

import math
from collections.abc import Mapping

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.exercises.answers import as_number
from gainlib.exercises.readings import MeasuredRendering, Probe, Reading
from gainlib.exercises.variant import Variant
from gainlib.flow import Rendering

__all__ = ["ReportedFigures", "figures_of", "reported"]

SILENCE = "silence"


class ReportedFigures(MeasuredRendering):
    """What was read of a take that is not here; `rendering` is of the stand-in, and tells names and units alone."""

    def __init__(self, rendering: Rendering, figures: Mapping[tuple[Probe, Probe | None], float | str]) -> None:
        super().__init__(rendering)
        self._figures = figures

    def value(self, reading: Reading) -> float:
        """The figure as it was read; GainError with the reason where it could not be."""
        figure = self._figures.get((reading.probe, reading.less), "no figure came with the answer")
        if isinstance(figure, str):
            raise GainError(figure)
        return figure


def figures_of(variant: Variant, take: Audio) -> dict[str, float | str]:
    """The answer that a take is: each thing that the exercise reads of it, the knob of the stand-in left at 0 dB.

    What cannot be read, as the end of a take that was stopped too early, is the reason for it.

    >>> from gainlib.exercises import load
    >>> variant = load("recording/your-own-level").variant("ada")
    >>> figures_of(variant, variant.session.strips[0].take)["read 1"]
    -9.0
    """
    session = variant.session.replaced({each.path: 0.0 for each in variant.controls}).with_take(take)
    read = MeasuredRendering(session.render())
    figures: dict[str, float | str] = {}
    for number, reading in enumerate(_readings(variant), 1):
        try:
            value = read.value(reading)
            figures[f"read {number}"] = (
                value if math.isfinite(value) else SILENCE if value < 0 else "nothing to compare"
            )
        except GainError as fault:
            figures[f"read {number}"] = str(fault)[:200]
    return figures


def reported(variant: Variant, answer: object) -> ReportedFigures | None:
    """The figures that an answer holds; None where it holds none, as that of any exercise without a take of one's own.

    >>> from gainlib.exercises import load
    >>> reported(load("recording/leave-room").variant("ada"), {"read 1": -15.0}) is None
    True
    """
    if variant.exercise.kind != "record" or not isinstance(answer, Mapping) or "read 1" not in answer:
        return None
    figures: dict[tuple[Probe, Probe | None], float | str] = {}
    for number, reading in enumerate(_readings(variant), 1):
        given = answer.get(f"read {number}")
        value = -math.inf if given == SILENCE else as_number(given)
        if value is not None or isinstance(given, str):
            figures[reading.probe, reading.less] = str(given) if value is None else value
    low = variant.session.replaced(
        {each.path: each.low for each in variant.controls}
    )  # where the stand-in clips nowhere
    return ReportedFigures(low.render(), figures)


def _readings(variant: Variant) -> list[Reading]:
    """Everything that the exercise reads, each once: of its checks, then of its slips."""
    slips = variant.exercise.spec.slips
    whens = (variant.reading(when) for slip in slips for when in slip.when)
    return list({(each.probe, each.less): each for each in (*variant.checks, *whens)}.values())
