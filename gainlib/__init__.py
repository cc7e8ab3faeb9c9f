"""gainlib: carry a signal from the microphone to the delivered file at a sensible level, and learn to.

>>> import gainlib as gl
>>> "peak_dbfs" in gl.measures()
True
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from gainlib.audio import Audio, read, tone, write
    from gainlib.bench import Control, bench, compare, exercise, exercise_book, hand_in
    from gainlib.bench.predict import predict
    from gainlib.course import contents, learner
    from gainlib.decibels import (
        db_from_power,
        db_from_ratio,
        dbu_from_dbv,
        dbu_from_volts,
        dbv_from_dbu,
        dbv_from_volts,
        power_from_db,
        ratio_from_db,
        sum_db,
        volts_from_dbu,
        volts_from_dbv,
    )
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
    from gainlib.survey.survey import survey
    from gainlib.views import CloseUp, Waveform

__version__ = "0.1.0"

# Each public name and the room it comes from, opened when it is first asked for, so that `import gainlib` is quick.
_ROOMS = {
    "Audio": "audio",
    "Bus": "flow",
    "ClipGain": "stages",
    "CloseUp": "views",
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
    "db_from_power": "decibels",
    "db_from_ratio": "decibels",
    "dbu_from_dbv": "decibels",
    "dbu_from_volts": "decibels",
    "dbv_from_dbu": "decibels",
    "dbv_from_volts": "decibels",
    "deliver": "stages",
    "exercise": "bench",
    "learner": "course",
    "exercise_book": "bench",
    "hand_in": "bench",
    "measure": "meters",
    "measures": "meters",
    "power_from_db": "decibels",
    "predict": "bench",
    "proposed_ride": "stages",
    "ratio_from_db": "decibels",
    "read": "audio",
    "sum_db": "decibels",
    "survey": "bench",
    "tone": "audio",
    "volts_from_dbu": "decibels",
    "volts_from_dbv": "decibels",
    "write": "audio",
}

__all__ = [
    "Audio",
    "Bus",
    "ClipGain",
    "CloseUp",
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
    "db_from_power",
    "db_from_ratio",
    "dbu_from_dbv",
    "dbu_from_volts",
    "dbv_from_dbu",
    "dbv_from_volts",
    "deliver",
    "exercise",
    "exercise_book",
    "hand_in",
    "learner",
    "measure",
    "measures",
    "power_from_db",
    "predict",
    "proposed_ride",
    "ratio_from_db",
    "read",
    "sum_db",
    "survey",
    "tone",
    "volts_from_dbu",
    "volts_from_dbv",
    "write",
]


def __getattr__(name: str) -> Any:
    if name in _ROOMS:
        return getattr(importlib.import_module(f"gainlib.{_ROOMS[name]}"), name)
    raise AttributeError(f"gainlib has no {name!r}; it has {', '.join(sorted(_ROOMS))}.")


def __dir__() -> list[str]:
    return sorted(__all__)
