"""Whether the sentence on top of a bench is true and can be done, by a reading of its own of the samples."""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import reckoning as paper

from gainlib.benches.controls import Range
from gainlib.meters import clipped_runs

_STEP = re.compile(r"\b(raise|lower|trim) (?:the |every )?([^.;:]*?) by (?:about )?(\d+(?:\.\d+)?) dB", re.IGNORECASE)
_TASTE = ("shout", "recorded peaks usually", "too low")


def peak_db(audio):
    return paper.peak_dbfs(np.asarray(audio.samples, dtype=np.float64)) if np.any(audio.samples) else -math.inf


def faults(bench, said):
    """What is wrong with a sentence about this bench as it stands, one line each."""
    rendering, session = bench.rendering, bench.session
    found = []
    paths = [f"{part.name}/{stage.name}" for part in session.channels for stage in part.tapped_stages]
    last = (
        [paths[-1]] if session.main is not None else [f"{each.name}/{each.stage_names[-1]}" for each in session.strips]
    )
    text = said.replace("\xa0", " ")
    # Only what the sentence speaks of is read again, and the ends: a session of five strips has thirty places.
    named = [path for path in paths if path.partition("/")[2].replace("-", " ") in text]
    peaks = {path: peak_db(rendering.at(path)) for path in {*named, *last}}

    judged = text.lower()
    for path in paths:  # a stage that is called so is no judgement
        judged = judged.replace(path.partition("/")[2].replace("-", " "), "")
    for word in _TASTE:
        if word in judged and not any(word in each.why.lower() for each in getattr(bench, "aims", ())):
            found.append(f"judges by {word!r}, which nobody aimed at")

    fine = re.search(r"clean|nothing clips", text, re.IGNORECASE)
    if fine:
        for path in last:
            if peaks[path] > -6 and paper.true_peak_dbtp(rendering.at(path).samples) > 0.05:
                found.append(f"calls it fine at more than 0 dBTP after {path}")
        for each in rendering.levels:
            kind = session.channel(each.strip).stage(each.stage)
            if each.clipped and not kind.bends:
                found.append(f"calls it fine where {each.strip}/{each.stage} clips")

    for count in re.findall(r"clips? (\d+) times|(\d+) times", text):
        number = int(count[0] or count[1])
        read = {each.clipped for each in rendering.levels} | {len(clipped_runs(s.take.samples)) for s in session.strips}
        if number not in read:
            found.append(f"tells {number} clipped runs; there are {sorted(read)}")

    for less, amount, below in re.findall(r"(less than )?(\d+(?:\.\d+)?) dB left( below)?", text):
        if less:
            amount = "0.025"
        if not below:
            found.append(f"says {amount} dB left, and not of what")
        rooms = [-peak for peak in peaks.values()]
        table = {f"{each.strip}/{each.stage}": each.ceiling_dbfs for each in rendering.levels}
        rooms += [table[path] - peak for path, peak in peaks.items()]
        if not any(abs(float(amount) - room) < (0.051 if "." in amount else 0.501) for room in rooms):
            found.append(f"says {amount} dB left; read are {[round(room, 2) for room in rooms]}")
    for amount in re.findall(r"reaches (\d+(?:\.\d+)?) dB over", text):
        if not any(abs(float(amount) - peak) < 0.051 for peak in peaks.values()):
            found.append(f"says {amount} dB over full scale; peaks are {peaks}")
    for amount in re.findall(r"peaks at (−?\d+(?:\.\d+)?) dBFS|[Pp]eaks (?:stand|reach only) (?:at )?(−?\d+)", text):
        told = (amount[0] or amount[1]).replace("−", "-")
        near = 0.051 if "." in told else 0.501
        aims = [
            peak_db(rendering.at(each.at).between(*each.seconds)) for each in getattr(bench, "aims", ()) if each.seconds
        ]
        if not any(abs(float(told) - peak) < near for peak in [*peaks.values(), *aims]):
            found.append(f"says peaks at {told}; they are {peaks}")

    numbers = [each for each in bench.controls.values() if isinstance(each, Range)]
    for way, what, amount in _STEP.findall(text):
        parts = re.sub(r"\d+(\.\d+)? dB", "", what)
        meant = [each for each in numbers if _names(session, each, parts)]
        if what.strip() == "fader" and "every fader" in text:
            meant = [each for each in numbers if each.path.endswith("fader/gain_db")]
        if not meant:
            found.append(f"says {way} {what} by {amount} dB; the bench has {[each.name for each in numbers]}")
            continue
        by = float(amount) * (1 if way.lower() == "raise" else -1)
        if any(not each.low - 1e-9 <= session.setting(each.path) + by <= each.high + 1e-9 for each in meant):
            found.append(f"says {way} {what} by {amount} dB, which the control cannot do")
    if text.count("LUFS") and not re.search(r"−?∞ LUFS", text):
        ends = [paper.loudness_lufs(rendering.at(path).samples) for path in last]
        for told in re.findall(r"(?:at|of) (−?\d+\.\d) LUFS", text):
            wanted = [session.channel(p.split("/")[0]).stage(p.split("/")[1]) for p in last]
            wanted = [getattr(each, "wanted_lufs", math.nan) for each in wanted]
            if not any(abs(float(told.replace("−", "-")) - each) < 0.11 for each in [*ends, *wanted]):
                found.append(f"says {told} LUFS; it is {ends}")
    return found


def _names(session, control, words):
    """Whether these words name this control: its stage, and whose it is where there are several strips."""
    part, stage = control.tap.split("/")
    words = words.lower().replace("’", "'")
    stage_words = stage.replace("-", " ").replace("_", " ").lower()
    if stage_words not in words:
        return False
    if len(session.channels) > 1 and part.replace("-", " ").lower() not in words:
        return False
    setting = control.path.rpartition("/")[2]
    if setting in ("gain_db", "full_scale_dbu"):
        return words.strip().endswith(stage_words)
    return control.label.lower().split()[-1] in words


def after_the_step(bench):
    """Do the step that the bench says, if it says one: the fault, where it does not do what it is said to do."""
    found = bench.advice.move
    if found is None:
        return []
    before = _missed(bench, bench.rendering)
    # As the controls would do it; the bench stays where it is, since to go and to come back would render it twice.
    moves = {path: bench.controls[path].checked(bench.values[path] + found.by) for path in found.paths}
    after = _missed(bench, bench.session.replaced(moves).render(after=bench.rendering))
    # A step in figures meets its aim; one that is said to be about right, or to end short of it, comes nearer.
    meets = not (before[0] or found.ends or " about " in found.words)
    right = after[:2] < before[:2] if meets else after < before
    return [] if right else [f"“{found.words}” leaves it at {after} after {before}"]


def _missed(bench, rendering):
    """How many stages clip, then by how much the first aim that is missed is missed."""
    clips = sum(each.clipped for each in rendering.levels)
    for number, each in enumerate(bench.aims):
        value = each.read(rendering)
        off = max(each.least - value, value - each.most, 0.0)
        if off:
            return clips, len(bench.aims) - number, off
    return clips, 0, 0.0


def states(bench, ends_of, solution=None):
    """The bench at its start, at each control's ends and middle, at all highest and lowest, and at the solution."""
    yield "start"
    for path, control in bench.controls.items():
        for value in ends_of(control):
            bench.move(path, value)
            yield f"{path} {value}"
        bench.reset()
    for end in ("low", "high"):
        moves = {path: getattr(each, end) for path, each in bench.controls.items() if isinstance(each, Range)}
        if len(moves) > 1:
            bench.move_all(moves)
            yield f"all {end}"
    bench.reset()
    if solution:
        bench.move_all(solution)
        yield "solution"
        bench.reset()
