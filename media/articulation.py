"""What the mouth does, spoken or sung: each sound's shape, length and loudness, and how neighbours shape each other."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from voices import CONTROL_HZ, Movement, smooth

Formants = tuple[float, float, float]


@dataclass(frozen=True)
class Heard:
    """What is heard while the mouth has a shape, as amplitudes against a plain vowel."""

    voicing: float = 1.0
    aspiration: float = 0.0
    friction: float = 0.0
    friction_hz: float = 5000.0
    friction_width_hz: float = 2000.0
    nasal: float = 0.0


@dataclass(frozen=True)
class Sound:
    """One speech sound: its formants (and where they end, if they glide), how long it lasts, what is heard meanwhile.

    `seconds` is how long it is by itself and `least_s` how far it can be shortened. The sound of higher `rank` shapes
    the border between two; it does so by its `place` and reaches `reach_s` into the neighbour. A stop's friction is
    that of its burst.
    """

    formants_hz: Formants
    seconds: float
    least_s: float
    rank: int = 1
    place: str = ""
    reach_s: float = 0.04
    ends_hz: Formants | None = None
    burst_s: float = 0.0
    breath_s: float = 0.0
    heard: Heard = Heard()


# Formants of vowels, liquids and consonants: Klatt 1980, J. Acoust. Soc. Am. 67(3), tables II and III, two of the back
# vowels after Peterson and Barney 1952. Lengths, and how far they can be shortened: Klatt's rules of 1979 as given in
# Allen, Hunnicutt and Klatt 1987. All from memory; the levels are common practice.
VOWELS = {
    "IY": Sound((290, 2170, 2960), 0.155, 0.055),
    "IH": Sound((410, 1850, 2570), 0.135, 0.040),
    "EH": Sound((540, 1720, 2500), 0.150, 0.070),
    "AE": Sound((650, 1680, 2430), 0.230, 0.080),
    "AA": Sound((710, 1130, 2500), 0.240, 0.100),
    "AO": Sound((580, 900, 2500), 0.240, 0.100),
    "UH": Sound((450, 1080, 2350), 0.160, 0.060),
    "UW": Sound((330, 1150, 2200), 0.210, 0.070, ends_hz=(310, 900, 2200)),
    "AH": Sound((620, 1220, 2550), 0.140, 0.060),
    "ER": Sound((470, 1290, 1560), 0.180, 0.080),
    "AX": Sound((500, 1400, 2450), 0.120, 0.040),
    "AY": Sound((680, 1180, 2550), 0.250, 0.150, ends_hz=(380, 1950, 2550)),
    "EY": Sound((480, 1760, 2520), 0.180, 0.100, ends_hz=(320, 2100, 2650)),
    "OW": Sound((540, 1050, 2350), 0.220, 0.080, ends_hz=(400, 820, 2300)),
    "AW": Sound((690, 1250, 2550), 0.260, 0.100, ends_hz=(420, 880, 2350)),
    "OY": Sound((550, 900, 2400), 0.280, 0.150, ends_hz=(370, 1850, 2500)),
}
CONSONANTS = {
    "W": Sound((290, 610, 2150), 0.080, 0.060, 2, "round", 0.07, heard=Heard(0.55)),
    "Y": Sound((260, 2150, 3020), 0.080, 0.040, 2, "palate", 0.07, heard=Heard(0.6)),
    "R": Sound((310, 1080, 1400), 0.080, 0.040, 2, "bunched", 0.065, heard=Heard(0.65)),
    "L": Sound((330, 1050, 2880), 0.080, 0.045, 2, "side", 0.04, heard=Heard(0.6)),
    "M": Sound((480, 1050, 2130), 0.070, 0.060, 4, "lips", 0.04, heard=Heard(0.6, nasal=1.0)),
    "N": Sound((480, 1500, 2550), 0.065, 0.050, 4, "gums", 0.045, heard=Heard(0.6, nasal=1.0)),
    "NG": Sound((480, 2000, 2700), 0.095, 0.060, 4, "velum", 0.055, heard=Heard(0.6, nasal=1.0)),
    "F": Sound((340, 1100, 2080), 0.100, 0.080, 3, "lips", 0.04, heard=Heard(0.0, 0.015, 0.08, 7500, 6500)),
    "V": Sound((220, 1100, 2080), 0.060, 0.040, 3, "lips", 0.04, heard=Heard(0.5, 0.01, 0.02, 7500, 6500)),
    "TH": Sound((320, 1290, 2540), 0.090, 0.070, 3, "teeth", 0.04, heard=Heard(0.0, 0.02, 0.065, 7000, 5000)),
    "DH": Sound((270, 1290, 2540), 0.055, 0.035, 3, "teeth", 0.035, heard=Heard(0.32, 0.01, 0.04, 7000, 5000)),
    "S": Sound((320, 1390, 2530), 0.105, 0.070, 3, "gums", 0.045, heard=Heard(0.0, 0.01, 0.26, 6300, 2200)),
    "Z": Sound((240, 1390, 2530), 0.075, 0.045, 3, "gums", 0.045, heard=Heard(0.35, 0.0, 0.17, 6300, 2200)),
    "SH": Sound((300, 1840, 2750), 0.105, 0.080, 3, "palate", 0.05, heard=Heard(0.0, 0.02, 0.32, 3200, 1300)),
    "P": Sound((300, 1000, 2150), 0.090, 0.060, 5, "lips", 0.03, None, 0.008, 0.045, Heard(0.0, 0.0, 0.16, 1000, 1500)),
    "B": Sound((200, 1000, 2150), 0.085, 0.060, 5, "lips", 0.03, None, 0.006, 0.0, Heard(0.14, 0.0, 0.12, 900, 1500)),
    "T": Sound(
        (300, 1650, 2600), 0.075, 0.050, 5, "gums", 0.045, None, 0.012, 0.055, Heard(0.0, 0.0, 0.34, 4600, 2500)
    ),
    "D": Sound((200, 1650, 2600), 0.075, 0.050, 5, "gums", 0.045, None, 0.008, 0.0, Heard(0.14, 0.0, 0.24, 4200, 2500)),
    "K": Sound(
        (300, 1900, 2400), 0.080, 0.060, 5, "velum", 0.055, None, 0.024, 0.050, Heard(0.0, 0.0, 0.42, 1900, 600)
    ),
    "G": Sound((200, 1900, 2400), 0.080, 0.060, 5, "velum", 0.055, None, 0.016, 0.0, Heard(0.14, 0.0, 0.34, 1900, 600)),
    # the tongue's short tap for a T between a stressed vowel and a weak one
    "DX": Sound((300, 1650, 2600), 0.024, 0.022, 4, "gums", 0.03, heard=Heard(0.25)),
}
# After a vowel the L is dark and the R a vowel's colour, and both are longer.
DARK_L = Sound((430, 780, 2700), 0.090, 0.060, 2, "side", 0.07, heard=Heard(0.85))
LATE_R = Sound((440, 1290, 1560), 0.090, 0.060, 2, "bunched", 0.09, heard=Heard(0.95))
# The mouth at rest.
NEUTRAL_HZ = (500, 1450, 2450)
# Sounds with round lips, which lower the hiss of the consonant beside them.
ROUND = ("OW", "UW", "AO", "UH", "W", "OY", "R")


def plain(symbol: str) -> str:
    """A sound's symbol without its stress digit."""
    return symbol.rstrip("012")


def is_vowel(symbol: str) -> bool:
    """Whether a symbol, with or without its stress digit, is the heart of a syllable."""
    return plain(symbol) in VOWELS


def sound_of(symbol: str, before: str | None, after: str | None) -> Sound:
    """What a symbol stands for between its neighbours."""
    name = plain(symbol)
    if name in VOWELS:
        return VOWELS[name]
    late = before is not None and is_vowel(before) and not (after is not None and is_vowel(after))
    if late and name in "LR":
        return DARK_L if name == "L" else LATE_R
    return CONSONANTS[name]


def border_hz(strong: Sound, weak_hz: Formants) -> Formants:
    """The formants where a consonant opens into a neighbour, or closes from it.

    For stops, nasals and hisses the second formant follows the locus equations of Sussman, McCaffrey and Matthews 1991
    (from memory); liquids and glides meet the neighbour half-way.
    """
    f1, f2, f3 = weak_hz
    if strong.rank < 3:
        own = strong.formants_hz
        return (0.5 * (own[0] + f1), 0.5 * (own[1] + f2), 0.5 * (own[2] + f3))
    low = 170 + 0.35 * f1 if strong.heard.nasal == 0 else 150 + 0.55 * f1
    if strong.place == "lips":
        return (low, 0.87 * f2 + 106, 0.75 * f3 + 450)
    if strong.place == "teeth":
        return (low, 0.5 * f2 + 650, 0.5 * f3 + 1280)
    if strong.place == "gums":
        return (low, 0.43 * f2 + 1073, 0.5 * f3 + 1330)
    if strong.place == "palate":
        return (low, 0.3 * f2 + 1350, 0.5 * f3 + 1370)
    # the back of the tongue closes further forward before a front vowel, and second and third formant meet
    f2 = min(1.05 * f2 + 200, 0.3 * f2 + 1560)
    return (low, f2, f2 + max(300.0, 0.4 * (f3 - f2)))


@dataclass(frozen=True)
class Piece:
    """A stretch of time in which nothing but the mouth changes; `gesture` numbers the movement that it is part of."""

    gesture: int
    seconds: float
    heard: Heard


class Mouth:
    """Gestures and pieces of an utterance as they are put together; a gesture is the sound it makes, None a pause."""

    def __init__(self) -> None:
        self.gestures: list[Sound | None] = []
        self.pieces: list[Piece] = []
        self.owed: list[Piece] = []

    @property
    def seconds(self) -> float:
        """How long the utterance is so far."""
        return sum(piece.seconds for piece in self.pieces)

    @property
    def owed_s(self) -> float:
        """How long the breath is that belongs to the next sound's gesture."""
        return sum(piece.seconds for piece in self.owed)

    def rest(self, seconds: float) -> None:
        """Keep silent."""
        self.gestures.append(None)
        self.pieces.append(Piece(len(self.gestures) - 1, seconds, Heard(0.0)))

    def make(self, symbol: str, seconds: float, before: str | None, after: str | None, voiced: float = 1.0) -> None:
        """Make a sound; what follows a stop's burst, and an H, is already part of the next sound's gesture.

        `voiced` is the share of its voicing that it keeps.
        """
        if plain(symbol) == "HH":
            self.owed = [Piece(0, seconds, Heard(0.0, 0.2))]
            return
        sound = sound_of(symbol, before, after)
        self.gestures.append(sound)
        number = len(self.gestures) - 1
        self.pieces += [replace(piece, gesture=number) for piece in self.owed]
        taken_s, self.owed = self.owed_s, []
        if taken_s and not is_vowel(symbol):
            seconds = max(seconds - 0.5 * taken_s, 0.5 * seconds)
        rounded = after is not None and plain(after) in ROUND
        lower = 0.86 if rounded else 1.0
        heard = replace(sound.heard, voicing=voiced * sound.heard.voicing)
        if sound.rank == 5:
            self.stop(sound, number, symbol, seconds, before, after, lower)
        elif heard.friction >= 0.05:
            # a hiss swells and fades
            for share, loud in ((0.25, 0.6), (0.5, 1.0), (0.25, 0.7)):
                part = replace(heard, friction=loud * heard.friction, friction_hz=lower * heard.friction_hz)
                self.pieces.append(Piece(number, share * seconds, part))
        else:
            self.pieces.append(Piece(number, seconds, heard))

    def stop(
        self,
        sound: Sound,
        number: int,
        symbol: str,
        seconds: float,
        before: str | None,
        after: str | None,
        lower: float,
    ) -> None:
        """Close, and let go with a burst and breath, unless another stop or a nasal takes over."""
        self.pieces.append(Piece(number, seconds, Heard(sound.heard.voicing)))
        if after is not None and plain(after) in ("P", "B", "T", "D", "K", "G", "M", "N", "DX"):
            return
        opened = after is not None and (is_vowel(after) or after in ("L", "R", "W", "Y"))
        hz, width_hz = lower * sound.heard.friction_hz, sound.heard.friction_width_hz
        if sound.place == "velum":
            beside = after if opened else before
            near = sound_of(beside, None, None).formants_hz if beside and plain(beside) != "HH" else NEUTRAL_HZ
            if not opened and beside and is_vowel(beside):
                near = VOWELS[plain(beside)].ends_hz or near
            hz = border_hz(sound, near)[1] + 60
        loud = sound.heard.friction * (1.0 if opened else 0.6)
        self.pieces.append(Piece(number, sound.burst_s, Heard(0.0, 0.02, loud, hz, width_hz)))
        if not sound.breath_s:
            return
        if opened and before != "S":
            longer = 1.0 if is_vowel(after or "") else 1.2
            self.owed = [Piece(0, longer * sound.breath_s, Heard(0.0, 0.13, 0.03, hz, 2 * width_hz))]
        elif opened:
            self.owed = [Piece(0, 0.010, Heard(0.0, 0.06))]
        elif after is None:
            self.pieces.append(Piece(number, 0.04, Heard(0.0, 0.05, 0.03, hz, 2 * width_hz)))


def formant_tracks(mouth: Mouth, slowness: float) -> list[np.ndarray]:
    """The three lowest formants at each `CONTROL_SAMPLES`: targets, glides within them, and borders between them."""
    counts = frame_counts([piece.seconds for piece in mouth.pieces])
    lengths = np.bincount([piece.gesture for piece in mouth.pieces], counts, len(mouth.gestures)).astype(int)
    shaped = list(mouth.gestures)
    # a pause keeps the mouth where the sound beside it has it
    last = None
    for index, sound in enumerate(shaped):
        following = next((s for s in shaped[index:] if s is not None), last)
        kept = last or following
        last = sound or last
        if sound is None:
            assert kept is not None
            held = kept.ends_hz or kept.formants_hz
            shaped[index] = Sound(held, 0.0, 0.0, 0)
    starts = [sound.formants_hz for sound in shaped]
    ends = [sound.ends_hz or sound.formants_hz for sound in shaped]
    borders, reaches = [], []
    for left, right in pairwise(range(len(shaped))):
        one, other = shaped[left], shaped[right]
        if one.rank == other.rank:
            border = tuple(0.5 * (a + b) for a, b in zip(ends[left], starts[right], strict=True))
            reach = (0.04, 0.04) if one.rank < 3 else (0.015, 0.015)
        elif one.rank > other.rank:
            border = border_hz(one, starts[right]) if other.rank else ends[left]
            reach = (0.6 * one.reach_s if one.rank < 3 else 0.012, one.reach_s)
        else:
            border = border_hz(other, ends[left]) if one.rank else starts[right]
            reach = (other.reach_s, 0.6 * other.reach_s if other.rank < 3 else 0.012)
        borders.append(border)
        reaches.append(reach)

    tracks = []
    for number in range(3):
        track = np.zeros(counts.sum())
        at = 0
        for index, length in enumerate(lengths):
            sound = shaped[index]
            frames = np.arange(length) + 0.5
            # a glide fills a spoken vowel and comes at the end of a sung one
            glide = max(min(0.7 * length, 0.22 * CONTROL_HZ), 1)
            along = np.clip((frames - 0.9 * length + glide) / glide, 0, 1)
            along = 0.5 - 0.5 * np.cos(np.pi * along)
            value = starts[index][number] + (ends[index][number] - starts[index][number]) * along
            wanted = value.copy()
            if sound.rank == 5:
                first = borders[index - 1][number] if index else value[0]
                final = borders[index][number] if index < len(borders) else value[-1]
                value = np.interp(frames, [0, length], [first, final])
            else:
                for border, reach, distance in (
                    (index - 1, 1, frames),
                    (index if index < len(borders) else -1, 0, length - frames),
                ):
                    if border < 0:
                        continue
                    reach_frames = min(reaches[border][reach] * slowness * CONTROL_HZ, 0.95 * length)
                    weight = 0.5 + 0.5 * np.cos(np.pi * np.clip(distance / max(reach_frames, 1), 0, 1))
                    value = value + (borders[border][number] - wanted) * weight
            track[at : at + length] = value
            at += length
        tracks.append(smooth(track, 0.012 * slowness))
    return tracks


def frame_counts(seconds: list[float]) -> np.ndarray:
    """How many control frames each of some stretches has, so that what rounding leaves over is not lost."""
    ends = np.round(np.cumsum(seconds) * CONTROL_HZ).astype(int)
    return np.diff(np.concatenate([[0], ends]))


def movement(mouth: Mouth, slowness: float = 1.0) -> Movement:
    """An utterance's gestures and pieces as curves in time; `slowness` is how slowly the mouth moves, 1 in speech."""
    heard = [piece.heard for piece in mouth.pieces]
    counts = frame_counts([piece.seconds for piece in mouth.pieces])

    def track(values: list[float], seconds: float) -> np.ndarray:
        return smooth(np.repeat(np.array(values, float), counts), seconds)

    f1, f2, f3 = formant_tracks(mouth, slowness)
    nasal = [each.nasal for each in heard]
    return Movement(
        f1_hz=f1,
        f2_hz=f2,
        f3_hz=f3,
        voicing=track([each.voicing for each in heard], 0.016),
        aspiration=track([each.aspiration for each in heard], 0.014),
        friction=track([each.friction for each in heard], 0.006),
        # the soft palate opens before the lips close, and shuts after they open
        nasal=np.maximum(track(nasal, 0.012), 0.9 * track(nasal, 0.09)),
        friction_hz=track([each.friction_hz for each in heard], 0.005),
        friction_width_hz=track([each.friction_width_hz for each in heard], 0.005),
    )
