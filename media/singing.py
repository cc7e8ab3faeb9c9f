"""How a voice sings: notes with slides, vibrato and swells, and consonants that come before the beat."""

from dataclasses import dataclass

import numpy as np
from articulation import CONSONANTS, Mouth, is_vowel, movement
from recording import random_stream
from voices import CONTROL_HZ, CONTROL_SAMPLES, Singer, slow_wander, smooth, voice


@dataclass(frozen=True)
class Syllable:
    """One sung syllable: when its vowel starts and stops (seconds), its note (MIDI number), its sounds, its stress."""

    start_s: float
    end_s: float
    note: float
    sounds: str
    stress_db: float = 0.0

    def split(self) -> tuple[list[str], str, list[str]]:
        """The consonants before the vowel, the vowel, and those after it."""
        sounds = self.sounds.split()
        heart = next(i for i, sound in enumerate(sounds) if is_vowel(sound))
        return sounds[:heart], sounds[heart], sounds[heart + 1 :]


def make_consonants(mouth: Mouth, symbols: list[str], before: str | None, after: str | None) -> None:
    """Sing consonants between two neighbours, shorter than when spoken alone, for the vowels carry the tune."""
    beside = [before, *symbols, after]
    for i, symbol in enumerate(symbols):
        own = CONSONANTS.get(symbol)
        mouth.make(symbol, 0.5 * (own.seconds + own.least_s) if own else 0.06, beside[i], beside[i + 2])


def consonants_s(symbols: list[str], before: str | None, after: str | None) -> float:
    """How long some consonants take, with what breath they leave to the next sound."""
    mouth = Mouth()
    make_consonants(mouth, symbols, before, after)
    return mouth.seconds + mouth.owed_s


def sing(syllables: list[Syllable], effort: float, singer: Singer, begin_s: float, seed: int) -> np.ndarray:
    """Sing a phrase from the second `begin_s` on; the consonants before a vowel come before its beat."""
    stream = random_stream(seed + 10)
    starts = [syllable.start_s + 0.012 * stream.standard_normal() for syllable in syllables]
    words = [syllable.split() for syllable in syllables]
    onsets = [start - consonants_s(onset, None, heart) for start, (onset, heart, _) in zip(starts, words, strict=True)]
    mouth = Mouth()
    notes: list[tuple[float, float, float]] = []
    before = None
    for i, (syllable, (onset, heart, coda)) in enumerate(zip(syllables, words, strict=True)):
        gap = onsets[i] - begin_s - mouth.seconds - mouth.owed_s
        if before is None or gap > 0.002:
            mouth.rest(gap)
            before = None
        # nobody stops between two syllables for less than a twentieth of a second
        joined = i + 1 < len(syllables) and onsets[i + 1] - syllable.end_s < 0.05
        end = onsets[i + 1] if joined else syllable.end_s
        after = (words[i + 1][0] + [words[i + 1][1]])[0] if joined else None
        note_start = begin_s + mouth.seconds
        make_consonants(mouth, onset, before, heart)
        tail = consonants_s(coda, heart, after)
        length = max(0.06, end - tail - begin_s - mouth.seconds - mouth.owed_s)
        mouth.make(heart, length, onset[-1] if onset else before, coda[0] if coda else after)
        make_consonants(mouth, coda, heart, after)
        notes.append((note_start, begin_s + mouth.seconds, syllable.note))
        before = coda[-1] if coda else heart
    mouth.rest(0.07)
    total = mouth.seconds
    frames = int(total * CONTROL_HZ) + 2
    seconds = begin_s + np.arange(frames) / CONTROL_HZ

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
    for (start, end, _), syllable in zip(notes, syllables, strict=True):
        inside = np.clip((seconds - start) / (end - start), 0, 1)
        swell = np.where(
            (seconds >= start) & (seconds <= end),
            syllable.stress_db + 2.5 * np.sin(np.pi * inside**0.7) - 2.0 * inside + 0.8 * stream.standard_normal(),
            swell,
        )
    swell += 0.8 * slow_wander(frames, 4.0, stream) + 0.6 * vibrato / 0.3
    # the last note dies away as the air runs out
    swell -= 5.0 * np.clip((seconds - notes[-1][1] + 0.35) / 0.35, 0, 1) ** 2
    loudness = 10 ** (smooth(swell, 0.07) / 20)
    sung = voice(movement(mouth, 1.3), f0_hz, push, singer, seed)
    count = len(sung) // CONTROL_SAMPLES
    return sung * np.interp(np.arange(len(sung)) / CONTROL_SAMPLES, np.arange(count), loudness[:count])
