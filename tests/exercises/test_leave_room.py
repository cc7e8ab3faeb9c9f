"""recording/leave-room, in every variant: unsolved at the start, solvable, each slip met by its own sentence."""

from __future__ import annotations

import pytest

from gainlib.exercises import answer_from, author_answer, check, load
from gainlib.exercises.readings import MeasuredRendering
from gainlib.exercises.verdict import met_slips

GAIN, TRIM = "voice/preamp/gain_db", "voice/trim/gain_db"
LEVELS = range(-30, -15)  # dBu at full scale, as the file draws them
VERSE, SHOUTED, RECORDED = range(3)


@pytest.fixture(scope="module")
def exercise():
    return load("recording/leave-room")


@pytest.fixture(scope="module", params=LEVELS)
def variant(exercise, request):
    return exercise.with_values({"level": float(request.param)})


def failed(verdict):
    return [index for index, line in enumerate(verdict.lines) if not line.passed]


def test_learners_together_get_every_variant(exercise):
    drawn = {exercise.variant(f"learner {number}").values["level"] for number in range(300)}
    assert drawn == {float(level) for level in LEVELS}


# Drawn by another program: printf '["ada", "recording/leave-room", "level"]' | openssl dgst -sha256 -hmac lantern,
# the digest as a whole number modulo 15 values, counted up from -30.
@pytest.mark.parametrize(
    ("key", "learner", "level"),
    [("lantern", "ada", -25.0), ("lantern", "bo", -27.0), ("harbour", "ada", -19.0), ("harbour", "bo", -18.0)],
)
def test_a_number_is_drawn_as_the_digest_says(exercise, key, learner, level):
    assert exercise.variant(learner, key).values == {"level": level}


def test_the_start_fails_because_the_shout_clips(variant):
    verdict = check(variant, {move.path: move.start for move in variant.controls})
    assert not verdict.passed
    assert SHOUTED in failed(verdict)
    assert all(variant.session.setting(move.path) == move.start for move in variant.controls)
    assert verdict.slip is None  # nobody has done anything wrong yet


def test_the_authors_solution_passes_with_every_point(variant):
    verdict = check(variant, author_answer(variant))
    assert verdict.passed
    assert (verdict.points, verdict.out_of) == (5.0, 5.0)
    # media/README.md prints -14.4 dBFS for the verse; +17 dB over the level and 18 dBu at full scale leave -15.4. The
    # printed figure is rounded, and the preamp's noise rides on it.
    assert float(verdict.lines[VERSE].sentence.split()[0].replace("−", "-")) == pytest.approx(-15.4, abs=0.11)


def test_each_slip_is_met_by_its_own_sentence_and_no_other(variant):
    for slip in variant.exercise.spec.slips:
        answer = answer_from(variant, slip.answer)
        verdict = check(variant, answer)
        assert not verdict.passed
        assert verdict.slip == slip.say
        assert slip.say in verdict.text
        assert met_slips(variant, MeasuredRendering(variant.session.replaced(answer).render()), answer) == (slip.name,)


def test_no_answer_on_the_controls_meets_two_slips(exercise):
    variant = exercise.with_values({"level": -22.0})
    rendering = variant.session.render()
    for gain in range(0, 61, 6):
        for trim in (-24.0, -0.5, 0.0, 0.5, 12.0):
            rendering = variant.session.replaced({GAIN: float(gain), TRIM: trim}).render(after=rendering)
            assert len(met_slips(variant, MeasuredRendering(rendering), {})) <= 1, (gain, trim)


def test_the_level_check_fails_alone(variant):
    hot = author_answer(variant)[GAIN] + 3.0  # the verse at -12.2 dBFS: too high, and the shout still passes at -2.1
    assert failed(check(variant, {GAIN: hot, TRIM: -3.0})) == [VERSE]


def test_the_recorded_level_fails_alone(variant):
    assert failed(check(variant, {GAIN: author_answer(variant)[GAIN], TRIM: -4.0})) == [RECORDED]


def test_clipping_costs_its_own_points_and_comes_only_with_a_verse_above_its_target(exercise):
    """A gain that clips the shout has the verse above -13 dBFS, since the shout stands 10 dB over it.

    So this check cannot be the only one to fail: an answer that clips and meets the level check would have to pass
    through answers with no room at all that pass. It fails with the level check alone, and not for each of its misses.
    """
    variant = exercise.with_values({"level": -24.0})
    seen = set()
    for gain in range(0, 61, 3):
        # The trim makes up for the gain where it reaches, so that the level in the recording is right.
        trim = max(-24.0, min(12.0, author_answer(variant)[GAIN] - gain))
        seen.add(tuple(failed(check(variant, {GAIN: float(gain), TRIM: trim}))))
    assert (VERSE, SHOUTED) in seen
    assert (VERSE,) in seen
    assert not any(SHOUTED in each and VERSE not in each for each in seen)


@pytest.mark.parametrize(("extra_db", "passes"), [(-2, False), (-1, True), (2, True), (3, False)])
def test_the_bounds_of_the_level_check_are_where_they_are_said_to_be(variant, extra_db, passes):
    # The solution has the verse at -15.2 dBFS, wanted are -17 to -13.
    verdict = check(variant, {GAIN: author_answer(variant)[GAIN] + extra_db, TRIM: 0.0})
    assert verdict.lines[VERSE].passed is passes


def test_a_miss_is_told_with_its_direction_and_distance(stand_in):
    variant = load(stand_in / "leave-room.toml").with_values({"level": -24.0})
    low, high = check(variant, {GAIN: 31.0, TRIM: 0.0}), check(variant, {GAIN: 47.0, TRIM: 0.0})
    # -14 dBFS in the take, -24 dBu for full scale, 18 dBu at the converter: 31 dB of gain give -25, 47 dB give -9.
    assert low.lines[VERSE].sentence == "−25.0 dBFS; wanted: −17 to −13 dBFS. Turn the preamp up by about 10.0 dB."
    assert high.lines[VERSE].sentence == (
        "−9.0 dBFS; wanted: −17 to −13 dBFS. Turn the preamp down by about 6.0 dB, so that the shout has room."
    )


def test_what_clipped_is_said_to_be_at_least_so_far_off(exercise):
    sentence = check(exercise.with_values({"level": -16.0}), {GAIN: 60.0, TRIM: 0.0}).lines[VERSE].sentence
    assert "0.0 dBFS" in sentence
    assert "at least 15.0 dB" in sentence


def test_the_brief_says_the_drawn_number_and_holds_no_placeholder(variant):
    level = f"−{abs(variant.values['level']):.0f} dBu"
    assert level in variant.brief
    assert "{" not in variant.brief
    assert "\n\n" in variant.brief


def test_no_sentence_shouts(exercise):
    spec = exercise.spec
    told = [spec.brief, spec.goal, *(hint.text for hint in spec.hints), *(slip.say for slip in spec.slips)]
    told += [text for check in spec.checks for text in (check.low, check.high, check.good) if text]
    assert not [text for text in told if "!" in text]
