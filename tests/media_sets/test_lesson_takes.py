"""Which takes a lesson is given: a set's own, each at its level, where all that the text rests on is so of them."""

from __future__ import annotations

import ast
import json

import numpy as np
import pytest
import second_takes
import soundfile

import gainlib as gl
from gainlib.errors import GainError
from gainlib.media_sets import bundled_set, lesson_needs, read_media_set, taught_on
from gainlib.media_sets.takes_table import PARTS, ROLES
from gainlib.storage import lesson_files

LESSON = "set-recording-level"


@pytest.fixture
def second(second_takes_folder, tmp_path):
    """A copy that a test may spoil."""
    for each in second_takes_folder.iterdir():
        (tmp_path / each.name).hardlink_to(each)
    return tmp_path


def spoilt(folder, old, new):
    text = (folder / "takes.toml").read_text(encoding="utf-8")
    assert old in text
    (folder / "takes.toml").unlink()  # the others have it too
    (folder / "takes.toml").write_text(text.replace(old, new), encoding="utf-8")
    return read_media_set(folder)


def peak_dbfs(samples):
    return 20 * np.log10(np.abs(samples).max())


def test_a_take_is_brought_as_a_whole_to_the_level_of_the_bundled_one(second):
    """The gain on paper: the highest sample of the bundled verse over that of this one, from the files themselves."""
    takes = taught_on(LESSON, read_media_set(second))
    assert takes.own
    own, rate_hz = soundfile.read(second / "lead voice.wav")
    bundled, _ = soundfile.read(bundled_set().files["lead voice"])
    verse = round(second_takes.PARTS["verse"][1] * rate_hz)
    gain_db = peak_dbfs(bundled[: round(9.34 * 48_000)]) - peak_dbfs(own[:verse])
    assert abs(gain_db) > 1
    assert np.allclose(takes["lead voice"].samples[:, 0], own * 10 ** (gain_db / 20), rtol=1e-9, atol=0)
    assert f"{gain_db:+.1f} dB for this lesson" in repr(takes).replace("−", "-")
    shout = takes["lead voice", "shout"]
    assert shout.seconds == pytest.approx(1.2)
    assert takes.seconds("verse") == second_takes.PARTS["verse"]


def test_without_a_set_the_bundled_takes_are_given_as_they_are():
    takes = taught_on(LESSON)
    assert not takes.own
    assert takes["lead voice"] == gl.read("media/lead-voice.flac")
    assert repr(takes) == "lead voice: 19 s, mono, 48 kHz"


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('"lead voice" = "lead voice.wav"\n', "", "your takes have no lead voice"),
        ('"shout" = [22.2, 23.4]\n', "", "your table has no part named shout"),
        (
            '"shout" = [22.2, 23.4]',
            '"shout" = [22.2, 22.3]',
            "your shout lasts 0.1 s, and this lesson wants 0.2 s of it",
        ),
        ('"shout" = [22.2, 23.4]', '"shout" = [20.0, 21.9]', "the peak of the shout over that of the verse is "),
        ('"lead voice.wav"', '"pad.wav"', "the noise in the voice's pauses"),
    ],
)
def test_what_a_set_lacks_keeps_the_bundled_takes_and_is_told(second, old, new, why):
    takes = taught_on(LESSON, spoilt(second, old, new))
    assert (takes.own, why in takes.why) == (False, True), takes.why
    assert repr(takes).startswith("The bundled takes, since ")
    assert takes["lead voice"] == gl.read("media/lead-voice.flac")


def test_a_set_with_only_a_voice_does_for_a_lesson_that_needs_only_a_voice(second):
    only = 'title = "Mine"\n[takes]\n"lead voice" = "lead voice.wav"\n[parts]\nverse = [0, 11]\nshout = [22.2, 23.4]\n'
    (second / "takes.toml").unlink()
    (second / "takes.toml").write_text(only, encoding="utf-8")
    assert taught_on(LESSON, read_media_set(second)).own


def test_a_silent_take_is_told(second):
    (second / "lead voice.wav").unlink()
    soundfile.write(second / "lead voice.wav", np.zeros(26 * 48_000), 48_000)
    assert taught_on(LESSON, read_media_set(second)).why == "your lead voice is silent in the verse"


def test_what_a_lesson_does_not_ask_for_is_refused_with_what_it_has():
    takes = taught_on(LESSON)
    with pytest.raises(GainError, match="this lesson has no take 'pad'; .*lead voice"):
        takes["pad"]
    with pytest.raises(GainError, match="this lesson has no part 'chors'"):
        takes["lead voice", "chors"]
    with pytest.raises(GainError, match="no lesson 'deliver' takes what a school brings"):
        taught_on("deliver")


def asked_in(lesson):
    """The roles and parts that a lesson's cells ask `takes` for, and the lesson that they name."""
    cells = json.loads(lesson_files()[lesson].read_text(encoding="utf-8"))["cells"]
    code = "\n".join("".join(each["source"]) for each in cells if each["cell_type"] == "code")
    named, roles, parts = set(), set(), set()
    for node in ast.walk(ast.parse(code)):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "gl.takes":
            named.add(node.args[0].value)
        if isinstance(node, ast.Constant) and node.value in ROLES:
            roles.add(node.value)
        if isinstance(node, ast.Constant) and node.value in PARTS:
            parts.add(node.value)
    return named, roles, parts


@pytest.mark.parametrize("lesson", list(lesson_files()))
def test_a_lesson_that_is_listed_asks_for_what_is_listed_and_no_other_asks(lesson):
    named, roles, parts = asked_in(lesson)
    needs = lesson_needs().get(lesson)
    if needs is None:
        assert not named
        return
    assert named == {lesson}
    assert roles >= set(needs.roles)
    assert parts >= {each for each in needs.parts if not any(each in (*it.of, *it.over) for it in needs.holds)}
    assert set(needs.level) | set(needs.mono) <= set(needs.roles)
    assert {place[0] for each in needs.holds for place in (each.of, each.over) if place} <= set(needs.roles)
