"""What the lesson "Trim before the threshold" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "trim-before-threshold"
STEMS = ("snare", "bass", "guitar", "pad", "lead voice", "backing voices")


@pytest.fixture(scope="module")
def session(lesson_start):
    return lesson_start(LESSON)["session"]


def most_db(session, recorded_db, trim_db=0, fader_db=0):
    settings = {"recorded/gain_db": recorded_db, "trim/gain_db": trim_db, "fader/gain_db": fader_db}
    return session.replaced(settings).render().reading("compressor", "gain_reduction_db")


def chorus(name):
    return gl.takes(LESSON)[name, "chorus"].between(0, 4.75)


def spread(levels):
    return max(levels) - min(levels)


def over_peak_db(name):
    stem = gl.takes(LESSON)[name]
    return gl.measure("active_rms_dbfs", stem) - gl.measure("peak_dbfs", stem)


TAKE = paper.take(LESSON, "lead voice", "chorus")
CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, curve and smooth branching"
LEVELS = "published: AES17, the stems' own samples; the course's definition of a level while playing, worked out again"


def most_on_paper(into_db):
    return paper.reduction_db(TAKE * 10 ** (into_db / 20), -20, 4).max()


def chorus_on_paper(name):
    return paper.part(paper.take(LESSON, name, "chorus"), 0, 4.75)


def over_peak_on_paper(name):
    return paper.active_rms_dbfs(paper.take(LESSON, name)) - paper.peak_dbfs(paper.take(LESSON, name))


# Sentence of the lesson: (the number in it, how near, what paper says, what is measured, what the paper rests on).
CLAIMS = {
    "turned down by 8 dB": (8, 0.5, lambda: most_on_paper(0), lambda s: most_db(s, 0), CURVE),
    "three sounds: 0.6 dB": (0.6, 0.05, lambda: most_on_paper(-12), lambda s: most_db(s, -12), CURVE),
    "0.6 dB, 7.7 dB": (7.7, 0.05, lambda: most_on_paper(0), lambda s: most_db(s, 0), CURVE),
    "7.7 dB and 16.5 dB": (16.5, 0.05, lambda: most_on_paper(12), lambda s: most_db(s, 12), CURVE),
    "They lie 11 dB apart": (
        11,
        0.5,
        lambda: spread([paper.active_rms_dbfs(chorus_on_paper(each)) for each in STEMS]),
        lambda s: spread([gl.measure("active_rms_dbfs", chorus(each)) for each in STEMS]),
        LEVELS,
    ),
    "With this snare it would be 3.5 dB": (
        3.5,
        0.05,
        lambda: paper.peak_dbfs(chorus_on_paper("snare")) - 20 - paper.active_rms_dbfs(chorus_on_paper("snare")),
        lambda s: gl.measure("peak_dbfs", chorus("snare")) - 20 - gl.measure("active_rms_dbfs", chorus("snare")),
        LEVELS,
    ),
    "the steady levels lie 16 dB apart": (
        16,
        0.5,
        lambda: spread([over_peak_on_paper(each) for each in STEMS]),
        lambda s: spread([over_peak_db(each) for each in STEMS]),
        LEVELS,
    ),
}


@pytest.mark.parametrize("sentence", CLAIMS)
def test_the_lesson_says_what_is_reckoned(sentence, session, reckoned):
    said, within, on_paper, measured, source = CLAIMS[sentence]
    reckoned(sentence, said, on_paper(), measured(session), within=within, near=0.005, source=source)


@pytest.mark.holds_the_text
def test_the_text_names_the_preset_and_the_stems_that_are_measured_here(session, lesson_text):
    """Predict: "threshold −20 dBFS, ratio 4"."""
    assert (session.setting("compressor/threshold_db"), session.setting("compressor/ratio")) == (-20, 4)
    assert f"roles = [{', '.join(chr(34) + each + chr(34) for each in STEMS)}]" in lesson_text(LESSON)
    assert 'takes[each, "chorus"].between(0, 4.75)' in lesson_text(LESSON)


def test_a_trim_of_12_db_brings_the_soft_voice_back(session, reckoned):
    """Read: "with 12 dB of trim the soft voice is turned down as it was last week"; "would stand over full scale"."""
    quote = "with 12 dB of trim the soft voice is turned down as it was last week"
    same = most_db(session, -12, trim_db=12) == pytest.approx(most_db(session, 0), abs=1e-6)
    reckoned(quote, True, most_on_paper(-12 + 12) == most_on_paper(0), same, source=CURVE)


def test_the_fader_does_not_touch_the_reduction(session, reckoned):
    """Move: "Does the compressor care?" It does not."""
    read = most_db(session, -12, fader_db=10) == most_db(session, -12) < 1
    reckoned("Does the compressor care?", True, most_on_paper(-12) < 1, read, source=CURVE)


def test_a_snare_at_the_rms_of_a_pad_would_stand_over_full_scale(reckoned):
    """Move: "What would happen to its peaks if you brought its RMS to −20 dBFS as well?" """
    snare, samples = chorus("snare"), chorus_on_paper("snare")
    over = paper.peak_dbfs(samples) - 20 - paper.active_rms_dbfs(samples)
    read = gl.measure("peak_dbfs", snare) - 20 - gl.measure("active_rms_dbfs", snare)
    quote = "What would happen to its peaks if you brought its RMS to −20 dBFS as well?"
    reckoned(quote, True, over > 1, read > 1, source=LEVELS)
    # By its peaks to -8 dBFS: within the reach of the trim.
    assert -24 < -8 - paper.peak_dbfs(samples) < 24


def test_what_sustains_reaches_the_range_with_its_trim(reckoned):
    """Move: "to an RMS near −20 dBFS. Use the trims"; no peak then stands over full scale."""

    def reaches(peak_dbfs, rms_dbfs):
        return abs(-20 - rms_dbfs) < 24 and peak_dbfs - 20 - rms_dbfs < 0

    for name in STEMS[1:]:
        samples = chorus_on_paper(name)
        on_paper = reaches(paper.peak_dbfs(samples), paper.active_rms_dbfs(samples))
        read = reaches(*(gl.measure(each, chorus(name)) for each in ("peak_dbfs", "active_rms_dbfs")))
        reckoned("to an RMS near −20 dBFS. Use the trims", True, on_paper, read, source=LEVELS)


def test_normalising_spreads_the_levels_further_than_they_were(reckoned):
    """Read: "As they came, it was 11 dB"."""
    before = spread([paper.active_rms_dbfs(paper.take(LESSON, each)) for each in STEMS])
    read = spread([gl.measure("active_rms_dbfs", gl.takes(LESSON)[each]) for each in STEMS])
    reckoned("As they came, it was 11 dB", 11, before, read, within=0.5, near=0.005, source=LEVELS)


@pytest.mark.reading_of_our_own
def test_a_fader_is_fine_near_0_db_and_coarse_far_down():
    """Read: "It also stands where it can be set finely"; the taper is the course's own."""
    assert gl.Fader(-4).db_per_mm == pytest.approx(0.4)
    assert gl.Fader(-40).db_per_mm == pytest.approx(2.0)
