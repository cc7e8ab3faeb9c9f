"""Each compiled loop does what the plain one does, above all where arithmetic is thin.

200 cases a loop; GAINLIB_LOOP_CASES=10000 in the environment asks for more.
"""

from __future__ import annotations

import itertools
import math
import os
import sys

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from gainlib import loops
from gainlib.loops import numpy_loops
from gainlib.meters import k_weighting, loudness_lufs, ppm, true_peak_dbtp, vu
from gainlib.meters.true_peak import MIDWAY, QUARTERS

numba_loops = pytest.importorskip("gainlib.loops.numba_loops", reason="numba is not installed: the plain loops run")

many = settings(
    max_examples=int(os.environ.get("GAINLIB_LOOP_CASES", "200")), suppress_health_check=[HealthCheck.too_slow]
)


# -- signals on which arithmetic is thin


def dithered_flat_tops(rng, count):
    wave = np.clip(rng.uniform(1, 20) * np.sin(rng.uniform(0.002, 0.4) * np.arange(count)), -1, 1)
    step = 2.0 ** -rng.choice([15, 23])
    dither = rng.uniform(-0.5, 0.5, count) + rng.uniform(-0.5, 0.5, count)
    return np.round(wave * 10 ** rng.uniform(-3, 0) / step + dither) * step * 10 ** rng.uniform(-1, 0)


def equal_runs(rng, count):
    return np.repeat(rng.integers(-2, 3, count) / 2, rng.integers(1, 40, count))[:count]


def one_step_apart(rng, count):
    step = 2.0 ** -rng.choice([23, 52])
    return rng.choice([-1.0, 1.0]) * rng.uniform(0.01, 1.0) * (1.0 + step * rng.integers(-1, 2, count))


def denormal(rng, count):
    return rng.integers(-3, 4, count) * rng.choice([5e-324, 1e-300, 1.4e-45, 1e-39])


def square(rng, count):
    return np.where(np.arange(count) // rng.integers(1, 100) % 2, -1.0, 1.0)


def silence(rng, count):
    return np.zeros(count)


def noise(rng, count):
    return rng.standard_normal(count) * 10 ** rng.uniform(-4, 0)


PASSAGES = [dithered_flat_tops, equal_runs, one_step_apart, denormal, square, silence, noise]


@st.composite
def channels(draw, least=1, dtypes=(np.float32, np.float64)):
    """One channel of up to four such passages, one after another."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    kinds = draw(st.lists(st.sampled_from(PASSAGES), min_size=1, max_size=4))
    counts = [draw(st.integers(least, 300)) for _ in kinds]
    parts = [kind(rng, count) for kind, count in zip(kinds, counts, strict=True)]
    return np.concatenate(parts).astype(draw(st.sampled_from(dtypes)))


def as_take(channel):
    """The channel as the second of two, in the layout of a whole recording."""
    return loops.as_rows(np.column_stack((np.full_like(channel, 0.3), channel)))


def both(call):
    """What a call gives with the compiled loops and with the plain ones."""
    return call(numba_loops), call(numpy_loops)


def in_blocks(name, take, arguments, state, ends, cut):
    """Run a loop that keeps a state over a take in two blocks, as meters do; gives all that it gave and its state."""
    given_back = []
    for module in (numba_loops, numpy_loops):
        own, parts = state.copy(), []
        for begin, end in ((0, cut), (cut, len(take))):
            inside = ends[(ends > begin) & (ends <= end)] - begin
            if end > begin:
                parts.append(np.ravel(getattr(module, name)(take[begin:end], 1, *arguments, own, inside)))
        given_back.append((np.concatenate(parts), own))
    return given_back


def ends_in(take):
    return np.unique(np.linspace(1, len(take), 5).astype(np.int64))


def largest(samples):
    return float(np.abs(samples.astype(np.float64)).max())


# -- the loops of the meters


@many
@given(channels(), st.floats(0, 1))
def test_weighted_cell_sums(channel, cut):
    take = as_take(channel)
    compiled, plain = in_blocks(
        "weighted_cell_sums", take, (k_weighting(48_000),), np.zeros(7), ends_in(take), int(cut * len(take))
    )
    # The second filter's pole at 38 Hz stands 0.005 from the circle: rounding of 1e-16 grows by some 1 / 0.005^2. By
    # the triangle inequality the roots of two sums differ by the root of the squared differences at most.
    allowed = 1e-11 * largest(channel)
    assert compiled[1][:6] == pytest.approx(plain[1][:6], rel=1e-9, abs=allowed + 1e-149)
    for one, other in ((compiled[0], plain[0]), (compiled[1][6], plain[1][6])):
        assert np.sqrt(one) == pytest.approx(np.sqrt(other), rel=1e-9, abs=allowed * len(take) ** 0.5 + 1e-140)


@many
@given(channels(least=2), st.floats(0, 1))
def test_two_channels_in_step_are_each_as_it_is_alone(channel, cut):
    take = loops.as_rows(np.column_stack((channel, channel[::-1], 0.5 * channel)))
    ends, both_states, alone = ends_in(take), np.zeros((3, 7)), np.zeros((3, 7))
    for begin, end in ((0, int(cut * len(take))), (int(cut * len(take)), len(take))):
        given_ends = ends[(ends > begin) & (ends <= end)] - begin
        part = take[begin:end]
        sums = numba_loops.weighted_cell_sums_of_two(part, 2, 0, k_weighting(48_000), both_states, given_ends)
        for row, number in zip(sums, (2, 0), strict=True):
            assert np.array_equal(
                row, numba_loops.weighted_cell_sums(part, number, k_weighting(48_000), alone[number], given_ends)
            )
    assert np.array_equal(both_states, alone)


# What a curve through samples of 1 can reach at most: all taps of one value between them, with the samples' signs to
# match; and a parabola stands above its crest by an eighth of the fall beside it, which is the crest's height at most.
MOST = np.abs(QUARTERS).sum(axis=1).max() * 9 / 8


@many
@given(channels())
def test_interpolated_peak(channel):
    end = len(channel) + 36
    compiled, plain = both(lambda module: module.interpolated_peak(channel, -34, end, 0.0, QUARTERS, MIDWAY))
    # The compiled loop works in single precision between the samples: 64 products of 2^-24 each, less than 1e-5.
    assert compiled == pytest.approx(plain, rel=1e-5, abs=1e-300)
    assert largest(channel) <= compiled <= MOST * largest(channel) * (1 + 1e-5)
    assert plain <= MOST * largest(channel) * (1 + 1e-12)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("sharp", [0.0, 0.02, 0.1, 1.0])
def test_what_is_passed_over_holds_no_higher_crest(sharp, dtype):
    # Waves that pass through each other, with more and more noise, bent over at one height: whichever stretch has the
    # crest, the plain loop, which passes over none, finds the same.
    rng = np.random.default_rng(round(100 * sharp))
    at = np.arange(60_000)
    waves = sum(rng.uniform(0.2, 1.0) * np.sin(rate * at + rng.uniform(0, 6)) for rate in rng.uniform(0.01, 0.4, 5))
    channel = np.tanh(waves / 4 + sharp * rng.standard_normal(len(at))).astype(dtype)
    for begin in range(0, len(at), 6000):
        part = channel[begin : begin + 6000]
        compiled, plain = both(
            lambda module, part=part: module.interpolated_peak(part, -34, 6036, 0.0, QUARTERS, MIDWAY)
        )
        assert compiled == pytest.approx(plain, rel=1e-5)


# Taps that draw straight lines, so that each point of the curve is known to the last bit.
HELD = np.tile(np.eye(64)[31], (3, 1))
STRAIGHT = np.array([0.5, 0.0, 0.0, 0.0])


@pytest.mark.parametrize("peak", [1.25, 1.5, 1.75])
@pytest.mark.parametrize("module", [numba_loops, numpy_loops])
def test_a_step_beside_a_flat_top_is_no_peak(module, peak):
    # From the peak to two steps of single precision below it in a straight line: half-way stands a value one step
    # down, so that the last point of the flat top has an equal on one side and a step on the other. By hand: the
    # parabola's top is (s - 0)^2 / (8 (s + 0)) = s/8 above it. 2 x peak - left - right rounds to 0 there. The compiled
    # loop leaves out a rise of less than a millionth.
    step = 2.0**-23
    channel = np.repeat([peak, peak - 2 * step], 100)
    assert peak <= module.interpolated_peak(channel, 10, 190, 0.0, HELD, STRAIGHT) <= peak + step / 8


@pytest.mark.parametrize(
    ("left", "middle", "right", "above"),
    [
        # y = 1 - (x - a)^2 at -1, 0 and 1: the top is 1, a^2 above the middle.
        (1 - 1.25**2, 1 - 0.25**2, 1 - 0.75**2, 0.25**2),
        (1 - 1.5**2, 1 - 0.5**2, 1 - 0.5**2, 0.5**2),
        (0.0, 1.0, 1.0, 1 / 8),
        (0.3, 0.7, 0.3, 0.0),
        (0.5, 0.5, 0.5, 0.0),
        # No crest: nothing is added.
        (0.2, 0.5, 0.8, 0.0),
        (0.8, 0.5, 0.2, 0.0),
        # A step that is lost beside the middle: 2m - l - r is 2^-52, or 0 as rounding goes.
        (1.0, 1.0, 1.0 - 2.0**-53, 0.0),
        (1.5, 1.5, 1.5 - 2.0**-52, 0.0),
        (0.0, 5e-324, 5e-324, 0.0),
    ],
)
def test_the_top_of_a_parabola_by_hand(left, middle, right, above):
    compiled = numba_loops.parabola_top(left, middle, right)
    (plain,) = numpy_loops.parabola_tops(*np.array([[left], [middle], [right]]))
    assert compiled == plain == pytest.approx(middle + above, rel=2.3e-16)


@many
@given(channels(least=3, dtypes=(np.float64,)))
def test_a_top_stands_an_eighth_of_the_larger_fall_above_its_crest_at_most(channel):
    high = np.abs(channel)
    left, middle, right = high[:-2], high[1:-1], high[2:]
    tops = numpy_loops.parabola_tops(left, middle, right)
    assert (tops >= middle).all()
    assert (tops <= middle + np.maximum(np.maximum(middle - left, middle - right), 0.0) / 8 + np.spacing(middle)).all()


STEP = np.array([[0.999, 1e-5], [-0.02, 0.99]])


@many
@given(channels(), st.floats(0, 1))
def test_vu_ballistics(channel, cut):
    take = as_take(channel)
    compiled, plain = in_blocks("vu_ballistics", take, (STEP,), np.full(3, 0.0), ends_in(take), int(cut * len(take)))
    for one, other in zip(compiled, plain, strict=True):
        assert one == pytest.approx(other, rel=1e-11, abs=1e-12 * largest(channel) + 1e-149)


@many
@given(channels(), st.floats(0, 1))
def test_peak_detector(channel, cut):
    take = as_take(channel)
    rates = np.array([0.03, 0.005]), np.array([0.9999, 0.999])
    compiled, plain = in_blocks("peak_detector", take, rates, np.zeros(3), ends_in(take), int(cut * len(take)))
    for one, other in zip(compiled, plain, strict=True):
        assert one == pytest.approx(other, rel=1e-12, abs=1e-149)


@many
@given(channels(), st.floats(-4.0, 4.0), st.sampled_from([1, 2]))
def test_add_as_it_is_and_scaled(channel, gain, wide):
    block = np.column_stack([channel] * wide)
    sums = [np.full((2, len(channel) + 3, 2), 0.1) for _ in range(2)]
    for module, (total, scaled) in zip((numba_loops, numpy_loops), sums, strict=True):
        module.add_as_it_is_and_scaled(block, gain, total, scaled)
    # One product and one sum for each sample: not a bit apart.
    assert np.array_equal(*sums)


# -- the loops that look for damage, which compare samples and nothing else: not a bit apart


@many
@given(channels(), st.integers(2, 60))
def test_constant_runs(channel, least):
    (starts, ends), plain = both(lambda module: module.constant_runs(channel, least))
    assert np.array_equal((starts, ends), plain)
    # By counting them one after the other.
    lengths = [len(list(run)) for _, run in itertools.groupby(channel.tolist())]
    lasts = itertools.accumulate(lengths)
    assert [(last - length, last) for length, last in zip(lengths, lasts, strict=True) if length >= least] == list(
        zip(starts.tolist(), ends.tolist(), strict=True)
    )


@many
@given(channels(), st.integers(0, 299), st.integers(1, 90), st.sampled_from([1, 4, 16]))
def test_repeated_stretches(channel, at, length, stride):
    doubled = np.concatenate((channel[: at + length], channel[at : at + length], channel[at + length :]))
    lags = np.array(sorted({length, 16, 64, 441}))
    compiled, plain = both(lambda module: module.repeated_stretches(doubled, lags, stride))
    assert np.array_equal(compiled, plain)


@many
@given(channels(), st.sampled_from([2, 10, 64]), st.integers(1, 4), st.floats(0.0, 3.0), st.sampled_from([0.0, 1e-3]))
def test_sharp_bends(channel, width, apart, times, least):
    compiled, plain = both(lambda module: module.sharp_bends(channel, width, apart, times, least))
    assert np.array_equal(compiled, plain)


few_values = hnp.arrays(
    st.sampled_from([np.float32, np.float64]),
    st.integers(1, 300),
    elements=st.sampled_from([-1.0, -0.5, 0.0, 0.25, 1.0]),
)


def flat_top_by_hand(channel, start, length, relative, absolute):
    """First sample, length, height and fall of the top of one stretch, sample by sample."""
    stretch = channel[start : start + length]
    height = max(stretch)
    near = [at for at, value in enumerate(stretch) if value >= height - max(height * relative, absolute)]
    first, count = start + near[0], near[-1] - near[0] + 1
    before, after = channel[max(first - count, 0) : first], channel[first + count : first + 2 * count]
    return first, count, height, height - max(min([*before, height]), min([*after, height]))


@many
@given(
    few_values, st.sampled_from([0.0, 0.25, 0.5, 1.0, 2.0]), st.sampled_from([0.0, 0.5]), st.sampled_from([0.0, 0.3])
)
def test_find_flat_tops(channel, level, relative, absolute):
    expected, at = [], 0
    for above, run in itertools.groupby((channel >= level).tolist()):
        length = len(list(run))
        if above:
            expected.append(flat_top_by_hand(channel.tolist(), at, length, relative, absolute))
        at += length
    for module in (numba_loops, numpy_loops):
        found = module.find_flat_tops(channel, level, relative, absolute)
        assert [each.dtype for each in found] == [np.int64, np.int64, np.float64, np.float64]
        assert list(zip(*(each.tolist() for each in found), strict=True)) == expected


@many
@given(
    channels(least=100),
    st.integers(0, 60),
    st.sampled_from([1.0, 0.7, 0.1]),
    st.sampled_from([96, 40, 7]),
    st.sampled_from([1, 2, 5]),
)
def test_flat_crests(channel, first, ceiling, width, reach):
    clipped = np.clip(channel, -ceiling * largest(channel), ceiling * largest(channel)).astype(channel.dtype)
    step = largest(channel) * 2.0**-12
    count = (len(clipped) - first) // width
    bounds = (first, count, width, reach * width, reach * width - 6, 4 * step, 3 * step, 4 * step, 100 * step)
    compiled, plain = both(lambda module: module.flat_crests(clipped, *bounds))
    assert np.array_equal(compiled, plain)


def test_flat_crests_by_hand():
    # Clipped at 1 from sample 50 to 53 and at -1 from 85 on for five; a crest of two samples, and a top on a slope.
    channel = np.zeros(220)
    channel[50:54], channel[85:90], channel[125:127] = 1.0, -1.0, 1.0
    channel[144:152] = 0.6, 0.8, 0.9, 1.0, 1.0, 1.0, 0.9, 0.8
    for module in (numba_loops, numpy_loops):
        assert module.flat_crests(channel, 40, 7, 20, 40, 20, 0.5, 0.1, 1e-3, 0.5).tolist() == [
            [0, 50, 4, 50],
            [1, 85, 5, 85],
        ]


# -- the figures of windows


@many
@given(channels(), st.integers(1, 400))
def test_window_figures(channel, width):
    rows = np.stack((channel, channel[::-1]))
    compiled, plain = both(lambda module: module.window_figures(rows, width))
    for mine, theirs in zip(compiled, plain, strict=True):
        assert mine.dtype == theirs.dtype
        assert mine == pytest.approx(theirs, rel=1e-11, abs=1e-11 * largest(channel))
    # By hand, window by window.
    parts = [channel.astype(np.float64)[at : at + width] for at in range(0, len(channel), width)]
    sums, squares, lowest, highest = (each[:, 0] for each in compiled)
    assert sums == pytest.approx([math.fsum(part) for part in parts], rel=1e-12, abs=1e-12 * largest(channel))
    assert squares == pytest.approx([math.fsum(part * part) for part in parts], rel=1e-12)
    assert lowest.tolist() == [part.min() for part in parts]
    assert highest.tolist() == [part.max() for part in parts]


@many
@given(channels(), st.integers(1, 400))
def test_window_products(channel, width):
    other = np.roll(channel, 1)
    compiled, plain = both(lambda module: module.window_products(channel, other, width))
    wide, rolled = channel.astype(np.float64), other.astype(np.float64)
    size = largest(channel) ** 2
    for at, (product, apart) in enumerate(zip(*compiled, strict=True)):
        part = slice(at * width, (at + 1) * width)
        assert product == pytest.approx(math.fsum(wide[part] * rolled[part]), rel=1e-12, abs=1e-12 * size)
        assert apart == pytest.approx(math.fsum((wide - rolled)[part] ** 2), rel=1e-12, abs=1e-300)
    for mine, theirs in zip(compiled, plain, strict=True):
        assert mine == pytest.approx(theirs, rel=1e-11, abs=1e-11 * size)


# -- the loops of the stages, which work in double precision

takes = channels(least=2, dtypes=(np.float64,))
poles = st.floats(0.0, 0.9999)


@many
@given(takes, st.floats(-60, 0), st.floats(0, 1), st.sampled_from([0.0, 3.0, 12.0]), poles, poles, st.booleans())
def test_smoothed_reduction(channel, threshold_db, slope, knee_db, attack, release, decoupled):
    with np.errstate(divide="ignore"):
        over = 20 * np.log10(np.abs(channel)) - threshold_db
    fast, plain, blocks = over.copy(), over.copy(), over.copy()
    fast_state, plain_state, state = np.zeros(2), np.zeros(2), np.zeros(2)
    numba_loops.smoothed_reduction(fast, slope, knee_db, attack, release, decoupled, fast_state)
    numpy_loops.smoothed_reduction(plain, slope, knee_db, attack, release, decoupled, plain_state)
    # 2e-9 dB: a value next to the flush at 1e-9 dB may be flushed on one side only.
    np.testing.assert_allclose(fast, plain, rtol=1e-11, atol=2e-9)
    np.testing.assert_allclose(fast_state, plain_state, rtol=1e-11, atol=2e-9)
    for part in np.split(blocks, [len(blocks) // 3]):
        numba_loops.smoothed_reduction(part, slope, knee_db, attack, release, decoupled, state)
    assert np.array_equal(blocks, fast)


@many
@given(takes, st.floats(-60, 0), st.integers(0, 60), poles)
def test_look_ahead_gain(channel, ceiling_db, look_ahead, release):
    ceiling, level = 10 ** (ceiling_db / 20), np.abs(channel)
    wanted = np.divide(ceiling, level, out=np.ones(len(level)), where=level > ceiling)
    fast, plain = both(lambda module: module.look_ahead_gain(wanted, look_ahead, release))
    # 1e-9: a value next to the flush at 1e-10 may be flushed on one side only.
    np.testing.assert_allclose(fast, plain, rtol=0, atol=1e-9)
    assert (fast <= wanted).all()
    assert (fast > 0).all()
    if (wanted == 1.0).all():
        assert (fast == 1.0).all()


@many
@given(takes, st.integers(0, 2**32 - 1))
def test_intersample_peaks(channel, seed):
    between = channel[np.random.default_rng(seed).integers(0, len(channel), (3, len(channel) - 1))]
    fast, plain = np.zeros(len(channel)), np.zeros(len(channel))
    numba_loops.intersample_peaks(channel, between, fast)
    numpy_loops.intersample_peaks(channel, between, plain)
    assert np.array_equal(fast, plain)
    assert (fast >= np.abs(channel)).all()
    assert fast.max() <= largest(np.append(channel, between)) * 9 / 8


@many
@given(takes, st.integers(1, 90), st.integers(0, 2**32 - 1))
def test_fir_valid(channel, count, seed):
    samples = np.concatenate((channel, np.zeros(count)))
    taps = np.random.default_rng(seed).standard_normal(count)
    fast, plain = both(lambda module: module.fir_valid(samples, taps))
    # Each side rounds once for each product and once for each sum.
    allowed = 2.0**-52 * count * np.abs(taps).sum() * largest(channel)
    np.testing.assert_allclose(fast, plain, rtol=0, atol=allowed + 1e-320)


@many
@given(takes, st.floats(-0.99, 0.99))
def test_first_order_filter(channel, feedback):
    fast, plain, whole = (np.empty(len(channel)) for _ in range(3))
    cut = len(channel) // 2
    fast_state, plain_state = np.zeros(2), np.zeros(2)
    for part in (slice(0, cut), slice(cut, None)):
        numba_loops.first_order_filter(channel[part], 0.7, -0.2, feedback, fast_state, fast[part])
        numpy_loops.first_order_filter(channel[part], 0.7, -0.2, feedback, plain_state, plain[part])
    numba_loops.first_order_filter(channel, 0.7, -0.2, feedback, np.zeros(2), whole)
    assert np.array_equal(fast, whole)
    # Each side rounds each output, which is 0.9 / (1 - |feedback|) of the largest input at most, a few times; and what
    # is rounded rings on for 1 / (1 - |feedback|) samples. What falls below 1e-200 is dropped by the compiled loop.
    allowed = 2.0**-50 * 0.9 * largest(channel) / (1 - abs(feedback)) ** 2 + 1e-197
    np.testing.assert_allclose(fast, plain, rtol=0, atol=allowed)
    np.testing.assert_allclose(fast_state, plain_state, rtol=0, atol=allowed)


@many
@given(takes, st.floats(-2.0, 2.0), st.integers(2, 24), st.integers(0, 2**32 - 1))
def test_rounded_with_feedback(channel, first, bits, seed):
    steps = 2.0 ** (bits - 1)
    dither = np.random.default_rng(seed).random(len(channel)) - 0.5
    fast, plain = np.empty(len(channel)), np.empty(len(channel))
    numba_loops.rounded_with_feedback(channel * steps, dither, first, -steps, steps - 1, fast)
    numpy_loops.rounded_with_feedback(channel * steps, dither, first, -steps, steps - 1, plain)
    # The same operations in the same order: not a bit apart.
    assert np.array_equal(fast, plain)
    assert fast.min() >= -steps
    assert fast.max() <= steps - 1


# -- which loops run


def test_each_plain_loop_has_a_compiled_namesake_and_a_front():
    assert loops.backend() is numba_loops
    for name in numpy_loops.__all__:
        assert hasattr(getattr(numba_loops, name), "signatures"), name
        assert getattr(loops, name).__wrapped__ is getattr(numpy_loops, name)


def test_no_loop_may_reorder_its_arithmetic():
    for name, loop in vars(numba_loops).items():
        if hasattr(loop, "targetoptions"):
            assert not loop.targetoptions.get("fastmath"), name


def test_without_numba_the_plain_loops_run(monkeypatch):
    monkeypatch.setitem(sys.modules, "gainlib.loops.numba_loops", None)
    monkeypatch.delattr(loops, "numba_loops", raising=False)
    loops.backend.cache_clear()
    try:
        assert loops.backend() is numpy_loops
        assert loops.fir_valid(np.ones(3), np.ones(2)).tolist() == [2.0, 2.0]
    finally:
        loops.backend.cache_clear()


def test_the_meters_read_the_same_without_numba(monkeypatch):
    take = np.random.default_rng(7).standard_normal((30_000, 2)) * 0.1

    def readings():
        return [
            loudness_lufs(take, 48_000),
            *true_peak_dbtp(take),
            *vu(take, 48_000).highest_dbfs,
            *ppm(take, 48_000, "II").highest_dbfs,
        ]

    compiled = readings()
    monkeypatch.setattr(loops, "backend", lambda: numpy_loops)
    assert readings() == pytest.approx(compiled, abs=1e-4)


def test_silence_after_sound_leaves_no_denormal_numbers():
    # A filter that rings on for ever would end in numbers that cost a hundred times as much.
    state = np.zeros(7)
    take = loops.as_rows(np.concatenate((np.ones((480, 1)), np.zeros((480_000, 1)))))
    numba_loops.weighted_cell_sums(take, 0, k_weighting(48_000), state, np.arange(480, len(take) + 1, 480))
    assert not state.any()


def test_a_loop_is_compiled_where_nothing_can_be_kept(monkeypatch):
    from numba.core.caching import CompileResultCacheImpl

    def loop(value):
        return value + 1

    kept = numba_loops.compiled(loop)
    assert kept(1) == 2
    assert kept.stats.cache_path is not None
    # As where neither the installation nor the user's own folder can be written to.
    monkeypatch.setattr(CompileResultCacheImpl, "_locator_classes", [])
    anew = numba_loops.compiled(loop)
    assert anew(1) == 2
    assert anew.stats.cache_path is None
