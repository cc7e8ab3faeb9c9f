"""Stages joined into strips, buses and the main, and rendered with a tap behind each."""

from __future__ import annotations

from gainlib.flow.rendering import Rendering, TapLevels, let_rest
from gainlib.flow.session import Bus, Send, Session, Strip
from gainlib.flow.session_table import session_faults

__all__ = ["Bus", "Rendering", "Send", "Session", "Strip", "TapLevels", "let_rest", "session_faults"]
