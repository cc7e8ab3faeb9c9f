"""What the lesson "Reckon with decibels" says in numbers, measured on the lesson's own mix and desk."""

from __future__ import annotations

import pytest

import gainlib as gl

LESSON = "01-reckon-decibels"


@pytest.fixture(scope="module")
def mix():
    # The strips of the lesson; the test below holds the two together.
    voice = gl.read("media/lead-voice.flac").between(9.5, 17.5)
    bass = gl.read("media/bass.flac").between(9.5, 17.5)
    off = gl.Fader(muted=True)
    strips = [
        gl.Strip("voice", voice, [gl.Trim(-3.1)]),
        gl.Strip("copy", voice, [gl.Trim(-3.1), off]),
        gl.Strip("bass", bass, [gl.Trim(-0.7), off]),
    ]
    return gl.Session(strips, main=gl.Bus("main"))


@pytest.fixture(scope="module")
def desk():
    tone = gl.tone(-20, 1000, seconds=3, rate_hz=48_000)
    chain = [gl.Source(20, noise_dbfs=-90), gl.Preamp(0, name="desk"), gl.Converter("EBU R 68")]
    return gl.Session.of(tone, chain, name="tone")


def total(mix, **muted):
    settings = {f"{name}/fader/muted": value for name, value in muted.items()}
    return mix.replaced(settings).render().level("main/sum").rms_dbfs


def after_the_converter(desk, output_dbu, alignment="EBU R 68"):
    settings = {"desk/gain_db": float(output_dbu), "converter/alignment": alignment}
    return desk.replaced(settings).render().level("converter")


def test_the_mix_and_the_desk_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    for part in (
        'gl.read("media/lead-voice.flac").between(9.5, 17.5)',
        'gl.read("media/bass.flac").between(9.5, 17.5)',
        "tone = gl.tone(-20, 1000, seconds=3, rate_hz=48_000)",
        'chain = [gl.Source(20, noise_dbfs=-90), gl.Preamp(0, name="desk"), gl.Converter("EBU R 68")]',
        'gl.Strip("voice", voice, [gl.Trim(-3.1)]), gl.Strip("copy", voice, [gl.Trim(-3.1), off])',
        'gl.Strip("bass", bass, [gl.Trim(-0.7), off])',
    ):
        assert part in text


def test_ratios():
    """Move: "Twice the voltage is 6 dB, ten times is 20 dB"; what makes 40 dB is a hundred times."""
    assert gl.db_from_ratio(2) == pytest.approx(6, abs=0.05)
    assert gl.db_from_ratio(10) == pytest.approx(20)
    assert gl.db_from_ratio(100) == pytest.approx(40)


def test_each_of_the_three_stands_at_minus_20(mix):
    """Predict and Move: "each at −20 dBFS RMS"."""
    heard = mix.replaced({"copy/fader/muted": False, "bass/fader/muted": False}).render()
    for strip, tap in (("voice", "trim"), ("copy", "fader"), ("bass", "fader")):
        assert heard.level(f"{strip}/{tap}").rms_dbfs == pytest.approx(-20, abs=0.05)


def test_the_copy_adds_6_db_and_the_bass_3(mix):
    """Read: "The copy lifts the sum by 6 dB, to −14" and "The bass lifts it by 3 dB, to −17"."""
    alone = total(mix)
    assert total(mix, copy=False) - alone == pytest.approx(6, abs=0.05)
    assert total(mix, copy=False) == pytest.approx(-14, abs=0.05)
    assert total(mix, bass=False) - alone == pytest.approx(3, abs=0.1)
    assert total(mix, bass=False) == pytest.approx(-17, abs=0.05)


def test_a_bass_10_db_lower_adds_0_4_db(mix):
    """Read: "The bass 10 dB below the voice lifts the sum by 0.4 dB"."""
    lower = mix.replaced({"bass/trim/gain_db": -10.7})
    assert total(lower, bass=False) - total(lower) == pytest.approx(0.4, abs=0.05)


def test_a_copy_upside_down_leaves_silence(mix):
    """Read: "A copy that is turned upside down would leave silence"."""
    voice = mix.strip("voice").take
    upside_down = gl.Audio(-voice.samples, voice.rate_hz)
    both = mix.with_take(upside_down, strip="copy")
    assert total(both, copy=False) < -200


@pytest.mark.parametrize(
    ("alignment", "output_dbu", "stands_dbfs"),
    [("EBU R 68", 0, -18), ("EBU R 68", 4, -14), ("SMPTE RP 155", 4, -20)],
)
def test_where_the_tone_stands(desk, alignment, output_dbu, stands_dbfs):
    """Read: "The tone stands at −18 dBFS", "+4 dBu stands at −14", "the same +4 dBu stands at −20"."""
    found = after_the_converter(desk, output_dbu, alignment)
    assert found.peak_dbfs == pytest.approx(stands_dbfs, abs=0.05)
    assert found.clipped == 0


def test_full_scale_is_18_or_24_dbu(desk):
    """Read: "0 dBFS is +18 dBu", "0 dBFS is +24 dBu", "the 18 dB above it"; Move: "Where does the converter clip?"."""
    assert after_the_converter(desk, 17.9).clipped == 0
    assert after_the_converter(desk, 18.1).clipped > 0
    assert after_the_converter(desk, 23.9, "SMPTE RP 155").clipped == 0
    assert after_the_converter(desk, 24.1, "SMPTE RP 155").clipped > 0


def test_the_units():
    """Read: "0.775 volts", "1 volt", "0 dBV is +2.2 dBu"; +4 dBu and −10 dBV are "not 14 dB apart"."""
    assert gl.volts_from_dbu(0) == pytest.approx(0.775, abs=0.0005)
    assert gl.volts_from_dbv(0) == pytest.approx(1)
    assert gl.dbu_from_dbv(0) == pytest.approx(2.2, abs=0.05)
    assert 4 - gl.dbu_from_dbv(-10) == pytest.approx(11.8, abs=0.05)
