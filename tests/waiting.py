"""Waiting for what comes in its own time: a test that waits in vain fails instead of standing still for ever."""

from __future__ import annotations

import time
from collections.abc import Callable

LONGEST_SECONDS = 60


def wait_until(holds: Callable[[], object], meanwhile: Callable[[], object] = lambda: time.sleep(0.01)) -> None:
    """Wait until something holds, and do so much `meanwhile` after each look."""
    latest = time.monotonic() + LONGEST_SECONDS
    while not holds():
        assert time.monotonic() < latest, f"not within {LONGEST_SECONDS} s"
        meanwhile()
