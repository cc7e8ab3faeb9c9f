"""What the tests share: signals with known levels, and a count of the expected values that rest on paper."""

from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import settings

RATE_HZ = 48_000

# The first call of a compiled loop compiles it; how long a call takes is a matter for the benchmarks.
settings.register_profile("gainlib", deadline=None)
settings.load_profile("gainlib")


@pytest.fixture
def run(monkeypatch, capsys):
    """Run a command in this process; gives status, standard output and standard error."""
    from gainlib.cli import main

    def run_it(*arguments: object):
        monkeypatch.setattr(sys, "argv", ["gainlib", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        return ended.value.code, said.out, said.err

    return run_it


@pytest.fixture
def sine_997():
    """One second of a full-scale 997 Hz sine, the reference tone of AES17."""
    return np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ)


@pytest.fixture
def square():
    """One second of a full-scale square wave of 100 Hz, 240 samples up and 240 down."""
    return np.tile(np.repeat([1.0, -1.0], 240), 100)
