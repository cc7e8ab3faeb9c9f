"""Loudness after ITU-R BS.1770-5 and EBU Tech 3341/3342: momentary, short-term, integrated, and loudness range."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples, checked_samples
from gainlib.decibels import db_from_power
from gainlib.errors import GainError
from gainlib.meters.streaming import StreamMeter, finite_powers, read_whole

__all__ = [
    "CHANNEL_WEIGHTS",
    "Loudness",
    "LoudnessMeter",
    "k_weighting",
    "k_weighting_db",
    "loudness",
    "loudness_lufs",
    "loudness_range_lu",
    "momentary_lufs",
    "momentary_max_lufs",
    "short_term_lufs",
    "short_term_max_lufs",
]

Series = NDArray[np.float64]

CHANNEL_WEIGHTS: dict[int, tuple[float, ...]] = {
    1: (1.0,),
    2: (1.0, 1.0),
    3: (1.0, 1.0, 1.0),
    4: (1.0, 1.0, 1.41, 1.41),
    5: (1.0, 1.0, 1.0, 1.41, 1.41),
    6: (1.0, 1.0, 1.0, 0.0, 1.41, 1.41),
}
"""Weights by number of channels: mono; L R; L R C; L R Ls Rs; L R C Ls Rs; L R C LFE Ls Rs (BS.1770-5 Table 3)."""

_ORDERS = "mono, L R, L R C, L R Ls Rs, L R C Ls Rs or L R C LFE Ls Rs"
LOWEST_RATE_HZ, HIGHEST_RATE_HZ = 8_000, 192_000

# Cells of 10 ms: momentary and short-term maxima are looked for on this grid, gating blocks start at every tenth.
_CELLS_A_SECOND = 100
_CELLS_A_TENTH = 10
_TENTHS_MOMENTARY = 4
_TENTHS_SHORT_TERM = 30
_HOURS = 24
_ZERO_LUFS = -0.691  # what a weighted mean square of 1 reads
_NO_BLOCK_POWER: float = 10.0 ** ((-70.0 - _ZERO_LUFS) / 10.0)  # what -70 LUFS is as a weighted mean square


def k_weighting(rate_hz: int) -> NDArray[np.float64]:
    """The K-weighting filter: how much of each frequency counts towards loudness.

    At 48 kHz the coefficients are those of the recommendation's tables. The recommendation asks other rates for the
    same response, so that a reading does not depend on the rate: the second section is scaled to the same pass-band
    gain, and the shelf is matched to the one at 48 kHz at 0 Hz, 997 Hz and 20 kHz (half the rate below 40 kHz). Both
    together stay within 0.001 dB of the response at 48 kHz from 32 kHz up, 0.004 dB at 16 kHz and 0.05 dB at 8 kHz. A
    plain bilinear transform, as many meters have it, is 0.018 dB low at 96 kHz and 0.04 dB high at 16 kHz for a tone of
    997 Hz.

    Parameters
    ----------
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    ndarray `(2, 6)`
        Two second-order sections, the shelf first, each b0 b1 b2 a0 a1 a2.

    Raises
    ------
    GainError
        For a rate that is not between 8 and 192 kHz.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 1 Tables 1 and 2; the prototype's constants are those that reproduce them to
    1e-12 and are in wide use (*common practice*); the matching is *derived* below.

    Examples
    --------
    >>> k_weighting(48000)[1].round(5).tolist()
    [1.0, -2.0, 1.0, 1.0, -1.99005, 0.99007]
    """
    _check_rate(rate_hz)
    poles = _high_pass_poles(rate_hz)
    # The printed numerator 1, -2, 1 is not unity gain at 48 kHz and would drift with the rate.
    scale = _pass_band_gain(_high_pass_poles(48_000)) / _pass_band_gain(poles)
    high_pass = [scale, -2.0 * scale, scale, 1.0, *poles]
    return np.array([_shelf_48k() if rate_hz == 48_000 else _shelf_matched(rate_hz), high_pass])


def k_weighting_db(frequency_hz: ArrayLike, rate_hz: int) -> Series:
    """How many dB the K-weighting raises or lowers each frequency; what is lowered counts less towards loudness.

    Parameters
    ----------
    frequency_hz : float or array of float
        Hz, 0 up to half the rate.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    ndarray of float
        dB, of the same shape; -inf at 0 Hz.

    Raises
    ------
    GainError
        For a rate that is not between 8 and 192 kHz.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 1 Tables 1 and 2. *Derived*: the response of those two sections.

    Examples
    --------
    >>> k_weighting_db([50, 1000, 10000], 48000).round(1).tolist()
    [-3.9, 0.7, 4.0]
    """
    sections = k_weighting(rate_hz)
    angle = 2.0 * np.pi / rate_hz * np.asarray(frequency_hz, dtype=np.float64)
    delays = np.exp(-1j * angle[..., np.newaxis] * np.arange(3))
    power = np.ones(angle.shape)
    for section in sections:
        power *= np.abs(delays @ section[:3]) ** 2 / np.abs(delays @ section[3:]) ** 2
    return np.asarray(db_from_power(power), dtype=np.float64)


def _shelf_48k() -> list[float]:
    ratio, quality = math.tan(math.pi * 1681.974450955533 / 48_000), 0.7071752369554196
    gain = 10.0 ** (3.999843853973347 / 20.0)
    middle_gain = gain**0.4996667741545416
    square = ratio * ratio
    over = 1.0 + ratio / quality + square
    return [
        (gain + middle_gain * ratio / quality + square) / over,
        2.0 * (square - gain) / over,
        (gain - middle_gain * ratio / quality + square) / over,
        1.0,
        2.0 * (square - 1.0) / over,
        (1.0 - ratio / quality + square) / over,
    ]


def _shelf_matched(rate_hz: int) -> list[float]:
    """The shelf at another rate: the same poles in time, and zeros that give the same response at three frequencies."""
    printed: Series = np.array(_shelf_48k())
    poles: Series = np.real(np.poly(np.roots(printed[3:]) ** (48_000 / rate_hz))).astype(np.float64)
    frequencies = np.array([0.0, 997.0, min(20_000.0, rate_hz / 2)])

    def power(taps: Series, rate: float) -> Series:
        response = np.exp(-2j * np.pi / rate * np.outer(frequencies, np.arange(3))) @ taps
        return np.asarray(np.abs(response) ** 2, dtype=np.float64)

    wanted = power(printed[:3], 48_000) / power(printed[3:], 48_000) * power(poles, rate_hz)
    # The power response of three taps is c0 + 2 c1 cos w + 2 c2 cos 2w: three points give the c, and of the roots of
    # c2 c1 c0 c1 c2 those inside the unit circle are the zeros.
    cosines = np.cos(2 * np.pi / rate_hz * np.outer(frequencies, np.arange(3))) * [1.0, 2.0, 2.0]
    c0, c1, c2 = np.linalg.solve(cosines, wanted)
    roots = np.roots([c2, c1, c0, c1, c2])
    zeros = np.poly(roots[np.abs(roots) < 1.0]).real
    return [*(zeros * math.sqrt(wanted[0]) / zeros.sum()).tolist(), *poles.tolist()]


def _high_pass_poles(rate_hz: int) -> tuple[float, float]:
    ratio, quality = math.tan(math.pi * 38.13547087602444 / rate_hz), 0.5003270373238773
    over = 1.0 + ratio / quality + ratio * ratio
    return 2.0 * (ratio * ratio - 1.0) / over, (1.0 - ratio / quality + ratio * ratio) / over


def _pass_band_gain(poles: tuple[float, float]) -> float:
    """The gain of 1, -2, 1 over these poles at half the rate."""
    return 4.0 / (1.0 - poles[0] + poles[1])


@dataclass(frozen=True)
class Loudness:
    """What was read: integrated loudness, maxima and loudness range of a whole recording.

    Each raises GainError where the recording is shorter than its window; silence reads -inf LUFS and a range of 0 LU.
    `loudness` gives it.

    Attributes
    ----------
    seconds : float
        How long the recording is.
    integrated_lufs, momentary_max_lufs, short_term_max_lufs : float
        LUFS.
    range_lu : float
        LU.
    blocks_lufs : ndarray of float
        LUFS, one for each block of 400 ms.
    relative_gate_lufs : float
        LUFS.

    References
    ----------
    *Published*: ITU-R BS.1770-5 (integrated), EBU Tech 3341 (maxima), EBU Tech 3342 (range).

    Examples
    --------
    >>> read = loudness(0.1 * np.sin(2 * np.pi * 997 / 48000 * np.arange(4 * 48000)), 48000)
    >>> round(read.integrated_lufs, 2), round(read.short_term_max_lufs, 2), round(read.range_lu, 2)
    (-23.01, -23.01, 0.0)
    """

    seconds: float
    _tenths: Series = field(repr=False)  # weighted mean square of each 100 ms
    _momentary_max: float = field(repr=False)
    _short_term_max: float = field(repr=False)

    @property
    def integrated_lufs(self) -> float:
        """The loudness of the whole with both gates: blocks of 400 ms, each 100 ms, above -70 LUFS and -10 LU."""
        blocks = self._blocks("loudness_lufs")
        kept = blocks[blocks > self._relative_gate_power(blocks)]
        return _lufs(float(kept.mean())) if len(kept) else -math.inf

    @property
    def blocks_lufs(self) -> Series:
        """The loudness of each block of 400 ms, one every 100 ms, which the two gates keep or leave out."""
        with np.errstate(divide="ignore"):
            return db_from_power(self._blocks("blocks_lufs")) + _ZERO_LUFS

    @property
    def relative_gate_lufs(self) -> float:
        """10 LU below the mean power of the blocks above -70 LUFS, and at least that; what is not above is left out."""
        return _lufs(self._relative_gate_power(self._blocks("relative_gate_lufs")))

    def _blocks(self, name: str) -> Series:
        self._needs(0.4, name)
        return _windows(self._tenths, _TENTHS_MOMENTARY)

    @staticmethod
    def _relative_gate_power(blocks: Series) -> float:
        heard = blocks[blocks > _NO_BLOCK_POWER]
        return max(_NO_BLOCK_POWER, float(heard.mean()) / 10.0) if len(heard) else _NO_BLOCK_POWER

    @property
    def momentary_max_lufs(self) -> float:
        """The loudest 400 ms, on a grid of 10 ms, ungated."""
        self._needs(0.4, "momentary_max_lufs")
        return _lufs(self._momentary_max)

    @property
    def short_term_max_lufs(self) -> float:
        """The loudest 3 s, on a grid of 10 ms, ungated."""
        self._needs(3.0, "short_term_max_lufs")
        return _lufs(self._short_term_max)

    @property
    def range_lu(self) -> float:
        """The loudness range: from the 10th to the 95th percentile of the gated short-term values."""
        self._needs(3.0, "loudness_range_lu")
        powers = _windows(self._tenths, _TENTHS_SHORT_TERM)
        # Tech 3342 keeps values at the gates themselves; the integrated loudness of BS.1770 does not.
        powers = powers[powers >= _NO_BLOCK_POWER]
        if len(powers) == 0:
            return 0.0
        powers = np.sort(powers[powers >= powers.mean() / 100.0])
        low, high = (powers[math.floor((len(powers) - 1) * share + 0.5)] for share in (0.10, 0.95))
        return db_from_power(float(high / low))

    def _needs(self, seconds: float, name: str) -> None:
        if len(self._tenths) < round(seconds * 10):
            raise GainError(f"{name} needs {seconds:g} s of sound; {self.seconds:.3g} s were given.")


class LoudnessMeter(StreamMeter):
    """Loudness of a stream: `push` each block, ask `reading` at any time; the same as of the whole, bit for bit.

    The two gates need every 100 ms at the end, so the meter sets aside 7 MB once, room for 24 hours of them, and
    refuses what comes after; nothing else that it keeps grows.

    Parameters
    ----------
    rate_hz : int
        The sample rate, 8 to 192 kHz.
    channels : int
        How many channels each block has, 1 to 6, in the orders of CHANNEL_WEIGHTS.

    Raises
    ------
    GainError
        For rates outside 8 to 192 kHz, for other numbers of channels, and as `LevelMeter` does.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 1, EBU Tech 3341 and Tech 3342 (2023).

    Examples
    --------
    >>> meter = LoudnessMeter(48000, 1)
    >>> for second in range(3):
    ...     meter.push(0.1 * np.sin(2 * np.pi * 997 / 48000 * np.arange(48000)))
    >>> round(meter.reading().integrated_lufs, 2)
    -23.01
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._sections = k_weighting(rate_hz)
        self._weights = np.array(_weights(channels))
        super().__init__(channels)
        self._rate_hz = rate_hz
        self._states = np.zeros((channels, 7))
        self._samples = 0
        self._cells = 0
        self._tenths = np.empty(_HOURS * 36_000)
        # The last cells, for the windows that reach back; a maximum below 0 says that no window was full yet.
        self._recent = np.empty(0)
        self._momentary = self._momentary_max = -1.0
        self._short_term = self._short_term_max = -1.0

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        self._add(self._cell_powers(loops.as_rows(checked)))

    @property
    def momentary_lufs(self) -> float:
        """The loudness of the last full 400 ms, -inf before there were any."""
        return _lufs(max(self._momentary, 0.0))

    @property
    def short_term_lufs(self) -> float:
        """The loudness of the last full 3 s, -inf before there were any."""
        return _lufs(max(self._short_term, 0.0))

    def reading(self) -> Loudness:
        """Everything up to now; what does not fill a block at the end is left out, as the recommendation says."""
        tenths = self._tenths[: self._cells // _CELLS_A_TENTH].copy()
        return Loudness(self._samples / self._rate_hz, tenths, self._momentary_max, self._short_term_max)

    def _edge(self, cell: int | NDArray[np.int64]) -> int | NDArray[np.int64]:
        """The sample at which a cell starts: to the nearest where the rate has no whole number of samples in 10 ms."""
        return (cell * self._rate_hz + _CELLS_A_SECOND // 2) // _CELLS_A_SECOND

    def _cell_powers(self, block: NDArray[np.floating]) -> Series:
        """The weighted mean square of each 10 ms that this block completes, over all channels."""
        last = self._samples + len(block)
        count = max(0, (last * _CELLS_A_SECOND) // self._rate_hz + 2 - self._cells)
        edges = np.asarray(self._edge(self._cells + np.arange(count + 1, dtype=np.int64)))
        edges = edges[edges <= last]
        ends = edges[1:] - self._samples
        heard = [channel for channel, weight in enumerate(self._weights) if weight]

        def pair(index: int) -> Series:
            first, last = heard[2 * index], heard[2 * index : 2 * index + 2][-1]
            if first != last:
                return loops.weighted_cell_sums_of_two(block, first, last, self._sections, self._states, ends)
            return loops.weighted_cell_sums(block, first, self._sections, self._states[first], ends)[np.newaxis]

        sums = loops.each_channel(pair, (len(heard) + 1) // 2, len(block))
        powers = np.zeros(len(ends))
        for channel, each in zip(heard, np.concatenate(sums), strict=True):
            powers += self._weights[channel] * each
        self._samples = last
        return powers / np.diff(edges)

    def _add(self, cells: Series) -> None:
        before, self._cells = self._cells, self._cells + len(finite_powers(cells))
        if self._cells > len(self._tenths) * _CELLS_A_TENTH:
            raise GainError(f"the meter has run for {_HOURS} hours; start a new LoudnessMeter for what follows.")
        recent = np.concatenate((self._recent, cells))
        momentary, short_term, tenths = _sliding(recent)
        first = before - len(self._recent)  # the number of the first cell in `recent`
        new = (-first) % _CELLS_A_TENTH
        whole = tenths[new::_CELLS_A_TENTH]
        at = (first + new) // _CELLS_A_TENTH
        self._tenths[at : at + len(whole)] = whole
        if len(momentary):
            self._momentary = float(momentary[-1])
            self._momentary_max = max(self._momentary_max, float(momentary.max()))
        if len(short_term):
            self._short_term = float(short_term[-1])
            self._short_term_max = max(self._short_term_max, float(short_term.max()))
        self._recent = recent[-(_TENTHS_SHORT_TERM * _CELLS_A_TENTH - 1) :].copy()


def loudness(samples: ArrayLike, rate_hz: int) -> Loudness:
    """Everything that BS.1770 and the EBU documents read of a recording, in one pass.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    Loudness
        Integrated loudness, maxima and loudness range.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 1, EBU Tech 3341 and Tech 3342 (2023).

    Examples
    --------
    >>> round(loudness(np.sin(2 * np.pi * 997 / 48000 * np.arange(48000)), 48000).integrated_lufs, 2)
    -3.01
    """
    return read_whole(lambda channels: LoudnessMeter(rate_hz, channels), samples).reading()


def loudness_lufs(samples: ArrayLike, rate_hz: int) -> float:
    """The integrated loudness of the whole recording, with both gates.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    float
        LUFS; silence reads -inf.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels, and for less than 0.4
        s.

    References
    ----------
    *Published*: ITU-R BS.1770-5.

    Examples
    --------
    >>> round(loudness_lufs(np.sin(2 * np.pi * 997 / 48000 * np.arange(48000)), 48000), 2)
    -3.01
    """
    return loudness(samples, rate_hz).integrated_lufs


def momentary_max_lufs(samples: ArrayLike, rate_hz: int) -> float:
    """The loudest 400 ms, ungated, on a grid of 10 ms.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    float
        LUFS; silence reads -inf.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels, and for less than 0.4
        s.

    References
    ----------
    *Published*: EBU Tech 3341.

    Examples
    --------
    >>> round(momentary_max_lufs(np.sin(2 * np.pi * 997 / 48000 * np.arange(48000)), 48000), 2)
    -3.01
    """
    return loudness(samples, rate_hz).momentary_max_lufs


def short_term_max_lufs(samples: ArrayLike, rate_hz: int) -> float:
    """The loudest 3 s, ungated, on a grid of 10 ms.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    float
        LUFS; silence reads -inf.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels, and for less than 3
        s.

    References
    ----------
    *Published*: EBU Tech 3341.

    Examples
    --------
    >>> round(short_term_max_lufs(np.sin(2 * np.pi * 997 / 48000 * np.arange(3 * 48000)), 48000), 2)
    -3.01
    """
    return loudness(samples, rate_hz).short_term_max_lufs


def loudness_range_lu(samples: ArrayLike, rate_hz: int) -> float:
    """The loudness range: how far quiet and loud passages lie apart.

    Ten short-term values a second, full windows only: the silence that the document asks to follow is not added.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    float
        LU; silence reads 0.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels, and for less than 3
        s.

    References
    ----------
    *Published*: EBU Tech 3342.

    Examples
    --------
    >>> round(loudness_range_lu(np.sin(2 * np.pi * 997 / 48000 * np.arange(3 * 48000)), 48000), 2)
    0.0
    """
    return loudness(samples, rate_hz).range_lu


def momentary_lufs(samples: ArrayLike, rate_hz: int) -> Series:
    """The momentary loudness as it runs: of the 400 ms that end at 0.40 s, 0.41 s, 0.42 s, ...

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    ndarray `(cells,)`
        LUFS; empty for less than 0.4 s.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels.

    References
    ----------
    *Published*: EBU Tech 3341 (sliding rectangle).

    Examples
    --------
    >>> momentary_lufs(np.sin(2 * np.pi * 997 / 48000 * np.arange(20000)), 48000).round(1).tolist()
    [-3.0, -3.0]
    """
    return _running(samples, rate_hz, 0)


def short_term_lufs(samples: ArrayLike, rate_hz: int) -> Series:
    """The short-term loudness as it runs: of the 3 s that end at 3.00 s, 3.01 s, 3.02 s, ...

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0, the channels in the orders of CHANNEL_WEIGHTS.
    rate_hz : int
        The sample rate, 8 to 192 kHz.

    Returns
    -------
    ndarray `(cells,)`
        LUFS; empty for less than 3 s.

    Raises
    ------
    GainError
        For samples that cannot be read, rates outside 8 to 192 kHz and other numbers of channels.

    References
    ----------
    *Published*: EBU Tech 3341 (sliding rectangle).

    Examples
    --------
    >>> short_term_lufs(np.sin(2 * np.pi * 997 / 48000 * np.arange(3 * 48000)), 48000).round(1).tolist()
    [-3.0]
    """
    return _running(samples, rate_hz, 1)


def _running(samples: ArrayLike, rate_hz: int, which: int) -> Series:
    checked = loops.as_rows(checked_samples(samples, "samples"))
    cells = LoudnessMeter(rate_hz, checked.shape[1])._cell_powers(checked)
    return db_from_power(_sliding(finite_powers(cells))[which]) + _ZERO_LUFS


def _sliding(cells: Series) -> tuple[Series, Series, Series]:
    """Mean squares of every full 400 ms, 3 s and 100 ms, one for each cell at which a window can start.

    Windows are added cell by cell, never subtracted, so each is the same to the last bit wherever a block began.
    """
    tenths = _windows(cells, _CELLS_A_TENTH)
    return (
        _windows(tenths, _TENTHS_MOMENTARY, _CELLS_A_TENTH),
        _windows(tenths, _TENTHS_SHORT_TERM, _CELLS_A_TENTH),
        tenths,
    )


def _windows(powers: Series, count: int, step: int = 1) -> Series:
    """The mean of `count` values that lie `step` apart, from each value on that has so many after it."""
    size = len(powers) - (count - 1) * step
    total = np.zeros(max(0, size))
    for each in range(count if size > 0 else 0):
        total += powers[each * step : each * step + size]
    return total / count


def _lufs(power: float) -> float:
    return db_from_power(power) + _ZERO_LUFS


def _check_rate(rate_hz: int) -> None:
    if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise GainError(f"rate_hz is {rate_hz}; loudness is measured from {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz.")


def _weights(channels: int) -> tuple[float, ...]:
    if channels not in CHANNEL_WEIGHTS:
        raise GainError(f"the recording has {channels} channels; loudness is defined here for {_ORDERS}.")
    return CHANNEL_WEIGHTS[channels]
