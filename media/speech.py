"""Speech from rules: how long each sound of a sentence lasts, where it is stressed, and its tune."""

from dataclasses import dataclass

import numpy as np
from articulation import CONSONANTS, LATE_R, Mouth, is_vowel, movement, plain, sound_of
from recording import RATE_HZ, random_stream
from voices import CONTROL_HZ, Singer, slow_wander, smooth, voice


@dataclass(frozen=True)
class Spoken:
    """One sound of a sentence with what its length depends on."""

    symbol: str
    before: str | None
    after: str | None
    least_s: float
    stretch_s: float


def spoken_sounds(text: str) -> list[Spoken]:
    """A sentence's sounds, each with its least length and what a slower speaker adds, after Klatt 1979 (from memory).

    Stress digits stand on vowels, a bar between words, a comma where the speaker pauses.
    """
    tokens = [token for token in text.split() if token != "|"]
    words = [part.split() for part in text.replace(",", "| , |").split("|") if part.split()]
    hearts = [[i for i, sound in enumerate(word) if is_vowel(sound)] for word in words]
    spoken = []
    place = 0
    for number, word in enumerate(words):
        pause_next = number + 1 == len(words) or words[number + 1] == [","]
        for i, symbol in enumerate(word):
            before = tokens[place - 1] if place else None
            after = tokens[place + 1] if place + 1 < len(tokens) else None
            before, after = (None if beside == "," else beside for beside in (before, after))
            place += 1
            if symbol == ",":
                spoken.append(Spoken(",", None, None, 0.14, 0.04))
                continue
            heart = hearts[number]
            last_syllable = bool(heart) and i >= heart[-1]
            stressed = symbol.endswith("1")
            rhyme = pause_next and last_syllable
            if plain(symbol) == "HH":
                seconds, least_s = 0.08, 0.05
            else:
                own = sound_of(symbol, before, after)
                seconds, least_s = own.seconds, own.least_s
            factor = 1.0
            if is_vowel(symbol):
                factor *= 1.4 if rhyme else 0.8
                factor *= 0.85 if not last_syllable else 1.0
                factor *= 0.85 if len(heart) > 1 else 1.0
                if not stressed:
                    factor *= 0.65
                    least_s *= 0.6
                following = plain(word[i + 1]) if i + 1 < len(word) else ""
                share = 1.0 if rhyme else 0.4
                if following in ("P", "T", "K", "F", "TH", "S"):
                    factor *= 1 - 0.3 * share
                elif following in ("V", "Z", "DH"):
                    factor *= 1 + 0.4 * share
            else:
                factor *= 1.3 if rhyme else 1.0
                factor *= 0.85 if i else 1.0
                if (i + 1 < len(word) and not is_vowel(word[i + 1])) or (i and not is_vowel(word[i - 1])):
                    factor *= 0.8
            spoken.append(
                Spoken(
                    symbol,
                    before,
                    after,
                    least_s,
                    max(factor * seconds - least_s, 0.0),
                )
            )
    return spoken


def say(
    text: str, seconds: float, base_hz: float, rising: bool, effort: float, singer: Singer, seed: int
) -> np.ndarray:
    """Speak one sentence in a given time; `spoken_sounds` says how it is written."""
    stream = random_stream(seed + 20)
    sounds = spoken_sounds(text)

    def put_together(stretch: float) -> tuple[Mouth, list[tuple[float, float]]]:
        mouth = Mouth()
        mouth.rest(0.04)
        beats = []
        for sound in sounds:
            length = sound.least_s + stretch * sound.stretch_s
            if sound.symbol == ",":
                mouth.rest(length)
                continue
            stressed = sound.symbol.endswith("1")
            voiced = 0.8 if is_vowel(sound.symbol) and not stressed else 1.0
            start = mouth.seconds
            mouth.make(sound.symbol, length, sound.before, sound.after, voiced)
            if stressed:
                beats.append((start, mouth.seconds))
        return mouth, beats

    # all lengths but breath and bursts grow with the stretch, so two trials tell which fits
    slow, quick = put_together(1.5)[0].seconds, put_together(0.5)[0].seconds
    stretch = 0.5 + (seconds + 0.04 - quick) / (slow - quick)
    mouth, beats = put_together(stretch)
    clock = mouth.seconds
    mouth.rest(0.12)
    frames = int(mouth.seconds * CONTROL_HZ) + 2
    times = np.arange(frames) / CONTROL_HZ
    pitch = 2.0 - 4.0 * times / clock
    for start, end in beats:
        height = 2.2 + 0.6 * stream.standard_normal()
        pitch += height * np.exp(-0.5 * ((times - start - 0.4 * (end - start)) / 0.085) ** 2)
    end = np.clip((times - clock + 0.28) / 0.28, 0, 1)
    pitch += (6.5 if rising else -3.5) * end**1.5
    pitch += 0.15 * slow_wander(frames, 2.0, stream)
    push = np.clip(effort + 0.15 * (pitch / 5) - 0.15 * end * (not rising), 0.05, 1)
    spoken = voice(movement(mouth), base_hz * 2 ** (smooth(pitch, 0.03) / 12), push, singer, seed)
    # the voice dies away instead of being cut off, which would be heard as one more consonant
    left_s = clock - np.arange(len(spoken)) / RATE_HZ
    fade_s = 0.11 if CONSONANTS.get(sounds[-1].symbol, LATE_R).heard.voicing else 0.03
    return spoken * (0.15 + 0.85 * np.sin(0.5 * np.pi * np.clip(left_s / fade_s, 0, 1)))
