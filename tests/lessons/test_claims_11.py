"""What the lesson "Keep headroom on the main" says in numbers, measured on the lesson's own chain."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "11-keep-headroom"
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


def test_the_band_here_is_the_lessons_band(lesson_text):
    text = lesson_text(LESSON)
    for name, trim in TRIMS.items():
        file = {"voice": "lead-voice"}.get(name, name)
        pan = f"gl.Pan({PANS[name]})" if name in PANS else "gl.Pan()"
        assert f'"{name}", gl.read("media/{file}.flac").between(9.5, 15.5), [gl.Trim({trim}), {pan}])' in text
    assert "gl.Compressor(threshold_db=-18, ratio=2, attack_ms=10, release_ms=150)" in text


def test_the_compressor_turns_down_by_more_than_6_and_used_to_by_3_5(rendered):
    """Predict: "used to turn down by 3.5 dB at most. Now it turns down by more than 6."."""
    assert down(rendered()) == pytest.approx(6.3, abs=0.3)
    assert down(rendered(trim__gain_db=-6.0)) == pytest.approx(3.5, abs=0.1)


def test_the_fader_and_the_makeup_do_not_relieve_the_compressor(rendered):
    """Read: "It changes what you hear, and not what the compressor gets. The makeup is the same."."""
    assert down(rendered(fader__gain_db=-6.0)) == down(rendered()) == down(rendered(compressor__makeup_db=6.0))


def test_a_threshold_6_db_higher_is_right_for_the_compressor_and_6_db_too_hot_after_it(rendered):
    """Read: "Then the compressor would be right, and everything after it would still be 6 dB too hot."."""
    raised, trimmed = rendered(compressor__threshold_db=-12.0), rendered(trim__gain_db=-6.0)
    assert down(raised) == pytest.approx(down(trimmed), abs=0.01)
    assert loudness(raised) - loudness(trimmed) == pytest.approx(6.0, abs=0.05)


def test_the_sum_grows_by_6_db_and_stands_1_8_db_over_full_scale(band, rendered):
    """Read: "the sum grows by 6 dB"; "The sum peaked 1.8 dB over full scale"."""
    before = band.replaced({f"{name}/trim/gain_db": float(trim - 6) for name, trim in TRIMS.items()}).render()
    hot = rendered().level("main/sum").peak_dbfs
    assert hot - before.level("main/sum").peak_dbfs == pytest.approx(6.0, abs=1e-6)
    assert hot == pytest.approx(1.8, abs=0.05)
    assert rendered().level("main/sum").clipped == 0


def test_the_compressor_takes_2_3_lu_and_a_makeup_of_2_db_leaves_peaks_near_minus_4(rendered):
    """Read: "The compressor takes 2.3 LU"; "After a makeup of 2 dB the peaks stand near −4 dBFS"."""
    trimmed = rendered(trim__gain_db=-6.0)
    flat = rendered(trim__gain_db=-6.0, compressor__ratio=1.0)
    assert loudness(flat) - loudness(trimmed) == pytest.approx(2.3, abs=0.1)
    made_up = rendered(trim__gain_db=-6.0, compressor__makeup_db=2.0)
    assert made_up.level("main/compressor").peak_dbfs == pytest.approx(-4, abs=0.5)


def test_8_db_of_reduction_lie_in_the_range_of_the_threshold_and_do_not_come_back_to_zero(rendered):
    """Move: "Lower the threshold until 8 dB are turned down. ... does it ever come back to zero?"."""
    deep = rendered(trim__gain_db=-6.0, compressor__threshold_db=-28.0)
    assert down(deep) >= 8
    trace = deep.reduction_db("main/compressor")
    assert float(trace[48_000:].min()) > 1.0
