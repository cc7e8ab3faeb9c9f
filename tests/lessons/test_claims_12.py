"""What the lesson "Limit the peaks" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "12-limit-peaks"


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


def test_the_band_here_is_the_lessons_band(lesson_text):
    text = lesson_text(LESSON)
    assert text.count("between(9.5, 15.5), [gl.Trim()])") == 4
    assert 'gl.read("media/snare.flac").between(9.5, 15.5), [gl.Trim(6)])' in text
    assert "[0.35, 0.35, -0.35, -0.35] * 4000 + [0.7, 0.7, -0.7, -0.7] * 4000, 8000" in text
    assert "Here the ceiling is −1 dB." in text
    assert gl.Limiter().ceiling_dbfs == -1.0


def test_the_tones_samples_stop_3_db_below_full_scale_and_its_curve_reaches_it(tone):
    """Read: "The samples stop 3 dB below full scale, and the curve reaches it"."""
    assert gl.measure("peak_dbfs", tone) == pytest.approx(-3, abs=0.15)
    assert gl.measure("true_peak_dbtp", tone) == pytest.approx(0, abs=0.1)


def test_a_limiter_that_looks_at_samples_leaves_peaks_between_them(rendered, tone):
    """Read: "a limiter that looks at samples only leaves many flat tops behind"; Move: "It looks at samples only."."""
    assert measured("true_peak_dbtp", rendered(9.0, true_peak=False)) > -0.9
    assert measured("true_peak_dbtp", rendered(9.0)) <= -0.95
    main = gl.Bus("main", [gl.Limiter(true_peak=False)])
    only = gl.Session([gl.Strip("tone", tone, [gl.Trim(3)])], main=main).render()
    assert measured("true_peak_dbtp", only) > 1.5
    assert measured("true_peak_dbtp", only.session.replaced({"main/limiter/true_peak": True}).render()) <= -0.9


def test_9_db_asked_for_are_5_8_lu_got_and_the_peaks_come_down(rendered):
    """Read: "You asked for 9 dB and got 5.8 LU"; "was 15.4 dB, and now it is 9.7 dB"."""
    before, pushed = rendered(), rendered(9.0)
    louder = measured("loudness_lufs", pushed) - measured("loudness_lufs", before)
    assert louder == pytest.approx(5.8, abs=0.1)
    assert measured("crest_db", before) == pytest.approx(15.4, abs=0.1)
    assert measured("crest_db", pushed) == pytest.approx(9.7, abs=0.1)


def test_the_snare_is_what_makes_the_limiter_work(rendered):
    """Read: "turns down by nearly 6 dB, but only when the snare hits"; "the limiter has 1.8 dB left to do"."""
    hot, mended = rendered(3.0), rendered(3.0, 0.0)
    assert down(hot) == pytest.approx(5.9, abs=0.1)
    assert down(mended) == pytest.approx(1.8, abs=0.1)
    working = float((hot.reduction_db("main/limiter") > 2.0).mean())
    assert 0.0 < working < 0.1


def test_the_mix_without_so_much_snare_is_no_softer(rendered):
    """Read: "The mix is no softer"."""
    assert measured("loudness_lufs", rendered(3.0, 0.0)) >= measured("loudness_lufs", rendered(3.0)) - 0.05
