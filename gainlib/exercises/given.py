"""The session that a file gives: takes or made signals, strips, buses and the main, and the settings put into it."""

from __future__ import annotations

import dataclasses
import functools
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.exercises.tables import MOST_POINTS, Given
from gainlib.flow import Session
from gainlib.flow.made_signal import SILENCE
from gainlib.flow.needs import Extent, require_room
from gainlib.flow.session_table import SessionPlan, SignalEntry, StageRows, StripEntry, plan_session
from gainlib.sound_file import read
from gainlib.storage.entry_faults import Fault, Place
from gainlib.text import describe_value

__all__ = ["Layout", "Start", "laid_out"]

LARGEST_TAKE_BYTES = 200 * 1024 * 1024
SIGNAL = "signal"


@dataclass(frozen=True, eq=False)
class Layout:
    """Strips and buses of a file with their recordings; `start()` is a session whose settings can be put.

    Paths, stages and the recordings' headers were checked when it was made; `extents` is how much of each is read. The
    recordings themselves are read when they are first asked for.
    """

    plan: SessionPlan
    extents: dict[str, Extent]
    between: tuple[float, float] | None = None

    def start(self) -> Start:
        """The session as the file gives it, over silence, to put settings into."""
        signals = {plan.name: plan.signal for plan in self.plan.strips if plan.signal}
        return Start(Session(*self.plan.with_takes({plan.name: SILENCE for plan in self.plan.strips})), signals)

    def heard(self, start: Start) -> Session:
        """The session with its recordings."""
        session, takes = start.session, {**self.takes}
        takes |= {name: signal.make() for name, signal in start.signals.items()}
        strips = tuple(dataclasses.replace(each, take=takes[each.name]) for each in session.strips)
        return Session(strips, session.buses, session.main, session.groups)

    @functools.cached_property
    def takes(self) -> dict[str, Audio]:
        """The recordings by strip, cut to what the file wants of them; made signals are not among them."""
        files = {plan.file for plan in self.plan.strips if plan.file}
        recordings = {file: read(file, seconds=self.between) for file in files}
        return {plan.name: recordings[plan.file] for plan in self.plan.strips if plan.file}

    def require_room(self, *, renderings: int, copies: float) -> None:
        """Refuse what would need too much memory to be rendered so often and measured with so many copies."""
        if len(self.extents) < len(self.plan.strips):
            return  # a take that cannot be read is told already
        channels = self.start().session.channels
        # The files are a stranger's, and thirty learners open them: how large they are on disk allows them nothing.
        extents = {name: dataclasses.replace(each, on_disk=0.0) for name, each in self.extents.items()}
        files = any(plan.file for plan in self.plan.strips)
        shorter = "cut the take with between" if files else "make its signals shorter"
        then = f"{shorter}, or use fewer strips and stages"
        require_room(channels, extents, "this exercise", then, renderings=renderings, copies=copies)

    @property
    def made_seconds(self) -> list[float]:
        """How long each made signal lasts."""
        return [plan.signal.seconds for plan in self.plan.strips if plan.signal]


@dataclass
class Start:
    """A session over silence while settings are put into it, those of made signals among them."""

    session: Session
    signals: dict[str, SignalEntry]

    def full_path(self, path: str) -> str:
        """A path with its strip, so that one setting has one name; GainError for one that is not there."""
        name, field = self._signal_setting(path)
        return f"{name}/{SIGNAL}/{field}" if field else self.session.full_path(path)

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


def laid_out(given: Given, file: Path, found: list[Fault]) -> Layout | None:
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
    place: Place = ("given",)
    plan = plan_session(entries, given.buses, file.parent, found, place, alone=one, groups=given.groups)
    for index, (entry, strip) in enumerate(zip(entries, plan.strips, strict=True)):
        at = place if one else (*place, "strips", index)
        if strip.file is not None and (size := strip.file.stat().st_size) > LARGEST_TAKE_BYTES:
            megabytes = size // 1024**2
            found.append(((*at, "take"), f"take is {entry.take!r} of {megabytes} MB; at most 200 MB are read."))
        found += _long_rows(entry.stages, at)
    for index, bus in enumerate(given.buses):
        found += _long_rows(bus.stages, (*place, "buses", index))
    if given.between and given.between[0] >= given.between[1]:
        found.append((("given", "between"), "between of given ends before it starts; give the start first."))
        given = given.model_copy(update={"between": None})
    between = (given.between[0], given.between[1]) if given.between else None
    places = [place if one else (*place, "strips", index) for index in range(len(entries))]
    layout = Layout(plan, plan.extents(found, places, between=between), between)
    if any(len(made.stages) != len(entry.stages) for made, entry in zip(plan.strips, entries, strict=True)):
        return None
    try:
        # Looked at even where one stage is at fault, so that what names the others is looked at as well.
        layout.start()
    except GainError as fault:
        found += [(("given", "stages" if one else "strips"), said) for said in str(fault).split("\n")]
        return None
    return layout


def _long_rows(stages: StageRows, place: Place) -> list[Fault]:
    """Rides and regions that hold more than an exercise may."""
    return [
        (
            (*place, "stages", index),
            f"{setting} of the {str(row.get('stage')).lower()} holds {len(value)} rows; give at most {MOST_POINTS}.",
        )
        for index, row in enumerate(stages)
        for setting, value in row.items()
        if isinstance(value, list) and len(value) > MOST_POINTS
    ]
