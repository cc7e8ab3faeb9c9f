"""The session file: a session as TOML, written and read, each fault in it told in one sentence."""

from __future__ import annotations

import dataclasses
import functools
import itertools
import os
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from gainlib import stages as stages_room
from gainlib.audio import Audio
from gainlib.decibels import ALIGNMENTS, Alignment
from gainlib.errors import GainError, suggest
from gainlib.flow.session import MAIN, Bus, Send, Session, Strip
from gainlib.sound_file import read, write
from gainlib.stages import Stage
from gainlib.storage import atomic_write, bundled, toml_value

__all__ = ["KINDS", "loaded", "saved", "session_faults"]

VERSION = 1

Made = TypeVar("Made")

KINDS: dict[str, type[Stage]] = {
    "source": stages_room.Source,
    "preamp": stages_room.Preamp,
    "converter": stages_room.Converter,
    "stored file": stages_room.StoredFile,
    "clip gain": stages_room.ClipGain,
    "ride": stages_room.Ride,
    "trim": stages_room.Trim,
    "compressor": stages_room.Compressor,
    "saturation": stages_room.Saturation,
    "soft clip": stages_room.SoftClip,
    "limiter": stages_room.Limiter,
    "fader": stages_room.Fader,
    "pan": stages_room.Pan,
    "insert": stages_room.OutboardInsert,
    "delivery": stages_room.Delivery,
}
"""The stages that a session file can name, by the word it uses."""

_WORDS = {kind: word for word, kind in KINDS.items()}


def saved(session: Session, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """The session as a TOML file, every setting written out; a strip without a stem file gets one beside it.

    A strip's own stem is kept where it is found from the new file and holds the same samples; else the take is written
    as a 64-bit float WAV, bit for bit. Gives the path back; raises GainError for a file that
    is there already unless `overwrite` is set, and for a stage that no session file can name.
    """
    where = Path(path)
    if where.exists() and not overwrite:
        raise GainError(f"{path} is there already; choose another name or say overwrite=True.")
    if not where.parent.is_dir():
        raise GainError(f"the folder {where.parent} is not there; make it first.")
    lines = [f"version = {VERSION}"]
    stems = {strip.name: _stem_beside(strip, where.parent) for strip in session.strips}
    for strip in session.strips:
        stem = stems[strip.name]
        if not stem:
            stem = _new_name(strip.name, set(stems.values()))
            stems[strip.name] = stem
            write(where.parent / stem, strip.take, subtype="DOUBLE", overwrite=overwrite)
        lines += ["", "[[strips]]", f"name = {_toml(strip.name)}", f"stem = {_toml(stem)}", f"to = {_toml(strip.to)}"]
        lines += _part_lines("strips", strip)
    for bus in session.buses:
        lines += ["", "[[buses]]", f"name = {_toml(bus.name)}", f"to = {_toml(bus.to)}", *_part_lines("buses", bus)]
    if session.main is not None:
        lines += ["", f"[{MAIN}]", *_part_lines(MAIN, session.main)]
    return atomic_write(where, "\n".join(lines) + "\n", then="; choose another folder")


def loaded(path: str | os.PathLike[str]) -> Session:
    """The session in a TOML file; GainError with one sentence a fault, each on a line of its own."""
    made, faults = _read(path)
    if made is None or faults:
        raise GainError("\n".join(faults))
    return made


def session_faults(path: str | os.PathLike[str]) -> list[str]:
    """What is wrong with a session file, one sentence a fault; an empty list for a file that can be rendered.

    >>> session_faults("no-such-session.toml")
    ['no-such-session.toml is not there; check the name and the folder.']
    """
    return _read(path)[1]


def _read(path: str | os.PathLike[str]) -> tuple[Session | None, list[str]]:
    where = bundled(path)
    if not where.is_file():
        return None, [f"{path} is not there; check the name and the folder."]
    try:
        data = tomllib.loads(where.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        return None, [f"{where.name} is not a TOML file: {str(fault).rstrip('.')}."]
    faults: list[str] = []
    if data.get("version") != VERSION:
        faults.append(f"version is {data.get('version')!r}; this gainlib reads session files of version {VERSION}.")
    _only(data, {"version", "strips", "buses", MAIN}, "the session file", faults)
    strips = [_strip(each, number, where.parent, faults) for number, each in _rows(data, "strips", "it", faults)]
    buses = [_bus(each, f"bus {number}", faults) for number, each in _rows(data, "buses", "it", faults)]
    main = None
    if MAIN in data:
        table = data[MAIN]
        if isinstance(table, Mapping) and "name" not in table and "to" not in table:
            main = _bus({**table, "name": MAIN}, "the main", faults)
        else:
            faults.append("main must be a table of stages, without a name and without a route.")
    if faults:
        return None, faults
    try:
        return Session(tuple(each for each in strips if each), tuple(each for each in buses if each), main), []
    except GainError as fault:
        return None, str(fault).split("\n")


def _rows(data: Mapping[str, Any], key: str, what: str, faults: list[str]) -> list[tuple[int, Mapping[str, Any]]]:
    rows = data.get(key, [])
    if not isinstance(rows, list) or not all(isinstance(each, Mapping) for each in rows):
        faults.append(f"{key} of {what} must be written as tables, [[{key}]] each.")
        return []
    return list(enumerate(rows, 1))


def _only(table: Mapping[str, Any], known: set[str], what: str, faults: list[str]) -> None:
    faults += [f"{what} has {key!r}, which is not known; {suggest(key, known)}" for key in table if key not in known]


def _text(table: Mapping[str, Any], key: str, what: str, faults: list[str], default: str | None = None) -> str:
    value = table.get(key, default)
    if not isinstance(value, str) or not value:
        faults.append(f"{key} of {what} is {value!r}; give a text.")
        return ""
    return value


def _strip(table: Mapping[str, Any], number: int, folder: Path, faults: list[str]) -> Strip | None:
    known = len(faults)
    name = _text(table, "name", f"strip {number}", faults)
    what = f"strip {name!r}" if name else f"strip {number}"
    _only(table, {"name", "stem", "to", "stages", "sends"}, what, faults)
    stem = _text(table, "stem", what, faults)
    to = _text(table, "to", what, faults, MAIN)
    made, sends = _stages(table, what, faults), _sends(table, what, faults)
    take: Audio | None = None
    if stem:
        found = _found(stem, folder)
        try:
            take = read(found) if found else None
        except GainError as fault:
            faults.append(f"{what} has no stem: {str(fault).rstrip('.')}.")
        if found is None:
            faults.append(f"{what} has no stem: {stem} is not there.")
    if len(faults) > known or take is None:
        return None
    return _tried(functools.partial(Strip, name, take, made, to, sends, stem), faults)


def _bus(table: Mapping[str, Any], place: str, faults: list[str]) -> Bus | None:
    known = len(faults)
    name = _text(table, "name", place, faults)
    what = f"bus {name!r}" if name and name != MAIN else place
    _only(table, {"name", "to", "stages", "sends"}, what, faults)
    to = _text(table, "to", what, faults, MAIN)
    made, sends = _stages(table, what, faults), _sends(table, what, faults)
    return _tried(functools.partial(Bus, name, made, to, sends), faults) if len(faults) == known else None


def _stages(table: Mapping[str, Any], what: str, faults: list[str]) -> tuple[Stage, ...]:
    made = []
    for number, row in _rows(table, "stages", what, faults):
        kind = row.get("kind")
        if not isinstance(kind, str) or kind not in KINDS:
            faults.append(f"stage {number} of {what} is of kind {kind!r}; {suggest(str(kind), KINDS)}")
            continue
        known = {each.name: each for each in dataclasses.fields(KINDS[kind])}
        values = {key: value for key, value in row.items() if key != "kind"}
        place = f"stage {number} of {what} ({kind})"
        before = len(faults)
        _only(values, set(known), place, faults)
        missing = [
            name
            for name, field in known.items()
            if field.default is dataclasses.MISSING
            and field.default_factory is dataclasses.MISSING
            and name not in values
        ]
        faults += [f"{place} lacks {name}; it has no usual value, give one." for name in missing]
        if len(faults) == before:
            stage = _tried(functools.partial(KINDS[kind], **values), faults, f"{what}: ")
            made += [stage] if stage else []
    return tuple(made)


def _sends(table: Mapping[str, Any], what: str, faults: list[str]) -> tuple[Send, ...]:
    made = []
    for number, row in _rows(table, "sends", what, faults):
        before = len(faults)
        _only(row, {"to", "gain_db", "pre_fader"}, f"send {number} of {what}", faults)
        _text(row, "to", f"send {number} of {what}", faults)
        if len(faults) == before:
            send = _tried(functools.partial(Send, **row), faults, f"{what}: ")
            made += [send] if send else []
    return tuple(made)


def _tried(make: Callable[[], Made], faults: list[str], prefix: str = "") -> Made | None:
    try:
        return make()
    except (GainError, TypeError, ValueError) as fault:
        faults.append(f"{prefix}{fault}")
        return None


def _part_lines(head: str, part: Strip | Bus) -> Iterable[str]:
    for stage in part.stages:
        if type(stage) not in _WORDS:
            raise GainError(f"{part.name}/{stage.name} is a {type(stage).__name__}; a session file has no word for it.")
        yield ""
        yield f"[[{head}.stages]]"
        yield f"kind = {_toml(_WORDS[type(stage)])}"
        for field in dataclasses.fields(stage):
            value = getattr(stage, field.name)
            if value is not None and not (field.name == "name" and value == stage.kind.lower()):
                yield f"{field.name} = {_toml(value)}"
    for send in part.sends:
        yield ""
        yield f"[[{head}.sends]]"
        yield from (f"{field.name} = {_toml(getattr(send, field.name))}" for field in dataclasses.fields(send))


def _toml(value: object) -> str:
    """A setting as TOML writes it, an alignment by its name or number."""
    if isinstance(value, Alignment):
        value = value.name if ALIGNMENTS.get(value.name) == value else value.dbu_at_full_scale
    return toml_value(value)


def _found(stem: str, folder: Path) -> Path | None:
    """Where a stem of a session file is: beside the file, or among the course's own for `media/...`."""
    for place in (folder / stem, bundled(stem) if Path(stem).parts[:1] == ("media",) else folder / stem):
        if place.exists():
            return place
    return None


def _stem_beside(strip: Strip, folder: Path) -> str:
    """The strip's stem, if it is found from that folder and holds the strip's take; else nothing."""
    found = _found(strip.stem, folder) if strip.stem else None
    if found is None:
        return ""
    there = read(found)
    same = there.rate_hz == strip.take.rate_hz and np.array_equal(there.samples, strip.take.samples)
    return strip.stem if same else ""


def _new_name(name: str, taken: set[str]) -> str:
    """A file name made of a strip's name, that any system takes and no other stem has."""
    plain = "".join(each if each.isalnum() or each in "-_ " else "-" for each in name).strip() or "stem"
    names = (f"{plain}{'' if number == 1 else f'-{number}'}.wav" for number in itertools.count(1))
    return next(each for each in names if each not in taken)
