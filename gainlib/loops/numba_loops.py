"""The loops compiled by numba; each does what its namesake in `numpy_loops` does, and how is told there.

Compiled on first use, and kept for the next process where there is a place for that. No loop has leave to reorder or
to contract its arithmetic (`fastmath`): it is the same on every processor, and what it costs is told by the order of
the loops themselves, which are cut so that the processor's lanes fill without.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba
import numpy as np
from numba import njit

from gainlib.loops.numpy_loops import SETTLED, SETTLED_DB, Array
from gainlib.loops.passes import windowed_sinc
from gainlib.state import state_folder

Loop = TypeVar("Loop", bound=Callable[..., Any])

_STRETCH = 512  # samples that are oversampled at a time; what they need stays in the first-level cache
_PART = 32  # of them in which the highest point is looked for, or not
_LANES = 128  # samples that are added up side by side, so that no sum waits for itself
_PIECE = 2048  # samples that are filtered at a time, likewise


# What is kept is run, so where that is must not be told by a file in the current folder (.numba_config.yaml).
_config: Any = numba.config
_config.CACHE_DIR = os.environ.get("NUMBA_CACHE_DIR", "")

# Numba looks whether its np.convolve has BLAS to work with, and opens all of scipy.linalg for that, a tenth of a second
# and 16 MB. No loop here convolves so; np.dot and the like ask again when they are compiled.
_BLAS = "scipy.linalg.cython_blas"
if _BLAS not in sys.modules:
    sys.modules[_BLAS] = cast(Any, None)
    try:
        import numba.np.arraymath
    finally:
        del sys.modules[_BLAS]


def compiled(loop: Loop) -> Loop:
    """Compile a loop that lets other threads run, and keep it: beside its source, in the user's cache, else in ours."""
    try:
        return cast(Loop, njit(loop, cache=True, nogil=True))
    except RuntimeError:  # neither beside the source nor in the user's cache can a file be written
        usual, _config.CACHE_DIR = _config.CACHE_DIR, str(state_folder() / "loops")
    try:
        return cast(Loop, njit(loop, cache=True, nogil=True))
    except RuntimeError:
        return cast(Loop, njit(loop, nogil=True))
    finally:
        _config.CACHE_DIR = usual


@compiled
def weighted_cell_sums(samples: Array, channel: int, sections: Array, state: Array, ends: Array) -> Array:
    """Two second-order sections in cascade, squared and summed from each end to the next."""
    b0, b1, b2, a1, a2 = sections[0, 0], sections[0, 1], sections[0, 2], sections[0, 4], sections[0, 5]
    d0, d1, d2, c1, c2 = sections[1, 0], sections[1, 1], sections[1, 2], sections[1, 4], sections[1, 5]
    x1, x2, y1, y2, z1, z2, total = state[0], state[1], state[2], state[3], state[4], state[5], state[6]
    sums = np.empty(len(ends))
    begin = 0
    for cell in range(len(ends) + 1):
        end = ends[cell] if cell < len(ends) else len(samples)
        for index in range(begin, end):
            x = np.float64(samples[index, channel])
            # Direct form one: only the product with the newest output waits for the sample before.
            y = (b0 * x + b1 * x1 + b2 * x2 - a2 * y2) - a1 * y1
            z = (d0 * y + d1 * y1 + d2 * y2 - c2 * z2) - c1 * z1
            total += z * z
            x2, x1 = x1, x
            y2, y1 = y1, y
            z2, z1 = z1, z
        begin = end
        if cell < len(ends):
            sums[cell] = total
            total = 0.0
            # What rings on in silence would end in denormal numbers, which cost a hundred times as much.
            if abs(y1) + abs(y2) + abs(z1) + abs(z2) < 1e-150:
                y1 = y2 = z1 = z2 = 0.0
    state[0], state[1], state[2], state[3], state[4], state[5], state[6] = x1, x2, y1, y2, z1, z2, total
    return sums


@compiled
def weighted_cell_sums_of_two(
    samples: Array, first: int, second: int, sections: Array, states: Array, ends: Array
) -> Array:
    """Two channels in step: each filter waits for its own last output, and meanwhile the other's turn comes."""
    b0, b1, b2, a1, a2 = sections[0, 0], sections[0, 1], sections[0, 2], sections[0, 4], sections[0, 5]
    d0, d1, d2, c1, c2 = sections[1, 0], sections[1, 1], sections[1, 2], sections[1, 4], sections[1, 5]
    one, other = states[first], states[second]
    x1, x2, y1, y2, z1, z2, total = one[0], one[1], one[2], one[3], one[4], one[5], one[6]
    p1, p2, q1, q2, r1, r2, also = other[0], other[1], other[2], other[3], other[4], other[5], other[6]
    sums = np.empty((2, len(ends)))
    begin = 0
    for cell in range(len(ends) + 1):
        end = ends[cell] if cell < len(ends) else len(samples)
        for index in range(begin, end):
            x, p = np.float64(samples[index, first]), np.float64(samples[index, second])
            y = (b0 * x + b1 * x1 + b2 * x2 - a2 * y2) - a1 * y1
            q = (b0 * p + b1 * p1 + b2 * p2 - a2 * q2) - a1 * q1
            z = (d0 * y + d1 * y1 + d2 * y2 - c2 * z2) - c1 * z1
            r = (d0 * q + d1 * q1 + d2 * q2 - c2 * r2) - c1 * r1
            total += z * z
            also += r * r
            x2, x1, p2, p1 = x1, x, p1, p
            y2, y1, q2, q1 = y1, y, q1, q
            z2, z1, r2, r1 = z1, z, r1, r
        begin = end
        if cell < len(ends):
            sums[0, cell], sums[1, cell] = total, also
            total = also = 0.0
            if abs(y1) + abs(y2) + abs(z1) + abs(z2) < 1e-150:
                y1 = y2 = z1 = z2 = 0.0
            if abs(q1) + abs(q2) + abs(r1) + abs(r2) < 1e-150:
                q1 = q2 = r1 = r2 = 0.0
    one[0], one[1], one[2], one[3], one[4], one[5], one[6] = x1, x2, y1, y2, z1, z2, total
    other[0], other[1], other[2], other[3], other[4], other[5], other[6] = p1, p2, q1, q2, r1, r2, also
    return sums


@compiled
def _filled(count: int) -> int:
    """So many and a few more, since what does not fill all lanes at the end is worked out one by one."""
    return (count + _PART - 1) // _PART * _PART


@compiled
def _between(window: Array, taps: Array, row: Array, count: int) -> None:
    """One value between each sample and the next, eight taps at a time so that the processor's lanes fill."""
    count = _filled(count)
    for index in range(count):
        row[index] = 0.0
    for tap in range(0, len(taps), 8):
        t0, t1, t2, t3 = taps[tap], taps[tap + 1], taps[tap + 2], taps[tap + 3]
        t4, t5, t6, t7 = taps[tap + 4], taps[tap + 5], taps[tap + 6], taps[tap + 7]
        part = window[tap:]
        for i in range(count):
            x0, x1, x2, x3 = part[i], part[i + 1], part[i + 2], part[i + 3]
            x4, x5, x6, x7 = part[i + 4], part[i + 5], part[i + 6], part[i + 7]
            row[i] += t0 * x0 + t1 * x1 + t2 * x2 + t3 * x3 + t4 * x4 + t5 * x5 + t6 * x6 + t7 * x7


# The largest |value|, by the bits: without its sign a floating number orders as the whole number of the same bits does,
# and whole numbers are compared in lanes, eight times as fast.


@compiled
def _largest_bits(bits: Array, first: int, last: int) -> int:
    part = bits[first:last]
    top = np.int32(0)
    for index in range(len(part)):
        top = max(top, part[index] & np.int32(0x7FFFFFFF))
    return int(top)


@compiled
def _largest(values: Array, first: int, last: int) -> float:
    found = np.empty(1, dtype=np.int32)
    found[0] = _largest_bits(values.view(np.int32), first, last)
    return np.float64(found.view(np.float32)[0])


@compiled
def _largest_wide(values: Array, first: int, last: int) -> float:
    bits = values.view(np.int64)[first:last]
    top = np.int64(0)
    for index in range(len(bits)):
        top = max(top, bits[index] & np.int64(0x7FFFFFFFFFFFFFFF))
    found = np.empty(1, dtype=np.int64)
    found[0] = top
    return float(found.view(np.float64)[0])


@compiled
def _largest_of(values: Array, first: int, last: int) -> float:
    return _largest(values, first, last) if values.itemsize == 4 else _largest_wide(values, first, last)


@compiled
def _bends(channel: Array, bends: Array) -> None:
    """The second difference at each sample that has both neighbours."""
    before, here, after = channel[:-2], channel[1:-1], channel[2:]
    for index in range(len(here)):
        bends[index] = (after[index] - here[index]) - (here[index] - before[index])


# The next ones are cut into plain loops over one array each: that is what fills the processor's lanes.


@compiled
def _midway(p0: Array, p1: Array, p2: Array, p3: Array, between: Array, midway: Array, count: int) -> None:
    """The values half-way between neighbours of a curve that is given four times a sample."""
    c0, c1, c2, c3 = midway[0], midway[1], midway[2], midway[3]
    row = between[0]
    for i in range(1, count - 2):
        row[i] = (
            c0 * (p0[i] + p1[i]) + c1 * (p3[i - 1] + p2[i]) + c2 * (p2[i - 1] + p3[i]) + c3 * (p1[i - 1] + p0[i + 1])
        )
    row = between[1]
    for i in range(1, count - 2):
        row[i] = (
            c0 * (p1[i] + p2[i]) + c1 * (p0[i] + p3[i]) + c2 * (p3[i - 1] + p0[i + 1]) + c3 * (p2[i - 1] + p1[i + 1])
        )
    row = between[2]
    for i in range(1, count - 2):
        row[i] = (
            c0 * (p2[i] + p3[i]) + c1 * (p1[i] + p0[i + 1]) + c2 * (p0[i] + p1[i + 1]) + c3 * (p3[i - 1] + p2[i + 1])
        )
    row = between[3]
    for i in range(1, count - 2):
        row[i] = (
            c0 * (p3[i] + p0[i + 1]) + c1 * (p2[i] + p1[i + 1]) + c2 * (p1[i] + p2[i + 1]) + c3 * (p0[i] + p3[i + 1])
        )


@compiled
def parabola_top(left: float, middle: float, right: float) -> float:
    """The top of the parabola through three values in a row where the middle one is a crest, else the middle one.

    It stands (left - right)^2 / (8 (2 middle - left - right)) above the middle. The falls to either side are taken
    first: their difference, however rounded, is never more than their sum, so that the top stands no higher above the
    crest than an eighth of the larger fall. *Derived*: |a - b| <= a + b for a, b >= 0, and rounding keeps the order.
    """
    fall_left, fall_right = middle - left, middle - right
    both = fall_left + fall_right
    if fall_left < 0.0 or fall_right < 0.0 or both == 0.0:
        return middle
    apart = fall_left - fall_right
    return middle + apart / both * apart / 8.0


@compiled
def _rises(before: Array, here: Array, after: Array, highest: float) -> bool:
    """Whether a crest among |here| reaches above the highest so far: what `_crest` finds, without its division."""
    # A rise of less than 0.00001 dB is rounding, and a steady tone would ask for the division at every crest.
    limit = np.float32(highest * 1.000001)
    found = np.int32(0)
    for i in range(len(here)):
        middle = abs(here[i])
        fall_left, fall_right = middle - abs(before[i]), middle - abs(after[i])
        apart = fall_left - fall_right
        above = apart * apart > np.float32(8.0) * (fall_left + fall_right) * (limit - middle)
        crest = (fall_left >= np.float32(0.0)) & (fall_right >= np.float32(0.0))
        found |= np.int32((crest & above) | (middle > limit))
    return bool(found)


@compiled
def _crest(before: Array, here: Array, after: Array, highest: float) -> float:
    """The highest of |here|, with the top of the parabola through its neighbours where it is a crest."""
    if not _rises(before, here, after, highest):
        return highest
    for i in range(len(here)):
        left, middle, right = np.float64(abs(before[i])), np.float64(abs(here[i])), np.float64(abs(after[i]))
        highest = max(highest, parabola_top(left, middle, right))
    return highest


@compiled
def _highest_crest(
    window: Array, p2: Array, highest: float, quarters: Array, midway: Array, grid: Array, between: Array, count: int
) -> float:
    """The highest crest among so many samples from the third to the third last; `p2` is the curve half-way to the next.

    `window` has all samples that the taps of the first one need, and of the others.
    """
    p0, p1, p3 = window[quarters.shape[1] // 2 - 1 :], grid[0], grid[1]
    _between(window, quarters[0], p1, count)
    _between(window, quarters[2], p3, count)
    largest = max(_largest(p0, 0, count), _largest(p1, 0, count), _largest(p2, 0, count), _largest(p3, 0, count))
    if largest < 0.92 * highest:
        return highest
    _midway(p0, p1, p2, p3, between, midway, _filled(count - 3) + 3)
    end = count - 2
    n0, n1, n2, n3 = p0[2:end], p1[2:end], p2[2:end], p3[2:end]
    m0, m1, m2, m3 = between[0, 2:end], between[1, 2:end], between[2, 2:end], between[3, 2:end]
    crest = _crest(between[3, 1 : end - 1], n0, m0, highest)
    crest = _crest(n0, m0, n1, crest)
    crest = _crest(m0, n1, m1, crest)
    crest = _crest(n1, m1, n2, crest)
    crest = _crest(m1, n2, m2, crest)
    crest = _crest(n2, m2, n3, crest)
    crest = _crest(m2, n3, m3, crest)
    return _crest(n3, m3, p0[3 : end + 1], crest)


@compiled
def _straight_and_bent(taps: Array) -> tuple[float, float]:
    """What a value between samples is at most: so much of the larger one beside it, and of the sharpest bend around.

    The taps are those of a straight line from a sample to the next, of the same sum and slope, and a rest that has
    neither, so that it sees bends alone: *derived*, it is second differences of the rest summed up twice.
    """
    reach = len(taps) // 2
    whole = slope = 0.0
    for tap in range(len(taps)):
        whole += taps[tap]
        slope += (tap - reach + 1) * taps[tap]
    once = twice = bent = 0.0
    for tap in range(len(taps)):
        line = whole - slope if tap == reach - 1 else slope if tap == reach else 0.0
        once += taps[tap] - line
        twice += once
        bent += abs(twice)
    return abs(whole - slope) + abs(slope), bent


# A quarter and three quarters after a sample, from three samples and half-way values on either side.
_ROUGHLY = windowed_sinc(np.arange(3.0) + 0.5, 3.0, 4.5)


@compiled
def _roughly(p0: Array, p2: Array, grid: Array, count: int) -> None:
    """What lies between samples and half-way values, from the third sample to the third last, roughly."""
    c0, c1, c2 = np.float32(_ROUGHLY[0]), np.float32(_ROUGHLY[1]), np.float32(_ROUGHLY[2])
    row = grid[0]
    for i in range(1, count - 1):
        row[i] = c0 * (p0[i] + p2[i]) + c1 * (p2[i - 1] + p0[i + 1]) + c2 * (p0[i - 1] + p2[i + 1])
    row = grid[1]
    for i in range(1, count - 2):
        row[i] = c0 * (p2[i] + p0[i + 1]) + c1 * (p0[i] + p2[i + 1]) + c2 * (p2[i - 1] + p0[i + 2])


@compiled
def _roughness(quarters: Array) -> float:
    """By how much of the largest sample near by `_roughly` is off at most: the sum of the sizes of what taps differ."""
    taps = quarters.shape[1]
    reach = taps // 2
    off = np.zeros((2, taps + 4))
    for tap in range(taps):
        off[0, tap + 2], off[1, tap + 2] = quarters[0, tap], quarters[2, tap]
    for near in range(3):
        share = _ROUGHLY[near]
        for side in range(2):
            # Steps of half a sample: an even one is a sample, an odd one a half-way value.
            for later in range(2):
                step = later + (near + 1 if side else -near)
                if step % 2 == 0:
                    off[later, reach + 1 + step // 2] -= share
                else:
                    for tap in range(taps):
                        off[later, tap + 2 + (step - 1) // 2] -= share * quarters[1, tap]
    return float(max(np.abs(off[0]).sum(), np.abs(off[1]).sum()))


@compiled
def interpolated_peak(channel: Array, start: int, stop: int, highest: float, quarters: Array, midway: Array) -> float:
    """The largest |value| between the samples: a windowed sinc four times, twice more, then parabolas."""
    taps = quarters.shape[1]
    reach = taps // 2
    narrow = quarters.astype(np.float32)
    half = midway.astype(np.float32)
    # The next stretch overlaps by four samples, so that a crest at the seam has its neighbours.
    size = _filled(_STRETCH + 4)
    window = np.zeros(size + _PART + taps, dtype=np.float32)
    padded = np.empty(size + taps, dtype=channel.dtype)
    bends = np.empty(size + taps, dtype=channel.dtype)
    halves = np.zeros(size + _PART, dtype=np.float32)
    grid = np.zeros((2, size + _PART), dtype=np.float32)
    exact = np.zeros((2, size + _PART), dtype=np.float32)
    between = np.zeros((4, size + _PART), dtype=np.float32)
    gain = straight = bent = 0.0
    for phase in range(3):
        gain = max(gain, np.abs(quarters[phase]).sum())
        line, rest = _straight_and_bent(quarters[phase])
        straight, bent = max(straight, line), max(bent, rest)
    rough = _roughness(quarters) + 1e-5
    least = np.empty(1, dtype=np.float32)
    least_bits = least.view(np.int32)
    window_bits, halves_bits, grid_bits = window.view(np.int32), halves.view(np.int32), grid.view(np.int32)
    for begin in range(start, stop, _STRETCH):
        count = min(_STRETCH, stop - begin) + 4
        offset = begin - reach + 1
        if offset >= 0 and offset + count + taps <= len(channel):
            wide = channel[offset : offset + count + taps]
        else:
            wide = padded[: count + taps]
            for index in range(count + taps):
                at = offset + index
                wide[index] = channel[at] if 0 <= at < len(channel) else 0.0
        top = _largest_of(wide, 0, count + taps)
        # A curve with nothing above half the rate falls by no more than cos(pi/8) = 0.924 in an eighth of a sample
        # (Bernstein): what stays below that on the grid holds no higher crest. And no value on the grid exceeds the
        # largest sample near by times the sum of the taps' sizes, nor by more than the sharpest bend near by lets it.
        if top == 0.0 or top * gain < 0.92 * highest:
            continue
        _bends(wide, bends)
        if straight * top + bent * _largest_of(bends, 0, count + taps - 2) < 0.92 * highest:
            continue
        highest = max(highest, _largest_of(wide, reach + 1, reach + count - 3))
        # A power of two near the top keeps single precision away from both of its ends.
        scale = 2.0 ** np.floor(np.log2(max(top, 1e-290)))
        inverse = 1.0 / scale
        for index in range(count + taps):
            window[index] = np.float32(wide[index] * inverse)
        p0 = window[reach - 1 :]
        _between(window, narrow[1], halves, count)
        _roughly(p0, halves, grid, _filled(count - 2) + 2)
        # Sample by sample from the third to the third last, which have all their neighbours; `first` to `last` are
        # parts in a row in which something on the grid may be high enough.
        least[0] = max(0.0, 0.92 * highest - rough * top) * inverse
        first = last = 2
        while last < count - 2:
            end = min(last + _PART, count - 2)
            top_of_part = max(
                _largest_bits(window_bits, reach - 1 + last, reach + end), _largest_bits(halves_bits, last, end),
                _largest_bits(grid_bits[0], last, end), _largest_bits(grid_bits[1], last, end),
            )  # fmt: skip
            high = top_of_part >= least_bits[0]
            last = end if high else last
            if first < last and not (high and end < count - 2):
                crest = _highest_crest(
                    window[first - 2 :], halves[first - 2 :], highest * inverse, narrow, half, exact, between,
                    last - first + 4,
                )  # fmt: skip
                highest = max(highest, scale * crest)
            if not high or end == count - 2:
                first = last = end
    return highest


@compiled
def vu_ballistics(samples: Array, channel: int, step: Array, state: Array, ends: Array) -> tuple[Array, Array]:
    """A mass on a spring that follows |sample|: its deflection at each end, and the highest since the end before."""
    pull_y, y_v, v_y, v_v = step[0, 0], step[0, 1], step[1, 0], step[1, 1]
    y, v, top = state[0], state[1], state[2]
    at_ends = np.empty(len(ends))
    tops = np.empty(len(ends))
    begin = 0
    for frame in range(len(ends) + 1):
        end = ends[frame] if frame < len(ends) else len(samples)
        for index in range(begin, end):
            target = abs(np.float64(samples[index, channel]))
            apart = y - target
            y = target + (pull_y * apart + y_v * v)
            v = v_y * apart + v_v * v
            top = max(top, y)
        begin = end
        if frame < len(ends):
            at_ends[frame] = y
            tops[frame] = top
            top = 0.0
            if abs(y) + abs(v) < 1e-150:
                y = v = 0.0
    state[0], state[1], state[2] = y, v, top
    return at_ends, tops


@compiled
def peak_detector(
    samples: Array, channel: int, charge: Array, hold: Array, state: Array, ends: Array
) -> tuple[Array, Array]:
    """The sum of diode-and-capacitor detectors on |sample|, at each end, and the highest since the end before."""
    count = len(charge)
    top = state[count]
    at_ends = np.empty(len(ends))
    tops = np.empty(len(ends))
    total = state[:count].sum()
    begin = 0
    for frame in range(len(ends) + 1):
        end = ends[frame] if frame < len(ends) else len(samples)
        for index in range(begin, end):
            value = abs(np.float64(samples[index, channel]))
            total = 0.0
            for number in range(count):
                stored = state[number]
                stored = stored + (value - stored) * charge[number] if value > stored else stored * hold[number]
                state[number] = stored
                total += stored
            top = max(top, total)
        begin = end
        if frame < len(ends):
            at_ends[frame] = total
            tops[frame] = top
            top = 0.0
            for number in range(count):
                if state[number] < 1e-150:
                    state[number] = 0.0
    state[count] = top
    return at_ends, tops


@compiled
def intersample_peaks(samples: Array, between: Array, tops: Array) -> None:
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


@compiled
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


@compiled
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
            for number in range(width):
                total += ring[number]
        if step >= look_ahead:
            sample = step - look_ahead
            gain[sample] = min(1.0 - total / width, wanted[sample])
    return gain


@compiled
def fir_valid(samples: Array, taps: Array) -> Array:
    """Each full overlap of the taps with one channel, eight taps at a time so that the processor's lanes fill."""
    result = np.zeros(len(samples) - len(taps) + 1)
    eights = len(taps) // 8 * 8
    for begin in range(0, len(result), _PIECE):
        piece = result[begin : begin + _PIECE]
        for tap in range(0, eights, 8):
            t0, t1, t2, t3 = taps[tap], taps[tap + 1], taps[tap + 2], taps[tap + 3]
            t4, t5, t6, t7 = taps[tap + 4], taps[tap + 5], taps[tap + 6], taps[tap + 7]
            part = samples[begin + tap :]
            for i in range(len(piece)):
                x0, x1, x2, x3 = part[i], part[i + 1], part[i + 2], part[i + 3]
                x4, x5, x6, x7 = part[i + 4], part[i + 5], part[i + 6], part[i + 7]
                piece[i] += t0 * x0 + t1 * x1 + t2 * x2 + t3 * x3 + t4 * x4 + t5 * x5 + t6 * x6 + t7 * x7
        for tap in range(eights, len(taps)):
            t0 = taps[tap]
            part = samples[begin + tap :]
            for i in range(len(piece)):
                piece[i] += t0 * part[i]
    return result


@compiled
def first_order_filter(samples: Array, now: float, before: float, feedback: float, state: Array, out: Array) -> None:
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


@compiled
def rounded_with_feedback(
    wanted: Array, dither: Array, first: float, lowest: float, highest: float, out: Array
) -> None:
    """Whole numbers for one channel, each rounded with what the last two were off taken from it."""
    last = 0.0
    before = 0.0
    for index in range(len(wanted)):
        meant = wanted[index] - first * last + before
        whole = np.rint(meant + dither[index])
        before = last
        last = whole - meant
        if whole < lowest or whole > highest:
            whole = lowest if whole < lowest else highest
            last = 0.0
        out[index] = whole


@compiled
def constant_runs(channel: Array, least: int) -> tuple[Array, Array]:
    """Where at least so many neighbours are the same, looked for at every so many-th sample of half of that."""
    count = len(channel)
    starts = np.empty(count // least + 1, dtype=np.int64)
    ends = np.empty(count // least + 1, dtype=np.int64)
    found = 0
    # A run that is long enough holds two of these in a row.
    half = max(1, least // 2)
    done = 0
    at = 0
    while at < count:
        value = channel[at]
        if at >= done and at + half < count and channel[at + half] == value:
            start = at
            while start > done and channel[start - 1] == value:
                start -= 1
            end = at + 1
            while end < count and channel[end] == value:
                end += 1
            if end - start >= least:
                starts[found] = start
                ends[found] = end
                found += 1
            done = end
        at += half
    return starts[:found].copy(), ends[:found].copy()


@compiled
def find_flat_tops(channel: Array, level: float, relative: float, absolute: float) -> tuple[Array, Array, Array, Array]:
    """The shape of each crest of one channel, stretch by stretch."""
    most = 1
    for at in range(1, len(channel)):
        most += (channel[at] >= level) & (channel[at - 1] < level)
    firsts, counts = np.empty(most, dtype=np.int64), np.empty(most, dtype=np.int64)
    heights, falls = np.empty(most), np.empty(most)
    total = at = 0
    while at < len(channel):
        if channel[at] < level:
            at += 1
            continue
        start = at
        height = np.float64(channel[at])
        while at < len(channel) and channel[at] >= level:
            height = max(height, np.float64(channel[at]))
            at += 1
        edge = height - max(height * relative, absolute)
        first, last = start, at - 1
        while channel[first] < edge:
            first += 1
        while channel[last] < edge:
            last -= 1
        count = last - first + 1
        before = after = height
        for index in range(max(0, first - count), first):
            before = min(before, np.float64(channel[index]))
        for index in range(last + 1, min(last + 1 + count, len(channel))):
            after = min(after, np.float64(channel[index]))
        firsts[total], counts[total] = first, count
        heights[total], falls[total] = height, height - max(before, after)
        total += 1
    return firsts[:total].copy(), counts[:total].copy(), heights[:total].copy(), falls[:total].copy()


@compiled
def _lowest_and_highest(channel: Array, width: int, count: int, lowest: Array, highest: Array) -> None:
    """The extremes of windows side by side."""
    low, high = np.empty(width, dtype=channel.dtype), np.empty(width, dtype=channel.dtype)
    half = width // 2
    for number in range(count):
        one, other = channel[number * width :], channel[number * width + half :]
        for index in range(half):
            low[index] = one[index] if one[index] < other[index] else other[index]
            high[index] = one[index] if one[index] > other[index] else other[index]
        left = half
        if width % 2:
            low[0] = min(low[0], channel[(number + 1) * width - 1])
            high[0] = max(high[0], channel[(number + 1) * width - 1])
        # Each half with the other, until one is left of each.
        while left > 1:
            odd = left % 2
            left = left // 2
            one, other = low[:left], low[left : 2 * left]
            for index in range(left):
                one[index] = one[index] if one[index] < other[index] else other[index]
            one, other = high[:left], high[left : 2 * left]
            for index in range(left):
                one[index] = one[index] if one[index] > other[index] else other[index]
            if odd:
                low[0] = min(low[0], low[2 * left])
                high[0] = max(high[0], high[2 * left])
        lowest[number], highest[number] = low[0], high[0]


@compiled
def flat_crests(
    channel: Array,
    first: int,
    count: int,
    width: int,
    reach: int,
    longest: int,
    least: float,
    shared: float,
    near: float,
    steep: float,
) -> Array:
    """The crests of both sides that have three neighbours at one height and fall off steeply, window by window."""
    found, total = np.empty((2 * count, 4), dtype=np.int64), 0
    lowest, highest = np.zeros(count + 2, dtype=channel.dtype), np.zeros(count + 2, dtype=channel.dtype)
    _lowest_and_highest(channel[first:], width, count, lowest[1:], highest[1:])
    for index in range(max(0, first - width), first):
        lowest[0], highest[0] = min(lowest[0], channel[index]), max(highest[0], channel[index])
    for index in range(first + count * width, min(first + (count + 1) * width, len(channel))):
        lowest[-1], highest[-1] = min(lowest[-1], channel[index]), max(highest[-1], channel[index])
    for side in range(2):
        sign = 1.0 - 2.0 * side
        extremes = lowest if side else highest
        for number in range(count):
            height = sign * extremes[number + 1]
            if height < least or height < max(sign * extremes[number], sign * extremes[number + 2]) - shared:
                continue
            middle = first + number * width
            while sign * channel[middle] != height:
                middle += 1
            if middle < reach or middle >= len(channel) - reach:
                continue
            edge = height - near
            before = after = 0
            while before < reach and sign * channel[middle - before - 1] >= edge:
                before += 1
            while after < reach and sign * channel[middle + after + 1] >= edge:
                after += 1
            length = before + after + 1
            if length < 3 or length > longest:
                continue
            low_before = low_after = np.inf
            for index in range(middle - before - min(length, reach - before), middle - before):
                low_before = min(low_before, sign * channel[index])
            for index in range(middle + after + 1, middle + after + 1 + min(length, reach - after)):
                low_after = min(low_after, sign * channel[index])
            if height - max(low_before, low_after) < steep:
                continue
            found[total, 0], found[total, 1], found[total, 2], found[total, 3] = side, middle - before, length, middle
            total += 1
    return found[:total].copy()


@compiled
def repeated_stretches(channel: Array, lags: Array, stride: int) -> Array:
    """Where every `stride`-th sample equals the one `lag` before it for about as long as that is."""
    count = len(channel)
    found = np.empty((len(lags) * (count // (3 * stride) + 2), 2), dtype=np.int64)
    total = 0
    for number in range(len(lags)):
        lag = lags[number]
        if count < 2 * lag + stride:
            continue
        wanted = max(2, lag // stride - 1)
        steps = (count - lag - 1) // stride + 1
        # Of so many alike in a row one stands at every so many-th place.
        step = wanted - 1
        while step < steps:
            if channel[lag + step * stride] != channel[step * stride]:
                step += wanted
                continue
            start = step
            while start > 0 and channel[lag + (start - 1) * stride] == channel[(start - 1) * stride]:
                start -= 1
            end = step + 1
            while end < steps and channel[lag + end * stride] == channel[end * stride]:
                end += 1
            if end - start >= wanted:
                found[total, 0] = number
                found[total, 1] = (start + end) // 2 * stride + lag
                total += 1
            step = end + wanted
    return found[:total].copy()


@compiled
def sharp_bends(channel: Array, width: int, apart: int, times: float, least: float) -> Array:
    """The windows in which a channel bends more sharply than in all windows around."""
    count = (len(channel) - 2) // width
    if count < 3:
        return np.zeros(0, dtype=np.int64)
    tops = np.zeros(count, dtype=channel.dtype)
    bends = np.empty(width, dtype=channel.dtype)
    limits = np.empty(2, dtype=channel.dtype)
    limits[0], limits[1] = times, least
    for window in range(count):
        _bends(channel[window * width : (window + 1) * width + 2], bends)
        tops[window] = _largest_of(bends, 0, width)
    found = np.empty(count, dtype=np.int64)
    total = 0
    for window in range(count):
        if tops[window] <= limits[1]:
            continue
        around = tops[0] - tops[0]
        for away in range(2, apart + 2):
            if window >= away:
                around = max(around, tops[window - away])
            if window + away < count:
                around = max(around, tops[window + away])
        if tops[window] > limits[0] * around:
            found[total] = window
            total += 1
    return found[:total].copy()


@compiled
def window_figures(rows: Array, width: int) -> tuple[Array, Array, Array, Array]:
    """Sum, sum of squares, lowest and highest sample of each window of each channel, all in one pass."""
    channels, count = rows.shape
    windows = (count + width - 1) // width
    sums, squares = np.empty((windows, channels)), np.empty((windows, channels))
    lowest, highest = np.empty((windows, channels), dtype=rows.dtype), np.empty((windows, channels), dtype=rows.dtype)
    total, power = np.empty(_LANES), np.empty(_LANES)
    low, high = np.empty(_LANES, dtype=rows.dtype), np.empty(_LANES, dtype=rows.dtype)
    for channel in range(channels):
        row = rows[channel]
        for number in range(windows):
            window = row[number * width : (number + 1) * width]
            total[:], power[:] = 0.0, 0.0
            low[:], high[:] = window[0], window[0]
            for first in range(0, len(window), _LANES):
                part = window[first : first + _LANES]
                for lane in range(len(part)):
                    wide = np.float64(part[lane])
                    total[lane] += wide
                    power[lane] += wide * wide
                for lane in range(len(part)):
                    value = part[lane]
                    low[lane] = value if value < low[lane] else low[lane]
                    high[lane] = value if value > high[lane] else high[lane]
            sums[number, channel], squares[number, channel] = total.sum(), power.sum()
            lowest[number, channel], highest[number, channel] = low.min(), high.max()
    return sums, squares, lowest, highest


@compiled
def window_products(one: Array, other: Array, width: int) -> tuple[Array, Array]:
    """Sums of each window of two channels: their products, and the squares of their difference."""
    windows = (len(one) + width - 1) // width
    products, squares = np.empty(windows), np.empty(windows)
    product, square = np.empty(_LANES), np.empty(_LANES)
    for number in range(windows):
        first, second = one[number * width : (number + 1) * width], other[number * width : (number + 1) * width]
        product[:], square[:] = 0.0, 0.0
        for begin in range(0, len(first), _LANES):
            left, right = first[begin : begin + _LANES], second[begin : begin + _LANES]
            for lane in range(len(left)):
                x, y = np.float64(left[lane]), np.float64(right[lane])
                product[lane] += x * y
                square[lane] += (x - y) * (x - y)
        products[number], squares[number] = product.sum(), square.sum()
    return products, squares


@compiled
def add_as_it_is_and_scaled(block: Array, gain: float, total: Array, scaled: Array) -> None:
    """Samples added to one sum as they are and to another times a gain."""
    if block.shape[1] == total.shape[1]:
        # As one long row, whatever channels they are.
        row, sum_row, scaled_row = block.ravel(), total.ravel(), scaled.ravel()
        for index in range(len(row)):
            value = np.float64(row[index])
            sum_row[index] += value
            scaled_row[index] += value * gain
    else:
        for channel in range(total.shape[1]):
            for index in range(len(block)):
                value = np.float64(block[index, 0])
                total[index, channel] += value
                scaled[index, channel] += value * gain
