"""What a survey goes by: the level that stems are brought to, the ceilings, and what counts as trouble."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

from gainlib.errors import GainError, suggest
from gainlib.meters import measures
from gainlib.storage.foreign import is_number
from gainlib.surveys.columns import COLUMNS
from gainlib.text import signed

__all__ = ["TARGETS", "Practice", "Tempo"]

TARGETS = {name: column.target for name, column in COLUMNS.items() if column.target is not None}
"""The measures that stems can be brought to one value of, and the value where none is given."""


@dataclass(frozen=True)
class Practice:
    """The assumptions of a survey; every one is printed on the gain sheet, and every one can be set otherwise.

    Trims bring `measure` of each stem to `target`, held back where its true peak would pass `stem_ceiling_dbtp`; the
    main is turned down until the sum's true peak is at most `main_ceiling_dbtp`, or with `main_at_zero` all trims are,
    alike. Noise above `noise_limit_dbfs` after the trims is trouble. `threshold_dbfs` is the compressor
    threshold that is looked at. -18 dBFS is where EBU R 68 puts the alignment tone (*published*) and where many set the
    average of a stem (*common practice*); the ceilings of -6 dBTP and the noise limit are *common practice* as well, no
    standard asks for them.

    >>> Practice(measure="loudness_lufs").value
    -23.0
    """

    measure: str = "active_rms_dbfs"
    target: float | None = None
    stem_ceiling_dbtp: float = -6.0
    main_ceiling_dbtp: float = -6.0
    noise_limit_dbfs: float = -60.0
    threshold_dbfs: float = -20.0
    opposite_correlation: float = -0.5
    imbalance_db: float = 6.0
    dc_limit_dbfs: float = -55.0
    main_at_zero: bool = False

    def __post_init__(self) -> None:
        if self.measure not in TARGETS:
            raise GainError(f"measure is {self.measure!r}; {suggest(str(self.measure), TARGETS)}")
        for field in fields(self)[1:]:
            value = getattr(self, field.name)
            if (value is None and field.name == "target") or field.name == "main_at_zero":
                continue
            if not is_number(value) or not math.isfinite(value):
                raise GainError(f"{field.name} is {value!r}; it must be a finite number.")
            if field.name.endswith(("target", "_dbfs", "_dbtp")) and not -120.0 <= value <= 20.0:
                raise GainError(f"{field.name} is {value!r}; it must be a level from -120 to 20.")
        if not -1.0 <= self.opposite_correlation < 0.0:
            raise GainError(f"opposite_correlation is {self.opposite_correlation!r}; it must be from -1 to below 0.")
        if self.imbalance_db <= 0.0:
            raise GainError(f"imbalance_db is {self.imbalance_db!r}; it must be above 0 dB.")

    @property
    def value(self) -> float:
        """The value that the measure is brought to."""
        return TARGETS[self.measure] if self.target is None else float(self.target)

    @property
    def sentences(self) -> tuple[str, ...]:
        """The assumptions in words."""
        chosen = measures()[self.measure]
        usual = " (common practice: EBU R 68 aligns 0 VU here)" if self.measure == "active_rms_dbfs" and (
            self.value == -18.0
        ) else ""  # fmt: skip
        return (
            f"Each stem is trimmed to {chosen.printed(self.value)} of {self.measure}{usual}: "
            f"{chosen.meaning[0].lower()}{chosen.meaning[1:]}",
            "A trim is held back where the stem's true peak would pass "
            f"{_level(self.stem_ceiling_dbtp, 'dBTP')}{_usual(self.stem_ceiling_dbtp)}.",
            "All trims are lowered alike until the true peak of the sum, with the main at 0 dB, is at most "
            f"{_level(self.main_ceiling_dbtp, 'dBTP')}{_usual(self.main_ceiling_dbtp)}."
            if self.main_at_zero
            else "The main is turned down until the true peak of the sum is at most "
            f"{_level(self.main_ceiling_dbtp, 'dBTP')}{_usual(self.main_ceiling_dbtp)}; it is never turned up.",
            "The sum has every fader at 0 dB: stems added sample by sample from their first samples on, mono stems to "
            "both sides.",
            f"Noise above {_level(self.noise_limit_dbfs, 'dBFS')} after the trims is called trouble (common practice); "
            "the noise floor is the quietest twentieth of what sounds in a stem, told where that is steady, 6 dB "
            "and more below the sound, and fills its bands as noise does; where a stem never rests, noise under its "
            "sound is what stands still in the gaps of its treble. Soft notes and fades are not noise. Mains hum is "
            "what stands at 50 or 60 Hz and multiples all the time.",
            "A drop-out is a wave that tears and goes on after a millisecond or more; a click a sample or a few that "
            "the sound on both sides does not lead to expect. What was crossfaded, filtered or coded afterwards may "
            "hide either, and so may a consonant in speech of 8 kHz.",
            "Flat tops are found where a clipped stem was only turned down or dithered, from two crests of three "
            "samples on, below a higher peak from six on: fewer cannot be told from chance. An equaliser, a capacitor, "
            "a filter or lossy coding after the clip hides them, so none found does not prove that a stem is whole.",
            f"The compressor that is looked at has its threshold at {_level(self.threshold_dbfs, 'dBFS')} and hears "
            "the sample peak and windows of 50 ms.",
            "RMS levels have the AES17 zero: a full-scale sine reads 0 dBFS. Loudness is after ITU-R BS.1770-5, true "
            "peak after its Annex 2, range after EBU Tech 3342.",
        )


def _usual(ceiling_dbtp: float) -> str:
    return " (common practice)" if ceiling_dbtp == -6.0 else ""


def _level(value: float, unit: str) -> str:
    return signed(value, 1, unit)


@dataclass(frozen=True)
class Tempo:
    """A steady tempo, so that places can be told as bar:beat, counted from 1:1 at the file's first sample.

    >>> Tempo(120.0).place(2.5)
    '2:2'
    """

    beats_a_minute: float
    beats_a_bar: int = 4

    def __post_init__(self) -> None:
        tempo: object = self.beats_a_minute
        if not is_number(tempo) or not 1.0 <= tempo <= 1000.0:
            raise GainError(f"the tempo is {tempo!r}; give beats a minute, from 1 to 1000.")
        beats: object = self.beats_a_bar
        if isinstance(beats, bool) or not isinstance(beats, int) or not 1 <= beats <= 64:
            raise GainError(f"a bar has {beats!r} beats; give a whole number from 1 to 64.")

    @property
    def bar_seconds(self) -> float:
        """How long a bar lasts."""
        return 60.0 * self.beats_a_bar / self.beats_a_minute

    def place(self, seconds: float) -> str:
        """The bar and beat of a moment."""
        # A nanosecond of grace, so that a beat that falls on a sample is not told as the one before.
        beat = int((seconds + 1e-9) * self.beats_a_minute / 60.0)
        return f"{beat // self.beats_a_bar + 1}:{beat % self.beats_a_bar + 1}"
