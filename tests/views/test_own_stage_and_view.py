"""A stage and a view of one's own: a file each, outside the package, and then used like any other."""

from __future__ import annotations

import importlib
import sys
import textwrap

import numpy as np
import pytest

import gainlib as gl
from gainlib.exercises import load
from gainlib.stages import base as stages_base
from gainlib.views import CloseUp, LevelDiagram
from gainlib.views import base as views_base

STAGE = '''
"""A line that loses level."""

from dataclasses import dataclass, replace
from typing import ClassVar

from gainlib.stages import Signal, Stage, StageResult, setting


@dataclass(frozen=True)
class LossyLine(Stage):
    """Takes `loss_db` off, and nothing else."""

    kind: ClassVar[str] = "Lossy line"
    reading_names: ClassVar[tuple[str, ...]] = ("lost_db",)

    loss_db: float = setting(6.0, label="Loss", low=0.0, high=20.0, step=1.0)

    @property
    def plain_gain_db(self) -> float:
        return -self.loss_db

    def process(self, signal: Signal) -> StageResult:
        gain = 10 ** (-self.loss_db / 20)
        left = replace(signal, samples=signal.samples * gain, noise_power=signal.noise_power * gain**2)
        return StageResult(left, readings={"lost_db": self.loss_db})
'''

VIEW = '''
"""The peak as one dot."""

from typing import ClassVar

from gainlib.views import Columns, TapView
from gainlib.views.style import coloured, frame, sources_of


class PeakDot(TapView):
    """The peak behind one stage."""

    name: ClassVar[str] = "peak dot"
    title: ClassVar[str] = "Peak"
    height = 120

    def figure(self, rendering):
        drawing = frame(self.height, (-1.0, 1.0), (-60.0, 6.0), y_axis_label="peak, dBFS")
        sources = sources_of(self.columns(rendering))
        drawing.scatter("x", "peak_dbfs", source=sources["dot"], size=9, **coloured(fill_color="peak"))
        return drawing

    def columns(self, rendering) -> Columns:
        return {"dot": {"x": [0.0], "peak_dbfs": [rendering.level(self.tap_of(rendering)).peak_dbfs]}}

    def sentence(self, rendering) -> str:
        return f"The peak reaches {rendering.level(self.tap_of(rendering)).peak_dbfs:.1f} dBFS."
'''

EXERCISE = """
title  = "Make up for the line"
lesson = "set-recording-level"
kind   = "set"
level  = 1
goal   = "Set a trim that makes up for a line's loss."
brief  = "The line loses {loss}. Set the trim so that the voice comes out of the line as it went in."

given.take   = "media/lead-voice.flac"
given.strip  = "voice"
given.views  = ["peak dot", "level diagram"]
given.stages = [{ stage = "Trim", gain_db = 0 }, { stage = "LossyLine", loss_db = 3 }]
varies.loss  = { path = "lossy line/loss_db", from = 2, to = 8, step = 1 }
moves        = [{ path = "trim/gain_db", from = -12, to = 12, step = 1 }]
solution     = { "trim/gain_db" = { base = 0, plus = "loss" } }
hints        = [{ cost = 0, text = "What the line takes, the trim gives." }]

[[checks]]
title    = "What the line loses"
points   = 1
reads    = { told = "lost_db", at = "lossy line", at_least = 0, at_most = 20 }
source   = "The line's own figure."
standing = "derived"
"""


@pytest.fixture
def own(tmp_path, monkeypatch):
    """The two files written and imported; the registries forget them after the test."""
    monkeypatch.setattr(stages_base, "_KINDS", dict(stages_base._KINDS))
    monkeypatch.setattr(views_base, "_VIEWS", dict(views_base._VIEWS))
    monkeypatch.syspath_prepend(tmp_path)
    for name, text in (("lossy_line", STAGE), ("peak_dot", VIEW)):
        (tmp_path / f"{name}.py").write_text(text, encoding="utf-8")
        importlib.import_module(name)
    yield tmp_path
    for name in ("lossy_line", "peak_dot"):
        del sys.modules[name]


@pytest.fixture
def session(own):
    take = gl.Audio(0.5 * np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000), 48_000)
    return gl.Session.of(take, [gl.Trim(), stages_base.stage_kinds()["LossyLine"](loss_db=6.0)], name="line")


def test_it_is_rendered_measured_and_drawn(session):
    rendering = session.render()
    # Derived: half of full scale is -6.02 dBFS; 6 dB less.
    assert rendering.level("lossy line").peak_dbfs == pytest.approx(-12.02, abs=0.01)
    assert rendering.reading("lossy line", "lost_db") == 6.0
    assert "Lossy line: peak −12.0 dBFS" in LevelDiagram().sentence(rendering)
    moment = CloseUp().columns(rendering)["moment"]
    np.testing.assert_allclose(moment["given"], moment["came"], atol=1e-12)  # a plain gain, and it says which


def test_it_stands_on_a_bench_with_the_view_beside_it(session):
    bench = gl.bench(session, controls=["lossy line/loss_db"], views=["peak dot"])
    assert bench.sentences == ("The peak reaches -12.0 dBFS.",)
    assert bench.move("lossy line/loss_db", 12.0).sentences == ("The peak reaches -18.0 dBFS.",)
    [view] = bench.views
    assert view.heading(bench.rendering) == "Peak after the lossy line"
    assert view.figure(bench.rendering).height == 120
    bench.close()


def test_a_session_file_names_it(session, own):
    file = session.save(own / "line.toml")
    again = gl.Session.load(file)
    assert again.strips[0].stages == session.strips[0].stages


def test_an_exercise_file_names_both(own):
    (own / "line.toml").write_text(textwrap.dedent(EXERCISE), encoding="utf-8")
    variant = load(own / "line.toml").variant("ada")
    assert variant.session.strips[0].stages[1].kind == "Lossy line"
    assert 2.0 <= variant.session.strips[0].stages[1].loss_db <= 8.0
    sitting = gl.exercise(own / "line.toml", "ada")
    assert sitting.bench.sentences[0].startswith("The peak reaches ")


def test_a_view_of_the_same_name_is_refused_and_may_be_defined_again_where_it_was(own):
    def define(module):
        return type("Dot", (views_base.View,), {"name": "dot", "__module__": module})

    define("mine")
    again = define("mine")
    assert views_base.views()["dot"] is again
    with pytest.raises(gl.GainError, match="a view 'dot' is there already, in mine; choose another name"):
        define("yours")


def test_afterwards_nothing_is_left_of_them():
    assert "LossyLine" not in stages_base.stage_kinds()
    assert "peak dot" not in views_base.views()
