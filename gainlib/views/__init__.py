"""Pictures of a rendering, each with axes, units and a sentence that says the same."""

from __future__ import annotations

from gainlib.views.base import Columns, View, view, views
from gainlib.views.close_up import CloseUp
from gainlib.views.headline import Headline, headline
from gainlib.views.level_diagram import LevelDiagram
from gainlib.views.strokes import INKS
from gainlib.views.waveform import Waveform

__all__ = ["INKS", "CloseUp", "Columns", "Headline", "LevelDiagram", "View", "Waveform", "headline", "view", "views"]
