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


def kick(velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """A bass drum: two modes of a head with falling pitch, and the beater's slap."""
    length = int(0.55 * RATE_HZ)
    head = swept_tone(95 + 75 * velocity, 53, 0.022, length) * decay(length, 0.125)
    head += 0.30 * velocity * swept_tone(240, 92, 0.012, length) * decay(length, 0.045)
    rise = 1 - decay(length, 0.0007)
    slap = signal.sosfilt(band(1800, 6500), stream.standard_normal(length)) * decay(length, 0.0035)
    shell = signal.sosfilt(band(160, 420), stream.standard_normal(length)) * decay(length, 0.03)
    return velocity * (head * rise + (0.35 + 0.6 * velocity) * slap + 0.25 * shell)


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


def hat(velocity: float, ring_s: float, stream: np.random.RandomState) -> np.ndarray:
    """Two hi-hat cymbals: many plate modes, out of tune, and the hiss of the edges; `ring_s` is short when shut."""
    length = int(min(8 * ring_s + 0.05, 0.9) * RATE_HZ)
    seconds = np.arange(length) / RATE_HZ
    plates = random_stream(77)  # the same cymbals at every stroke
    modes_hz = np.sort(plates.uniform(3100, 15500, 34))
    metal = np.zeros(length)
    for hz in modes_hz:
        loudness = plates.uniform(0.3, 1.0) * (1 + 0.25 * stream.standard_normal())
        metal += (
            loudness
            * np.sin(2 * np.pi * hz * seconds + stream.uniform(0, 6.28))
            * decay(length, ring_s * plates.uniform(0.5, 1.3))
        )
    edge = signal.sosfilt(band(5500, 16000, 1), stream.standard_normal(length)) * decay(length, ring_s * 0.8)
    tick = signal.sosfilt(band(2500, 9000, 1), stream.standard_normal(length)) * decay(length, 0.0025)
    sound = (0.11 * metal + 0.8 * edge) * (1 - decay(length, 0.0008)) + 1.1 * velocity * tick
    return velocity * signal.sosfilt(high_pass(2200), sound) * np.minimum(1, (length - np.arange(length)) / 480)


def string(
    note: float,
    seconds: float,
    velocity: float,
    pluck_at: float,
    ring_s: float,
    damping: float,
    touch_s: float,
    slope_hz: float,
    stream: np.random.RandomState,
) -> np.ndarray:
    """A plucked string: one pulse goes round a delay line that loses a little treble on every turn.

    `pluck_at` is the place along the string (0 to 0.5), `ring_s` the time to fall by 60 dB, `damping` the treble loss
    of a turn (0 to 0.25), `touch_s` how long the finger or pick takes to let go. A string pulled aside and let go has
    partials that fall 6 dB an octave; here they do so above `slope_hz`. After Karplus and Strong 1983, with the pick
    position and the fine tuning of Jaffe and Smith 1983 (both Computer Music Journal 7(2); from memory).
    """
    hz = note_hz(note)
    length = int(seconds * RATE_HZ)
    # the loss filter [d, 1-2d, d] delays by one sample, the fine tuning by 1 to 2
    around = RATE_HZ / hz - 1.0
    whole = int(np.floor(around)) - 1
    part = around - whole
    points = np.arange(4)
    tuning = np.array([np.prod([(part - m) / (k - m) for m in points if m != k]) for k in points])
    taps = np.convolve([damping, 1 - 2 * damping, damping], tuning) * 10 ** (-3 / (hz * ring_s))
    touch = max(3, int(touch_s * RATE_HZ))
    pulse = np.zeros(length)
    pulse[:touch] = np.hanning(touch)
    grit = stream.standard_normal(whole) * 0.10 * velocity * np.hanning(whole)
    pulse[:whole] += grit[: len(pulse[:whole])] / 3
    place = max(1, int(pluck_at * RATE_HZ / hz))
    pulse[place:] -= pulse[:-place].copy()
    pulse = signal.lfilter(*signal.butter(1, slope_hz, fs=RATE_HZ), pulse)
    wave = np.zeros(length + whole + 6)
    wave[whole + 6 :] = pulse
    # one turn of the string at a time: the turn depends only on the turn before it
    for begin in range(whole + 6, len(wave), whole):
        end = min(begin + whole, len(wave))
        wave[begin:end] += np.convolve(wave[begin - whole - 5 : end - whole], taps, "valid")
    return velocity * wave[whole + 6 :] / np.max(np.abs(wave))


def let_go(sound: np.ndarray, seconds: float, damp_s: float) -> np.ndarray:
    """Damp a sounding string with the hand after `seconds`."""
    start = min(int(seconds * RATE_HZ), len(sound))
    damped = sound.copy()
    damped[start:] *= decay(len(sound) - start, damp_s)
    tail = min(480, len(sound))
    damped[-tail:] *= np.linspace(1, 0, tail)
    return damped


def guitar(note: float, held_s: float, velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """One string of a steel-strung guitar, in its two planes of swing, one of which dies sooner and a hair sharp."""
    seconds = min(held_s + 0.25, 2.6)
    at = 0.16 + 0.03 * stream.standard_normal()
    at = float(np.clip(at, 0.08, 0.25))
    damping = 0.015 + 0.03 * (1 - velocity)
    ring_s = 4.2 * (220 / note_hz(note)) ** 0.35
    touch_s = 0.00022 + 0.0004 * (1 - velocity)
    across = string(note, seconds, velocity, at, ring_s, damping, touch_s, 1000.0, stream)
    down = string(note + 0.012, seconds, velocity, at * 1.07, ring_s * 0.35, damping, touch_s, 1000.0, stream)
    scrape = signal.sosfilt(band(2500, 8000), stream.standard_normal(len(across))) * decay(len(across), 0.004)
    return let_go(0.6 * across + 0.5 * down + 0.05 * velocity * scrape, held_s, 0.05)


def bass(note: float, held_s: float, velocity: float, stream: np.random.RandomState) -> np.ndarray:
    """An electric bass played with a fingertip, straight from its pickup."""
    seconds = held_s + 0.2
    wave = string(note, seconds, velocity, 0.21, 6.0, 0.16 - 0.08 * velocity, 0.0022 - 0.0012 * velocity, 30.0, stream)
    # the pickup hears the string's speed under the pickup: a comb, then its own resonance near 3 kHz
    place = int(0.24 * RATE_HZ / note_hz(note))
    heard = wave - 0.85 * np.concatenate([np.zeros(place), wave[:-place]])
    heard = signal.sosfilt(low_pass(3000), heard)
    knock = signal.sosfilt(band(90, 700), stream.standard_normal(len(wave))) * decay(len(wave), 0.009)
    return let_go(heard + 0.25 * velocity * knock, held_s, 0.028)


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
    for hz in np.exp(plates.uniform(np.log(250), np.log(8000), 90)):
        modes.append((hz, 0.011 * (1000 / hz) ** 0.5, plates.standard_normal() * (hz / 400) ** 0.1))
    ears = random_stream(91 + side)
    response = np.zeros(length)
    for hz, ring_s, level in modes:
        response += level * ears.uniform(0.5, 1.0) * np.sin(2 * np.pi * hz * seconds) * decay(length, ring_s)
    return response / np.sqrt(np.sum(response**2))
