"""How well the stages agree with figures from outside, as numbers: python tests/benchmarks/bench_stages_agreement.py.

The tests hold each of these to its bound; here the distances themselves are printed.
"""

from __future__ import annotations

import math

import numpy as np

from gainlib.meters.true_peak import true_peak_dbtp
from gainlib.stages import Compressor, Converter, Delivery, Limiter, Ride, Saturation, Signal

RATE_HZ = 48_000


def entering(samples: np.ndarray, rate_hz: int = RATE_HZ) -> Signal:
    """Samples as a stage takes them."""
    return Signal(samples if samples.ndim == 2 else samples[:, None], rate_hz, 0.0, "digital")


def out_of(stage: object, samples: np.ndarray, rate_hz: int = RATE_HZ) -> np.ndarray:
    """What the stage makes of one channel."""
    return stage.process(entering(samples, rate_hz)).signal.samples[:, 0]  # type: ignore[attr-defined]


def compressor() -> None:
    """Worked levels after Giannoulis, Massberg and Reiss (2012), and a C++ effects library on steady levels."""
    worked = {0: (-15.0, 0.0), -8: (-17.0, 0.0), -14: (-18.5, 0.0), -20: (-20.9375, 10.0), -17: (-19.40, 10.0)}
    far = max(abs(Compressor(-20.0, 4.0, knee).curve_db(level) - out) for level, (out, knee) in worked.items())
    print(f"compressor: static curve within {far:.1e} dB of the worked levels")
    step = np.concatenate((np.full(RATE_HZ, 1e-4), np.full(RATE_HZ, 10 ** (-4 / 20))))
    trace = Compressor(-20.0, 4.0, 0.0, 10.0, 100.0).process(entering(step)).reduction_db
    assert trace is not None
    print(f"compressor: {100 * trace[RATE_HZ + 479, 0] / 12:.3f} % of a step after the attack time (63.212)")
    try:
        import pedalboard
    except ImportError:
        return
    levels = np.arange(-40.0, 0.5, 1.0)
    other = pedalboard.Compressor(-20.0, 4.0, 0.01, 1.0)
    steady = [np.full((1, 4800), 10 ** (level / 20), dtype=np.float32) for level in levels]
    theirs = [20 * math.log10(other(each, RATE_HZ, reset=True)[0, -1]) for each in steady]
    far = np.abs(np.asarray(Compressor(-20.0, 4.0, 0.0).curve_db(levels)) - theirs).max()
    print(f"compressor: static curve within {far:.1e} dB of the C++ library")


def saturation() -> None:
    """Harmonics of tanh, folded products of a swept tone."""
    for argument, expected in ((0.1, -61.605), (0.5, -34.149), (1.0, -23.500)):
        drive_db = 20 * math.log10(1 / math.tanh(1.0))
        sine = argument * np.sin(2 * np.pi * 100 * np.arange(3 * RATE_HZ) / RATE_HZ)
        levels = np.abs(np.fft.rfft(out_of(Saturation(drive_db, 0.0), sine)[RATE_HZ : 2 * RATE_HZ]))
        found = 20 * math.log10(levels[300] / levels[100])
        print(f"saturation: third harmonic of tanh({argument} sin) {found:.3f} dB (exact {expected})")
    window = np.kaiser(16_384, 24)
    hz = np.fft.rfftfreq(16_384, 1 / RATE_HZ)
    for drive_db, low_end_db in ((4.0, 6.0), (6.0, 6.0), (12.0, 0.0), (12.0, 12.0), (18.0, 0.0)):
        stage, worst = Saturation(drive_db, low_end_db), -math.inf
        for tone_hz in np.geomspace(911.3, 19_990.7, 60):
            out = out_of(stage, np.sin(2 * np.pi * tone_hz / RATE_HZ * np.arange(24_576)))[4096 : 4096 + 16_384]
            levels = 20 * np.log10(np.abs(np.fft.rfft(out * window)) / (window.sum() / 2) + 1e-15)
            own = np.abs(hz[:, None] - tone_hz * np.arange(1, 24_000 / tone_hz, 2)) < 14 * RATE_HZ / 16_384
            worst = max(worst, levels[~own.any(axis=1) & (hz > 60)].max())
        print(
            f"saturation: drive {drive_db:g} dB, low end {low_end_db:g} dB, {stage.oversampling(RATE_HZ)}x: "
            f"worst fold {worst:.1f} dBFS (wanted below -90)"
        )


def limiter() -> None:
    """The ceiling under hostile signals up to +40 dB."""
    draw, count = np.random.default_rng(1), 9600
    at = np.arange(count)
    signals = {
        "impulses": draw.standard_normal(count) * (draw.random(count) < 0.005),
        "square": np.sign(np.sin(0.01 * at) + 1e-9),
        "quarter of the rate, 45 degrees": np.sin(np.pi / 4 + np.pi / 2 * at),
        "noise": draw.standard_normal(count),
        "random signs": draw.choice([-1.0, 1.0], count),
    }
    for name, samples in signals.items():
        over, true_over = -math.inf, -math.inf
        for look_ahead_ms in (0.0, 0.1, 1.0, 10.0):
            for gain in (1.0, 10.0, 100.0):
                plain = out_of(Limiter(-1.0, look_ahead_ms, true_peak=False), gain * samples)
                over = max(over, float(np.abs(plain).max()) - 10 ** (-1 / 20))
                held = out_of(Limiter(-1.0, look_ahead_ms), gain * samples)
                true_over = max(true_over, float(true_peak_dbtp(held)[0]) + 1.0)
        print(f"limiter: {name}: sample over the ceiling by {max(over, 0.0):g}, true peak by {true_over:+.3f} dB (0.1)")


def others() -> None:
    """Dither, rides, loudness."""
    sine = (1 - 2.0**-13) * np.sin(2 * np.pi * 997.123 * np.arange(2**20) / RATE_HZ)
    for dither, expected in ((False, 98.091), (True, 93.319)):
        stage = Converter(18.0, 16, dither)
        out = stage.process(Signal((sine * stage.full_scale_volts)[:, None], RATE_HZ, 0.0, "analogue")).signal.samples
        found = 10 * math.log10(0.5 / np.mean((out[:, 0] - sine) ** 2))
        print(f"16 bit, dither {dither}: {found:.3f} dB below a full-scale sine (theory {expected})")
    gains = [10 ** ((-24.0 * n / 999 if n < 999 else -24.0) / 20) for n in range(1200)]
    ridden = out_of(Ride(((0.0, 0.0), (0.999, -24.0))), np.ones(1200), 1000)
    print(f"ride: within {np.abs(ridden / gains - 1).max():.1e} of arithmetic sample by sample")
    noise = 0.05 * np.random.default_rng(2).standard_normal((10 * RATE_HZ, 2))
    for name in ("EBU R 128", "ATSC A/85"):
        passed = Delivery(name).process(entering(noise))
        line = f"delivery: {name}: {passed.readings['loudness_lufs']:.3f} LUFS by this meter"
        try:
            import pyebur128
        except ImportError:
            print(line)
            continue
        state = pyebur128.R128State(2, RATE_HZ, pyebur128.MeasurementMode.MODE_I)
        state.add_frames(np.ascontiguousarray(passed.signal.samples).ravel(), len(noise))
        print(f"{line}, {pyebur128.get_loudness_global(state):.3f} by libebur128")


if __name__ == "__main__":
    compressor()
    saturation()
    limiter()
    others()
