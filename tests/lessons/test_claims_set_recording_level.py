"""What the lesson "Set a recording level" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import math

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl

LESSON = "set-recording-level"
VERSE, SHOUT = paper.seconds("verse"), paper.seconds("shout")
TAKE = paper.take(LESSON, "lead voice")
# The source at -24 dBu, the converter at +18 dBu for full scale (published: EBU R 68): dB from stem to converter.
FROM_STEM = -24 - 18
SOURCE = "published: AES17, the stem's own samples; EBU R 68, 0 dBFS is +18 dBu; derived: decibel arithmetic"


@pytest.fixture(scope="module")
def take():
    return gl.takes(LESSON)["lead voice"]


@pytest.fixture(scope="module")
def session(take):
    # The chain of the lesson's first cell; the test below holds the two together.
    chain = [gl.Source(-24), gl.Preamp(53), gl.Converter("EBU R 68"), gl.Trim()]
    return gl.Session.of(take, chain, name="voice")


def verse_level(session, take, gain_db):
    return session.with_take(take.between(*VERSE)).replaced({"preamp/gain_db": gain_db}).render().level("converter")


@pytest.mark.holds_the_text
def test_the_chain_here_is_the_lessons_chain(lesson_text):
    text = lesson_text("set-recording-level")
    assert 'chain = [gl.Source(-24), gl.Preamp(53), gl.Converter("EBU R 68"), gl.Trim()]' in text
    assert 'session.with_take(takes["lead voice", "verse"])' in text


def test_the_rehearsal_starts_3_db_below_full_scale(session, take, reckoned):
    """Predict: "until the verse peaks 3 dB below full scale"."""
    below = -(paper.peak_dbfs(paper.part(TAKE, *VERSE)) + 53 + FROM_STEM)
    found = verse_level(session, take, 53)
    quote = "until the verse peaks 3 dB below full scale"
    reckoned(quote, 3, below, found.headroom_db, within=0.5, near=0.05, source=SOURCE)
    assert found.clipped == 0


def test_the_shout_stands_10_db_above_the_verse(take, reckoned):
    """Read: "The verse left 3 dB and the shout wanted 10." and "the shout is the loudest moment of the take"."""
    above = gl.measure("peak_dbfs", take) - gl.measure("peak_dbfs", take.between(*VERSE))
    expected = paper.peak_dbfs(TAKE) - paper.peak_dbfs(paper.part(TAKE, *VERSE))
    quote = "The verse left 3 dB and the shout wanted 10."
    reckoned(quote, 10, expected, above, within=0.5, near=1e-6, source="published: AES17")
    highest = paper.peak_dbfs(paper.part(TAKE, *SHOUT)) == paper.peak_dbfs(TAKE)
    read = gl.measure("peak_dbfs", take.between(*SHOUT)) == gl.measure("peak_dbfs", take)
    reckoned("the shout is the loudest moment of the take", True, highest, read, source="published: AES17")


def test_the_take_clips_in_the_converter_and_nowhere_else(session, reckoned):
    """Move: "Every place where the converter clipped is marked"."""
    rendering = session.render()
    over = paper.runs_at(TAKE * 10 ** ((53 + FROM_STEM) / 20), 1.0)
    read = rendering.level("converter").clipped
    quote = "Every place where the converter clipped is marked"
    reckoned(quote, True, len(over) > 10, abs(read - len(over)) <= 2, source="common practice: three samples in a row")
    assert rendering.level("preamp").clipped == 0


def test_the_trim_lowers_the_level_and_keeps_the_flat_tops(session, reckoned):
    """Read: "it makes the flat tops quieter, and they stay flat"; Move: "Pull the trim down by 12 dB"."""
    hot = session.render()
    lowered = session.replaced({"trim/gain_db": -12.0}).render(hot)
    assert lowered.level("trim").peak_dbfs == pytest.approx(hot.level("trim").peak_dbfs - 12, abs=1e-6)
    assert lowered.level("converter").clipped == hot.level("converter").clipped
    cut = np.clip(TAKE * 10 ** ((53 + FROM_STEM) / 20), -1, 1) * 10 ** (-12 / 20)
    flat = len(paper.runs_at(cut, 10 ** (-12 / 20))) > 10
    read = gl.measure("flat_tops", lowered.at("trim")) == gl.measure("flat_tops", hot.at("trim")) > 10
    quote = "it makes the flat tops quieter, and they stay flat"
    reckoned(quote, True, flat, read, source="derived: a gain keeps equal samples equal")


def test_at_41_db_the_verse_peaks_near_minus_15_and_the_shout_is_clean(session, take, reckoned):
    """Move: "until the verse peaks near −15 dBFS"; Listen: "With the preamp at 41 dB the shout is round"."""
    expected = paper.peak_dbfs(paper.part(TAKE, *VERSE)) + 41 + FROM_STEM
    read = verse_level(session, take, 41).peak_dbfs
    reckoned("until the verse peaks near −15 dBFS", -15, expected, read, within=0.5, near=0.05, source=SOURCE)
    sensible = session.replaced({"preamp/gain_db": 41.0}).render().level("converter")
    below = -(paper.peak_dbfs(TAKE) + 41 + FROM_STEM)
    quote = "With the preamp at 41 dB the shout is round"
    reckoned(quote, True, below > 0, sensible.clipped == 0, source=SOURCE)
    assert sensible.headroom_db == pytest.approx(below, abs=0.05)


@pytest.mark.reading_of_our_own
def test_voice_and_noise_come_down_together(session):
    """Read: "the distance between voice and noise stays as it was"."""
    far = [
        level.rms_dbfs - level.noise_dbfs
        for level in (session.replaced({"preamp/gain_db": gain}).render().level("preamp") for gain in (53.0, 41.0))
    ]
    assert far[0] == pytest.approx(far[1], abs=0.1)


@pytest.mark.parametrize(
    ("bits", "quote", "steps_dbfs"),
    [(16, "Those of 16 bits lie at −98", -98), (24, "The steps of 24 bits lie at −146 dBFS", -146)],
)
def test_the_steps_make_the_noise_that_is_named(reckoned, bits, quote, steps_dbfs):
    """Read: "The steps of 24 bits lie at −146 dBFS", of 16 bits at −98; on a voltage that no step meets."""
    quiet = gl.Audio(0.25 * np.sin(np.arange(96_000) * 0.1307), 48_000)
    chain = [
        gl.Source(0, noise_dbfs=-np.inf),
        gl.Preamp(12, input_noise_dbu=-np.inf, output_noise_dbu=-np.inf),
        gl.Converter("EBU R 68", bits=bits, dynamic_range_db=np.inf),
    ]
    rendering = gl.Session.of(quiet, chain, name="tone").render()
    error = rendering.at("converter").samples - rendering.at("preamp").samples
    read = gl.measure("rms_dbfs", gl.Audio(error, 48_000))
    source = "published: quantisation noise, 6.02 N + 1.76 dB below a full-scale sine"
    assert paper.steps_noise_dbfs(bits) == pytest.approx(-(6.02 * bits + 1.76), abs=0.02)
    reckoned(quote, steps_dbfs, -(6.02 * bits + 1.76), read, within=0.5, near=0.3, source=source)


WIDER = 10 * math.log10(24 / 20)  # noise that is given up to 20 kHz goes on to half the rate
CONVERTER = -110 + 2.05 + WIDER  # derived: A-weighting takes 2.05 dB off white noise in 20 kHz


def added(*levels):
    return 10 * math.log10(sum(10 ** (each / 10) for each in levels))


def noise_at(gain_db):
    """The booth's noise and the preamp's, in front of the converter: -128 dBu before the gain, -100 dBu behind it."""
    preamp = added(-128 + gain_db, -100) + WIDER - 18
    return added(paper.noise_floor_dbfs(TAKE) + gain_db + FROM_STEM, preamp)


def test_the_converters_own_noise(reckoned):
    """Read: "here the noise lies at −107 dBFS", on a voltage of nothing."""
    silence = gl.Audio(np.zeros(96_000), 48_000)
    chain = [gl.Source(0, noise_dbfs=-np.inf), gl.Converter("EBU R 68")]
    read = gl.Session.of(silence, chain, name="x").render().level("converter").rms_dbfs
    source = "derived: 110 dB A-weighted; the weighting's 2.05 dB; powers up to 24 kHz"
    reckoned("here the noise lies at −107 dBFS", -107, CONVERTER, read, within=0.5, near=0.1, source=source)


@pytest.mark.parametrize(
    ("quote", "said", "low", "high"),
    [("From 20 to 30 dB of gain the distance grows by 9.5 dB", 9.5, 20, 30), ("from 40 to 50 dB only by 2", 2, 40, 50)],
)
def test_hotter_helps_against_noise_behind_the_gain(session, reckoned, quote, said, low, high):
    """Read: what gain buys in a room without noise, from input noise, output noise and the converter's."""

    def distance(gain_db):
        quiet = {"source/full_scale_dbu": -44.0, "source/noise_dbfs": -200.0, "preamp/gain_db": float(gain_db)}
        level = session.replaced(quiet).render().level("converter")
        return level.rms_dbfs - level.noise_dbfs

    def on_paper(gain_db):
        return gain_db - added(-128 + gain_db + WIDER - 18, -100 + WIDER - 18, CONVERTER)

    grown = on_paper(high) - on_paper(low)
    source = "derived: three noises add as powers, two of them stay while the gain rises"
    reckoned(quote, said, grown, distance(high) - distance(low), within=0.1, near=0.1, source=source)


def test_the_booth_covers_the_steps_at_41_db(session, reckoned):
    """Read: "With the preamp at 41 dB the booth's noise lies at −69 dBFS and covers all of this"."""
    booth = session.replaced({"preamp/gain_db": 41.0}).render()
    read = gl.measure("noise_floor_dbfs", booth.at("converter"))
    source = "derived: powers add; the course's definition of a noise floor worked out again"
    reckoned("the booth's noise lies at −69 dBFS", -69, noise_at(41), read, within=0.5, near=0.2, source=source)


@pytest.mark.parametrize(
    ("bits", "quote", "said"), [(24, "24 bits lose only 0.16 dB", 0.16), (16, "With 16 bits 1.2 dB are gone", 1.2)]
)
def test_far_down_16_bits_lose_distance_and_24_bits_little(session, reckoned, bits, quote, said):
    """Read: "24 bits lose only 0.16 dB. With 16 bits 1.2 dB are gone"."""
    lost = added(noise_at(17), CONVERTER, paper.steps_noise_dbfs(bits)) - noise_at(17)
    lost -= added(noise_at(41), CONVERTER) - noise_at(41)
    read = distance_db(session, 41, 24) - distance_db(session, 17, bits)
    source = "derived: booth, preamp, converter and steps (a twelfth of the square) add as powers"
    reckoned(quote, said, lost, read, within=0.05, near=0.1, source=source)


def distance_db(session, gain_db, bits):
    level = session.replaced({"preamp/gain_db": gain_db, "converter/bits": bits}).render().level("converter")
    return level.rms_dbfs - level.noise_dbfs
