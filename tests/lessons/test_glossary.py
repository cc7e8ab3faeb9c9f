"""The glossary: every word in one plain sentence, with a link to a lesson that is there and uses the word."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.storage import bundled_folder

LESSONS = bundled_folder("lessons")
ROW = re.compile(r"(?m)^\| \*\*(?P<word>.+?)\*\* \| (?P<sentence>.+?) \| \[(?P<title>.+?)\]\((?P<file>.+?)\) \|$")


def markdown_of(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return "\n\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")


ROWS = [found.groupdict() for found in ROW.finditer(markdown_of(LESSONS / "glossary.ipynb"))]


# What a student of the second year is asked for in an oral examination, and what the lessons use as known.
EXPECTED = """
A-weighted, AES17, aliasing, alignment level, attack, automation, balanced, bit, bus, ceiling, chain, channel,
clip gain, clipping, codec, comb filter, compressor,
condenser microphone, converter, crest factor, cue mix, D/A converter, dBA, dBC, dBFS,
dBTP, dBu, dBV, decibel, delay, detector, distortion, dither, drive, dynamic range, earth, envelope, equaliser, fader,
filter, fixed-point, float, frequency, full scale, gain, gain reduction, gain staging, gate, group, harmonic, headroom,
high-pass, hiss, hum, impedance, insert, instrument level, integrated, inter-sample, intermodulation, K-weighting, knee,
latency, level, limiter, line level, look-ahead, loop, loudness, loudness range, LU, LUFS, mains, makeup,
microphone level, mix, momentary, mono, nominal level, noise, noise figure, noise floor, noise shaping, normalising,
null, octave, outboard, pad, pan, pan law, parallel compression, peak, phantom power, polarity, power, PPM, preamp,
pumping, quantisation, ratio, region, release, resampling, ride, RMS, room tone, sample, sample peak, sample rate,
saturation, send, sensitivity, short-term, sidechain, signal-to-noise, sine, spectrum, spill, stage, stem, stereo,
strip, take, target, threshold, time constant, track, transfer curve, transient, trim, true peak, unbalanced, unity,
VCA group, voltage, VU, wet, word length, working level"""


@pytest.mark.parametrize("word", [" ".join(word.split()) for word in EXPECTED.split(",")])
def test_a_word_that_a_student_is_asked_for_is_told(word):
    assert word in [row["word"] for row in ROWS]


def uses(text, word):
    """Whether a lesson's text has the word, in whatever form it is set; its plural and its past count as well."""
    sought = r"\s+".join(re.escape(part) for part in word.split())
    return re.search(rf"(?i)(?<![\w+−]){sought}(?:e?s|e?d)?(?!\w)", re.sub(r"[*_`]", "", text))


def test_every_row_of_the_table_is_read():
    rows = [line for line in markdown_of(LESSONS / "glossary.ipynb").splitlines() if line.startswith("| **")]
    assert len(rows) == len(ROWS) >= 20
    words = [re.sub(r"^[^a-z0-9]*", "", row["word"].lower()) for row in ROWS]
    assert words == sorted(words)
    assert len(set(words)) == len(words)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["word"])
def test_a_word_is_told_in_one_sentence_and_used_by_the_lesson_that_it_links_to(row):
    assert re.fullmatch(r"[A-Z0-9−+].{10,140}[^.]\.", row["sentence"])
    assert ". " not in row["sentence"]
    lesson = markdown_of(LESSONS / row["file"])
    assert row["title"] == re.search(r"(?m)^# (.+)$", lesson)[1]
    assert uses(lesson, row["word"])


def test_a_word_within_another_is_not_the_word():
    assert uses("Two **buses** meet; the *faders* stay.", "fader")
    assert uses("It was\nturned down by\nclip  gain.", "clip gain")
    assert not uses("padded", "pad")
    assert not uses("The headroom is 3 dB.", "head")
    assert not uses("a level", "−10 dBV")
