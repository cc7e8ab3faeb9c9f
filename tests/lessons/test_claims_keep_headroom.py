"""What the lesson "Keep headroom on the main" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import functools

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "keep-headroom"
TRIMS = {"kick": 6, "snare": 4, "bass": 8, "guitar": 6, "pad": 0, "voice": 7}
PANS = {"guitar": 0.3, "pad": -0.2}


@pytest.fixture(scope="module")
def band():
    def strip(name):
        file = {"voice": "lead-voice"}.get(name, name)
        take = gl.read(f"media/{file}.flac").between(9.5, 15.5)
        return gl.Strip(name, take, [gl.Trim(TRIMS[name]), gl.Pan(PANS.get(name, 0.0))])

    glue = gl.Compressor(threshold_db=-18, ratio=2, attack_ms=10, release_ms=150)
    return gl.Session([strip(name) for name in TRIMS], main=gl.Bus("main", [gl.Trim(), glue, gl.Fader()]))


@pytest.fixture(scope="module")
def rendered(band):
    """The main after some of its settings were changed."""
    first = band.render()
    return lambda **changes: band.replaced({f"main/{k.replace('__', '/')}": v for k, v in changes.items()}).render(
        first
    )


def down(rendering):
    return rendering.reading("main/compressor", "gain_reduction_db")


def loudness(rendering):
    return gl.measure("loudness_lufs", rendering.at("main/fader"))


@pytest.mark.holds_the_text
def test_the_band_here_is_the_lessons_band(lesson_text):
    text = lesson_text(LESSON)
    for name, trim in TRIMS.items():
        file = {"voice": "lead-voice"}.get(name, name)
        pan = f"gl.Pan({PANS[name]})" if name in PANS else "gl.Pan()"
        assert f'"{name}", gl.read("media/{file}.flac").between(9.5, 15.5), [gl.Trim({trim}), {pan}])' in text
    assert "gl.Compressor(threshold_db=-18, ratio=2, attack_ms=10, release_ms=150)" in text


CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012; common practice: sine and cosine pan law"
LOUDNESS = f"{CURVE}; BS.1770-5, annex 1"
# The glue of the lesson: ratio, knee, attack and release.
GLUE = (2, 6, 10, 150)


@functools.cache
def band_on_paper(trims_db=0.0, main_db=0.0):
    """The band behind its pans and the main's trim."""
    strips = (
        paper.panned(paper.stem({"voice": "lead-voice"}.get(name, name), 9.5, 15.5, trim), PANS.get(name, 0.0))
        for name, trim in TRIMS.items()
    )
    return sum(strips) * 10 ** ((trims_db + main_db) / 20)


@functools.cache
def reduction_on_paper(main_db=0.0, threshold_db=-18.0):
    return paper.reduction_db(band_on_paper(main_db=main_db), threshold_db, *GLUE)


def glued_on_paper(main_db=0.0, threshold_db=-18.0, makeup_db=0.0):
    gains = 10 ** ((makeup_db - reduction_on_paper(main_db, threshold_db)) / 20)
    return band_on_paper(main_db=main_db) * gains[:, None]


def test_the_compressor_turns_down_by_more_than_6_and_used_to_by_3_2(rendered, reckoned):
    """Predict: "used to turn down by 3.2 dB at most. Now it turns down by more than 6."."""
    now, once = down(rendered()), down(rendered(trim__gain_db=-6.0))
    expected = reduction_on_paper().max()
    assert now == pytest.approx(expected, abs=0.01)
    reckoned("Now it turns down by more than 6.", True, 6 < expected < 6.6, 6 < now < 6.6, source=CURVE)
    quote = "used to turn down by 3.2 dB at most."
    reckoned(quote, 3.2, reduction_on_paper(-6.0).max(), once, within=0.1, near=0.01, source=CURVE)


@pytest.mark.reading_of_our_own
def test_the_fader_and_the_makeup_do_not_relieve_the_compressor(rendered):
    """Read: "It changes what you hear, and not what the compressor gets. The makeup is the same."."""
    assert down(rendered(fader__gain_db=-6.0)) == down(rendered()) == down(rendered(compressor__makeup_db=6.0))


def test_a_threshold_6_db_higher_is_right_for_the_compressor_and_6_db_too_hot_after_it(rendered, reckoned):
    """Read: "Then the compressor would be right, and everything after it would still be 6 dB too hot."."""
    raised, trimmed = rendered(compressor__threshold_db=-12.0), rendered(trim__gain_db=-6.0)
    assert down(raised) == pytest.approx(down(trimmed), abs=0.01)
    right = abs(reduction_on_paper(0.0, -12.0) - reduction_on_paper(-6.0)).max() < 0.01
    reckoned("Then the compressor would be right", True, right, source=CURVE)
    expected = paper.loudness_lufs(glued_on_paper(0.0, -12.0)) - paper.loudness_lufs(glued_on_paper(-6.0))
    quote = "everything after it would still be 6 dB too hot."
    reckoned(quote, 6, expected, loudness(raised) - loudness(trimmed), near=0.01, source=LOUDNESS)


def test_the_sum_grows_by_6_db_and_stands_1_7_db_over_full_scale(band, rendered, reckoned):
    """Read: "the sum grows by 6 dB"; "The sum peaked 1.7 dB over full scale"."""
    before = band.replaced({f"{name}/trim/gain_db": float(trim - 6) for name, trim in TRIMS.items()}).render()
    hot = rendered().level("main/sum").peak_dbfs
    source = "published: AES17, the stems' own samples; common practice: sine and cosine pan law"
    grows = paper.peak_dbfs(band_on_paper()) - paper.peak_dbfs(band_on_paper(-6.0))
    reckoned("the sum grows by 6 dB", 6, grows, hot - before.level("main/sum").peak_dbfs, near=1e-6, source=source)
    quote = "The sum peaked 1.7 dB over full scale"
    reckoned(quote, 1.7, paper.peak_dbfs(band_on_paper()), hot, near=1e-6, source=source)
    assert rendered().level("main/sum").clipped == 0


def test_the_compressor_takes_2_1_lu_and_a_makeup_of_2_db_leaves_peaks_near_minus_4(rendered, reckoned):
    """Read: "The compressor takes 2.1 LU"; "After a makeup of 2 dB the peaks stand near −4 dBFS"."""
    trimmed = rendered(trim__gain_db=-6.0)
    flat = rendered(trim__gain_db=-6.0, compressor__ratio=1.0)
    taken = paper.loudness_lufs(band_on_paper(main_db=-6.0)) - paper.loudness_lufs(glued_on_paper(-6.0))
    read = loudness(flat) - loudness(trimmed)
    reckoned("The compressor takes 2.1 LU", 2.1, taken, read, within=0.1, near=0.01, source=LOUDNESS)
    made_up = rendered(trim__gain_db=-6.0, compressor__makeup_db=2.0).level("main/compressor").peak_dbfs
    expected = paper.peak_dbfs(glued_on_paper(-6.0, makeup_db=2.0))
    quote = "After a makeup of 2 dB the peaks stand near −4 dBFS"
    reckoned(quote, -4, expected, made_up, within=0.5, near=0.01, source=CURVE)


def test_8_db_of_reduction_lie_in_the_range_of_the_threshold_and_do_not_come_back_to_zero(rendered, reckoned):
    """Move: "Lower the threshold until 8 dB are turned down. ... how near to zero does it still come?"."""
    deep = rendered(trim__gain_db=-6.0, compressor__threshold_db=-28.5)
    expected, trace = reduction_on_paper(-6.0, -28.5), deep.reduction_db("main/compressor")
    reach = expected.max() >= 8, down(deep) >= 8
    reckoned("Lower the threshold until 8 dB are turned down.", True, *reach, source=CURVE)
    quote = "In the good state it falls back to 0.5 dB between the hits"
    good = rendered(trim__gain_db=-6.0).reduction_db("main/compressor")[12_000:].min()
    reckoned(quote, 0.5, reduction_on_paper(-6.0)[12_000:].min(), float(good), near=0.01, source=CURVE)
    # 8 dB at most are reached between the slider's −28 and −28.5 dBFS; −28.3 gives 8.1.
    deep = rendered(trim__gain_db=-6.0, compressor__threshold_db=-28.3)
    expected, trace = reduction_on_paper(-6.0, -28.3), deep.reduction_db("main/compressor")
    quote = "With 8 dB turned down it never gets below 3.6 dB"
    found = expected[12_000:].min(), float(trace[12_000:].min())
    reckoned(quote, 3.6, *found, within=0.1, near=0.01, source=CURVE)
