"""Fifteen questions of an oral examination, which want understanding: the lessons' text alone answers each.

Each figure in an answer is worked out here, without the library, and stands in the text or is one step from it.
"""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass

import pytest
import reckoning as paper

from gainlib.storage import lesson_files


def powers(*levels_db):
    """The level of unrelated signals together. Derived: powers add."""
    return 10 * math.log10(sum(10 ** (each / 10) for each in levels_db))


def voltages(*gains):
    """The level of one signal that meets itself. Derived: voltages add."""
    return 20 * math.log10(abs(sum(gains)))


def cascade(gain_db, first_db, second_db):
    """Published: Friis 1944, the noise figure of two stages."""
    return 10 * math.log10(10 ** (first_db / 10) + (10 ** (second_db / 10) - 1) / 10 ** (gain_db / 10))


def chain_noise_dbu(gain_db):
    """A usual preamp and converter, full scale at +18 dBu. Common practice: -128 dBu at the input, 110 dB A-weighted.

    From memory: -100 dBu behind the gain. Derived: A-weighted, white noise reads 2.0 dB lower; 24 kHz hold 0.8 dB more.
    """
    return powers(gain_db - 128, -100, 18 - 110 + 2.0) + 10 * math.log10(24 / 20)


def spoken(answers_db):
    """The two microphones of the radio scene together, the guest's three answers raised. The stems' own samples."""
    guest = paper.stem("radio-guest").copy()
    for (start, end), gain_db in zip([(6.25, 8.6), (10.8, 13.2), (15.45, 17.1)], answers_db, strict=True):
        guest[round(start * paper.RATE_HZ) : round(end * paper.RATE_HZ)] *= 10 ** (gain_db / 20)
    return paper.stem("radio-presenter") + guest


def folded(frequency_hz, rate_hz=48_000):
    """Derived: where a tone comes back that the sample rate cannot hold."""
    return abs(frequency_hz - rate_hz * round(frequency_hz / rate_hz))


def out_db(over_db, ratio=4):
    """Above the threshold, how far a compressor lets a steady level stand over it. Definition of the ratio."""
    return max(over_db, 0) / ratio + min(over_db, 0)


def five_around():
    """Published: BS.1770-5, annex 1, table 4: three channels count once, two 1.41 times."""
    return 10 * math.log10(3 + 2 * 1.41)


@dataclass(frozen=True)
class Question:
    """What is asked; `answer` with its figures in braces, as they are `reckoned`; what the lesson must say of it."""

    asked: str
    answer: str
    reckoned: tuple[float, ...]
    lesson: str
    said: tuple[str, ...]


QUESTIONS = [
    Question(
        "One box is switched to +4 dBu, the next to −10 dBV. Why is the step not 14 dB, and how large is it?",
        "The two count from different voltages: −10 dBV is −{7.8} dBu, so it is {11.8} dB.",
        (-(20 * math.log10(10 ** (-10 / 20) / math.sqrt(0.6))), 4 - 20 * math.log10(10 ** (-10 / 20) / math.sqrt(0.6))),
        "work-with-decibels",
        ("are not 14 dB apart", "−10 dBV is −7.8: they are 11.8 dB apart", "the same ladder with another zero"),
    ),
    Question(
        "A good first stage, 2 dB of noise figure and 40 dB of gain, stands before a bad one of 30 dB. What "
        "does the bad "
        "one cost? And if the first has only half that gain, or a pad of 20 dB stands in front of both?",
        "Together they have {2.3} dB. With 20 dB of gain it is {10.6}, since little gain hides little of the second. "
        "A pad takes the signal and leaves the noise, so it is added in full: {22.3} dB.",
        (cascade(40, 2, 30), cascade(20, 2, 30), 20 + cascade(40, 2, 30)),
        "connect-at-the-right-level",
        (
            "together they have 2.3 dB. With only 20 dB of gain they make 10.6",
            "the first chain has 22.3 dB: the pad is added in full",
            "A gain in front of a noise makes it smaller",
        ),
    ),
    Question(
        "A tone of 50 ms peaks at −6 dBFS. How low does the needle of a VU meter read, why, and whose fault is it?",
        "It reads −{17.1}, 11 dB low. It needs 300 ms to come up. No fault: it shows the average.",
        (-paper.vu_max_dbfs(paper.sine(-6, 1000, 0.05)),),
        "read-meters",
        ("it swings up only to −17.1", "It needs 300 ms", "a needle that shows the average"),
    ),
    Question(
        "Somebody turns the polarity of the right side of a stereo mix. What does the loudness meter say, "
        "and what does a kitchen radio with one loudspeaker?",
        "The meter adds powers, −{20.0} LUFS as before; in mono nothing is left. With five channels it would "
        "be −{15.4}.",
        (23.01 - powers(0, 0), 23.01 - five_around()),
        "measure-loudness",
        (
            "Invert the polarity of one side, and it reads −20.0 as before; in mono nothing would be left",
            "read −15.4 LUFS",
        ),
    ),
    Question(
        "What does the noise of a chain change by when 10 dB of gain move from the preamp to the trim, "
        "with a soft source in a quiet room, and in a booth whose own noise is heard?",
        "From 30 dB down to 20 dB it rises by {9.5} dB against the voice, from 50 to 40 by {2.0}. In the "
        "booth by nothing.",
        (10 - (chain_noise_dbu(30) - chain_noise_dbu(20)), 10 - (chain_noise_dbu(50) - chain_noise_dbu(40))),
        "set-recording-level",
        (
            "From 20 to 30 dB of gain the distance grows by 9.5 dB, from 40 to 50 dB only by 2",
            "Move 10 dB of gain from the preamp to the trim",
            "At 41 dB and at 53 dB the distance to the noise is the same",
        ),
    ),
    Question(
        "A trim lifts a clean take by 16 dB in a float session. How far does it stand over full scale, "
        "and which control makes it whole again when the file behind the trim is in fixed point?",
        "It stands {4.9} dB over. The trim, in front of the file. The fader behind it only makes the flat "
        "tops quieter.",
        (paper.peak_dbfs(paper.stem("lead-voice", 14, 19)) - 24 + 41 - 24 + 16,),
        "find-clipping",
        (
            "The trim wrote 4.9 dB over full scale",
            "Bring the level down before the edge",
            "Turned down is still clipped",
        ),
    ),
    Question(
        "The whole of a talk reads the same before and after the guest, soft as she was, is raised by 16 dB. "
        "Is the meter broken? What would you do instead of reading the whole?",
        "No: −{25.0} and −{25.0} LUFS. What lies 10 LU under the rest is left out, and she did. Read each voice alone.",
        (-paper.loudness_lufs(spoken([0, 0, 0])), -paper.loudness_lufs(spoken([15, 16, 18]))),
        "ride-phrases",
        (
            "it is the same, −25.0 LUFS",
            "The meter leaves out what lies more than 10 LU under the rest",
            "Bring each voice to its level by itself",
        ),
    ),
    Question(
        "A steady voice stands 4 dB over the threshold of a 4:1 compressor. You raise the trim by 10 dB and "
        "pull the fader "
        "behind the compressor down by 10 dB. Is all as it was?",
        "No. The trim stands before the threshold, and only a quarter of 10 dB gets through, {2.5}: it is "
        "{7.5} dB softer.",
        (out_db(14) - out_db(4), 10 - (out_db(14) - out_db(4))),
        "trim-before-threshold",
        ("at 4, four decibels over the threshold come out as one", "a plain gain before the compressor"),
    ),
    Question(
        "A voice is mixed, half and half, with a copy that is compressed by 4:1. What does a note lose that "
        "stands 20 dB "
        "over the threshold? What does the mix do to what is soft, and what spoils it?",
        "It loses {4.6} dB instead of {15}. What is soft stays; a copy that comes late cancels some frequencies.",
        (-voltages(0.5, 0.5 * 10 ** ((out_db(20) - 20) / 20)), 20 - out_db(20)),
        "hear-a-compressor",
        ("loses 4.6 dB instead of 15", "What lies below the threshold is as it was", "If one is late"),
    ),
    Question(
        "Why does a sum of 32 tracks not rise by 30 dB, as 32 copies of one track would? How far does it rise?",
        "Copies add as voltages, {30}; unrelated tracks as powers: {15} dB. That is the room you leave at the start.",
        (voltages(*[1] * 32), powers(*[0] * 32)),
        "balance-with-faders",
        ("15 dB for 32", "twice the voltage", "twice the power", "Leave that much room before you start"),
    ),
    Question(
        "A drum at −5 dB is in a group at −3 dB, and the group's drums meet in a compressor. Where does the "
        "drum stand? "
        "You pull the group down by 6 dB: why do the drums lose less, and why does their echo not stay behind?",
        "At −{8} dB. The compressor then turns down less, and the echo leaves after each drum's own fader.",
        (5 + 3,),
        "send-to-more-than-one-place",
        (
            "stands at −8 dB",
            "turns down less, so the drums do not lose the whole 6 dB",
            "The echo goes down with the drums",
        ),
    ),
    Question(
        "A saturation at 48 kHz gets a tone of 5 kHz and works without oversampling. Where do its seventh "
        "and its ninth "
        "harmonic come back? And why does a tone of 1 kHz show nothing wrong?",
        "At {13000} and {3000} Hz. With 1 kHz all that comes back falls on harmonics.",
        (folded(7 * 5000), folded(9 * 5000)),
        "add-density-on-a-bus",
        ("stand at 13 000 and 3000 Hz", "all that comes back falls on its harmonics"),
    ),
    Question(
        "No sample of a tone at a quarter of the sample rate is higher than −3 dBFS. What is the worst that the curve "
        "between them can do? Where is a ceiling set for that reason, and what follows from a change of the rate?",
        "It is {3} dB higher and reaches full scale. In dBTP, a little lower; another rate has other samples "
        "and peaks.",
        (-20 * math.log10(math.sin(math.pi / 4)),),
        "limit-peaks",
        ("The samples stop 3 dB below full scale, and the curve reaches it", "a ceiling is set in dBTP"),
    ),
    Question(
        "A mix goes to another sample rate, to a loudness and to 16 bits. In which order, and what does dither cost? "
        "Songs at −10 and −18 LUFS go out as an album whose loudest stands at −14: where does the soft one land?",
        "Rate, loudness and true peak, dither last: any later step rounds again. It costs {4.8} dB of noise, "
        "−{93.3} dBFS. "
        "Both get one gain, so the soft one lands at −{22}, and the step between them stays.",
        (10 * math.log10(3), -paper.steps_noise_dbfs(16, dithered=True), 18 + (14 - 10)),
        "deliver-file",
        (
            "rate first, then loudness and true peak, and dither last",
            "Dither costs 4.8 dB of noise: −93.3",
            "stand at −14, −16 and −22",
            "The steps that you made stay",
        ),
    ),
    Question(
        "A loop in parallel comes back one sample late at 48 kHz, with its polarity turned. How far down is "
        "1 kHz? Which "
        "fault leaves less: that one, or a tenth of a decibel? And what does 1 ms of delay do without turning it?",
        "{18} dB down; the tenth of a decibel leaves less, −{39} dB. 1 ms cancels {500} Hz, 1500 and so on.",
        (
            -20 * math.log10(2 * math.sin(math.pi * 1000 / 48_000)),
            -voltages(10 ** (0.1 / 20), -1),
            1 / (2 * 0.001),
        ),
        "align-outboard",
        ("leaves −39 dB of", "leaves 1 kHz only 18 dB down", "1 ms late cancels 500 Hz"),
    ),
]


def plain(text):
    return " ".join(re.sub(r"[*_`]", "", text).split())


def text_of(lesson):
    """What a reader reads: the text cells, without code, pictures and exercises."""
    cells = json.loads(lesson_files()[lesson].read_text(encoding="utf-8"))["cells"]
    return plain("\n\n".join("".join(each["source"]) for each in cells if each["cell_type"] == "markdown"))


def within(figure):
    """Half a step of the last place of a printed figure."""
    return 0.5 * 10.0 ** -len(figure.partition(".")[2])


def test_there_are_fifteen_each_on_another_lesson():
    assert len({each.lesson for each in QUESTIONS}) == len(QUESTIONS) == 15


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda each: each.lesson)
def test_the_answers_figures_are_right(question):
    figures = re.findall(r"\{(.+?)\}", question.answer)
    assert len(figures) == len(question.reckoned)
    for figure, found in zip(figures, question.reckoned, strict=True):
        assert float(figure) == pytest.approx(found, abs=within(figure) + 1e-9)


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda each: each.lesson)
def test_the_text_alone_answers_it(question):
    text = text_of(question.lesson)
    assert [each for each in question.said if plain(each) not in text] == []
