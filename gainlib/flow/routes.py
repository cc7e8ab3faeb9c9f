"""Where strips and buses go: whether each route leads to an end, and in which order they are rendered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from gainlib.errors import GainError, suggest
from gainlib.flow.channels import MAIN, NOWHERE, Bus, Channel, FaderGroup, Strip
from gainlib.stages import Delivery, Fader
from gainlib.text import spaced

__all__ = ["all_in_order", "find_faults", "find_group_faults", "require_kind"]


def find_faults(strips: Sequence[Strip], buses: Sequence[Bus], main: Bus | None) -> list[str]:
    """Everything that keeps a session from being rendered, one sentence each."""
    if not strips:
        return ["the session has no strips; give at least one."]
    faults = []
    strip_names = [strip.name for strip in strips]
    faults += [
        f"the session has two strips named {name!r}; give one of them another name."
        for name, count in Counter(strip_names).items()
        if count > 1
    ]
    bus_names = [bus.name for bus in buses]
    faults += [
        f"the name {name!r} is taken twice by strips and buses; give one of them another name."
        for name, count in Counter([*set(strip_names), *bus_names]).items()
        if count > 1
    ]
    if main is None:
        routed = [each.name for each in strips if each.sends or each.to != MAIN]
        return [
            *faults,
            *(f"strip {name!r} goes to a bus, but there is none; add buses or a main." for name in routed),
        ]
    if main.name != MAIN:
        faults.append(f"the main is named {main.name!r}; it must be named {MAIN!r}.")
    if main.sends:
        faults.append("the main has sends; it is the end of all routes, take them away.")
    if MAIN in strip_names or MAIN in bus_names:
        faults.append(f"a strip or bus is named {MAIN!r}; that name is kept for the main.")
    channels: tuple[Strip | Bus, ...] = (*strips, *buses)
    for each in channels:
        what = f"{type(each).__name__.lower()} {each.name!r}"
        for target in _targets(each):
            if target not in (MAIN, *bus_names):
                faults.append(f"{what} goes to {target!r}, which is no bus; {suggest(target, [MAIN, *bus_names])}")
        if any(isinstance(stage, Delivery) for stage in each.stages):
            faults.append(f"{what} has a delivery, but goes on to a bus; put the delivery last on the main.")
    if faults:
        return faults
    loop = _loop(buses)
    if loop:
        return [f"the buses feed each other in a loop: {' to '.join(loop)}; take one of these routes away."]
    goals = {target for each in channels for target in _targets(each)}
    faults += [
        f"nothing goes to {each.name!r}; give a strip to={each.name!r} or a send, or take the bus away."
        for each in (*buses, main)
        if each.name not in goals
    ]
    first = strips[0]
    faults += [
        f"strip {each.name!r} has {spaced(each.take.rate_hz)} Hz and strip {first.name!r} "
        f"{spaced(first.take.rate_hz)} Hz; convert one of them, signals are summed at one rate."
        for each in strips[1:]
        if each.take.rate_hz != first.take.rate_hz
    ]
    return faults


def find_group_faults(groups: Sequence[FaderGroup], channels: Sequence[Strip | Bus]) -> list[str]:
    """Everything that keeps groups from moving the faders of these channels, one sentence each."""
    faults = []
    known = {each.name: each for each in channels}
    taken = Counter([*known, *(group.name for group in groups)])
    for group in groups:
        if taken[group.name] > 1:
            faults.append(f"the name of group {group.name!r} is taken already; give it another name.")
        for member in group.members:
            if member not in known:
                faults.append(f"group {group.name!r} has a member {member!r}; {suggest(member, list(known))}")
            elif sum(isinstance(stage, Fader) for stage in known[member].stages) != 1:
                faults.append(
                    f"group {group.name!r} moves the fader of {member!r}, which has not just one; give it one."
                )
    return faults


def _targets(channel: Strip | Bus) -> tuple[str, ...]:
    onward = () if isinstance(channel, Bus) and channel.to == NOWHERE else (channel.to,)
    return (*onward, *(send.to for send in channel.sends))


def _loop(buses: Iterable[Bus]) -> list[str]:
    """The names along a loop, the first again at the end; nothing where there is none."""
    targets = {each.name: _targets(each) for each in buses}

    def onward(path: list[str]) -> list[str]:
        for target in targets.get(path[-1], ()):
            if target in path:
                return [*path[path.index(target) :], target]
            found = onward([*path, target])
            if found:
                return found
        return []

    for name in targets:
        found = onward([name])
        if found:
            return found
    return []


def all_in_order(strips: Iterable[Strip], buses: Iterable[Bus], main: Bus | None) -> tuple[Strip | Bus, ...]:
    """The strips, the buses in an order in which each comes after what feeds it, and the main."""
    return (*strips, *_in_order(buses), *([main] if main else []))


def _in_order(buses: Iterable[Bus]) -> list[Bus]:
    """The buses, each after all that feed it."""
    left, ordered = list(buses), []
    while left:
        ready = next(each for each in left if not any(each.name in _targets(other) for other in left))
        left.remove(ready)
        ordered.append(ready)
    return ordered


def require_kind(name: str, given: tuple[object, ...], wanted: type[Channel] | type[FaderGroup]) -> None:
    """Refuse anything but strips among the strips, buses among the buses, and groups among the groups."""
    for each in given:
        if not isinstance(each, wanted):
            if wanted is FaderGroup:
                raise GainError(f"{name} holds a {type(each).__name__}; give a FaderGroup(name, members).")
            example = f"{wanted.__name__}({name!r}, stages)" if wanted is Bus else "Strip(name, take, stages)"
            raise GainError(f"{name} holds a {type(each).__name__}; give a {wanted.__name__}, such as {example}.")
