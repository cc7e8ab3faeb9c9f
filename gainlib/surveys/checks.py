"""What is wrong with stems, each with where it is and a sentence."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gainlib.meters import ClippedRuns
from gainlib.surveys.cross_checks import Related, find_mismatches, find_related
from gainlib.surveys.damage import Damage
from gainlib.surveys.sides import OPPOSITE_SIDES, Sides
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice, Tempo
from gainlib.text import clock, signed, times

__all__ = ["KINDS", "Fault", "Place", "find_faults", "passages"]

KINDS = {
    "clipped": 1000.0,
    "flat tops": 900.0,
    "drop-out": 880.0,
    "repeated": 870.0,
    "click": 860.0,
    "cut": 850.0,
    "over": 800.0,
    "silent": 700.0,
    "twin": 650.0,
    "opposed": 600.0,
    "opposed channels": 550.0,
    "silent channel": 500.0,
    "low end": 480.0,
    "late channel": 470.0,
    "mono loss": 460.0,
    "true peak": 400.0,
    "hum": 350.0,
    "dc": 300.0,
    "noise": 250.0,
    "late": 240.0,
    "swapped sides": 230.0,
    "rate": 200.0,
    "start": 190.0,
    "length": 180.0,
    "format": 150.0,
    "imbalance": 100.0,
    "dual mono": 0.0,
    "word": 0.0,
}
"""Every kind of fault, with its weight in the order of what is worst; a weight of 0 is a remark, not a fault."""

LEAST_SECONDS = 2.0
"""What is shorter has no offset and no pause that could be told from its sound."""

_LATE_MS = 12.0
"""Two microphones on one source stand less than 4 m apart, but for a room's own: common practice."""

_CUT_BELOW_DB = 20.0
_CANCELLING_SHARE, _MOSTLY_CANCELLING = 0.05, 0.5
_MONO_LOSS_DB = 6.0
_DUAL_NULL_DB = -50.0
_LEAST_BITS = 16

_FAMILIES = (
    ({"wav", "wave", "bwf", "rf64", "w64"}, {"WAV", "WAVEX", "RF64", "W64"}), ({"flac"}, {"FLAC"}), ({"mp3"}, {"MP3"}),
    ({"ogg", "oga", "opus"}, {"OGG"}), ({"aif", "aiff", "aifc"}, {"AIFF"}), ({"caf"}, {"CAF"}),
)  # fmt: skip
"""The endings by which formats are known, and libsndfile's names of these."""

_AT_ONCE_SECONDS = 0.002
_PLACES = 200  # as many places are told of each fault; its count has them all


@dataclass(frozen=True)
class Place:
    """Where something is: its first sample, seconds, how many samples, which channel (from 1), and bar:beat."""

    sample: int
    seconds: float
    length: int
    channel: int
    bar: str = ""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with one stem: its kind, how often, a sentence, and the first places."""

    stem: str
    kind: str
    count: int
    sentence: str
    places: tuple[Place, ...] = ()

    @property
    def weight(self) -> float:
        """How much it counts when stems are put in order, the worst first."""
        return KINDS[self.kind] + (min(self.count, 90) if self.places else 0) if KINDS[self.kind] else 0.0

    @property
    def remark(self) -> bool:
        """Whether it is only worth knowing."""
        return KINDS[self.kind] == 0.0


def passages(runs: ClippedRuns, rate_hz: int, *, apart_seconds: float = 0.5) -> list[tuple[float, float]]:
    """Where runs crowd: from when to when, in seconds; runs less than half a second apart are one passage.

    >>> import numpy as np
    >>> passages(ClippedRuns(np.array([0, 10, 96000]), np.array([5, 5, 3]), np.zeros(3, dtype=int)), 48000)
    [(0.0, 0.0003125), (2.0, 2.0000625)]
    """
    if not len(runs):
        return []
    ends = np.maximum.accumulate(runs.start + runs.length)
    cuts = np.flatnonzero(runs.start[1:] - ends[:-1] > apart_seconds * rate_hz) + 1
    first, last = runs.start[np.concatenate(([0], cuts))], ends[np.concatenate((cuts - 1, [len(ends) - 1]))]
    return [(start / rate_hz, end / rate_hz) for start, end in zip(first.tolist(), last.tolist(), strict=True)]


def find_faults(
    stems: Sequence[Stem],
    practice: Practice,
    tempo: Tempo | None = None,
    *,
    in_pairs: bool = True,
    tick: Callable[[float], object] = lambda share: None,
) -> list[Fault]:
    """Everything that is wrong with these stems, each by itself and against its neighbours; the noise is not judged.

    With `in_pairs` each is held against others, which may read files again; `tick` hears how much of that is done.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> find_faults([measure_stem(bundled("media/bass.flac"), "bass")], Practice())
    []
    """
    found = [fault for stem in stems for fault in _alone(stem, practice, tempo)]
    for each in find_related(stems, practice.opposite_correlation, tick) if in_pairs else ():
        found += _related(each)
    found += [Fault(stem.name, kind, 1, f"{said}.") for stem, kind, said in find_mismatches(stems)]
    return found + _cut_off(stems, tempo)


def _related(each: Related) -> list[Fault]:
    found = []
    later = f", {abs(each.later_ms):.0f} ms apart" if each.later_ms else ""
    if each.correlation < 0:
        said = f"it is in opposite polarity to {each.one} (correlation {signed(each.correlation, 2, '')}{later})"
        found.append(Fault(each.other, "opposed", 1, f"{said}; turn the polarity of one of the two and listen."))
    if each.null_db is not None:
        level = (
            "" if abs(each.gain_db) < 0.05 else f" {abs(each.gain_db):.1f} dB {'up' if each.gain_db > 0 else 'down'}"
        )
        what = (
            f"it is {each.one} once more, sample for sample"
            if each.null_db == -math.inf and not level
            else f"it is {each.one} once more{level} (their difference lies {-each.null_db:.0f} dB below it)"
        )
        found.append(Fault(each.other, "twin", 1, f"{what}; was the right track exported?"))
    elif abs(each.later_ms) >= _LATE_MS and each.correlation > 0:
        way = "later" if each.later_ms > 0 else "earlier"
        said = f"what it shares with {each.one} comes {abs(each.later_ms):.0f} ms {way} in it"
        said += f" (correlation {signed(each.correlation, 2, '')})"
        metres = f"{abs(each.later_ms) * 0.343:.0f} m"
        found.append(
            Fault(
                each.other, "late", 1,
                f"{said}; if no microphone stood {metres} away, move it.",
            )
        )  # fmt: skip
    if each.swapped:
        found.append(
            Fault(each.other, "swapped sides", 1, f"its left and right are the other way round than in {each.one}.")
        )
    return found


def _cut_off(stems: Sequence[Stem], tempo: Tempo | None) -> list[Fault]:
    """Sound that starts or stops in the middle. Where several stems do so with their file, they are an excerpt."""
    found = []
    torn = {stem.name: _torn(stem) for stem in stems}
    at_edge = {edge: [stem.name for stem in stems if edge in torn[stem.name]] for edge in ("first", "last")}
    for stem in stems:
        for edge, damage in torn[stem.name].items():
            if edge in at_edge and len(at_edge[edge]) > max(1, len(stems) // 4):
                continue
            where = _place(stem, min(damage.start, stem.frames - 1), 1, damage.channel, tempo)
            said = {
                "first": "it begins in the middle of a sound, with its first sample",
                "last": "it ends in the middle of a sound, with its last sample",
                "inside": f"its sound breaks off at {_where(where)}; from there on it is digital silence",
            }[edge]
            found.append(Fault(stem.name, "cut", 1, f"{said}; export it whole.", (where,)))
    return found


def _torn(stem: Stem) -> dict[str, Damage]:
    """Where all that sounds in a stem is cut off, at its first sample, its last, or inside; of each the first place."""
    if stem.seconds < LEAST_SECONDS:
        return {}
    cuts: dict[tuple[str, int], list[Damage]] = {}
    least = max(stem.per_channel["active_rms_dbfs"]) - _CUT_BELOW_DB
    for each in stem.damage:
        if each.kind == "cut" and each.size_db >= least:
            edge = "first" if each.start == 0 else "last" if each.start >= stem.frames else "inside"
            cuts.setdefault((edge, each.start // 64), []).append(each)
    sounding = sum(level > -math.inf for level in stem.per_channel["active_rms_dbfs"])
    found: dict[str, Damage] = {}
    for (edge, _), places in cuts.items():
        if len(places) >= sounding or edge == "inside":
            found.setdefault(edge, places[0])
    return found


def _alone(stem: Stem, practice: Practice, tempo: Tempo | None) -> list[Fault]:
    found = []
    readings = stem.readings
    clips, tops, peak = int(readings["clipped_runs"]), int(readings["flat_tops"]), readings["peak_dbfs"]
    # A float file that goes on beyond full scale is not cut off there.
    over = peak > 0.005
    if clips and not over:
        places = _places(stem, stem.clipped, tempo)
        longest = f", the longest {stem.clipped.longest} samples" if stem.clipped.longest > 3 else ""
        said = f"it is clipped {times(clips)}{longest}, first at {_where(places[0])}"
        found.append(Fault(stem.name, "clipped", clips, f"{said}; no trim mends that, take it again.", places))
    elif tops:
        places = _places(stem, stem.flat, tempo)
        height = signed(stem.tops_dbfs, 1, "dBFS")
        # A part that was clipped may stand lower than one that is whole.
        below = f" ({peak - stem.tops_dbfs:.1f} dB below its highest peak)" if peak - stem.tops_dbfs > 0.2 else ""
        said = f"{tops} crests are cut off at the same height, {height}{below}, first at {_where(places[0])}"
        found.append(
            Fault(
                stem.name,
                "flat tops",
                tops,
                f"{said}: it was clipped or driven flat before this file was made; take it again unless that is meant.",
                places,
            )
        )
    if over:
        what = "its float samples reach" if stem.coding in ("FLOAT", "DOUBLE") else "decoded it reaches"
        said = f"{what} {signed(peak, 1 if peak >= 0.05 else 3, 'dBFS', plus=True)}, beyond full scale"
        found.append(Fault(stem.name, "over", 1, f"{said}; turn it down before it meets a fixed-point file."))
    elif readings["true_peak_dbtp"] >= 0.05 and not clips:
        said = f"between the samples it reaches {signed(readings['true_peak_dbtp'], 1, 'dBTP')}"
        found.append(Fault(stem.name, "true peak", 1, f"{said}; a converter may clip there: turn it down."))
    if stem.silent:
        said = "it is silent" if peak == -math.inf else f"nothing in it is louder than {signed(-70.0, 0, 'dBFS')}"
        found.append(Fault(stem.name, "silent", 1, f"{said}; was the right track exported?"))
    elif stem.channels > 1:
        levels = stem.per_channel["active_rms_dbfs"]
        dead = [str(index + 1) for index, level in enumerate(levels) if level == -math.inf]
        if dead:
            which = "channel " + dead[0] if len(dead) == 1 else "channels " + ", ".join(dead)
            found.append(Fault(stem.name, "silent channel", len(dead), f"nothing is heard on its {which}."))
        else:
            found += _as_a_pair(stem, practice)
    found += _damaged(stem, tempo)
    named = stem.path.suffix.removeprefix(".").lower()
    if any(named in endings and stem.form not in forms for endings, forms in _FAMILIES) and (
        any(stem.form in forms for _, forms in _FAMILIES)
    ):
        said = f"its name ends in .{named}, but {stem.form.removesuffix('EX')} is in it"
        found.append(Fault(stem.name, "format", 1, f"{said}: export it again, or name it by what it holds."))
    if stem.used_bits is not None and stem.used_bits <= _LEAST_BITS and not stem.silent:
        said = f"of its words of 24 bits only {stem.used_bits} are in use: it was a file of {_LEAST_BITS} bits before"
        found.append(Fault(stem.name, "word", 1, f"{said}."))
    # The mean of a moment is its lowest notes, not an offset.
    if readings["dc_offset_dbfs"] > practice.dc_limit_dbfs and stem.seconds >= LEAST_SECONDS:
        said = f"its middle lies off zero by {signed(readings['dc_offset_dbfs'], 1, 'dBFS')} (DC)"
        found.append(Fault(stem.name, "dc", 1, f"{said}; a high-pass filter takes that out."))
    return found


def _damaged(stem: Stem, tempo: Tempo | None) -> list[Fault]:
    """Drop-outs, repeated blocks and clicks, each kind in one sentence."""
    found = []
    for kind, kinds, said, advice in _DAMAGE:
        places = tuple(
            _place(stem, each.start, each.length, each.channel, tempo) for each in stem.damage if each.kind in kinds
        )
        if not places:
            continue
        sides = {place.channel for place in places}
        only = f" on its channel {sides.pop()} only" if stem.channels > 1 and len(sides) == 1 else ""
        longest = max(place.length for place in places)
        length = f", the longest {longest / stem.rate_hz * 1000:.0f} ms" if longest > 0.002 * stem.rate_hz else ""
        # What begins at once on several channels happened once.
        starts = np.array([place.sample for place in places])
        count = 1 + int(np.count_nonzero(np.diff(starts) > _AT_ONCE_SECONDS * stem.rate_hz))
        sentence = f"{said} {times(count)}{only}{length}, first at {_where(places[0])}; {advice}."
        found.append(Fault(stem.name, kind, count, sentence, places[:_PLACES]))
    return found


_DAMAGE = (
    ("drop-out", ("drop-out", "frozen"), "its sound drops out", "record or export it again, or mend it by hand"),
    ("repeated", ("repeated",), "a block of it comes twice over", "a buffer was played again: export it again"),
    ("click", ("click",), "it clicks", "listen there, then mend it or export it again"),
)


def _as_a_pair(stem: Stem, practice: Practice) -> list[Fault]:
    pair = stem.pair
    if pair is None:
        return []
    louder = "left" if pair.balance_db > 0 else "right"
    apart = f"{abs(pair.balance_db):.1f} dB louder on the {louder}"
    if pair.correlation > 0 and pair.null_db < _DUAL_NULL_DB:
        if abs(pair.balance_db) < 0.05:
            return [Fault(stem.name, "dual mono", 1, "both channels hold the same: a mono file would do.")]
        said = f"both channels hold the same, {apart}: a mono file and the pan would do."
        return [Fault(stem.name, "dual mono", 1, said), *_imbalance(stem, pair, practice)]
    found = []
    if pair.correlation < OPPOSITE_SIDES:
        said = f"its two channels are in opposite polarity (correlation {signed(pair.correlation, 2, '')})"
        found.append(Fault(stem.name, "opposed channels", 1, f"{said}; in mono it will nearly vanish."))
    elif pair.mono_loss_db > _MONO_LOSS_DB and pair.cancelling_share < _MOSTLY_CANCELLING:
        said = f"in mono it loses {pair.mono_loss_db:.1f} dB (two sides that share nothing lose 3.0)"
        found.append(Fault(stem.name, "mono loss", 1, f"{said}; listen to it in mono."))
    elif pair.cancelling_share >= _CANCELLING_SHARE and stem.seconds >= LEAST_SECONDS:
        first = max(pair.cancelling, key=lambda each: each[1] - each[0])
        said = f"its two channels are in opposite polarity for {100 * pair.cancelling_share:.0f} % of its sound"
        where = f"longest from {clock(first[0])} to {clock(first[1])}"
        found.append(Fault(stem.name, "opposed channels", 1, f"{said}, {where}; in mono that nearly vanishes."))
    if pair.later_ms and abs(pair.later_correlation) >= -practice.opposite_correlation:
        later, upside = ("right", "left")[pair.later_ms < 0], ", upside down" if pair.later_correlation < 0 else ""
        said = f"its {later} channel comes {abs(pair.later_ms):.0f} ms later with the same sound{upside}"
        found.append(Fault(stem.name, "late channel", 1, f"{said}; in mono that sounds hollow: move it back."))
    if pair.low_end_apart and pair.correlation >= practice.opposite_correlation:
        said = "what lies below 120 Hz is almost wholly in the difference of its sides"
        found.append(Fault(stem.name, "low end", 1, f"{said}; in mono its low end vanishes."))
    return found + _imbalance(stem, pair, practice)


def _imbalance(stem: Stem, pair: Sides, practice: Practice) -> list[Fault]:
    # A hundredth of grace, so that 6.0 dB that were rounded are still 6.0 dB.
    if abs(pair.balance_db) < practice.imbalance_db - 0.01:
        return []
    louder = "left" if pair.balance_db > 0 else "right"
    return [Fault(stem.name, "imbalance", 1, f"its {louder} channel is {abs(pair.balance_db):.1f} dB louder.")]


def _places(stem: Stem, runs: ClippedRuns, tempo: Tempo | None) -> tuple[Place, ...]:
    found = zip(runs.start.tolist(), runs.length.tolist(), runs.channel.tolist(), strict=True)
    return tuple(_place(stem, *each, tempo) for each in list(found)[:_PLACES])


def _place(stem: Stem, start: int, length: int, channel: int, tempo: Tempo | None) -> Place:
    seconds = start / stem.rate_hz
    return Place(start, seconds, length, channel + 1, tempo.place(seconds) if tempo else "")


def _where(place: Place) -> str:
    return f"{clock(place.seconds)} ({f'bar {place.bar}, ' if place.bar else ''}sample {place.sample})"
