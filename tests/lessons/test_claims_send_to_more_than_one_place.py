"""What the lesson "Send to more than one place" says in numbers, measured on the lesson's own sessions."""

from __future__ import annotations

import math

import numpy as np
import pytest
import reckoning as paper

LESSON = "send-to-more-than-one-place"
DRUMS = [paper.stem(name, 9.5, 16.0) for name in ("kick", "snare", "hats")]
ADD = "derived: decibels in a row add"
CURVE = "published: Giannoulis, Massberg and Reiss, JAES 60(6), 2012, curve and smooth branching"


@pytest.fixture(scope="module")
def session(lesson_start):
    return lesson_start(LESSON)


def change(session, moved, tap):
    after, before = (each.render().level(tap).rms_dbfs for each in (session.replaced(moved), session))
    return after - before


@pytest.mark.parametrize(
    ("tap", "down_db", "quote"),
    [
        ("echo/trim", 6, "Pull the voice away, and its echo goes too"),
        ("headphones/trim", 0, "its level comes from the send, not from the fader"),
    ],
)
def test_what_a_pull_of_the_voices_fader_reaches(session, reckoned, tap, down_db, quote):
    """Read: "Pull the voice away, and its echo goes too"; "its level comes from the send, not from the fader"."""
    read = -change(session["room"], {"voice/fader/gain_db": -12}, tap)
    reckoned(quote, True, -6 - -12 == 6, read == pytest.approx(down_db, abs=1e-9), source=ADD)


def test_the_cue_mix_is_a_way_of_its_own(session, reckoned):
    """Title: "does not reach the main"; the main holds the voice and its echo, and nothing of the headphones."""
    voice = paper.both_sides(paper.stem("lead-voice", 9.5, 16.0)) * 10 ** (-6 / 20)
    expected = paper.rms_dbfs(voice * (1 + 10 ** (-12 / 20)))
    read = session["room"].render().level("main/sum").rms_dbfs
    quote = "It is a way of its own and does not reach the main"
    reckoned(quote, True, True, read == pytest.approx(expected, abs=0.01), source=ADD)


def on_the_bus(gain_db):
    """The drums on paper, behind faders moved by a group, through the compressor of the bus."""
    summed = sum(paper.both_sides(each) for each in DRUMS) * 10 ** (gain_db / 20)
    taken = paper.reduction_db(summed, -24, 4, 6, 10, 100)
    taken = taken if taken.ndim == summed.ndim else taken[:, None]
    return summed * 10 ** (-taken / 20)


def test_the_bus_fader_moves_the_drums_and_not_the_echo(session, reckoned):
    """Read: "The drums go down by 6 dB, the echo stays"; "in front of it hears nothing of the move"."""
    moved = {"drum bus/fader/gain_db": -6}
    drums, echo = (change(session["drums"], moved, tap) for tap in ("drum bus/fader", "echo/trim"))
    assert change(session["drums"], moved, "drum bus/compressor") == pytest.approx(0, abs=1e-9)
    read = drums == pytest.approx(-6), echo == pytest.approx(0, abs=1e-9)
    reckoned("The drums go down by 6 dB, the echo stays", True, True, all(read), source=ADD)


def test_the_group_takes_the_echo_along_and_the_compressor_gives_some_back(session, reckoned):
    """Read: "The echo goes down with the drums ... so the drums do not lose the whole 6 dB"."""
    moved = {"all drums/group/gain_db": -6}
    drums, echo = (change(session["drums"], moved, tap) for tap in ("drum bus/fader", "echo/trim"))
    reckoned("The echo goes down with the drums", True, True, echo == pytest.approx(-6), source=ADD)
    expected = paper.rms_dbfs(on_the_bus(-6)) - paper.rms_dbfs(on_the_bus(0))
    assert drums == pytest.approx(expected, abs=0.05)
    quote = "so the drums do not lose the whole 6 dB"
    reckoned(quote, True, -5 < expected < -1, -5 < drums < -1, source=CURVE)


def test_group_faders_add(session, reckoned):
    """Read: "a drum at −5 dB in a group at −3 dB stands at −8 dB"."""
    moved = session["drums"].replaced({"kick/fader/gain_db": -5, "all drums/group/gain_db": -3})
    read = moved.render().level("kick/fader").rms_dbfs - session["drums"].render().level("kick/fader").rms_dbfs
    quote = "a drum at −5 dB in a group at −3 dB stands at −8 dB"
    reckoned(quote, -8, -5 + -3, read, near=1e-9, source=ADD)


@pytest.mark.parametrize("inverted", [False, True])
def test_the_doubled_guitar_in_mono(lesson_text, reckoned, inverted):
    """Move: "Who is gone, and who stays?"; Read: "No track's level told you so"."""
    import gainlib as gl

    names: dict = {"gl": gl, "voice": gl.read("media/lead-voice.flac").between(9.5, 16.0)}
    exec(made_in(lesson_text(LESSON)), names)
    made = names["wide"].replaced({"right guitar/polarity/inverted": inverted}).render()
    mono = made.at("main/sum").samples.mean(axis=1)
    guitar, sung = (paper.both_sides(paper.stem(name, 9.5, 16.0))[:, 0] for name in ("guitar", "lead-voice"))
    expected = sung * 10 ** ((-6 - 3.01) / 20) + (0 if inverted else guitar)
    assert paper.rms_dbfs(mono) == pytest.approx(paper.rms_dbfs(expected), abs=0.01)
    quote = "No track's level told you so"
    sides = made.level("left guitar/pan").rms_dbfs, made.level("right guitar/pan").rms_dbfs
    reckoned(quote, True, True, sides[0] == pytest.approx(sides[1], abs=1e-9), source="derived: |-x| = |x|")


def made_in(text):
    """The cell that makes the session of the mono bench, without its bench."""
    start = text.index('stereo = gl.read("media/guitar.flac")')
    return text[start : text.index("gl.bench(wide")]


def test_what_mono_does_to_the_sides(reckoned):
    """Read: "What is alike on both sides stays ... comes out 3 dB softer"; folded as the player folds."""
    from gainlib.widgets.listening import folded_words

    one, other = np.random.default_rng(3).standard_normal((2, 200_000)) * 0.1
    pairs = {"alike": (one, one), "one side": (one, 0 * one), "unrelated": (one, other), "opposite": (one, -one)}
    words = {name: folded_words(np.stack(pair, axis=1)) for name, pair in pairs.items()}
    alike_is_kept = 10 * math.log10(2 * 1**2 / (1**2 + 1**2)) == 0
    reckoned("What is alike on both sides stays", True, alike_is_kept, "as loud" in words["alike"], source="derived")
    quote = "comes out 3 dB softer"
    softer = all(words[name].startswith("mono: 3.0 dB softer") for name in ("one side", "unrelated"))
    reckoned(quote, True, round(10 * math.log10(2 * 0.5**2), 1) == -3.0, softer, source="derived: power of the mean")
    reckoned("is gone: one side", True, not (one - one).any(), "cancel" in words["opposite"], source="derived: x - x")
