"""What to do with stems: trims into one range, what the sum then is, where compressors start, what noise becomes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor, Future, wait
from contextlib import ExitStack
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_power, power_from_db, ratio_from_db
from gainlib.errors import GainError
from gainlib.meters import LevelHistogram, Meters
from gainlib.meters.hum import Hum
from gainlib.sound_file import SoundFile, require_sound
from gainlib.surveys.checks import Fault
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.cross_checks import commonest
from gainlib.surveys.stem import Stem, Stopped, block_frames
from gainlib.surveys.targets import Practice
from gainlib.text import signed, spaced

__all__ = ["Sum", "Trim", "add_up", "apply_trim", "find_noise", "lower_alike", "propose_trim", "share_above"]

MOST_SUMMED = 256
"""More stems than these are not added up: nobody mixes so many, and each is an open file."""


@dataclass(frozen=True)
class Trim:
    """The trim of one stem, why it is that, and what the stem then is.

    `held` says what held it back from the target: "peaks", "silence", "lacks" (the measure cannot be read) or "group"
    (the stems of its `group` share one trim), or nothing. `noise_dbfs` is the noise of its pauses,
    `noise_under_sound_dbfs` where it has none that of its sound, None where it is not told.
    `works_before` and `works_after` are the shares of its playing time in which a compressor with the practice's
    threshold would work.
    """

    stem: str
    gain_db: float
    held: str
    before: float | None
    after: float | None
    peak_dbfs: float
    true_peak_dbtp: float
    noise_dbfs: float | None
    hum: Hum | None
    works_before: float
    works_after: float
    group: str = ""
    noise_under_sound_dbfs: float | None = None

    @property
    def noise_level_dbfs(self) -> float | None:
        """Its noise after the trim, in its pauses or else under its sound."""
        return self.noise_under_sound_dbfs if self.noise_dbfs is None else self.noise_dbfs


@dataclass(frozen=True)
class Sum:
    """What the stems add up to at the main bus: `before` the trims, `after` them, by the names of measures.

    `main_trim_db` is what the main then needs, 0 or below; `lowered_db` by how much all trims were lowered alike so
    that it needs none, 0 where that was not asked for; `noise_dbfs` the noise of all stems together after both, None
    where none pauses. `left_out` has each stem that could not be added and why.
    """

    stems: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    rate_hz: int
    channels: int
    seconds: float
    before: Mapping[str, float]
    after: Mapping[str, float]
    main_trim_db: float
    noise_dbfs: float | None
    lowered_db: float = 0.0

    def delivered(self, measure: str) -> float:
        """A level of the sum after the main's trim.

        >>> Sum((), (), 48000, 1, 1.0, {}, {"peak_dbfs": -1.0}, -5.0, None).delivered("peak_dbfs")
        -6.0
        """
        return COLUMNS[measure].moved(self.after[measure], self.main_trim_db)


def propose_trim(stem: Stem, practice: Practice) -> Trim:
    """The trim that brings a stem to the target, or as near as its peaks let it; to a tenth of a decibel.

    A silent stem and one that cannot be measured stay as they are.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> found = propose_trim(measure_stem(bundled("media/bass.flac"), "bass"), Practice())
    >>> found.held, round(found.after or 0.0)
    ('', -18)
    """
    level = stem.readings.get(practice.measure)
    if level is None or not math.isfinite(level):
        return apply_trim(stem, 0.0, practice, held="silence" if stem.silent else "lacks")
    wanted = practice.value - level
    most = practice.stem_ceiling_dbtp - stem.readings["true_peak_dbtp"]
    # Rounded down, so that the ceiling holds to the last digit.
    gain_db = math.floor(10.0 * most) / 10.0 if wanted > most else round(wanted, 1)
    return apply_trim(stem, gain_db + 0.0, practice, held="peaks" if wanted > most else "")


def apply_trim(stem: Stem, gain_db: float, practice: Practice, *, held: str = "", group: str = "") -> Trim:
    """What a stem is after a trim of so many decibels.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> bass = measure_stem(bundled("media/bass.flac"), "bass")
    >>> round(apply_trim(bass, -6.0, Practice()).peak_dbfs - bass.readings["peak_dbfs"], 6)
    -6.0
    """
    level = stem.readings.get(practice.measure)
    noise, under = stem.noise.floor_dbfs, stem.noise.under_sound_dbfs
    return Trim(
        stem=stem.name, gain_db=gain_db, held=held, before=level, after=None if level is None else level + gain_db,
        peak_dbfs=stem.readings["peak_dbfs"] + gain_db, true_peak_dbtp=stem.readings["true_peak_dbtp"] + gain_db,
        noise_dbfs=None if noise is None else noise + gain_db, hum=stem.noise.hum,
        works_before=share_above(stem.levels, practice.threshold_dbfs),
        works_after=share_above(stem.levels, practice.threshold_dbfs - gain_db), group=group,
        noise_under_sound_dbfs=None if under is None else under + gain_db,
    )  # fmt: skip


def lower_alike(stems: Sequence[Stem], trims: Sequence[Trim], total: Sum, practice: Practice) -> tuple[list[Trim], Sum]:
    """Every trim lowered by what the main would need, so that the sum fits with the main at 0 dB; the balance stays.

    >>> total = Sum((), (), 48000, 1, 1.0, {}, {"peak_dbfs": -1.0}, -5.0, None)
    >>> lower_alike((), (), total, Practice())[1].after
    {'peak_dbfs': -6.0}
    """
    by_db = total.main_trim_db
    lowered = [
        each
        if each.held == "silence"
        else apply_trim(stem, round(each.gain_db + by_db, 1) + 0.0, practice, held=each.held, group=each.group)
        for stem, each in zip(stems, trims, strict=True)
    ]
    after = {name: COLUMNS[name].moved(value, by_db) for name, value in total.after.items()}
    return lowered, replace(total, after=after, main_trim_db=0.0, lowered_db=-by_db + 0.0)


def share_above(levels: LevelHistogram, threshold_dbfs: float) -> float:
    """How much of its playing time, in windows of 50 ms above -70 dBFS, a stem's RMS is above a threshold; 0 to 1.

    The channel counts that is above it most. Levels are known to a decibel: within one they are taken as evenly spread.

    >>> levels = LevelHistogram(np.array([-30.0, -20.0, -10.0]), np.array([[0.5], [0.5]]), np.zeros(1))
    >>> share_above(levels, -15.0)
    0.25
    """
    low, high = levels.edges_dbfs[:-1], levels.edges_dbfs[1:]
    part = np.clip((high - threshold_dbfs) / (high - low), 0.0, 1.0)
    playing = levels.share[low >= -70.0].sum(axis=0)
    above = (levels.share * (part * (low >= -70.0))[:, None]).sum(axis=0)
    return float(np.max(np.divide(above, playing, out=np.zeros_like(above), where=playing > 0)))


def find_noise(trims: Sequence[Trim], practice: Practice) -> list[Fault]:
    """The stems whose noise is above the limit after their trims.

    >>> find_noise((), Practice())
    []
    """
    found = []
    for each in trims:
        noise = each.noise_level_dbfs
        if each.hum is not None and each.hum.level_dbfs + each.gain_db > practice.noise_limit_dbfs:
            found.append(Fault(each.stem, "hum", 1, _hum_said(each.hum, each.gain_db)))
            if noise is None or each.hum.level_dbfs + each.gain_db > noise - 3.0:
                continue  # the noise in its pauses is the hum
        if noise is not None and noise > practice.noise_limit_dbfs:
            said = (
                "its noise floor comes to {} after the trim; it will be heard in pauses: gate it, edit or record it "
                "again."
                if each.noise_dbfs is not None
                else "noise under its sound comes to {} after the trim; it never rests, so no gate takes that out: "
                "listen where it is soft, record it again if that hiss is not meant."
            )
            found.append(Fault(each.stem, "noise", 1, said.format(signed(noise, 1, "dBFS"))))
    return found


def _hum_said(hum: Hum, gain_db: float) -> str:
    lines = " and ".join(filter(None, [", ".join(f"{each}" for each in hum.lines_hz[:-1]), f"{hum.lines_hz[-1]} Hz"]))
    said = f"mains hum lies under it, {signed(hum.level_dbfs + gain_db, 1, 'dBFS')} after the trim, at {lines}"
    return f"{said}; look for the loop or the supply, record again or filter these out."


def addable(stems: Sequence[Stem]) -> tuple[list[Stem], list[tuple[str, str]]]:
    """The stems that can be added to one another, and why each of the others cannot."""
    if len(stems) > MOST_SUMMED:
        return [], [(each.name, f"more than {MOST_SUMMED} stems are not added up") for each in stems]
    if not stems:
        return [], []
    rate = commonest([each.rate_hz for each in stems])
    wide = [each.channels for each in stems if each.rate_hz == rate and each.channels > 1]
    channels = Counter(wide).most_common(1)[0][0] if wide else 1
    added, left_out = [], []
    for each in stems:
        if each.rate_hz != rate:
            left_out.append((each.name, f"its rate is {spaced(each.rate_hz)} Hz, not {spaced(rate)} Hz"))
        elif each.channels not in (1, channels):
            left_out.append((each.name, f"it has {each.channels} channels, not 1 or {channels}"))
        else:
            added.append(each)
    return added, left_out


def add_up(
    stems: Sequence[Stem],
    trims: Mapping[str, Trim],
    practice: Practice,
    pool: Executor,
    *,
    workers: int = 2,
    tick: Callable[[float], None] = lambda share: None,
    stop: Callable[[], bool] = lambda: False,
) -> Sum | None:
    """The stems added up sample by sample, before and after their trims, and what the main then needs.

    Reads the files once more, side by side, a block at a time; a stem alone is its own sum. None where there is nothing
    to add up. Raises GainError for a file that can no longer be read, Stopped when `stop` says so.
    """
    added, left_out = addable(stems)
    added = [each for each in added if not each.silent]
    if not added:
        return None
    rate_hz, channels = added[0].rate_hz, max(each.channels for each in added)
    longest = max(each.frames for each in added)
    if len(added) == 1:
        was = {name: value for name, value in added[0].readings.items() if COLUMNS[name].kind != "count"}
        gain_db = trims[added[0].name].gain_db
        now = {name: COLUMNS[name].moved(value, gain_db) for name, value in was.items()}
        return _total(added, left_out, was, now, trims, practice)
    frames = block_frames(rate_hz)
    gains = [float(ratio_from_db(trims[each.name].gain_db)) for each in added]
    read = [name for name, column in COLUMNS.items() if column.of_sum]
    before, after = Meters(rate_hz, channels, read), Meters(rate_hz, channels, read)
    with ExitStack() as files:
        readers: list[Any] = []
        for each in added:
            recording = files.enter_context(SoundFile(each.path))
            same = (recording.rate_hz, recording.channels) == (each.rate_hz, each.channels)
            if not same or not recording.may_hold(each.frames):
                raise GainError(f"{each.name} changed while it was surveyed; survey it again.")
            readers.append(recording.blocks(frames))
        groups = [list(range(first, len(added), workers)) for first in range(min(workers, len(added)))]

        def add(group: list[int], length: int) -> NDArray[np.float64]:
            total = np.zeros((2, length, channels))
            for index in group:
                block = next(readers[index], None)
                if block is not None:
                    loops.add_as_it_is_and_scaled(np.ascontiguousarray(block), gains[index], total[0], total[1])
            return total

        def adding(start: int) -> list[Future[NDArray[np.float64]]]:
            length = min(frames, longest - start)
            return [pool.submit(add, group, length) for group in groups if length > 0]

        parts = [task.result() for task in adding(0)]
        for start in range(0, longest, frames):
            if stop():
                raise Stopped
            # The next block is added up while this one is read, so that no worker waits for another.
            reading = [
                pool.submit(_read, meters, [part[side] for part in parts], name)
                for side, (meters, name) in enumerate(((before, "the sum"), (after, "the sum after the trims")))
            ]
            ahead = adding(start + frames)
            wait(reading)
            wait(ahead)  # all of them, since the files are closed when one has failed
            for read_one in reading:
                read_one.result()
            parts = [task.result() for task in ahead]
            tick(min(frames, longest - start) / longest)
    return _total(added, left_out, before.of_all(), after.of_all(), trims, practice)


def _read(meters: Meters, parts: Sequence[NDArray[np.float64]], name: str) -> None:
    # Single precision is enough to read a sum by, 150 dB below its peak; the sum itself was not rounded.
    block: Samples = sum(parts[1:], start=parts[0]).astype(np.float32)
    columns = np.asfortranarray(block)
    figures = meters.figures_of(columns)
    if not figures.plain:
        require_sound(block, name, meters.samples)
    meters.take(block, columns, figures)


def _total(
    added: list[Stem],
    left_out: list[tuple[str, str]],
    was: Mapping[str, float],
    now: Mapping[str, float],
    trims: Mapping[str, Trim],
    practice: Practice,
) -> Sum:
    """The sum with what the main then needs."""
    over = now["true_peak_dbtp"] - practice.main_ceiling_dbtp
    main_trim_db = -math.ceil(round(10.0 * over, 6)) / 10.0 if over > 0 else 0.0
    noises = [noise for stem in added if (noise := trims[stem.name].noise_level_dbfs) is not None]
    power = sum(power_from_db(noise) for noise in noises)
    together = db_from_power(power) + main_trim_db if noises else None
    return Sum(
        stems=tuple(each.name for each in added), left_out=tuple(left_out), rate_hz=added[0].rate_hz,
        channels=max(each.channels for each in added), seconds=max(each.seconds for each in added),
        before=was, after=now, main_trim_db=main_trim_db, noise_dbfs=together,
    )  # fmt: skip
