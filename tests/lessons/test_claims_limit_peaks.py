"""What the lesson "Limit the peaks" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import math

import numpy as np
import pytest
import reckoning as paper
from scipy.ndimage import maximum_filter1d

import gainlib as gl

LESSON = "limit-peaks"


@pytest.fixture(scope="module")
def band():
    def strip(name, file, trim_db):
        return gl.Strip(name, gl.read(f"media/{file}.flac").between(9.5, 15.5), [gl.Trim(trim_db)])

    strips = [strip("kick", "kick", 0), strip("snare", "snare", 6), strip("bass", "bass", 0)]
    strips += [strip("guitar", "guitar", 0), strip("voice", "lead-voice", 0)]
    return gl.Session(strips, main=gl.Bus("main", [gl.Trim(), gl.Limiter()]))


@pytest.fixture(scope="module")
def rendered(band):
    first = band.render()
    return lambda main_db=0.0, snare_db=6.0, **limiter: band.replaced(
        {"main/trim/gain_db": main_db, "snare/trim/gain_db": snare_db}
        | {f"main/limiter/{name}": value for name, value in limiter.items()}
    ).render(first)


@pytest.fixture(scope="module")
def tone():
    return gl.Audio([0.35, 0.35, -0.35, -0.35] * 4000 + [0.7, 0.7, -0.7, -0.7] * 4000, 8000, "tone")


def down(rendering):
    return rendering.reading("main/limiter", "gain_reduction_db")


def measured(name, rendering):
    return gl.measure(name, rendering.at("main/limiter"))


@pytest.mark.holds_the_text
def test_the_band_here_is_the_lessons_band(lesson_text):
    text = lesson_text(LESSON)
    assert text.count("between(9.5, 15.5), [gl.Trim()])") == 4
    assert 'gl.read("media/snare.flac").between(9.5, 15.5), [gl.Trim(6)])' in text
    assert "[0.35, 0.35, -0.35, -0.35] * 4000 + [0.7, 0.7, -0.7, -0.7] * 4000, 8000" in text
    assert "Here the ceiling is −1 dBTP." in text
    assert gl.Limiter().ceiling_dbfs == -1.0


def sum_on_paper(snare_db=6.0):
    """The band's sum: its stems and the trim of the snare."""
    files = {"kick": 0, "snare": snare_db, "bass": 0, "guitar": 0, "lead-voice": 0}
    return sum(paper.both_sides(paper.stem(name, 9.5, 15.5, gain)) for name, gain in files.items())


HOLDS = "derived: who holds a ceiling turns down by peak - ceiling; true peak by BS.1770-5, annex 2, eight times"


def test_the_tones_samples_stop_3_db_below_full_scale_and_its_curve_reaches_it(tone, reckoned):
    """Read: "The samples stop 3 dB below full scale, and the curve reaches it"."""
    # A sine of a quarter of the rate that starts at 45 degrees: all samples at its amplitude over the root of two.
    quote = "The samples stop 3 dB below full scale, and the curve reaches it"
    read = -gl.measure("peak_dbfs", tone)
    reckoned(quote, 3, -20 * math.log10(0.7), read, within=0.15, near=1e-6, source="published: AES17")
    curve, read = 20 * math.log10(0.7 * math.sqrt(2)), gl.measure("true_peak_dbtp", tone)
    source = "published: BS.1770-5, annex 2 (3 dB for a quarter of the rate)"
    reckoned(quote, True, abs(curve) < 0.1, abs(read) < 0.1, source=source)


@pytest.mark.reading_of_our_own(count=2)
def test_a_limiter_that_looks_at_samples_leaves_peaks_between_them(rendered, tone):
    """Read: "a limiter that looks at samples only leaves many flat tops behind"; Move: "It looks at samples only."."""
    assert measured("true_peak_dbtp", rendered(9.0, true_peak=False)) > -0.9
    assert measured("true_peak_dbtp", rendered(9.0)) <= -0.95
    main = gl.Bus("main", [gl.Limiter(true_peak=False)])
    only = gl.Session([gl.Strip("tone", tone, [gl.Trim(3)])], main=main).render()
    assert measured("true_peak_dbtp", only) > 1.5
    assert measured("true_peak_dbtp", only.session.replaced({"main/limiter/true_peak": True}).render()) <= -0.9


def test_9_db_asked_for_are_5_9_lu_got_and_the_peaks_come_down(rendered, reckoned, own_reading):
    """Read: "You asked for 9 dB and got 5.9 LU"; "was 15.6 dB, and now it is 9.8 dB"."""
    before, pushed = rendered(), rendered(9.0)
    louder = measured("loudness_lufs", pushed) - measured("loudness_lufs", before)
    own_reading("You asked for 9 dB and got 5.9 LU", 5.9, louder, within=0.1)
    quote = "was 15.6 dB, and now it is 9.8 dB"
    own_reading(quote, 15.6, measured("crest_db", before), within=0.1)
    own_reading(quote, 9.8, measured("crest_db", pushed), within=0.1)
    # The meters of these readings against the same ones on paper, on what the limiter gave.
    for each in (before, pushed):
        samples = each.at("main/limiter").samples
        assert measured("loudness_lufs", each) == pytest.approx(paper.loudness_lufs(samples), abs=0.01)
        assert measured("crest_db", each) == pytest.approx(paper.crest_db(samples), abs=1e-6)


def test_the_snare_is_what_makes_the_limiter_work(rendered, reckoned):
    """Read: "turns down by 5.8 dB, but deeply only when the snare hits"; "the limiter has 2.1 dB left to do"."""
    hot, mended = rendered(3.0), rendered(3.0, 0.0)
    expected = paper.true_peak_dbtp(sum_on_paper()) + 3 + 1
    working = float((hot.reduction_db("main/limiter") > 2.0).mean())
    assert 0.0 < working < 0.1
    quote = "turns down by 5.8 dB, but deeply only when the snare hits"
    reckoned(quote, 5.8, expected, down(hot), near=0.1, source=HOLDS)
    expected = paper.true_peak_dbtp(sum_on_paper(0.0)) + 3 + 1
    quote = "the limiter has 2.1 dB left to do"
    reckoned(quote, 2.1, expected, down(mended), within=0.1, source=HOLDS)


@pytest.mark.reading_of_our_own
def test_the_mix_without_so_much_snare_is_no_softer(rendered):
    """Read: "The mix is not softer"."""
    assert measured("loudness_lufs", rendered(3.0, 0.0)) >= measured("loudness_lufs", rendered(3.0)) - 0.05


def test_how_much_of_the_time_the_limiter_is_down(rendered, own_reading):
    """Read: "by more than 3 dB in 2.6 % of the time"; "The sentence on the bench says 41 %"."""
    trace = rendered(3.0).reduction_db("main/limiter")
    own_reading("by more than 3 dB in 2.6 % of the time", 2.6, 100 * float((trace > 3.0).mean()), within=0.5)
    own_reading("The sentence on the bench says 41 %", 41, 100 * float((trace > 0.1).mean()), within=0.5)


def low_tone_on_paper(release_ms, look_ahead_ms):
    """The distortion of 50 Hz, 6 dB over the ceiling, in per cent: the limiter's rule, worked out again.

    What is missing to unity is taken at its most over the look-ahead, dies away by one pole, and is averaged.
    """
    tone = paper.sine(5.0, 50, 3.0)
    # The stage aims 0.03 dB under its ceiling.
    missing = np.maximum(0.0, 1 - 10 ** (-1.03 / 20) / np.maximum(np.abs(tone), 1e-9))
    ahead = round(look_ahead_ms * 48)
    most = maximum_filter1d(np.append(missing, np.zeros(ahead)), ahead + 1, origin=-(ahead // 2))[: len(tone)]
    fall, held, level = math.exp(-1000 / (release_ms * 48_000)), [], 0.0
    for each in most.tolist():
        level = max(each, fall * level)
        held.append(level)
    mean = np.convolve(np.append(np.zeros(ahead), held), np.ones(ahead + 1) / (ahead + 1), "valid")
    out = tone * np.minimum(1 - mean, 1 - missing)
    lines = np.abs(np.fft.rfft(out[48_000:96_000]))
    return 100 * math.sqrt(float(np.sum(lines[100:501:50] ** 2))) / float(lines[50])


@pytest.mark.parametrize(
    ("release_ms", "look_ahead_ms", "quote", "said"),
    [
        (20, 2, "5.0 % at 20 ms", 5.0),
        (1000, 2, "0.2 % at 1000 ms", 0.2),
        (20, 0, "With no look-ahead the 5.0 % are 7.9 %", 7.9),
        (20, 5, "with 5 ms they are 1.6 %", 1.6),
    ],
)
def test_a_fast_release_bends_a_low_tone(release_ms, look_ahead_ms, quote, said, reckoned):
    """Read: "A fast release bends a low tone: 5.0 % at 20 ms, 0.2 % at 1000 ms", and with other look-aheads."""
    tone = gl.tone(-1, 50, seconds=3, rate_hz=48000)
    net = gl.Limiter(release_ms=release_ms, look_ahead_ms=look_ahead_ms)
    out = gl.Session.of(tone, [gl.Trim(6), net], name="low tone").render().at("limiter")
    expected = low_tone_on_paper(release_ms, look_ahead_ms)
    read = gl.measure("thd_percent", out)
    source = "derived: the course's own limiter from its rule, by Fourier transform"
    reckoned(quote, said, expected, read, within=0.06, near=0.06, source=source)


def test_a_slow_release_holds_the_whole_mix_down(rendered, own_reading):
    """Read: "1000 ms instead of 20 ms cost 3.5 LU"; Move: "At 300 ms it dips and swells with the drums"."""
    loud, swings, least = {}, {}, {}
    for release_ms in (20, 300, 1000):
        each = rendered(9.0, release_ms=release_ms)
        loud[release_ms] = measured("loudness_lufs", each)
        # The reduction in steps of 50 ms, and how far it moves within 0.6 s.
        trace = each.reduction_db("main/limiter")[:, 0]
        steps = trace[: len(trace) // 2400 * 2400].reshape(-1, 2400).mean(axis=1)
        windows = [steps[start : start + 12] for start in range(0, len(steps) - 12, 6)]
        swings[release_ms] = np.median([np.ptp(window) for window in windows])
        least[release_ms] = np.median([window.min() for window in windows])
    own_reading("1000 ms instead of 20 ms cost 3.5 LU", 3.5, loud[20] - loud[1000], within=0.1)
    own_reading("At 300 ms it dips and swells with the drums", True, bool(swings[300] == max(swings.values())))
    own_reading("At 1000 ms it hardly comes back at all", True, bool(least[1000] > 3 > 2 > least[300]))
