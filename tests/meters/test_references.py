"""Loudness and true peak beside other implementations; each known fault of one is met by name, not by a tolerance."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import warnings

import numpy as np
import pytest
import soundfile
from scipy.signal import lfilter

from gainlib.errors import GainError
from gainlib.meters import (
    k_weighting,
    loudness,
    loudness_lufs,
    loudness_range_lu,
    momentary_lufs,
    momentary_max_lufs,
    rms_dbfs,
    short_term_lufs,
    short_term_max_lufs,
    true_peak_dbtp,
)

pyebur128 = pytest.importorskip("pyebur128", reason="pyebur128 is not installed")
pyloudnorm = pytest.importorskip("pyloudnorm", reason="pyloudnorm is not installed")

RATE_HZ = 48_000
AGREED = 0.002  # LU


def noise(seconds, seed=1, channels=2, level=0.1):
    return level * np.random.default_rng(seed).standard_normal((round(seconds * RATE_HZ), channels))


def pink(seconds, seed=2):
    # A random walk with a leak, roughly 6 dB an octave: much low end, where the high-pass matters.
    walk = lfilter([1.0], [1.0, -0.995], noise(seconds, seed), axis=0)
    return 0.1 * walk / np.abs(walk).max()


def swelling(seconds, seed=3):
    """Noise whose level changes at random every second over some 40 dB, a programme with a wide loudness range."""
    levels = np.random.default_rng(seed).uniform(-40, 0, math.ceil(seconds))
    gains = np.repeat(10 ** (levels / 20), RATE_HZ)[: round(seconds * RATE_HZ), None]
    return noise(seconds, seed, level=0.2) * gains


MADE = {
    "white noise, 20 s": lambda: noise(20),
    "low noise, 20 s": lambda: pink(20),
    "swelling noise, 60 s": lambda: swelling(60),
    "swelling noise, 20.37 s": lambda: swelling(20.37, 4),
    "997 Hz, 5 s": lambda: np.tile(0.3 * np.sin(2 * np.pi * 997 / RATE_HZ * np.arange(5 * RATE_HZ))[:, None], (1, 2)),
    "40 Hz, 5 s": lambda: np.tile(0.3 * np.sin(2 * np.pi * 40 / RATE_HZ * np.arange(5 * RATE_HZ))[:, None], (1, 2)),
    "12 kHz and a pause, 7 s": lambda: np.concatenate(
        (0.3 * np.sin(2 * np.pi * 0.25 * np.arange(4 * RATE_HZ) + 0.3), np.zeros(3 * RATE_HZ))
    )[:, None],
    "mono noise, 10 s": lambda: noise(10, 5, channels=1),
    "6 channels of noise, 5 s": lambda: noise(5, 6, channels=6),
}


def libebur128(take, mode, rate_hz=RATE_HZ):
    return pyebur128.R128State(take.shape[1], rate_hz, mode)


def integrated_128(take, rate_hz=RATE_HZ):
    state = libebur128(take, pyebur128.MeasurementMode.MODE_I, rate_hz)
    state.add_frames(np.ascontiguousarray(take).ravel(), len(take))
    return pyebur128.get_loudness_global(state)


def running_128(take, step=480):
    """Momentary and short-term after each step, from the first full window on."""
    mode = pyebur128.MeasurementMode.MODE_M | pyebur128.MeasurementMode.MODE_S
    state = libebur128(take, mode)
    momentary, short_term = [], []
    for start in range(0, len(take) - step + 1, step):
        state.add_frames(np.ascontiguousarray(take[start : start + step]).ravel(), step)
        if start + step >= 0.4 * RATE_HZ:
            momentary.append(pyebur128.get_loudness_momentary(state))
        if start + step >= 3.0 * RATE_HZ:
            short_term.append(pyebur128.get_loudness_shortterm(state))
    return np.array(momentary), np.array(short_term)


@pytest.mark.parametrize("name", MADE)
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_integrated_agrees_with_libebur128(worst, name, dtype):
    take = MADE[name]().astype(dtype)
    deviation = loudness_lufs(take, RATE_HZ) - integrated_128(take)
    assert worst(f"libebur128, integrated, {name}", deviation, "LU", AGREED) < AGREED


@pytest.mark.parametrize("name", [name for name in MADE if name != "12 kHz and a pause, 7 s"])
def test_momentary_and_short_term_agree_with_libebur128(worst, name):
    take = MADE[name]()
    momentary, short_term = running_128(take)
    for which, ours, theirs in (
        ("momentary", momentary_lufs(take, RATE_HZ), momentary),
        ("short-term", short_term_lufs(take, RATE_HZ), short_term),
    ):
        assert len(ours) == len(theirs) > 200
        assert worst(f"libebur128, {which} each 10 ms, {name}", ours - theirs, "LU", AGREED) < AGREED


def test_the_stems_agree_with_libebur128_and_pyloudnorm(stems, worst):
    for name, stem in stems.items():
        assert stem.rate_hz == RATE_HZ
        take = stem.samples
        read = loudness(take, RATE_HZ)
        deviation = read.integrated_lufs - integrated_128(take)
        assert worst(f"libebur128, integrated, stem {name}", deviation, "LU", AGREED) < AGREED
        momentary, short_term = running_128(take)
        deviation = read.momentary_max_lufs - momentary.max()
        assert worst(f"libebur128, largest momentary, stem {name}", deviation, "LU", AGREED) < AGREED
        deviation = read.short_term_max_lufs - short_term.max()
        assert worst(f"libebur128, largest short-term, stem {name}", deviation, "LU", AGREED) < AGREED
        deviation = read.integrated_lufs - de_man(whole_blocks(take))
        assert worst(f"pyloudnorm (DeMan), integrated, stem {name}", deviation, "LU", AGREED) < AGREED


def de_man(take):
    return pyloudnorm.Meter(RATE_HZ, filter_class="DeMan").integrated_loudness(take)


def whole_blocks(take):
    """The take without what does not fill a step of 100 ms, since pyloudnorm counts a part of a block as a block."""
    return take[: int(len(take) / (RATE_HZ // 10)) * (RATE_HZ // 10)]


@pytest.mark.parametrize("name", [name for name in MADE if not name.startswith("6 channels")])
def test_integrated_agrees_with_pyloudnorm(worst, name):
    take = whole_blocks(MADE[name]())
    deviation = loudness_lufs(take, RATE_HZ) - de_man(take)
    assert worst(f"pyloudnorm (DeMan), integrated, {name}", deviation, "LU", AGREED) < AGREED


# -- a second evaluation of the documents, in plain words and without any of our code

SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])


def direct_powers(take, seconds, step_seconds):
    weighted = lfilter(*HIGH_PASS, lfilter(*SHELF, take, axis=0), axis=0)
    width, step = round(seconds * RATE_HZ), round(step_seconds * RATE_HZ)
    starts = range(0, len(take) - width + 1, step)
    return np.array([(weighted[start : start + width] ** 2).mean(axis=0).sum() for start in starts])


def direct_range_lu(take):
    """Tech 3342 section 5, its percentiles by rounding the rank."""
    levels = -0.691 + 10 * np.log10(direct_powers(take, 3.0, 0.1))
    levels = levels[levels >= -70]
    gate = 10 * np.log10(np.mean(10 ** (levels / 10))) - 20
    kept = np.sort(levels[levels >= gate])
    rank = [int(np.floor((len(kept) - 1) * percent / 100 + 1 + 0.5)) for percent in (10, 95)]
    return kept[rank[1] - 1] - kept[rank[0] - 1]


@pytest.mark.parametrize("seconds", [5, 10, 30, 60])
def test_loudness_range_agrees_with_a_direct_evaluation(worst, seconds):
    take = swelling(seconds)
    deviation = loudness_range_lu(take, RATE_HZ) - direct_range_lu(take)
    assert worst("loudness range, direct evaluation of Tech 3342, 5 to 60 s", deviation, "LU", 1e-6) < 1e-6


# -- known faults of libebur128 1.2.6


def test_libebur128_drifts_with_the_rate_and_this_does_not():
    # 997 Hz at full scale on one channel; libebur128's readings are known, and ours are -3.0103 everywhere.
    known = {
        8_000: -2.996, 16_000: -2.970, 22_050: -2.981, 32_000: -2.996, 44_100: -3.0075, 48_000: -3.0103,
        88_200: -3.026, 96_000: -3.028, 176_400: -3.0365, 192_000: -3.037,
    }  # fmt: skip
    for rate_hz, expected in known.items():
        take = np.sin(2 * np.pi * 997 / rate_hz * np.arange(2 * rate_hz))[:, None]
        assert integrated_128(take, rate_hz) == pytest.approx(expected, abs=0.001)
        assert loudness_lufs(take, rate_hz) - integrated_128(take, rate_hz) == pytest.approx(
            -3.0103 - expected, abs=0.002
        )


def test_libebur128_has_one_range_value_a_second():
    apart = []
    for seed in range(6):
        take = swelling(10, seed)
        state = libebur128(take, pyebur128.MeasurementMode.MODE_LRA)
        state.add_frames(take.ravel(), len(take))
        apart.append(abs(pyebur128.get_loudness_range(state) - direct_range_lu(take)))
        assert loudness_range_lu(take, RATE_HZ) == pytest.approx(direct_range_lu(take), abs=1e-6)
    # Eight values a programme of 10 s, against 71: some of the ranges must come out LUs apart.
    assert max(apart) > 1.0


def test_libebur128_never_flushes_its_true_peak():
    take = np.zeros((4800, 1))
    take[-2:] = 0.9
    for silence, expected in ((0, -0.915), (12, 1.03)):
        padded = np.concatenate((take, np.zeros((silence, 1))))
        state = libebur128(padded, pyebur128.MeasurementMode.MODE_TRUE_PEAK)
        state.add_frames(padded.ravel(), len(padded))
        assert 20 * math.log10(pyebur128.get_true_peak(state, 0)) == pytest.approx(expected, abs=0.01)
        # In closed form 2 x 0.9 sinc(1/2) = +1.183 dBTP.
        assert true_peak_dbtp(padded)[0] == pytest.approx(1.183, abs=0.01)


def test_libebur128_misreads_true_peaks_by_up_to_0_4_db(signals):
    theirs, ours = [], []
    for share in (0.1, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45):
        for degrees in np.linspace(0, 90, 9):
            take = np.concatenate((signals.steady_sine(share, 0.9, degrees, RATE_HZ), np.zeros(12)))[:, None]
            state = libebur128(take, pyebur128.MeasurementMode.MODE_TRUE_PEAK)
            state.add_frames(take.ravel(), len(take))
            exact = 20 * math.log10(signals.dft_peak(take[:, 0]))
            theirs.append(20 * math.log10(pyebur128.get_true_peak(state, 0)) - exact)
            ours.append(true_peak_dbtp(take)[0] - exact)
    assert min(theirs) < -0.4
    assert max(theirs) > 0.05
    assert np.abs(ours).max() < 0.01


def test_libebur128_reads_short_term_before_there_were_3_s():
    take = np.sin(2 * np.pi * 1000 / RATE_HZ * np.arange(RATE_HZ))[:, None]
    state = libebur128(take, pyebur128.MeasurementMode.MODE_S)
    state.add_frames(take.ravel(), len(take))
    assert pyebur128.get_loudness_shortterm(state) < -7.0  # one second of three, -3.00 - 4.77
    with pytest.raises(GainError, match=r"short_term_max_lufs needs 3 s of sound; 1 s were given"):
        short_term_max_lufs(take, RATE_HZ)


def test_libebur128_is_as_fine_as_its_feed(signals):
    # Tech 3341 case 13 with 60 ms of silence in front: 360 ms of the tone fit a grid of 100 ms.
    take = signals.tone([(0.06, None), (0.4, -23.0), (1.0, None)], RATE_HZ)
    assert running_128(take, step=4800)[0].max() == pytest.approx(-23.45, abs=0.01)
    assert momentary_max_lufs(take, RATE_HZ) == pytest.approx(-22.9936, abs=0.001)


# -- known faults of pyloudnorm 0.2.0


def test_pyloudnorms_default_filter_is_not_the_printed_one(signals):
    take = signals.tone([(5, -23.0)], RATE_HZ)
    assert pyloudnorm.Meter(RATE_HZ).integrated_loudness(take) == pytest.approx(-23.0347, abs=0.0005)
    assert loudness_lufs(take, RATE_HZ) == pytest.approx(-22.9933, abs=0.0005)


def test_pyloudnorm_counts_a_part_of_a_block_as_a_block(signals):
    take = signals.tone([(0.46, -23.0)], RATE_HZ)
    assert de_man(take) - loudness_lufs(take, RATE_HZ) == pytest.approx(-0.22, abs=0.02)
    assert loudness_lufs(take, RATE_HZ) == pytest.approx(-22.993, abs=0.002)


def test_pyloudnorm_gives_a_steady_tone_a_range(signals):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        take = signals.tone([(10, -23.0)], RATE_HZ)
        theirs = pyloudnorm.Meter(RATE_HZ).loudness_range(take)
        short = pyloudnorm.Meter(RATE_HZ).loudness_range(take[: 2 * RATE_HZ])
    assert theirs == pytest.approx(1.0, abs=0.1)
    assert loudness_range_lu(take, RATE_HZ) == pytest.approx(0.0, abs=0.001)
    assert math.isfinite(short), "it answers for 2 s, where no window of 3 s fits"
    with pytest.raises(GainError, match="loudness_range_lu needs 3 s"):
        loudness_range_lu(take[: 2 * RATE_HZ], RATE_HZ)


# -- command-line meters, where they are installed


def printed_by(command, *, needs):
    if shutil.which(needs) is None:
        pytest.skip(f"{needs} is not installed")
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    return done.stdout + done.stderr


def metadata(path, key):
    """Every value of one key that ffmpeg's ebur128 filter writes, one each 100 ms."""
    graph = f"amovie={path},ebur128=metadata=1:peak=true,ametadata=print:key={key}:file=-"
    text = printed_by(["ffmpeg", "-v", "error", "-f", "lavfi", "-i", graph, "-f", "null", "-"], needs="ffmpeg")
    return [float(value) for value in re.findall(rf"{re.escape(key)}=(\S+)", text)]


def test_ffmpeg_rounds_the_integrated_loudness_down_by_up_to_0_01(tmp_path):
    take = swelling(20)
    path = tmp_path / "take.wav"
    soundfile.write(path, take, RATE_HZ, subtype="DOUBLE")
    theirs = metadata(path, "lavfi.r128.I")[-1]
    assert -0.0105 < theirs - loudness_lufs(take, RATE_HZ) < 0.0005


def test_ffmpeg_looks_for_momentary_maxima_each_100_ms(signals, tmp_path):
    take = signals.tone([(0.06, None), (0.4, -23.0), (1.0, None)], RATE_HZ)
    path = tmp_path / "case13.wav"
    soundfile.write(path, take, RATE_HZ, subtype="DOUBLE")
    assert max(metadata(path, "lavfi.r128.M")) < -23.1
    assert momentary_max_lufs(take, RATE_HZ) == pytest.approx(-22.9936, abs=0.001)


def test_ffmpeg_reads_silence_as_minus_70(tmp_path):
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros((RATE_HZ, 2)), RATE_HZ)
    assert metadata(path, "lavfi.r128.I")[-1] == -70.0
    assert loudness_lufs(np.zeros((RATE_HZ, 2)), RATE_HZ) == -math.inf


@pytest.mark.parametrize("tool", ["ffmpeg", "sox"])
def test_command_line_rms_has_the_mathematical_zero(signals, tmp_path, tool):
    # Both call a full-scale sine -3.01 dB; with the AES17 zero it is 0 dBFS.
    take = signals.tone([(1, 0.0)], RATE_HZ, 997.0, channels=1)
    path = tmp_path / "sine.wav"
    soundfile.write(path, take, RATE_HZ, subtype="FLOAT")
    if tool == "ffmpeg":
        command = ["ffmpeg", "-hide_banner", "-i", str(path), "-af", "astats=measure_overall=none", "-f", "null", "-"]
        found = re.search(r"RMS level dB: (\S+)", printed_by(command, needs="ffmpeg"))
    else:
        found = re.search(r"RMS lev dB\s+(\S+)", printed_by(["sox", str(path), "-n", "stats"], needs="sox"))
    assert float(found[1]) == pytest.approx(-3.01, abs=0.005)
    assert rms_dbfs(take)[0] == pytest.approx(0.0, abs=0.001)


def test_the_bilinear_shelf_of_others_is_known_at_44_1_khz():
    # libebur128's coefficients at 44.1 kHz; the matched shelf differs in the fifth digit.
    known = [1.53084123005035, -2.65097999515473, 1.16907907992159, 1.0, -1.66365511325602, 0.71259542807323]
    assert np.abs(k_weighting(44_100)[0] - known).max() < 5e-4
    assert np.abs(k_weighting(44_100)[1][4:] - [-1.98916967362980, 0.98919903578704]).max() < 1e-12
    assert np.abs(k_weighting(96_000)[1][4:] - [-1.99501754472472, 0.99502375904092]).max() < 1e-12
