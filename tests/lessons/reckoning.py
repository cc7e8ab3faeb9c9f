"""The lessons' numbers on paper: plain numpy and scipy on the stems' samples, without any of the library's code.

Every source is named beside its formula, with its standing (published, derived, from memory).
"""

from __future__ import annotations

import functools
import math
import os
import tomllib
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import lfilter, resample, resample_poly

MEDIA = Path(__file__).parents[2] / "media"
RATE_HZ = 48_000
# The set that lessons are reckoned on which can be taught on any: the bundled one, or another that a test writes.
TAKES = Path(os.environ.get("GAINLIB_CLAIMS_TAKES", MEDIA))
TABLE = tomllib.loads((TAKES / "takes.toml").read_text(encoding="utf-8"))
NEEDS = tomllib.loads((MEDIA.parent / "lessons" / "needs.toml").read_text(encoding="utf-8"))

# Published: BS.1770-5, annex 1, tables 1 and 2 (48 kHz).
HEAD = [1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585]
RLB = [1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621]


@functools.cache
def _whole(file):
    samples, rate_hz = soundfile.read(file, dtype="float64")
    assert rate_hz == RATE_HZ
    return samples


def seconds(name, of=None):
    """Where a part of the set begins and ends, from the start of the take or of another part."""
    begins = TABLE["parts"][of][0] if of else 0.0
    return tuple(each - begins for each in TABLE["parts"][name])


def take(lesson, role, name=None, gain_db=0.0):
    """The set's take of a role, or that part of it, at the level that the lesson has it at, raised by so many dB."""
    level_db = 0.0
    if TAKES != MEDIA and role in NEEDS[lesson].get("level", {}):
        measure, *place = NEEDS[lesson]["level"][role]
        read = {"peak_dbfs": peak_dbfs, "rms_dbfs": rms_dbfs, "active_rms_dbfs": active_rms_dbfs}[measure]
        bundled = tomllib.loads((MEDIA / "takes.toml").read_text(encoding="utf-8"))
        level_db = read(_of(MEDIA, bundled, role, *place)) - read(_of(TAKES, TABLE, role, *place))
    return _of(TAKES, TABLE, role, *([name] if name else [])) * 10 ** ((gain_db + level_db) / 20)


def _of(folder, table, role, name=None):
    whole = _whole(folder / table["takes"][role])
    return part(whole, *table["parts"][name]) if name else whole


def stem(name, start=0.0, end=None, gain_db=0.0):
    """A stem's own samples from second to second, raised by so many dB; some are stereo."""
    last = None if end is None else round(end * RATE_HZ)
    return _whole(MEDIA / f"{name}.flac")[round(start * RATE_HZ) : last] * 10 ** (gain_db / 20)


def both_sides(samples):
    """A mono signal on both sides, a stereo one as it is: what a stereo sum makes of it."""
    return samples if samples.ndim == 2 else np.stack([samples, samples], axis=1)


def panned(samples, position, law_db=-3.0):
    """Common practice: sine and cosine (-3 dB in the middle), straight lines (-6), the geometric mean of both (-4.5).

    A stereo signal keeps the side that it is turned to, as the course has it.
    """

    def gains(at):
        share = (at + 1) / 2
        even = np.array([math.cos(share * math.pi / 2), math.sin(share * math.pi / 2)])
        straight = np.array([1 - share, share])
        return {-3.0: even, -4.5: np.sqrt(even * straight), -6.0: straight}[law_db]

    if samples.ndim == 2:
        return samples * np.minimum(1, gains(position) / gains(0.0))
    return samples[:, None] * gains(position)


def ridden(samples, points):
    """Behind a ride that runs straight in decibels from point (s, dB) to point."""
    seconds, gains_db = np.array(points).T
    return samples * 10 ** (np.interp(np.arange(len(samples)) / RATE_HZ, seconds, gains_db) / 20)


def part(samples, start, end):
    return samples[round(start * RATE_HZ) : round(end * RATE_HZ)]


def sine(peak_dbfs, frequency_hz, seconds):
    return 10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def db(ratio):
    return 20 * math.log10(ratio)


def peak_dbfs(samples):
    """Published: AES17, full scale."""
    return db(np.abs(samples).max())


def rms_dbfs(samples):
    """Published: AES17, a full-scale sine reads 0 dBFS."""
    return 10 * math.log10(2 * np.mean(np.square(samples), axis=0).max())


def crest_db(samples):
    """Published: IEC 60268-1, peak over plain RMS."""
    return float(np.max(10 * np.log10(np.max(np.square(samples), axis=0) / np.mean(np.square(samples), axis=0))))


def loudness_lufs(samples):
    """Published: BS.1770-5, annex 1, equations 1 to 7: blocks of 400 ms every 100 ms, gates at -70 and -10."""
    channels = samples.reshape(len(samples), -1).T
    weighted = [lfilter(*RLB, lfilter(*HEAD, each)) for each in channels]
    step, size = RATE_HZ // 10, RATE_HZ * 4 // 10
    starts = range(0, len(samples) - size + 1, step)
    powers = np.array([sum(np.mean(each[at : at + size] ** 2) for each in weighted) for at in starts])
    powers = powers[-0.691 + 10 * np.log10(np.maximum(powers, 1e-30)) > -70]
    powers = powers[powers > powers.mean() / 10]
    return -0.691 + 10 * math.log10(powers.mean())


def true_peak_dbtp(samples, times=8):
    """Published: BS.1770-5, annex 2, names four times; eight read a sine at most 0.17 dB low (derived: cos(pi/16))."""
    highest = np.abs(samples).max()
    for each in samples.reshape(len(samples), -1).T:  # single precision and rows of one channel: a quarter of the time
        curve = resample_poly(np.ascontiguousarray(each, dtype=np.float32), times, 1)
        highest = max(highest, float(curve.max()), -float(curve.min()))
    return db(highest)


def vu_max_dbfs(samples):
    """The highest deflection of a needle: full-wave average in sine peak, two poles.

    Published: IEC 60268-17, 99 % after 300 ms and 1 to 1.5 % beyond; derived: 13.512 rad/s with damping 0.81272 do so
    with 1.25 %. As a filter by its poles (impulse invariance), not by the steps of a spring. Read with half a second of
    silence behind it, in which the needle swings out.
    """
    samples = np.concatenate([samples, np.zeros((RATE_HZ // 2, *samples.shape[1:]))])
    damped = 13.512 * math.sqrt(1 - 0.81272**2)
    radius, turn = math.exp(-0.81272 * 13.512 / RATE_HZ), damped / RATE_HZ
    poles = [1.0, -2 * radius * math.cos(turn), radius**2]
    needle = lfilter([0.0, sum(poles)], poles, np.abs(samples) * math.pi / 2, axis=0)
    return db(needle.max())


def window_powers(samples):
    """The mean squares of windows of 50 ms side by side, of a mono take."""
    full = len(samples) // 2400 * 2400
    return np.mean(np.square(samples[:full]).reshape(-1, 2400), axis=1)


def active_rms_dbfs(samples):
    """The course's own definition, worked out again: windows above -70 dBFS, of these those at most 20 dB below all."""
    if samples.ndim > 1:
        return max(active_rms_dbfs(each) for each in samples.T)
    powers = window_powers(samples)
    powers = powers[2 * powers > 1e-7]
    return 10 * math.log10(2 * powers[powers > powers.mean() / 100].mean())


def noise_floor_dbfs(samples):
    """The course's own definition, worked out again: the quietest twentieth of the windows."""
    powers = np.sort(window_powers(samples))
    assert powers[0] > 0, "written for takes without digital silence"
    return 10 * math.log10(2 * powers[: math.ceil(len(powers) / 20)].mean())


def wanted_reduction_db(level_db, threshold_db, ratio, knee_db):
    """Published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, equation 4, as reduction: x - y."""
    over = np.asarray(level_db) - threshold_db
    bent = (over + knee_db / 2) ** 2 / (2 * knee_db) if knee_db else 0.0
    return (1 - 1 / ratio) * np.where(2 * over < -knee_db, 0.0, np.where(2 * np.abs(over) <= knee_db, bent, over))


def reduction_db(samples, threshold_db, ratio, knee_db=6.0, attack_ms=10.0, release_ms=100.0):
    """The reduction at every sample. Published: the same paper, smooth branching (equation 16), in the log domain."""
    level = np.abs(samples if samples.ndim == 1 else np.abs(samples).max(axis=1))
    wanted = wanted_reduction_db(20 * np.log10(np.maximum(level, 1e-12)), threshold_db, ratio, knee_db).tolist()
    attack = math.exp(-1 / (attack_ms / 1000 * RATE_HZ)) if attack_ms else 0.0
    release = math.exp(-1 / (release_ms / 1000 * RATE_HZ))
    held, found = 0.0, []
    for target in wanted:
        share = attack if target > held else release
        held = share * held + (1 - share) * target
        found.append(held)
    return np.array(found)


def compressed(samples, *settings, makeup_db=0.0, **more):
    turned = 10 ** ((makeup_db - reduction_db(samples, *settings, **more)) / 20)
    return samples * (turned if samples.ndim == 1 else turned[:, None])


def saturated(samples, drive_db, low_end_db=6.0, times=16, *, holds_peak=True):
    """tanh(kx)/tanh(k) with that slope at zero between a shelf and its inverse, peak restored or not, oversampled.

    Derived: k by bisection of k/tanh(k); the shelf H(s) = (s g + w sqrt g)/(s + w sqrt g), 500 Hz, bilinear.
    """
    low, high = 1e-9, 20.0
    for _ in range(80):
        bend = (low + high) / 2
        low, high = (bend, high) if bend / math.tanh(bend) < 10 ** (drive_db / 20) else (low, bend)
    gain = 10 ** (-low_end_db / 20)
    corner = math.tan(math.pi * 500 / RATE_HZ)
    top = [gain + corner * math.sqrt(gain), corner * math.sqrt(gain) - gain]
    bottom = [1 + corner * math.sqrt(gain), corner * math.sqrt(gain) - 1]
    # By Fourier transform up and down. What the curve adds above 22 kHz, the slope of any filter at this rate, is left
    # out; with it the peak of a drum, to which the whole is brought back, comes out 0.03 to 0.06 dB otherwise.
    slope = bend / math.tanh(bend)
    fine = resample(lfilter(top, bottom, samples), times * len(samples))
    lines = np.fft.rfft(resample(np.tanh(bend * fine) / math.tanh(bend) - slope * fine, len(samples)))
    lines[np.fft.rfftfreq(len(samples), 1 / RATE_HZ) > 22_000] = 0
    out = lfilter(bottom, top, np.fft.irfft(lines, len(samples))) + slope * samples
    return out * np.abs(samples).max() / np.abs(out).max() if holds_peak else out


def distortion_percent(before, after):
    """Derived: what no plain gain would have made (least squares), against all that came out, RMS."""
    rest = after - before * (before @ after) / (before @ before)
    return 100 * math.sqrt((rest @ rest) / (after @ after))


def runs_at(samples, ceiling, least=3):
    """The lengths of runs of neighbouring samples of one sign at or over the ceiling (one 16-bit step below counts)."""
    lengths = []
    for side in (samples, -samples):
        at = np.concatenate(([0], (side >= ceiling * (1 - 2**-15)).astype(int), [0]))
        edges = np.flatnonzero(np.diff(at))
        lengths += [int(b - a) for a, b in edges.reshape(-1, 2) if b - a >= least]
    return lengths


def steps_noise_dbfs(bits, dithered=False):
    """Published: a step's rounding has a twelfth of its square, TPDF dither makes it three times that; AES17 zero."""
    step = 2.0 ** (1 - bits)
    return 10 * math.log10(2 * step**2 / 12 * (3 if dithered else 1))
