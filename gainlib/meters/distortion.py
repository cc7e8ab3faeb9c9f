"""What a stage adds to a tone: harmonics, THD, THD+N, intermodulation; and what is left between two signals."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.audio import checked_samples
from gainlib.decibels import db_from_power, db_from_ratio
from gainlib.errors import GainError
from gainlib.meters.streaming import within_reach

__all__ = [
    "Harmonics",
    "Intermodulation",
    "Null",
    "harmonics",
    "intermodulation",
    "null",
    "thd_n_percent",
    "tone_frequency_hz",
]

Series = NDArray[np.float64]

_FREQUENCY_SAMPLES = 1 << 18
_NOTCH_Q = 3.0  # AES17 allows 1.2 to 3 (from memory)


@dataclass(frozen=True)
class Harmonics:
    """Amplitudes of a tone and its harmonics, order 1 first; orders at or above half the rate are left out.

    `harmonics` gives it.

    Attributes
    ----------
    fundamental_hz : float
        The frequency of the tone.
    amplitude : ndarray `(orders, channels)`
        The peak amplitude of each order, full scale 1.0.
    offset : ndarray `(channels,)`
        The DC beside them.

    References
    ----------
    *Derived*: of a square wave the root of the sum of 1/9, 1/25, ... is 48.3 % of the fundamental, 43.5 % of the whole.

    Examples
    --------
    >>> Harmonics(997.0, np.array([[0.5], [0.0], [0.05]]), np.array([0.0])).thd_percent.round(3).tolist()
    [10.0]
    """

    fundamental_hz: float
    amplitude: Series
    offset: Series

    def relative_db(self, order: int) -> Series:
        """The level of one harmonic below the fundamental, in dB, one a channel; -inf where there is none."""
        if not 1 <= order <= len(self.amplitude):
            raise GainError(f"order is {order}; harmonics 1 to {len(self.amplitude)} were measured.")
        relative: Series = self.amplitude[order - 1] / self.amplitude[0]
        return db_from_ratio(relative)

    @property
    def thd_percent(self) -> Series:
        """All harmonics over the fundamental, in percent (THD_F)."""
        return np.asarray(100.0 * np.sqrt((self.amplitude[1:] ** 2).sum(axis=0)) / self.amplitude[0])

    @property
    def thd_of_total_percent(self) -> Series:
        """All harmonics over the whole, in percent (THD_R): a square wave has 43.5 % of it and 48.3 % of the other."""
        share = self.thd_percent / 100.0
        return np.asarray(100.0 * share / np.sqrt(1.0 + share**2))


def tone_frequency_hz(samples: ArrayLike, rate_hz: int) -> float:
    """The frequency of the strongest tone in a recording, by a least-squares fit of a sine.

    Needs a tone that lasts; of noise it gives the strongest line, which means nothing.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        At least eight samples; the loudest channel counts.
    rate_hz : int
        The sample rate.

    Returns
    -------
    float
        Hz.

    Raises
    ------
    GainError
        For samples that cannot be read, for silence or a constant, and for a rate below 1 Hz, and for fewer than eight
        samples.

    References
    ----------
    IEEE Std 1057, the four-parameter sine fit (*from memory*).

    Examples
    --------
    >>> round(tone_frequency_hz(0.1 * np.sin(2 * np.pi * 997 / 48000 * np.arange(4800)), 48000), 6)
    997.0
    """
    checked = _checked(samples, rate_hz)
    if len(checked) < 8:
        raise GainError(f"samples holds {len(checked)} samples; a tone needs at least 8 to be found.")
    # A few seconds tell the frequency: the loudest stretch of the loudest channel.
    starts = range(0, max(1, len(checked) - _FREQUENCY_SAMPLES + 1), _FREQUENCY_SAMPLES)
    stretches = [checked[start : start + _FREQUENCY_SAMPLES].astype(np.float64) for start in starts]
    stretches = [each - each.mean(axis=0) for each in stretches]
    loudest = max(stretches, key=lambda each: float((each * each).sum(axis=0).max()))
    channel = loudest[:, int((loudest * loudest).sum(axis=0).argmax())]
    largest = float(np.abs(channel).max())
    if largest <= 1e-12 * float(np.abs(checked).max()) or largest == 0.0:
        raise GainError("samples holds silence or a constant; distortion is measured on a tone.")
    channel = channel / largest
    size = len(channel)
    middle = channel[max(0, size - 16_384) // 2 :][:16_384]
    # First on a short part, where the strongest line is near enough, then on all of it.
    turns_a_sample = _refined(middle, _strongest_line(middle), 8)
    return _refined(channel, turns_a_sample, 4) * rate_hz


def _strongest_line(channel: Series) -> float:
    """The frequency of the strongest line in turns a sample, between two lines as a Hann window tells it."""
    size = len(channel)
    lines = np.abs(np.fft.rfft(channel * _hann(size)))
    lines[0] = 0.0
    best = int(lines.argmax())
    if not 0 < best < len(lines) - 1:
        return max(best, 0.5) / size
    before, top, after = (float(each) for each in lines[best - 1 : best + 2])
    ratio, sign = (after / top, 1.0) if after >= before else (before / top, -1.0)
    return (best + sign * min(max((2.0 * ratio - 1.0) / (ratio + 1.0), 0.0), 1.0)) / size


def _refined(channel: Series, turns_a_sample: float, passes: int) -> float:
    """The frequency in turns a sample after some steps of Gauss and Newton, the harmonics fitted along."""
    size = len(channel)
    at = np.arange(size) - (size - 1) / 2.0  # centred, so that frequency and phase hardly interact
    weights = _hann(size)[:, None]
    channel = channel * weights[:, 0]
    for _ in range(passes):
        # Without its harmonics a tone of few periods would be pulled off.
        orders = np.arange(1, max(2, min(11, math.ceil(0.5 / turns_a_sample), size // 8)))
        spun = _orders_of(2.0 * np.pi * turns_a_sample * at, len(orders)) * weights
        cosine, sine = spun.real, spun.imag
        table = np.concatenate((cosine, sine, weights, np.zeros((size, 1))), axis=1)
        in_phase, quadrature = np.split(_least_squares(table[:, :-1], channel)[:-1], 2)
        # Frequency in lines of this stretch, so that the columns are of one size.
        table[:, -1] = 2.0 * np.pi * at / size * (cosine @ (orders * quadrature) - sine @ (orders * in_phase))
        change = float(_least_squares(table, channel)[-1])
        # A step of more than half a line is not a refinement any more.
        moved = turns_a_sample + min(max(change, -0.5), 0.5) / size
        turns_a_sample = min(max(moved, 1e-3 / size), 0.5)
        if abs(change) < 1e-12 * max(turns_a_sample * size, 1.0):
            break
    return turns_a_sample


def harmonics(samples: ArrayLike, rate_hz: int, *, fundamental_hz: float | None = None, count: int = 10) -> Harmonics:
    """The amplitudes of a tone and its harmonics, fitted together, whatever the frequency and the length.

    A fit of `count` orders and an offset needs no whole number of periods; some five periods keep higher orders out of
    it. Aliases of harmonics beyond half the rate are no harmonics and are not counted.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    fundamental_hz : float, optional
        The tone; found by `tone_frequency_hz` unless given.
    count : int
        How many orders are fitted, the fundamental among them.

    Returns
    -------
    Harmonics
        Amplitudes by order and channel; `thd_percent` is total harmonic distortion over the fundamental (THD_F),
        `thd_of_total_percent` over the whole (THD_R).

    Raises
    ------
    GainError
        For samples that cannot be read, for silence or a constant, and for a rate below 1 Hz, for too few samples for
        the orders, and for a fundamental that is not between 0 Hz and half the rate.

    References
    ----------
    *Published*: IEC 60268-3 (total harmonic distortion). *Derived*: least squares.

    Examples
    --------
    >>> tone = 2 * np.pi * 100 / 48000 * np.arange(4800)
    >>> harmonics(np.sin(tone) + 0.01 * np.sin(3 * tone), 48000).relative_db(3).round(2).tolist()
    [-40.0]
    """
    checked = _checked(samples, rate_hz)
    if count < 1:
        raise GainError(f"count is {count}; ask for at least one order, the fundamental.")
    if fundamental_hz is None:
        fundamental_hz = tone_frequency_hz(checked, rate_hz)
    if not 0 < fundamental_hz < rate_hz / 2:
        raise GainError(f"fundamental_hz is {fundamental_hz:g}; it must lie between 0 and {rate_hz / 2:g} Hz.")
    orders = [order for order in range(1, count + 1) if order * fundamental_hz < rate_hz / 2 * (1.0 - 1e-9)]
    turn, count = 2.0 * np.pi * fundamental_hz / rate_hz, len(orders)
    amplitude, offset = _amplitudes(checked, count, lambda at: _orders_of(turn * at, count))
    if not (amplitude[0] > 0).all():
        raise GainError(f"one channel holds nothing at {fundamental_hz:g} Hz; distortion is measured on a tone.")
    return Harmonics(float(fundamental_hz), amplitude, offset)


def thd_n_percent(
    samples: ArrayLike,
    rate_hz: int,
    *,
    fundamental_hz: float | None = None,
    method: Literal["notch", "fit"] = "notch",
    bandwidth_hz: float | None = 20_000.0,
) -> Series:
    """Distortion and noise: everything but the tone over the whole.

    "notch" takes the tone out by a notch filter of Q 3, as AES17 does, and with it 0.2 dB of the second harmonic and
    some noise beside the tone; its settling time at the start is not read. "fit" takes out the least-squares sine and
    keeps all of the noise. Neither counts a DC offset.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    fundamental_hz : float, optional
        The tone; found by `tone_frequency_hz` unless given.
    method : "notch" or "fit"
        How the tone is taken out; the notch needs a few periods more than it takes to settle.
    bandwidth_hz : float or None
        What lies above is not counted; None counts up to half the rate.

    Returns
    -------
    ndarray `(channels,)`
        Percent.

    Raises
    ------
    GainError
        As `harmonics` does, and for another method or a bandwidth that is not above 0 Hz.

    References
    ----------
    AES17 (notch and 20 kHz *from memory*, over the total *from memory*). *Derived*: least squares.

    Examples
    --------
    >>> tone = 2 * np.pi * 997 / 48000 * np.arange(48000)
    >>> thd_n_percent(np.sin(tone) + 0.01 * np.sin(3 * tone), 48000, method="fit").round(3).tolist()
    [1.0]
    """
    checked = _checked(samples, rate_hz)
    if method not in ("notch", "fit"):
        raise GainError(f"method is {method!r}; give 'notch' or 'fit'.")
    if bandwidth_hz is not None and not bandwidth_hz > 0:
        raise GainError(f"bandwidth_hz is {bandwidth_hz}; it must be above 0 Hz, or None for all.")
    largest = float(np.abs(checked).max())
    if not largest > 1e-290:
        raise GainError("samples holds silence; distortion is measured on a tone.")
    checked = checked / largest
    tone = harmonics(checked, rate_hz, fundamental_hz=fundamental_hz, count=1)
    wide = checked.astype(np.float64) - tone.offset
    if method == "fit":
        turns = 2.0 * np.pi * tone.fundamental_hz / rate_hz * np.arange(len(wide))
        table = np.stack([np.cos(turns), np.sin(turns), np.ones(len(wide))], axis=1)
        rest = wide - table @ np.linalg.lstsq(table, wide, rcond=None)[0]
    else:
        from scipy.signal import iirnotch, lfilter

        # Until the ringing of the notch is 140 dB down: 16.1 time constants of Q / (pi f).
        settled = math.ceil(16.1 * _NOTCH_Q / (math.pi * tone.fundamental_hz) * rate_hz)
        if len(wide) < settled + 4 * rate_hz / tone.fundamental_hz:
            raise GainError(
                f"samples lasts {len(wide) / rate_hz:.3g} s; the notch needs "
                f"{settled / rate_hz + 4 / tone.fundamental_hz:.3g} s at {tone.fundamental_hz:g} Hz; use method='fit'."
            )
        rest = lfilter(*iirnotch(tone.fundamental_hz, _NOTCH_Q, rate_hz), wide, axis=0)[settled:]
        wide = wide[settled:]
    left = _power_below(rest, rate_hz, bandwidth_hz)
    # Over the total in the band: the tone and what is left; a tone above the band would leave nothing to compare to.
    return np.asarray(100.0 * np.sqrt(left / (tone.amplitude[0] ** 2 / 2.0 + left)))


@dataclass(frozen=True)
class Intermodulation:
    """Tones that two tones make; the first two are the tones themselves.

    `intermodulation` gives it.

    Attributes
    ----------
    frequency_hz : tuple of float
        The frequency of each.
    orders : tuple of (int, int)
        The m and n of each, which stands at |m low + n high|.
    amplitude : ndarray `(products, channels)`
        The peak amplitude of each, full scale 1.0.

    References
    ----------
    *Published*: IEC 60268-3, modulation distortion and difference-frequency distortion.

    Examples
    --------
    >>> read = Intermodulation((60.0, 7000.0, 6940.0), ((1, 0), (0, 1), (-1, 1)), np.array([[0.4], [0.1], [0.001]]))
    >>> read.of(-1, 1).tolist()
    [0.001]
    """

    frequency_hz: tuple[float, ...]
    orders: tuple[tuple[int, int], ...]
    amplitude: Series

    def of(self, low_order: int, high_order: int) -> Series:
        """The amplitude of the product at |m low + n high|, one a channel; GainError for one that was not measured."""
        for sign in (1, -1):
            if (sign * low_order, sign * high_order) in self.orders:
                return np.asarray(self.amplitude[self.orders.index((sign * low_order, sign * high_order))])
        raise GainError(f"the product {low_order}, {high_order} was not measured; it lies out of range or on another.")

    @property
    def modulation_percent(self) -> Series:
        """The sidebands around the high tone over the high tone, orders 2 and 3 (IEC 60268-3 modulation distortion)."""
        second = self.of(-1, 1) + self.of(1, 1)
        third = self.of(-2, 1) + self.of(2, 1)
        return np.asarray(100.0 * np.sqrt(second**2 + third**2) / self.of(0, 1))

    @property
    def difference_percent(self) -> Series:
        """The difference tones over the sum of both tones, orders 2 and 3 (IEC 60268-3 difference-frequency)."""
        both = self.of(1, 0) + self.of(0, 1)
        third = self.of(2, -1) + self.of(-1, 2)
        return np.asarray(100.0 * np.sqrt(self.of(-1, 1) ** 2 + third**2) / both)


def intermodulation(
    samples: ArrayLike, rate_hz: int, low_hz: float, high_hz: float, *, highest_order: int = 5
) -> Intermodulation:
    """The sum and difference tones that a pair of tones makes in a stage, fitted together with the pair.

    Products m low + n high that lie between 0 Hz and half the rate; of two that fall together the lower order counts.
    Usual pairs are 60 Hz and 7 kHz at 4:1, and 19 and 20 kHz at 1:1.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    low_hz, high_hz : float
        The two tones.
    highest_order : int
        The largest |m| + |n|, 1 to 9.

    Returns
    -------
    Intermodulation
        The amplitude of each product, and the two percentages of IEC 60268-3.

    Raises
    ------
    GainError
        For samples that cannot be read, too few of them, and frequencies that do not rise between 0 Hz and half the
        rate.

    References
    ----------
    *Published*: IEC 60268-3 (the two percentages; sums of pairs *from memory*). *Derived*: least squares.

    Examples
    --------
    >>> time = np.arange(48000) / 48000
    >>> pair = np.sin(2 * np.pi * 60 * time) + 0.25 * np.sin(2 * np.pi * 7000 * time)
    >>> intermodulation(pair + 0.01 * pair**2, 48000, 60, 7000).of(1, 1).round(5).tolist()
    [0.0025]
    """
    checked = _checked(samples, rate_hz)
    if not 0 < low_hz < high_hz < rate_hz / 2:
        raise GainError(f"low_hz is {low_hz:g}, high_hz {high_hz:g}; they must rise between 0 and {rate_hz / 2:g} Hz.")
    if not 1 <= highest_order <= 9:
        raise GainError(f"highest_order is {highest_order}; give 1 to 9.")
    found: dict[float, tuple[int, int]] = {}
    apart = 0.9 * rate_hz / len(checked)
    pairs = [(m, n) for m in range(-highest_order, highest_order + 1) for n in range(highest_order + 1)]
    for m, n in sorted(pairs, key=lambda pair: (abs(pair[0]) + abs(pair[1]), pair != (1, 0))):
        frequency = m * low_hz + n * high_hz
        m, n = (-m, -n) if frequency < 0 else (m, n)
        frequency = abs(frequency)
        inside = apart <= frequency <= rate_hz / 2 - apart and 0 < abs(m) + abs(n) <= highest_order
        if inside and all(abs(frequency - each) >= apart for each in found):
            found[frequency] = (m, n)
    if (1, 0) not in found.values() or (0, 1) not in found.values():
        raise GainError(f"samples lasts {len(checked) / rate_hz:.3g} s; too short to tell the two tones apart.")
    radians = 2j * np.pi * np.asarray(list(found)) / rate_hz
    amplitude, _ = _amplitudes(checked, len(found), lambda at: np.exp(np.outer(at, radians)))
    return Intermodulation(tuple(found), tuple(found.values()), amplitude)


@dataclass(frozen=True)
class Null:
    """What is left of a signal after the best match with a reference: the gain and delay of the match, and the rest.

    `null` gives it.

    Attributes
    ----------
    gain : float
        The gain of the match as a ratio; a negative one says that the polarity is turned.
    delay_seconds : float
        How much later the signal is than the reference.
    residual_db : float
        The rest below the signal, over all channels; -inf where they cancel entirely.

    Examples
    --------
    >>> round(Null(gain=-0.5, delay_seconds=0.0, residual_db=-80.0).gain_db, 2)
    -6.02
    """

    gain: float
    delay_seconds: float
    residual_db: float

    @property
    def gain_db(self) -> float:
        """The gain of the match in dB, whatever its polarity."""
        return db_from_ratio(abs(self.gain))

    @property
    def null_depth_db(self) -> float:
        """How deep the two cancel, in dB."""
        return -self.residual_db


def null(reference: ArrayLike, signal: ArrayLike, rate_hz: int, *, longest_delay_seconds: float = 0.1) -> Null:
    """How deep a signal cancels against a reference once level and delay are matched: the null test as a number.

    Finds the one gain and the one delay, parts of a sample included, that leave least of the signal. What is left is
    what the stage between them did besides: distortion, noise, dynamics, filtering. Read where both overlap, 64 samples
    clear of the ends.

    Parameters
    ----------
    reference, signal : array of float, `(n,)` or `(n, channels)`
        Two recordings of one shape, 256 samples and more.
    rate_hz : int
        The sample rate.
    longest_delay_seconds : float
        How far the delay is looked for, either way.

    Returns
    -------
    Null
        The gain and delay of the match, and what is left.

    Raises
    ------
    GainError
        For recordings of different shape, silent ones, and ones shorter than 256 samples.

    References
    ----------
    *Derived*: least squares, from the top of the cross-correlation on.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(48000)
    >>> found = null(noise, -0.5 * np.roll(noise, 3), 48000)
    >>> round(found.gain_db, 2), found.gain < 0, round(found.delay_seconds * 48000, 6), found.null_depth_db > 200
    (-6.02, True, 3.0, True)
    """
    first, second = _checked(reference, rate_hz, "reference"), _checked(signal, rate_hz, "signal")
    if first.shape != second.shape:
        raise GainError(f"reference is {first.shape}, signal {second.shape}; give two recordings of one shape.")
    if len(first) < 256:
        raise GainError(f"reference holds {len(first)} samples; a null needs at least 256.")
    if not 0 <= longest_delay_seconds < math.inf:
        raise GainError(f"longest_delay_seconds is {longest_delay_seconds}; it must be 0 s or more.")
    for each, name in ((first, "reference"), (second, "signal")):
        if not each.any():
            raise GainError(f"{name} is silent; there is nothing to cancel.")
    length = len(first)
    size = 1 << (2 * length - 1).bit_length()
    left = np.fft.rfft(first, size, axis=0)
    right = np.fft.rfft(second, size, axis=0)
    cross = (np.conj(left) * right).sum(axis=1)
    correlation = np.fft.irfft(cross, size)
    reach = min(round(longest_delay_seconds * rate_hz), length - 256)
    lags = np.arange(-reach, reach + 1)
    delay = float(lags[int(np.abs(correlation[lags]).argmax())])
    turn = 2.0 * np.pi * np.arange(len(left)) / size
    best: Null | None = None
    # Gauss and Newton: the delayed reference and its slope, fitted to the signal, say how much further to move.
    for _ in range(30):
        spun = left * np.exp(-1j * turn * delay)[:, None]
        # Where the delayed reference has its true neighbours on both sides.
        begin, end = max(0, math.ceil(delay)) + 64, length + min(0, math.floor(delay)) - 64
        moved = np.fft.irfft(spun, size, axis=0)[begin:end]
        slope = np.fft.irfft(1j * turn[:, None] * spun, size, axis=0)[begin:end]
        kept = second[begin:end].astype(np.float64)
        power, total = float((moved * moved).sum()), float((kept * kept).sum())
        if power == 0.0 or total == 0.0:
            raise GainError("the two recordings are silent where they overlap; there is nothing to cancel.")
        gain = float((moved * kept).sum()) / power
        rest = float(((kept - gain * moved) ** 2).sum()) / total
        found = Null(gain, delay / rate_hz, db_from_power(rest))
        if best is None or found.residual_db < best.residual_db:
            best = found
        level, turned = _least_squares(np.stack([moved.ravel(), slope.ravel()], axis=1), kept.ravel()).tolist()
        step = -turned / level if level else 0.0
        if not abs(step) <= 1.0 or abs(delay + step) > reach or abs(step) < 1e-13 * max(1.0, abs(delay)):
            break
        delay += step
    assert best is not None
    return best


def _checked(samples: ArrayLike, rate_hz: int, name: str = "samples") -> NDArray[np.floating]:
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    return within_reach(checked_samples(samples, name))


def _hann(size: int, at: NDArray[np.int64] | None = None) -> Series:
    """Weights that fade in and out, so that what is not fitted, such as aliases, hardly leaks into what is."""
    where = np.arange(size) if at is None else at
    return np.asarray(0.5 - 0.5 * np.cos(2.0 * np.pi * (where + 0.5) / size))


def _orders_of(turns: NDArray[np.floating], count: int) -> NDArray[np.complex128]:
    """Cosine and sine, as real and imaginary part, of an angle and of its multiples up to so many: `(n, count)`.

    Each order is the one before turned once more: a product instead of a sine and a cosine.
    """
    spun = np.broadcast_to(np.exp(1j * turns)[:, None], (len(turns), count))
    return np.asarray(np.cumprod(spun, axis=1))


def _least_squares(table: Series, values: Series) -> Series:
    return np.asarray(np.linalg.lstsq(table.T @ table, table.T @ values, rcond=None)[0])


def _amplitudes(
    checked: NDArray[np.floating], count: int, spun: Callable[[NDArray[np.int64]], NDArray[np.complex128]]
) -> tuple[Series, Series]:
    """Amplitudes `(count, channels)` and offsets of sines fitted together by weighted least squares.

    `spun` gives their cosines and sines at some samples, `(n, count)`.
    """
    columns = 2 * count + 1
    if len(checked) < 2 * columns:
        raise GainError(f"samples holds {len(checked)} samples; {count} tones need at least {2 * columns}.")
    products = np.zeros((columns, columns))
    matches = np.zeros((columns, checked.shape[1]))
    scale = float(np.abs(checked).max()) or 1.0
    for start in range(0, len(checked), 65_536):
        part = checked[start : start + 65_536].astype(np.float64) / scale
        at = np.arange(start, start + len(part))
        weights = _hann(len(checked), at)[:, None]
        turned = spun(at) * weights
        table = np.concatenate((turned.real, turned.imag, weights), axis=1)
        part = part * weights
        products += table.T @ table
        matches += table.T @ part
    found = np.linalg.lstsq(products, matches, rcond=None)[0] * scale
    return np.asarray(np.hypot(found[:count], found[count:-1])), np.asarray(found[-1])


def _power_below(rest: Series, rate_hz: int, bandwidth_hz: float | None) -> Series:
    """The mean square of each channel in the band, offset left out."""
    lines = np.abs(np.fft.rfft(rest, axis=0)) ** 2 * (2.0 / len(rest) ** 2)
    if len(rest) % 2 == 0:
        lines[-1] /= 2.0
    top = len(lines) if bandwidth_hz is None else math.floor(bandwidth_hz * len(rest) / rate_hz) + 1
    return np.asarray(lines[1:top].sum(axis=0))
