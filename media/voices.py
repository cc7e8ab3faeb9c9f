"""A voice from formulas: a glottal pulse and breath noise through moving formants, and how it sings."""

from dataclasses import dataclass, replace

import numpy as np
from recording import RATE_HZ, band, high_pass, low_pass, random_stream
from scipy import signal

CONTROL_SAMPLES = 24
CONTROL_HZ = RATE_HZ // CONTROL_SAMPLES


@dataclass(frozen=True)
class Target:
    """Where the mouth wants to be during one stretch of sound; levels are amplitudes against a plain vowel."""

    formants_hz: tuple[float, float, float]
    seconds: float
    voicing: float = 1.0
    aspiration: float = 0.0
    friction: float = 0.0
    friction_hz: float = 5000.0
    friction_width_hz: float = 2000.0
    nasal: float = 0.0


@dataclass(frozen=True)
class Singer:
    """One person's instrument: size of the vocal tract, steadiness, breathiness, vibrato to either side, hiss.

    `air_db` is the turbulence above 3 kHz that the open folds let through, against a plain vowel.
    """

    formant_scale: float
    jitter: float = 0.006
    shimmer: float = 0.04
    breathiness: float = 1.0
    vibrato_hz: float = 5.6
    vibrato_cents: float = 46.0
    air_db: float = -35.0
    friction: float = 1.0


# Vowel formants: averages of men's voices, Peterson and Barney 1952, table II (from memory); the consonants are usual
# textbook values for the places of articulation (common practice).
VOWELS = {
    "IY": (270, 2290, 3010),
    "IH": (390, 1990, 2550),
    "EH": (530, 1840, 2480),
    "AE": (660, 1720, 2410),
    "AA": (730, 1090, 2440),
    "AO": (570, 840, 2410),
    "UH": (440, 1020, 2240),
    "UW": (300, 870, 2240),
    "AH": (640, 1190, 2390),
    "ER": (490, 1350, 1690),
    "AX": (500, 1450, 2450),
}
GLIDES = {"AY": ("AA", "IH"), "EY": ("EH", "IY"), "OW": ("AO", "UW"), "AW": ("AA", "UH"), "OY": ("AO", "IH")}
CONSONANTS = {
    "L": Target((330, 1050, 2800), 0.065, 0.55),
    "R": Target((330, 1060, 1400), 0.065, 0.6),
    "W": Target((290, 610, 2150), 0.065, 0.5),
    "Y": Target((260, 2170, 3020), 0.06, 0.6),
    "M": Target((270, 1000, 2200), 0.07, 0.6, nasal=1.0),
    "N": Target((270, 1600, 2600), 0.06, 0.6, nasal=1.0),
    "NG": Target((270, 2000, 2700), 0.07, 0.6, nasal=1.0),
    "F": Target((340, 1100, 2080), 0.09, 0.0, 0.02, 0.07, 7000, 6000),
    "V": Target((250, 1100, 2080), 0.06, 0.45, 0.01, 0.018, 7000, 6000),
    "TH": Target((320, 1290, 2540), 0.085, 0.0, 0.03, 0.06, 6500, 4500),
    "DH": Target((270, 1290, 2540), 0.045, 0.45, 0.01, 0.016, 6500, 4500),
    "S": Target((320, 1500, 2600), 0.10, 0.0, 0.02, 0.24, 6300, 2200),
    "Z": Target((260, 1500, 2600), 0.075, 0.3, 0.01, 0.17, 6300, 2200),
    "SH": Target((300, 1840, 2750), 0.10, 0.0, 0.02, 0.32, 3200, 1300),
    "HH": Target((500, 1450, 2450), 0.06, 0.0, 0.12),
}
# place, voiced: closure target, burst centre and width
STOPS = {
    "P": ((300, 850, 2150), 0.0, 900, 1200),
    "B": ((250, 850, 2150), 0.12, 900, 1200),
    "T": ((300, 1750, 2700), 0.0, 4500, 2500),
    "D": ((250, 1750, 2700), 0.12, 4200, 2500),
    "K": ((300, 1900, 2400), 0.0, 1900, 700),
    "G": ((250, 1900, 2400), 0.12, 1900, 700),
}
SILENCE = Target((500, 1450, 2450), 0.1, 0.0)


def is_vowel(symbol: str) -> bool:
    """Whether a symbol, with or without its stress digit, is the heart of a syllable."""
    return symbol.rstrip("012") in VOWELS or symbol.rstrip("012") in GLIDES


def vowel_targets(symbol: str, seconds: float, hold: float) -> list[Target]:
    """A vowel as one target, or a gliding one as two; `hold` is the share of time spent on the first."""
    if symbol in GLIDES:
        first, second = GLIDES[symbol]
        return [Target(VOWELS[first], seconds * hold), Target(VOWELS[second], seconds * (1 - hold))]
    return [Target(VOWELS[symbol], seconds)]


def neighbour_formants(symbol: str | None) -> tuple[float, float, float] | None:
    """Where the mouth is during the sound before or after, if that sound has a shape of its own."""
    if symbol is None:
        return None
    if is_vowel(symbol):
        return vowel_targets(symbol.rstrip("012"), 1.0, 0.5)[0].formants_hz
    return CONSONANTS[symbol].formants_hz if symbol in ("L", "R", "W", "Y") else None


# Sounds with round lips, which lower the hiss of the consonant beside them.
ROUND = ("OW", "UW", "AO", "UH", "W", "OY")


def consonant_targets(symbol: str, before: str | None, after: str | None) -> list[Target]:
    """A consonant as one target or two, or a stop as closure, burst and breath; neighbours lend their formants."""
    if symbol == "HH":
        return [replace(CONSONANTS["HH"], formants_hz=neighbour_formants(after) or VOWELS["AX"])]
    rounded = (after or before or "").rstrip("012") in ROUND
    if symbol in CONSONANTS:
        own = CONSONANTS[symbol]
        if own.friction < 0.05:
            return [own]
        # a hiss swells and fades
        shaped = replace(own, friction_hz=own.friction_hz * (0.86 if rounded else 1.0))
        parts = ((0.25, 0.55), (0.5, 1.0), (0.25, 0.6))
        return [replace(shaped, seconds=own.seconds * time, friction=own.friction * loud) for time, loud in parts]
    place, bar, burst_hz, burst_width_hz = STOPS[symbol]
    opened = after is not None and (is_vowel(after) or after in "LRWY")
    if symbol in "KG":
        # the back of the tongue closes further forward before a front vowel, so the burst follows the next sound
        beside = neighbour_formants(after) or neighbour_formants(before) or place
        second_hz = min(max(1.1 * beside[1], 1250), 2350)
        place = (place[0], second_hz, max(second_hz + 250, 2150))
        burst_hz = second_hz + 100
    closure = Target(place, 0.055 if bar else 0.065, bar)
    burst = Target(
        place,
        0.008 if bar else 0.012,
        0.0,
        0.02,
        (0.25 if bar else 0.3) * (1.0 if opened else 0.5),
        burst_hz,
        burst_width_hz,
    )
    targets = [closure, burst]
    if not bar:
        shape = neighbour_formants(after) or place
        soft = before == "S" or not opened
        targets.append(
            Target(shape, 0.015 if soft else 0.055, 0.0, 0.05 if soft else 0.12, 0.03, burst_hz, 2 * burst_width_hz)
        )
    return targets


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


def frame_counts(seconds: list[float]) -> np.ndarray:
    """How many control frames each of some stretches has, so that what rounding leaves over is not lost."""
    ends = np.round(np.cumsum(seconds) * CONTROL_HZ).astype(int)
    return np.diff(np.concatenate([[0], ends]))


def movement(targets: list[Target], glide_s: float) -> Movement:
    """Targets in sequence as smooth curves; `glide_s` is how slowly the mouth moves."""
    counts = frame_counts([t.seconds for t in targets])

    def track(values: list[float], seconds: float) -> np.ndarray:
        return smooth(np.repeat(np.array(values, float), counts), seconds)

    return Movement(
        f1_hz=track([t.formants_hz[0] for t in targets], glide_s),
        f2_hz=track([t.formants_hz[1] for t in targets], glide_s),
        f3_hz=track([t.formants_hz[2] for t in targets], glide_s),
        voicing=track([t.voicing for t in targets], 0.028),
        aspiration=track([t.aspiration for t in targets], 0.022),
        friction=track([t.friction for t in targets], 0.012),
        nasal=track([t.nasal for t in targets], 0.03),
        friction_hz=track([t.friction_hz for t in targets], 0.01),
        friction_width_hz=track([t.friction_width_hz for t in targets], 0.01),
    )


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
    higher = np.array([3400.0, 4300.0]) * singer.formant_scale
    hz = np.stack([f1, f2, f3, np.full(frames, higher[0]), np.full(frames, higher[1])], 1)
    width = np.stack(
        [(70 + 0.02 * f1) * wide, 85 + 0.02 * f2, 90 + 0.025 * f3, np.full(frames, 180.0), np.full(frames, 250.0)], 1
    )
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


@dataclass(frozen=True)
class Syllable:
    """One sung syllable: when its vowel starts and stops (seconds), its note (MIDI number) and its sounds."""

    start_s: float
    end_s: float
    note: float
    sounds: str


def sing(syllables: list[Syllable], effort: float, singer: Singer, seed: int) -> tuple[np.ndarray, float]:
    """Sing a phrase; returns samples and the second at which they start (consonants come before the beat)."""
    stream = random_stream(seed + 10)
    targets: list[Target] = []
    notes: list[tuple[float, float, float]] = []
    begin = None
    clock = 0.0
    for index, syllable in enumerate(syllables):
        sounds = syllable.sounds.split()
        heart = next(i for i, s in enumerate(sounds) if is_vowel(s))
        onset = [
            t
            for i, s in enumerate(sounds[:heart])
            for t in consonant_targets(s, sounds[i - 1] if i else None, sounds[i + 1])
        ]
        coda = [
            t
            for i, s in enumerate(sounds[heart + 1 :])
            for t in consonant_targets(
                s, sounds[heart + i], sounds[heart + i + 2] if heart + i + 2 < len(sounds) else None
            )
        ]
        start = syllable.start_s + 0.012 * stream.standard_normal()
        lead_in = sum(t.seconds for t in onset)
        if begin is None:
            begin = start - lead_in - 0.03
            clock = begin
            targets.append(replace(SILENCE, formants_hz=onset[0].formants_hz if onset else VOWELS["AX"], seconds=0.03))
            clock += 0.03
        gap = start - lead_in - clock
        if gap > 0.002:
            targets.append(replace(SILENCE, formants_hz=targets[-1].formants_hz, seconds=gap))
            clock += gap
        targets += onset
        clock += lead_in
        following = syllables[index + 1] if index + 1 < len(syllables) else None
        limit = (
            following.start_s
            - 0.02
            - sum(
                t.seconds
                for i, s in enumerate(following.sounds.split())
                if i < next(j for j, x in enumerate(following.sounds.split()) if is_vowel(x))
                for t in consonant_targets(s, None, following.sounds.split()[i + 1])
            )
            if following
            else np.inf
        )
        tail = sum(t.seconds for t in coda)
        length = max(0.06, min(syllable.end_s, limit) - tail - clock)
        notes.append((clock - lead_in, clock + length + tail, syllable.note))
        targets += vowel_targets(sounds[heart], length, 0.72)
        targets += coda
        clock += length + tail
    targets.append(replace(SILENCE, formants_hz=targets[-1].formants_hz, seconds=0.07))
    assert begin is not None
    total = sum(t.seconds for t in targets)
    frames = int(total * CONTROL_HZ) + 2
    seconds = begin + np.arange(frames) / CONTROL_HZ

    pitch = np.full(frames, notes[0][2], float)
    vibrato = np.zeros(frames)
    for start, end, note in notes:
        pitch[seconds >= start] = note
        held = end - start
        if held > 0.35:
            inside = (seconds >= start) & (seconds < end)
            rise = np.clip((seconds - start - 0.14) / 0.22, 0, 1)
            vibrato += np.where(inside, rise, 0.0)
    # slides into the first note from below, and small wandering that no singer is free of
    shouted = effort > 0.9
    pitch -= (4.0 if shouted else 0.9) * np.exp(-np.maximum(seconds - seconds[0] - 0.1, 0) / 0.06)
    if shouted:
        # a shout comes from further below, falls off at the end and trembles less
        pitch -= 6.0 * np.clip((seconds - notes[-1][1] + 0.22) / 0.22, 0, 1) ** 1.5
        vibrato *= 0.4
    drift = 0.07 * slow_wander(frames, 2.0, stream)
    wobble = singer.vibrato_hz * (1 + 0.03 * stream.standard_normal())
    vibrato = (
        smooth(vibrato, 0.1)
        * singer.vibrato_cents
        / 100
        * np.sin(2 * np.pi * wobble * (seconds - seconds[0]) + 6.28 * stream.random_sample())
    )
    pitch = smooth(pitch, 0.12) + vibrato + drift
    f0_hz = 440.0 * 2 ** ((pitch - 69) / 12)
    arc = np.sin(np.pi * np.clip((seconds - seconds[0]) / total, 0, 1)) ** 0.5
    push = np.clip(effort * (0.75 + 0.25 * arc) + 0.04 * vibrato, 0, 1)
    swell = np.zeros(frames)
    for start, end, _ in notes:
        inside = np.clip((seconds - start) / (end - start), 0, 1)
        swell = np.where(
            (seconds >= start) & (seconds <= end),
            2.5 * np.sin(np.pi * inside**0.7) - 2.0 * inside + 0.8 * stream.standard_normal(),
            swell,
        )
    swell += 0.8 * slow_wander(frames, 4.0, stream) + 0.6 * vibrato / 0.3
    # the last note dies away as the air runs out
    swell -= 5.0 * np.clip((seconds - notes[-1][1] + 0.35) / 0.35, 0, 1) ** 2
    loudness = 10 ** (smooth(swell, 0.07) / 20)
    sung = voice(movement(targets, 0.075), f0_hz, push, singer, seed)
    count = len(sung) // CONTROL_SAMPLES
    return sung * np.interp(np.arange(len(sung)) / CONTROL_SAMPLES, np.arange(count), loudness[:count]), begin


def breathe_in(seconds: float, seed: int) -> np.ndarray:
    """A breath taken through an open mouth, peak around 1."""
    length = int(seconds * CONTROL_HZ) * CONTROL_SAMPLES
    noise = random_stream(seed).standard_normal(length)
    shape = np.sin(np.pi * np.linspace(0, 1, length) ** 1.6) ** 1.5
    air = signal.sosfilt(resonators(np.array([1500.0, 2700.0]), np.array([500.0, 700.0])), noise)
    air = air / np.std(air) + 0.5 * signal.sosfilt(high_pass(3500), noise)
    sound = signal.sosfilt(high_pass(400), air * shape)
    return sound / np.max(np.abs(sound))
