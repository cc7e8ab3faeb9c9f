"""What the lesson "Trim before the threshold" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "06-trim-before-threshold"
STEMS = ("snare", "bass", "guitar", "pad", "lead-voice", "backing-voices")


@pytest.fixture(scope="module")
def session(lesson_start):
    return lesson_start(LESSON)["session"]


def most_db(session, recorded_db, trim_db=0, fader_db=0):
    settings = {"recorded/gain_db": recorded_db, "trim/gain_db": trim_db, "fader/gain_db": fader_db}
    return session.replaced(settings).render().reading("compressor", "gain_reduction_db")


def chorus(name):
    return gl.read(f"media/{name}.flac").between(9.5, 14.25)


def spread(levels):
    return max(levels) - min(levels)


def over_peak_db(name):
    stem = gl.read(f"media/{name}.flac")
    return gl.measure("active_rms_dbfs", stem) - gl.measure("peak_dbfs", stem)


# Sentence of the lesson: (the number in it, how near, what is measured).
CLAIMS = {
    "turned down by 8 dB": (8, 0.5, lambda s: most_db(s, 0)),
    "three sounds: 0.7 dB": (0.7, 0.05, lambda s: most_db(s, -12)),
    "0.7 dB, 7.9 dB": (7.9, 0.05, lambda s: most_db(s, 0)),
    "7.9 dB and 16.7 dB": (16.7, 0.05, lambda s: most_db(s, 12)),
    "the soft voice gets its 7.9 dB back": (7.9, 0.05, lambda s: most_db(s, -12, trim_db=12)),
    "They lie 11 dB apart": (
        11,
        0.5,
        lambda s: spread([gl.measure("active_rms_dbfs", chorus(each)) for each in STEMS]),
    ),
    "its peaks would stand 3.5 dB over full scale": (
        3.5,
        0.05,
        lambda s: gl.measure("peak_dbfs", chorus("snare")) - 20 - gl.measure("active_rms_dbfs", chorus("snare")),
    ),
    "the steady levels lie 16 dB apart": (16, 0.5, lambda s: spread([over_peak_db(each) for each in STEMS])),
}


@pytest.mark.parametrize("sentence", CLAIMS)
def test_the_lesson_says_what_is_measured(sentence, session, lesson_text):
    wanted, within, measured = CLAIMS[sentence]
    assert sentence in " ".join(lesson_text(LESSON).replace("**", "").split())
    assert f"{wanted:g}" in sentence
    assert measured(session) == pytest.approx(wanted, abs=within)


def test_the_text_names_the_preset_and_the_stems_that_are_measured_here(session, lesson_text):
    """Predict: "threshold −20 dBFS, ratio 4"."""
    assert (session.setting("compressor/threshold_db"), session.setting("compressor/ratio")) == (-20, 4)
    assert f"names = [{', '.join(chr(34) + each + chr(34) for each in STEMS)}]" in lesson_text(LESSON)
    assert ".between(9.5, 14.25)" in lesson_text(LESSON)


def test_the_fader_does_not_touch_the_reduction(session):
    """Move: "Does the compressor care?" It does not."""
    assert most_db(session, -12, fader_db=10) == most_db(session, -12) < 1


def test_a_snare_at_the_rms_of_a_pad_would_stand_over_full_scale():
    """Move: "What would happen to its peaks if you brought its RMS to −20 dBFS as well?" """
    snare = chorus("snare")
    assert gl.measure("peak_dbfs", snare) + (-20 - gl.measure("active_rms_dbfs", snare)) > 3
    # By its peaks to -8 dBFS: within the reach of the trim.
    assert -24 < -8 - gl.measure("peak_dbfs", snare) < 24


def test_what_sustains_reaches_the_range_with_its_trim():
    """Move: "to an RMS near −20 dBFS. Use the trims"; no peak then stands over full scale."""
    for name in STEMS[1:]:
        trim = -20 - gl.measure("active_rms_dbfs", chorus(name))
        assert abs(trim) < 24
        assert gl.measure("peak_dbfs", chorus(name)) + trim < 0


def test_normalising_spreads_the_levels_further_than_they_were(lesson_text):
    """Read: "16 dB apart: further than before"."""
    before = [gl.measure("active_rms_dbfs", gl.read(f"media/{each}.flac")) for each in STEMS]
    assert spread([over_peak_db(each) for each in STEMS]) > spread(before) + 3


def test_a_fader_is_fine_near_0_db_and_coarse_far_down():
    """Read: "It also stands where it can be set finely"."""
    assert gl.Fader(-4).db_per_mm == pytest.approx(0.4)
    assert gl.Fader(-40).db_per_mm == pytest.approx(2.0)
