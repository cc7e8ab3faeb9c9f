"""The views of an exercise, told what the exercise names: stretches of the take, what was ordered, what is aimed at."""

from __future__ import annotations

import math

from gainlib.exercises.variant import Variant
from gainlib.stages import Target
from gainlib.views import Aim, LoudnessOverTime, View, Waveform, view

__all__ = ["aims_of", "orders_of", "view_for"]


def view_for(choice: str, variant: Variant) -> View:
    """The view of that plain name for one learner's variant.

    >>> from gainlib.exercises import load
    >>> view_for("waveform", load("recording/leave-room").variant("ada")).parts["shout"]
    (17.7, 18.8)
    """
    if choice == Waveform.name:
        return Waveform(parts=variant.parts)
    return LoudnessOverTime(orders=orders_of(variant)) if choice == LoudnessOverTime.name else view(choice)


def orders_of(variant: Variant) -> dict[str, Target]:
    """What the exercise orders at each tap: the loudness, and the true peak, that its checks ask of the whole take.

    >>> from gainlib.exercises import load
    >>> orders_of(load("delivery/meet-target").variant("ada"))["presenter/file"].loudness_lufs
    -18.0
    """
    whole = [each for each in variant.checks if each.less is None and each.probe.seconds is None and each.probe.at]
    peaks = {each.probe.at: each.most for each in whole if each.probe.measure == "true_peak_dbtp"}
    orders = {}
    for each in whole:
        if each.probe.measure == "loudness_lufs" and each.least is not None and each.most is not None:
            middle, half = (each.least + each.most) / 2, (each.most - each.least) / 2
            most = peaks.get(each.probe.at)
            tap = "/".join(variant.session.tap(each.probe.at))
            orders[tap] = Target("the order", middle, half, math.inf if most is None else most)
    return orders


def aims_of(variant: Variant) -> tuple[Aim, ...]:
    """What the checks ask, as aims of the bench, where the exercise says `advise = true`; else none.

    A worked example may say the way; elsewhere it would give the answer away. Differences and settings are no aims.

    >>> from gainlib.exercises import load
    >>> aims_of(load("recording/leave-room").variant("ada"))
    ()
    """
    if not variant.exercise.spec.given.advise:
        return ()
    return tuple(
        Aim(
            each.probe.name,
            each.probe.at,
            -math.inf if each.least is None else each.least,
            math.inf if each.most is None else each.most,
            seconds=each.probe.seconds,
        )
        for each in variant.checks
        if each.less is None and not each.probe.setting
    )
