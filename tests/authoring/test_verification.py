"""A proof finds each kind of unsoundness that is planted into the real exercise, and names its line."""

from __future__ import annotations

import re

import pytest

from gainlib.authoring import claims, evidence
from gainlib.authoring.new_exercise import new_exercise
from gainlib.authoring.verification import verify, verify_all
from gainlib.errors import GainError
from gainlib.exercises import check, load
from gainlib.storage import bundled_folder

VARIANTS = 3
CLIP = 'reads    = { measure = "clipped_runs", at = "converter", at_most = 0 }'
LEVEL = 'reads    = { measure = "peak_dbfs", at = "converter", seconds = [0.0, 9.3], at_least = -17, at_most = -13 }'
SOLUTION = '"preamp/gain_db" = { base = 17, minus = "level" }, "trim/gain_db" = 0 }\nhints'


def line_in(file, text):
    """The line, counted from 1, of the first that holds this text."""
    return next(number for number, line in enumerate(file.read_text(encoding="utf-8").split("\n"), 1) if text in line)


@pytest.fixture
def proven(written):
    return lambda *changes: verify(written(*changes), variants=VARIANTS)


def test_the_unspoilt_copy_is_proven(proven):
    proof = proven()
    assert (proof.sound, proof.faults, proof.unsolved) == (True, (), ())
    assert (proof.variants, proof.all_variants) == (VARIANTS, 15)  # -30 to -16 in steps of 1
    # The verse at -14 dBFS, 17 dB over the level and 18 dBu at full scale leave it at -15, 2 dB from both bounds.
    assert proof.narrowest_db == pytest.approx(2.0, abs=0.01)
    assert proof.fails_alone == {
        "Verse after the converter": True,
        "Clipped runs in the whole take": False,  # the shout stands 10 dB over the verse
        "Verse in the recording, after the trim": True,
    }
    (remark,) = proof.remarks
    assert "never the only one to fail" in remark.said
    assert "whenever it failed, Verse after the converter failed as well" in remark.said


def test_the_share_of_passing_answers_is_told(written):
    proof = verify(written(), variants=200)
    # Gains from 0 to 60 and trims from -24 to 12 dB, both levels within 4 dB of them: about 4/60 of 4/36.
    assert proof.answers >= 300
    assert 0 < proof.passing / proof.answers < 3 * (4 / 60) * (4 / 36)


@pytest.mark.parametrize(("base", "nearest_db"), [(18, 1.0), (16, 1.0), (17, 2.0)])
def test_the_narrowest_margin_is_that_to_the_nearer_bound(proven, base, nearest_db):
    # The verse at -14, -16 or -15 dBFS, between -17 and -13.
    proof = proven((SOLUTION, SOLUTION.replace("17", str(base))))
    assert proof.narrowest_db == pytest.approx(nearest_db, abs=0.01)
    assert any(f"comes as near as {nearest_db:.1f} dB to a bound: Verse" in each for each in proof.shown)


def test_two_proofs_of_a_file_are_equal(written):
    file = written()
    assert verify(file, variants=VARIANTS) == verify(file, variants=VARIANTS)


UNSOUND = [
    # (what is planted, the text whose line is named, what is said)
    ([("base = 24, minus", "base = 17, minus")], "moves = [", "the start passes already"),
    (
        [(SOLUTION, SOLUTION.replace("17", "20"))],
        "solution",
        "your answer fails in all 3 variants looked at (of 15). Verse after the",
    ),
    (
        # So hot that the converter clips, too: the other failing line is named beside the first.
        [(SOLUTION, SOLUTION.replace("17", "30"))],
        "solution",
        "Failing there as well: Clipped",
    ),
    (
        [(SOLUTION, SOLUTION.replace('{ base = 17, minus = "level" }', "42"))],
        "solution",
        "your answer fails in 2 of 3 variants, first with level −30 dBu",
    ),
    ([(CLIP, CLIP.replace("0 }", "9999999 }"))], 'title    = "Clipped', "cannot fail: all"),
    ([(CLIP, CLIP.replace("at_most = 0", "at_least = 9999999"))], CLIP[:40], "cannot be reached"),
    (
        [(LEVEL, LEVEL.replace("at_least = -17, at_most = -13", "at_least = -3, at_most = -1"))],
        'title    = "Verse after',
        "no answer was found that passes with level −30 dBu",
    ),
    (
        [('{ base = 25, minus = "level" }, "trim/gain_db" = -8', '{ base = 17, minus = "level" }, "trim/gain_db" = 0')],
        'answer = { "preamp/gain_db" = { base = 17',
        "the answer of the slip 'clipped, then trimmed down' passes in all 3 variants looked at (of 15)",
    ),
    (
        [('{ setting = "trim/gain_db", at_most = -0.5 }', '{ setting = "trim/gain_db", at_most = -9 }')],
        "at_most = -9 }",
        "'clipped, then trimmed down' does not meet its own when in all 3 variants looked at (of 15). "
        "There trim/gain_db is −8 dB; wanted: at most −9 dB.",
    ),
    (
        [('{ setting = "trim/gain_db", at_most = -0.5 }', '{ setting = "trim/gain_db", at_most = 5 }')],
        'base = 30, minus = "level"',
        "the slip 'as hot as it goes' meets the slip 'clipped, then trimmed down' as well",
    ),
]


@pytest.mark.parametrize(("changes", "where", "says"), UNSOUND, ids=[says[:30] for *_, says in UNSOUND])
def test_each_unsoundness_is_named_with_its_line(proven, written, changes, where, says):
    proof = proven(*changes)
    assert not proof.sound
    fault = next((each for each in proof.faults if says in each.said), None)
    assert fault, [each.text for each in proof.faults]
    assert fault.line == line_in(proof.file, where)


def test_an_answer_that_serves_for_all_is_a_fault(proven):
    # A spread of 2 dB fits between bounds of 4 dB.
    proof = proven(("from = -30, to = -16", "from = -24, to = -22"))
    (fault,) = proof.faults
    assert "one answer passes in all 3 variants: Preamp gain +" in fault.said
    assert fault.line == line_in(proof.file, "varies.level")


def test_variants_that_cannot_be_solved_are_named_with_their_numbers(proven):
    # With -30 dBu the verse needs 45 dB at least: -14 dBFS, less 18 and 30 dB, for -17 dBFS.
    proof = proven(
        ('path = "preamp/gain_db", from = 0, to = 60', 'path = "preamp/gain_db", from = 0, to = 44'),
        ("base = 24, minus", "base = 2, minus"),
        (SOLUTION, SOLUTION.replace('{ base = 17, minus = "level" }', "{ base = 40 }")),
        ('{ base = 25, minus = "level" }', "44"),
        ('{ base = 30, minus = "level" }', "44"),
    )
    assert proof.unsolved == ({"level": -30.0},)
    (fault,) = [each for each in proof.faults if "no answer was found" in each.said]
    assert "with level −30 dBu; the nearest is Preamp gain +44 dB" in fault.said
    assert "Verse after the converter stays below its bound, at -18" in fault.said


def test_how_often_the_verdict_errs_is_counted(written, proven):
    # The verse at level + gain - 18 dBFS and 2 dB from both bounds: of three levels 7 dB apart none serves for another.
    (rates,) = [each.rates for each in [proven()]]
    assert (rates.right, rates.right_refused, rates.beside, rates.beside_refused) == (3, 0, 12, 0)
    assert (rates.wrong, rates.wrong_accepted) == (3 + 3 * 3, 0)
    assert (rates.another, rates.another_accepted) == (6, 0)
    # With bounds 0.2 dB from the answer a step of 0.5 dB or 1 dB of either control is refused.
    narrow = proven(("at_least = -17, at_most = -13 }", "at_least = -15.2, at_most = -14.8 }"))
    assert narrow.rates.beside_refused >= 6


def test_neighbours_whose_answer_passes_are_counted_over_all_pairs_and_remarked_where_they_are_many(
    written, monkeypatch
):
    # *Derived*: an answer serves for a level d dB away where d is below 2, and there are 2 (n - d) such pairs of n
    # levels in steps of 1 dB: 28 of the 210 pairs of fifteen, 8 of the 20 pairs of five. At 2 dB it lies on a bound.
    monkeypatch.setattr(claims, "MOST_PAIRS", 210)
    for change, levels, near, on_bound in [
        (("", ""), 15, 28, 26),
        (("from = -30, to = -16", "from = -20, to = -16"), 5, 8, 6),
    ]:
        file = written(change)
        looked = evidence.Evidence(load(str(file)), {("varies",): line_in(file, "varies.level")}, levels)
        rates = claims.verdict_seldom_errs(looked, claims.author_passes(looked))
        assert rates.another == levels * (levels - 1)
        assert near <= rates.another_accepted <= near + on_bound
        remarks = [each for each in looked.remarks if "lie near" in each.said]
        assert len(remarks) == (levels == 5)
        for each in remarks:
            assert f"passes here in {rates.another_accepted} of 20 cases" in each.said
            assert each.line == line_in(file, "varies.level")


def test_pairs_are_near_and_far_alike():
    pairs = claims._pairs(15, 40)
    assert len(set(pairs)) == 40
    assert all(mine != theirs and {mine, theirs} <= set(range(15)) for mine, theirs in pairs)
    # *Derived*: 54 of the 210 pairs of fifteen lie at most 2 apart, so about 10 of 40; 4 is one standard deviation
    # and a half of as many that are drawn by chance, and these are spread more evenly.
    assert abs(sum(abs(mine - theirs) <= 2 for mine, theirs in pairs) - 54 / 210 * 40) <= 4
    assert claims._pairs(3, 40) == [(0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1)]


def test_ctrl_c_leaves_what_was_shown_until_then_and_is_no_proof(written, monkeypatch):
    def ended(evidence):
        raise KeyboardInterrupt

    monkeypatch.setattr(claims, "slips_meet_their_sentences", ended)
    proof = verify(written())
    assert (proof.ended, proof.sound, proof.proven) == (True, True, False)
    assert proof.shown[0] == "The start fails in all 15 variants."
    assert proof.not_looked_at[:2] == ("slips to its end", "how often the verdict errs")


def test_side_by_side_each_is_proven_as_alone(written):
    files = [str(written()), "levels/volts-and-decibels"]
    proofs = list(verify_all(files, quick=True, workers=2))
    assert sorted(proofs, key=lambda each: each.name) == [verify(each, quick=True) for each in files[::-1]]


def test_what_a_search_found_is_said_and_how_far_it_reaches(proven):
    proof = proven((SOLUTION, SOLUTION.replace("17", "20")))
    assert [each.values["level"] for each in proof.found] == [-30.0, -23.0, -16.0]
    for each in proof.found[::2]:
        # The verse at -14 dBFS, the converter's full scale at 18 dBu: 15 to 19 dB over the level are wanted.
        assert each.passes["voice/preamp/gain_db"] == (15 - each.values["level"], 19 - each.values["level"])
        # The middle, and a level after the trim of the same bounds: a decibel of gain is a decibel less of trim.
        assert each.answer["voice/preamp/gain_db"] == 17 - each.values["level"]
    (remark,) = [each.said for each in proof.remarks if "a search found" in each.said]
    assert "3 variants that it tried where yours fails, with level −30 dBu: Preamp gain +47 dB (+45 to +49 dB" in remark
    assert "with level −16 dBu: Preamp gain +33 dB (+31 to +35 dB" in remark
    assert proof.as_dict()["found"][0]["answer"]["voice/preamp/gain_db"] == 47.0


def test_of_a_ride_the_variants_in_which_an_answer_was_found_are_named(tmp_path):
    file = new_exercise("verse", kind="ride", folder=tmp_path)
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("even_to_db = -16, strength = 0.7", "even_to_db = -40, strength = 0.7"), "utf-8")
    proof = verify(file)
    (remark,) = [each.said for each in proof.remarks if "a search found" in each.said]
    assert remark.count("with moved ") == 2
    assert "where yours fails, with moved −3 dB: Ride with" in remark
    assert "not searched: 1 more variant in which yours fails." in [each.said for each in proof.remarks]


def test_a_quick_look_says_what_it_leaves(written):
    proof = verify(written(), quick=True)
    assert (proof.sound, proof.proven, proof.as_dict()["proven"]) == (True, False, False)
    assert 2 <= proof.variants < proof.all_variants == 15
    assert proof.not_looked_at[:2] == (f"{15 - proof.variants} of 15 variants", "whether a search finds an answer")
    assert (proof.answers, proof.found) == (0, ())


def test_a_quick_look_sees_an_answer_that_fails(written):
    proof = verify(written((SOLUTION, SOLUTION.replace("17", "20"))), quick=True)
    assert [each.said.partition(" in all")[0] for each in proof.faults] == ["your answer fails"]


def test_a_proof_tells_what_it_is_at(written):
    told = []
    verify(written(), variants=VARIANTS, progress=lambda doing, answers: told.append((doing, answers)))
    parts = list(dict.fromkeys(doing for doing, _ in told))
    assert parts == [
        "what is right", "the start", "your own answer", "slips", "how often the verdict errs",
        "a search for an answer", "answers spread evenly", "whether one answer serves for all", "each check alone",
    ]  # fmt: skip
    counts = [answers for _, answers in told]
    assert counts == sorted(counts)
    assert counts[-1] > 100  # most of them are spread


@pytest.mark.parametrize(
    ("changes", "where", "says"),
    [
        (
            [("around −15 dBFS after", "around −9 dBFS after")],
            "brief",
            "the brief says -9 dBFS; the checks want -17 to",
        ),
        (
            [("far the verse is from −15 dBFS", "far the verse is from −20 to −16 dBFS")],
            "−20 to −16",
            "hint 3 says -20 dBFS",
        ),
        ([("at_least = -17, at_most = -13", "at_least = -120, at_most = -13")], "low  ", "sentence low is never said"),
    ],
)
def test_what_is_worth_a_look_is_remarked_and_no_fault(proven, changes, where, says):
    proof = proven(*changes)
    assert proof.sound
    remark = next((each for each in proof.remarks if says in each.said), None)
    assert remark, [each.text for each in proof.remarks]
    assert remark.line == line_in(proof.file, where)


def test_a_recording_that_cannot_be_read_is_told_with_its_line(written):
    file = written()
    (file.parent / "take.wav").write_bytes(b"RIFF")
    (fault,) = verify(file).faults
    assert fault.line == line_in(file, "given.take")
    assert "could not be read as a sound file" in fault.said


@pytest.mark.parametrize("count", [0, True, 1.5])
def test_a_count_that_is_none_is_refused(count):
    with pytest.raises(GainError, match="variants is"):
        verify("recording/leave-room", variants=count)


def test_a_new_exercise_is_sound_as_it_is_written(tmp_path):
    proof = verify(new_exercise("levels/hot-bass", folder=tmp_path), variants=VARIANTS)
    assert (proof.faults, proof.remarks) == ((), ())
    assert proof.name == "levels/hot-bass"


def test_a_new_exercise_is_never_written_over_a_file(tmp_path):
    (tmp_path / "mine.toml").write_text("mine")
    with pytest.raises(GainError, match=r"mine.toml is there already; choose another name"):
        new_exercise("mine", folder=tmp_path)
    assert (tmp_path / "mine.toml").read_text() == "mine"


@pytest.mark.parametrize("name", ["", "../out", "/etc/x", "a/b/c", "A b", "x" * 200, "a\\b", None, 3])
def test_a_name_that_cannot_be_one_is_refused(tmp_path, name):
    with pytest.raises(GainError, match="the name is"):
        new_exercise(name, folder=tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_kind_that_is_not_known_is_refused(tmp_path):
    with pytest.raises(GainError, match=r"kind is 'sett'; did you mean set\?"):
        new_exercise("mine", kind="sett", folder=tmp_path)


# What a planted unit is told as. The unit of RMS levels and of volts stands in gl.measures() and in the guide's table.
UNITS = [
    ('unit     = "dBFS"', 'unit     = "dB FS"', "the unit of the ask reads is 'dB FS'; what is right is in dBFS."),
    ('unit     = "V"\nwithin   = 0.05', "within   = 4", "the ask volts has no unit, so that within 4 says nothing"),
    ('unit     = "V"', 'unit     = "dBu"', "the unit of the ask volts is 'dBu'; what is right is in V."),
    ('unit = "dBu" }', 'unit = "dbu" }', "the unit of zero is 'dbu'; it is written dBu."),
]


@pytest.mark.parametrize(("before", "after", "says"), UNITS, ids=[says[:40] for *_, says in UNITS])
def test_a_unit_that_is_wrong_or_missing_is_remarked(tmp_path, before, after, says):
    file = new_exercise("reading", folder=tmp_path, kind="reckon")
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after, 1), encoding="utf-8")
    assert [says in each.said for each in verify(file, variants=2).remarks].count(True) == 1


def test_a_unit_beside_a_path_that_has_another_is_remarked(tmp_path):
    file = new_exercise("setting", folder=tmp_path, kind="set")
    text = file.read_text(encoding="utf-8")
    assert "to = -14, step = 1 }" in text
    file.write_text(text.replace("to = -14, step = 1 }", 'to = -14, step = 1, unit = "dB" }'), encoding="utf-8")
    told = [each.said for each in verify(file, variants=2, quick=True).remarks if "unit" in each.said]
    assert told == ["the unit of loud is 'dB', but source/full_scale_dbu is in dBu; leave the unit out."]


def test_a_file_named_as_an_exercise_of_the_course_is_remarked(tmp_path):
    file = new_exercise("recording/leave-room", folder=tmp_path, kind="set")
    (told,) = [each.said for each in verify(file, variants=2, quick=True).remarks if "called" in each.said]
    assert told.startswith("an exercise of the course is called recording/leave-room too")
    bundled = bundled_folder("exercises") / "recording" / "leave-room.toml"
    assert not [each for each in verify(bundled, variants=2, quick=True).remarks if "called" in each.said]


def test_a_wrong_answer_that_nobody_could_type_is_a_fault(tmp_path):
    """A tone of 8 dBu taken for 4 dB over full scale reads +4 dBFS."""
    file = new_exercise("reading", folder=tmp_path, kind="reckon")
    assert verify(file).proven
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("to       = 24\n", "to       = 0\n"), encoding="utf-8")
    (told,) = verify(file).faults
    assert re.fullmatch(
        r"the answer of the slip '0 dBu is 0 dBFS' cannot be typed in \d+ of \d+ variants, first with .*: it is [24]; "
        r"widen from and to of the ask 'Reading after the converter'\.",
        told.said,
    )


def test_a_level_may_be_the_sum_of_levels(tmp_path):
    file = new_exercise("reading", folder=tmp_path, kind="reckon")
    text = file.read_text(encoding="utf-8")
    summed = 'expected = { reckon = "sum_db", with = [{ measure = "rms_dbfs", at = "converter" }, -300] }'
    file.write_text(text.replace('expected = { measure = "rms_dbfs", at = "converter" }', summed), encoding="utf-8")
    assert not [each for each in verify(file, variants=2).remarks if "unit" in each.said]


@pytest.mark.parametrize(("before", "where"), [("one of them was", "the brief"), ("Read the peaks of the", "hint 2")])
def test_a_text_that_prints_the_answer_is_remarked(tmp_path, before, where):
    file = new_exercise("low-one", folder=tmp_path, kind="session")
    text = file.read_text(encoding="utf-8")
    says = f"{where} prints {{where}}, which is the answer to the ask low."
    assert says not in [each.said for each in verify(file, variants=1).remarks]  # the template itself does not
    file.write_text(text.replace(before, "{where} is low; the"), encoding="utf-8")
    assert says in [each.said for each in verify(file, variants=1).remarks]


def test_variants_whose_controls_differ_by_a_drawn_word_are_searched(tmp_path):
    file = new_exercise("low-one", folder=tmp_path, kind="session")
    text = file.read_text(encoding="utf-8")
    # Only the trim of the strip that was drawn can be moved, and the author's own answer is 4 dB too high.
    others = [
        f'  {{ path = "{each}/trim/gain_db", from = -24, to = 24, step = 1 }},\n' for each in ("kick", "bass", "voice")
    ]
    assert all(each in text for each in others)
    for each in others[1:]:
        text = text.replace(each, "")
    text = text.replace(others[0], others[0].replace('"kick/', '"{where}/'))
    text = text.replace('"{where}/trim/gain_db" = { base = 0 }', '"{where}/trim/gain_db" = 9')
    file.write_text(text, encoding="utf-8")
    proof = verify(file, variants=6)
    assert any("your answer fails" in each.said for each in proof.faults)
    assert len({next(iter(each.answer)) for each in proof.found}) > 1  # another strip's trim in another variant


DRIVEN = """
title = "A tone with an edge"
lesson = "add-density-on-a-bus"
kind = "set"
level = 2
goal = "Drive a tone, and bring its peak back."
brief = "Drive it to 1.0 to 1.5 % of distortion."
given.signal = { wave = "sine", frequency_hz = 200, level_dbfs = -10, seconds = 0.3 }
given.strip = "tone"
given.stages = [
  { stage = "Trim" }, { stage = "Saturation", drive_db = 0, holds_peak = false }, { stage = "Fader" },
]
varies.trim = { path = "trim/gain_db", from = -6, to = 6, step = 4 }
moves = [
  { path = "saturation/drive_db", from = 0, to = 18, step = 0.5 },
  { path = "fader/gain_db", from = -40, to = 10, step = 0.5 },
]
solution = { "saturation/drive_db" = 0, "fader/gain_db" = 0 }
[[checks]]
title = "Distortion"
points = 2
reads = { told = "distortion_percent", at = "saturation", at_least = 1.0, at_most = 1.5 }
low = "More drive."
high = "Less drive."
source = "A test."
standing = "derived"
[[checks]]
title = "Peak"
points = 2
reads = { measure = "peak_dbfs", at = "fader", at_least = -20, at_most = -18 }
low = "Up by {off}."
high = "Down by {off}."
source = "A test."
standing = "derived"
"""


def test_a_share_of_distortion_is_found_though_the_drive_moves_the_peak(tmp_path, monkeypatch):
    monkeypatch.setattr(evidence, "MOST_LOOKS", 40)  # as for a long take, of which a proof cannot afford more
    file = tmp_path / "edge.toml"
    file.write_text(DRIVEN, encoding="utf-8")
    proof = verify(file)
    assert (proof.variants, proof.unsolved, len(proof.found)) == (4, (), 4)
    for each in proof.found:
        # What marks a learner's answer says that it is right.
        assert check(load(file).with_values(each.values), each.answer).passed


def test_an_answer_of_a_session_that_fails_is_told_though_something_is_asked_beside(tmp_path):
    """The search moves controls and answers no ask; what it finds is an answer to the checks."""
    file = new_exercise("levels/low", kind="session", folder=tmp_path)
    text = file.read_text(encoding="utf-8")
    file.write_text(
        text.replace('"main/fader/gain_db" = -2, low', '"main/fader/gain_db" = 4, low', 1), encoding="utf-8"
    )
    proof = verify(file, variants=2)
    assert any("your answer fails in" in each.text for each in proof.faults)
    assert not proof.unsolved
