"""The top between samples never stands higher than its neighbours allow, whatever rounding does to them."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib import loops
from gainlib.loops import numpy_loops

# Taps that draw straight lines, so that each point of the curve is known to the last bit.
HELD = np.tile(np.eye(64)[31], (3, 1))
STRAIGHT = np.array([0.5, 0.0, 0.0, 0.0])


@pytest.mark.parametrize("peak", [1.25, 1.5, 1.7])
@pytest.mark.parametrize("loop", [loops.interpolated_peak, numpy_loops.interpolated_peak])
def test_a_step_beside_a_flat_top_is_no_peak(loop, peak):
    # Two steps of single precision down: half-way stands a value one step down, so that a crest has an equal on one
    # side and a step on the other. The parabola's top is (s - 0)^2 / (8 (0 + s)) = s/8 above it.
    step = 2.0**-23
    take = loops.laid_out(np.repeat(np.array([[peak], [peak - 2 * step]]), 100, axis=0))
    assert loop(take, 0, 10, 190, 0.0, HELD, STRAIGHT) == pytest.approx(peak + step / 8, abs=step)
