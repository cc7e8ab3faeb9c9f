"""Stages joined into strips, buses and the main, and rendered with a tap behind each."""

from __future__ import annotations

from gainlib.flow.files import session_faults
from gainlib.flow.rendering import Rendering, TapLevels, let_rest
from gainlib.flow.session import Bus, Send, Session, Strip

__all__ = ["Bus", "Rendering", "Send", "Session", "Strip", "TapLevels", "let_rest", "session_faults"]
