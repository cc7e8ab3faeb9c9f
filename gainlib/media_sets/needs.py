"""What each lesson asks of the takes that it is taught on: roles, parts, levels, and what must be so of them."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from gainlib.storage import bundled_folder
from gainlib.storage.foreign import read_toml

__all__ = ["LessonNeeds", "Property", "lesson_needs"]

NEEDS = "needs.toml"
LARGEST_BYTES = 256 * 1024


@dataclass(frozen=True)
class Property:
    """What must be so: a measure of one take, or of one over another, from `least` to `most`; `told` is what it is.

    `of` and `over` are a role, or a role and a part of its take. `against` is what is measured of the other, if that is
    something else; without `over` it is measured of the same.
    """

    told: str
    measure: str
    of: tuple[str, ...]
    over: tuple[str, ...] = ()
    against: str = ""
    least: float = float("-inf")
    most: float = float("inf")
    unit: str = "dB"


@dataclass(frozen=True)
class LessonNeeds:
    """What one lesson asks for.

    `parts` has the least seconds of each part; `level` says by which measure, of the whole or of a part, a role's take
    is brought to the level of the bundled one; `mono` names roles of one channel; `holds` is what the text rests on.
    """

    roles: tuple[str, ...]
    parts: Mapping[str, float] = field(default_factory=dict)
    level: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    mono: tuple[str, ...] = ()
    holds: tuple[Property, ...] = ()


@functools.cache
def lesson_needs() -> dict[str, LessonNeeds]:
    """The needs of each lesson that can be taught on a school's own takes, by its name; the others keep the bundled.

    >>> lesson_needs()["set-recording-level"].roles
    ('lead voice',)
    """
    found = read_toml(bundled_folder("lessons") / NEEDS, LARGEST_BYTES, "a list of what lessons need")
    return {name: _needs(each) for name, each in found.items()}


def _needs(entries: dict[str, Any]) -> LessonNeeds:
    holds = tuple(
        Property(**{**each, **{key: tuple(each[key]) for key in ("of", "over") if key in each}})
        for each in entries.pop("holds", ())
    )
    level = {role: tuple(each) for role, each in entries.pop("level", {}).items()}
    roles, mono = (tuple(entries.pop(key, ())) for key in ("roles", "mono"))
    return LessonNeeds(roles, level=level, mono=mono, holds=holds, **entries)
