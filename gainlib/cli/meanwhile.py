"""What this Python does behind a page that is read."""

from __future__ import annotations

__all__ = ["COMPILE_LOOPS"]

COMPILE_LOOPS = """
import os
getattr(os, "nice", int)(10)
from gainlib.loops import where_kept
if where_kept():
    from gainlib.cli.setup import compiled_loops
    compiled_loops()
"""
"""While the first page is read, so that no lesson waits for it; where all are compiled it takes three seconds."""
