from .audio import Audio as Audio
from .audio import tone as tone
from .benches import Control as Control
from .benches.survey_on_bench import survey as survey
from .benches.written_exercise import write_exercise as write_exercise
from .connection import (
    cable_treble_db as cable_treble_db,
)
from .connection import (
    cascade_noise_figure_db as cascade_noise_figure_db,
)
from .connection import (
    converter_noise_dbfs as converter_noise_dbfs,
)
from .connection import (
    input_noise_dbu as input_noise_dbu,
)
from .connection import (
    loading_db as loading_db,
)
from .connection import (
    microphone_dbu as microphone_dbu,
)
from .connection import (
    noise_figure_db as noise_figure_db,
)
from .connection import (
    thermal_noise_dbu as thermal_noise_dbu,
)
from .decibels import (
    db_from_power as db_from_power,
)
from .decibels import (
    db_from_ratio as db_from_ratio,
)
from .decibels import (
    dbu_from_dbv as dbu_from_dbv,
)
from .decibels import (
    dbu_from_volts as dbu_from_volts,
)
from .decibels import (
    dbv_from_dbu as dbv_from_dbu,
)
from .decibels import (
    dbv_from_volts as dbv_from_volts,
)
from .decibels import (
    power_from_db as power_from_db,
)
from .decibels import (
    ratio_from_db as ratio_from_db,
)
from .decibels import (
    sum_db as sum_db,
)
from .decibels import (
    volts_from_dbu as volts_from_dbu,
)
from .decibels import (
    volts_from_dbv as volts_from_dbv,
)
from .errors import GainError as GainError
from .flow import Bus as Bus
from .flow import FaderGroup as FaderGroup
from .flow import Rendering as Rendering
from .flow import Send as Send
from .flow import Session as Session
from .flow import Strip as Strip
from .learners.contents import contents as contents
from .learners.media_choice import takes as takes
from .meters import measure as measure
from .meters import measures as measures
from .meters import say as say
from .meters import tell as tell
from .notebook import (
    bench as bench,
)
from .notebook import (
    compare as compare,
)
from .notebook import (
    ear as ear,
)
from .notebook import (
    exercise as exercise,
)
from .notebook import (
    exercise_book as exercise_book,
)
from .notebook import (
    hand_in as hand_in,
)
from .notebook import (
    join_class as join_class,
)
from .notebook import (
    learner as learner,
)
from .notebook import (
    measure_chain as measure_chain,
)
from .notebook import (
    predict as predict,
)
from .notebook import (
    record as record,
)
from .sound_file import read as read
from .sound_file import write as write
from .stages import (
    Cable as Cable,
)
from .stages import (
    ClipGain as ClipGain,
)
from .stages import (
    Compressor as Compressor,
)
from .stages import (
    Converter as Converter,
)
from .stages import (
    Delay as Delay,
)
from .stages import (
    Delivery as Delivery,
)
from .stages import (
    Fader as Fader,
)
from .stages import (
    KWeighting as KWeighting,
)
from .stages import (
    Limiter as Limiter,
)
from .stages import (
    OutboardInsert as OutboardInsert,
)
from .stages import (
    Pan as Pan,
)
from .stages import (
    Polarity as Polarity,
)
from .stages import (
    Preamp as Preamp,
)
from .stages import (
    Ride as Ride,
)
from .stages import (
    Saturation as Saturation,
)
from .stages import (
    SoftClip as SoftClip,
)
from .stages import (
    Source as Source,
)
from .stages import (
    StoredFile as StoredFile,
)
from .stages import (
    Trim as Trim,
)
from .stages import (
    codec_overshoot as codec_overshoot,
)
from .stages import (
    deliver as deliver,
)
from .stages import (
    proposed_ride as proposed_ride,
)
from .views import Aim as Aim
from .views import CloseUp as CloseUp
from .views import LoudnessOverTime as LoudnessOverTime
from .views import Waveform as Waveform

__version__: str
