"""What reads a level: each measure has one meter of a stream, which the function, the registry and the survey all ask.

Conventions
-----------
Samples are floats, full scale ±1.0, `(n,)` or `(n, channels)`; the rate is `rate_hz` and has no default. A function
gives one reading a channel, `(channels,)`, unless the standard has one for all of them (loudness). Peaks are dBFS; RMS
is dBFS with the AES17 zero, a full-scale sine at 0; true peak is dBTP, loudness LUFS and LU. Crest is peak over plain
RMS: peak_dbfs - rms_dbfs + 3.0 dB. Silence reads -inf, never NaN; samples that are no numbers are refused by their
place. A whole recording is a stream of one block: what a meter reads of blocks of any size is what its function reads
of the whole, to the last bit or within the rounding that it states.

What it holds
-------------
- `streaming`: `StreamMeter`, what all meters share: `push` checks a block, `take` trusts it.
- `levels`: `peak_dbfs`, `rms_dbfs`, `crest_db`, `dc_offset_dbfs` (`LevelMeter`).
- `windows`: `active_rms_dbfs`, `noise_floor_dbfs`, `noise_in_pauses_dbfs`, `level_histogram` (`WindowMeter`).
- `take_noise`: the noise of a take, read in its pauses, or in the room at its head.
- `noise_under_sound`: `noise_under_sound_dbfs`, of a recording that never rests (`NoiseUnderSoundMeter`).
- `hum`: `hum_dbfs`, mains hum under all of it (`find_hum`).
- `phrases`: `find_phrases`, where somebody plays and where not; the only definition of a phrase.
- `clipping`: `clipped_runs` at a ceiling, `flat_tops` below it (`ClippedRunsMeter`, `FlatTopsMeter`).
- `true_peak`: `true_peak_dbtp`, between the samples (`TruePeakMeter`). ITU-R BS.1770-5 Annex 2.
- `loudness_meter`: `loudness_lufs` and its kin (`LoudnessMeter`). ITU-R BS.1770-5 Annex 1, EBU Tech 3341, 3342.
- `ballistics`: `vu`, `ppm`, `sample_peak_meter`, meters with inertia and their scales. IEC 60268-10, -17, -18.
- `distortion`: `harmonics`, `thd_n_percent`, `intermodulation`, `null`: what a stage adds. IEC 60268-3, AES17.
- `round_trip`: `SentSignal`, `read_round_trip`: a chain measured by what comes back through it (`RoundTrip`).
- `statistics`: `gain_reduction`, `octave_bands`, `short_time_spectrum`.
- `registry`: `measures`, every measure by the one name that bench, exercise and report use; `measure` and `measure_all`
  ask it of a recording, `Meters` of a stream.
- `loudest`: where recordings together are loudest for half a minute.
- `matching`: how loud a version is heard, and the gains that bring versions to one level.
- `figures`: `tell`, a few figures as a small table.
- `sentences`: `say`, a text with measured figures in it.
"""

from __future__ import annotations

from gainlib.meters.ballistics import (
    DIGITAL_SCALE,
    PPM_1_SCALE,
    PPM_2A_SCALE,
    PPM_2B_SCALE,
    VU_SCALE,
    Deflection,
    PpmMeter,
    SamplePeakMeter,
    Scale,
    VuMeter,
    ppm,
    sample_peak_meter,
    vu,
)
from gainlib.meters.clipping import ClippedRuns, ClippedRunsMeter, FlatTopsMeter, clipped_runs, flat_tops
from gainlib.meters.distortion import (
    Harmonics,
    Intermodulation,
    Null,
    harmonics,
    intermodulation,
    null,
    thd_n_percent,
    tone_frequency_hz,
)
from gainlib.meters.figures import Figures, tell
from gainlib.meters.levels import (
    LevelMeter,
    crest_db,
    dc_offset_dbfs,
    peak_dbfs,
    rms_dbfs,
)
from gainlib.meters.loudness_meter import (
    CHANNEL_WEIGHTS,
    Loudness,
    LoudnessMeter,
    k_weighting,
    k_weighting_db,
    loudness,
    loudness_lufs,
    loudness_range_lu,
    momentary_lufs,
    momentary_max_lufs,
    short_term_lufs,
    short_term_max_lufs,
)
from gainlib.meters.noise_under_sound import NoiseUnderSoundMeter, noise_under_sound_dbfs
from gainlib.meters.phrases import Phrase, find_phrases
from gainlib.meters.registry import Measure, Measures, Meters, measure, measure_all, measures
from gainlib.meters.round_trip import RoundTrip, SentSignal, read_round_trip
from gainlib.meters.sentences import Said, say
from gainlib.meters.statistics import (
    GainReduction,
    GainReductionMeter,
    OctaveBands,
    Spectrum,
    gain_reduction,
    octave_bands,
    short_time_spectrum,
)
from gainlib.meters.streaming import StreamMeter
from gainlib.meters.true_peak import TruePeakMeter, curve_between, true_peak_dbtp
from gainlib.meters.windows import (
    MOMENT_SECONDS,
    LevelHistogram,
    WindowMeter,
    active_rms_dbfs,
    level_histogram,
    momentary_levels,
    noise_floor_dbfs,
    noise_in_pauses_dbfs,
    window_powers,
)

__all__ = [
    "CHANNEL_WEIGHTS",
    "DIGITAL_SCALE",
    "MOMENT_SECONDS",
    "PPM_1_SCALE",
    "PPM_2A_SCALE",
    "PPM_2B_SCALE",
    "VU_SCALE",
    "ClippedRuns",
    "ClippedRunsMeter",
    "Deflection",
    "Figures",
    "FlatTopsMeter",
    "GainReduction",
    "GainReductionMeter",
    "Harmonics",
    "Intermodulation",
    "LevelHistogram",
    "LevelMeter",
    "Loudness",
    "LoudnessMeter",
    "Measure",
    "Measures",
    "Meters",
    "NoiseUnderSoundMeter",
    "Null",
    "OctaveBands",
    "Phrase",
    "PpmMeter",
    "RoundTrip",
    "Said",
    "SamplePeakMeter",
    "Scale",
    "SentSignal",
    "Spectrum",
    "StreamMeter",
    "TruePeakMeter",
    "VuMeter",
    "WindowMeter",
    "active_rms_dbfs",
    "clipped_runs",
    "crest_db",
    "curve_between",
    "dc_offset_dbfs",
    "find_phrases",
    "flat_tops",
    "gain_reduction",
    "harmonics",
    "intermodulation",
    "k_weighting",
    "k_weighting_db",
    "level_histogram",
    "loudness",
    "loudness_lufs",
    "loudness_range_lu",
    "measure",
    "measure_all",
    "measures",
    "momentary_levels",
    "momentary_lufs",
    "momentary_max_lufs",
    "noise_floor_dbfs",
    "noise_in_pauses_dbfs",
    "noise_under_sound_dbfs",
    "null",
    "octave_bands",
    "peak_dbfs",
    "ppm",
    "read_round_trip",
    "rms_dbfs",
    "sample_peak_meter",
    "say",
    "short_term_lufs",
    "short_term_max_lufs",
    "short_time_spectrum",
    "tell",
    "thd_n_percent",
    "tone_frequency_hz",
    "true_peak_dbtp",
    "vu",
    "window_powers",
]
