"""What became of one stem's sound and form since an earlier survey, as data and in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from gainlib.surveys.likeness import Likeness, Passage
from gainlib.surveys.targets import Tempo
from gainlib.text import clock, counted, listed, signed, spaced

__all__ = ["CODINGS", "SoundChange", "find_form_changes"]

_TOLD = 4  # passages of a stem in words; JSON has all
CODINGS = {
    "PCM_S8": "8 bits", "PCM_U8": "8 bits", "PCM_16": "16 bits", "PCM_24": "24 bits", "PCM_32": "32 bits",
    "FLOAT": "32-bit floats", "DOUBLE": "64-bit floats",
}  # fmt: skip
"""What samples are held in, in words, by libsndfile's names."""


@dataclass(frozen=True)
class SoundChange:
    """One stem that both surveys have, which was called `former` then.

    `likeness` is what became of its sound, None where it could not be compared, and `why` then says why; `forms` are
    changes of the file's format, coding, rate, channels, length and start, each in words.
    """

    stem: str
    former: str
    rate_hz: int
    likeness: Likeness | None
    forms: tuple[str, ...] = ()
    why: str = ""
    tempo: Tempo | None = None

    @property
    def changed(self) -> bool:
        """Whether there is anything to tell; a name is none of it."""
        return bool(self.forms) or self.likeness is None or not self.likeness.same

    @property
    def sentence(self) -> str:
        """What became of it, empty where nothing did."""
        parts, found = [], self.likeness
        if self.former != self.stem:
            same = " and is the same, sample for sample" if not self.changed else ""
            parts.append(f"it was called {self.former}{same}")
        if found is not None:
            parts += _of_the_whole(found, self.rate_hz)
            parts += [self._passage(each) for each in found.passages[:_TOLD]]
            if len(found.passages) > _TOLD:
                parts.append(f"{len(found.passages) - _TOLD} passages more are not as before")
        parts += self.forms
        if found is not None and self.changed and not found.other and not found.all_through:
            rest = "the rest" if found.passages else "apart from that it" if parts else "laid over the earlier one it"
            parts.append(
                f"{rest} is the same, sample for sample"
                if found.null_db == -math.inf
                else f"{rest} nulls to {signed(found.null_db, 0, 'dB')}"
            )
        if self.why:
            parts.append(f"only its readings are compared, {self.why}")
        return f"{self.stem}: {'; '.join(parts)}." if parts else ""

    @property
    def short(self) -> str:
        """The same in a few words, to stand after the stem's name: what became of all of it, and where else."""
        found = self.likeness
        if found is None:
            return "its readings"
        if found.passages and not found.other:
            return ", ".join([*_tags(found), *self._where(found.passages)])
        if found.other or found.all_through:
            return "all of it"
        tags = _tags(found) + (["another form"] if self.forms else [])
        return ", ".join(tags) or f"it nulls to {signed(found.null_db, 0, 'dB')}"

    def _where(self, passages: Sequence[Passage]) -> list[str]:
        """From when to when the sound is another, and which of its ends are cut off."""
        within = [each for each in passages if each.what != "cut off"]
        parts = []
        if within:
            first, last = within[0].seconds[0], within[-1].seconds[1]
            where = f"{clock(first)} to {clock(last)}"
            if self.tempo is not None:
                one, other = _bar(self.tempo.place(first)), _bar(self.tempo.place(max(first, last - 1e-6)))
                where = f"bar {one}" if one == other else f"bars {one} to {other}"
            parts.append(where)
        ends = dict.fromkeys(_cut_end(each) for each in passages if each.what == "cut off")
        return parts + [f"its {each} is cut off" for each in ends]

    def _passage(self, passage: Passage) -> str:
        first, last = passage.seconds
        length = passage.end - passage.start
        if passage.what == "cut off":
            seconds = f"{length / self.rate_hz:.4g} s"
            return f"the {_cut_end(passage)} of the earlier one is cut off ({counted(length, 'sample')}, {seconds})"
        long = last - first >= 0.05
        where = f"from {clock(first)} to {clock(last)}" if long else f"at {clock(first)}"
        if self.tempo is not None:
            one, other = self.tempo.place(first), self.tempo.place(max(first, last - 1e-6))
            where += f" (bar {one} to {other})" if long else f" (bar {one})"
        elif not long:
            where += f" (sample {max(0, passage.start)})"
        long_said = "" if long else f" for {counted(length, 'sample')}"
        if passage.what == "gone":
            return f"{where} nothing sounds any more{long_said}"
        if passage.what == "added":
            return f"{where} something sounds where nothing did{long_said}"
        if passage.what == "level":
            way = "louder" if passage.gain_db > 0 else "softer"
            return f"{where} it is {abs(passage.gain_db):.1f} dB {way}{long_said}"
        if passage.what == "moved":
            return f"{where} it is what used to come {_shift(passage.later, self.rate_hz, 'earlier', 'later')}"
        return f"{where} it is another sound{long_said}"

    def as_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        found = self.likeness
        content: dict[str, Any] = {
            "stem": self.stem, "former": self.former, "sentence": self.sentence, "forms": list(self.forms),
            "compared": found is not None, "why_not": self.why or None,
        }  # fmt: skip
        if found is not None:
            finite = math.isfinite(found.null_db)
            content |= {
                "same": found.same, "later_samples": found.later,
                "gains_db": [round(each, 4) for each in found.gains_db],
                "turned": list(found.turned), "swapped": found.swapped, "all_through": found.all_through,
                "null_db": round(found.null_db, 2) if finite else None, "other": found.other or None,
                "passages": [self._passage_as_dict(each) for each in found.passages],
            }  # fmt: skip
        return content

    def _passage_as_dict(self, passage: Passage) -> dict[str, Any]:
        content = asdict(passage)
        first, last = content.pop("seconds")
        bars = (
            (self.tempo.place(first), self.tempo.place(max(first, last - 1e-6)))
            if self.tempo is not None and passage.end > 0
            else (None, None)
        )
        numbers = {
            name: round(content[name], 4) if math.isfinite(content[name]) else None
            for name in ("difference_db", "gain_db")
        }
        return content | numbers | {
            "from_seconds": round(first, 6), "to_seconds": round(last, 6), "from_bar": bars[0], "to_bar": bars[1],
        }  # fmt: skip


def _cut_end(passage: Passage) -> str:
    return "start" if passage.end <= 0 else "end"


def _bar(place: str) -> str:
    return place.partition(":")[0]


def _of_the_whole(found: Likeness, rate_hz: int) -> list[str]:
    if found.other:
        return [found.other]
    parts = []
    if found.later:
        parts.append(f"it comes {_shift(found.later, rate_hz, 'later', 'earlier')}")
    if found.swapped:
        parts.append("left and right are swapped")
    if found.turned and all(found.turned):
        parts.append("its polarity is inverted")
    elif any(found.turned):
        which = [_side(index, len(found.turned)) for index, each in enumerate(found.turned) if each]
        parts.append(f"the polarity of its {listed(which)} is inverted")
    gains = found.gains_db
    if gains and max(gains) - min(gains) < 0.01:
        if abs(gains[0]) >= 0.005:
            parts.append(f"it is turned {'up' if gains[0] > 0 else 'down'} by {_decibels(abs(gains[0]))}")
    elif gains:
        each = [f"its {_side(index, len(gains))} by {signed(gain, 2, 'dB', plus=True)}" for index, gain in
                enumerate(gains) if abs(gain) >= 0.005]  # fmt: skip
        parts.append(f"it is turned otherwise, {listed(each)}")
    if found.all_through:
        parts.append(
            "it is processed, coded or mixed again all through "
            f"(laid over the earlier one, {signed(found.null_db, 0, 'dB')} is left)"
        )
    return parts


def _tags(found: Likeness) -> list[str]:
    """What became of the whole, a word or two each."""
    tags = [f"{counted(abs(found.later), 'sample')} {'later' if found.later > 0 else 'earlier'}"] if found.later else []
    tags += ["sides swapped"] if found.swapped else []
    tags += ["polarity inverted"] if any(found.turned) else []
    louder = max(found.gains_db, key=abs, default=0.0)
    return tags + ([signed(louder, 1 if abs(louder) >= 0.05 else 2, "dB", plus=True)] if abs(louder) >= 0.005 else [])


def _decibels(value: float) -> str:
    return f"{value:.{1 if value >= 0.05 else 2}f} dB"


def _side(index: int, channels: int) -> str:
    return ("left side", "right side")[index] if channels == 2 else f"channel {index + 1}"


def _shift(later: int, rate_hz: int, after: str, before: str) -> str:
    return f"{counted(abs(later), 'sample')} ({abs(later) / rate_hz:.4g} s) {after if later > 0 else before}"


def find_form_changes(old: Mapping[str, Any], new: Mapping[str, Any], same_samples: bool) -> tuple[str, ...]:
    """What is different between the files of two stems, as JSON has them, each in words.

    >>> stem = {"format": "WAV", "coding": "PCM_24", "rate_hz": 48000, "channels": 1, "frames": 480, "starts_at": None}
    >>> find_form_changes(stem, {**stem, "coding": "PCM_16"}, False)
    ('16 bits, were 24 bits',)
    """
    found = []
    if old["format"] != new["format"]:
        found.append(f"{new['format']}, was {old['format']}")
    if old["coding"] != new["coding"]:
        found.append(f"{CODINGS.get(new['coding'], new['coding'])}, were {CODINGS.get(old['coding'], old['coding'])}")
    used = [each.get("used_bits") for each in (old, new)]
    if old["coding"] == new["coding"] and None not in used and used[0] != used[1]:
        found.append(f"{used[1]} bits of its words are in use, were {used[0]}")
    was, now = int(old["rate_hz"]), int(new["rate_hz"])
    if was != now:
        said = f"{spaced(now)} Hz, was {spaced(was)} Hz"
        if same_samples:
            faster, steps = now / was, 12.0 * math.log2(now / was)
            said += (
                f", though the samples are the same: it plays {abs(100 * (faster - 1)):.1f} % "
                f"{'faster' if steps > 0 else 'slower'} and {abs(steps):.2f} semitones "
                f"{'higher' if steps > 0 else 'lower'}, so one of the two headers is wrong"
            )
        found.append(said)
    if old["channels"] != new["channels"]:
        found.append(f"{counted(int(new['channels']), 'channel')}, had {old['channels']}")
    seconds = new["frames"] / now - old["frames"] / was
    if abs(seconds) >= 0.5 / max(was, now) and not same_samples:
        samples = f" ({counted(abs(new['frames'] - old['frames']), 'sample')})" if was == now else ""
        found.append(f"{abs(seconds):.3f} s{samples} {'longer' if seconds > 0 else 'shorter'}")
    starts = [each["starts_at"] for each in (old, new)]
    if None not in starts and starts[0] != starts[1]:
        found.append(f"its header has it start at sample {starts[1]}, not {starts[0]}")
    elif starts[0] != starts[1]:
        found.append(
            f"its header tells a start now (sample {starts[1]})"
            if starts[0] is None
            else "its header tells no start now"
        )
    return tuple(found)
