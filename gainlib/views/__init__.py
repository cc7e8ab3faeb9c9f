"""Pictures of a rendering, each with axes, units and a sentence that says the same.

A view takes a rendering and gives a Bokeh figure, the columns that it draws, and the sentence; a control that moves
sends new columns and nothing else. One stroke means one thing in all of them: solid peak, dashed RMS, dotted noise,
hatched ceiling. A view is known by its `name` from its definition on. Nothing here knows a widget.

what they are made of
- `base`: `View` and `TapView`, the view of a name
- `style`: colours, strokes, frame, level axes, hover, in which all are drawn
- `phrasing`: what the sentences call a stage and a tap
- `signal_path`: what stands before a stage, where a kind of stage is
- `rows`: levels of several signals, a row each

along the stages
- `level_diagram`: the signal from source to file between its noise and its ceilings
- `strips`, `balance`, `contributors`: many strips side by side, where they leave, what they sum to

one stage
- `transfer_curve`, `envelope`, `gain_reduction`, `crest`: what a compressor or limiter does to the level
- `waveform`, `close_up`: clipped runs marked, and a few milliseconds of them
- `spectrum`, `word_length`: harmonics and noise
- `ride`, `fader_taper`: gains that a hand sets

over time
- `meters_over_time`, `loudness_over_time`: what meters show
- `loudness_gates`, `loudness_weighting`: which blocks and which frequencies count towards loudness

- `advice`: the sentence above a bench: facts, and one step where something is aimed at; `aim`: what is aimed at;
  `steps`: what the controls of the bench can do about it
"""

from __future__ import annotations

from gainlib.views.advice import Advice, advise
from gainlib.views.aim import Aim
from gainlib.views.balance import Balance
from gainlib.views.base import Columns, TapView, View, view, views
from gainlib.views.close_up import CloseUp
from gainlib.views.contributors import SumByContributor
from gainlib.views.crest import CrestFactor
from gainlib.views.envelope import Envelope
from gainlib.views.fader_taper import FaderTaper
from gainlib.views.gain_reduction import GainReductionTrace
from gainlib.views.level_diagram import LevelDiagram
from gainlib.views.loudness_gates import LoudnessGates
from gainlib.views.loudness_over_time import LoudnessOverTime
from gainlib.views.loudness_weighting import LoudnessWeighting
from gainlib.views.meters_over_time import MetersOverTime
from gainlib.views.ride import DrawnRide
from gainlib.views.spectrum import HarmonicSpectrum
from gainlib.views.strips import Strips
from gainlib.views.transfer_curve import TransferCurve
from gainlib.views.waveform import Waveform
from gainlib.views.word_length import WordLength

__all__ = [
    "Advice",
    "Aim",
    "Balance",
    "CloseUp",
    "Columns",
    "CrestFactor",
    "DrawnRide",
    "Envelope",
    "FaderTaper",
    "GainReductionTrace",
    "HarmonicSpectrum",
    "LevelDiagram",
    "LoudnessGates",
    "LoudnessOverTime",
    "LoudnessWeighting",
    "MetersOverTime",
    "Strips",
    "SumByContributor",
    "TapView",
    "TransferCurve",
    "View",
    "Waveform",
    "WordLength",
    "advise",
    "view",
    "views",
]
