"""The session that a file gives: takes or made signals, strips, buses and the main, and the settings put into it."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from gainlib.audio import Audio
from gainlib.decibels import AES17_ZERO_RMS, ratio_from_db
from gainlib.errors import GainError, suggest
from gainlib.exercises.readings import setting_path
from gainlib.exercises.tables import BusEntry, Given, SignalEntry, StripEntry, number_in_quotes
from gainlib.flow import Bus, Send, Session, Strip
from gainlib.flow.session import MAIN
from gainlib.sound_file import read
from gainlib.stages import Stage, stage_kinds
from gainlib.storage import bundled_folder
from gainlib.text import describe_value

__all__ = ["Layout", "Places", "Told"]

LARGEST_TAKE_BYTES = 200 * 1024 * 1024
MOST_SECONDS = 1800.0
RATE_HZ = 48_000
NOISE_SEED = 5
SIGNAL = "signal"
Places = tuple[str | int, ...]
"""Where an entry stands in a file, such as `("checks", 0, "reads")`."""
Told = tuple[Places, str]


@dataclass(frozen=True)
class _Plan:
    """One strip as the file gives it, its recording not read yet."""

    name: str
    file: Path | None
    signal: SignalEntry | None
    stages: tuple[Stage, ...]
    to: str
    sends: tuple[Send, ...]


@dataclass(frozen=True, eq=False)
class Layout:
    """Strips and buses of a file with their recordings; `start()` is a session whose settings can be put.

    Paths and stages were checked when it was made; the recordings are read when they are first asked for.
    """

    plans: tuple[_Plan, ...]
    buses: tuple[Bus, ...]
    main: Bus | None
    between: tuple[float, float] | None = None

    def start(self) -> Start:
        """The session as the file gives it, over silence, to put settings into."""
        signals = {plan.name: plan.signal for plan in self.plans if plan.signal}
        return Start(self._session({plan.name: _SILENCE for plan in self.plans}), signals)

    def heard(self, start: Start) -> Session:
        """The session with its recordings."""
        session, takes = start.session, {**self.takes}
        takes |= {name: made_signal(signal) for name, signal in start.signals.items()}
        strips = tuple(dataclasses.replace(each, take=takes[each.name]) for each in session.strips)
        return Session(strips, session.buses, session.main)

    @functools.cached_property
    def takes(self) -> dict[str, Audio]:
        """The recordings by strip, cut to what the file wants of them; made signals are not among them."""
        files = {plan.file for plan in self.plans if plan.file}
        recordings = {file: read(file, most_seconds=MOST_SECONDS) for file in files}
        found = {plan.name: self._cut(recordings[plan.file], plan.name) for plan in self.plans if plan.file}
        seconds = sum(each.seconds for each in found.values())
        if seconds > MOST_SECONDS:
            raise GainError(
                f"the takes last {seconds:g} s together; at most {MOST_SECONDS:g} s are rendered. Cut them by between."
            )
        return found

    @property
    def seconds(self) -> float:
        """How many seconds of recordings and signals one rendering has to pass."""
        return sum(self.made_seconds) + sum(each.seconds for each in self.takes.values())

    @property
    def made_seconds(self) -> list[float]:
        """How long each made signal lasts."""
        return [plan.signal.seconds for plan in self.plans if plan.signal]

    def _session(self, takes: dict[str, Audio]) -> Session:
        strips = tuple(
            Strip(plan.name, takes[plan.name], plan.stages, to=plan.to, sends=plan.sends) for plan in self.plans
        )
        return Session(strips, self.buses, self.main)

    def _cut(self, take: Audio, name: str) -> Audio:
        if self.between is None:
            return take
        try:
            return take.between(*self.between)
        except GainError as fault:
            raise GainError(f"between of given does not fit strip {name!r}: {fault}") from fault


_SILENCE = Audio(np.zeros(480), RATE_HZ)  # paths need a session, and a session a take; the real ones are long


@dataclass
class Start:
    """A session over silence while settings are put into it, those of made signals among them."""

    session: Session
    signals: dict[str, SignalEntry]

    def full_path(self, path: str) -> str:
        """A path with its strip, so that one setting has one name; GainError for one that is not there."""
        name, field = self._signal_setting(path)
        return f"{name}/{SIGNAL}/{field}" if field else setting_path(self.session, path)

    def value(self, path: str) -> Any:
        """What a setting is."""
        name, field = self._signal_setting(path)
        return getattr(self.signals[name], field) if field else self.session.setting(path)

    def put(self, path: str, value: Any) -> None:
        """Put a setting; GainError where it cannot be."""
        name, field = self._signal_setting(path)
        if not field:
            if isinstance(value, float) and value.is_integer() and type(self.session.setting(path)) is int:
                value = int(value)  # a number of bits is whole
            self.session = self.session.replaced({path: value})
            return
        try:
            self.signals[name] = SignalEntry.model_validate({**self.signals[name].model_dump(), field: value})
        except ValueError as fault:
            raise GainError(f"{path} is {describe_value(value)}, which no made signal can have.") from fault

    def _signal_setting(self, path: str) -> tuple[str, str]:
        """Strip and field of a made signal's number; empty texts for any other path."""
        parts = path.split("/")
        if len(parts) == 2 and parts[0] == SIGNAL and len(self.session.strips) == 1:
            parts = [self.session.strips[0].name, *parts]
        if len(parts) != 3 or parts[1] != SIGNAL or parts[0] not in self.signals:
            return "", ""
        known = ("level_dbfs", "frequency_hz")
        if parts[2] not in known:
            raise GainError(f"the signal has no number {parts[2]!r}; {suggest(parts[2], known)}")
        return parts[0], parts[2]


@functools.lru_cache(maxsize=4)
def _wave(wave: str, frequency_hz: float, seconds: float) -> Any:
    """A made signal at full scale: peak 1.0, the noise at the RMS of a full-scale sine."""
    count = round(seconds * RATE_HZ)
    at = np.arange(count) / RATE_HZ
    if wave == "noise":
        noise = np.random.default_rng(NOISE_SEED).standard_normal(count)
        return noise * (AES17_ZERO_RMS / np.sqrt(np.mean(np.square(noise))))
    sine = np.sin(2 * np.pi * frequency_hz * at)
    if wave == "square":
        return np.where(sine < 0, -1.0, 1.0)
    return np.where(at % 0.5 < 0.05, sine, 0.0) if wave == "burst" else sine


@functools.lru_cache(maxsize=8)
def made_signal(signal: SignalEntry) -> Audio:
    """The samples of a made signal, 48 kHz, mono.

    >>> made_signal(SignalEntry(wave="sine", level_dbfs=-6.0, seconds=1.0)).seconds
    1.0
    """
    samples = _wave(signal.wave, signal.frequency_hz, signal.seconds) * ratio_from_db(signal.level_dbfs)
    return Audio(samples, RATE_HZ, signal.wave)


def laid_out(given: Given, file: Path, found: list[Told]) -> Layout | None:
    """The layout of these entries; what is wrong with them is added to `found`, each with its place."""
    faults = len(found)
    one = not given.strips
    own = ("take", "signal", "strip", "stages")
    if not one:
        for name in own:
            if name in given.model_fields_set:
                found.append((("given", name), f"{name} of given is for one strip; it belongs into given.strips."))
    elif not given.stages:
        found.append((("given",), "given lacks stages; give the stages that the take passes, or strips."))
    if len(found) > faults:
        return None
    entries = given.strips
    if one:
        named = given.strip or "take"
        entries = [StripEntry(name=named, take=given.take, signal=given.signal, stages=given.stages)]
    plans, buses = [], []
    for index, entry in enumerate(entries):
        place: Places = ("given",) if one else ("given", "strips", index)
        plans.append(_plan(entry, place, file, found))
    for index, bus in enumerate(given.buses):
        buses.append(_bus(bus, ("given", "buses", index), found))
    if given.between and given.between[0] >= given.between[1]:
        found.append((("given", "between"), "between of given ends before it starts; give the start first."))
    main = next((bus for bus in buses if bus.name == MAIN), None)
    if main is None and (buses or len(plans) > 1 or any(plan.to != MAIN or plan.sends for plan in plans)):
        main = Bus(MAIN)
    others = tuple(bus for bus in buses if bus.name != MAIN)
    layout = Layout(tuple(plans), others, main, (given.between[0], given.between[1]) if given.between else None)
    if any(len(made.stages) != len(entry.stages) for made, entry in zip(plans, entries, strict=True)):
        return None
    try:
        # Looked at even where one stage is at fault, so that what names the others is looked at as well.
        layout.start()
    except GainError as fault:
        found += [(("given", "stages" if one else "strips"), said) for said in str(fault).split("\n")]
        return None
    return layout


@contextlib.contextmanager
def noted(found: list[Told], place: Places) -> Iterator[None]:
    """Note a fault with its place in the file, so that the next one is looked for as well."""
    try:
        yield
    except GainError as fault:
        found.append((place, str(fault)))


def _plan(entry: StripEntry, place: Places, file: Path, found: list[Told]) -> _Plan:
    take_file: Path | None = None
    if (entry.take is None) == (entry.signal is None):
        what = "both a take and a signal" if entry.take else "neither a take nor a signal"
        found.append((place, f"strip {entry.name!r} has {what}; give one of them."))
    elif entry.take is not None:
        with noted(found, (*place, "take")):
            take_file = _take_file(entry.take, file)
    stages = _stages(entry.stages, place, f"strip {entry.name!r}" if len(place) > 1 else "given", found)
    sends = _sends(entry, place, found)
    return _Plan(entry.name, take_file, entry.signal, stages, entry.to or MAIN, sends)


def _bus(entry: BusEntry, place: Places, found: list[Told]) -> Bus:
    stages = _stages(entry.stages, place, f"bus {entry.name!r}", found)
    with noted(found, place):
        if entry.name == MAIN and entry.to is not None:
            raise GainError("the main is the end of all routes; leave its entry to out.")
        return Bus(entry.name, stages, to=entry.to or MAIN, sends=_sends(entry, place, found))
    return Bus(entry.name)


def _sends(entry: StripEntry | BusEntry, place: Places, found: list[Told]) -> tuple[Send, ...]:
    made = []
    for index, send in enumerate(entry.sends):
        with noted(found, (*place, "sends", index)):
            made.append(Send(send.to, send.gain_db, send.pre_fader))
    return tuple(made)


def _stages(rows: list[dict[str, Any]], place: Places, what: str, found: list[Told]) -> tuple[Stage, ...]:
    made = []
    for index, row in enumerate(rows):
        with noted(found, (*place, "stages", index)):
            made.append(_stage(dict(row), index, what))
            continue
        with contextlib.suppress(GainError):  # one as it comes, so that what names it is looked at as well
            made.append(_stage({key: row[key] for key in ("stage", "name") if key in row}, index, what))
    return tuple(made)


def _stage(entry: dict[str, Any], index: int, what: str) -> Stage:
    kinds = stage_kinds()
    kind = entry.pop("stage", None)
    if kind is None:
        raise GainError(f"stage {index + 1} of {what} lacks the entry stage; give its kind, such as 'Trim'.")
    if not isinstance(kind, str) or kind not in kinds:
        raise GainError(f"stage {index + 1} of {what} is {describe_value(kind)}; {suggest(str(kind)[:80], kinds)}")
    fields = {field.name: field for field in dataclasses.fields(kinds[kind])}
    for setting, value in entry.items():
        if setting not in fields:
            raise GainError(f"the {kind.lower()} of {what} has no setting {setting!r}; {suggest(setting[:80], fields)}")
        rows = setting in ("points", "ride", "regions") and isinstance(value, list)
        if not isinstance(value, str | int | float) and not rows:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; give one number or one text.")
        if isinstance(value, str) and (todo := number_in_quotes(value)) and "label" in fields[setting].metadata:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; {todo}")
        if rows and len(value) > 200:
            raise GainError(f"{setting} of the {kind.lower()} holds {len(value)} rows; give at most 200.")
        if isinstance(value, int) and abs(value) > 10**12:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; no stage can have that.")
    try:
        return kinds[kind](**entry)
    except (TypeError, OverflowError) as fault:
        raise GainError(f"the {kind.lower()} of {what} cannot be made: {fault}.") from fault


def _take_file(take: str, file: Path) -> Path:
    """Where the take is: `media/...` in the course's media, anything else beside the exercise file."""
    parts = take.split("/")
    if "\\" in take or ":" in take or take.startswith("/") or any(part in ("", ".", "..") for part in parts):
        raise GainError(f"take is {take!r}; name a file under media/ or beside the exercise, without .. or a drive.")
    home = bundled_folder("media") if parts[0] == "media" else file.parent
    found = home.joinpath(*parts[1:] if parts[0] == "media" else parts)
    try:
        if not found.resolve().is_relative_to(home.resolve()):
            raise GainError(f"take is {take!r}, a link that leads out of {home.name}; copy the recording there.")
        if not found.is_file():
            there = sorted(each.name for each in home.glob("*.flac"))
            raise GainError(f"take is {take!r}, which is not there; {suggest(found.name, there)}")
        size = found.stat().st_size
    except (OSError, ValueError, RuntimeError) as fault:
        if isinstance(fault, GainError):
            raise
        raise GainError(f"take is {describe_value(take)}, which is no file name; name a recording.") from fault
    if size > LARGEST_TAKE_BYTES:
        raise GainError(f"take is {take!r} of {size // 1024**2} MB; at most 200 MB are read.")
    return found
