"""Run in a lesson's own kernel behind its last cell: every control of every bench that it shows goes to its ends."""

from __future__ import annotations

import gc
import math

from gainlib.benches import Bench, OpenExercise
from gainlib.benches.controls import Breakpoints, Pick


def ends_of(control):
    """Both ends of a control and its middle; each option of a choice; a ride at its highest, its lowest, and none."""
    if isinstance(control, Pick):
        return control.options
    if isinstance(control, Breakpoints):
        ends = ((0.0, control.high), (control.seconds, control.low))
        return (ends, ((control.seconds / 2, control.low),), ())
    return (control.low, control.high, (control.low + control.high) / 2)


def push_every_control():
    """Move the controls of all benches that the cells of a lesson made; raises where one says nonsense."""
    made = gc.get_objects()
    sat = [each.bench for each in made if isinstance(each, OpenExercise) and each.bench]
    own = [bench for bench in made if isinstance(bench, Bench) and not any(bench is other for other in sat)]
    assert all(bench.controls for bench in own)
    # An exercise that asks a question may have no bench, or one that is only looked at.
    benches = [*own, *(bench for bench in sat if bench.controls)]
    assert len(benches) >= 2, "a lesson shows at least two benches"
    for bench in benches:
        for setting, control in bench.controls.items():
            for value in ends_of(control):
                bench.move(setting, value)
                assert bench.values[setting] == value
                assert bench.headline.what.endswith(".")
                assert all(sentence and "nan" not in sentence for sentence in bench.sentences)
                assert all(not math.isnan(level.peak_dbfs) for level in bench.rendering.levels)
        bench.reset()
