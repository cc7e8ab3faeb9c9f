"""Pictures of a rendering, each with axes, units and a sentence that says the same."""

from __future__ import annotations

from gainlib.views.advice import Headline, headline
from gainlib.views.balance import Balance
from gainlib.views.base import Columns, TapView, View, view, views
from gainlib.views.close_up import CloseUp
from gainlib.views.contributors import SumByContributor
from gainlib.views.crest import CrestFactor
from gainlib.views.envelope import Envelope
from gainlib.views.fader_taper import FaderTaper
from gainlib.views.gain_reduction import GainReductionTrace
from gainlib.views.level_diagram import LevelDiagram
from gainlib.views.loudness_over_time import LoudnessOverTime
from gainlib.views.meters_over_time import MetersOverTime
from gainlib.views.ride import DrawnRide
from gainlib.views.spectrum import HarmonicSpectrum
from gainlib.views.strips import Strips
from gainlib.views.transfer_curve import TransferCurve
from gainlib.views.waveform import Waveform
from gainlib.views.word_length import WordLength

__all__ = [
    "Balance",
    "CloseUp",
    "Columns",
    "CrestFactor",
    "DrawnRide",
    "Envelope",
    "FaderTaper",
    "GainReductionTrace",
    "HarmonicSpectrum",
    "Headline",
    "LevelDiagram",
    "LoudnessOverTime",
    "MetersOverTime",
    "Strips",
    "SumByContributor",
    "TapView",
    "TransferCurve",
    "View",
    "Waveform",
    "WordLength",
    "headline",
    "view",
    "views",
]
