"""What the lesson "Find clipping" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import math

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "find-clipping"
HOT = {"preamp/gain_db": 41, "trim/gain_db": 16}


@pytest.fixture(scope="module")
def session(lesson_start):
    return lesson_start(LESSON)["session"]


TAKE = paper.take(LESSON, "lead voice", "end")
# dBFS of the stem to dBu behind the source (-24 dBu) and the preamp; its noise, 96 dB lower, is left out on paper.
CEILING_DBU, FULL_SCALE_DBU = 18, 24
LEVELS = "published: AES17, the stem's own samples; SMPTE RP 155, 0 dBFS is +24 dBu; derived: decibel arithmetic"
RUNS = "common practice: three neighbouring samples and more, counted in the stem's own samples"


def over_the_ceiling(gain_db):
    """The lengths of the runs that the preamp cuts at that gain."""
    return paper.runs_at(TAKE, 10 ** ((CEILING_DBU - (-24 + gain_db)) / 20))


HOT_DBFS = paper.peak_dbfs(TAKE) - 24 + 41 - FULL_SCALE_DBU + 16

# Sentence of the lesson: (the number in it, how near, what paper says, what is measured, what the paper rests on).
RECKONED = {
    "The preamp has cut off 279 peaks": (
        279,
        0,
        len(over_the_ceiling(50)),
        lambda s: s.render().level("preamp").clipped,
        RUNS,
    ),
    "the take passes the converter with 6 dB to spare": (
        6,
        0.05,
        FULL_SCALE_DBU - CEILING_DBU,
        lambda s: s.render().level("converter").headroom_db,
        LEVELS,
    ),
    "these peaks were cut off 6 dB below it": (
        6,
        0.05,
        FULL_SCALE_DBU - CEILING_DBU,
        lambda s: -gl.measure("peak_dbfs", s.render().at("fader")),
        LEVELS,
    ),
    "the shout stands 5 dB over full scale": (5, 0.5, HOT_DBFS, lambda s: hot(s).level("trim").peak_dbfs, LEVELS),
    "The trim wrote 4.9 dB over full scale": (4.9, 0.05, HOT_DBFS, lambda s: hot(s).level("trim").peak_dbfs, LEVELS),
    "One decibel too much leaves 3 short cuts": (3, 0, len(over_the_ceiling(47)), lambda s: len(cuts(s, 47)), RUNS),
    "the longest 5 samples": (5, 0, max(over_the_ceiling(47)), lambda s: cuts(s, 47).longest, RUNS),
    # One run of them is decided by the preamp's noise, which paper leaves out.
    "Ten decibels too much leave 3472 cuts": (3472, 1, len(over_the_ceiling(56)), lambda s: len(cuts(s, 56)), RUNS),
    "of up to 37 samples": (37, 0, max(over_the_ceiling(56)), lambda s: cuts(s, 56).longest, RUNS),
}
READINGS = {
    "The preamp here gives +18 dBu at most": (18, 0.01, lambda s: s.setting("preamp/max_output_dbu")),
    "Somebody raised the trim by 16 dB": (16, 0.01, lambda s: hot(s).session.setting("trim/gain_db")),
}


def hot(session, **more):
    return session.replaced(HOT | more).render()


def cuts(session, gain_db):
    return session.replaced({"preamp/gain_db": gain_db}).render().clipped("preamp")


@pytest.mark.parametrize("sentence", RECKONED)
def test_the_lesson_says_what_is_reckoned(sentence, session, reckoned):
    said, within, on_paper, measured, source = RECKONED[sentence]
    read = measured(session)
    reckoned(sentence, said, on_paper, read, within=within, source=source)
    assert read == said or source is not RUNS or gl.takes(LESSON).own


@pytest.mark.parametrize("sentence", READINGS)
def test_the_lesson_says_what_is_measured(sentence, session, own_reading):
    said, within, measured = READINGS[sentence]
    own_reading(sentence, said, measured(session), within=within)


@pytest.mark.holds_the_text
def test_the_chain_is_the_one_that_the_text_describes(session):
    """Setup: full scale of the converter: "Here that is +24 dBu"; the file is a float file."""
    assert session.channel("voice").stage("converter").full_scale_volts == pytest.approx(
        session.channel("voice").stage("preamp").ceiling * 10 ** (6 / 20)
    )
    assert session.setting("stored file/coding") == "float 32"


@pytest.mark.reading_of_our_own(count=2)
def test_a_lamp_at_full_scale_finds_none_and_the_flat_tops_stay(session):
    """Read: "The lamp stays dark"; "Turned down, the count is the same"."""
    done, lower = (session.replaced({"trim/gain_db": gain}).render().at("fader") for gain in (0, -12))
    assert gl.measure("clipped_runs", done) == 0
    # "It may be a few more than the cuts": none on the bundled take, a reading of our own.
    more = gl.measure("flat_tops", done) - len(cuts(session, 50))
    assert gl.measure("flat_tops", done) == gl.measure("flat_tops", lower)
    assert more == 0 if gl.takes(LESSON).own is False else 0 <= more < 0.1 * len(cuts(session, 50))
    assert gl.measure("peak_dbfs", lower) == pytest.approx(gl.measure("peak_dbfs", done) - 12, abs=1e-6)


@pytest.mark.reading_of_our_own(count=1)
def test_what_bends_the_wave_after_the_cut_hides_them(session):
    """Read: "Whatever bends the wave after the cut can hide it"; "or a capacitor in the output"."""
    from scipy.signal import lfilter, resample_poly

    done = session.render().at("fader")
    pole = math.exp(-2 * math.pi * 5 / done.rate_hz)  # a capacitor: first order, 5 Hz
    coupled = lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], done.samples, axis=0)
    assert gl.measure("flat_tops", gl.Audio(coupled, done.rate_hz)) == 0
    resampled = gl.Audio(resample_poly(done.samples, 147, 160, axis=0), 44_100)
    assert gl.measure("flat_tops", resampled) < len(cuts(session, 50)) / 2


def test_only_the_preamp_mends_the_first_bench(session, reckoned):
    """Move: "Lower the preamp until nothing clips"; Read: 47 dB is "One decibel too much", 56 dB "Ten decibels"."""
    clips = len(cuts(session, 46)) == 0 < len(cuts(session, 47))
    expected = len(over_the_ceiling(46)) == 0 < len(over_the_ceiling(47))
    reckoned("One decibel too much", True, expected, clips, source=RUNS)
    over = session.replaced({"preamp/gain_db": 46}).render().level("preamp").headroom_db
    below = CEILING_DBU - (paper.peak_dbfs(TAKE) - 24 + 46)
    reckoned("Lower the preamp until nothing clips", True, abs(below) < 0.5, abs(over - below) < 0.02, source=LEVELS)


@pytest.mark.reading_of_our_own(count=3)
def test_over_full_scale_a_float_file_is_whole_and_a_fixed_one_is_not(session):
    """Move: "Nothing has clipped so far"; Read: "the fader brought all of it back"; only the trim mends *fixed 24*."""
    clean = session.replaced({"preamp/gain_db": 41}).render().at("fader")
    back = hot(session, **{"fader/gain_db": -16}).at("fader")
    assert hot(session).level("stored file").clipped == 0
    assert abs(back.samples - clean.samples).max() < 1e-6
    fixed = {"stored file/coding": "fixed 24", "fader/gain_db": -12}
    assert gl.measure("flat_tops", hot(session, **fixed).at("fader")) > 100
    assert hot(session, **fixed, **{"trim/gain_db": 11}).level("stored file").clipped == 0
