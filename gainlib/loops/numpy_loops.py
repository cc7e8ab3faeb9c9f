"""The loops in plain numpy: what runs without numba, and the oracle of the compiled ones."""

from __future__ import annotations

import numpy as np

from gainlib.loops.passes import Array, Channel, runs_beyond

__all__ = [
    "Array",
    "Channel",
    "crests",
    "detector",
    "interpolated_peak",
    "needle",
    "weighted_cell_sums",
]


def crests(channel: Channel, level: float, relative: float, absolute: float) -> tuple[Array, Array, Array, Array]:
    """First sample, length, height and fall of the flat part of each stretch at or above `level`."""
    starts, lengths = runs_beyond(channel, -np.inf, level, 1)
    found = []
    for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
        stretch = channel[start : start + length].astype(np.float64)
        height = float(stretch.max())
        near = np.flatnonzero(stretch >= height - max(height * relative, absolute))
        first, count = start + int(near[0]), int(near[-1] - near[0]) + 1
        before, after = channel[max(first - count, 0) : first], channel[first + count : first + 2 * count]
        lowest = max(float(before.min(initial=height)), float(after.min(initial=height)))
        found.append((first, count, height, height - lowest))
    columns = np.array(found, dtype=np.float64).reshape(-1, 4).T
    return columns[0].astype(np.int64), columns[1].astype(np.int64), columns[2], columns[3]


def weighted_cell_sums(samples: Array, channel: int, sections: Array, state: Array, ends: Array) -> Array:
    """Two second-order sections in cascade, squared and summed from each end to the next."""
    from scipy.signal import lfilter, lfiltic

    x1, x2, y1, y2, z1, z2, open_sum = state
    before = samples[:, channel].astype(np.float64)
    first, second = sections
    between, _ = lfilter(first[:3], first[3:], before, zi=lfiltic(first[:3], first[3:], [y1, y2], [x1, x2]))
    after, _ = lfilter(second[:3], second[3:], between, zi=lfiltic(second[:3], second[3:], [z1, z2], [y1, y2]))
    totals = np.concatenate(([0.0], np.cumsum(after * after)))
    sums = np.diff(totals[np.concatenate(([0], ends, [len(before)])).astype(np.int64)])
    sums[0] += open_sum
    state[:6] = [
        *np.concatenate(([x2, x1], before))[-1:-3:-1],
        *np.concatenate(([y2, y1], between))[-1:-3:-1],
        *np.concatenate(([z2, z1], after))[-1:-3:-1],
    ]
    state[6] = sums[-1]
    return sums[:-1]


def interpolated_peak(
    samples: Array, channel: int, start: int, stop: int, highest: float, quarters: Array, midway: Array
) -> float:
    """The largest |value| between the samples: a windowed sinc four times, twice more, then parabolas."""
    taps = quarters.shape[1]
    reach = taps // 2
    count = stop + 4 - start
    padded = np.zeros(count + taps)
    first, last = max(start - reach + 1, 0), min(start + count + reach + 1, len(samples))
    if last > first:
        padded[first - start + reach - 1 : last - start + reach - 1] = samples[first:last, channel]
    grid = np.empty((count, 4))
    grid[:, 0] = padded[reach - 1 : reach - 1 + count]
    for phase in range(3):
        grid[:, phase + 1] = np.convolve(padded, quarters[phase, ::-1], "valid")[:count]
    fine = grid.ravel()
    finer = np.empty(2 * len(fine))
    finer[::2] = fine
    finer[1::2] = np.convolve(fine, np.concatenate((midway[::-1], midway)), "full")[4 : 4 + len(fine)]
    # What stands two samples from either end has all its neighbours.
    curve = np.abs(finer[15 : 8 * (count - 2) + 1])
    return max(highest, float(parabola_tops(curve[:-2], curve[1:-1], curve[2:]).max()))


def parabola_tops(left: Array, middle: Array, right: Array) -> Array:
    """The top of the parabola through three values in a row where the middle one is a crest, else the middle one.

    It stands (left - right)^2 / (8 (2 middle - left - right)) above the middle. The falls to either side are taken
    first: their difference, however rounded, is never more than their sum, so that the top stands no higher above the
    crest than an eighth of the larger fall. *Derived*: |a - b| <= a + b for a, b >= 0, and rounding keeps the order.
    """
    fall_left, fall_right = middle - left, middle - right
    both, apart = fall_left + fall_right, fall_left - fall_right
    crest = (fall_left >= 0.0) & (fall_right >= 0.0) & (both > 0.0)
    share = np.divide(apart, both, out=np.zeros_like(middle), where=crest)
    return np.asarray(middle + share * apart / 8.0)


def needle(samples: Array, channel: int, step: Array, state: Array, ends: Array) -> tuple[Array, Array]:
    """A mass on a spring that follows |sample|: its deflection at each end, and the highest since the end before."""
    (pull_y, y_v), (v_y, v_v) = step.tolist()
    y, v, open_top = state.tolist()
    moved = []
    for target in np.abs(samples[:, channel].astype(np.float64)).tolist():
        apart = y - target
        y, v = target + (pull_y * apart + y_v * v), v_y * apart + v_v * v
        moved.append(y)
    state[:2] = y, v
    return _at_ends(moved, ends, open_top, state)


def detector(
    samples: Array, channel: int, charge: Array, hold: Array, state: Array, ends: Array
) -> tuple[Array, Array]:
    """The sum of diode-and-capacitor detectors on |sample|, at each end, and the highest since the end before."""
    *stored, open_top = state.tolist()
    rates = list(zip(charge.tolist(), hold.tolist(), strict=True))
    moved = []
    for value in np.abs(samples[:, channel].astype(np.float64)).tolist():
        stored = [
            held + (value - held) * charging if value > held else held * falling
            for held, (charging, falling) in zip(stored, rates, strict=True)
        ]
        moved.append(sum(stored))
    state[:-1] = stored
    return _at_ends(moved, ends, open_top, state)


def _at_ends(moved: list[float], ends: Array, open_top: float, state: Array) -> tuple[Array, Array]:
    readings = np.array(moved)
    parts = np.split(readings, np.asarray(ends, dtype=np.int64))
    tops = np.array([max(0.0, float(part.max(initial=0.0))) for part in parts])
    tops[0] = max(tops[0], open_top)
    state[-1] = tops[-1]
    return readings[np.asarray(ends, dtype=np.int64) - 1], tops[:-1]
