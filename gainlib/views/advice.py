"""The sentence above a bench: the facts, and one step where somebody said what is aimed at."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from gainlib.flow import Rendering, Strip, TapLevels
from gainlib.meters import clipped_runs, peak_dbfs, true_peak_dbtp
from gainlib.stages import Delivery, Limiter
from gainlib.text import plain, signed, times
from gainlib.views.aim import Aim
from gainlib.views.phrasing import of_tap, spoken, stage_of
from gainlib.views.signal_path import entering
from gainlib.views.steps import Movable, Step, step_below, step_to

__all__ = ["Advice", "advise"]

_NEAR_FULL_SCALE_DB = 6.0
"""Within this much of full scale the curve between the samples is looked at; a steady tone's stands 3 dB over them."""

_HELD_TO_DB = 0.1
"""How near a limiter of true peaks keeps its ceiling."""

_CONVERTER_NOISE_DB = 1.0
"""From here on the converter's own noise is spoken of: a quarter of the noise before it, added, is 1 dB (*derived*)."""

_SUBJECT = re.compile(r"The [\w’' -]+?(?= (?:has|reaches|turns|peaks) )")
"""What a sentence on a stage begins with."""


@dataclass(frozen=True)
class Advice:
    """The `facts`, and the `step` towards what is aimed at (may be empty); `trouble` where something clips or is over.

    `move` is the same step as settings to move, where there is one.
    """

    facts: str
    step: str = ""
    trouble: bool = False
    move: Step | None = None

    def __str__(self) -> str:
        return f"{self.facts} {self.step}".rstrip()


def advise(rendering: Rendering, controls: Sequence[Movable] = (), aims: Sequence[Aim] = ()) -> Advice:
    """What clips, what is over, what is left and where; and, where something is aimed at, one step of these controls.

    Of several aims the first that is missed is told. Nothing is aimed at by itself: without aims there are facts only.
    Whatever clips comes first, and how far it is over is reckoned from what would have come without the ceiling.

    >>> import numpy as np
    >>> from gainlib import Audio, Converter, Preamp, Session, Source
    >>> take = Audio(0.1 * np.sin(np.arange(48000) / 8), 48000)
    >>> chain = [Source(-30.0, noise_dbfs=-80.0), Preamp(50.0), Converter("EBU R 68")]
    >>> print(advise(Session.of(take, chain, name="voice").render()))
    Nothing clips. The converter has 18.0 dB left below full scale.
    """
    clipping = _clipping(rendering)
    values = [(each, each.read(rendering)) for each in aims]
    move = _step(rendering, controls, values, clipping)
    # One missed aim is told, the first; where all are met, all of them are.
    shown = [] if clipping else [each for each in values if not each[0].holds(each[1])][:1] or values
    said = [_told(rendering, *each) for each in shown if each[0].reading != "clipped"]
    if move is not None:
        said += [move.driver, _sentence(move.words)]
    step = " ".join(filter(None, said))
    if clipping:
        return Advice(_clips(rendering, clipping), step, True, move)
    if recorded := _recorded_clipped(rendering):
        return Advice(" ".join([*recorded, "No control here mends that."]), step, True, move)
    besides = {f"{each.reading} {'/'.join(rendering.session.tap(each.at))}" for each, _ in shown if not each.seconds}
    facts, trouble = _levels(rendering, besides)
    facts = [*filter(None, facts), *_limited(rendering, besides)]
    told = _named_once([*facts, *filter(None, said)])
    return Advice(" ".join(told[: len(facts)]), " ".join(told[len(facts) :]), trouble, move)


def _named_once(sentences: Sequence[str]) -> list[str]:
    """A stage that the sentence before has named is "it" in the next."""
    told, named = [], ""
    for each in sentences:
        found = _SUBJECT.match(each)
        subject = found[0] if found else ""
        told.append(f"It{each[len(subject) :]}" if subject and subject == named else each)
        named = subject
    return told


def _step(
    rendering: Rendering,
    controls: Sequence[Movable],
    values: Sequence[tuple[Aim, float]],
    clipping: list[list[TapLevels]],
) -> Step | None:
    """Below the ceiling first where something clips, else towards the first aim that is missed."""
    if not values:
        return None
    if clipping:
        moved = {each.tap for each in controls if each.path.endswith("/gain_db")}
        return step_below(rendering, controls, _path(clipping[0][0]), _over_db(rendering, clipping[0], moved))
    for aim, value in values:
        if not aim.holds(value):
            return step_to(rendering, controls, aim, value) if math.isfinite(value) else None
    return None


def _told(rendering: Rendering, aim: Aim, value: float) -> str:
    """What is read, and that it is as aimed, or what is aimed at and why."""
    said = aim.told(rendering, value)
    return f"{said}, as aimed." if aim.holds(value) else f"{said}; the aim is {aim.bounds}. {aim.why}".rstrip()


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _path(each: TapLevels) -> str:
    return f"{each.strip}/{each.stage}"


def _called(rendering: Rendering, each: TapLevels) -> str:
    return of_tap(rendering, _path(each))


def _db(amount: float) -> str:
    """An amount to the tenth; what would read 0.0 is not nothing."""
    return f"{amount:.1f} dB" if amount >= 0.05 else "less than 0.1 dB"


def _clipping(rendering: Rendering) -> list[list[TapLevels]]:
    """For each strip, bus or main what clips there, the worst first; a stage that rounds off by trade does not clip."""
    found: dict[str, list[TapLevels]] = {}
    for each in rendering.levels:
        if each.clipped and not stage_of(rendering, each.strip, each.stage).bends:
            found.setdefault(each.strip, []).append(each)
    return sorted(found.values(), key=lambda table: -_over_db(rendering, table))


def _over_db(rendering: Rendering, clipping: list[TapLevels], moved: Collection[str] = ()) -> float:
    """How far the signal would stand over the ceilings that clip it, had nothing been cut off before.

    What comes into the first tells the peak, and each gain from there on is added; a gain that can be moved by itself
    (`moved`) ends the row, since what clips behind it is another matter.
    """
    first = clipping[0]
    table = [each for each in rendering.levels if each.strip == first.strip]
    would, over = float(peak_dbfs(entering(rendering, _path(first)).samples).max()), -math.inf
    for each in table[table.index(first) : table.index(clipping[-1]) + 1]:
        if each is not first and _path(each) in moved:
            break
        gain_db = stage_of(rendering, each.strip, each.stage).plain_gain_db
        would += gain_db or each.readings.get("gain_db", each.readings.get("loop_gain_db", 0.0))
        if each in clipping:
            over = max(over, would - each.ceiling_dbfs)
    return over


def _clips(rendering: Rendering, clipping: list[list[TapLevels]]) -> str:
    """What clips, how often, what a later gain does not mend, and what clips besides."""
    worst, *others = clipping
    named = [f"the {_called(rendering, each)} {{}}{times(each.clipped)}" for each in worst]
    said = _sentence(", ".join(each.format("clips " if not index else "") for index, each in enumerate(named)))
    table = [each for each in rendering.levels if each.strip == worst[0].strip]
    after = [stage_of(rendering, each.strip, each.stage) for each in table[table.index(worst[-1]) + 1 :]]
    lowering = [each for each in after if (each.plain_gain_db or 0.0) < 0.0]
    if lowering:
        count, what = worst[-1].clipped, spoken(stage_of(rendering, worst[-1].strip, worst[-1].stage))
        stay = f"clipped run of the {what} stays" if count == 1 else f"{count} clipped runs of the {what} stay"
        said += f" The {spoken(lowering[0])} lowers the level; the {stay}."
    also = [f"the {_called(rendering, each)} {times(each.clipped)}" for table in others for each in table]
    return said + (f" Also clipped: {', '.join(also)}." if also else "")


def _recorded_clipped(rendering: Rendering) -> list[str]:
    """Which recordings stand at full scale; a float file that goes beyond was not cut off there."""
    told = []
    for strip in rendering.session.strips:
        peak, count = _recorded(rendering, strip)
        if peak <= 0.0 and count:
            whose = "" if len(rendering.session.strips) == 1 else f" of the {plain(strip.name)}"
            told.append(f"The recording{whose} itself is clipped {times(count)}.")
    return told


def _recorded(rendering: Rendering, strip: Strip) -> tuple[float, int]:
    """The peak of a recording in dBFS and its clipped runs, read once for as long as the head of its strip stands."""
    if not strip.stage_names:
        return _of_take(rendering, strip.name)
    return rendering.once(f"{strip.name}/{strip.stage_names[0]}", _of_take)


def _of_take(rendering: Rendering, tap: str) -> tuple[float, int]:
    take = next(each.take for each in rendering.session.strips if each.name == tap.split("/")[0])
    return float(peak_dbfs(take.samples).max()), len(clipped_runs(take.samples))


def _limited(rendering: Rendering, besides: set[str]) -> list[str]:
    """How far each limiter turns down; what the step speaks of is not said twice."""
    told = []
    for each in rendering.levels:
        down = each.readings.get("gain_reduction_db", 0.0)
        if math.isfinite(each.ceiling_dbfs) and down >= 0.05 and f"gain_reduction_db {_path(each)}" not in besides:
            told.append(f"The {_called(rendering, each)} turns down by up to {down:.1f} dB.")
    return told


def _levels(rendering: Rendering, besides: set[str]) -> tuple[list[str], bool]:
    """Where nothing clips: what is silent, over full scale or left below it, and whether that is trouble."""
    session = rendering.session
    ends = (
        [rendering.levels[-1]]
        if session.main is not None
        else [[each for each in rendering.levels if each.strip == strip.name][-1] for strip in session.strips]
    )
    silent = [each.name for each in session.strips if _recorded(rendering, each)[0] == -math.inf]
    if len(silent) == len(session.strips):
        whose = "The take is" if len(silent) == 1 else "All takes are"
        return [f"{whose} silent. What the later stages carry is noise only."], False
    facts = [f"The {plain(name)} is silent." for name in silent]
    highest = max(ends, key=lambda each: each.peak_dbfs)
    if highest.peak_dbfs == -math.inf:
        return [*facts, f"Nothing comes out of the {_called(rendering, highest)}."], False
    end_over = highest.peak_dbfs > 0.0 and not math.isfinite(highest.ceiling_dbfs)
    if end_over:
        said = f"The {_called(rendering, highest)} reaches {_db(highest.peak_dbfs)} over full scale."
        return [*facts, said, "Nothing cuts it off here, but a fixed-point file would."], True
    true_peak = _true_peak_dbtp(rendering, highest)
    over = true_peak is not None and true_peak > 0.0
    if over and true_peak is not None:
        reads = f"{true_peak:+.1f} dBTP" if true_peak >= 0.05 else "just over 0 dBTP"
        facts.append(
            f"No sample clips, but the true peak after the {_called(rendering, highest)} is {reads}: "
            "between the samples it is over full scale."
        )
    else:
        facts.append("Nothing clips.")
    facts += _over_inside(rendering)
    if isinstance(stage_of(rendering, highest.strip, highest.stage), Delivery):
        loudness = highest.readings["loudness_lufs"]
        facts.append(
            f"The file has a loudness of {signed(loudness, unit='LUFS', plus=False)} "
            f"and a true peak of {signed(highest.readings['true_peak_dbtp'], unit='dBTP')}."
        )
    elif not over:
        facts.append(_left(rendering, ends, true_peak, besides))
    return facts + _noise_of_converters(rendering), over


def _true_peak_dbtp(rendering: Rendering, end: TapLevels) -> float | None:
    """The true peak at the end of the path; None where it cannot come near full scale."""
    if "true_peak_dbtp" in end.readings:
        return end.readings["true_peak_dbtp"]
    stage = stage_of(rendering, end.strip, end.stage)
    held = isinstance(stage, Limiter) and stage.true_peak and stage.ceiling_dbfs <= -_HELD_TO_DB
    if held or end.peak_dbfs < -_NEAR_FULL_SCALE_DB:
        return None
    return float(true_peak_dbtp(rendering.at(_path(end)).samples).max())


def _over_inside(rendering: Rendering) -> list[str]:
    """The first place inside where full scale is passed and nothing cuts it off; of a mix only its buses and the main.

    In a mix one strip over full scale is no matter, and which strip is the loudest is often what is to be found.
    """
    strips = {each.name for each in rendering.session.strips}
    for each in rendering.levels:
        stage = stage_of(rendering, each.strip, each.stage)
        if rendering.session.main is not None and each.strip in strips:
            continue
        if each.peak_dbfs > 0.0 and math.isinf(each.ceiling_dbfs) and stage.output_domain == "digital":
            return [
                f"The {_called(rendering, each)} reaches {_db(each.peak_dbfs)} over full scale; "
                "inside the session nothing cuts it off."
            ]
    return []


def _left(rendering: Rendering, ends: list[TapLevels], true_peak: float | None, besides: set[str]) -> str:
    """The least room of all that can clip and of the ends: whose, how much, and below what; `true_peak` of the end."""
    room: list[tuple[float, TapLevels, str]] = []
    for each in rendering.levels:
        limits = "gain_reduction_db" in each.readings
        if math.isfinite(each.ceiling_dbfs) and not limits and each.peak_dbfs > -math.inf:
            full = abs(each.ceiling_dbfs) < 0.005
            room.append((each.headroom_db, each, "full scale" if full else "its ceiling"))
        elif each in ends and each.peak_dbfs > -math.inf:
            room.append((-each.peak_dbfs, each, "full scale"))
    least = min(amount for amount, _, _ in room)
    amount, here, below = next(each for each in room if each[0] - least < 0.05)
    if f"peak_dbfs {_path(here)}" in besides and below == "full scale":
        return ""
    higher = here in ends and true_peak is not None and round(true_peak, 1) > round(here.peak_dbfs, 1)
    curve = f" (true peak {signed(true_peak, unit='dBTP', plus=False)})" if higher and true_peak is not None else ""
    return f"The {_called(rendering, here)} has {_db(amount)} left below {below}{curve}."


def _noise_of_converters(rendering: Rendering) -> list[str]:
    """Where a converter's own noise is what is heard: how much it adds to the noise before it.

    Nothing where the noise of what comes into the strip cannot be read, since most of it may lie there.
    """
    told, before, known = [], None, False
    for each in rendering.levels:
        if before is None or before.strip != each.strip:
            known = math.isfinite(each.noise_dbfs)
        elif known and each.kind == "Converter":
            added = each.noise_dbfs - before.noise_dbfs
            if math.isfinite(added) and added >= _CONVERTER_NOISE_DB:
                told.append(f"The {_called(rendering, each)} adds {added:.1f} dB of noise of its own.")
        before = each
    return told
