"""Run in a lesson's own kernel behind its last cell: every control of every bench that it shows goes to its ends."""

from __future__ import annotations

import gc
import math

from advice_judge import after_the_step, faults
from pluses import wrong_pluses

from gainlib.benches import Bench, OpenExercise
from gainlib.benches.controls import Breakpoints, Pick
from gainlib.benches.exercise_panel import LookingBench
from gainlib.exercises import author_answer


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
    answers = {id(each.bench): author_answer(each.variant) for each in made if isinstance(each, OpenExercise)}
    for bench in benches:
        require_sound(bench)
        for setting, control in bench.controls.items():
            for value in ends_of(control):
                bench.move(setting, value)
                assert bench.values[setting] == value
                require_sound(bench)
        solved = {path: value for path, value in answers.get(id(bench), {}).items() if path in bench.controls}
        if solved:
            require_sound(bench.move_all({path: each.start for path, each in bench.controls.items()} | solved))


def require_sound(bench):
    """What the bench says as it stands can be said, and its sentence on top is true and can be done."""
    said = str(bench.advice)
    assert said.endswith(".")
    assert all(sentence and "nan" not in sentence for sentence in bench.sentences)
    assert not [each for sentence in (said, *bench.sentences) for each in wrong_pluses(sentence)]
    assert all(not math.isnan(level.peak_dbfs) for level in bench.rendering.levels)
    assert not isinstance(bench, LookingBench) or said == "Look and listen, then answer below."
    if isinstance(bench, LookingBench):
        return
    found = [*faults(bench, said), *after_the_step(bench)]
    assert not found, f"{bench.title or 'an exercise'}, {bench.values}: {said} {found}"
