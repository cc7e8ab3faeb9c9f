"""What the lesson "Hear what a compressor does" says in numbers, measured on the lesson's own chains."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
import reckoning as paper
from scipy.signal import butter, lfilter

import gainlib as gl

LESSON = "hear-a-compressor"


@pytest.fixture(scope="module")
def voice():
    return gl.takes(LESSON)["lead voice", "into the chorus"]


@pytest.fixture(scope="module")
def drum():
    return gl.takes(LESSON)["snare", "chorus"].between(0, 4.75)


def through(take, **settings):
    # The compressor of the lesson's first cell; the test below holds the two together.
    asleep = gl.Compressor(threshold_db=0, ratio=4, knee_db=6, attack_ms=5, release_ms=100)
    session = gl.Session.of(take, [gl.Trim(), asleep], name="take")
    return session.replaced({f"compressor/{name}": value for name, value in settings.items()}).render()


@pytest.mark.holds_the_text
def test_takes_and_compressor_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    assert 'takes["lead voice", "into the chorus"], takes["snare", "chorus"].between(0, 4.75)' in text
    assert "gl.Compressor(threshold_db=0, ratio=4, knee_db=6, attack_ms=5, release_ms=100)" in text


VOICE = paper.take(LESSON, "lead voice", "into the chorus")
DRUM = paper.part(paper.take(LESSON, "snare", "chorus"), 0, 4.75)
PAIR = ("kick", "guitar")
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
    """Read: "the largest reduction is 9 dB", "the average over the whole take is only 2.7 dB", "3.8 dB"."""
    rendering = through(voice, threshold_db=-24)
    expected, trace = on_paper("voice", -24), rendering.reduction_db("compressor")
    for quote, said, on, read, within in (
        ("the largest reduction is 9 dB", 9, expected.max(), "gain_reduction_db", 0.5),
        ("the average over the whole take is only 2.7 dB", 2.7, expected.mean(), "mean_gain_reduction_db", 0.05),
    ):
        read = rendering.reading("compressor", read)
        reckoned(quote, said, on, read, within=within, near=0.005, source=CURVE)
    read = trace[trace > 0.1].mean()
    reckoned("3.8 dB", 3.8, expected[expected > 0.1].mean(), read, near=0.005, source=CURVE)


def test_a_fast_attack_takes_the_tip_and_a_slow_one_lets_it_through(drum, reckoned):
    """Read: "With no attack the tip of the stroke falls by 11.6 dB. With 10 ms it falls by 0.2 dB"."""
    came = gl.measure("peak_dbfs", drum)
    fast = came - through(drum, threshold_db=-20, attack_ms=0).level("compressor").peak_dbfs
    slow = came - through(drum, threshold_db=-20, attack_ms=10).level("compressor").peak_dbfs
    quote = "With no attack the tip of the stroke falls by 11.6 dB"
    falls = paper.peak_dbfs(DRUM) - paper.peak_dbfs(drum_through(0))
    reckoned(quote, 11.6, falls, fast, near=0.005, source=AES17)
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
    """Read: "by 1.7 dB on average at 2000 ms, and by 0.2 dB at 100 ms" (attack 10 ms); "never lets go"."""
    second = drum.rate_hz
    least, never = {}, {}
    for release_ms, said in ((2000, 1.7), (100, 0.2)):
        rendering = through(drum, threshold_db=-20, attack_ms=10, release_ms=release_ms)
        expected = on_paper("drum", -20, 10, release_ms)
        quote = "by 1.7 dB on average at 2000 ms, and by 0.2 dB at 100 ms"
        read = rendering.reading("compressor", "mean_gain_reduction_db")
        reckoned(quote, said, expected.mean(), read, near=0.005, source=CURVE)
        least[release_ms] = rendering.reduction_db("compressor")[second:].min()
        never[release_ms] = expected[second:].min()
    lets_go = least[2000] > 0.5 and least[100] < 0.05
    reckoned("never lets go", True, never[2000] > 0.5 and never[100] < 0.05, lets_go, source=CURVE)


def test_times_of_others(reckoned):
    """Move: "the time to 90 % (2.3 times as long) or from 10 to 90 % (2.2 times)"."""
    level = gl.Audio([1e-3] * 1000 + [1.0] * 9600, 48000)
    step = gl.Session.of(level, [gl.Compressor(-20, 4, 0, attack_ms=10)]).render().reduction_db("compressor").ravel()
    share = step[1000:] / 15.0
    ninety, ten = (1 + int((share < part).sum()) for part in (0.9, 0.1))
    for quote, said, expected, read in (
        ("the time to 90 % (2.3 times as long)", 2.3, math.log(10), ninety / 480),
        ("from 10 to 90 % (2.2 times)", 2.2, math.log(9), (ninety - ten) / 480),
    ):
        reckoned(quote, said, expected, read, near=0.01, source="derived: 1 - exp(-t/T)")


def test_what_look_ahead_and_detector_do_to_the_tip(drum, reckoned):
    """Read: "With 10 ms of **look-ahead** the same attack takes 1.3 dB off the tip, not 0.2", an rms "nothing"."""
    came = gl.measure("peak_dbfs", drum)
    read = came - through(drum, threshold_db=-20, attack_ms=10, look_ahead_ms=10).level("compressor").peak_dbfs
    early = np.append(on_paper("drum", -20, 10)[480:], np.zeros(480))
    expected = paper.peak_dbfs(DRUM) - paper.peak_dbfs(DRUM * 10 ** (-early / 20))
    quote = "With 10 ms of **look-ahead** the same attack takes 1.3 dB off the tip, not 0.2"
    reckoned(quote, 1.3, expected, read, near=0.01, source=CURVE)
    # The mean square over 10 ms, AES17: at the tip itself it has not come near the threshold's 12 dB over.
    power = lfilter([1 - math.exp(-1 / 480)], [1, -math.exp(-1 / 480)], 2 * DRUM**2)
    tip = np.abs(DRUM).argmax()
    wanted = paper.wanted_reduction_db(10 * np.log10(power[: tip + 1] + 1e-12), -20, 4, 6)
    held = 0.0
    for each in wanted:
        held = max(each, held * math.exp(-1 / 4800) + (1 - math.exp(-1 / 4800)) * each)
    settings = {"threshold_db": -20, "attack_ms": 0, "detector": "rms"}
    read = came - through(drum, **settings).level("compressor").peak_dbfs
    quote = "An rms **detector** takes nothing off the tip, even with no attack"
    reckoned(quote, True, held < 0.1, read < 0.1, source=f"{CURVE}; mean square of one pole")


def test_the_sidechain_spares_the_guitar(reckoned):
    """Read: "turned down by up to 9.0 dB. With the **sidechain high-pass** at 200 Hz it is 5.4 dB"."""
    strips = [gl.Strip(n, gl.takes(LESSON)[n, "chorus"].between(0, 6), (gl.Trim(),), to="pair") for n in PAIR]
    for hz, said, quote in (
        (0, 9.0, "The kick had the guitar turned down by up to 9.0 dB"),
        (200, 5.4, "With the **sidechain high-pass** at 200 Hz it is 5.4 dB"),
    ):
        both = gl.Compressor(threshold_db=-24, ratio=4, attack_ms=5, release_ms=150, sidechain_hz=hz)
        session = gl.Session(tuple(strips), buses=(gl.Bus("pair", (both,)),), main=gl.Bus("main"))
        read = session.render().reading("pair/compressor", "gain_reduction_db")
        heard = sum(paper.both_sides(paper.part(paper.take(LESSON, name, "chorus"), 0, 6)) for name in PAIR)
        if hz:
            heard = lfilter(*butter(1, hz, "high", fs=48_000), heard, axis=0)
        taken = paper.reduction_db(heard, -24, 4, 6, 5, 150)
        reckoned(quote, said, taken.max(), read, near=0.01, source=f"{CURVE}; first-order high-pass")
        quote = "on average the two are now turned down by 1.8 dB, not by 3.1"
        read = session.render().reading("pair/compressor", "mean_gain_reduction_db")
        said = {0: 3.1, 200: 1.8}[hz]
        reckoned(quote, said, taken.mean(), read, near=0.01, source=f"{CURVE}; first-order high-pass")


def test_half_and_half_takes_4_6_db(reckoned):
    """Read: "a loud note 20 dB over the threshold loses 4.6 dB instead of 15"; softer ones nothing."""
    quote = "a loud note 20 dB over the threshold loses 4.6 dB instead of 15"
    expected = -20 * math.log10(0.5 + 0.5 * 10 ** (-15 / 20))
    mixed = gl.Compressor(threshold_db=-30, ratio=4, wet_percent=50)
    reckoned(quote, 4.6, expected, -10 - mixed.curve_db(-10.0), near=1e-6, source="derived: the sum of both paths")
    assert mixed.curve_db(-40.0) == pytest.approx(-40.0, abs=1e-9)


def test_the_level_of_the_compressed_path_lifts_the_soft_end(voice, reckoned):
    """Read: "With 12 dB the soft note comes up by 7.9 dB, and the loud one stays 1.4 dB under"; "10.0 dB apart"."""
    mixed = gl.Compressor(threshold_db=-30, ratio=4, wet_percent=50, makeup_db=12)
    both = "derived: the sum of both paths"
    for level, taken, said, quote in (
        (-40, 0, 7.9, "With 12 dB the soft note comes up by 7.9 dB"),
        (-10, 15, 1.4, "the loud one stays 1.4 dB under where it was"),
    ):
        expected = 20 * math.log10(0.5 + 0.5 * 10 ** ((12 - taken) / 20))
        reckoned(quote, said, abs(expected), abs(mixed.curve_db(float(level)) - level), near=1e-6, source=both)
    went = VOICE * (0.5 + 0.5 * 10 ** ((12 - on_paper("voice", -30)) / 20))
    read = through(voice, threshold_db=-30, wet_percent=50, makeup_db=12).at("compressor")
    louder = paper.loudness_lufs(went) - paper.loudness_lufs(VOICE)
    heard = gl.measure("loudness_lufs", read) - gl.measure("loudness_lufs", voice)
    assert heard == pytest.approx(louder, abs=0.01)
    reckoned("The loudness of the voice changes by", True, abs(louder) < 3, abs(heard) < 3, source=LOUDNESS)
    reckoned("what lies under the threshold by 6 dB", 6, 20 * math.log10(1 + 1), 6.02, within=0.05, source=both)


def test_the_lines_of_the_voice_come_together(voice, own_reading):
    """Read: "its lines lie 10.0 dB apart instead of 16.6 dB": where a line begins and ends is the course's own rule."""
    read = through(voice, threshold_db=-30, wet_percent=50, makeup_db=12).at("compressor")
    own_reading("its lines lie 10.0 dB apart", 10.0, gl.measure("phrase_range_db", read))
    own_reading("instead of 16.6 dB", 16.6, gl.measure("phrase_range_db", voice))


def test_makeup_of_12_db_makes_it_louder_than_it_was(voice, reckoned):
    """Read: "With 12 dB of makeup the voice came back 6.1 LU louder"."""
    after = through(voice, threshold_db=-24, makeup_db=12).at("compressor")
    louder = gl.measure("loudness_lufs", after) - gl.measure("loudness_lufs", voice)
    went = VOICE * 10 ** ((12 - on_paper("voice", -24)) / 20)
    expected = paper.loudness_lufs(went) - paper.loudness_lufs(VOICE)
    assert louder == pytest.approx(expected, abs=0.01)
    quote = "With 12 dB of makeup the voice came back 6.1 LU louder"
    reckoned(quote, 6.1, expected, louder, source=LOUDNESS)


def test_the_fair_makeup_is_6_db_and_brings_the_noise_up(voice, reckoned):
    """Read: "Here that is 5.9 dB" and "the noise in the pauses stands 6 dB higher than before"."""
    went = VOICE * 10 ** (-on_paper("voice", -24) / 20)
    makeup = paper.loudness_lufs(VOICE) - paper.loudness_lufs(went)
    fair = through(voice, threshold_db=-24, makeup_db=round(makeup, 1)).at("compressor")
    read = round(makeup, 1) + gl.measure("loudness_lufs", voice) - gl.measure("loudness_lufs", fair)
    reckoned("Here that is 5.9 dB", 5.9, makeup, read, within=0.1, near=0.01, source=LOUDNESS)
    higher = gl.measure("noise_floor_dbfs", fair) - gl.measure("noise_floor_dbfs", voice)
    expected = round(makeup, 1) + paper.noise_floor_dbfs(went) - paper.noise_floor_dbfs(VOICE)
    quote = "the noise in the pauses stands 6 dB higher than before"
    reckoned(quote, 6, expected, higher, within=0.5, near=0.01, source=f"{CURVE}; the course's noise floor")
