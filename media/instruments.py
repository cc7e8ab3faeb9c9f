"""Drums, strings and a synthesiser from formulas, one function for each single hit or note."""

import numpy as np
from recording import RATE_HZ, band, decay, high_pass, low_pass, random_stream
from scipy import signal


def note_hz(note: float) -> float:
    """Frequency of a MIDI note number, 69 being 440 Hz."""
    return float(440.0 * 2 ** ((note - 69) / 12))


def swept_tone(start_hz: float, end_hz: float, fall_s: float, length: int) -> np.ndarray:
    """A sine whose pitch falls from start to end, as a slack drum head does after the blow."""
    hz = end_hz + (start_hz - end_hz) * decay(length, fall_s)
    return np.sin(2 * np.pi * np.cumsum(hz) / RATE_HZ)


def ringing(hz: np.ndarray, levels: np.ndarray, ring_s: np.ndarray, phases: np.ndarray, length: int) -> np.ndarray:
    """Sum of sines that die away, each with its frequency, its level, its time to fall by 1/e and its first phase."""
    row = 256
    turn = 2j * np.pi * hz / RATE_HZ - 1 / (RATE_HZ * ring_s)
    within = np.exp(np.outer(turn, np.arange(row)))
    rows = (levels * np.exp(1j * phases)) * np.exp(np.outer(np.arange(-(-length // row)) * row, turn))
    return (rows.real @ within.imag + rows.imag @ within.real).ravel()[:length]


# The modes of a bass drum with two heads at one tension: ratios to the lowest. (0,1) is split in two by the air
# between the heads, (1,1) too; then (2,1) to (5,1). Measured on one drum: 50, 118, 86, 93, 136, 182, 225, 273 Hz
# (Fletcher and Rossing, The Physics of Musical Instruments; second hand). Level of a blow near the centre, time to
# fall by 1/e at the end, with a cushion against the heads.
HEAD_MODES = (
    (1.0, 1.0, 0.056),
    (2.36, 0.58, 0.060),
    (1.72, 0.24, 0.070),
    (1.86, 0.18, 0.060),
    (2.72, 0.14, 0.042),
    (3.64, 0.08, 0.034),
    (4.50, 0.06, 0.028),
    (5.46, 0.05, 0.024),
)


def muffled(length: int, time_constant_s: float, swing: float) -> np.ndarray:
    """How a head dies with a cushion against it: a wide swing throws the cushion off and lasts, a small one is damped.

    The rate grows from 1 - `swing` of its last value to that value as the head comes to rest: of a' = -(a/T)(1 - s a)
    the solution, with a = 1 at first (derived; that a cushion damps so is an assumption).
    """
    return 1 / (swing + (1 - swing) * np.exp(np.arange(length) / (RATE_HZ * time_constant_s)))


def kick(velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """A bass drum: the modes of two heads, the felt's thud and the click of the beater on the head's patch.

    No two blows are alike: the beater lands a little beside the last place, so the modes weigh otherwise, and a
    blow that is not let go touches the head a second time.
    """
    length = int(0.8 * RATE_HZ)
    tuned_hz = 53 * (1 + 0.006 * stream.standard_normal())
    beside = np.clip(1 + 0.35 * stream.standard_normal(), 0.1, 2.2)  # how far from the centre, 1 as usual
    swing = 0.5 + 0.3 * velocity
    slack_s = 0.026 * (1 + 0.12 * stream.standard_normal())
    head = np.zeros(length)
    for number, (ratio, level, ring_s) in enumerate(HEAD_MODES):
        level *= (1 if number < 2 else beside) * (1 + 0.12 * stream.standard_normal())
        ring_s *= 1 + 0.06 * stream.standard_normal()
        hz = tuned_hz * ratio
        head += level * swept_tone(hz * (1.15 + 0.75 * velocity), hz, slack_s, length) * muffled(length, ring_s, swing)
    head *= 1 - decay(length, 0.0009)
    seconds = np.arange(length) / RATE_HZ
    contact_s = 0.0045 - 0.002 * velocity
    thud = np.sin(np.pi * np.minimum(seconds / contact_s, 1)) ** 2
    # the patch is a small disc of plastic: a few modes that die at once
    patch_hz = np.array([1350.0, 2150.0, 2900.0, 3850.0, 5200.0, 6900.0]) * (1 + 0.03 * stream.standard_normal(6))
    patch_levels = np.array([0.5, 0.8, 1.0, 0.8, 0.5, 0.3]) * (1 + 0.22 * stream.standard_normal(6))
    patch = ringing(patch_hz, patch_levels, 3.0 / patch_hz + 0.0012, stream.uniform(0, 6.28, 6), length)
    slap = signal.sosfilt(band(1500, 9000, 1), stream.standard_normal(length)) * decay(length, 0.0030)
    bright = (0.25 + 0.75 * velocity) * (1 + 0.07 * stream.standard_normal())
    click = bright * (0.155 * patch + 0.205 * slap)
    again = int((0.021 + 0.008 * stream.uniform()) * RATE_HZ)
    click[again:] += (0.14 * stream.uniform() ** 2) * click[:-again]
    shell = signal.sosfilt(band(160, 520), stream.standard_normal(length)) * decay(length, 0.03)
    blow = 0.90 * head + 0.30 * thud + click + 0.28 * shell
    # the microphone hears the front head, which the air pushes outward
    return -(velocity**1.12) * blow * np.minimum(1, (length - np.arange(length)) / 2400)


# A round membrane's modes that a stick off centre wakes: frequency against the lowest (ratios of the zeros of the
# Bessel functions; from memory), level, ring time in seconds.
MEMBRANE_MODES = (
    (1.0, 1.0, 0.085),
    (1.594, 0.8, 0.06),
    (2.136, 0.45, 0.04),
    (2.296, 0.4, 0.035),
    (2.653, 0.3, 0.03),
    (2.918, 0.25, 0.025),
)


def snare(velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """A snare drum: a membrane's modes, the stick's crack and the wires that rattle after it."""
    length = int(0.42 * RATE_HZ)
    tuned_hz = 178 * (1 + 0.004 * stream.standard_normal())
    head = np.zeros(length)
    for ratio, level, ring_s in MEMBRANE_MODES:
        level *= 1 + 0.15 * stream.standard_normal()
        hz = tuned_hz * ratio
        head += level * swept_tone(hz * (1 + 0.12 * velocity), hz, 0.012, length) * decay(length, ring_s)
    head *= 1 - decay(length, 0.0004)
    crack = signal.sosfilt(band(900, 9000, 1), stream.standard_normal(length)) * decay(length, 0.0028)
    rattle = signal.sosfilt(band(2200, 9500, 1), stream.standard_normal(length))
    wires = rattle * (1 - decay(length, 0.0025)) * (0.75 * decay(length, 0.028) + 0.25 * decay(length, 0.085))
    return velocity * (0.55 * head + (0.7 + 1.1 * velocity) * crack + (0.9 + 0.3 * velocity) * wires)


def plate_modes(count: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Frequencies, levels and relative ring times of a pair of cymbals; a plate has as many modes in each kilohertz."""
    plates = random_stream(seed)  # the same cymbals at every stroke
    hz = np.sort(plates.uniform(320, 18_500, count))
    levels = (hz / 7000) ** np.where(hz < 7000, 1.15, -0.9) * plates.uniform(0.5, 1.2, count)
    return (
        hz,
        levels,
        plates.uniform(0.7, 1.15, count) * np.minimum(1, hz / 1800) * (7000 / np.maximum(hz, 7000)) ** 0.6,
    )


def hat(velocity: float, ring_s: float, stream: np.random.RandomState) -> np.ndarray:
    """Two hi-hat cymbals: hundreds of plate modes, the hiss of edges that chatter, a tick; `ring_s` is short when shut.

    The stick lands elsewhere and the foot presses otherwise at each stroke: modes weigh, sit and last differently.
    """
    length = int(min(8 * ring_s + 0.05, 0.9) * RATE_HZ)
    hz, levels, lasting = plate_modes(480, 77)
    pressed = np.exp(0.16 * stream.standard_normal())
    hz = hz * (1 + 0.006 * stream.standard_normal() + 0.003 * stream.standard_normal(len(hz)))
    woken = levels * np.sqrt(-np.log(stream.uniform(1e-3, 1, len(hz)))) * (hz / 7000) ** (0.7 * (velocity - 0.5))
    ring = ringing(hz, woken, ring_s * pressed * lasting, stream.uniform(0, 6.28, len(hz)), length)
    hiss = signal.sosfilt(band(4200, 17000, 1), stream.standard_normal(length)) * decay(length, 0.8 * ring_s * pressed)
    # the edges meet again some milliseconds later, each time more softly
    chatter = np.ones(length)
    at_s = 0.0
    for _ in range(5):
        at_s += stream.uniform(0.003, 0.011)
        at = int(at_s * RATE_HZ)
        chatter[at:] += stream.uniform(0.2, 1.1) * decay(length - at, 0.002)
    tick = signal.sosfilt(band(1800, 10000, 1), stream.standard_normal(length)) * decay(length, 0.0022)
    sound = (0.035 * ring + 0.5 * hiss * chatter) * (1 - decay(length, 0.0006)) + 0.98 * velocity * tick
    return velocity * signal.sosfilt(high_pass(350), sound) * np.minimum(1, (length - np.arange(length)) / 480)


def string(
    note: float,
    seconds: float,
    pluck_at: float,
    ring_s: float,
    treble_hz: float,
    touch_s: float,
    slope_hz: float,
    stiffness: float,
    heard_at: float | None = None,
) -> np.ndarray:
    """A plucked string as the sum of its partials, peak 1.

    `pluck_at` is the place along the string (0 to 0.5), `ring_s` the time to fall by 60 dB, which partials at
    `treble_hz` do in half that time, `touch_s` how long the finger or pick takes to let go. A string pulled aside and
    let go has partials that fall 6 dB an octave; here they do so above `slope_hz`. A stiff string's partials are sharp:
    n f0 sqrt(1 + B n^2), B being the `stiffness` (derived from the bending of a bar). `heard_at` is the place of a
    pickup.
    """
    number = np.arange(1, int(14_000 / note_hz(note)) + 1)
    hz = number * note_hz(note) * np.sqrt((1 + stiffness * number**2) / (1 + stiffness))
    number, hz = number[hz < 16_000], hz[hz < 16_000]
    levels = np.sin(np.pi * number * pluck_at) / np.sqrt(1 + (hz / slope_hz) ** 2) * np.exp(-0.8 * (hz * touch_s) ** 2)
    if heard_at is not None:
        levels *= np.sin(np.pi * number * heard_at)
    ring = ring_s / 6.9 / (1 + (hz / treble_hz) ** 1.5)
    wave = ringing(hz, levels, ring, np.zeros(len(hz)), int(seconds * RATE_HZ))
    return wave / np.max(np.abs(wave))


def burst(low_hz: float, high_hz: float, fall_s: float, length: int, stream: np.random.RandomState) -> np.ndarray:
    """A short noise of about unit size, as fingers, picks and frets make it."""
    sections = band(low_hz, high_hz, 1)
    noise = signal.sosfilt(sections, stream.standard_normal(length))
    return noise / np.std(noise) * decay(length, fall_s)


def squeak(seconds: float, from_hz: float, to_hz: float, stream: np.random.RandomState) -> np.ndarray:
    """A finger that slides along a wound string: each winding ticks, and the ticks run with the finger's speed."""
    length = int(seconds * RATE_HZ)
    way = np.linspace(0, 1, length)
    speed = from_hz + (to_hz - from_hz) * way**1.3 + 60 * np.sin(2 * np.pi * 9 * seconds * way)
    ticks = np.sin(2 * np.pi * np.cumsum(speed) / RATE_HZ) + 0.4 * np.sin(4 * np.pi * np.cumsum(speed) / RATE_HZ)
    rough = signal.sosfilt(band(1200, 7000, 2), stream.standard_normal(length))
    return (0.5 * ticks * (1 + rough) + 0.8 * rough) * np.sin(np.pi * way**0.7) ** 2


def let_go(sound: np.ndarray, seconds: float, damp_s: float) -> np.ndarray:
    """Damp a sounding string with the hand after `seconds`."""
    start = min(int(seconds * RATE_HZ), len(sound))
    damped = sound.copy()
    damped[start:] *= decay(len(sound) - start, damp_s)
    tail = min(480, len(sound))
    damped[-tail:] *= np.linspace(1, 0, tail)
    return damped


# How long before the string is let go the fingertip or the pick lies on it.
TOUCH_SAMPLES = 480


def guitar(note: float, held_s: float, velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """One string of a steel-strung guitar, in its two planes of swing, one of which dies sooner and a hair sharp.

    It begins `TOUCH_SAMPLES` before the string sounds: the pick lands on it, then slips off with a click.
    """
    seconds = min(held_s + 0.25, 2.6)
    at = 0.16 + 0.03 * stream.standard_normal()
    at = float(np.clip(at, 0.08, 0.25))
    treble_hz = 1000.0  # of the string, however hard it is struck: the tenth partial dies some four times as fast
    ring_s = 4.8 * (220 / note_hz(note)) ** 0.35
    touch_s = 0.00009 + 0.00012 * (1 - velocity)
    across = string(note, seconds, at, ring_s, treble_hz, touch_s, 1300.0, 4e-5)
    down = string(note + 0.012, seconds, at * 1.07, ring_s * 0.45, treble_hz, touch_s, 1300.0, 4e-5)
    sound = np.zeros(TOUCH_SAMPLES + len(across))
    sound[TOUCH_SAMPLES:] += 0.6 * across + 0.5 * down
    landing = 0.010 * burst(1500, 9000, 0.0015, len(sound), stream)
    slip = 0.042 * burst(3000, 13_000, 0.0022, len(sound) - TOUCH_SAMPLES, stream)
    windings = 0.03 * burst(1400, 5200, 0.009, len(sound) - TOUCH_SAMPLES, stream) if note < 56 else 0.0
    sound += landing * stream.uniform(0.3, 1.0)
    sound[TOUCH_SAMPLES:] += slip * stream.uniform(0.5, 1.2) + windings
    return velocity * let_go(sound, held_s + TOUCH_SAMPLES / RATE_HZ, 0.05)


def bass(note: float, held_s: float, velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """An electric bass played with a fingertip, straight from its pickup.

    It begins `TOUCH_SAMPLES` before the string sounds: the fingertip rubs over the windings. A hard pluck throws the
    string against the frets, and the finger that lets go at the end is heard too.
    """
    seconds = held_s + 0.2
    at = float(np.clip(0.21 + 0.012 * stream.standard_normal(), 0.17, 0.25))
    treble_hz = 420 + 620 * velocity
    touch_s = 0.0011 - 0.0007 * velocity
    wave = string(note, seconds, at, 3.0, treble_hz, touch_s, 50.0, 2e-4, heard_at=0.24)
    length = len(wave) + TOUCH_SAMPLES
    sound = np.zeros(length)
    sound[TOUCH_SAMPLES:] += wave
    rub = 0.02 * burst(300, 2600, 0.5, length, stream) * np.maximum(0, 1 - np.arange(length) / TOUCH_SAMPLES)
    knock = 0.19 * burst(90, 700, 0.009, len(wave), stream)
    frets = 0.075 * velocity**2 * burst(1100, 4800, 0.006, len(wave), stream)
    rattle = 0.012 * max(velocity - 0.7, 0) / 0.3 * burst(900, 3600, 0.05, len(wave), stream)
    sound += rub
    sound[TOUCH_SAMPLES:] += knock + frets + rattle * np.abs(wave)
    sound = let_go(sound, held_s + TOUCH_SAMPLES / RATE_HZ, 0.028)
    lift = int(held_s * RATE_HZ)
    sound[lift:] += 0.014 * stream.uniform(0.4, 1.2) * burst(500, 3200, 0.012, length - lift, stream)
    # the pickup's own resonance and its cable
    return -velocity * signal.sosfilt(low_pass(3800), sound)


def saw(hz: np.ndarray, phase: float) -> np.ndarray:
    """A sawtooth with weak mirror tones: a differentiated parabola (Välimäki 2005, IEEE Sig. Proc. Lett. 12(3))."""
    place = (np.cumsum(hz) / RATE_HZ + phase) % 1.0
    parabola = (2 * place - 1) ** 2
    return np.diff(parabola, prepend=parabola[:1]) * RATE_HZ / (4 * hz)


def pad(notes: tuple[float, ...], held_s: float, cut_hz: float, stream: np.random.RandomState) -> np.ndarray:
    """A warm chord in stereo: three detuned sawtooths a note and side, a gentle low-pass, slow start and slow end."""
    rise_s, fall_s = 0.22, 0.45
    length = int((held_s + fall_s) * RATE_HZ)
    sides = np.zeros((length, 2))
    seconds = np.arange(length) / RATE_HZ
    for note in notes:
        for detune_cents in (-7, 0.5, 8):
            share = 0.5 + 0.05 * detune_cents
            drift = 1 + 0.0012 * np.sin(2 * np.pi * stream.uniform(0.2, 0.6) * seconds + stream.uniform(0, 6.28))
            wave = saw(note_hz(note + detune_cents / 100) * drift, stream.uniform())
            sides[:, 0] += np.sqrt(1 - share) * wave
            sides[:, 1] += np.sqrt(share) * wave
    sides = signal.sosfilt(low_pass(cut_hz, 3), sides, axis=0)
    shape = np.minimum(seconds / rise_s, 1.0)
    shape = 0.5 - 0.5 * np.cos(np.pi * shape)
    fall = np.clip((held_s + fall_s - seconds) / fall_s, 0, 1)
    return sides * (shape * (0.5 - 0.5 * np.cos(np.pi * fall)))[:, None]


def guitar_body(side: int) -> np.ndarray:
    """A guitar's wooden body as one of two microphones hears it: modes of air and plates, after one knock."""
    plates = random_stream(90)  # one body for both microphones
    length = int(0.2 * RATE_HZ)
    seconds = np.arange(length) / RATE_HZ
    modes = [(102.0, 0.040, 0.8), (196.0, 0.028, 0.8), (385.0, 0.018, 0.6)]
    for hz in np.exp(plates.uniform(np.log(250), np.log(13_000), 110)):
        modes.append((hz, 0.011 * (1000 / hz) ** 0.5, plates.standard_normal() * (hz / 400) ** 0.1))
    ears = random_stream(91 + side)
    response = np.zeros(length)
    for hz, ring_s, level in modes:
        response += level * ears.uniform(0.5, 1.0) * np.sin(2 * np.pi * hz * seconds) * decay(length, ring_s)
    return response / np.sqrt(np.sum(response**2))
