"""Stages joined into a strip, and rendered with a tap behind each."""

from __future__ import annotations

from gainlib.flow.rendering import Rendering, TapLevels
from gainlib.flow.session import Session, Strip

__all__ = ["Rendering", "Session", "Strip", "TapLevels"]
