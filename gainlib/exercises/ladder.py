"""A listening ladder made to sound: three intervals of which one is different, and what a run of them comes to."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.errors import GainError
from gainlib.exercises.given import Start
from gainlib.exercises.readings import Reading, Renderings, reading_of, unit_of_setting, words_of
from gainlib.exercises.staircase import Staircase
from gainlib.exercises.tables import LadderEntry, fill_in
from gainlib.exercises.variant import Variant, begin_session, plain_part
from gainlib.flow import Session
from gainlib.meters.matching import level_heard
from gainlib.text import printed_number, signed

__all__ = ["INTERVALS", "TRIALS", "Heard", "Ladder", "Threshold", "ladder_of", "staircase_of"]

INTERVALS = 3
TRIALS = "trials"
"""What an answer calls its trials: pairs of the interval that was odd and the one that was picked, 1 to 3."""

LEAD_SECONDS, GAP_SECONDS, TAIL_SECONDS = 0.3, 0.4, 0.9
FADE_SECONDS = 0.02
"""Each interval is faded in and out, so that no edge tells it apart (*common practice*)."""


@dataclass(frozen=True)
class Heard:
    """One rung as it is heard: the usual sound and the odd one, both in `(n, channels)`, and how loud each is."""

    usual: NDArray[np.floating[Any]]
    odd: NDArray[np.floating[Any]]
    rate_hz: int
    levels: tuple[float, float]

    @property
    def apart_db(self) -> float:
        """How far below the usual sound the difference of the two lies, in dB; −inf where they are the same."""
        difference, usual = (float(np.sqrt(np.mean(np.square(each)))) for each in (self.odd - self.usual, self.usual))
        return db_from_ratio(difference / usual) if usual > 0.0 else math.inf

    @property
    def peak(self) -> float:
        """The largest sample of both; above 1 it would be cut off on the way to the ear."""
        return float(max(np.abs(self.usual).max(), np.abs(self.odd).max()))


@dataclass(frozen=True)
class Threshold:
    """What a run came to: the size that is heard in 70.7 % of trials, and from where to where it probably lies.

    Two of three runs come as near as `low` to `high`. `beyond` is "finer" or "coarser" where the ladder did not reach;
    `sentences` say it in words, one after the other.
    """

    size: float
    low: float
    high: float
    beyond: str
    sentences: tuple[str, ...]


class Ladder:
    """The ladder of one learner's variant: its rungs measured, its trials as sound, its result in words.

    >>> from gainlib.exercises import load
    >>> ladder = ladder_of(load("hearing/step-in-level").variant("ada"))
    >>> ladder.printed(ladder.sizes[0])
    '6 dB'
    """

    def __init__(self, variant: Variant, entry: LadderEntry) -> None:
        self.variant, self.entry = variant, entry
        self._renderings = (Renderings(), Renderings())
        self._heard: dict[int, Heard] = {}

    @property
    def question(self) -> str:
        """What is asked of the three."""
        return fill_in(self.entry.question, self.variant.printed)

    @property
    def count(self) -> int:
        """How many rungs there are."""
        return len(self.entry.rungs)

    @functools.cached_property
    def _sessions(self) -> tuple[tuple[Session, Session], ...]:
        return tuple(rung_sessions(self.variant, self.entry, value) for value in self.entry.rungs)

    @functools.cached_property
    def _reading(self) -> Reading | None:
        reads = self.entry.reads
        return None if reads is None else reading_of(reads, self.variant.values, self._sessions[0][1])

    @functools.cached_property
    def sizes(self) -> tuple[float, ...]:
        """How large each rung is, the clearest first: what is read of the odd one, else the value that was put."""
        if self._reading is None:
            return tuple(map(float, self.entry.rungs))
        return tuple(self._renderings[1].read(odd).value(self._reading) for _, odd in self._sessions)

    def printed(self, size: float) -> str:
        """A size as a sentence prints it, with its unit."""
        session = self._sessions[0][1]
        if self._reading is None:
            size = _rounded(size)
            unit = "dBFS" if "/signal/" in f"/{self.entry.path}" else unit_of_setting(session, self.entry.path)
            return printed_number(size, unit)
        unit, digits = self._reading.unit(session), self._reading.digits or 0
        if self._reading.probe.told == "clipped":
            return f"{float(f'{size:.2g}'):g}"
        return signed(size, max(digits, 1 if abs(size) < 10 else 0), unit, plus=False)

    def named(self, size: float) -> str:
        """A size with what it is of, as in a sentence: a step of 1.5 dB."""
        return fill_in(self.entry.what, {**self.variant.printed, "size": self.printed(size)})

    def _range(self, one: float, other: float) -> str:
        low, high = self.printed(min(one, other)), self.printed(max(one, other))
        unit = low.partition(" ")[2]
        return f"{low.removesuffix(unit).strip() if unit and high.endswith(unit) else low} to {high}"

    def heard(self, rung: int) -> Heard:
        """The usual sound and the odd one of a rung, brought to one loudness unless level is what is asked."""
        if rung not in self._heard:
            sounds = [
                renderings.read(session).rendering.at(self.variant.listen)
                for renderings, session in zip(self._renderings, self._sessions[rung], strict=True)
            ]
            rate_hz = sounds[0].rate_hz
            count = min(len(each.samples) for each in sounds)
            samples = [np.asarray(each.samples[:count], dtype=np.float64) for each in sounds]
            usual, odd = samples
            apart_db = level_heard(usual, rate_hz).level - level_heard(odd, rate_hz).level
            if self.variant.matched and math.isfinite(apart_db):
                # The odd one comes to the others, so that a run is equally loud from its first trial to its last.
                odd = odd * ratio_from_db(apart_db)
            after = (level_heard(usual, rate_hz).level, level_heard(odd, rate_hz).level)
            self._heard = {rung: Heard(usual, odd, rate_hz, after)}  # one is enough: a learner goes from rung to rung
        return self._heard[rung]

    def trial(self, rung: int, odd: int) -> Audio:
        """Three intervals with a pause between them, the odd one in the place 1, 2 or 3; each is faded in and out."""
        if odd not in range(1, INTERVALS + 1):
            raise GainError(f"odd is {odd!r}; it must be 1, 2 or 3.")
        heard = self.heard(rung)
        channels, rate_hz = heard.usual.shape[1], heard.rate_hz
        fades = _fades(len(heard.usual), rate_hz)[:, None]

        def silence(seconds: float) -> NDArray[np.float64]:
            return np.zeros((round(seconds * rate_hz), channels))

        parts = [silence(LEAD_SECONDS)]
        for place in range(1, INTERVALS + 1):
            parts += [(heard.odd if place == odd else heard.usual) * fades, silence(GAP_SECONDS)]
        return Audio(np.concatenate([*parts[:-1], silence(TAIL_SECONDS)]), rate_hz, "trial")

    def intervals(self, rung: int = 0) -> tuple[tuple[float, float], ...]:
        """When each interval of a trial begins and ends, in seconds."""
        heard = self.heard(rung)
        length = len(heard.usual) / heard.rate_hz
        begins = [LEAD_SECONDS + index * (length + GAP_SECONDS) for index in range(INTERVALS)]
        return tuple((round(begin, 3), round(begin + length, 3)) for begin in begins)

    def size_at(self, rung: float) -> float:
        """The size at a place between two rungs."""
        return float(np.interp(rung, range(self.count), self.sizes))

    def threshold(self, run: Staircase) -> Threshold | None:
        """The result of a run that has ended; None before."""
        found = run.estimate
        if found is None:
            return None
        size = self.size_at(found.rung)
        ends = [self.size_at(found.rung - found.error_rungs), self.size_at(found.rung + found.error_rungs)]
        said = (*self._told(found.beyond, size, *ends), *self._beside_known(found.beyond, size))
        return Threshold(size, min(ends), max(ends), found.beyond, said)

    def _told(self, beyond: str, size: float, clear: float, fine: float) -> Iterable[str]:
        what = self.named(size)
        if beyond == "finer":
            yield f"You hear even {what}, the last rung of this ladder."
        elif beyond == "coarser":
            yield f"You did not find {what}, the first rung; listen to it again in peace, and at another volume."
        else:
            yield f"You just hear {what}: in 71 of 100 trials."
            yield f"Take it as {self._range(fine, clear)}: two of three such runs come that near."

    def _beside_known(self, beyond: str, size: float) -> Iterable[str]:
        """How the result lies beside what others have found."""
        known = self.entry.known
        if known is None:
            return
        rising = self.sizes[-1] > self.sizes[0]  # a larger figure is a finer sound: bits, a noise told as a distance
        clear, fine = (known.low, known.high) if rising else (known.high, known.low)
        finer = size > fine if rising else size < fine
        coarser = size < clear if rising else size > clear
        lies = "finer than" if finer else "coarser than" if coarser else "within"
        if beyond == "coarser":
            lies = "coarser than"
        yield f"That is {lies} what others found, {self._range(known.low, known.high)}."
        if known.say:
            yield fill_in(known.say, self.variant.printed)
        yield f"Source ({known.standing}): {known.source.rstrip('.')}."


def ladder_of(variant: Variant) -> Ladder:
    """The ladder of a variant, made once. Raises GainError for an exercise that has none."""
    entry = variant.exercise.spec.ladder
    if entry is None:
        raise GainError(f"{variant.exercise.name} is of kind {variant.exercise.kind}; only the kind hear has a ladder.")
    if "ladder" not in variant.worked_out:
        variant.worked_out["ladder"] = Ladder(variant, entry)
    made: Ladder = variant.worked_out["ladder"]
    return made


def rung_sessions(variant: Variant, entry: LadderEntry, value: float) -> tuple[Session, Session]:
    """The usual session and the odd one with this value on the rung."""
    spec, layout = variant.exercise.spec, variant.exercise.layout
    start = begin_session(spec, layout, variant.values)
    usual, odd = (Start(start.session, dict(start.signals)) for _ in range(2))
    words = words_of(variant.values)
    for each in (usual, odd) if entry.odd else (odd,):
        each.put(fill_in(entry.path, words), float(value))
    for path, part in entry.odd.items():
        odd.put(fill_in(path, words), plain_part(part, variant.values))
    return layout.heard(usual), layout.heard(odd)


def staircase_of(variant: Variant, trials: object) -> Staircase:
    """The run that these trials are, replayed: pairs of the odd interval and the one that was picked.

    What comes after the end of the run is left out. Raises GainError for anything that is no such row.
    """
    run = Staircase(ladder_of(variant).count)
    wanted = "pairs of the odd interval and the one that was picked, 1 to 3, are wanted"
    if not isinstance(trials, Sequence) or isinstance(trials, str):
        raise GainError(f"the trials cannot be read; {wanted}.")
    for number, each in enumerate(trials):
        pair = list(each) if isinstance(each, Sequence) and not isinstance(each, str) else []
        if len(pair) != 2 or any(isinstance(one, bool) or one not in (1, 2, 3) for one in pair):
            raise GainError(f"trial {number + 1} cannot be read; {wanted}.")
        if run.ended:
            break
        run = run.answered(pair[0] == pair[1])
    return run


@functools.lru_cache(maxsize=4)
def _fades(count: int, rate_hz: int) -> NDArray[np.float64]:
    edge = min(round(FADE_SECONDS * rate_hz), count // 2)
    rise = np.sin(np.linspace(0.0, math.pi / 2, edge)) ** 2
    return np.concatenate([rise, np.ones(count - 2 * edge), rise[::-1]])


def _rounded(size: float) -> float:
    """A size between two rungs, to two figures."""
    return float(f"{size:.2g}") if abs(size) < 10 else round(size, 0 if abs(size) >= 100 else 1)
