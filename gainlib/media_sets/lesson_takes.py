"""The takes that a lesson is given: a set's own where all that its text rests on is so of them, else the bundled."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.media_sets.needs import LessonNeeds, Property, lesson_needs
from gainlib.media_sets.takes_table import MediaSet, bundled_set
from gainlib.meters import measure
from gainlib.text import channels_in_words, lasting, listed, signed

__all__ = ["LessonTakes", "taught_on"]

SMALLEST_TOLD_DB = 0.05


@dataclass(frozen=True)
class LessonTakes:
    """The takes of one lesson, asked for by role, or by role and part; made by `gl.takes`.

    Attributes
    ----------
    own : bool
        Whether they are a school's own, and not the bundled ones.
    why : str
        Why the bundled ones are kept, where a school has takes of its own.
    gains_db : mapping of str to float
        By how much each of its own takes is turned up, so that it stands where the lesson's settings expect it.

    Examples
    --------
    >>> taught_on("set-recording-level")["lead voice", "shout"]
    lead-voice: 1.07 s, mono, 48 kHz
    """

    lesson: str
    media: MediaSet
    needs: LessonNeeds
    why: str = ""
    gains_db: Mapping[str, float] = field(default_factory=dict)

    @property
    def own(self) -> bool:
        return self.media is not bundled_set()

    @property
    def moved(self) -> dict[str, str]:
        """By how much each take is turned up or down, in words; none that would read 0.0 dB."""
        return {role: signed(gain) for role, gain in self.gains_db.items() if abs(gain) >= SMALLEST_TOLD_DB}

    def __getitem__(self, wanted: str | tuple[str, str]) -> Audio:
        role, part = (wanted, "") if isinstance(wanted, str) else wanted
        if role not in self.needs.roles:
            raise GainError(f"this lesson has no take {role!r}; {suggest(role, self.needs.roles)}")
        if part:
            self._require_part(part)
        return self._at_its_level(role, part)

    def seconds(self, part: str, of: str = "") -> tuple[float, float]:
        """Where a part begins and ends, in seconds of the whole take, or of another part that it lies in.

        >>> taught_on("set-recording-level").seconds("verse")
        (0.0, 9.34)
        """
        self._require_part(part)
        start, end = self.media.parts[part]
        if not of:
            return start, end
        self._require_part(of)
        begins = self.media.parts[of][0]
        return round(start - begins, 6), round(end - begins, 6)

    def __repr__(self) -> str:
        lines = [f"{role}: {lasting(self.media.lasts[role])}, {self._told(role)}" for role in self.needs.roles]
        if self.own:
            lines.insert(0, f"Your school's takes: {self.media.title}.")
        elif self.why:
            lines.insert(0, f"The bundled takes, since {self.why}.")
        return "\n".join(lines)

    def _told(self, role: str) -> str:
        form = f"{channels_in_words(self.media.channels[role])}, {self.media.rates_hz[role] / 1000:g} kHz"
        return form + (f", {self.moved[role]} for this lesson" if role in self.moved else "")

    def _at_its_level(self, role: str, part: str) -> Audio:
        found = self.media.take(role, part)
        gain_db = self.gains_db.get(role, 0.0)
        if not gain_db:
            return found
        return Audio(found.in_double.samples * 10.0 ** (gain_db / 20.0), found.rate_hz, found.name)

    def _require_part(self, part: str) -> None:
        if part not in self.needs.parts:
            raise GainError(f"this lesson has no part {part!r}; {suggest(part, self.needs.parts)}")


def taught_on(lesson: str, media: MediaSet | None = None) -> LessonTakes:
    """The takes of a lesson from a set, or from the bundled one where none is given or where it will not do.

    Raises GainError for a lesson that has the bundled takes written into its text.
    """
    needs = lesson_needs().get(lesson)
    if needs is None:
        raise GainError(f"no lesson {lesson!r} takes what a school brings; {suggest(lesson, lesson_needs())}")
    if media is None or media is bundled_set():
        return LessonTakes(lesson, bundled_set(), needs)
    why = _lacks(needs, media)
    gains: dict[str, float] = {}
    if not why:
        gains, why = _gains(needs, media)
    if not why:
        made = LessonTakes(lesson, media, needs, gains_db=gains)
        otherwise = [said for each in needs.holds if (said := _not_so(made, each))]
        if not otherwise:
            return made
        why = listed(otherwise)
    return LessonTakes(lesson, bundled_set(), needs, why)


def _lacks(needs: LessonNeeds, media: MediaSet) -> str:
    """Which roles and parts a set lacks, or what of them will not do, in words; empty for none."""
    if missing := [each for each in needs.roles if each not in media.files]:
        return f"your takes have no {listed(missing)}"
    if missing := [each for each in needs.parts if each not in media.parts]:
        return f"your table has no part named {listed(missing)}"
    if wide := [each for each in needs.mono if media.channels[each] != 1]:
        return f"your {listed(wide)} has {media.channels[wide[0]]} channels, and this lesson is about one"
    rates = {media.rates_hz[each] for each in needs.roles}
    if len(rates) > 1:
        told = listed(f"{media.rates_hz[each] / 1000:g} kHz ({each})" for each in needs.roles)
        return f"your takes differ in their rate: {told}"
    for part, least in needs.parts.items():
        start, end = media.parts[part]
        if end - start < least:
            return f"your {part} lasts {end - start:.1f} s, and this lesson wants {least:g} s of it"
        if short := [each for each in needs.roles if media.lasts[each] < end - 1e-6]:
            return f"your {listed(short)} ends at {media.lasts[short[0]]:.1f} s, before the {part} does"
    return ""


def _gains(needs: LessonNeeds, media: MediaSet) -> tuple[dict[str, float], str]:
    """The gain that brings each take to the level of the bundled one; and what stands against it, in words."""
    gains = {}
    for role, (name, *part) in needs.level.items():
        own, bundled = (float(measure(name, each.take(role, *part))) for each in (media, bundled_set()))
        if not math.isfinite(own):
            return {}, f"your {role} is silent" + (f" in the {part[0]}" if part else "")
        gains[role] = bundled - own
    return gains, ""


def _not_so(takes: LessonTakes, wanted: Property) -> str:
    """What is otherwise than a lesson's text wants it, in words; empty where it is so."""
    found = float(measure(wanted.measure, _of(takes, wanted.of)))
    if wanted.over or wanted.against:
        found -= float(measure(wanted.against or wanted.measure, _of(takes, wanted.over or wanted.of)))
    if wanted.least <= found <= wanted.most:
        return ""
    bounds = [
        f"{word} {signed(bound, 0 if bound == round(bound) else 1, wanted.unit, plus=False)}"
        for word, bound in (("at least", wanted.least), ("at most", wanted.most))
        if math.isfinite(bound)
    ]
    return f"{wanted.told} is {signed(found, 1, wanted.unit, plus=False)}, and must be {' and '.join(bounds)}"


def _of(takes: LessonTakes, place: tuple[str, ...]) -> Audio:
    return takes[place[0], place[1]] if len(place) == 2 else takes[place[0]]
