"""The loops in plain Python and numpy: the text to read, the oracle of the compiled ones, what runs without numba."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "add_as_it_is_and_scaled",
    "constant_runs",
    "find_flat_tops",
    "fir_valid",
    "first_order_filter",
    "flat_crests",
    "interpolated_peak",
    "intersample_peaks",
    "look_ahead_gain",
    "peak_detector",
    "repeated_stretches",
    "rounded_with_feedback",
    "sharp_bends",
    "smoothed_reduction",
    "vu_ballistics",
    "weighted_cell_sums",
    "weighted_cell_sums_of_two",
    "window_figures",
    "window_products",
]

Array = NDArray[Any]

# What has fallen to this many dB is done; without it a release would run on through ever smaller numbers.
SETTLED_DB = 1e-9
# The same for a gain short of 1, where 1e-10 is a billionth of a decibel.
SETTLED = 1e-10

_CRESTS_AT_ONCE = 1024  # each with some 400 samples, a few times over


def add_as_it_is_and_scaled(block: Array, gain: float, total: Array, scaled: Array) -> None:
    """Samples `(n, channels)` added to one sum as they are and to another times a gain, both `(n or more, channels)`.

    A block of one channel is added to all of theirs. Each is made double before it is scaled.

    >>> total, scaled = np.zeros((3, 2)), np.zeros((3, 2))
    >>> add_as_it_is_and_scaled(np.ones((2, 1)), 0.5, total, scaled)
    >>> total.tolist(), scaled.tolist()
    ([[1.0, 1.0], [1.0, 1.0], [0.0, 0.0]], [[0.5, 0.5], [0.5, 0.5], [0.0, 0.0]])
    """
    total[: len(block)] += block
    scaled[: len(block)] += np.multiply(block, gain, dtype=np.float64)


def window_figures(rows: Array, width: int) -> tuple[Array, Array, Array, Array]:
    """The sum, the sum of squares, the lowest and the highest sample of each window of `width` samples of each channel.

    `rows` is `(channels, n)`, a last window that is not full is one as well. Four arrays `(windows, channels)`, the
    sums in double precision.

    >>> [each.ravel().tolist() for each in window_figures(np.array([[1.0, -2.0, 0.5]]), 2)]
    [[-1.0, 0.5], [5.0, 0.25], [-2.0, 0.5], [1.0, 0.5]]
    """
    edges = np.arange(0, rows.shape[1], width)
    wide = rows.astype(np.float64)
    sums, squares = np.add.reduceat(wide, edges, axis=1).T, np.add.reduceat(wide * wide, edges, axis=1).T
    return sums, squares, np.minimum.reduceat(rows, edges, axis=1).T, np.maximum.reduceat(rows, edges, axis=1).T


def window_products(one: Array, other: Array, width: int) -> tuple[Array, Array]:
    """Of each window of `width` samples of two channels `(n,)` the sum of products, and of the squared difference.

    >>> window_products(np.array([1.0, 2.0, 3.0]), np.array([1.0, -2.0, 1.0]), 2)
    (array([-3.,  3.]), array([16.,  4.]))
    """
    edges = np.arange(0, len(one), width)
    first, second = one.astype(np.float64), other.astype(np.float64)
    return np.add.reduceat(first * second, edges), np.add.reduceat((first - second) ** 2, edges)


def weighted_cell_sums(samples: Array, channel: int, sections: Array, state: Array, ends: Array) -> Array:
    """One channel of `(n, channels)` through two second-order sections, squared and summed up to each of `ends`.

    `sections` is `(2, 6)` in scipy's order; `state` `(7,)` carries inputs, outputs and the open sum from block to
    block and is changed; `ends` counts samples from the block's first. Gives one sum of squares for each end.

    >>> through = np.array([[1.0, 0, 0, 1, 0, 0], [1.0, 0, 0, 1, 0, 0]])
    >>> weighted_cell_sums(np.ones((5, 1)), 0, through, np.zeros(7), np.array([2, 4])).tolist()
    [2.0, 2.0]
    """
    from scipy.signal import lfilter, lfiltic

    x1, x2, y1, y2, z1, z2, open_sum = state
    before = samples[:, channel].astype(np.float64)
    first, second = sections
    between, _ = lfilter(first[:3], first[3:], before, zi=lfiltic(first[:3], first[3:], [y1, y2], [x1, x2]))
    after, _ = lfilter(second[:3], second[3:], between, zi=lfiltic(second[:3], second[3:], [z1, z2], [y1, y2]))
    sums = np.array([float(np.dot(cell, cell)) for cell in np.split(after, np.asarray(ends, dtype=np.int64))])
    sums[0] += open_sum
    state[:6] = [
        *np.concatenate(([x2, x1], before))[-1:-3:-1],
        *np.concatenate(([y2, y1], between))[-1:-3:-1],
        *np.concatenate(([z2, z1], after))[-1:-3:-1],
    ]
    state[6] = sums[-1]
    return sums[:-1]


def weighted_cell_sums_of_two(
    samples: Array, first: int, second: int, sections: Array, states: Array, ends: Array
) -> Array:
    """`weighted_cell_sums` of two channels, `(2, ends)`, not a bit apart; `states` `(channels, 7)` are all channels'.

    >>> through = np.array([[1.0, 0, 0, 1, 0, 0], [1.0, 0, 0, 1, 0, 0]])
    >>> weighted_cell_sums_of_two(np.ones((5, 2)), 0, 1, through, np.zeros((2, 7)), np.array([2, 4])).tolist()
    [[2.0, 2.0], [2.0, 2.0]]
    """
    return np.stack([weighted_cell_sums(samples, each, sections, states[each], ends) for each in (first, second)])


def interpolated_peak(channel: Array, start: int, stop: int, highest: float, quarters: Array, midway: Array) -> float:
    """The largest |value| of the curve through the samples of one channel `(n,)`, from sample `start` to `stop`.

    Samples outside count as silence, so `start` may be negative and `stop` beyond the end. `highest`
    is what was found before. `quarters` `(3, taps)` gives the values a quarter, a half and three quarters after a
    sample, `midway` `(4,)` those half-way on that finer grid, from its four neighbours on either side; a crest among
    all these counts as high as the parabola through it.

    >>> from gainlib.meters.true_peak import MIDWAY, QUARTERS
    >>> take = np.sin(np.pi / 4 + np.pi / 2 * np.arange(400))
    >>> round(interpolated_peak(take, 100, 300, 0.0, QUARTERS, MIDWAY), 3)
    1.0
    """
    taps = quarters.shape[1]
    reach = taps // 2
    count = stop + 4 - start
    padded = np.zeros(count + taps)
    first, last = max(start - reach + 1, 0), min(start + count + reach + 1, len(channel))
    if last > first:
        padded[first - start + reach - 1 : last - start + reach - 1] = channel[first:last]
    grid = np.empty((count, 4))
    grid[:, 0] = padded[reach - 1 : reach - 1 + count]
    for phase in range(3):
        grid[:, phase + 1] = np.correlate(padded, quarters[phase], "valid")[:count]
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

    >>> parabola_tops(np.array([0.0]), np.array([1.0]), np.array([1.0])).tolist()
    [1.125]
    """
    fall_left, fall_right = middle - left, middle - right
    both, apart = fall_left + fall_right, fall_left - fall_right
    crest = (fall_left >= 0.0) & (fall_right >= 0.0) & (both > 0.0)
    share = np.divide(apart, both, out=np.zeros_like(middle), where=crest)
    return np.asarray(middle + share * apart / 8.0)


def intersample_peaks(samples: Array, between: Array, tops: Array) -> None:
    """How high the curve through one channel goes next to each sample; `tops` `(n,)` keeps what was higher before.

    `samples` is `(n,)`; `between` `(3, n - 1)` holds the curve a quarter, a half and three quarters after each sample.
    A top between these points is that of the parabola through the three around it; it counts for the samples on both
    sides.

    >>> tops = np.zeros(3)
    >>> intersample_peaks(np.zeros(3), np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.0]]), tops)
    >>> tops.tolist()
    [0.5, 0.5, 0.0]
    """
    high = np.abs(np.append(np.column_stack((samples[:-1], between.T)).ravel(), samples[-1]))
    high[1:-1] = parabola_tops(high[:-2], high[1:-1], high[2:])
    steps = np.lib.stride_tricks.sliding_window_view(high, 5)[::4].max(axis=1)
    np.maximum(tops[:-1], steps, out=tops[:-1])
    np.maximum(tops[1:], steps, out=tops[1:])


def vu_ballistics(samples: Array, channel: int, step: Array, state: Array, ends: Array) -> tuple[Array, Array]:
    """A mass on a spring that follows |sample| of one channel: where it stands at each of `ends`, and the top since.

    `step` `(2, 2)` takes distance from the target and speed one sample on; `state` `(3,)`, which is deflection, speed
    and the top since the last end, is changed.

    >>> at_ends, tops = vu_ballistics(np.ones((3, 1)), 0, np.zeros((2, 2)), np.zeros(3), np.array([1]))
    >>> at_ends.tolist(), tops.tolist()
    ([1.0], [1.0])
    """
    (pull_y, y_v), (v_y, v_v) = step.tolist()
    y, v, open_top = state.tolist()
    moved = []
    for target in np.abs(samples[:, channel].astype(np.float64)).tolist():
        apart = y - target
        y, v = target + (pull_y * apart + y_v * v), v_y * apart + v_v * v
        moved.append(y)
    state[:2] = y, v
    return _at_ends(moved, ends, open_top, state)


def peak_detector(
    samples: Array, channel: int, charge: Array, hold: Array, state: Array, ends: Array
) -> tuple[Array, Array]:
    """Diode-and-capacitor detectors on |sample| of one channel, added: the sum at each of `ends`, and the top since.

    Each detector closes the share `charge` of the distance while |sample| is above it, and keeps the share `hold` of
    its voltage otherwise; `state` `(detectors + 1,)`, the voltages and the top since the last end, is changed.

    >>> take = np.array([[0.0], [-1.0], [0.0]])
    >>> at_ends, tops = peak_detector(take, 0, np.ones(1), np.full(1, 0.5), np.zeros(2), np.array([3]))
    >>> at_ends.tolist(), tops.tolist()
    ([0.5], [1.0])
    """
    *stored, open_top = state.tolist()
    rates = list(zip(charge.tolist(), hold.tolist(), strict=True))
    moved = []
    for value in np.abs(samples[:, channel].astype(np.float64)).tolist():
        stored = [
            voltage + (value - voltage) * charging if value > voltage else voltage * falling
            for voltage, (charging, falling) in zip(stored, rates, strict=True)
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


def smoothed_reduction(
    over_db: Array, slope: float, knee_db: float, attack: float, release: float, decoupled: bool, state: Array
) -> None:
    """The gain reduction in dB that a compressor gives, written over the level above threshold that asks for it.

    `over_db` `(n,)` is level minus threshold. The static curve asks for slope × level above threshold, rounded by a
    quadratic knee; `attack` and `release` are one-pole coefficients. `state` `(2,)` carries the smoothed values
    from one block to the next. Source: *published*, Giannoulis, Massberg and Reiss, JAES 60(6), 2012.

    >>> over = np.array([4.0, 4.0])
    >>> smoothed_reduction(over, 0.75, 0.0, 0.0, 0.0, False, np.zeros(2))
    >>> over.tolist()
    [3.0, 3.0]
    """
    half = knee_db / 2
    smooth, held = state
    for index, over in enumerate(over_db):
        wanted = slope * max(over, 0.0) if abs(over) >= half else slope * (over + half) ** 2 / (2 * knee_db)
        if decoupled:
            settled = 0.0 if held <= SETTLED_DB else release * held + (1 - release) * wanted
            held = max(wanted, settled)
            smooth = 0.0 if smooth <= SETTLED_DB and held == 0.0 else attack * smooth + (1 - attack) * held
        elif wanted > smooth:
            smooth = attack * smooth + (1 - attack) * wanted
        else:
            smooth = 0.0 if smooth <= SETTLED_DB else release * smooth + (1 - release) * wanted
        over_db[index] = smooth
    state[:] = smooth, held


def look_ahead_gain(wanted: Array, look_ahead: int, release: float) -> Array:
    """The gain of a look-ahead limiter, never above the gain wanted at its own sample.

    `wanted` `(n,)` is the gain that each sample needs, 1.0 at most. The gain falls straight towards the lowest one
    wanted in the next `look_ahead` samples, reaches it in time, and what is missing to 1 then dies away by `release`
    a sample. A stretch that wants nothing gets exactly 1.0 back.

    >>> look_ahead_gain(np.array([1.0, 1.0, 0.5, 1.0]), 1, 0.0).tolist()
    [1.0, 0.75, 0.5, 0.75]
    """
    count = len(wanted)
    missing = 1.0 - wanted
    # The most that any of the next samples asks for, for each sample from `look_ahead` before the first one on.
    ahead = np.concatenate((np.zeros(look_ahead), missing, np.zeros(look_ahead)))
    most = np.lib.stride_tricks.sliding_window_view(ahead, look_ahead + 1).max(axis=1)
    level = 0.0
    for index in range(len(most)):
        level = max(most[index], release * level)
        level = level if level > SETTLED else 0.0
        most[index] = level
    mean = np.lib.stride_tricks.sliding_window_view(most, look_ahead + 1).sum(axis=1) / (look_ahead + 1)
    gain: Array = np.minimum(1.0 - mean[:count], wanted)
    return gain


def fir_valid(samples: Array, taps: Array) -> Array:
    """Each full overlap of the taps with one channel: `(n,)` and `(k,)` in, `(n - k + 1,)` out.

    >>> fir_valid(np.array([1.0, 2.0, 4.0]), np.array([1.0, 10.0])).tolist()
    [21.0, 42.0]
    """
    return np.correlate(samples, taps, "valid")


def first_order_filter(samples: Array, now: float, before: float, feedback: float, state: Array, out: Array) -> None:
    """A first-order filter over one channel, `y = now x + before x' - feedback y'`, into `out`, which may be the input.

    `state` `(2,)` carries x' and y' from one block to the next.

    >>> out = np.empty(3)
    >>> first_order_filter(np.array([1.0, 0.0, 0.0]), 0.5, 0.0, -0.5, np.zeros(2), out)
    >>> out.tolist()
    [0.5, 0.25, 0.125]
    """
    from scipy.signal import lfilter

    last = samples[-1]
    out[:], _ = lfilter([now, before], [1.0, feedback], samples, zi=[before * state[0] - feedback * state[1]])
    state[:] = last, out[-1]


def rounded_with_feedback(
    wanted: Array, dither: Array, first: float, lowest: float, highest: float, out: Array
) -> None:
    """Whole numbers for one channel, each rounded with what the last two were off taken from it: `(n,)` into `out`.

    What is written is `wanted` plus an error whose spectrum is that of `1 - first z^-1 + z^-2`. Beyond `lowest` and
    `highest` it is cut off, and what is cut is not taken into the next, so that nothing runs away.

    >>> out = np.empty(4)
    >>> rounded_with_feedback(np.full(4, 0.6), np.zeros(4), 1.0, -8.0, 7.0, out)
    >>> out.tolist()
    [1.0, 0.0, 1.0, 1.0]
    """
    last = before = 0.0
    for index, (value, noise) in enumerate(zip(wanted.tolist(), dither.tolist(), strict=True)):
        meant = value - first * last + before
        whole = float(np.rint(meant + noise))
        before, last = last, whole - meant
        if not lowest <= whole <= highest:
            whole = min(max(whole, lowest), highest)
            last = 0.0
        out[index] = whole


def constant_runs(channel: Array, least: int) -> tuple[Array, Array]:
    """Where at least so many neighbours, 2 or more, are the same: first samples, and the samples after the last ones.

    >>> starts, ends = constant_runs(np.array([0.1, 0.0, 0.0, 0.0, 0.2]), 3)
    >>> starts.tolist(), ends.tolist()
    ([1], [4])
    """
    changes = np.flatnonzero(channel[1:] != channel[:-1]) + 1
    starts, ends = np.concatenate(([0], changes)), np.concatenate((changes, [len(channel)]))
    long = ends - starts >= least
    return starts[long].astype(np.int64), ends[long].astype(np.int64)


def find_flat_tops(channel: Array, level: float, relative: float, absolute: float) -> tuple[Array, Array, Array, Array]:
    """The shape of each crest of one channel: of each stretch at or above `level`, how long its top is and how steep.

    Four arrays: the first sample of the top, its length (the samples within `relative` of the stretch's height, or
    within `absolute` where that is more, from the first to the last of them), the height, and how far the channel falls
    within as many samples before and after, on the side where it falls less.

    >>> find_flat_tops(np.array([0.0, 0.2, 0.9, 0.9, 0.9, 0.3, -1.0]), 0.5, 1e-3, 0.0)
    (array([2]), array([3]), array([0.9]), array([0.9]))
    """
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], channel >= level, [False])).astype(np.int8)))
    for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        height = float(channel[start:end].max())
        near = start + np.flatnonzero(channel[start:end] >= height - max(height * relative, absolute))
        first, last = int(near[0]), int(near[-1])
        count = last - first + 1
        before = float(channel[max(0, first - count) : first].min(initial=height))
        after = float(channel[last + 1 : last + 1 + count].min(initial=height))
        found.append((first, count, height, height - max(before, after)))
    columns = np.array(found).reshape(-1, 4).T
    return columns[0].astype(np.int64), columns[1].astype(np.int64), columns[2], columns[3]


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
    """The crests of both sides of one channel that have three neighbours at one height and fall off steeply.

    Looked at are `count` windows of `width` samples from `first` on: the highest (or lowest) sample of each, where it
    is `least` and more and no lower, bar `shared`, than those of the windows beside, and `reach` samples
    stand on both sides. Its top is what lies within `near` of it without a break, `longest` at most; within its own
    length before and after the channel falls by `steep` and more on both sides. `(found, 4)`: 0 for a crest and 1 for a
    trough, first sample, length, highest sample.

    >>> wave = np.clip(1.5 * np.sin(np.arange(60) / 10), -1, 1)
    >>> flat_crests(np.tile(wave, 8), 96, 3, 96, 192, 96, 0.01, 1e-4, 1e-4, 0.003).tolist()[:1]
    [[0, 188, 17, 192]]
    """
    places = np.arange(-reach, reach + 1)
    found = []
    for number, side in enumerate((channel, -channel)):
        rows = side[first : first + count * width].reshape(count, width)
        tops = rows.argmax(axis=1)  # three times as fast as the maximum along rows this short
        highest = rows[np.arange(count), tops]
        beside = np.concatenate((
            [side[max(0, first - width) : first].max(initial=0.0)],
            highest,
            [side[first + count * width :][:width].max(initial=0.0)],
        ))  # fmt: skip
        at = np.flatnonzero((highest >= least) & (highest >= np.maximum(beside[:-2], beside[2:]) - shared))
        middle = first + at * width + tops[at]
        inside = (middle >= reach) & (middle < len(side) - reach)
        middle, height = middle[inside], highest[at][inside].astype(np.float64)
        # Few crests have three neighbours at one height, and only those are looked at as a whole.
        beyond = side[middle[:, None] + np.arange(-2, 3)] >= (height - near)[:, None]
        three = (beyond[:, 1] & (beyond[:, 0] | beyond[:, 3])) | (beyond[:, 3] & beyond[:, 4])
        middle, height = middle[three], height[three]
        for some in range(0, len(middle), _CRESTS_AT_ONCE):
            here, high = middle[some : some + _CRESTS_AT_ONCE], height[some : some + _CRESTS_AT_ONCE]
            # One place a column, one crest a row: the top is what lies near its height without a break.
            waves = side[here[:, None] + places]
            far = waves < (high - near)[:, None]
            before, after = (
                np.where(each.any(axis=1), each.argmax(axis=1), reach)
                for each in (far[:, reach - 1 :: -1], far[:, reach + 1 :])
            )
            length = before + after + 1
            away = np.where(places < 0, -places - before[:, None], places - after[:, None])
            waves = np.where((away > 0) & (away <= length[:, None]), waves, np.inf)
            lowest = np.maximum(waves[:, :reach].min(axis=1), waves[:, reach + 1 :].min(axis=1))
            good = (length <= longest) & (high - lowest >= steep)
            sides = np.full(int(good.sum()), number)
            found.append(np.stack((sides, (here - before)[good], length[good], here[good]), axis=1))
    return np.concatenate(found).astype(np.int64) if found else np.empty((0, 4), dtype=np.int64)


def repeated_stretches(channel: Array, lags: Array, stride: int) -> Array:
    """Where every `stride`-th sample equals the one `lag` before it for about as long as that is, at least twice.

    `(found, 2)`: the number of the lag, and the middle of the stretch in samples. A longer lag is passed over where the
    channel does not hold twice as much.

    >>> block = np.arange(1.0, 33.0)
    >>> repeated_stretches(np.concatenate((block, block, -block)), np.array([32]), 8).tolist()
    [[0, 48]]
    """
    found = []
    for number, lag in enumerate(lags.tolist()):
        if len(channel) < 2 * lag + stride:
            continue
        few = channel[lag::stride]
        alike = few == channel[: len(channel) - lag : stride]
        edges = np.flatnonzero(np.diff(np.concatenate(([False], alike, [False])).astype(np.int8)))
        starts, ends = edges[::2], edges[1::2]
        long = ends - starts >= max(2, lag // stride - 1)
        found += [(number, each * stride + lag) for each in ((starts[long] + ends[long]) // 2).tolist()]
    return np.array(found, dtype=np.int64).reshape(-1, 2)


def sharp_bends(channel: Array, width: int, apart: int, times: float, least: float) -> Array:
    """The windows of `width` in which a channel bends more sharply than in all windows around, by so many times.

    The bend is |x[n+1] - 2 x[n] + x[n-1]|. `apart` windows on either side are looked at, but for those that touch this
    one; the bend must also be above `least`. Compared in the channel's own precision.

    >>> wave = np.sin(np.arange(4000) / 20)
    >>> wave[2050] = -1.0
    >>> sharp_bends(wave, 100, 3, 2.0, 1e-3).tolist()
    [20]
    """
    bends = np.abs((channel[2:] - channel[1:-1]) - (channel[1:-1] - channel[:-2]))
    count = len(bends) // width
    if count < 3:
        return np.zeros(0, dtype=np.int64)
    tops = bends[: count * width].reshape(count, width).max(axis=1)
    views = np.lib.stride_tricks.sliding_window_view(np.pad(tops, apart + 1), 2 * apart + 3)
    around = np.maximum(views[:, :apart].max(axis=1), views[:, -apart:].max(axis=1))
    times, least = np.asarray([times, least], dtype=channel.dtype)
    return np.flatnonzero((tops > times * around) & (tops > least)).astype(np.int64)
