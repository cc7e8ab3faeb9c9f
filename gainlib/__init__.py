"""gainlib: carry a signal from the microphone to the delivered file at a sensible level, and learn to.

>>> import gainlib as gl
>>> "peak_dbfs" in gl.measures()
True
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainlib.audio import Audio, read, write
    from gainlib.bench import Control, bench, compare, exercise, exercise_book
    from gainlib.bench.predict import predict
    from gainlib.course import contents
    from gainlib.errors import GainError
    from gainlib.flow import Bus, Rendering, Send, Session, Strip
    from gainlib.meters import measure, measures
    from gainlib.stages import (
        ClipGain,
        Compressor,
        Converter,
        Delivery,
        Fader,
        Limiter,
        OutboardInsert,
        Pan,
        Preamp,
        Ride,
        Saturation,
        SoftClip,
        Source,
        StoredFile,
        Trim,
        codec_overshoot,
        deliver,
        proposed_ride,
    )
    from gainlib.views import Waveform

__version__ = "0.1.0"

# Each public name and the room it comes from, opened when it is first asked for, so that `import gainlib` is quick.
_ROOMS = {
    "Audio": "audio",
    "Bus": "flow",
    "ClipGain": "stages",
    "Compressor": "stages",
    "Control": "bench",
    "Converter": "stages",
    "Delivery": "stages",
    "Fader": "stages",
    "GainError": "errors",
    "Limiter": "stages",
    "OutboardInsert": "stages",
    "Pan": "stages",
    "Preamp": "stages",
    "Rendering": "flow",
    "Ride": "stages",
    "Saturation": "stages",
    "Send": "flow",
    "Session": "flow",
    "SoftClip": "stages",
    "Source": "stages",
    "StoredFile": "stages",
    "Strip": "flow",
    "Trim": "stages",
    "Waveform": "views",
    "bench": "bench",
    "codec_overshoot": "stages",
    "compare": "bench",
    "contents": "course",
    "deliver": "stages",
    "exercise": "bench",
    "exercise_book": "bench",
    "measure": "meters",
    "measures": "meters",
    "predict": "bench",
    "proposed_ride": "stages",
    "read": "audio",
    "write": "audio",
}

__all__ = [
    "Audio",
    "Bus",
    "ClipGain",
    "Compressor",
    "Control",
    "Converter",
    "Delivery",
    "Fader",
    "GainError",
    "Limiter",
    "OutboardInsert",
    "Pan",
    "Preamp",
    "Rendering",
    "Ride",
    "Saturation",
    "Send",
    "Session",
    "SoftClip",
    "Source",
    "StoredFile",
    "Strip",
    "Trim",
    "Waveform",
    "__version__",
    "bench",
    "codec_overshoot",
    "compare",
    "contents",
    "deliver",
    "exercise",
    "exercise_book",
    "measure",
    "measures",
    "predict",
    "proposed_ride",
    "read",
    "write",
]


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return getattr(importlib.import_module(f"gainlib.{_ROOMS[name]}"), name)
    raise AttributeError(f"gainlib has no {name!r}; it has {', '.join(sorted(_ROOMS))}.")


def __dir__() -> list[str]:
    return sorted(__all__)
