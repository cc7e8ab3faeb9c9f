"""Each kind of exercise at work: what is drawn and planted, what is right, what the verdict says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gainlib.audio import Audio
from gainlib.authoring.new_exercise import new_exercise
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import verify
from gainlib.errors import GainError
from gainlib.exercises import author_answer, check, expected_answers, load
from gainlib.exercises.formulas import calculate, formulas
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.sound_file import write

HEAD = """
title  = "A title"
lesson = "set-recording-level"
kind   = "{kind}"
level  = 1
goal   = "A goal."
brief  = "A brief."
"""
SOURCED = 'source = "x"\nstanding = "derived"\npoints = 2\n'
TONE = """
given.signal = { wave = "sine", frequency_hz = 1000, level_dbfs = -20, seconds = 1 }
given.strip  = "tone"
given.stages = [{ stage = "Trim" }, { stage = "Limiter", ceiling_dbfs = -6, true_peak = false }]
"""


@pytest.fixture
def made(tmp_path):
    """Write an exercise of a kind from what follows its head; gives it loaded."""

    def make(kind, text):
        file = tmp_path / "own.toml"
        file.write_text(HEAD.format(kind=kind) + text, encoding="utf-8")
        return load(file)

    return make


def asked(name, rest, title="The question"):
    return f'\n[[asks]]\nname = "{name}"\ntitle = "{title}"\n{SOURCED}{rest}\n'


# --- reckonings: each expected value is typed from a source ---

RECKONED = [
    # (reckoning, numbers, expected, tolerance, source)
    ("dbu_from_volts", [1.228], 4.0, 0.01, "ITU-R BS.645-2: +4 dBu is 1.228 V"),
    ("volts_from_dbu", [0], 0.775, 0.001, "ITU-R BS.645-2: 0 dBu is 0.775 V"),
    ("dbv_from_volts", [0.316], -10.0, 0.01, "IEC 60027-3: -10 dBV is 0.316 V"),
    ("volts_from_dbv", [0], 1.0, 0, "IEC 60027-3"),
    ("dbu_from_dbv", [-10], -7.78, 0.01, "-10 dBV is -7.78 dBu, printed in many manuals"),
    ("dbv_from_dbu", [4], 1.78, 0.01, "+4 dBu is +1.78 dBV"),
    ("db_from_ratio", [2], 6.02, 0.01, "ISO 80000-8"),
    ("ratio_from_db", [20], 10.0, 1e-9, "ISO 80000-8"),
    ("db_from_power", [2], 3.01, 0.01, "ISO 80000-8"),
    ("power_from_db", [10], 10.0, 1e-9, "ISO 80000-8"),
    ("sum_db", [-20, -20], -16.99, 0.01, "two unrelated equal sources are 3.01 dB up"),
    ("sum_db", [60, 60, 60, 60], 66.02, 0.01, "four of them 6.02 dB"),
    ("sum_same_db", [-20, -20], -13.98, 0.01, "the same signal twice is 6.02 dB up"),
    ("equal_sum_db", [-20, 10], -10.0, 1e-9, "ten unrelated sources are 10 dB up"),
    ("equal_same_sum_db", [-40, 10], -20.0, 1e-9, "ten times the amplitude is 20 dB"),
    ("dbfs_from_dbu", [0, 18], -18.0, 0, "EBU R 68: 0 dBu reads -18 dBFS"),
    ("dbu_from_dbfs", [-20, 24], 4.0, 0, "SMPTE RP 155: -20 dBFS is +4 dBu"),
    ("product", [7, 5000], 35000.0, 0, "seven times 5 kHz is the seventh harmonic"),
    ("quotient", [6, 4], 1.5, 0, "6 dB over the threshold at 4:1"),
    ("loading_db", [600, 600], -6.02, 0.01, "half the voltage"),
    ("word_noise_dbfs", [16], -98.09, 0.01, "6.02 x 16 + 1.76 dB, the textbook signal-to-noise ratio"),
    ("word_noise_dbfs", [24], -146.26, 0.02, "6.02 x 24 + 1.76 dB"),
    ("static_reduction_db", [-8, -20, 4], 9.0, 1e-9, "12 dB over at 4:1 leave 3 dB over"),
    ("allowed_hours", [85], 8.0, 1e-9, "NIOSH 98-126, table 1-1"),
    ("allowed_hours", [94], 1.0, 1e-9, "NIOSH 98-126, table 1-1"),
    ("difference", [3, 5], -2.0, 0, "arithmetic"),
    ("total", [1, 2, 3.5], 6.5, 0, "arithmetic"),
]


@pytest.mark.parametrize(("name", "numbers", "expected", "tolerance", "source"), RECKONED)
def test_a_reckoning_gives_the_printed_value(name, numbers, expected, tolerance, source):
    assert calculate(name, numbers) == pytest.approx(expected, abs=tolerance or 1e-12), source


def test_every_reckoning_has_a_printed_value():
    assert {row[0] for row in RECKONED} == set(formulas())


@pytest.mark.parametrize(
    ("name", "numbers", "says"),
    [
        ("sum_dbs", [1, 2], "did you mean sum_db"),
        ("difference", [1], "is given 1 numbers in with; it needs first, second"),
        ("dbu_from_volts", [-1], "cannot be worked out from -1"),
        ("ratio_from_db", [1e9], "beyond all bounds"),
    ],
)
def test_a_reckoning_that_cannot_be_done_is_told(name, numbers, says):
    with pytest.raises(GainError, match=says):
        calculate(name, numbers)


# --- made signals ---


@pytest.mark.parametrize(
    ("wave", "measure", "expected"),
    [
        ("sine", "peak_dbfs", -20.0),
        ("sine", "rms_dbfs", -20.0),  # AES17: a sine reads its peak level
        ("square", "peak_dbfs", -20.0),
        ("square", "rms_dbfs", -17.0),  # 3.01 dB more than a sine of that peak
        ("noise", "rms_dbfs", -20.0),
        ("burst", "peak_dbfs", -20.0),
        ("burst", "rms_dbfs", -30.0),  # a tenth of the time
    ],
)
def test_a_made_signal_has_its_level(made, wave, measure, expected):
    rest = f'unit = "dB"\nwithin = 0.1\nfrom = -90\nto = 0\nexpected = {{ measure = "{measure}", at = "trim" }}'
    text = TONE.replace('"sine"', f'"{wave}"') + f"solution = {{ level = {expected} }}" + asked("level", rest)
    assert expected_answers(made("reckon", text).variant("ada"))[0].right == pytest.approx(expected, abs=0.05)


# --- reckon ---

SUM = (
    TONE
    + """
varies.level = { path = "signal/level_dbfs", from = -40, to = -20, step = 1 }
varies.other = { from = -6, to = 6, step = 2, unit = "dBu" }
solution = { sum = { base = 3.01, plus = "level" } }
[[slips]]
name   = "six"
when   = [{ ask = "sum", near = { base = 6, plus = "level" }, within = 0.5 }]
answer = { sum = { base = 6, plus = "level" } }
say    = "Six is for the same signal."
"""
    + asked(
        "sum",
        'unit = "dBFS"\nwithin = 0.5\nfrom = -60\nto = 0\n'
        'expected = { reckon = "sum_db", with = [{ measure = "rms_dbfs", at = "trim" }, { plus = "level" }] }',
    )
)


def test_a_number_is_right_within_its_tolerance_and_told_roughly_otherwise(made):
    variant = made("reckon", SUM).with_values({"level": -30.0, "other": 2.0})
    (ask,) = variant.questions
    assert (ask.form, ask.unit, ask.low, ask.high) == ("number", "dBFS", -60.0, 0.0)
    # -30 and -30 dB are -26.99 dB.
    for answer, passes in ((-26.99, True), (-27.48, True), (-26.5, True), (-27.5, False), (-26.48, False)):
        assert check(variant, {"sum": answer}).passed is passes, answer
    low = check(variant, {"sum": -34})
    assert low.lines[0].sentence == "You said: −34 dBFS. That is 5 to 10 dB too low."
    assert "26.9" not in low.text, "the right answer is not given away"
    six = check(variant, {"sum": -24.0})
    assert (six.slip, six.points, six.out_of) == ("Six is for the same signal.", 0.0, 2.0)
    assert variant.printed["other"] == "2 dBu"


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (None, "There is no answer yet."),
        ("many", "Not read: “many” is not a number; give −60 dBFS to 0 dBFS."),
        ("-20 dBu", "Not read: “-20 dBu” is in dBu, and dBFS is asked for; give −60 dBFS to 0 dBFS."),
        (True, "Not read: true is not a number; give −60 dBFS to 0 dBFS."),
        (math.nan, "Not read: NaN is not a number; give −60 dBFS to 0 dBFS."),
        ([1.0], "Not read: a list is not a number; give −60 dBFS to 0 dBFS."),
        ({"x": 1}, "Not read: a table is not a number; give −60 dBFS to 0 dBFS."),
        (10**400, "Not read: a number beyond all bounds is not a number; give −60 dBFS to 0 dBFS."),
        (-61.0, "Not read: −61 dBFS is out of reach; give −60 dBFS to 0 dBFS."),
        (1.0, "Not read: 1 dBFS is out of reach; give −60 dBFS to 0 dBFS."),
    ],
)
def test_an_answer_that_is_no_such_number_is_told(made, answer, words):
    verdict = check(made("reckon", SUM).variant("ada"), {"sum": answer})
    assert (verdict.points, verdict.passed) == (0.0, False)
    assert verdict.lines[0].sentence == words


# --- strips, plants and words ---

BAND = """
plant = [{ at = "{where}/trim/gain_db", by = { plus = "off" } }]
[given]
strips = [
  { name = "one", signal = { wave = "sine", level_dbfs = -30, seconds = 1 }, stages = [TRIM, FADER] },
  { name = "two", signal = { wave = "sine", level_dbfs = -30, seconds = 1 }, stages = [TRIM, FADER] },
  { name = "bare", signal = { wave = "sine", level_dbfs = -10, seconds = 1 }, stages = [{ stage = "Pan" }] },
]
[varies]
where = { choose = ["one", "two"] }
off   = { from = 6, to = 12, step = 1, unit = "dB" }
""".replace("TRIM", '{ stage = "Trim" }').replace("FADER", '{ stage = "Fader" }')
WHERE = asked("where", 'among = "strips"\nby = { measure = "peak_dbfs", at = "trim" }\npick = "largest"')


def test_a_planted_fault_is_found_where_the_drawn_word_says(made):
    found = made("find", 'solution = { where = "{where}" }\n' + BAND + WHERE)
    for word in ("one", "two"):
        variant = found.with_values({"where": word, "off": 8.0})
        assert variant.session.setting(f"{word}/trim/gain_db") == 8.0
        (ask,) = variant.questions
        assert ask.choices == ("one", "two", "bare")
        # A strip without that stage can be said, and is never right, however loud it is.
        assert [check(variant, {"where": each}).passed for each in ask.choices] == [word == "one", word == "two", False]
        assert check(variant, author_answer(variant)).passed
    assert "did you mean two" in check(variant, {"where": "twoo"}).text


def test_what_is_asked_of_a_session_stays_what_it_was_when_moves_are_made(made):
    text = (
        'moves = [{ path = "{where}/trim/gain_db", from = -24, to = 24, step = 1 }]\n'
        'solution = { "{where}/trim/gain_db" = 0, where = "{where}" }\n'
        + BAND
        + WHERE
        + '\n[[checks]]\ntitle = "Even"\nreads = { measure = "peak_dbfs", at = "{where}/trim", '
        'less = { at = "one/trim" }, at_least = -1, at_most = 1 }\n'
        + SOURCED
        + '\n[[checks]]\ntitle = "Low"\nreads = { measure = "peak_dbfs", at = "{where}/fader", at_most = -25 }\n'
        + SOURCED
    )
    variant = made("session", text).with_values({"where": "two", "off": 9.0})
    assert variant.start == {"two/trim/gain_db": 9.0}
    verdict = check(variant, {"two/trim/gain_db": 0.0, "where": "two"})
    assert (verdict.passed, verdict.points) == (True, 6.0)
    start = check(variant, {**variant.start, "where": "two"})
    assert [line.passed for line in start.lines] == [False, False, True]
    assert start.lines[0].sentence == "+9.0 dB; wanted: −1 to +1 dB. That is about 9.0 dB too high."
    # A move that cannot be read leaves what it has no part in: the question.
    assert [line.passed for line in check(variant, {"where": "two"}).lines] == [False, False, True]


# --- stages, told readings, moments ---


def test_the_first_stage_in_bounds_is_found_and_a_stage_that_tells_nothing_is_passed_over(made):
    text = (
        TONE
        + 'varies.hot = { path = "trim/gain_db", from = 16, to = 18, step = 1 }\nsolution = { stage = "limiter" }'
        + asked(
            "stage",
            'among = "stages"\nof = "tone"\nby = { told = "gain_reduction_db", at_least = 1 }\npick = "first"',
        )
    )
    variant = made("find", text).with_values({"hot": 16.0})
    assert variant.questions[0].choices == ("trim", "limiter")
    # -20 + 16 dB stand 2 dB over the ceiling of -6 dBFS.
    assert expected_answers(variant)[0].read == {"limiter": pytest.approx(2.0, abs=0.05)}
    assert check(variant, {"stage": "limiter"}).passed


def test_a_moment_is_right_within_its_seconds(made, tmp_path):
    samples = np.zeros(48_000 * 3)
    samples[48_000:48_100] = 0.5
    samples[96_000:96_010] = 1.0
    write(tmp_path / "take.wav", Audio(samples, 48_000))
    for moment, at in (("highest peak", 2.0), ("first clipped run", 2.0)):
        text = 'given.take = "take.wav"\ngiven.stages = [{ stage = "Trim" }]\nsolution = { when = 2 }' + asked(
            "when", f'among = "seconds"\nat = "trim"\nmoment = "{moment}"\nwithin = 0.25'
        )
        variant = made("find", text).variant("ada")
        assert variant.questions[0].form == "seconds"
        assert expected_answers(variant)[0].right == pytest.approx(at, abs=0.01)
        assert check(variant, {"when": 2.2}).passed
        assert check(variant, {"when": 1.6}).lines[0].sentence == "You said: 1.6 s. That is 0.2 to 0.5 s too low."


# --- judge ---

JUDGE = (
    TONE
    + """
candidates = [
  { name = "soft", set = { "trim/gain_db" = 0 }, say = "left alone" },
  { name = "mid", set = { "trim/gain_db" = 17 }, say = "a little" },
  { name = "hard", set = { "trim/gain_db" = { base = 20, plus = "more" } }, say = "a lot" },
]
varies.more = { from = 0, to = 4, step = 1, unit = "dB" }
solution = { which = "hard", order = ["soft", "mid", "hard"] }
slips = [
  { name = "soft", when = [{ ask = "which", is = "soft" }], answer = { which = "soft" }, say = "It was left alone." },
]
"""
    + asked("which", 'by = { told = "gain_reduction_db", at = "limiter" }\npick = "largest"')
    + asked("order", 'by = { told = "gain_reduction_db", at = "limiter" }\norder = "rising"', "The order")
)


def test_candidates_are_shown_in_an_order_of_each_learners_own(made):
    exercise = made("judge", JUDGE)
    orders = {tuple(each.name for each in exercise.variant(f"learner {number}").candidates) for number in range(80)}
    assert len(orders) == 6
    variant = exercise.variant("ada")
    assert exercise.with_values(variant.values).candidates[0].name == variant.candidates[0].name
    assert [each.label for each in variant.candidates] == ["A", "B", "C"]
    label = {each.name: each.label for each in variant.candidates}
    assert "order" not in variant.printed
    right = {"which": label["hard"], "order": [label["soft"], label["mid"], label["hard"]]}
    verdict = check(variant, right)
    assert (verdict.passed, verdict.points) == (True, 4.0)
    assert f"{label['mid']}: a little." in verdict.text
    assert author_answer(variant) == {**right, "order": tuple(right["order"])}
    wrong = check(variant, {**right, "which": label["soft"]})
    assert (wrong.slip, wrong.points) == ("It was left alone.", 2.0)
    assert "a little" not in wrong.text, "what they were is told when all is right"
    for odd in (["A", "B"], ["A", "A", "B"], "ABC", 3, None, [["A"], "B", "C"], ["A", "B", 3]):
        assert not check(variant, {**right, "order": odd}).passed


def test_a_right_answer_is_no_slip_whatever_else_is_wrong(made):
    variant = made("judge", JUDGE.replace('is = "soft"', 'is = "hard"')).variant("ada")
    right = author_answer(variant)
    verdict = check(variant, {**right, "order": tuple(reversed(right["order"]))})
    assert (verdict.points, verdict.slip) == (2.0, None)


# --- rides ---


@pytest.fixture(scope="module")
def ridden(tmp_path_factory):
    """Three phrases, the middle one 12 dB down."""
    folder = tmp_path_factory.mktemp("ride")
    tone = np.sin(2 * np.pi * 250 * np.arange(8000) / 8000)
    silence = np.zeros(4000)
    take = np.concatenate([0.2 * tone, silence, 0.05 * tone, silence, 0.2 * tone])
    write(folder / "take.wav", Audio(take, 8000))
    (folder / "own.toml").write_text(
        HEAD.format(kind="ride")
        + """
given.take = "take.wav"
given.strip = "voice"
given.stages = [{ stage = "Trim" }, { stage = "Ride" }]
varies.level = { path = "trim/gain_db", from = -3, to = 3, step = 1 }
moves = [{ path = "ride/points", points = true, from = -12, to = 12 }]
solution = { "ride/points" = { even_to_db = -18, strength = 0.75, most_db = 15 } }
[[checks]]
title = "Evenness"
reads = { measure = "phrase_range_db", at = "ride", at_least = 1, at_most = 4 }
"""
        + SOURCED,
        encoding="utf-8",
    )
    return load(folder / "own.toml")


def test_a_ride_is_drawn_and_measured(ridden):
    variant = ridden.with_values({"level": 0.0})
    (move,) = variant.controls
    assert (move.points, move.low, move.high, move.start) == (True, -12.0, 12.0, ())
    # 12.04 dB between the phrases; three quarters of the way leave 3 dB.
    assert check(variant, variant.start).lines[0].sentence.startswith("12.0 dB")
    assert check(variant, author_answer(variant)).lines[0].sentence.startswith("3.0 dB")
    flat = {"ride/points": [[1.3, 0.0], [1.4, 10.0], [2.6, 10.0], [2.7, 0.0]]}
    assert check(variant, flat).lines[0].sentence.startswith("2.0 dB")


@pytest.mark.parametrize(
    ("points", "says"),
    [
        (None, "is nothing; it must be a row of points"),
        ([[0.0, 0.0], [0.0, 1.0]], "has a point at 0 s"),
        ([[2.0, 0.0], [1.0, 1.0]], "has a point at 1 s"),
        ([[0.0, 13.0]], "goes to +13 dB; the ride goes from −12 dB to +12 dB"),
        ([[0.0, math.nan]], "holds a list"),
        ([[-1.0, 0.0]], "has a point at −1 s"),
        ([[99.0, 0.0]], "has a point at 99 s"),
        ([[0.0, 0.0, 0.0]], "holds a list"),
        ([[index / 100, 0.0] for index in range(201)], "at most 200"),
    ],
)
def test_points_that_cannot_be_are_told(ridden, points, says):
    verdict = check(ridden.variant("ada"), {"ride/points": points})
    assert not verdict.passed
    assert says in verdict.lines[0].sentence


# --- switches ---


def test_a_switch_is_one_of_its_options(made):
    text = (
        TONE
        + """
moves = [
  { path = "limiter/true_peak", options = [false, true], start = false },
  { path = "trim/gain_db", from = 0, to = 20, step = 1 },
]
varies.ceiling = { path = "limiter/ceiling_dbfs", choose = [-8, -7] }
solution = { "limiter/true_peak" = true, "trim/gain_db" = 18 }
[[checks]]
title = "True peak"
reads = { measure = "true_peak_dbtp", at = "limiter", at_most = { plus = "ceiling" } }
"""
        + SOURCED
    )
    variant = made("set", text).with_values({"ceiling": -7.0})
    assert variant.controls[0].options == (False, True)
    assert variant.checks[0].most == -7.0
    assert check(variant, {"limiter/true_peak": True, "trim/gain_db": 18}).passed
    for odd in (1, 0.0, "true", None, "on"):
        line = check(variant, {"limiter/true_peak": odd, "trim/gain_db": 18}).lines[0]
        assert "it must be one of false, true" in line.sentence


# --- templates, and any answer to any of them ---


@pytest.fixture(scope="module")
def templates(tmp_path_factory):
    folder = tmp_path_factory.mktemp("templates")
    return {kind: new_exercise(f"levels/{kind}", kind=kind, folder=folder) for kind in EXERCISE_KINDS}


@pytest.mark.parametrize("kind", sorted(set(EXERCISE_KINDS) - {"set"}))
def test_a_template_is_sound_as_it_is_written(templates, kind):
    proof = verify(templates[kind], variants=2)
    assert proof.faults == ()
    assert load(templates[kind]).kind == kind


@pytest.fixture(scope="module")
def sat(templates):
    return [load(templates[kind]).variant("ada") for kind in ("session", "find", "judge", "reckon")]


ODD = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.sampled_from(["A", "kick", "converter"]) | st.text(),
    lambda inner: st.lists(inner, max_size=4),
    max_leaves=6,
)


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_no_answer_to_any_kind_raises(sat, data):
    for variant in sat:
        names = [*(move.path for move in variant.controls), *(ask.name for ask in variant.questions)]
        verdict = check(variant, data.draw(st.dictionaries(st.sampled_from(names), ODD)))
        assert 0.0 <= verdict.points <= verdict.out_of
        assert verdict.text


# --- faults, with their lines ---

SPOILT = [
    # (kind of the template, what is spoilt, into what, what the sentence says)
    ("reckon", 'reckon = "volts_from_dbu"', 'reckon = "volt_from_dbu"', "did you mean volts_from_dbu"),
    ("reckon", "within   = 0.05", "", "it lacks the entry within"),
    ("reckon", 'expected = { measure = "rms_dbfs", at = "converter" }', "expected = {}", "expected must be one thing"),
    ("reckon", 'to = { plus = "zero" }', 'to = { plus = "zeros" }', "did you mean zero?"),
    ("reckon", 'wave = "sine"', 'wave = "saw"', "wave of signal of given is 'saw'; it must be one of"),
    ("reckon", "seconds = 1 }", "seconds = 3600 }", "seconds of signal of given is 3600; it must be at most 60"),
    ("reckon", 'ask = "reads", near', 'ask = "read", near', "there is no ask 'read'; did you mean reads?"),
    ("reckon", "[solution]\nreads = { reckon", "[solution]\nreeds = { reckon", "which is no ask; did you mean reads?"),
    ("reckon", 'kind   = "reckon"', 'kind   = "set"', "an exercise of kind set needs it"),
    ("find", 'choose = ["kick", "snare"]', 'choose = ["kick", "snair"]', "'snair'; did you mean snare?"),
    ("find", 'by = { plus = "over" }', 'by = { plus = "where" }', "follows 'where', which is a word"),
    ("find", 'pick     = "largest"', 'pick     = "first"', "say in one way which is meant"),
    (
        "find",
        'by       = { told = "clipped", at = "converter" }',
        'by = { told = "clips", at = "converter" }',
        "'clips' is",
    ),
    ("find", 'of       = "{where}"', 'of       = "hat"', "did you mean hats?"),
    ("find", 'is = "trim"', 'is = "trimm"', "did you mean trim?"),
    ("judge", 'most = "flat", order', 'most = "flatt", order', "did you mean flat?"),
    ("judge", '["free", "touched", "flat"] }', '["free", "flat"] }', "wants each of free, touched, flat once"),
    (
        "judge",
        '{ name = "free", set = { "trim/gain_db" = 0 }',
        '{ name = "free", set = { "trim/gian_db" = 0 }',
        "gian_db",
    ),
    ("judge", "varies.hard =", "varies.order =", "kept for the order of the candidates"),
    ("session", 'at = "main/fader", at_least = -7', 'at = "mian/fader", at_least = -7', "did you mean main?"),
    ("session", '"main/fader/gain_db" = -2, low', '"main/fader/gain_db" = 40, low', "comes to 40; the move goes from"),
    ("session", 'name   = "bass"', 'name   = "kick"', "two strips named 'kick'"),
    ("ride", "points = true, from = -15, to = 15", "from = -15, to = 15, step = 1", "needs a move with points = true"),
]


@pytest.mark.parametrize(("kind", "before", "after", "says"), SPOILT, ids=[row[3][:40] for row in SPOILT])
def test_a_fault_of_a_new_entry_is_told_with_its_line(templates, tmp_path, kind, before, after, says):
    text = templates[kind].read_text(encoding="utf-8")
    assert before in text, "the template has changed; the test must follow it"
    file = tmp_path / "spoilt.toml"
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    exercise, faults, _ = validate(file)
    assert exercise is None
    fault = next((each for each in faults if says in each.said), None)
    assert fault, [each.text for each in faults]
    assert fault.line is not None
    with pytest.raises(GainError):
        load(file)


# --- unsound exercises of asks ---

UNSOUND = [
    ("reckon", "base = -2.2185", "base = 4.0", "Voltage of the tone: you give"),
    ("reckon", "to       = 10", "to       = 0.5", "cannot be typed"),
    ("judge", '{ base = 12, plus = "hard" }', "16", "touched and flat read the same|read the same"),
    ("judge", 'most = "flat", order', 'most = "free", order', "The version that was limited most: you give"),
    ("find", "from = 12, to = 16", "from = 2, to = 3", "has no one right answer"),
    ("find", 'answer = { stage = "trim" }', 'answer = { stage = "preamp" }', "does not meet its own when"),
]


@pytest.mark.parametrize(("kind", "before", "after", "says"), UNSOUND, ids=[row[3][:40] for row in UNSOUND])
def test_an_unsound_ask_is_named(templates, tmp_path, kind, before, after, says):
    text = templates[kind].read_text(encoding="utf-8")
    assert before in text
    file = tmp_path / "unsound.toml"
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    proof = verify(file, variants=4)
    assert not proof.sound
    said = " ".join(each.said for each in proof.faults)
    assert any(part in said for part in says.split("|")), said


def test_one_answer_that_is_right_for_all_is_a_fault(made):
    # 0.9 dB apart, and 0.5 dB to either side are right.
    exercise = made("reckon", SUM.replace("from = -40, to = -20, step = 1", "from = -20.9, to = -20, step = 0.9"))
    (fault,) = verify(exercise.file, variants=4).faults
    assert "one answer passes in all 4 variants" in fault.said
    apart = made("reckon", SUM.replace("from = -40, to = -20, step = 1", "from = -21.1, to = -20, step = 1.1"))
    assert verify(apart.file, variants=4).sound


def test_the_share_of_guesses_is_told(templates):
    # 2 x 0.5 of 84 dB, from -60 to 24, and 2 x 0.05 of 10 V.
    assert verify(templates["reckon"], variants=2).guesses == pytest.approx(1 / 84 * 0.01)
    # One of three, and one of six orders.
    assert verify(templates["judge"], variants=2).guesses == pytest.approx(1 / 18)


# --- switches and choices ---

SWITCHED = """
given.signal = { wave = "sine", frequency_hz = 1000, level_dbfs = -20, seconds = 1 }
given.strip  = "tone"
given.stages = [{ stage = "Polarity" }, { stage = "Compressor" }]
moves = [
  { path = "polarity/inverted", options = [false, true] },
  { path = "compressor/detector", options = ["peak", "rms"] },
]
solution = { "polarity/inverted" = true, "compressor/detector" = "rms" }
"""
READS_SWITCH = 'reads = {{ setting = "{}", {} }}\n'


def switched(path, bound, rest=""):
    return f'\n[[checks]]\ntitle = "The switch"\n{SOURCED}{READS_SWITCH.format(path, bound)}{rest}'


@pytest.mark.parametrize(
    ("path", "wanted", "right", "wrong", "said"),
    [
        ("polarity/inverted", "true", True, False, "off; wanted: on."),
        ("compressor/detector", '"rms"', "rms", "peak", "peak; wanted: rms."),
    ],
)
def test_a_check_reads_how_a_switch_or_a_choice_stands(made, path, wanted, right, wrong, said):
    variant = made("set", SWITCHED + switched(path, f"is = {wanted}", 'low = "Turn it."\n')).variant("ada")
    answer = {"polarity/inverted": True, "compressor/detector": "rms"}
    assert check(variant, {**answer, path: right}).passed
    missed = check(variant, {**answer, path: wrong})
    assert not missed.passed
    assert missed.lines[0].sentence == f"{said} Turn it."


@pytest.mark.parametrize(
    ("path", "bound", "said"),
    [
        ("polarity/inverted", "at_least = 1", "polarity/inverted is false, which has no bounds; say is = false."),
        ("compressor/detector", "at_most = 1", "detector is 'peak', which has no bounds; say is = 'peak'."),
        ("compressor/detector", 'is = "loud"', "is to be 'loud'; known are 'peak', 'rms'."),
        ("polarity/inverted", 'is = "on"', "is to be 'on'; known are false, true."),
        ("compressor/ratio", "is = true", "compressor/ratio is no switch and no choice; give at_least or at_most"),
        ("polarity/inverted", "is = true, at_least = 1", "is says how a setting stands; give it with setting alone"),
    ],
)
def test_what_is_cannot_say_is_told(made, path, bound, said):
    with pytest.raises(GainError) as told:
        made("set", SWITCHED + switched(path, bound))
    assert said in str(told.value)
