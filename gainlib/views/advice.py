"""The one sentence above a bench: what matters now, and which way to go."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from gainlib import loops
from gainlib.decibels import db_from_ratio
from gainlib.flow import Rendering, TapLevels
from gainlib.meters import clipped_runs, peak_dbfs
from gainlib.stages import Converter, Delivery, Fader, Source, settings_of
from gainlib.text import left, level, plain, signed, times
from gainlib.views.phrasing import of_tap, spoken, stage_of
from gainlib.views.signal_path import entering

__all__ = ["HEADROOM_DB", "MOST_LIMITING_DB", "TARGET_PEAK_DBFS", "Headline", "headline"]

TARGET_PEAK_DBFS = -15.0
"""Where the peaks of a recording usually stand (*common practice*)."""

HEADROOM_DB = 10.0
"""What is kept in hand for a louder moment than the rehearsed one (*common practice*)."""

_TOO_LOW_DBFS = -30.0
"""Peaks below this are called too low: 15 dB under where they usually stand (a choice of this course)."""

SURPRISE_DB = 4.0
"""A take whose peak stands this far over its usual peaks holds its loud moment already (a choice of this course)."""

_REST_DB = 30.0

_LEAST_DB = 3.0
"""What even the loudest moment of a take should leave (*common practice*)."""

MOST_LIMITING_DB = 6.0
"""How far a limiter may turn single peaks down before it is often heard (*common practice*)."""

_CONVERTER_NOISE_DB = 1.0
"""From here on the converter's own noise is spoken of: a quarter of the noise before it, added, is 1 dB (*derived*)."""


@dataclass(frozen=True)
class Headline:
    """What matters now (`what`) and what to do about it (`advice`, may be empty); `trouble` when something clips."""

    what: str
    advice: str = ""
    trouble: bool = False

    def __str__(self) -> str:
        return f"{self.what} {self.advice}".rstrip()


def headline(rendering: Rendering, strip: str | None = None) -> Headline:
    """What matters now in this rendering and which way to go; of several strips the one in trouble speaks.

    `what` names the stage and the amount, `advice` the control and by how much; the amounts are computed from what
    would have come out without the ceiling. In a session with a main, buses and the main speak as well; inside it
    nothing clips over full scale, at its end a file would. *Common practice*: peaks near -15 dBFS, 10 dB in hand, no
    more than 6 dB of limiting.

    >>> import numpy as np
    >>> from gainlib import Audio, Converter, Preamp, Session, Source
    >>> take = Audio(0.1 * np.sin(np.arange(48000) / 8), 48000)
    >>> chain = [Source(-30.0, noise_dbfs=-80.0), Preamp(50.0), Converter("EBU R 68")]
    >>> print(headline(Session.of(take, chain, name="voice").render()))
    The take is clean with 18 dB left. Peaks stand at −18 dBFS.
    """
    names = [each.name for each in rendering.session.strips] if strip is None else [strip]
    found = [_of_strip(rendering, name) for name in names]
    if strip is None and rendering.session.main is not None:
        buses = rendering.session.channels[len(rendering.session.strips) :]
        found += [_of_bus(rendering, each.name) for each in buses]
    _, worst = min(enumerate(found), key=lambda each: (-each[1][0], each[0]))
    return worst[1]


def _of_strip(rendering: Rendering, name: str) -> tuple[float, Headline]:
    """How urgent the strip is, and its sentence."""
    table = [each for each in rendering.levels if each.strip == name]
    whose = "" if len(rendering.session.strips) == 1 else f"{name}: "
    stages = [stage_of(rendering, name, each.stage) for each in table]
    if table[0].peak_dbfs == -math.inf:
        return 1.0, Headline(
            f"{whose}The take is silent.", "What the later stages carry is noise only: check the source."
        )
    clipping = [index for index, each in enumerate(table) if each.clipped]
    if clipping:
        return 1000.0 + _over_db(rendering, table, clipping), _clips(rendering, table, clipping, whose)
    if before := _clipped_before(rendering, name):
        return 900.0, Headline(
            f"{whose}The recording itself is clipped {times(before)}.",
            "No control here mends that: record it again, lower.",
            True,
        )
    limited = _limited(rendering, table, whose)
    if limited is not None:
        return limited
    converters = [index for index, stage in enumerate(stages) if isinstance(stage, Converter)]
    over = table[-1].peak_dbfs
    mixed = rendering.session.main is not None
    if over > 0.0 and not math.isfinite(table[-1].ceiling_dbfs) and not mixed:
        last = spoken(stages[-1])
        return 500.0 + over, Headline(
            f"{whose}The {last} reaches {over:.1f} dB over full scale.",
            f"A fixed-point file would clip it: lower the {last} by {math.floor(over) + 1} dB.",
            True,
        )
    # Without a converter the recording itself is measured against full scale, before anything bends or balances it.
    worked = [index for index, stage in enumerate(stages) if stage.bends or isinstance(stage, Fader | Delivery)]
    at = converters[-1] if converters else worked[0] - 1 if worked else len(table) - 1
    if at < 0 or (mixed and not converters):
        return 0.0, Headline(f"{whose}Nothing clips.", f"The strip ends with peaks at {level(over)} dBFS.")
    here, room = table[at], -table[at].peak_dbfs
    mover = _mover(rendering, table, at)
    lower = f": lower the {mover} by about {{}} dB." if mover else "."
    subject = f"The {spoken(stages[at])}" if converters else "The recording"
    if room < 0.0:
        return 200.0 - room, Headline(
            f"{whose}The {spoken(stages[at])} reaches {-room:.1f} dB over full scale.",
            f"Nothing cuts it off here, but a fixed-point file would{lower.format(math.ceil(HEADROOM_DB - room))}",
        )
    usual = _usual_peak_dbfs(rendering, here)
    if here.peak_dbfs - usual >= SURPRISE_DB:
        # The loud moment has been recorded: what counts is that it passed, not what a louder one would need.
        stands = f"the rest of this take peaks near {level(usual)} dBFS"
        if room < _LEAST_DB:
            return 100.0 - room, Headline(
                f"{whose}The loudest moment leaves the {subject.split()[-1]} {left(room)}.",
                f"Keep {_LEAST_DB:.0f} dB{lower.format(max(1, round(_LEAST_DB - room)))}",
            )
        if here.peak_dbfs >= _TOO_LOW_DBFS:
            return 0.0, Headline(
                f"{whose}The take is clean: its loudest moment leaves {left(room)}.",
                f"{stands[:1].upper()}{stands[1:]}.",
            )
    elif room < HEADROOM_DB:
        shown = f"{room:.1f} dB" if f"{room:.0f}" == f"{HEADROOM_DB:.0f}" else left(room)
        amount = max(1, round(HEADROOM_DB - room))
        return 100.0 - room, Headline(
            f"{whose}{subject} has {shown} left.", f"A shout needs {HEADROOM_DB:.0f}{lower.format(amount)}"
        )
    if here.peak_dbfs < _TOO_LOW_DBFS:
        up = round(TARGET_PEAK_DBFS - here.peak_dbfs)
        raised = f"Raise the {mover} by about {up} dB" if mover else f"Peaks could stand {up} dB higher"
        return 50.0, Headline(
            f"{whose}The peaks reach only {level(here.peak_dbfs)} dBFS{_converter_noise(table, at)}.",
            f"{raised}: recorded peaks usually stand near {level(TARGET_PEAK_DBFS)} dBFS.",
        )
    return 0.0, Headline(
        f"{whose}The take is clean with {left(room)} left.", f"Peaks stand at {level(here.peak_dbfs)} dBFS."
    )


def _of_bus(rendering: Rendering, name: str) -> tuple[float, Headline]:
    """How urgent a bus or the main is, and its sentence."""
    table = [each for each in rendering.levels if each.strip == name]
    clipping = [index for index, each in enumerate(table) if each.clipped]
    if clipping:
        return 1000.0 + _over_db(rendering, table, clipping), _clips(rendering, table, clipping, "")
    limited = _limited(rendering, table, "")
    if limited is not None:
        return limited
    last, main = table[-1], rendering.session.main
    if main is None or name != main.name:
        return 0.0, Headline(f"Nothing clips in the {plain(name)}.")
    if last.peak_dbfs == -math.inf:
        return 0.5, Headline(f"The {plain(name)} is silent.")
    if last.peak_dbfs > 0.0 and not math.isfinite(last.ceiling_dbfs):
        amount = math.floor(last.peak_dbfs) + 1
        return 500.0 + last.peak_dbfs, Headline(
            f"The {_called(rendering, last)} reaches {last.peak_dbfs:.1f} dB over full scale.",
            f"A fixed-point file would clip it: {_trimmed(rendering, table, len(table) - 1, amount)}.",
            True,
        )
    if isinstance(stage_of(rendering, name, last.stage), Delivery):
        lufs, dbtp = (last.readings[each] for each in ("loudness_lufs", "true_peak_dbtp"))
        return 0.5, Headline(
            f"Nothing clips, and the file stands at {signed(lufs, unit='LUFS', plus=False)}.",
            f"Its true peak is {signed(dbtp, unit='dBTP', plus=dbtp > 0)}.",
        )
    return 0.5, Headline(
        f"The {plain(name)} is clean with {left(-last.peak_dbfs)} left.",
        f"Peaks stand at {level(last.peak_dbfs)} dBFS.",
    )


def _limited(rendering: Rendering, table: list[TapLevels], whose: str) -> tuple[float, Headline] | None:
    """A limiter that works harder than is usually left unheard; None where none does."""
    for index, each in enumerate(table):
        stage = stage_of(rendering, each.strip, each.stage)
        down = each.readings.get("gain_reduction_db", 0.0)
        if not stage.traced or math.isinf(stage.ceiling) or down <= MOST_LIMITING_DB:
            continue
        amount = math.ceil(down - MOST_LIMITING_DB)
        if isinstance(stage, Delivery):
            loudness = signed(stage.wanted_lufs, unit="LUFS", plus=False)
            advice = f"to reach {loudness} without it, take the peaks down earlier or aim {amount} dB lower."
        else:
            advice = f"{_trimmed(rendering, table, index, amount)}."
        return 300.0 + down, Headline(
            f"{whose}The {_called(rendering, each)} turns down by up to {down:.1f} dB.",
            f"More than {MOST_LIMITING_DB:.0f} dB is often heard: {advice}",
        )
    return None


def _called(rendering: Rendering, each: TapLevels) -> str:
    """A stage in running text; in a bus with whose it is, where a strip's sentence starts with the strip's name."""
    if any(each.strip == strip.name for strip in rendering.session.strips):
        return plain(each.stage)
    return of_tap(rendering, f"{each.strip}/{each.stage}")


def _trimmed(rendering: Rendering, table: list[TapLevels], at: int, amount: int) -> str:
    """Which control before a stage to turn down; where there is none, a trim is asked for."""
    for each in reversed(table[: at + 1]):
        stage = stage_of(rendering, each.strip, each.stage)
        gain = settings_of(stage).get("gain_db")
        if gain is not None and stage.gain_db - gain.low >= amount:  # type: ignore[attr-defined]
            return f"lower the {_called(rendering, each)} by {amount} dB or more"
    return f"trim the {plain(table[0].strip)} by {amount} dB or more"


def _clipped_before(rendering: Rendering, name: str) -> int:
    """How often the recording of a strip stands at full scale; a float file that goes beyond was not cut off there."""
    strips = {each.name: each for each in rendering.session.strips}
    if name not in strips or float(peak_dbfs(strips[name].take.samples).max()) > 0.0:
        return 0
    return len(clipped_runs(strips[name].take.samples))


def _converter_noise(table: list[TapLevels], at: int) -> str:
    added = table[at].noise_dbfs - table[at - 1].noise_dbfs if at else 0.0
    if not math.isfinite(added) or added < _CONVERTER_NOISE_DB:
        return ""
    return f", and the converter's own steps add {added:.0f} dB of noise"


def _usual_peak_dbfs(rendering: Rendering, here: TapLevels) -> float:
    """The peak that three quarters of the seconds stay below, seconds of rest left out."""
    audio = rendering.at(f"{here.strip}/{here.stage}")
    count = max(1, int(audio.seconds))
    peaks = np.zeros(count)
    for channel in range(audio.channels):
        for side in loops.extremes(audio.samples[:, channel], min(count, len(audio.samples))):
            peaks = np.maximum(peaks, np.abs(side))
    sounding = peaks[peaks > peaks.max() * 10 ** (-_REST_DB / 20)]
    return db_from_ratio(float(np.quantile(sounding, 0.75)))


def _over_db(rendering: Rendering, table: list[TapLevels], clipping: list[int]) -> float:
    """How far the signal would stand over the lowest ceiling that clips it, had nothing been cut off before.

    An unclipped tap before the first ceiling tells the peak; each gain between is added to it.
    """
    first = clipping[0]
    lowest = min(table[index].ceiling_dbfs for index in clipping)
    stage = stage_of(rendering, table[first].strip, table[first].stage)
    gain_db = stage.plain_gain_db or table[first].readings.get("gain_db", 0.0)
    came = entering(rendering, f"{table[first].strip}/{stage.name}") if first == 0 else None
    peak = table[first - 1].peak_dbfs if came is None else float(peak_dbfs(came.samples).max())
    return peak + gain_db - lowest


def _clips(rendering: Rendering, table: list[TapLevels], clipping: list[int], whose: str) -> Headline:
    first = clipping[0]
    strip = table[first].strip
    words = [_called(rendering, table[index]) for index in clipping]
    counts = [times(table[index].clipped) for index in clipping]
    what = f"The {words[0]} clips {counts[0]}" + "".join(
        f", the {word} {count}" for word, count in zip(words[1:], counts[1:], strict=True)
    )
    # The smallest whole number of decibels that brings the peak below the ceiling, not onto it.
    amount = max(1, math.floor(_over_db(rendering, table, clipping)) + 1)
    last = stage_of(rendering, strip, table[clipping[-1]].stage)
    if isinstance(last, Delivery):
        advice = f"Let it limit, or aim {amount} dB lower in loudness."
    elif isinstance(stage_of(rendering, strip, table[0].stage), Source):
        advice = _lowered(rendering, table, clipping[-1], amount)
    else:
        trimmed = _trimmed(rendering, table, clipping[-1], amount)
        advice = f"{trimmed[:1].upper()}{trimmed[1:]}."
    after = [stage_of(rendering, strip, each.stage) for each in table[clipping[-1] + 1 :]]
    lowering = [each for each in after if getattr(each, "gain_db", 0.0) < 0.0]
    if lowering:
        count = table[clipping[-1]].clipped
        stay = "the clipped run of the" if count == 1 else f"the {count} clipped runs of the"
        verb = "stays" if count == 1 else "stay"
        advice += f" The {spoken(lowering[0])} lowers the level; {stay} {words[-1]} {verb}."
    return Headline(f"{whose}{what}.", advice, True)


def _lowered(rendering: Rendering, table: list[TapLevels], at: int, amount: int) -> str:
    """Which control takes this many decibels off before a stage; what it cannot reach, the source takes."""
    for index in range(at, -1, -1):
        stage = stage_of(rendering, table[index].strip, table[index].stage)
        gain = settings_of(stage).get("gain_db")
        if gain is None:
            continue
        can = stage.gain_db - gain.low  # type: ignore[attr-defined]
        if can >= amount:
            return f"Lower the {spoken(stage)} by {amount} dB or more."
        short = math.ceil(amount - can)
        turned = (
            f"Lower the {spoken(stage)} by {can:g} dB and the"
            if can > 0
            else "The preamp is as low as it goes: lower the"
        )
        return f"{turned} source by {short} dB or more."
    return f"Lower the source by {amount} dB or more."


def _mover(rendering: Rendering, table: list[TapLevels], at: int) -> str:
    """The nearest stage at or before this one whose gain can be moved, in words; the source where there is none."""
    for index in range(at, -1, -1):
        stage = stage_of(rendering, table[index].strip, table[index].stage)
        if "gain_db" in settings_of(stage) or isinstance(stage, Source):
            return spoken(stage)
    return ""
