"""Every control of every bench in a lesson, pushed to its ends and its middle, without a browser."""

from __future__ import annotations

import ast
import json
import math

import pytest

from gainlib.audio import bundled_folder
from gainlib.benches import Bench, Sitting
from gainlib.benches.controls import Breakpoints, Pick

LESSONS = sorted(bundled_folder("lessons").glob("[0-9][0-9]-*.ipynb"))


def shown_by(path):
    """What the cells of a lesson show, run from top to bottom: the value of each cell's last line."""
    names: dict[str, object] = {}
    for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
        if cell["cell_type"] != "code":
            continue
        tree = ast.parse("".join(cell["source"]))
        last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
        exec(compile(tree, path.stem, "exec"), names)
        if last is not None:
            yield eval(compile(ast.Expression(last.value), path.stem, "eval"), names)


def ends_of(control):
    """Both ends of a control and its middle; each option of a choice; a ride at its highest, its lowest, and none."""
    if isinstance(control, Pick):
        return control.options
    if isinstance(control, Breakpoints):
        ends = ((0.0, control.high), (control.seconds, control.low))
        return (ends, ((control.seconds / 2, control.low),), ())
    return (control.low, control.high, (control.low + control.high) / 2)


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_every_control_reaches_its_ends_and_its_middle(path, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    shown = list(shown_by(path))
    own = [each for each in shown if isinstance(each, Bench)]
    assert all(bench.controls for bench in own)
    # An exercise that asks a question may have no bench, or one that is only looked at.
    benches = [
        *own,
        *(each.bench for each in shown if isinstance(each, Sitting) and each.bench and each.bench.controls),
    ]
    assert len(benches) >= 2
    for bench in benches:
        for setting, control in bench.controls.items():
            for value in ends_of(control):
                bench.move(setting, value)
                assert bench.values[setting] == value
                assert bench.headline.what.endswith(".")
                assert all(each and "nan" not in each for each in bench.sentences)
                assert all(not math.isnan(each.peak_dbfs) for each in bench.rendering.levels)
        bench.reset()
