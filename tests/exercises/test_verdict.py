"""Any answer at all ends in a verdict: what can be read is measured, what cannot is told and gets no points."""

from __future__ import annotations

import decimal
import fractions
import math
import re
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gainlib.exercises import check, load

GAIN, TRIM = "voice/preamp/gain_db", "voice/trim/gain_db"


@pytest.fixture(scope="module")
def variant(stand_in):
    return load(stand_in / "leave-room.toml").with_values({"level": -24.0})


class Spiteful(Mapping):
    """An answer that fails while it is read."""

    def __getitem__(self, key):
        raise RuntimeError("no")

    def __iter__(self):
        raise RuntimeError("no")

    def __len__(self):
        return 1


class SpitefulNumber(fractions.Fraction):
    def __float__(self):
        raise RuntimeError("no")


UNREADABLE = [
    (None, "it is nothing"),
    ("41", "it is '41'"),
    (41, "it is 41"),
    ([(GAIN, 41.0)], "it is a list"),
    (Spiteful(), "it is a Spiteful"),
    ({f"path {number}": 0.0 for number in range(101)}, "it holds too much"),
]


@pytest.mark.parametrize(("answer", "says"), UNREADABLE, ids=[says for _, says in UNREADABLE])
def test_an_answer_that_is_no_mapping_gets_a_sentence_and_no_points(variant, answer, says):
    verdict = check(variant, answer)
    assert (verdict.passed, verdict.points, verdict.out_of) == (False, 0.0, 5.0)
    assert says in verdict.text


VALUES = [
    (None, "is nothing"),
    ("41", "is '41'"),
    ("x" * 5000, "…'"),
    (True, "is true"),
    (math.nan, "is NaN"),
    (math.inf, "is infinite"),
    (-math.inf, "is −infinite"),
    (10**400, "is a number beyond all bounds"),
    (60.5, "the control goes from 0 dB to +60 dB"),
    (-1, "the control goes from 0 dB to +60 dB"),
    ([41.0], "is a list"),
    ({"value": {"deep": [41.0]}}, "is a table"),
    (np.array([41.0, 42.0]), "is an array"),
    (41 + 0j, "is a complex"),
    (SpitefulNumber(41), "is a SpitefulNumber"),
    (decimal.Decimal(41), "is a Decimal"),
]


@pytest.mark.parametrize(("value", "says"), VALUES, ids=[says for _, says in VALUES])
def test_a_value_that_cannot_be_used_blocks_every_check_behind_it(variant, value, says):
    verdict = check(variant, {GAIN: value, TRIM: 0.0})
    assert (verdict.passed, verdict.points) == (False, 0.0)
    assert all(line.sentence.startswith("Not measured: Preamp gain ") for line in verdict.lines)
    assert says in verdict.text
    assert len(verdict.text) < 2000


def test_a_value_that_cannot_be_used_leaves_the_checks_in_front_of_it(variant):
    # The trim stands after the converter: what is measured at the converter is known without it.
    verdict = check(variant, {GAIN: 41.0, TRIM: "nought"})
    assert [line.passed for line in verdict.lines] == [True, True, False]
    assert verdict.points == 4.0
    assert verdict.lines[2].sentence == "Not measured: Trim is 'nought'; it must be a number."


def test_a_missing_value_is_named(variant):
    verdict = check(variant, {TRIM: 0.0})
    assert verdict.points == 0.0
    assert verdict.lines[0].sentence == "Not measured: no value for Preamp gain came with the answer."


def test_an_unknown_path_is_told_with_the_nearest_and_spoils_nothing_else(variant):
    verdict = check(variant, {GAIN: 41.0, TRIM: 0.0, "voice/trim/gian_db": 1.0, 7: 1.0, ("a",): None})
    assert verdict.passed
    assert "did you mean voice/trim/gain_db?" in verdict.text
    assert "The answer names 7" in verdict.text


def test_a_path_may_leave_out_the_only_strip_and_a_number_may_be_of_any_kind(variant):
    for gain in (41, np.float32(41), np.int64(41), fractions.Fraction(41)):
        assert check(variant, {"preamp/gain_db": gain, "trim/gain_db": 0}).passed


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.binary(),
        lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from([GAIN, TRIM, "x"]) | st.text(), inner),
        max_leaves=8,
    )
)
def test_no_answer_raises(variant, answer):
    verdict = check(variant, answer)
    assert 0.0 <= verdict.points <= verdict.out_of == 5.0
    assert verdict.text


def test_hints_cost_their_points_and_never_more_than_was_earned(variant):
    right = {GAIN: 41.0, TRIM: 0.0}
    # The costs in the file are 0, 0.5 and 1.
    assert [check(variant, right, hints_used=count).points for count in range(4)] == [5.0, 5.0, 4.5, 3.5]
    assert check(variant, right, hints_used=99).points == 3.5
    assert check(variant, right, hints_used=2).passed
    assert "0.5 taken off for hints" in check(variant, right, hints_used=2).text
    assert check(variant, {}, hints_used=3).points == 0.0
    for odd in (None, "two", -1, math.nan, True):
        assert check(variant, right, hints_used=odd).points == 5.0


def test_the_next_hint_is_told_when_free_and_offered_when_it_costs(variant):
    wrong = {GAIN: 48.0, TRIM: 0.0}
    assert check(variant, wrong).hint.startswith("Hint: Look at the verse")
    assert check(variant, wrong, hints_used=1).hint == "A hint is there (2 of 3); it costs 0.5 points."
    assert check(variant, wrong, hints_used=2).hint == "A hint is there (3 of 3); it costs 1 point."
    assert check(variant, wrong, hints_used=3).hint is None
    assert check(variant, {GAIN: 41.0, TRIM: 0.0}).hint is None


def test_the_text_holds_all_that_the_verdict_says(variant):
    verdict = check(variant, {GAIN: 49.0, TRIM: -8.0})
    said = [line.sentence for line in verdict.lines] + [line.title for line in verdict.lines]
    assert all(each in verdict.text for each in [*said, verdict.slip, verdict.hint])
    assert verdict.text.startswith("Not there yet: 1 of 5 points.")
    assert str(verdict) == verdict.text
    assert "!" not in verdict.text
    assert "-" not in verdict.text.replace("24-bit", "")  # a level has a real minus


def test_a_learner_is_judged_by_the_figure_on_the_screen(written):
    """-13.04 dBFS is printed as -13.0 and passes at most -13; -12.96 is printed as -13.0 too, and passes as well."""
    fine = load(written(("step = 1, start", "step = 0.01, start"))).with_values({"level": -24.0})
    # The stand-in's verse peaks at -14 dBFS: 42.96 dB of gain give -13.04, 43.04 dB give -12.96, 43.10 dB give -12.90.
    for gain, passes in ((42.96, True), (43.04, True), (43.10, False)):
        line = check(fine, {GAIN: gain, TRIM: 0.0}).lines[0]
        assert line.passed is passes
        assert line.sentence.startswith("−13.0 dBFS" if passes else "−12.9 dBFS")


def test_a_setting_can_be_checked_as_well(written):
    reads = 'reads    = { measure = "peak_dbfs", at = "trim", seconds = [0.0, 9.3], at_least = -17, at_most = -13 }'
    file = written((reads, 'reads    = { setting = "trim/gain_db", at_least = 0, at_most = 0 }'))
    variant = load(file).with_values({"level": -24.0})
    assert check(variant, {GAIN: 41.0, TRIM: 0.0}).passed
    line = check(variant, {GAIN: 41.0, TRIM: -1.5}).lines[2]
    assert line.sentence.startswith("−1.5 dB; wanted: exactly 0 dB.")
    assert "about 1.5 dB" in line.sentence
    # A setting needs no other control.
    assert check(variant, {TRIM: 0.0}).lines[2].passed


def test_an_answer_that_passes_is_told_of_no_slip(written):
    variant = load(written(("at_most = -26 }", "at_most = 0 }"))).with_values({"level": -24.0})
    assert check(variant, {GAIN: 31.0, TRIM: 0.0}).slip.startswith("Nothing clips")
    assert check(variant, {GAIN: 41.0, TRIM: 0.0}).slip is None


def test_silence_ends_in_words(written):
    from gainlib.audio import Audio
    from gainlib.sound_file import write

    file = written()
    write(file.parent / "take.wav", Audio(np.zeros(19 * 8000), 8000), overwrite=True)
    text = file.read_text(encoding="utf-8")
    quiet = '{ stage = "Preamp", gain_db = 40, input_noise_dbu = -400, output_noise_dbu = -400 }'
    text = text.replace('{ stage = "Preamp", gain_db = 40 }', quiet)
    file.write_text(text.replace('"Converter"', '"Converter", dynamic_range_db = inf'), encoding="utf-8")
    verdict = check(load(file).with_values({"level": -24.0}), {GAIN: 41.0, TRIM: 0.0})
    assert verdict.lines[0].sentence == "−∞ dBFS; wanted: −17 to −13 dBFS. Turn the preamp up by a long way."
    assert verdict.points == 2.0


def test_braces_in_a_text_mean_nothing_else(stand_in):
    from gainlib.exercises.tables import fill_in

    assert fill_in("{measured.__class__} {0} {{off}}", {"off": "x"}) == "{measured.__class__} {0} {x}"


def test_of_two_levels_in_one_strip_only_the_first_is_told_with_its_cure():
    variant = load("main/trim-back").with_values({"grown": 18.0})
    both = check(variant, {"trim/gain_db": 0, "fader/gain_db": -20}).lines
    assert "lower the trim by" in both[0].sentence
    assert both[1].sentence.endswith(
        "wanted: −11 to −7 dBFS. Mend “Peak in front of the compressor” first: this moves with it."
    )
    then = check(variant, {"trim/gain_db": 5.5 - 18, "fader/gain_db": -20}).lines
    assert (then[0].passed, "Raise the fader by" in then[1].sentence) == (True, True)


def test_a_control_that_stands_wrong_comes_before_the_level_behind_it():
    variant = load("balance/near-zero").with_values({"hot": 8.0})
    loudness, fader = check(variant, {"pad/trim/gain_db": 0.0, "pad/fader/gain_db": -20.0}).lines
    assert loudness.sentence.endswith("Mend “Where the fader stands” first: this moves with it.")
    assert "Bring the fader up by about 20.0 dB, and let the trim set the level." in fader.sentence
    assert "Lower the trim by" in check(variant, {"pad/trim/gain_db": 0.0, "pad/fader/gain_db": 0.0}).lines[0].sentence


def test_a_number_with_the_right_unit_is_not_told_to_be_in_it():
    told = check(load("levels/two-tracks").with_values({"level": -34.0}), {"same": "-2.8.0 dBFS"}).lines[0].sentence
    assert told.startswith("Not read: “-2.8.0 dBFS” is a text; give")


def test_added_decibels_are_named():
    verdict = check(load("levels/two-tracks").with_values({"level": -34.0}), {"same": -68.0})
    assert verdict.slip.startswith("You added the two figures.")


@pytest.mark.parametrize("bounds", ["at_least = 1e308", "at_most = -1e308", "at_least = 1e308, at_most = 1.5e308"])
def test_a_bound_that_no_level_comes_near_is_a_long_way_off(written, bounds):
    reads = 'at = "trim", seconds = [0.0, 9.3], at_least = -17, at_most = -13'
    file = written((reads, f'at = "trim", seconds = [0.0, 9.3], {bounds}'))
    line = check(load(file).with_values({"level": -24.0}), {GAIN: 41.0, TRIM: 0.0}).lines[2]
    assert "by a long way" in line.sentence


def test_no_verdict_calls_a_fader_coarse_where_its_picture_calls_it_fine():
    exercise = load("balance/near-zero")
    variant = exercise.with_values({"hot": 8.0})
    verdict = check(variant, {"pad/trim/gain_db": 0.0, "pad/fader/gain_db": -9.5})  # as fine there as at 0 dB
    assert "From −10 dB down a millimetre is twice as much" in verdict.text
    assert verdict.slip is not None
    assert not re.search("is coarse|big step", verdict.text + verdict.slip)


@pytest.mark.parametrize(
    ("name", "answer", "said"),
    [
        ("levels/volts-and-decibels", {"gain": "26,02 dB"}, "Not read: “26,02 dB” is a text; give −60 dB to 120 dB."),
        ("levels/volts-and-decibels", {"gain": "26 dBu"}, "“26 dBu” is in dBu, and dB is asked for"),
        ("loudness/loudest-as-a-whole", {"where": "musik"}, "did you mean music?\n"),
    ],
)
def test_what_cannot_be_read_is_told_in_one_sentence(name, answer, said):
    assert said in check(load(name).variant("ada"), answer).text
