"""What the lesson "Hear what a compressor does" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import functools

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "hear-a-compressor"


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


@pytest.mark.holds_the_text
def test_takes_and_compressor_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'gl.read("media/lead-voice.flac").between(4.9, 14.0)' in text
    assert 'gl.read("media/snare.flac").between(9.5, 14.25)' in text
    assert "gl.Compressor(threshold_db=0, ratio=4, knee_db=6, attack_ms=5, release_ms=100)" in text


VOICE = paper.stem("lead-voice", 4.9, 14.0)
DRUM = paper.stem("snare", 9.5, 14.25)
CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, curve and smooth branching"
AES17 = f"{CURVE}; AES17"
LOUDNESS = f"{CURVE}; BS.1770-5, annex 1"


@functools.cache
def on_paper(name, threshold_db, attack_ms=5, release_ms=100):
    """The reduction of the lesson's compressor at each sample."""
    return paper.reduction_db({"voice": VOICE, "drum": DRUM}[name], threshold_db, 4, 6, attack_ms, release_ms)


def drum_through(attack_ms):
    return DRUM * 10 ** (-on_paper("drum", -20, attack_ms) / 20)


def test_a_steady_level_12_db_over_comes_out_3_db_over(reckoned):
    """Title: "at 4:1, a sound that is 12 dB over the threshold comes out 3 dB over it"."""
    stage = gl.Compressor(threshold_db=-20, ratio=4)
    quote = "at 4:1, a sound that is 12 dB over the threshold comes out 3 dB over it"
    reckoned(quote, 3, 12 / 4, stage.curve_db(-8.0) - -20, within=1e-6, source="published: the ratio's definition")


def test_the_sleeping_compressor_changes_nothing(voice, drum, reckoned):
    """Title: "their threshold is 0 dBFS, and nothing comes that high" (3 dB of its knee included)."""
    for take, name in ((voice, "voice"), (drum, "drum")):
        read = through(take).reading("compressor", "gain_reduction_db") < 0.05
        quote = "their threshold is 0 dBFS, and nothing comes that high"
        reckoned(quote, True, on_paper(name, 0).max() < 0.05, read, source=CURVE)


@pytest.mark.reading_of_our_own
def test_two_quiet_and_two_loud_lines(voice):
    """Title: "two quiet and two loud lines of a singer"."""
    found = [each.rms_dbfs for each in phrases_of(voice)]
    assert min(found) < -30
    assert max(found) > -18


def phrases_of(take):
    from gainlib.meters import find_phrases

    return find_phrases(take.samples, take.rate_hz)


def test_the_loudest_notes_stand_15_db_over_the_threshold(voice, reckoned):
    """Predict: "the loudest notes stand 15 dB over it"; Read: "would be turned down by about 11 dB"."""
    over = paper.peak_dbfs(VOICE) + 24
    read = gl.measure("peak_dbfs", voice) + 24
    reckoned("the loudest notes stand 15 dB over it", 15, over, read, within=0.5, near=1e-6, source="published: AES17")
    read = gl.Compressor(threshold_db=-24, ratio=4).reduction_at_db(-24.0 + 15.0)
    quote = "would be turned down by about 11 dB"
    reckoned(quote, 11, 15 * (1 - 1 / 4), read, within=0.5, near=1e-9, source="published: the ratio's definition")


def test_three_figures_for_one_reduction(voice, reckoned):
    """Read: "the largest reduction is about 9 dB", "the average over the whole take is only 2.5 dB", "3.7 dB"."""
    rendering = through(voice, threshold_db=-24)
    expected, trace = on_paper("voice", -24), rendering.reduction_db("compressor")
    for quote, said, on, read, within in (
        ("the largest reduction is about 9 dB", 9, expected.max(), "gain_reduction_db", 0.5),
        ("the average over the whole take is only 2.5 dB", 2.5, expected.mean(), "mean_gain_reduction_db", 0.05),
    ):
        read = rendering.reading("compressor", read)
        reckoned(quote, said, on, read, within=within, near=0.005, source=CURVE)
    read = trace[trace > 0.1].mean()
    reckoned("3.7 dB", 3.7, expected[expected > 0.1].mean(), read, near=0.005, source=CURVE)


def test_a_fast_attack_takes_the_tip_and_a_slow_one_lets_it_through(drum, reckoned):
    """Read: "With no attack the tip of the stroke falls by almost 12 dB. With 10 ms it falls by 0.2 dB"."""
    came = gl.measure("peak_dbfs", drum)
    fast = came - through(drum, threshold_db=-20, attack_ms=0).level("compressor").peak_dbfs
    slow = came - through(drum, threshold_db=-20, attack_ms=10).level("compressor").peak_dbfs
    quote = "With no attack the tip of the stroke falls by almost 12 dB"
    falls = paper.peak_dbfs(DRUM) - paper.peak_dbfs(drum_through(0))
    assert 11 < falls < 12
    reckoned(quote, 12, falls, fast, within=1.0, near=0.005, source=AES17)
    falls = paper.peak_dbfs(DRUM) - paper.peak_dbfs(drum_through(10))
    reckoned("With 10 ms it falls by 0.2 dB", 0.2, falls, slow, near=0.005, source=AES17)


def test_a_slow_attack_makes_the_drum_sharper(drum, reckoned):
    """Read: "It makes a drum sharper, because the tip now stands further over the rest"; the fast one does not."""

    def sharper(came, slow, fast):
        return slow > came + 0.5 and fast < came - 2

    went = (through(drum, threshold_db=-20, attack_ms=each).at("compressor") for each in (10, 0))
    read = sharper(*(gl.measure("crest_db", each) for each in (drum, *went)))
    expected = sharper(*(paper.crest_db(each) for each in (DRUM, drum_through(10), drum_through(0))))
    quote = "It makes a drum sharper, because the tip now stands further over the rest"
    reckoned(quote, True, expected, read, source=f"{CURVE}; IEC 60268-1")


def test_a_long_release_never_lets_go(drum, reckoned):
    """Read: "At 2000 ms the snare is turned down by 2.3 dB on average, at 100 ms by 0.3 dB"; "never lets go"."""
    second = drum.rate_hz
    least, never = {}, {}
    for release_ms, said in ((2000, 2.3), (100, 0.3)):
        rendering = through(drum, threshold_db=-20, release_ms=release_ms)
        expected = on_paper("drum", -20, 5, release_ms)
        quote = "At 2000 ms the snare is turned down by 2.3 dB on average, at 100 ms by 0.3 dB"
        read = rendering.reading("compressor", "mean_gain_reduction_db")
        reckoned(quote, said, expected.mean(), read, near=0.005, source=CURVE)
        least[release_ms] = rendering.reduction_db("compressor")[second:].min()
        never[release_ms] = expected[second:].min()
    lets_go = least[2000] > 1.0 and least[100] < 0.05
    reckoned("never lets go", True, never[2000] > 1.0 and never[100] < 0.05, lets_go, source=CURVE)


def test_makeup_of_12_db_makes_it_louder_than_it_was(voice, reckoned):
    """Read: "With 12 dB of makeup the voice came back more than 5 LU louder"."""
    after = through(voice, threshold_db=-24, makeup_db=12).at("compressor")
    louder = gl.measure("loudness_lufs", after) - gl.measure("loudness_lufs", voice)
    went = VOICE * 10 ** ((12 - on_paper("voice", -24)) / 20)
    expected = paper.loudness_lufs(went) - paper.loudness_lufs(VOICE)
    assert louder == pytest.approx(expected, abs=0.01)
    quote = "With 12 dB of makeup the voice came back more than 5 LU louder"
    reckoned(quote, True, 5 < expected < 6, 5 < louder < 6, source=LOUDNESS)


def test_the_fair_makeup_is_6_5_db_and_brings_the_noise_up(voice, reckoned):
    """Read: "here 6.5 dB" and "the noise in the pauses stands 6 dB higher than before"."""
    fair = through(voice, threshold_db=-24, makeup_db=6.5).at("compressor")
    went = VOICE * 10 ** (-on_paper("voice", -24) / 20)
    makeup = paper.loudness_lufs(VOICE) - paper.loudness_lufs(went)
    read = 6.5 + gl.measure("loudness_lufs", voice) - gl.measure("loudness_lufs", fair)
    reckoned("here 6.5 dB", 6.5, makeup, read, within=0.1, near=0.01, source=LOUDNESS)
    higher = gl.measure("noise_floor_dbfs", fair) - gl.measure("noise_floor_dbfs", voice)
    expected = 6.5 + paper.noise_floor_dbfs(went) - paper.noise_floor_dbfs(VOICE)
    quote = "the noise in the pauses stands 6 dB higher than before"
    reckoned(quote, 6, expected, higher, within=0.5, near=0.01, source=f"{CURVE}; the course's noise floor")
