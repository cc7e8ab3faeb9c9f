"""What the lesson "Hear what a compressor does" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "07-hear-a-compressor"


@pytest.fixture(scope="module")
def voice():
    return gl.read("media/lead-voice.flac").between(4.9, 14.0)


@pytest.fixture(scope="module")
def drum():
    return gl.read("media/snare.flac").between(9.5, 14.25)


def through(take, **settings):
    # The compressor of the lesson's first cell; the test below holds the two together.
    asleep = gl.Compressor(threshold_db=0, ratio=4, knee_db=6, attack_ms=5, release_ms=100)
    session = gl.Session.of(take, [gl.Trim(), asleep], name="take")
    return session.replaced({f"compressor/{name}": value for name, value in settings.items()}).render()


def test_takes_and_compressor_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.read("media/lead-voice.flac").between(4.9, 14.0)' in text
    assert 'gl.read("media/snare.flac").between(9.5, 14.25)' in text
    assert "gl.Compressor(threshold_db=0, ratio=4, knee_db=6, attack_ms=5, release_ms=100)" in text


def test_a_steady_level_12_db_over_comes_out_3_db_over():
    """Title: "at 4:1, a sound that is 12 dB over the threshold comes out 3 dB over it"."""
    stage = gl.Compressor(threshold_db=-20, ratio=4)
    assert stage.curve_db(-8.0) - -20 == pytest.approx(3, abs=1e-6)


def test_the_sleeping_compressor_changes_nothing(voice, drum):
    """Title: "their threshold is 0 dBFS, and nothing comes that high" (3 dB of its knee included)."""
    for take in (voice, drum):
        assert through(take).reading("compressor", "gain_reduction_db") < 0.05


def test_two_quiet_and_two_loud_lines(voice):
    """Title: "two quiet and two loud lines of a singer"."""
    found = [each.rms_dbfs for each in phrases_of(voice)]
    assert min(found) < -30
    assert max(found) > -18


def phrases_of(take):
    from gainlib.meters import find_phrases

    return find_phrases(take.samples, take.rate_hz)


def test_the_loudest_notes_stand_15_db_over_the_threshold(voice):
    """Predict: "the loudest notes stand 15 dB over it"; Read: "would be turned down by about 11 dB"."""
    assert gl.measure("peak_dbfs", voice) - -24 == pytest.approx(15, abs=0.5)
    stage = gl.Compressor(threshold_db=-24, ratio=4)
    assert stage.reduction_at_db(-24.0 + 15.0) == pytest.approx(11, abs=0.5)


def test_three_figures_for_one_reduction(voice):
    """Read: "the largest reduction is about 9 dB", "the average over the whole take is only 2.5 dB", "3.7 dB"."""
    rendering = through(voice, threshold_db=-24)
    assert rendering.reading("compressor", "gain_reduction_db") == pytest.approx(9, abs=0.5)
    assert rendering.reading("compressor", "mean_gain_reduction_db") == pytest.approx(2.5, abs=0.05)
    trace = rendering.reduction_db("compressor")
    assert trace[trace > 0.1].mean() == pytest.approx(3.7, abs=0.05)


def test_a_fast_attack_takes_the_tip_and_a_slow_one_lets_it_through(drum):
    """Read: "With no attack the tip of the stroke falls by almost 12 dB. With 10 ms it falls by 0.2 dB"."""
    came = gl.measure("peak_dbfs", drum)
    fast = through(drum, threshold_db=-20, attack_ms=0).level("compressor").peak_dbfs
    slow = through(drum, threshold_db=-20, attack_ms=10)
    assert 11 < came - fast < 12
    assert came - slow.level("compressor").peak_dbfs == pytest.approx(0.2, abs=0.05)


def test_a_slow_attack_makes_the_drum_sharper(drum):
    """Read: "It makes a drum sharper, because the tip now stands further over the rest"; the fast one does not."""
    came = gl.measure("crest_db", drum)
    assert gl.measure("crest_db", through(drum, threshold_db=-20, attack_ms=10).at("compressor")) > came + 0.5
    assert gl.measure("crest_db", through(drum, threshold_db=-20, attack_ms=0).at("compressor")) < came - 2


def test_a_long_release_never_lets_go(drum):
    """Read: "At 2000 ms the snare is turned down by 2.3 dB on average, at 100 ms by 0.3 dB"; "never lets go"."""
    long = through(drum, threshold_db=-20, release_ms=2000)
    short = through(drum, threshold_db=-20, release_ms=100)
    assert long.reading("compressor", "mean_gain_reduction_db") == pytest.approx(2.3, abs=0.05)
    assert short.reading("compressor", "mean_gain_reduction_db") == pytest.approx(0.3, abs=0.05)
    second = drum.rate_hz
    assert long.reduction_db("compressor")[second:].min() > 1.0
    assert short.reduction_db("compressor")[second:].min() < 0.05


def test_makeup_of_12_db_makes_it_louder_than_it_was(voice):
    """Read: "With 12 dB of makeup the voice came back more than 5 LU louder"."""
    after = through(voice, threshold_db=-24, makeup_db=12).at("compressor")
    assert 5 < gl.measure("loudness_lufs", after) - gl.measure("loudness_lufs", voice) < 6


def test_the_fair_makeup_is_6_5_db_and_brings_the_noise_up(voice):
    """Read: "here 6.5 dB" and "the noise in the pauses stands 6 dB higher than before"."""
    fair = through(voice, threshold_db=-24, makeup_db=6.5).at("compressor")
    assert gl.measure("loudness_lufs", fair) == pytest.approx(gl.measure("loudness_lufs", voice), abs=0.1)
    higher = gl.measure("noise_floor_dbfs", fair) - gl.measure("noise_floor_dbfs", voice)
    assert higher == pytest.approx(6, abs=0.5)
