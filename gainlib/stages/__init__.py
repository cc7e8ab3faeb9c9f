"""What changes a level: each stage is frozen settings; a signal goes in, a signal and its side readings come out.

Samples are volts in the analogue part and full scale ±1.0 in the digital one; the converter is the seam. Settings carry
their unit in their name (`gain_db`, `release_ms`); what cannot be set is refused in a sentence, never bent into range.
`process` is a pure function: the same signal and settings give the same samples, noise and dither too. A stage is known
by its class's name from its definition on, and declares what others ask of it; nothing else lists it.

- `base`: `Stage`, `Signal`, `StageResult`; how a setting describes itself
- `preamp`: `Source` and `Preamp`, from the microphone to line level
- `cable`: `Cable`, from an output into an input
- `insert`: `OutboardInsert`, out to a device and back
- `converter`: `Converter` and `StoredFile`, where volts become numbers and numbers a file
- `automation`: `ClipGain` by region and `Ride` by breakpoints; `proposed_ride`
- `trim`: `Trim`, a plain gain
- `compressor`: `Compressor`
- `saturation`: `Saturation`
- `fader`: `Fader` and its taper
- `pan`: `Pan` and its laws
- `polarity`: `Polarity`, plus and minus exchanged
- `delay`: `Delay`, later by whole samples
- `clipping`: `SoftClip`, and the curve that rounds off
- `limiter`: `Limiter`
- `k_weighting`: `KWeighting`, what a loudness meter listens to
- `wordlength`: rounding to fixed-point steps with dither or without, wherever that is done
- `delivery`: `Delivery`, targets, `deliver`, `codec_overshoot`
- `described`: the settings of a stage in words, read off its docstring
"""

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
from gainlib.stages.cable import Cable
from gainlib.stages.clipping import SoftClip
from gainlib.stages.compressor import Compressor
from gainlib.stages.converter import Converter, StoredFile
from gainlib.stages.delay import Delay
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
from gainlib.stages.k_weighting import KWeighting
from gainlib.stages.limiter import Limiter
from gainlib.stages.pan import Pan, pan_gains
from gainlib.stages.polarity import Polarity
from gainlib.stages.preamp import Preamp, Source
from gainlib.stages.saturation import Saturation
from gainlib.stages.trim import Trim

__all__ = [
    "ATSC_A85",
    "EBU_R128",
    "TAPER",
    "TARGETS",
    "Cable",
    "Choice",
    "ClipGain",
    "CodecOvershoot",
    "Compressor",
    "Converter",
    "Corner",
    "Delay",
    "Delivery",
    "Fader",
    "KWeighting",
    "Limiter",
    "OutboardInsert",
    "Pan",
    "Polarity",
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
