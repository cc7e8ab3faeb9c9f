"""Bounds that are shares of what was there, rides and regions that follow what was drawn, one check for each strip."""

from __future__ import annotations

import numpy as np
import pytest

from gainlib.audio import Audio
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import verify
from gainlib.exercises import author_answer, check, load
from gainlib.exercises.parameters import Parameter, ends_of
from gainlib.exercises.tables import Amount
from gainlib.sound_file import write

RATE_HZ = 48_000
HEAD = """
title = "Rules"
lesson = "ride-phrases"
kind = "{kind}"
level = 1
goal = "See what rules can say."
brief = "Do it."
"""
SAYS = """
low = "Up by {off}."
high = "Down by {off}."
source = "A test."
standing = "derived"
"""


@pytest.mark.parametrize(
    ("rule", "amount"),
    [
        # Worked out by hand for a level of 10 and an off of 4.
        ({"base": "level", "times": 0.6}, 6.0),
        ({"base": "level"}, 10.0),
        ({"base": 17, "minus": "level", "times": 2}, 14.0),
        ({"base": "level", "plus": "off", "times": -0.5}, -7.0),
        ({"plus": ["level", "off"], "minus": "level"}, 4.0),
    ],
)
def test_a_rule_takes_shares_and_multiples(rule, amount):
    assert Amount.model_validate(rule).amount({"level": 10.0, "off": 4.0}) == amount


def test_the_ends_of_a_share_are_told_in_order():
    level = Parameter("level", low=-30.0, step=1.0, count=11)  # -30 to -20
    assert ends_of(Amount.model_validate({"base": "level", "times": -0.5}), {"level": level}) == (10.0, 15.0)


@pytest.mark.parametrize("base", ["Level", True, [1], float("inf")])
def test_a_base_is_a_number_or_a_name(base):
    with pytest.raises(ValueError, match="a number, or the name of a drawn value|finite number"):
        Amount.model_validate({"base": base})


@pytest.fixture
def phrases(tmp_path):
    """Two phrases of a sine, a second each at -10 dBFS, with silence around: their RMS levels are alike."""
    sine = 10 ** (-10 / 20) * np.sin(2 * np.pi * 300 * np.arange(RATE_HZ) / RATE_HZ)
    pause = np.zeros(RATE_HZ // 2)
    write(tmp_path / "take.wav", Audio(np.concatenate([pause, sine, pause, sine, pause])[:, None], RATE_HZ))

    def make(name, body, kind="ride"):
        file = tmp_path / f"{name}.toml"
        file.write_text(HEAD.format(kind=kind) + body, encoding="utf-8")
        return file

    return make


# The second phrase is turned down by as much as was drawn, on the regions of a clip gain.
SOFTER = """
given.take = "take.wav"
given.stages = [ { stage = "ClipGain", fade_ms = 0 }, { stage = "Ride" } ]
varies.soft = { from = 8, to = 12, step = 1, unit = "dB" }
plant = [ { at = "clip gain/regions", to = [[1.8, 3.2, { base = "soft", times = -1 }]] } ]
moves = [ { path = "ride/points", points = true, from = -15, to = 15 } ]
solution = { "ride/points" = [[1.7, 0], [1.8, { base = "soft", times = 0.5 }], [3.3, { base = "soft", times = 0.5 }]] }
[[checks]]
title = "What is left of the range"
points = 1
reads = { measure = "phrase_range_db", at = "ride", at_least = SHARE, at_most = MOST }
"""
SHARE = '{ measure = "phrase_range_db", at = "clip gain", times = 0.4 }'
MOST = '{ measure = "phrase_range_db", at = "clip gain", times = 0.6 }'
RIDDEN = SOFTER.replace("SHARE", SHARE).replace("MOST", MOST) + SAYS


@pytest.mark.parametrize("soft", [8.0, 11.0])
def test_a_phrase_is_as_soft_as_was_drawn_and_bounds_are_shares_of_that(phrases, soft):
    variant = load(phrases("ride", RIDDEN)).with_values({"soft": soft})
    (reading,) = variant.checks
    # The phrases were alike, so their range is what was drawn; a share of it is a bound, to a tenth as it is read.
    assert (reading.least, reading.most) == pytest.approx((0.4 * soft, 0.6 * soft), abs=0.051)
    assert author_answer(variant)["take/ride/points"] == ((1.7, 0.0), (1.8, soft / 2), (3.3, soft / 2))
    assert check(variant, author_answer(variant)).passed
    assert not check(variant, variant.start).passed


def test_such_an_exercise_is_proven(phrases):
    proof = verify(phrases("ride", RIDDEN), variants=3)
    assert proof.faults == ()


def test_a_bound_may_be_reckoned(phrases):
    reckoned = '{ reckon = "difference", with = [{ measure = "phrase_range_db", at = "clip gain" }, 5] }'
    body = SOFTER.replace("SHARE", reckoned).replace("at_most = MOST", "at_most = 12") + SAYS
    variant = load(phrases("ride", body)).with_values({"soft": 9.0})
    assert variant.checks[0].least == pytest.approx(4.0, abs=0.051)


RULES_AT_FAULT = [
    (SHARE, '{ base = "sofd", times = 0.4 }', "a bound follows 'sofd', which does not vary; did you mean soft?"),
    (SHARE, '{ measure = "phrase_range", at = "clip gain" }', "'phrase_range' is not a measure"),
    (SHARE, '{ measure = "phrase_range_db" }', "phrase_range_db lacks the entry at"),
    (SHARE, "{ times = 0.4 }", "a bound must be one thing"),
    ('[3.3, { base = "soft", times = 0.5 }]', '[3.3, { base = "sofd" }]', "ride/points of solution follows 'sofd'"),
    ('[3.3, { base = "soft", times = 0.5 }]', '[3.3, "soft"]', "it must be points whose seconds and gain are numbers"),
    ('{ base = "soft", times = -1 }]]', '{ base = "sofd" }]]', "to follows 'sofd', which does not vary"),
]


@pytest.mark.parametrize(("before", "after", "says"), RULES_AT_FAULT, ids=[says[:40] for *_, says in RULES_AT_FAULT])
def test_what_no_rule_can_be_is_told_with_its_line(phrases, before, after, says):
    assert before in RIDDEN
    file = phrases("ride", RIDDEN.replace(before, after))
    _, faults, _ = validate(file)
    assert [says in each.said for each in faults] == [True], [each.text for each in faults]
    line = file.read_text(encoding="utf-8").split("\n")[faults[0].line - 1]
    assert after in line


def test_a_ride_that_nobody_can_draw_is_told_with_its_moment(phrases):
    file = phrases("ride", RIDDEN.replace("from = -15, to = 15", "from = -5, to = 5"))
    (fault,) = [each for each in verify(file, variants=2).faults if "rides to" in each.said]
    assert fault.said.startswith("your answer rides to +6 dB at 1.8 s, with soft 12 dB; Ride goes from −5 dB to +5 dB.")


# --- one check for each strip ---

LEVELS_DBFS = {"kick": -9, "bass": -20, "voice": -26}
STRIPS = "".join(
    f'{{ name = "{name}", signal = {{ wave = "sine", level_dbfs = {level}, seconds = 0.5 }}, stages = [ '
    f'{{ stage = "Trim" }}, {{ stage = "Fader" }} ] }}, '
    for name, level in LEVELS_DBFS.items()
)
MANY = f"""
given.strips = [ {STRIPS} ]
varies.off = {{ path = "voice/signal/level_dbfs", from = -30, to = -24, step = 3 }}
moves = [
  {{ path = "kick/trim/gain_db", from = -24, to = 24, step = 1 }},
  {{ path = "bass/trim/gain_db", from = -24, to = 24, step = 1 }},
  {{ path = "voice/trim/gain_db", from = -24, to = 24, step = 1 }},
]
[solution]
"kick/trim/gain_db" = -6
"bass/trim/gain_db" = 5
"voice/trim/gain_db" = {{ base = -15, minus = "off" }}
[[checks]]
each = "strips"
title = "Peaks of the {{strip}}"
points = 2
reads = {{ measure = "peak_dbfs", at = "trim", at_least = -16, at_most = -14 }}
low = "Turn the trim of the {{strip}} up by {{off}}."
high = "Turn the trim of the {{strip}} down by {{off}}."
source = "A test."
standing = "derived"
[[checks]]
title = "Fader of the kick"
points = 1
reads = {{ setting = "kick/fader/gain_db", at_least = -12 }}
low = "Leave the fader where it is."
source = "A test."
standing = "derived"
""".replace("varies.off", "varies.soft").replace('minus = "off"', 'minus = "soft"')


def test_one_check_is_read_of_each_strip(phrases):
    exercise = load(phrases("many", MANY, kind="session"))
    assert (exercise.out_of, exercise.rows) == (3 * 2 + 1, (0, 0, 0, 1))
    variant = exercise.with_values({"soft": -27.0})
    told = check(variant, variant.start).lines
    assert [(line.title, line.passed) for line in told] == [
        ("Peaks of the kick", False),
        ("Peaks of the bass", False),
        ("Peaks of the voice", False),
        ("Fader of the kick", True),
    ]
    assert "Turn the trim of the kick down by about 6.0 dB" in told[0].sentence  # -9 to -15 dBFS
    assert "Turn the trim of the bass up by about 5.0 dB" in told[1].sentence  # -20
    assert "Turn the trim of the voice up by about 12.0 dB" in told[2].sentence  # -27


def test_some_strips_may_be_named(phrases):
    body = MANY.replace('each = "strips"', 'each = ["bass", "kick"]')
    assert load(phrases("some", body, kind="session")).rows == (0, 0, 1)


def test_a_proof_names_the_line_of_the_check_that_all_came_from(phrases):
    file = phrases(
        "many", MANY.replace("at_least = -16, at_most = -14", "at_least = -90, at_most = 90"), kind="session"
    )
    (*faults, _) = verify(file, variants=1).faults
    lines = file.read_text(encoding="utf-8").split("\n")
    assert {lines[each.line - 1] for each in faults if "cannot fail" in each.said} == {'title = "Peaks of the {strip}"'}


EACH_AT_FAULT = [
    ('each = "strips"', 'each = "buses"', "each of check 1 is 'buses'; it must be \"strips\", or a row of their names"),
    ('each = "strips"', 'each = ["kik"]', "names 'kik', which is no strip; did you mean kick?"),
    ('at = "trim"', 'at = "trimm"', "no strip has a stage 'trimm', which check 'Peaks of"),
    ('measure = "peak_dbfs", at = "trim"', 'measure = "peak_db", at = "trim"', "check 1: 'peak_db' is not a measure"),
]


@pytest.mark.parametrize(("before", "after", "says"), EACH_AT_FAULT, ids=[says[:40] for *_, says in EACH_AT_FAULT])
def test_a_check_that_cannot_be_for_each_strip_is_told_once(phrases, before, after, says):
    _, faults, _ = validate(phrases("many", MANY.replace(before, after), kind="session"))
    assert [says in each.said for each in faults] == [True], [each.text for each in faults]
