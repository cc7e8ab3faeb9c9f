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
    from gainlib.bench import Control, bench, compare, exercise
    from gainlib.bench.predict import predict
    from gainlib.course import contents
    from gainlib.errors import GainError
    from gainlib.flow import Rendering, Session, Strip
    from gainlib.meters import measure, measures
    from gainlib.stages import Converter, Preamp, Source, Trim
    from gainlib.views import Waveform

__version__ = "0.1.0"

# Each public name and the room it comes from, opened when it is first asked for, so that `import gainlib` is quick.
_ROOMS = {
    "Audio": "audio",
    "Control": "bench",
    "Converter": "stages",
    "GainError": "errors",
    "Preamp": "stages",
    "Rendering": "flow",
    "Session": "flow",
    "Source": "stages",
    "Strip": "flow",
    "Trim": "stages",
    "Waveform": "views",
    "bench": "bench",
    "compare": "bench",
    "contents": "course",
    "exercise": "bench",
    "measure": "meters",
    "measures": "meters",
    "predict": "bench",
    "read": "audio",
    "write": "audio",
}

__all__ = [
    "Audio",
    "Control",
    "Converter",
    "GainError",
    "Preamp",
    "Rendering",
    "Session",
    "Source",
    "Strip",
    "Trim",
    "Waveform",
    "__version__",
    "bench",
    "compare",
    "contents",
    "exercise",
    "measure",
    "measures",
    "predict",
    "read",
    "write",
]


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return getattr(importlib.import_module(f"gainlib.{_ROOMS[name]}"), name)
    raise AttributeError(f"gainlib has no {name!r}; it has {', '.join(sorted(_ROOMS))}.")


def __dir__() -> list[str]:
    return sorted(__all__)
