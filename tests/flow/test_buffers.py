"""What is held in memory, and when it is given back."""

from __future__ import annotations

import gc
import weakref
from dataclasses import dataclass

import numpy as np

from gainlib.flow.buffers import Buffer, use
from gainlib.stages import Signal


def signal(samples: np.ndarray) -> Signal:
    return Signal(samples.reshape(-1, 1), 48_000, 0.0, "digital")


def test_a_narrow_buffer_holds_half_and_gives_what_single_precision_holds() -> None:
    codes = np.arange(-1000.0, 1000.0) / 2**23
    narrow, wide = Buffer(narrow=True), Buffer(narrow=False)
    for buffer in (narrow, wide):
        buffer.hold(signal(codes))
    # Four bytes a sample against eight.
    assert (narrow.nbytes, wide.nbytes) == (8_000, 16_000)
    for buffer in (narrow, wide):
        held = buffer.signal
        assert held is not None
        assert held.samples.dtype == np.float64
        assert np.array_equal(held.samples[:, 0], codes)
        buffer.release()
        assert (buffer.signal, buffer.nbytes, buffer.seconds) == (None, 0, 0.0)


class Counted:
    """A rendering that counts how often it was released."""

    def __init__(self) -> None:
        self.released = 0

    def release(self) -> None:
        self.released += 1


@dataclass(eq=False)
class Panel:
    turn: object
    renderings: tuple[Counted, ...]


def test_only_what_moves_together_with_the_one_in_use_keeps_its_samples() -> None:
    one, two = object(), object()
    leader, follower, other = (Panel(turn, (Counted(), Counted())) for turn in (one, one, two))
    for panel in (leader, follower, other):
        use(panel)
    assert [[each.released for each in panel.renderings] for panel in (leader, follower, other)] == [
        [1, 1],
        [1, 1],
        [0, 0],
    ]
    use(follower)
    assert [panel.renderings[0].released for panel in (leader, follower, other)] == [1, 1, 1]


def test_a_holder_that_is_gone_is_not_held() -> None:
    panel = Panel(object(), ())
    use(panel)
    gone = weakref.ref(panel)
    del panel
    gc.collect()
    assert gone() is None
