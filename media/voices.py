"""A voice from formulas: a glottal pulse and breath noise through moving formants."""

from dataclasses import dataclass

import numpy as np
from recording import RATE_HZ, band, high_pass, low_pass, random_stream
from scipy import signal

CONTROL_SAMPLES = 24
CONTROL_HZ = RATE_HZ // CONTROL_SAMPLES


@dataclass(frozen=True)
class Singer:
    """One person's instrument: size of the vocal tract, steadiness, breathiness, vibrato to either side, hiss.

    `air_db` is the turbulence above 3 kHz that the open folds let through, against a plain vowel. `upper_formants` are
    those from the fourth on, each with its frequency and width in Hz, in a man's mouth.
    """

    formant_scale: float
    jitter: float = 0.006
    shimmer: float = 0.04
    breathiness: float = 1.0
    vibrato_hz: float = 5.6
    vibrato_cents: float = 46.0
    air_db: float = -35.0
    friction: float = 1.0
    upper_formants: tuple[tuple[float, float], ...] = ((3400.0, 180.0), (4300.0, 250.0))


def smooth(track: np.ndarray, seconds: float) -> np.ndarray:
    """Slide from step to step with a bell-shaped window, holding the ends."""
    length = max(3, int(seconds * CONTROL_HZ) | 1)
    window = np.hanning(length + 2)[1:-1]
    padded = np.concatenate([np.repeat(track[:1], length // 2), track, np.repeat(track[-1:], length // 2)])
    return np.convolve(padded, window / window.sum(), "valid")


def slow_wander(frames: int, rate_hz: float, stream: np.random.RandomState) -> np.ndarray:
    """A random curve of about unit size with nothing much above `rate_hz`, one value each `CONTROL_SAMPLES`."""
    points = int(np.ceil(frames / CONTROL_HZ * 2 * rate_hz)) + 2
    curve = np.interp(np.arange(frames) * 2 * rate_hz / CONTROL_HZ, np.arange(points), stream.standard_normal(points))
    return smooth(curve, 0.5 / rate_hz)


def resonators(hz: np.ndarray, width_hz: np.ndarray) -> np.ndarray:
    """Sections with a pole pair each and unit gain at 0 Hz (Klatt 1980, J. Acoust. Soc. Am. 67(3); from memory)."""
    c = -np.exp(-2 * np.pi * width_hz / RATE_HZ)
    b = 2 * np.exp(-np.pi * width_hz / RATE_HZ) * np.cos(2 * np.pi * hz / RATE_HZ)
    sections = np.zeros((*np.shape(hz), 6))
    sections[..., 0] = 1 - b - c
    sections[..., 3] = 1.0
    sections[..., 4] = -b
    sections[..., 5] = -c
    return sections


def nose(pole_hz: np.ndarray, zero_hz: np.ndarray, width_hz: float) -> np.ndarray:
    """Sections with a pole pair and a zero pair each and unit gain at 0 Hz; where the two meet, nothing happens."""
    poles = resonators(pole_hz, np.full(len(pole_hz), width_hz))
    zeros = resonators(zero_hz, np.full(len(zero_hz), width_hz))
    sections = poles.copy()
    gain = poles[:, 0] / zeros[:, 0]
    sections[:, 0], sections[:, 1], sections[:, 2] = gain, gain * zeros[:, 4], gain * zeros[:, 5]
    return sections


def filter_while_moving(sections: np.ndarray, sound: np.ndarray, active: np.ndarray) -> np.ndarray:
    """Run a sound through sections that change every `CONTROL_SAMPLES`; stretches that are not active are skipped."""
    out = np.zeros_like(sound)
    state = np.zeros((sections.shape[1], 2))
    for frame in np.flatnonzero(active):
        if frame == 0 or not active[frame - 1]:
            state = np.zeros((sections.shape[1], 2))
        piece = slice(frame * CONTROL_SAMPLES, (frame + 1) * CONTROL_SAMPLES)
        out[piece], state = signal.sosfilt(sections[frame], sound[piece], zi=state)
    return out


def glottal_source(f0_hz: np.ndarray, effort: np.ndarray, singer: Singer, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Flow derivative at the vocal folds, and how far they stand open (0 to 1), at the sample rate.

    The pulse is the cubic one of Klatt and Klatt 1990 (flow = t^2 - t^3 while open; from memory). Effort (0 soft, 1
    shouted) shortens the open phase and moves the spectral slope's corner up.
    Made at twice the rate, then halved, to keep mirror tones low.
    """
    stream = random_stream(seed)
    fine = 2
    length = len(f0_hz) * CONTROL_SAMPLES * fine
    frames = np.arange(length) / (CONTROL_SAMPLES * fine)
    pitch = np.interp(frames, np.arange(len(f0_hz)), f0_hz)
    push = np.interp(frames, np.arange(len(effort)), effort)
    cycle = np.floor(np.cumsum(pitch) / (RATE_HZ * fine)).astype(int)
    # a pushed voice turns rough
    rough = 1 + 2 * np.maximum(push - 0.8, 0) / 0.2
    pitch = pitch * (1 + singer.jitter * rough * stream.standard_normal(cycle[-1] + 1)[cycle])
    phase = np.cumsum(pitch) / (RATE_HZ * fine)
    cycle = np.floor(phase).astype(int)
    loud = 1 + singer.shimmer * rough * stream.standard_normal(cycle[-1] + 2)[cycle]
    open_share = 0.72 - 0.27 * push
    t = np.minimum((phase - cycle) / open_share, 1.0)
    opening = 6.75 * t * t * (1 - t)
    derivative = (2 * t - 3 * t * t) * (t < 1.0) * loud
    halved = signal.resample_poly(derivative, 1, fine)
    opening = opening[::fine]
    push = push[::fine]
    # the slope's corner goes from 700 Hz to 6.5 kHz with effort; two fixed filters, mixed, are close enough and cheap
    soft = signal.lfilter(*signal.butter(1, 700, fs=RATE_HZ), halved)
    loud_side = signal.lfilter(*signal.butter(1, 6500, fs=RATE_HZ), halved)
    return soft * (1 - push) + loud_side * push, opening


@dataclass(frozen=True)
class Movement:
    """What mouth, nose and folds do, one value each `CONTROL_SAMPLES`; formants are those of a man's mouth."""

    f1_hz: np.ndarray
    f2_hz: np.ndarray
    f3_hz: np.ndarray
    voicing: np.ndarray
    aspiration: np.ndarray
    friction: np.ndarray
    nasal: np.ndarray
    friction_hz: np.ndarray
    friction_width_hz: np.ndarray


def voice(moves: Movement, f0_hz: np.ndarray, effort: np.ndarray, singer: Singer, seed: int) -> np.ndarray:
    """Let a voice sound through a moving mouth; pitch and effort have one value for each `CONTROL_SAMPLES`."""
    frames = len(moves.voicing)
    f0_hz, effort = f0_hz[:frames], effort[:frames]
    f1, f2, f3 = (hz * singer.formant_scale for hz in (moves.f1_hz, moves.f2_hz, moves.f3_hz))
    voicing, aspiration, friction, nasal = moves.voicing, moves.aspiration, moves.friction, moves.nasal
    friction_hz, friction_width_hz = moves.friction_hz, moves.friction_width_hz

    # a loud voice opens the jaw, and no singer lets the first formant fall below the note
    f1 = np.maximum(f1 * (1 + 0.15 * np.maximum(effort - 0.5, 0)), smooth(1.02 * f0_hz * (voicing > 0.3), 0.03))
    f2 = np.maximum(f2, f1 + 200)
    stream = random_stream(seed + 1)
    f1, f2 = f1 * (1 + 0.006 * slow_wander(frames, 3.0, stream)), f2 * (1 + 0.006 * slow_wander(frames, 3.0, stream))

    source, opening = glottal_source(f0_hz, effort, singer, seed)
    stream = random_stream(seed + 2)
    noise = stream.standard_normal(frames * CONTROL_SAMPLES)

    def to_samples(values: np.ndarray) -> np.ndarray:
        return np.interp(np.arange(frames * CONTROL_SAMPLES) / CONTROL_SAMPLES, np.arange(frames), values)

    breath = singer.breathiness * (0.012 + 0.03 * (1 - effort) ** 2)
    excitation = source * to_samples(voicing)
    excitation += noise * (to_samples(breath * voicing) * (0.3 + 0.7 * opening) + 0.35 * to_samples(aspiration))

    wide = 1 + 2.0 * np.clip(aspiration / 0.12, 0, 1)
    upper = [np.full(frames, singer.formant_scale * upper_hz) for upper_hz, _ in singer.upper_formants]
    upper_width = [np.full(frames, width_hz) for _, width_hz in singer.upper_formants]
    hz = np.stack([f1, f2, f3, *upper], 1)
    width = np.stack([(70 + 0.02 * f1) * wide, 85 + 0.02 * f2, 90 + 0.025 * f3, *upper_width], 1)
    width[:, :3] *= (1 + 0.8 * nasal)[:, None]
    nose_hz = np.full(frames, 270.0) * singer.formant_scale
    # from the top down, so that the lowest resonances smooth over what little the steps of the moving ones leave
    sections = np.concatenate(
        [
            nose(nose_hz, nose_hz + 230 * nasal * singer.formant_scale, 100.0)[:, None],
            resonators(hz, width)[:, ::-1],
        ],
        1,
    )
    sounding = (voicing + aspiration) > 1e-4
    # 30 ms more, so that the formants ring out
    sounding = np.convolve(sounding, np.ones(int(0.03 * CONTROL_HZ)), "full")[:frames] > 0
    # the tract's further resonances, one a kilohertz, without which all above 5 kHz would be missing
    further_hz = np.arange(5400.0, 12000.0, 1050.0) * singer.formant_scale
    excitation = signal.sosfilt(resonators(further_hz, 220 + 0.03 * further_hz), excitation)
    mouth = filter_while_moving(sections, excitation, sounding)
    strong = voicing > 0.9
    reference = np.sqrt(np.mean(mouth.reshape(frames, -1)[strong] ** 2)) if strong.any() else np.std(mouth)
    # Air: while the folds are open, the stream hisses behind the teeth, once in each period. It passes the short end of
    # the tract, so it has the upper formants and none of the lower; a loud voice has more of it, less than in step.
    hiss_hz = np.array([3700.0, 4650.0, 5600.0, 6900.0, 8300.0]) * singer.formant_scale
    air = signal.sosfilt(high_pass(2600, 2), random_stream(seed + 3).standard_normal(len(noise)) * opening**1.5)
    ringing = sum(signal.sosfilt(band(0.92 * hz, 1.08 * hz, 1), air) for hz in hiss_hz)
    air = signal.sosfilt(low_pass(9000, 1), 0.6 * air + ringing)
    air *= 10 ** (singer.air_db / 20) / np.std(air) * to_samples(voicing * (0.7 + 0.6 * effort))

    hiss_sections = np.concatenate(
        [
            resonators(friction_hz, friction_width_hz)[:, None],
            resonators(np.full(frames, 10_500.0), np.full(frames, 6500.0))[:, None],
        ],
        1,
    )
    # who sings softly also lets go of a T softly
    let_through = singer.friction * friction * (0.35 + 0.65 * np.minimum(effort / 0.7, 1))
    hiss = filter_while_moving(hiss_sections, noise * to_samples(let_through), friction > 1e-4)
    hiss = signal.sosfilt(high_pass(500, 2), hiss)
    # a resonator with unit gain at 0 Hz peaks at about centre over width
    hiss /= to_samples(np.maximum(friction_hz / friction_width_hz, 1.0))
    return mouth / reference + air + 1.7 * hiss


def breathe_in(seconds: float, seed: int) -> np.ndarray:
    """A breath taken through an open mouth, peak around 1."""
    length = int(seconds * CONTROL_HZ) * CONTROL_SAMPLES
    noise = random_stream(seed).standard_normal(length)
    shape = np.sin(np.pi * np.linspace(0, 1, length) ** 1.6) ** 1.5
    air = signal.sosfilt(resonators(np.array([1500.0, 2700.0]), np.array([500.0, 700.0])), noise)
    air = air / np.std(air) + 0.5 * signal.sosfilt(high_pass(3500), noise)
    sound = signal.sosfilt(high_pass(400), air * shape)
    return sound / np.max(np.abs(sound))
