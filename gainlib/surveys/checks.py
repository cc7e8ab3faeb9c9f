"""What is wrong with stems, each with where it is and a sentence."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gainlib.meters import ClippedRuns
from gainlib.surveys.cross_checks import find_mismatches, find_opposed
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice, Tempo
from gainlib.text import clock, signed, times

__all__ = ["KINDS", "Fault", "Place", "find_faults", "passages"]

KINDS = {
    "clipped": 1000.0,
    "flat tops": 900.0,
    "over": 800.0,
    "silent": 700.0,
    "opposed": 600.0,
    "opposed channels": 550.0,
    "silent channel": 500.0,
    "true peak": 400.0,
    "dc": 300.0,
    "noise": 250.0,
    "rate": 200.0,
    "start": 190.0,
    "length": 180.0,
    "imbalance": 100.0,
    "dual mono": 0.0,
}
"""Every kind of fault, with its weight in the order of what is worst; a weight of 0 is a remark, not a fault."""

LEAST_SECONDS = 2.0
"""What is shorter has no offset and no pause that could be told from its sound."""

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


def find_faults(stems: Sequence[Stem], practice: Practice, tempo: Tempo | None = None) -> list[Fault]:
    """Everything that is wrong with these stems, each by itself and against its neighbours; the noise is not judged.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> find_faults([measure_stem(bundled("media/kick.flac"), "kick")], Practice())
    []
    """
    found = [fault for stem in stems for fault in _alone(stem, practice, tempo)]
    for each in find_opposed(stems, practice.opposite_correlation):
        later = f", {abs(each.later_ms):.0f} ms apart" if each.later_ms else ""
        said = f"it is in opposite polarity to {each.one} (correlation {signed(each.correlation, 2, '')}{later})"
        found.append(Fault(each.other, "opposed", 1, f"{said}; turn the polarity of one of the two and listen."))
    found += [Fault(stem.name, kind, 1, f"{said}.") for stem, kind, said in find_mismatches(stems)]
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
        said = f"{tops} crests are cut off at the same height, {signed(peak, 1, 'dBFS')}, first at {_where(places[0])}"
        found.append(
            Fault(
                stem.name,
                "flat tops",
                tops,
                f"{said}: it was clipped before this file was made; take it again.",
                places,
            )
        )
    if over:
        what = "its float samples reach" if stem.coding in ("FLOAT", "DOUBLE") else "decoded it reaches"
        said = f"{what} {signed(peak, 1, 'dBFS')}, beyond full scale"
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
    # The mean of a moment is its lowest notes, not an offset.
    if readings["dc_offset_dbfs"] > practice.dc_limit_dbfs and stem.seconds >= LEAST_SECONDS:
        said = f"its middle lies off zero by {signed(readings['dc_offset_dbfs'], 1, 'dBFS')} (DC)"
        found.append(Fault(stem.name, "dc", 1, f"{said}; a high-pass filter takes that out."))
    return found


def _as_a_pair(stem: Stem, practice: Practice) -> list[Fault]:
    pair = stem.pair
    if pair is None:
        return []
    if pair.difference_db < -90.0:
        return [Fault(stem.name, "dual mono", 1, "both channels hold the same: a mono file would do.")]
    found = []
    if pair.correlation < practice.opposite_correlation:
        said = f"its two channels are in opposite polarity (correlation {signed(pair.correlation, 2, '')})"
        found.append(Fault(stem.name, "opposed channels", 1, f"{said}; in mono it will nearly vanish."))
    if abs(pair.balance_db) > practice.imbalance_db:
        louder = "left" if pair.balance_db > 0 else "right"
        found.append(Fault(stem.name, "imbalance", 1, f"its {louder} channel is {abs(pair.balance_db):.1f} dB louder."))
    return found


def _places(stem: Stem, runs: ClippedRuns, tempo: Tempo | None) -> tuple[Place, ...]:
    found = zip(runs.start.tolist(), runs.length.tolist(), runs.channel.tolist(), strict=True)
    return tuple(
        Place(
            start, start / stem.rate_hz, length, channel + 1, tempo.place(start / stem.rate_hz) if tempo else ""
        )
        for start, length, channel in list(found)[:_PLACES]
    )  # fmt: skip


def _where(place: Place) -> str:
    return f"{clock(place.seconds)} ({f'bar {place.bar}, ' if place.bar else ''}sample {place.sample})"
