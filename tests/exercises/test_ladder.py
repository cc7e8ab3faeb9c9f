"""A listening ladder: the sound of a trial measured from outside, its result by hand, what no answer may do."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gainlib.authoring.validation import validate
from gainlib.authoring.verification import verify
from gainlib.errors import GainError
from gainlib.exercises import check, load
from gainlib.exercises.ladder import ladder_of, staircase_of

STEP = """\
title  = "Step"
lesson = "work-with-decibels"
kind   = "hear"
level  = 1
goal   = "Know a step."
brief  = "Which one?"
given.signal = { wave = "noise", level_dbfs = -20, seconds = 1 }
given.strip  = "noise"
given.stages = [{ stage = "Trim", gain_db = 0 }]
matched = false
[ladder]
question = "Which one is louder?"
path     = "trim/gain_db"
rungs    = [8, 4, 2, 1, 0.5, 0.25]
what     = "a step of {size}"
known    = { from = 0.6, to = 1.2, source = "S.", standing = "published" }
"""
BENT = STEP.replace("matched = false\n", "")
for old, new in (
    ("gain_db = 0 }]", 'gain_db = 0 }, { stage = "Saturation", drive_db = 0 }]'),
    ("trim/gain_db", "saturation/drive_db"),
    ("[8, 4, 2, 1, 0.5, 0.25]", "[18, 15, 12, 9, 6, 3]"),
    ("from = 0.6, to = 1.2", "from = 7, to = 10"),
):
    BENT = BENT.replace(old, new)
READ = 'reads = { measure = "peak_dbfs", at = "trim", at_least = 1 }'
STEPS = "[8, 4, 2, 1, 0.5, 0.25]"


def behind(stage, path):
    """The ladder on a setting of another stage behind the trim."""
    text = STEP.replace("gain_db = 0 }]", f"gain_db = 0 }}, {stage}]").replace("trim/gain_db", path)
    return text.replace(STEPS, "[-2, -4, -6, -8, -10]")


BY_HAND = [[1, 1]] * 4 + [[2, 1]] + [[3, 3], [1, 1], [2, 3]] * 3 + [[1, 1]] * 2
"""Four right, a wrong one, then twice right and once wrong: the way turns on the rungs 4, 2, 3, 2, 3, 2, 3, 2."""


@pytest.fixture
def ladder(tmp_path):
    def made(text=STEP, name="step"):
        file = tmp_path / f"{name}.toml"
        file.write_text(text)
        return ladder_of(load(file).variant("ada"))

    return made


def level_db(samples):
    return 20 * math.log10(np.sqrt(np.mean(np.square(samples))))


@pytest.mark.parametrize("odd", [1, 2, 3])
def test_of_three_sounds_the_odd_one_alone_is_different_by_the_rung(ladder, odd):
    made = ladder()
    audio = made.trial(1, odd)
    sounds = [audio.between(begin + 0.05, end - 0.05).samples for begin, end in made.intervals()]
    levels = [level_db(each) for each in sounds]
    others = [levels[each] for each in range(3) if each != odd - 1]
    assert others[0] == others[1]
    assert levels[odd - 1] - others[0] == pytest.approx(4.0, abs=1e-6)  # the rung, as it was planted
    # Silence between, and no edge: the first samples of a sound are on their way up from nothing.
    first = round(made.intervals()[0][0] * audio.rate_hz)
    assert not audio.samples[:first].any()
    assert np.abs(audio.samples[first : first + 48]).max() < 0.02 * np.abs(sounds[0]).max()


def test_what_is_no_question_of_level_is_equally_loud_by_another_library(ladder):
    pyebur128 = pytest.importorskip("pyebur128")
    made = ladder(BENT, "bent")
    for rung in range(made.count):
        heard, loud = made.heard(rung), []
        for samples in (heard.usual, heard.odd):
            meter = pyebur128.R128State(1, heard.rate_hz, pyebur128.MeasurementMode.MODE_I)
            meter.add_frames(np.ascontiguousarray(samples[:, 0]), len(samples))
            loud.append(pyebur128.get_loudness_global(meter))
        assert abs(loud[0] - loud[1]) < 0.1
        assert heard.apart_db > -60.0


def test_a_run_comes_to_the_mean_of_its_last_six_turns_in_words(ladder):
    made = ladder()
    found = made.threshold(staircase_of(made.variant, BY_HAND))
    # Rung 2.5 by hand, half way from 2 dB to 1 dB; the standard error is 0.22 rungs, so the least one counts: 0.7.
    assert found.size == pytest.approx(1.5)
    assert (found.low, found.high) == pytest.approx((0.9, 2.4))
    assert found.sentences == (
        "You just hear a step of 1.5 dB: in 71 of 100 trials.",
        "Take it as 0.9 to 2.4 dB: two of three such runs come that near.",
        "That is coarser than what others found, 0.6 to 1.2 dB.",
        "Source (published): S.",
    )
    verdict = check(made.variant, {"trials": BY_HAND})
    assert (verdict.passed, verdict.points, verdict.out_of) == (True, 1.0, 1.0)


@pytest.mark.parametrize(
    ("trials", "said"),
    [([[1, 1]] * 14, "You hear even a step of 0.25 dB"), ([[1, 2]] * 3, "You did not find a step of 8 dB")],
)
def test_a_run_that_left_the_ladder_says_at_which_end(ladder, trials, said):
    made = ladder()
    assert made.threshold(staircase_of(made.variant, trials)).sentences[0].startswith(said)


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({}, "0 trials; the ladder ends after 8 turns"),
        ({"trials": [[1, 1]] * 5}, "5 trials; the ladder ends after 8 turns"),
        ({"trials": "1, 1"}, "The trials cannot be read; pairs"),
        ({"trials": [[1, 1], [1, 4]]}, "Trial 2 cannot be read; pairs"),
        ({"trials": [[1, True]]}, "Trial 1 cannot be read"),
        ({"trials": [[1, math.nan]]}, "Trial 1 cannot be read"),
        ({"trials": [1]}, "Trial 1 cannot be read"),
        ({"trials": {"a": 1}}, "The trials cannot be read"),
        (None, "0 trials"),
        ([], "0 trials"),
        ("trials", "0 trials"),
    ],
)
def test_no_answer_makes_the_checking_raise(ladder, answer, said):
    verdict = check(ladder().variant, answer)
    assert not verdict.passed
    assert verdict.lines[0].sentence.startswith(said)


def test_an_interval_that_is_none_is_refused(ladder):
    with pytest.raises(GainError, match="odd is 4; it must be 1, 2 or 3"):
        ladder().trial(0, 4)


def test_only_the_kind_hear_has_a_ladder():
    with pytest.raises(GainError, match="only the kind hear has a ladder"):
        ladder_of(load("recording/leave-room").variant("ada"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("rungs    = [8, 4, 2, 1, 0.5, 0.25]", "rungs    = [8, 4, 2, 1]", "rungs"),
        ("rungs    = [8, 4, 2, 1,", "rungs    = [8, 4, 5, 1,", "rungs of ladder go up and down"),
        ("rungs    = [8,", "rungs    = [800,", "rungs of ladder"),
        ('path     = "trim/gain_db"', 'path     = "trim/gain"', "gain_db"),
        ("seconds = 1 }", "seconds = 9 }", "a trial has three sounds of 9 s each; make them 6 s or less"),
        ('given.strip  = "noise"\n', 'given.views = ["waveform"]\n', "a ladder is heard and not seen"),
        ("a step of {size}", "a step of {sise}", "did you mean size"),
        ("from = 0.6, to = 1.2", "from = 2, to = 1.2", "from must be below to"),
        ("matched = false", "matched = false\nsolution = { a = 1 }", "kind hear has no solution"),
        ("what     =", f"{READ}\nwhat     =", "bound"),
        ("[ladder]", "moves = [{ path = 'trim/gain_db', from = 0, to = 1, step = 1 }]\n[ladder]", "has no moves"),
    ],
)
def test_a_fault_of_the_file_is_told(tmp_path, old, new, said):
    assert old in STEP
    file = tmp_path / "step.toml"
    file.write_text(STEP.replace(old, new))
    made, faults, _ = validate(file)
    assert made is None
    assert said in " ".join(each.text for each in faults)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (STEP, None),
        (BENT, None),
        (STEP.replace(STEPS, "[2, 1.8, 1.6, 1.4, 1.3]"), "differs by only"),
        (STEP.replace(STEPS, "[8, 4, 2, 1.9, 1.8, 1.1, 1.01]"), "of the rungs is finer than"),
        (STEP.replace("from = 0.6, to = 1.2", "from = 0.6, to = 5"), "1 of the rungs is clearer than what is known"),
        (STEP.replace("level_dbfs = -20", "level_dbfs = 0"), "is cut off on its way to the ear"),
        (behind('{ stage = "Fader", muted = true }', "trim/gain_db"), "there is nothing to hear"),
        (
            behind('{ stage = "Limiter", ceiling_dbfs = 6 }', "limiter/look_ahead_ms").replace(
                "[-2, -4, -6, -8, -10]", "[5, 4, 3, 2, 1]"
            ),
            "the odd one is the same as the others",
        ),
        (BENT.replace("what     =", f"{READ.replace(', at_least = 1', '')}\nwhat ="), "does not go one way"),
    ],
)
def test_a_proof_tells_what_is_wrong_with_a_ladder(tmp_path, text, said):
    file = tmp_path / "step.toml"
    file.write_text(text)
    proof = verify(file)
    assert proof.sound == (said is None), proof.faults
    if said:
        assert said in proof.faults[0].text
