"""What the lesson "Work with decibels" says in numbers, measured on the lesson's own mix and desk."""

from __future__ import annotations

import math

import pytest
import reckoning as paper

import gainlib as gl

LESSON = "work-with-decibels"


@pytest.fixture(scope="module")
def mix():
    # The strips of the lesson; the test below holds the two together.
    takes = gl.takes(LESSON)
    voice, bass = (takes[role, "chorus"].between(0, 8) for role in ("lead voice", "bass"))
    trims = [gl.Trim(round(-20 - gl.measure("rms_dbfs", each), 2)) for each in (voice, bass)]
    off = gl.Fader(muted=True)
    strips = [
        gl.Strip("voice", voice, [trims[0]]),
        gl.Strip("copy", voice, [trims[0], off]),
        gl.Strip("bass", bass, [trims[1], off]),
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


@pytest.mark.holds_the_text
def test_the_mix_and_the_desk_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    for part in (
        'takes["lead voice", "chorus"].between(0, 8), takes["bass", "chorus"].between(0, 8)',
        'trims = [gl.Trim(round(-20 - gl.measure("rms_dbfs", each), 2)) for each in (voice, bass)]',
        "tone = gl.tone(-20, 1000, seconds=3, rate_hz=48_000)",
        'chain = [gl.Source(20, noise_dbfs=-90), gl.Preamp(0, name="desk"), gl.Converter("EBU R 68")]',
        'gl.Strip("voice", voice, [trims[0]]), gl.Strip("copy", voice, [trims[0], off])',
        'gl.Strip("bass", bass, [trims[1], off])',
    ):
        assert part in text


def at_minus_20(role):
    """Eight seconds of the chorus behind a trim to a hundredth of a decibel."""
    samples = paper.part(paper.take(LESSON, role, "chorus"), 0, 8)
    return samples * 10 ** (round(-20 - paper.rms_dbfs(samples), 2) / 20)


VOICE, BASS = at_minus_20("lead voice"), at_minus_20("bass")
AES17 = "published: AES17, RMS of the stems' own samples"
ARITHMETIC = "derived: decibel arithmetic"


@pytest.mark.parametrize(
    ("quote", "ratio", "db"),
    [("Twice the voltage is 6 dB", 2, 6), ("ten times is 20 dB", 10, 20), ("40 dB", 100, 40)],
)
def test_ratios(quote, ratio, db, reckoned):
    """Move: "Twice the voltage is 6 dB, ten times is 20 dB"; what makes 40 dB is a hundred times."""
    reckoned(quote, db, 20 * math.log10(ratio), gl.db_from_ratio(ratio), source=ARITHMETIC)


def test_each_of_the_three_stands_at_minus_20(mix, reckoned):
    """Predict and Move: "each at −20 dBFS RMS"."""
    heard = mix.replaced({"copy/fader/muted": False, "bass/fader/muted": False}).render()
    for strip, tap, stem in (("voice", "trim", VOICE), ("copy", "fader", VOICE), ("bass", "fader", BASS)):
        read = heard.level(f"{strip}/{tap}").rms_dbfs
        reckoned("each at −20 dBFS RMS", -20, paper.rms_dbfs(stem), read, near=1e-6, source=AES17)


@pytest.mark.parametrize(
    ("muted", "quote", "said", "added", "whole"),
    [
        ({"copy": False}, "The copy lifts the sum by 6 dB, to −14", (6, -14), VOICE, False),
        ({"bass": False}, "The bass lifts it by 3 dB, to −17", (3, -17), BASS, True),
    ],
    ids=["copy", "bass"],
)
def test_the_copy_adds_6_db_and_the_bass_3(muted, quote, said, added, whole, mix, reckoned):
    """Read: "The copy lifts the sum by 6 dB, to −14" and "The bass lifts it by 3 dB, to −17"."""
    rise = paper.rms_dbfs(VOICE + added) - paper.rms_dbfs(VOICE)
    read = total(mix, **muted)
    reckoned(quote, said[0], rise, read - total(mix), within=0.1 if whole else 0.05, near=1e-6, source=AES17)
    reckoned(quote, said[1], paper.rms_dbfs(VOICE + added), read, near=1e-6, source=AES17)


def test_a_bass_10_db_lower_adds_0_4_db(mix, reckoned):
    """Read: "10 dB below the voice, the bass lifts the sum by 0.4 dB"."""
    lower = mix.replaced({"bass/trim/gain_db": mix.setting("bass/trim/gain_db") - 10})
    rise = paper.rms_dbfs(VOICE + BASS * 10 ** (-10 / 20)) - paper.rms_dbfs(VOICE)
    quote = "10 dB below the voice, the bass lifts the sum by 0.4 dB"
    reckoned(quote, 0.4, rise, total(lower, bass=False) - total(lower), near=1e-6, source=AES17)


def test_a_copy_upside_down_leaves_silence(mix, reckoned):
    """Read: "A copy with its polarity inverted would leave silence"."""
    voice = mix.strip("voice").take
    upside_down = gl.Audio(-voice.samples, voice.rate_hz)
    both = mix.with_take(upside_down, strip="copy")
    quote = "A copy with its polarity inverted would leave silence"
    reckoned(quote, True, not (VOICE - VOICE).any(), total(both, copy=False) < -200, source="derived: x - x is 0")


@pytest.mark.parametrize(
    ("quote", "alignment", "output_dbu", "stands_dbfs", "full_scale_dbu"),
    [
        ("The tone stands at −18 dBFS", "EBU R 68", 0, -18, 18),
        ("+4 dBu stands at −14", "EBU R 68", 4, -14, 18),
        ("the same +4 dBu stands at −20", "SMPTE RP 155", 4, -20, 24),
    ],
)
def test_where_the_tone_stands(desk, quote, alignment, output_dbu, stands_dbfs, full_scale_dbu, reckoned):
    """Read: "The tone stands at −18 dBFS", "+4 dBu stands at −14", "the same +4 dBu stands at −20"."""
    found = after_the_converter(desk, output_dbu, alignment)
    source = "derived: 0 dBu at -18 dBFS, +4 dBu at -20 dBFS (EBU R 68, SMPTE RP 155: their dBFS; the dBu is a setting)"
    reckoned(quote, stands_dbfs, output_dbu - full_scale_dbu, found.peak_dbfs, source=source)
    assert found.clipped == 0


def test_peaks_15_db_over_the_alignment_level_leave_3(desk, reckoned):
    """Read: "R 68 allows for peaks 15 dB above it. That leaves 3 dB"."""
    read = after_the_converter(desk, 15).headroom_db
    quote = "R 68 allows for peaks 15 dB above it. That leaves 3 dB"
    reckoned(quote, 3, 18 - 15, read, source="published: EBU R 68, 18 dB below full scale, peaks up to 15 dB above it")


@pytest.mark.parametrize(
    ("quote", "dbu", "alignment", "dbfs_of_4_dbu"),
    [("0 dBFS is +18 dBu", 18, "EBU R 68", -14), ("0 dBFS is +24 dBu", 24, "SMPTE RP 155", -20)],
)
def test_full_scale_is_18_or_24_dbu(desk, quote, dbu, alignment, dbfs_of_4_dbu, reckoned):
    """Read: "0 dBFS is +18 dBu", "0 dBFS is +24 dBu", "the 18 dB above it"; Move: "Where does the converter clip?"."""
    clips = (after_the_converter(desk, dbu + side, alignment).clipped > 0 for side in (-0.1, 0.1))
    read = dbu if tuple(clips) == (False, True) else None
    reckoned(quote, dbu, 4 - dbfs_of_4_dbu, read, source="derived from -14 and -20 dBFS for +4 dBu")


@pytest.mark.parametrize(
    ("quote", "said", "paper_has", "read", "within"),
    [
        ("0.775 volts", 0.775, math.sqrt(0.001 * 600), gl.volts_from_dbu(0), 0.0005),
        ("1 volt", 1, 1.0, gl.volts_from_dbv(0), 1e-9),
        ("0 dBV is +2.2 dBu", 2.2, 20 * math.log10(1 / math.sqrt(0.6)), gl.dbu_from_dbv(0), 0.05),
    ],
)
def test_the_units(quote, said, paper_has, read, within, reckoned):
    """Read: "0.775 volts", "1 volt", "0 dBV is +2.2 dBu"; +4 dBu and −10 dBV are "not 14 dB apart"."""
    source = "published: IEC 60027-3, 0 dBu is 1 mW in 600 ohms; derived: sqrt(0.6) V"
    reckoned(quote, said, paper_has, read, within=within, near=1e-9, source=source)


def test_plus_4_dbu_and_minus_10_dbv_are_11_8_db_apart(reckoned):
    """Read: +4 dBu and −10 dBV are "not 14 dB apart"."""
    apart, read = 14 + 10 * math.log10(0.6), 4 - gl.dbu_from_dbv(-10)
    quote = "not 14 dB apart"
    reckoned(quote, True, abs(apart - 11.8) < 0.05, abs(read - apart) < 1e-9, source="derived: 0 dBV is 1 V")
