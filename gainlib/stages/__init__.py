"""What changes a level: each stage is frozen settings; a signal goes in, a signal and its side readings come out."""

from __future__ import annotations

from gainlib.stages.base import Passed, Setting, Signal, Stage, setting, settings_of
from gainlib.stages.converter import Converter
from gainlib.stages.preamp import Preamp, Source
from gainlib.stages.trim import Trim

__all__ = [
    "Converter",
    "Passed",
    "Preamp",
    "Setting",
    "Signal",
    "Source",
    "Stage",
    "Trim",
    "setting",
    "settings_of",
]
