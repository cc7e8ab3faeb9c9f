"""What can be read from a rendering: a measure, what a stage tells, a setting, or the difference of two of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from gainlib.errors import GainError, suggest
from gainlib.exercises.formulas import calculate
from gainlib.exercises.tables import Drawn, LessEntry, ReadingEntry, ValueEntry, fill_in
from gainlib.flow import Rendering, Session
from gainlib.meters import measures
from gainlib.meters.registry import Reader
from gainlib.stages import Choice, Setting, choices_of, settings_of, stage_kinds
from gainlib.stages.base import unit_of
from gainlib.storage.foreign import is_number
from gainlib.text import describe_value, is_gain, printed_number, signed

__all__ = ["MeasuredRendering", "Probe", "Reading", "Renderings", "stage_readings"]

A_LONG_WAY = 1e9

OF_EVERY_STAGE = {"clipped": "", "headroom_db": "dB", "noise_dbfs": "dBFS"}
"""What every stage tells: how often it clipped, what is left to its ceiling, the noise floor that passes it."""
COUNTED = {"clipped": "clipped runs", "clipped_runs": "clipped runs", "flat_tops": "flat tops"}
"""What is counted by a reading that has no unit."""
DIFFERENCES = {"dBFS": "dB", "dBTP": "dB", "dBu": "dB", "LUFS": "LU"}
LEVEL_UNITS = ("dB", "dBFS", "dBTP", "dBu", "LUFS", "LU")


@dataclass(frozen=True)
class Probe:
    """One thing that can be read: exactly one of a measure, a stage's own reading and a setting.

    >>> Probe(measure="peak_dbfs", at="trim").name
    'peak_dbfs'
    """

    measure: str | None = None
    told: str | None = None
    setting: str | None = None
    at: str = ""
    seconds: tuple[float, float] | None = None

    @property
    def name(self) -> str:
        """What it is called."""
        return self.measure or self.told or self.setting or ""

    @property
    def digits(self) -> int | None:
        """How many decimals its value is judged and printed with; None for all of them."""
        if self.measure:
            return measures()[self.measure].digits
        if self.told:
            return 0 if self.told == "clipped" else 2 if self.told.endswith("percent") else 1
        return None

    def unit(self, session: Session) -> str:
        """Its unit."""
        if self.measure:
            return measures()[self.measure].unit
        if self.told:
            return OF_EVERY_STAGE.get(self.told, unit_of(self.told))
        return unit_of_setting(session, self.setting or "")


@dataclass(frozen=True)
class Reading:
    """What is read for one learner, with its bounds as numbers; `less` is taken off.

    Of a switch or a choice the value is its place among `options`.

    >>> Reading(Probe(measure="peak_dbfs", at="trim"), most=-3.0).side(-2.0)
    'high'
    """

    probe: Probe
    less: Probe | None = None
    least: float | None = None
    most: float | None = None
    options: tuple[Any, ...] = ()

    @property
    def digits(self) -> int | None:
        """How many decimals it is judged and printed with."""
        return self.probe.digits if self.probe.digits is not None or not self.less else self.less.digits

    def unit(self, session: Session) -> str:
        """Its unit; two levels differ by decibels."""
        unit = self.probe.unit(session)
        return DIFFERENCES.get(unit, unit) if self.less else unit

    def side(self, value: float) -> str:
        """Where a value lies: "low", "high", or "" within the bounds."""
        if self.least is not None and not value >= self.least:
            return "low"
        return "high" if self.most is not None and not value <= self.most else ""

    def room(self, value: float) -> float:
        """From a value to the nearest bound, negative outside; infinite where there is none that near."""
        low = math.inf if self.least is None else value - self.least
        high = math.inf if self.most is None else self.most - value
        return -math.inf if math.isnan(value) else min(low, high)

    def printed(self, value: float, session: Session, *, bound: bool = False, plus: bool = True) -> str:
        """A value of it as a sentence prints it, with its unit; a gain and a difference have a plus too."""
        if math.isnan(value):
            return "nothing to compare"
        if self.options:
            chosen = self.options[round(value)]
            return {True: "on", False: "off"}[chosen] if isinstance(chosen, bool) else str(chosen)
        unit = self.unit(session)
        plus = plus and (self.less is not None or is_gain(self.probe.setting or ""))
        if self.digits is None or bound:
            return printed_number(value, unit, plus=plus)
        return signed(value, self.digits, unit, plus=plus)

    def wanted(self, session: Session) -> str:
        """The bounds as a sentence prints them."""
        low, high = self.least, self.most
        if self.options:
            return self.printed(low or 0.0, session)
        unit = self.unit(session)
        if low is not None and high is not None:
            if low == high:
                return f"exactly {self.printed(low, session, bound=True)}"
            first = self.printed(low, session, bound=True).removesuffix(unit).strip()
            return f"{first} to {self.printed(high, session, bound=True)}"
        if high is not None:
            return "none" if high == 0 and not unit else f"at most {self.printed(high, session, bound=True)}"
        return f"at least {self.printed(low or 0.0, session, bound=True)}"

    def off(self, value: float, rendering: Rendering) -> str:
        """How far off: to the middle of what is wanted, or to the one bound; a clipped reading tells only the least."""
        if not self.side(value):
            return "nothing"
        low, high = self.least, self.most
        aim = (low + high) / 2 if low is not None and high is not None else high if high is not None else low or 0.0
        if not abs(value - aim) < A_LONG_WAY:  # no number of decibels, seconds or clips helps there; silence is one
            return "a long way"
        unit = self.unit(rendering.session)
        unit = DIFFERENCES.get(unit, unit)
        if not unit:
            return f"{abs(value - aim):.0f}"
        cut = value > aim and _clipped_within(self.probe, rendering)
        return f"{'at least' if cut else 'about'} {math.ceil(round(abs(value - aim) * 10, 6)) / 10:.1f} {unit}"


class MeasuredRendering:
    """Everything that was read from one rendering, each once; what an earlier one read at unchanged taps is kept.

    >>> from gainlib.exercises import load
    >>> read = MeasuredRendering(load("recording/leave-room").variant("ada").session.render())
    >>> read.value(Reading(Probe(setting="trim/gain_db")))
    0.0
    """

    def __init__(self, rendering: Rendering, before: MeasuredRendering | None = None) -> None:
        self.rendering = rendering
        self._known: dict[tuple[Any, ...], float] = {}
        self._readers: dict[tuple[Any, ...], Reader] = {}
        if before is not None:
            taps, earlier = rendering.taps, before.rendering.taps
            same = {tap for tap in taps if tap in earlier and taps[tap] is earlier[tap]}
            self._known = {key: value for key, value in before._known.items() if key[0] in same}

    def value(self, reading: Reading) -> float:
        """What is read, rounded as it is printed: a learner is judged by the figure on the screen."""
        value = self.raw(reading.probe)
        if reading.less is not None:
            value -= self.raw(reading.less)  # not a number where both are silent
        digits = reading.digits
        return value if digits is None or not math.isfinite(value) else round(value, digits)

    def raw(self, probe: Probe) -> float:
        """One thing read, unrounded."""
        session = self.rendering.session
        if probe.setting is not None:
            value = session.setting(probe.setting)
            options = options_of(session, probe.setting)
            return float(options.index(value) if options else value)
        tap = session.tap(probe.at)
        key = (tap, probe.name, probe.seconds)
        if key not in self._known:
            self._known[key] = self._told(probe) if probe.told else self._measured(probe, tap)
        return self._known[key]

    def _told(self, probe: Probe) -> float:
        levels = self.rendering.level(probe.at)
        if probe.told in OF_EVERY_STAGE:
            return float(getattr(levels, probe.told))
        return self.rendering.reading(probe.at, probe.told or "")

    def _measured(self, probe: Probe, tap: tuple[str, str]) -> float:
        measure = measures()[probe.measure or ""]
        levels = self.rendering.taps[tap].levels
        if probe.seconds is None and measure.name in ("peak_dbfs", "rms_dbfs"):
            return float(getattr(levels, measure.name))  # the rendering has read them already
        place = (tap, probe.seconds)
        if place not in self._readers:
            audio = self.rendering.at(probe.at)
            self._readers = {place: Reader(audio.between(*probe.seconds) if probe.seconds else audio)}
        return measure.of_all(measure.read_from(self._readers[place]))


class Renderings:
    """Sessions rendered one after the other, each taking over from the last what did not change.

    >>> from gainlib.exercises import load
    >>> Renderings().read(load("recording/leave-room").variant("ada").session).rendering.last_tap
    'voice/trim'
    """

    def __init__(self) -> None:
        self.last: MeasuredRendering | None = None

    def read(self, session: Session) -> MeasuredRendering:
        """The readings of a session."""
        rendering = session.render(after=self.last.rendering if self.last else None)
        self.last = MeasuredRendering(rendering, self.last)
        return self.last


def stage_readings() -> dict[str, tuple[str, ...]]:
    """What stages tell of themselves, and which stages tell it: the names that `told` may have.

    >>> stage_readings()["gain_reduction_db"]
    ('Compressor', 'Delivery', 'Limiter', 'SoftClip')
    """
    found: dict[str, list[str]] = {name: ["every stage"] for name in OF_EVERY_STAGE}
    for name, kind in stage_kinds().items():
        for told in kind.reading_names:
            found.setdefault(told, []).append(name)
    return {name: tuple(sorted(kinds)) for name, kinds in sorted(found.items())}


# --- from the entries of a file ---


def reading_of(
    entry: ReadingEntry | ValueEntry,
    drawn: Drawn,
    session: Session,
    *,
    at: str = "",
    bound: Callable[[ValueEntry], float] | None = None,
) -> Reading:
    """A file's reading for one learner's drawn values: words put into its paths, its bounds worked out.

    `bound` works out what has to be measured for it; without it such a bound is no number.
    """
    probe = probe_of(entry, drawn, at=at)
    less = None
    if entry.less is not None:
        what = entry.less.model_fields_set & {"measure", "told", "setting"}
        less = probe_of(entry.less, drawn, at=probe.at)
        if not what:
            less = replace(less, measure=probe.measure, told=probe.told)
        if less.seconds is None:
            less = replace(less, seconds=probe.seconds)
        _require_probe(less, session)
    if isinstance(entry, ReadingEntry) and entry.is_ is not None:
        return _chosen(probe, entry, session)
    _require_probe(probe, session)
    bounds = (entry.at_least, entry.at_most) if isinstance(entry, ReadingEntry) else (None, None)
    reading = Reading(probe, less)
    least, most = (None if each is None else _worked_out(each, drawn, bound, reading.digits) for each in bounds)
    if least is not None and most is not None and least > most:
        raise GainError(f"{probe.name} wants at least {least:g} and at most {most:g}; nothing can meet both.")
    return replace(reading, least=least, most=most)


def _worked_out(
    value: ValueEntry, drawn: Drawn, measured: Callable[[ValueEntry], float] | None, digits: int | None
) -> float:
    """A bound as a number, with as many decimals as what it is held against where it is not typed."""
    if not value.plain_amount:
        found = math.nan if measured is None else measured(value)
    else:
        found = value.amount(drawn)
        if value.times == 1.0:
            return found
    return found if digits is None or not math.isfinite(found) else round(found, digits)


def value_of(value: ValueEntry, drawn: Drawn, session: Session, renderings: Renderings) -> float:
    """A number that is typed, follows drawn values, is read from the session, or reckoned from others of these."""
    if value.plain_amount:
        return value.amount(drawn)
    if value.reckon is not None:
        found = calculate(value.reckon, [value_of(each, drawn, session, renderings) for each in value.with_])
    else:
        found = renderings.read(session).value(reading_of(value, drawn, session))
    return found * value.times


def _chosen(probe: Probe, entry: ReadingEntry, session: Session) -> Reading:
    """A reading of a switch or a choice, held against the one way that it must stand."""
    if probe.setting is None or entry.less is not None or entry.at_least is not None or entry.at_most is not None:
        raise GainError("is says how a setting stands; give it with setting alone, and bounds to anything else.")
    options = options_of(session, probe.setting)
    if not options:
        raise GainError(f"{probe.setting} is no switch and no choice; give at_least or at_most instead of is.")
    if not any(entry.is_ == each and isinstance(entry.is_, bool) == isinstance(each, bool) for each in options):
        known = ", ".join(describe_value(each) for each in options)
        raise GainError(f"{probe.setting} is to be {describe_value(entry.is_)}; known are {known}.")
    place = float(options.index(entry.is_))
    return Reading(probe, None, place, place, options)


def probe_of(entry: LessEntry, drawn: Drawn, *, at: str = "") -> Probe:
    words = words_of(drawn)
    return Probe(
        measure=entry.measure,
        told=entry.told,
        setting=fill_in(entry.setting, words) if entry.setting is not None else None,
        at=fill_in(entry.at, words) if entry.at is not None else at if entry.setting is None else "",
        seconds=(entry.seconds[0], entry.seconds[1]) if entry.seconds else None,
    )


def words_of(drawn: Drawn) -> dict[str, str]:
    """The drawn words, which may stand in a path."""
    return {name: value for name, value in drawn.items() if isinstance(value, str)}


def _require_probe(probe: Probe, session: Session) -> None:
    given = [each for each in (probe.measure, probe.told, probe.setting) if each is not None]
    if len(given) != 1:
        held = " and ".join(given) or "neither a measure nor a setting"
        raise GainError(f"a reading names {held}; give exactly one of the two, or told for what a stage tells.")
    if probe.seconds and probe.seconds[0] >= probe.seconds[1]:
        raise GainError(
            f"seconds of {probe.name} runs from {probe.seconds[0]:g} to {probe.seconds[1]:g}; "
            "the start must come before the end."
        )
    if probe.setting is not None:
        if probe.at or probe.seconds:
            raise GainError(f"{probe.setting} is a setting; leave out at and seconds.")
        value = session.setting(probe.setting)
        if not is_number(value):
            switched = bool(options_of(session, probe.setting))
            cure = f"say is = {describe_value(value)}" if switched else "name a setting that is a number"
            raise GainError(f"{probe.setting} is {describe_value(value)}, which has no bounds; {cure}.")
        return
    if probe.measure is not None:
        measures()[probe.measure]
    if not probe.at:
        raise GainError(f"{probe.name} lacks the entry at; name the tap where it is read.")
    part, name = session.tap(probe.at)
    if probe.told is None:
        return
    known = stage_readings()
    if probe.told not in known:
        raise GainError(f"{probe.told!r} is nothing that a stage tells; {suggest(probe.told, known)}")
    if probe.seconds:
        raise GainError(f"{probe.told} is told of the whole recording; leave out seconds, or give a measure.")
    kind = type(session.channel(part).stage(name)).__name__
    if probe.told not in OF_EVERY_STAGE and kind not in known[probe.told]:
        raise GainError(f"{probe.at} tells no {probe.told}; ask one of {', '.join(known[probe.told])}.")


# --- settings, by their path ---


def described_setting(session: Session, path: str) -> Setting | Choice | None:
    """How the stage describes a setting; None for one that no control is meant to move."""
    _, owner, name = session.held(path)
    return settings_of(owner).get(name) or choices_of(owner).get(name)


def options_of(session: Session, path: str) -> tuple[Any, ...]:
    """The ways in which a switch or a choice can stand, in order; none for any other setting."""
    if isinstance(session.setting(path), bool):
        return False, True
    described = described_setting(session, path)
    return described.options if isinstance(described, Choice) else ()


def unit_of_setting(session: Session, path: str) -> str:
    """The unit of a setting that a number moves; empty for any other."""
    described = described_setting(session, path)
    return described.unit if isinstance(described, Setting) else ""


def _clipped_within(probe: Probe, rendering: Rendering) -> bool:
    """Whether a stage up to the tap clipped in the part that was read, so that the true level was higher."""
    if not probe.at:
        return False
    name, tap = rendering.session.tap(probe.at)
    names = rendering.session.channel(name).stage_names
    for stage in names[: names.index(tap) + 1]:
        if rendering.level(f"{name}/{stage}").clipped:
            if probe.seconds is None:
                return True
            at = rendering.clipped(f"{name}/{stage}").start / rendering.at(f"{name}/{stage}").rate_hz
            if bool(((at >= probe.seconds[0]) & (at < probe.seconds[1])).any()):
                return True
    return False
