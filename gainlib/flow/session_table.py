"""A session as tables of a TOML file, read and written: the one text form of strips, buses, sends and stages.

Session files, exercise files and the text that a bench copies have it; what one of them holds can be pasted into
another:

    strips = [
      { name = "voice", take = "lead-voice.flac", to = "band", stages = [
        { stage = "Trim", gain_db = -3.0 },
      ], sends = [
        { to = "hall", gain_db = -12.0, pre_fader = false },
      ] },
    ]
    buses = [ { name = "band" }, { name = "hall" }, { name = "main", stages = [ { stage = "Limiter" } ] } ]

    groups = [ { name = "all", members = ["voice"], gain_db = -3.0 } ]

A stage is named as its class is, and its settings as the class has them. The bus named main is the last; several
strips go there unless they say otherwise, or stand side by side where all of them go to "", that is nowhere. A take
lies below the file's folder, or among the course's own: `media/…`. In place of a take a strip may have a made signal.
"""

from __future__ import annotations

import contextlib
import dataclasses
import itertools
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

import numpy as np
from pydantic import Field, StringConstraints, ValidationError

from gainlib.audio import Audio, part_frames
from gainlib.decibels import ALIGNMENTS, Alignment
from gainlib.errors import GainError, closest, suggest
from gainlib.flow.channels import MAIN, Bus, FaderGroup, Send, Strip
from gainlib.flow.made_signal import RATE_HZ, SILENCE, made_signal
from gainlib.flow.needs import Extent, require_room
from gainlib.flow.routes import all_in_order, find_faults, find_group_faults
from gainlib.sound_file import SoundFile, read, sounds_in, write
from gainlib.stages import Stage, stage_kinds
from gainlib.storage import atomic_write, bundled, bundled_folder, given_path, toml_value
from gainlib.storage.entry_faults import Entry, Fault, Place, collecting, describe_fault, number_in_quotes
from gainlib.storage.foreign import read_toml
from gainlib.text import describe_value, listed, printable

__all__ = [
    "BusEntry", "Channels", "GroupEntry", "SessionEntry", "SessionPlan", "SignalEntry", "StageRows", "StripEntry",
    "StripPlan", "plan_session", "read_session", "session_text", "write_session",
]  # fmt: skip

LARGEST_SESSION_BYTES = 4 * 1024 * 1024
LARGEST_WHOLE = 10**12
LONGEST_NAME = 60
OLD_FORM = (
    '{name} is in an older form; write take for stem, stage = "StoredFile" for kind = "stored file", '
    "the main as the bus named main, and leave version out."
)

Channels = tuple[tuple[Strip, ...], tuple[Bus, ...], Bus | None, tuple[FaderGroup, ...]]
"""What a session is made of: strips, buses, main, groups."""

Name = Annotated[str, StringConstraints(min_length=1, max_length=200)]
StageRows = Annotated[list[dict[str, Any]], Field(max_length=64)]


# --- what a file may hold ---


class SignalEntry(Entry):
    """A made signal in place of a take, 48 kHz, mono."""

    wave: Literal["sine", "square", "noise", "burst"]
    frequency_hz: Annotated[float, Field(ge=10, le=20_000, allow_inf_nan=False)] = 997.0
    level_dbfs: Annotated[float, Field(ge=-140, le=0, allow_inf_nan=False)] = -20.0
    seconds: Annotated[float, Field(ge=0.1, le=60, allow_inf_nan=False)] = 3.0

    def make(self) -> Audio:
        """The signal itself."""
        return made_signal(self.wave, self.frequency_hz, self.level_dbfs, self.seconds)


class SendEntry(Entry):
    """A copy of a strip's or a bus's signal to another bus."""

    to: Name
    gain_db: float = 0.0
    pre_fader: bool = False


Sends = Annotated[list[SendEntry], Field(max_length=64)]


class StripEntry(Entry):
    """One strip of a session: its take or made signal, its stages, and where it goes."""

    name: Name
    take: Name | None = None
    signal: SignalEntry | None = None
    stages: StageRows = Field(min_length=1)
    to: Annotated[str, StringConstraints(max_length=200)] | None = None
    sends: Sends = Field(default_factory=list)


class BusEntry(Entry):
    """One bus of a session; the one named main is the last."""

    name: Name
    stages: StageRows = Field(default_factory=list)
    to: Annotated[str, StringConstraints(max_length=200)] | None = None
    sends: Sends = Field(default_factory=list)


class GroupEntry(Entry):
    """A fader that moves the faders of strips or buses."""

    name: Name
    members: Annotated[list[Name], Field(min_length=1, max_length=64)]
    gain_db: float = 0.0


class SessionEntry(Entry):
    """What a session file holds."""

    file_kind: ClassVar[str] = "session"

    strips: list[StripEntry] = Field(min_length=1)
    buses: list[BusEntry] = Field(default_factory=list)
    groups: list[GroupEntry] = Field(default_factory=list)


# --- from tables to a session ---


@dataclass(frozen=True)
class StripPlan:
    """One strip as a file gives it, its recording not read yet."""

    name: str
    file: Path | None
    signal: SignalEntry | None
    stages: tuple[Stage, ...]
    to: str
    sends: tuple[Send, ...]


@dataclass(frozen=True)
class SessionPlan:
    """The strips and buses of a file, their recordings not read yet."""

    strips: tuple[StripPlan, ...]
    buses: tuple[Bus, ...]
    main: Bus | None
    groups: tuple[FaderGroup, ...] = ()

    def with_takes(self, takes: Mapping[str, Audio]) -> Channels:
        """What a session is made of, each strip's take put in."""
        strips = tuple(
            Strip(plan.name, takes[plan.name], plan.stages, to=plan.to, sends=plan.sends) for plan in self.strips
        )
        return strips, self.buses, self.main, self.groups

    def extents(
        self, found: list[Fault], places: Sequence[Place], *, between: tuple[float, float] | None = None
    ) -> dict[str, Extent]:
        """How much of each strip's take there is, as the headers tell; what is wrong is added to `found`.

        `places` are those of the strips, `between` the part in seconds that is read of each file.
        """
        known: dict[str, Extent] = {}
        for plan, place in zip(self.strips, places, strict=True):
            if plan.signal is not None:
                frames = round(plan.signal.seconds * RATE_HZ)
                known[plan.name] = Extent(frames, 1, 8 * frames, plan.name)
            elif plan.file is not None:
                with collecting(found, (*place, "take")), SoundFile(plan.file) as recording:
                    frames = recording.frames
                    if between is not None:
                        frames = _frames_between(between, recording, plan.name)
                    size = plan.file.stat().st_size
                    known[plan.name] = Extent(frames, recording.channels, recording.bytes_for(frames), plan.file, size)
        return known


def _frames_between(between: tuple[float, float], recording: SoundFile, name: str) -> int:
    try:
        start, end = part_frames(*between, recording.frames, recording.rate_hz)
    except GainError as fault:
        raise GainError(f"between of given does not fit strip {name!r}: {fault}") from fault
    return end - start


def plan_session(
    strips: Sequence[StripEntry],
    buses: Sequence[BusEntry],
    folder: Path,
    found: list[Fault],
    place: Place = (),
    *,
    alone: bool = False,
    groups: Sequence[GroupEntry] = (),
) -> SessionPlan:
    """The plan of these entries; what is wrong with them is added to `found`, each with its place.

    A stage that is at fault is left out, or stands in as it comes, so that what names it is looked at as well.
    `folder` is where takes lie, `place` where `strips` and `buses` stand; with `alone`, the entries of the only strip
    stand there themselves.
    """
    plans = []
    for index, entry in enumerate(strips):
        plans.append(_plan_strip(entry, place if alone else (*place, "strips", index), folder, found, alone))
    made = [_make_bus(entry, (*place, "buses", index), found) for index, entry in enumerate(buses)]
    main = next((bus for bus in made if bus.name == MAIN), None)
    if not buses and all(plan.to == "" for plan in plans):
        plans = [dataclasses.replace(plan, to=MAIN) for plan in plans]
    elif main is None and (buses or len(plans) > 1 or any(plan.to != MAIN or plan.sends for plan in plans)):
        main = Bus(MAIN)
    moved = []
    for index, each in enumerate(groups):
        with collecting(found, (*place, "groups", index)):
            moved.append(FaderGroup(each.name, tuple(each.members), each.gain_db))
    return SessionPlan(tuple(plans), tuple(bus for bus in made if bus.name != MAIN), main, tuple(moved))


def _plan_strip(entry: StripEntry, place: Place, folder: Path, found: list[Fault], alone: bool) -> StripPlan:
    what = f"strip {entry.name!r}"
    take_file: Path | None = None
    if (entry.take is None) == (entry.signal is None):
        held = "both a take and a signal" if entry.take else "neither a take nor a signal"
        found.append((place, f"{what} has {held}; give one of them."))
    elif entry.take is not None:
        with collecting(found, (*place, "take")):
            take_file = find_take(entry.take, folder)
    stages = _make_stages(entry.stages, place, str(place[-1]) if alone else what, found)
    sends = _make_sends(entry, place, found)
    return StripPlan(entry.name, take_file, entry.signal, stages, MAIN if entry.to is None else entry.to, sends)


def _make_bus(entry: BusEntry, place: Place, found: list[Fault]) -> Bus:
    stages = _make_stages(entry.stages, place, f"bus {entry.name!r}", found)
    with collecting(found, place):
        if entry.name == MAIN and entry.to is not None:
            raise GainError("the main is the end of all routes; leave its entry to out.")
        return Bus(
            entry.name, stages, to=MAIN if entry.to is None else entry.to, sends=_make_sends(entry, place, found)
        )
    return Bus(entry.name)


def _make_sends(entry: StripEntry | BusEntry, place: Place, found: list[Fault]) -> tuple[Send, ...]:
    made = []
    for index, send in enumerate(entry.sends):
        with collecting(found, (*place, "sends", index)):
            made.append(Send(send.to, send.gain_db, send.pre_fader))
    return tuple(made)


def _make_stages(rows: StageRows, place: Place, what: str, found: list[Fault]) -> tuple[Stage, ...]:
    made = []
    for index, row in enumerate(rows):
        with collecting(found, (*place, "stages", index)):
            made.append(_make_stage(dict(row), index, what))
            continue
        with contextlib.suppress(GainError):
            made.append(_make_stage({key: row[key] for key in ("stage", "name") if key in row}, index, what))
    return tuple(made)


def _make_stage(entry: dict[str, Any], index: int, what: str) -> Stage:
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
        rows = isinstance(fields[setting].default, tuple) and isinstance(value, list)
        if not isinstance(value, str | int | float) and not rows:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; give one number or one text.")
        if isinstance(value, str) and (todo := number_in_quotes(value)) and "label" in fields[setting].metadata:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; {todo}")
        if isinstance(value, int) and abs(value) > LARGEST_WHOLE:
            raise GainError(f"{setting} of the {kind.lower()} is {describe_value(value)}; no stage can have that.")
    try:
        return kinds[kind](**entry)
    except (TypeError, OverflowError) as fault:
        raise GainError(f"the {kind.lower()} of {what} cannot be made: {fault}.") from fault


def find_take(take: str, folder: Path) -> Path:
    """Where the take of a file in that folder is: `media/...` in the course's media, anything else beside the file."""
    parts = take.split("/")
    if "\\" in take or ":" in take or take.startswith("/") or any(part in ("", ".", "..") for part in parts):
        raise GainError(f"take is {take!r}; name a file under media/ or beside this file, without .. or a drive.")
    home = bundled_folder("media") if parts[0] == "media" else folder
    found = home.joinpath(*parts[1:] if parts[0] == "media" else parts)
    try:
        if not found.resolve().is_relative_to(home.resolve()):
            raise GainError(f"take is {take!r}, a link that leads out of {home.name}; copy the recording there.")
        if not found.is_file():
            raise GainError(f"take is {take!r}, which is not there; {_take_instead(found, home, parts[0])}")
    except (OSError, ValueError, RuntimeError) as fault:
        if isinstance(fault, GainError):
            raise
        raise GainError(f"take is {describe_value(take)}, which is no file name; name a recording.") from fault
    return found


def _take_instead(missing: Path, home: Path, first: str) -> str:
    """Which recordings of that folder may have been meant."""
    prefix = "media/" if first == "media" else ""
    known = {each.name: f"{prefix}{each.relative_to(home).as_posix()}" for each in sounds_in(missing.parent)}
    if not known:
        return "put the recording beside this file."
    if near := closest(missing.name, known):
        return f"did you mean {known[near]}?"
    return f"there {'is' if len(known) == 1 else 'are'} {listed(known.values())}."


def read_session(path: str | os.PathLike[str]) -> Channels:
    """What the session in a file is made of; GainError with one sentence a fault, each on a line of its own."""
    where = bundled(path)
    entries = read_toml(where, LARGEST_SESSION_BYTES, "a session")
    if "version" in entries or MAIN in entries:
        raise GainError(OLD_FORM.format(name=where.name))
    try:
        entry = SessionEntry.model_validate(entries)
    except ValidationError as fault:
        faults: list[Any] = fault.errors(include_url=False)
        raise GainError(*(describe_fault(each, SessionEntry) for each in faults)) from fault
    found: list[Fault] = []
    plan = plan_session(entry.strips, entry.buses, where.parent, found, groups=entry.groups)
    extents = plan.extents(found, [("strips", index) for index in range(len(plan.strips))])
    if not found:
        over_silence = plan.with_takes(dict.fromkeys(extents, SILENCE))
        channels, groups = over_silence[:3], over_silence[3]
        if faults := find_faults(*channels) or find_group_faults(groups, all_in_order(*channels)):
            raise GainError("\n".join(faults))
        then = "shorten its takes and signals, or use fewer strips and stages"
        require_room(all_in_order(*channels), extents, where.name, then)
    recordings: dict[Path, Audio] = {}
    takes: dict[str, Audio] = {}
    for index, strip in enumerate(plan.strips):
        with collecting(found, ("strips", index, "take")):
            if strip.signal is not None:
                takes[strip.name] = strip.signal.make()
            elif strip.file is not None:
                recordings[strip.file] = recordings.get(strip.file) or read(strip.file)
                takes[strip.name] = recordings[strip.file]
    if found:
        raise GainError(*(_with_channel(said, place, entries) for place, said in found))
    return plan.with_takes(takes)


def _with_channel(said: str, place: Place, entries: Mapping[str, Any]) -> str:
    """The sentence, with the strip or bus in front that it is about."""
    kind, index = place[:2]
    what = f"{ {'strips': 'strip', 'buses': 'bus'}.get(str(kind), 'group') } {entries[str(kind)][index]['name']!r}"
    return said if what in said else f"{what}: {said}"


# --- from a session to tables ---


def write_session(
    path: str | os.PathLike[str],
    strips: Sequence[Strip],
    buses: Sequence[Bus],
    main: Bus | None,
    groups: Sequence[FaderGroup] = (),
    *,
    overwrite: bool = False,
) -> Path:
    """Write a session as a TOML file, a take that is not found from there beside it; as `Session.save`."""
    where = given_path(path)
    if where.exists() and not overwrite:
        raise GainError(f"{path} is there already; choose another name or say overwrite=True.")
    if not where.parent.is_dir():
        raise GainError(f"the folder {where.parent} is not there; make it first.")
    takes, unwritten = _name_takes(strips, where.parent)
    text = _tables(strips, buses, main, groups, takes)  # what cannot be written is refused before a take is
    for strip in unwritten:
        write(where.parent / takes[strip.name], strip.take, subtype="DOUBLE")
        if strip.take.path is not None:
            copied = (
                f"{takes[strip.name]} is a copy of {printable(strip.take.path.name)} that was written beside this file"
            )
            text = f"# {copied}: a session finds its takes below its own folder.\n{text}"
    return atomic_write(where, text, then="; choose another folder")


def session_text(
    strips: Sequence[Strip], buses: Sequence[Bus], main: Bus | None, groups: Sequence[FaderGroup] = ()
) -> str:
    """A session as tables, as a file in the present folder would have it; a take without a file is noted."""
    takes, unwritten = _name_takes(strips, Path.cwd())
    notes = [
        f"# {takes[strip.name]} is not written yet; a session that is saved has it beside it.\n" for strip in unwritten
    ]
    return "".join(notes) + _tables(strips, buses, main, groups, takes)


def _tables(
    strips: Sequence[Strip],
    buses: Sequence[Bus],
    main: Bus | None,
    groups: Sequence[FaderGroup],
    takes: Mapping[str, str],
) -> str:
    nowhere = {"to": ""} if main is None and len(strips) > 1 else {}
    rows = [_channel_rows({"name": strip.name, "take": takes[strip.name], **nowhere}, strip, main) for strip in strips]
    text = "\n".join(["strips = [", *itertools.chain(*rows), "]", ""])
    if main is not None:
        rows = [_channel_rows({"name": bus.name}, bus, main) for bus in (*buses, main)]
        text += "\n".join(["buses = [", *itertools.chain(*rows), "]", ""])
    if groups:
        moved = [f"  {toml_value(dataclasses.asdict(each))}," for each in groups]
        text += "\n".join(["groups = [", *moved, "]", ""])
    return text


def _channel_rows(head: dict[str, str], channel: Strip | Bus, main: Bus | None) -> Iterator[str]:
    if channel.to != MAIN:
        head = {**head, "to": channel.to}
    first = ", ".join(f"{name} = {toml_value(value)}" for name, value in head.items())
    stages = [f"    {toml_value(_stage_row(channel, stage))}," for stage in channel.stages]
    sends = [f"    {toml_value(dataclasses.asdict(send))}," for send in channel.sends]
    if not stages and not sends:
        yield f"  {{ {first} }},"
        return
    yield f"  {{ {first}, stages = ["
    yield from stages
    if sends:
        yield "  ], sends = ["
        yield from sends
    yield "  ] },"


def _stage_row(channel: Strip | Bus, stage: Stage) -> dict[str, Any]:
    kind = type(stage).__name__
    if stage_kinds().get(kind) is not type(stage):
        raise GainError(f"{channel.name}/{stage.name} is a {kind}, which no file can name.")
    settings = {field.name: _plain(getattr(stage, field.name)) for field in dataclasses.fields(stage)}
    if stage.name == stage.kind.lower():
        del settings["name"]
    return {"stage": kind, **{name: value for name, value in settings.items() if value is not None}}


def _plain(value: Any) -> Any:
    """A setting as a file has it: an alignment by its name or number, numbers as Python's own."""
    if isinstance(value, Alignment):
        return value.name if ALIGNMENTS.get(value.name) == value else value.dbu_at_full_scale
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    return value.item() if isinstance(value, np.generic) else value


def _name_takes(strips: Sequence[Strip], folder: Path) -> tuple[dict[str, str], list[Strip]]:
    """For each strip the take as a file in that folder names it; and the strips whose take is not written there."""
    names = {strip.name: _name_there(strip.take, folder) for strip in strips}
    unwritten = []
    for strip in strips:
        if not names[strip.name]:
            names[strip.name] = _new_name(strip, set(names.values()), folder)
            if not (folder / names[strip.name]).exists():
                unwritten.append(strip)
    return names, unwritten


def _name_there(take: Audio, folder: Path) -> str:
    """The file that a take was read from, as a file in that folder names it; empty where it cannot."""
    for home, start in ((bundled_folder("media"), "media/"), (folder.absolute(), "")):
        if take.path is not None and take.path.is_relative_to(home):
            name = start + take.path.relative_to(home).as_posix()
            return name if _lies_there(take, name, folder) else ""
    return ""


def _new_name(strip: Strip, taken: set[str], folder: Path) -> str:
    """A file name made of a strip's name, that any system takes; no other recording has it, now or then."""
    plain = "".join(each if each.isalnum() or each in "-_ " else "-" for each in strip.name[:LONGEST_NAME]).strip()
    plain = plain or "take"
    names = (f"{plain}{'' if number == 1 else f'-{number}'}.wav" for number in itertools.count(1))
    return next(
        name
        for name in names
        if name not in taken and (not (folder / name).exists() or _lies_there(strip.take, name, folder))
    )


def _lies_there(take: Audio, name: str, folder: Path) -> bool:
    """Whether a file in that folder finds this very recording under that name."""
    try:
        return read(find_take(name, folder)) == take
    except GainError:
        return False
