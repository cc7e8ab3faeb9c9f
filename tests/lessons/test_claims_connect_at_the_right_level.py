"""What the lesson "Connect at the right level" says in numbers, worked out on paper and read off its own chains."""

from __future__ import annotations

import math

import numpy as np
import pytest
import reckoning as paper

import gainlib as gl

LESSON = "connect-at-the-right-level"
DIVIDER = "derived: a voltage divider, 20 log10 of input over input and output"
POWERS = "derived: noises add as powers; one behind a gain looks smaller by it"
ZERO_DBU = math.sqrt(0.6)


def divided(source, load):
    return 20 * math.log10(load / (load + source))


def added(*levels):
    return 10 * math.log10(sum(10 ** (each / 10) for each in levels))


@pytest.fixture(scope="module")
def full():
    return gl.Converter("+22 dBu")


@pytest.fixture(scope="module")
def plugged(full):
    bass = gl.read("media/bass.flac").between(9.5, 17.5)
    return gl.Session.of(bass, [gl.Source(6), gl.Cable(10_000, into="line"), gl.Preamp(6), full], name="bass")


@pytest.fixture(scope="module")
def line(full):
    tone = gl.tone(-20, 1000, seconds=3, rate_hz=48_000)
    chain = [gl.Source(24, noise_dbfs=-90), gl.Cable(100, into="line"), gl.Preamp(0), full]
    return gl.Session.of(tone, chain, name="tone")


@pytest.fixture(scope="module")
def close(full):
    snare = gl.read("media/snare.flac").between(9.5, 17.5)
    return gl.Session.of(snare, [gl.Source(14, noise_dbfs=-120), gl.Cable(200), gl.Preamp(20), full], name="snare")


@pytest.mark.holds_the_text
def test_the_chains_here_are_the_lessons(lesson_text):
    text = lesson_text(LESSON)
    for part in (
        'full = gl.Converter("+22 dBu")',
        '[gl.Source(6), gl.Cable(10_000, into="line"), gl.Preamp(6), full]',
        '[gl.Source(24, noise_dbfs=-90), gl.Cable(100, into="line"), gl.Preamp(0), full]',
        "[gl.Source(14, noise_dbfs=-120), gl.Cable(200), gl.Preamp(20), full]",
    ):
        assert part in text


@pytest.mark.parametrize(
    ("quote", "said", "mv", "spl"),
    [
        ("A soft voice gives about −72 dBu", -72, 2, 74),
        ("a snare close by can give +4", 4, 20, 130),
        ("With 10 millivolts per pascal that is −120 dBu", -120, 10, 12),
    ],
)
def test_what_microphones_give(quote, said, mv, spl, reckoned):
    expected = 20 * math.log10(mv / 1000 / ZERO_DBU) + spl - 94
    source = "derived: millivolts at 1 pascal, which is 94 dB SPL"
    reckoned(quote, said, expected, gl.microphone_dbu(mv, spl), within=0.5, near=0.01, source=source)


@pytest.mark.parametrize(
    ("quote", "said", "source", "load"),
    [
        ("6 dB are lost", 6, 10_000, 10_000),
        ("The instrument input has a million ohm and takes 0.1 dB", 0.1, 10_000, 1_000_000),
        ("A microphone of 150 ohm loses 0.8 dB in its input of 1500", 0.8, 150, 1500),
        ("Then at most 0.8 dB are lost", 0.8, 1, 10),
        ("That is −2.5 dB", 2.5, 1000, 3000),
    ],
)
def test_what_an_input_takes(quote, said, source, load, reckoned):
    reckoned(quote, said, -divided(source, load), -gl.loading_db(source, load), near=1e-9, source=DIVIDER)


def test_the_bass_gets_its_level_back(plugged, reckoned):
    """Move: "How many decibels come back?", Read: half the voltage in a line input, hardly any loss in the other."""

    def level(into):
        return plugged.replaced({"cable/into": into}).render().level("cable").peak_dbfs

    back = divided(10_000, 1_000_000) - divided(10_000, 10_000)
    read = level("instrument") - level("line")
    reckoned("half the voltage, so 6 dB less", 6, back, read, within=0.1, near=1e-6, source=DIVIDER)


@pytest.mark.parametrize(
    ("quote", "said", "ohm", "metres", "hertz"),
    [
        ("10 metres take 10 dB at 5 kHz", 10, 100_000, 10, 5000),
        ("Behind 150 ohm, 100 metres take nothing that you hear", True, 150, 100, 20_000),
    ],
)
def test_what_a_cable_takes_of_the_treble(quote, said, ohm, metres, hertz, reckoned):
    """Read: "10 metres take 10 dB at 5 kHz"; "Behind 150 ohm, 100 metres take nothing that you hear" (0.2 dB)."""
    both = ohm * 1e6 / (ohm + 1e6)
    expected = 10 * math.log10(1 + (2 * math.pi * hertz * both * 100e-12 * metres) ** 2)
    read = -float(gl.cable_treble_db(ohm, 1e6, metres, hertz))
    if said is True:
        expected, read = expected < 0.3, read < 0.3
    reckoned(quote, said, expected, read, within=0.5, near=1e-6, source="derived: ohms and 100 pF a metre, first order")


def test_one_leg_of_two_takes_6_db(line, reckoned):
    """Read: "half the voltage, so 6 dB less, and the output clips 6 dB lower too: one that gives +24 dBu gives +18"."""
    levels = [
        line.replaced({"cable/wiring": wiring}).render().level("cable").peak_dbfs
        for wiring in ("balanced", "one leg of two", "cold to ground")
    ]
    half = 20 * math.log10(2)
    reckoned("half the voltage, so 6 dB less", 6, half, levels[0] - levels[1], near=1e-6, source="derived: 20 log10 2")
    quote = "one that gives +24 dBu gives +18"
    reckoned(quote, 18, 24 - half, 24 + levels[1] - levels[0], near=1e-6, source="derived: 20 log10 2")
    reckoned("nothing is lost", True, True, levels[2] == levels[0], source="derived: nothing is divided")


def test_the_snare_needs_its_pad(close, reckoned):
    """Move: "at least 20 dB of gain, and the converter clips"; with the pad it can peak near −10 dBFS."""
    snare = paper.peak_dbfs(paper.stem("snare", 9.5, 17.5)) + 14 + divided(200, 1500)
    quote = "The preamp has at least 20 dB of gain, and the converter clips"
    read = close.render().level("converter").clipped > 0
    reckoned(quote, True, snare + 20 > 22, read, source="derived: decibel arithmetic; AES17, the stem's own samples")
    gain = round(22 - 10 - snare + 20)
    assert 20 <= gain <= 60
    padded = close.replaced({"preamp/pad_db": 20.0, "preamp/gain_db": float(gain)}).render().level("converter")
    assert padded.peak_dbfs == pytest.approx(-10, abs=0.6)
    assert padded.clipped == 0


def test_the_noise_of_a_resistance_and_of_an_input(reckoned):
    """Read: "150 ohm give −131 dBu", "The difference, 3 dB, is the noise figure"."""
    thermal = 20 * math.log10(math.sqrt(4 * 1.380649e-23 * 290 * 150 * 20_000) / ZERO_DBU)
    source = "derived from the published law of Johnson and Nyquist"
    reckoned("150 ohm give −131 dBu", -131, thermal, gl.thermal_noise_dbu(150), near=1e-6, within=0.1, source=source)
    read = gl.noise_figure_db(-128)
    reckoned("The difference, 3 dB", 3, -128 - thermal, read, near=1e-6, within=0.1, source=source)


CONVERTER = 22 - 110 + 2.05  # +22 dBu less 110 dB A-weighted; the weighting takes 2.05 dB off white noise (derived)


def test_where_the_noise_is_decided(plugged, reckoned):
    """Read: the table of noises seen from the input, also as the stages themselves make them."""
    both = {gain: added(-128, -100 - gain, CONVERTER - gain) for gain in (20, 50)}
    wider = 10 * math.log10(24 / 20)

    def read(gain):
        silent = gl.Audio(np.zeros(4800), 48_000)
        chain = [gl.Source(0, noise_dbfs=-np.inf), gl.Preamp(float(gain)), gl.Converter("+22 dBu")]
        level = gl.Session.of(silent, chain, name="x").render().level("converter")
        return level.noise_dbfs + 22 - gain - wider

    quote = "both together lie at −106 dBu"
    reckoned(quote, -106, both[20], read(20), within=0.5, near=0.05, source=POWERS)
    extra = both[50] - added(-128, -150)
    reckoned("the converter adds 0.6 dB", 0.6, extra, read(50) - added(-128, -150), near=0.05, source=POWERS)


@pytest.mark.parametrize(
    ("quote", "said", "gains", "figures"),
    [
        ("together they have 2.3 dB", 2.3, [40, 0], [2, 30]),
        ("With only 20 dB of gain they make 10.6", 10.6, [20, 0], [2, 30]),
        ("With a pad of 20 dB the first chain has 22.3 dB", 22.3, [-20, 40, 0], [20, 2, 30]),
    ],
)
def test_noise_figures_of_a_chain(quote, said, gains, figures, reckoned):
    factors = [10 ** (each / 10) for each in figures]
    before = np.cumprod([1.0, *(10 ** (each / 10) for each in gains[:-1])])
    whole = factors[0] + sum((each - 1) / gain for each, gain in zip(factors[1:], before[1:], strict=True))
    read = gl.cascade_noise_figure_db(gains, figures)
    reckoned(quote, said, 10 * math.log10(whole), read, near=1e-6, source="published: Friis 1944, as others quote it")


def test_the_two_distances(reckoned):
    """Read: "a range of 108 dB", "a signal-to-noise of 90 dB there, for 18 dB of it are room for peaks"."""
    noise = 22 + gl.converter_noise_dbfs(110)
    source = "derived: full scale less the unweighted noise; the level less the noise"
    reckoned("its noise lies at −86 dBu", -86, CONVERTER, noise, within=0.1, near=0.01, source=source)
    reckoned("a range of 108 dB", 108, 22 - CONVERTER, 22 - noise, within=0.1, near=0.01, source=source)
    reckoned("a signal-to-noise of 90 dB", 90, 4 - CONVERTER, 4 - noise, within=0.1, near=0.01, source=source)
    reckoned("18 dB of it are room for peaks", 18, 22 - 4, 22 - 4, source=source)
