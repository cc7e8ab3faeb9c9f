"""What changes a level: each stage is frozen settings; a signal goes in, a signal and its side readings come out."""

from __future__ import annotations

from gainlib.stages.automation import ClipGain, Ride, proposed_ride
from gainlib.stages.base import (
    Choice,
    Corner,
    Setting,
    Signal,
    Stage,
    StageResult,
    choices_of,
    setting,
    settings_of,
    stage_kinds,
)
from gainlib.stages.clipping import SoftClip
from gainlib.stages.compressor import Compressor
from gainlib.stages.converter import Converter, StoredFile
from gainlib.stages.delivery import (
    ATSC_A85,
    EBU_R128,
    TARGETS,
    CodecOvershoot,
    Delivery,
    Target,
    codec_overshoot,
    deliver,
)
from gainlib.stages.fader import TAPER, Fader, Taper
from gainlib.stages.insert import OutboardInsert
from gainlib.stages.limiter import Limiter
from gainlib.stages.pan import Pan, pan_gains
from gainlib.stages.preamp import Preamp, Source
from gainlib.stages.saturation import Saturation
from gainlib.stages.trim import Trim

__all__ = [
    "ATSC_A85",
    "EBU_R128",
    "TAPER",
    "TARGETS",
    "Choice",
    "ClipGain",
    "CodecOvershoot",
    "Compressor",
    "Converter",
    "Corner",
    "Delivery",
    "Fader",
    "Limiter",
    "OutboardInsert",
    "Pan",
    "Preamp",
    "Ride",
    "Saturation",
    "Setting",
    "Signal",
    "SoftClip",
    "Source",
    "Stage",
    "StageResult",
    "StoredFile",
    "Taper",
    "Target",
    "Trim",
    "choices_of",
    "codec_overshoot",
    "deliver",
    "pan_gains",
    "proposed_ride",
    "setting",
    "settings_of",
    "stage_kinds",
]
