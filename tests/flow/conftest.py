"""What the tests of the flow share: short stems and a session of strips, buses and a main."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.flow import Bus, Send, Session, Strip
from gainlib.stages import Compressor, Fader, Limiter, Pan, Saturation, Trim

RATE_HZ = 48_000


@pytest.fixture(scope="session")
def stems() -> dict[str, Audio]:
    draw = np.random.default_rng(1)
    return {
        name: Audio(0.3 * draw.standard_normal((4800, channels)), RATE_HZ, name)
        for name, channels in (("voice", 1), ("guitar", 1), ("drums", 2))
    }


@pytest.fixture(scope="session")
def session(stems: dict[str, Audio]) -> Session:
    """Voice and guitar to a bus, drums straight to the main, the voice sent to a hall before its fader."""
    return Session(
        (
            Strip(
                "voice",
                stems["voice"],
                (Trim(2.0), Compressor(-18.0), Fader(-4.0), Pan(0.0)),
                "band",
                (Send("hall", -10.0, True),),
            ),
            Strip("guitar", stems["guitar"], (Trim(-1.0), Fader(-8.0), Pan(-0.5)), "band"),
            Strip("drums", stems["drums"], (Fader(-6.0), Pan(0.0)), sends=(Send("hall", -20.0),)),
        ),
        (Bus("band", (Saturation(3.0),)), Bus("hall", (Trim(-6.0),), to="band")),
        Bus("main", (Compressor(-12.0, 2.0), Limiter(-1.0, 1.0))),
    )
