"""What the tests of the stages share: a signal from samples."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import ArrayLike

from gainlib.stages import Signal, base

SignalOf = Callable[..., Signal]


@pytest.fixture(scope="session")
def signal_of() -> SignalOf:
    def make(samples: ArrayLike, rate_hz: int = 48_000, noise_power: float = 0.0, domain: str = "digital") -> Signal:
        array = np.array(samples, dtype=np.float64)
        array = array[:, None] if array.ndim == 1 else array
        array.flags.writeable = False
        return Signal(array, rate_hz, noise_power, domain)  # type: ignore[arg-type]

    return make


@pytest.fixture
def kinds(monkeypatch: pytest.MonkeyPatch) -> None:
    """A registry of its own, so that what a test defines is gone after it."""
    monkeypatch.setattr(base, "_KINDS", dict(base._KINDS))
