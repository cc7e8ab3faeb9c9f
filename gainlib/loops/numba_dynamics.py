"""The loops of the level-dependent stages compiled by numba; each does what its namesake in `dynamics_twins` does."""

from __future__ import annotations

import numpy as np

from gainlib.loops.compiling import compiled
from gainlib.loops.numba_loops import parabola_top
from gainlib.loops.numpy_dynamics import SETTLED, SETTLED_DB, Array

__all__ = [
    "apply_gain",
    "curve_tops",
    "filtered",
    "largest_of_channels",
    "look_ahead_gain",
    "shelved",
    "smoothed_reduction",
]


@compiled()
def largest_of_channels(samples: Array) -> Array:
    """The largest |sample| of all channels at each moment."""
    count, channels = samples.shape
    largest = np.empty(count)
    if channels == 1:
        for index in range(count):
            largest[index] = abs(samples[index, 0])
    elif channels == 2:
        for index in range(count):
            largest[index] = max(abs(samples[index, 0]), abs(samples[index, 1]))
    else:
        for index in range(count):
            value = 0.0
            for channel in range(channels):
                value = max(value, abs(samples[index, channel]))
            largest[index] = value
    return largest


@compiled(fastmath={"contract"})
def smoothed_reduction(
    over_db: Array, slope: float, knee_db: float, attack: float, release: float, decoupled: bool, state: Array
) -> None:
    """The gain reduction in dB, written over the level above threshold."""
    half = knee_db / 2
    bend = slope / (2 * knee_db) if knee_db > 0 else 0.0
    smooth = state[0]
    held = state[1]
    rise, fall = 1.0 - attack, 1.0 - release
    for index in range(len(over_db)):
        over = over_db[index]
        within = min(max(over + half, 0.0), knee_db)
        wanted = bend * within * within + slope * max(over - half, 0.0)
        if decoupled:
            settled = 0.0 if held <= SETTLED_DB else release * held + fall * wanted
            held = max(wanted, settled)
            smooth = 0.0 if smooth <= SETTLED_DB and held == 0.0 else attack * smooth + rise * held
        else:
            # Both ways are worked out before it is known which one counts: that is what makes this loop fast.
            up = attack * smooth + rise * wanted
            down = 0.0 if smooth <= SETTLED_DB else release * smooth + fall * wanted
            smooth = up if wanted > smooth else down
        over_db[index] = smooth
    state[0] = smooth
    state[1] = held


@compiled()
def apply_gain(samples: Array, gain: Array, out: Array) -> None:
    """Samples times a shared gain."""
    count, channels = samples.shape
    if channels == 2:
        for index in range(count):
            out[index, 0] = samples[index, 0] * gain[index]
            out[index, 1] = samples[index, 1] * gain[index]
    else:
        for channel in range(channels):
            for index in range(count):
                out[index, channel] = samples[index, channel] * gain[index]


@compiled()
def look_ahead_gain(wanted: Array, look_ahead: int, release: float) -> Array:
    """The gain of a look-ahead limiter in one pass."""
    count = len(wanted)
    width = look_ahead + 1
    gain = np.empty(count)
    # The candidates for the most missing in the window, largest first, in a ring: their places and values.
    places = np.empty(width + 1, dtype=np.int64)
    values = np.empty(width + 1)
    first = 0
    last = -1
    held = 0
    # The last `width` released values, and their sum. It is summed anew once in each turn of the ring, so that
    # rounding cannot pile up: what it leaves until then is too small to move a gain of 1.
    ring = np.zeros(width)
    total = 0.0
    slot = -1
    level = 0.0
    for step in range(count + look_ahead):
        # Step k looks at sample k, which enters the window of sample k - look_ahead.
        missing = 1.0 - wanted[step] if step < count else 0.0
        while held > 0 and values[last] <= missing:
            held -= 1
            last = last - 1 if last > 0 else width
        last = last + 1 if last < width else 0
        places[last] = step
        values[last] = missing
        first = last if held == 0 else first
        held += 1
        if places[first] <= step - width:
            first = first + 1 if first < width else 0
            held -= 1
        level = max(values[first], release * level)
        if level <= SETTLED:
            level = 0.0
        slot = slot + 1 if slot < look_ahead else 0
        total += level - ring[slot]
        ring[slot] = level
        if slot == 0:
            total = 0.0
            for each in range(width):
                total += ring[each]
        if step >= look_ahead:
            sample = step - look_ahead
            gain[sample] = min(1.0 - total / width, wanted[sample])
    return gain


@compiled(fastmath={"contract", "reassoc"})
def filtered(samples: Array, taps: Array) -> Array:
    """Each full overlap of the taps with one channel."""
    count = len(samples) - len(taps) + 1
    result = np.empty(count)
    for index in range(count):
        value = 0.0
        for tap in range(len(taps)):
            value += samples[index + tap] * taps[tap]
        result[index] = value
    return result


@compiled()
def curve_tops(samples: Array, between: Array, tops: Array) -> None:
    """How high the curve through one channel goes next to each sample."""
    first, second, third = between[0], between[1], between[2]
    here = abs(samples[0])
    before = here  # the point before this sample; at the very start there is none, so that the sample is no round top
    starting = True
    for index in range(len(samples) - 1):
        one, two, three = abs(first[index]), abs(second[index]), abs(third[index])
        following = abs(samples[index + 1])
        beyond = abs(first[index + 1]) if index + 2 < len(samples) else following
        last = index + 2 == len(samples)
        top = here if starting else parabola_top(before, here, one)
        top = max(top, parabola_top(here, one, two), parabola_top(one, two, three), parabola_top(two, three, following))
        top = max(top, following if last else parabola_top(three, following, beyond))
        tops[index] = max(tops[index], top)
        tops[index + 1] = max(tops[index + 1], top)
        starting = False
        before = three
        here = following


@compiled(fastmath={"contract"})
def shelved(samples: Array, now: float, before: float, feedback: float, state: Array, out: Array) -> None:
    """A first-order filter over one channel."""
    x1 = state[0]
    y1 = state[1]
    for index in range(len(samples)):
        x = samples[index]
        y1 = (now * x + before * x1) - feedback * y1
        x1 = x
        # What rings on in silence would end in denormal numbers, which cost a hundred times as much.
        y1 = y1 if abs(y1) > 1e-200 else 0.0
        out[index] = y1
    state[0] = x1
    state[1] = y1
