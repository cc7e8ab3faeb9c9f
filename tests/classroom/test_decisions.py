"""What a teacher decides: which hand-in counts, extensions, exemptions, corrections, practice and bonus."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import pytest

from gainlib.classroom import read_class
from gainlib.classroom.decisions import Correction, faults_of_decisions
from gainlib.classroom.run import mark_class
from gainlib.errors import GainError
from gainlib.exercises import author_answer, load

from .conftest import EXERCISE, GAIN, ROSTER, TRIM

OTHER = "levels/two-tracks"
LATE = "late = { percent_per_day = 10, last_day = 3 }"


def add(group, *lines):
    """Put entries of the whole file into a class file."""
    text = group.file.read_text(encoding="utf-8")
    group.file.write_text(text.replace("exercises = [", "\n".join([*lines, "exercises = ["]), 1), encoding="utf-8")


def change(group, old, new):
    text = group.file.read_text(encoding="utf-8")
    assert old in text
    group.file.write_text(text.replace(old, new, 1), encoding="utf-8")


def of_learner(group, learner_id, entries):
    change(group, f'{{ id = "{learner_id}"', f'{{ {entries}, id = "{learner_id}"')


def wrong(group, learner_id):
    """One point of five: it clips, and is trimmed down (test_results has the same planted answer)."""
    return {GAIN: author_answer(group.variant(learner_id))[GAIN] + 8, TRIM: -8}


def rows(done):
    with (done.out / "marks.csv").open(encoding="utf-8-sig", newline="") as text:
        return {row["id"]: row for row in csv.DictReader(text)}


# Due is 18:00 on the 15th. Good and bad are worth 5 and 1 of 5 points; a day late costs 10 %, more than 3 days all.
@pytest.mark.parametrize(
    ("rule", "handed", "total"),
    [
        ("latest", [("good", 14), ("bad", 15)], 1.0),
        ("latest", [("good", 14), ("bad", 16)], 0.9),
        ("latest", [("bad", 14), ("good", 25)], 0.0),
        ("latest in time", [("good", 14), ("bad", 15), ("good", 16)], 1.0),
        ("latest in time", [("bad", 14), ("good", 25)], 1.0),
        ("latest in time", [("good", 16), ("bad", 17)], 0.8),
        ("best in time", [("good", 14), ("bad", 15)], 5.0),
        ("best in time", [("bad", 14), ("good", 15), ("bad", 15.5)], 5.0),
        ("best in time", [("bad", 14), ("good", 16)], 1.0),
        ("best in time", [("good", 16), ("bad", 17)], 0.8),
        ("best in time", [("good", 14)], 5.0),
    ],
)
def test_the_hand_in_that_counts_is_the_one_by_the_rule(group, rule, handed, total):
    add(group, LATE, f'counts = "{rule}"')
    for index, (kind, day) in enumerate(handed):
        made = f"2026-01-{int(day):02d}T{12 + int(day % 1 * 10):02d}:00:00Z"
        group.put(f"{index}.json", group.content("a-01", wrong(group, "a-01") if kind == "bad" else None, made=made))
    lines, _ = group.marked()
    assert lines["a-01"].total == total
    again, not_marked = group.marked()
    assert again["a-01"].total == total
    assert len(not_marked) == len(handed) - 1


def test_the_best_does_not_hang_on_the_order_of_files_or_on_the_other_learners(group):
    add(group, 'counts = "best in time"')
    for index, (learner, kind) in enumerate([("a-01", "bad"), ("a-02", "good"), ("a-01", "good"), ("a-02", "bad")]):
        answer = wrong(group, learner) if kind == "bad" else None
        group.put(f"{index}.json", group.content(learner, answer, made=f"2026-01-1{index}T12:00:00Z"))
    lines, not_marked = group.marked()
    assert [lines[each].total for each in ("a-01", "a-02", "a-03")] == [5.0, 5.0, 0.0]
    assert not_marked == {
        "0.json": "another hand-in of a-01; the best in time counts.",
        "3.json": "another hand-in of a-02; the best in time counts.",
    }


def test_an_extension_is_one_learners_and_a_groups_date_is_its_learners(group):
    add(group, LATE, 'groups = [{ name = "Tuesday", due = 2026-01-16T18:00:00Z }]')
    of_learner(group, "a-02", 'group = "Tuesday"')
    of_learner(group, "a-03", 'group = "Tuesday", due = 2026-01-20T18:00:00Z')
    for each in ROSTER:
        group.put(f"{each.id}.json", group.content(each.id, made="2026-01-17T12:00:00Z"))
    lines, _ = group.marked()
    assert [(lines[each.id].days_late, lines[each.id].total) for each in ROSTER] == [(2, 4.0), (1, 4.5), (0, 5.0)]


def test_who_is_exempt_from_one_exercise_or_all_loses_nothing(group):
    change(group, f'{{ name = "{EXERCISE}"', f'{{ name = "{OTHER}", points = 3 }},\n  {{ name = "{EXERCISE}"')
    of_learner(group, "a-01", f'exempt = ["{OTHER}"]')
    of_learner(group, "a-03", 'exempt = ["all"]')
    for each in ("a-01", "a-02"):
        group.put(f"{each}.json", group.content(each))
    done = mark_class(group.folder, group.file)
    found = rows(done)
    ids = ("a-01", "a-02", "a-03")
    assert [(found[each]["percent"], found[each]["out of"], found[each][OTHER]) for each in ids] == [
        ("100.0", "5.0", "exempt"), ("62.5", "8.0", ""), ("exempt", "0.0", "exempt"),
    ]  # fmt: skip
    assert found["a-03"]["remarks"] == "Exempt."
    report = (done.out / "report.html").read_text(encoding="utf-8")
    assert "Exempt: Cy Fenn." in report
    assert "Nothing from" not in report
    assert "You need not do this one" in (done.out / "feedback" / "for-a-01.html").read_text(encoding="utf-8")


def test_a_correction_outlives_each_marking_and_stands_on_the_page(group):
    group.put("1.json", group.content("a-01", wrong(group, "a-01")))
    assert rows(mark_class(group.folder, group.file))["a-01"]["total"] == "1.0"
    add(
        group, "corrections = [",
        f'  {{ learner = "a-01", exercise = "{EXERCISE}", points = 4.5, remark = "Shown <in class>." }},',
        f'  {{ learner = "a-02", exercise = "{EXERCISE}", points = 3 }},',
        '  { learner = "a-01", remark = "Come and see me." },', "]",
    )  # fmt: skip
    for _ in range(2):
        done = mark_class(group.folder, group.file)
        found = rows(done)
        assert [found[each]["total"] for each in ("a-01", "a-02", "a-03")] == ["4.5", "3.0", "0.0"]
    assert found["a-01"]["remarks"].endswith(
        f"{EXERCISE}: 4.5 points by the teacher (1 measured). {EXERCISE}: Shown <in class>. Come and see me."
    )
    page = (done.out / "feedback" / "for-a-01.html").read_text(encoding="utf-8")
    assert "<strong>From your teacher: 4.5 of 5 points</strong>, where 1 were measured. Shown &lt;in class&gt;." in page
    assert "Come and see me." in page
    assert "4.5 of 5 points" in page
    assert "From your teacher: 3 of 5 points" in (done.out / "feedback/for-a-02.html").read_text(encoding="utf-8")


def test_the_figures_on_an_exercise_are_of_what_was_measured_not_of_what_was_given(group):
    group.grow(6)
    learners = [each.id for each in read_class(group.file).learners]
    before, _ = group.marked()
    given = [f'{{ learner = "{each}", exercise = "{EXERCISE}", points = 5 }}' for each in learners]
    add(group, f"corrections = [{', '.join(given)}]")
    after, _ = group.marked()
    assert {each.total for each in after.values()} == {5.0}
    assert [before[each].exercises[0].share for each in learners] == [
        after[each].exercises[0].share for each in learners
    ]


@pytest.mark.parametrize(
    ("role", "out_of", "right", "percent"),
    [("required", 8.0, 8.0, 100.0), ("optional", 5.0, 5.0, 100.0), ("bonus", 5.0, 8.0, 160.0)],
)
def test_practice_counts_to_nothing_and_bonus_on_top(group, role, out_of, right, percent):
    change(
        group,
        f'{{ name = "{EXERCISE}"',
        f'{{ name = "{OTHER}", points = 3, role = "{role}" }},\n  {{ name = "{EXERCISE}"',
    )
    content = group.content("a-01")
    two = load(OTHER).variant("a-01", group.class_file.key_of("a-01"))
    content["answers"].append(content["answers"][0] | {
        "exercise": OTHER, "exercise_digest": two.exercise.digest, "values": two.values, "answer": author_answer(two),
    })  # fmt: skip
    group.put("a-01.json", content)
    group.put("a-02.json", group.content("a-02"))
    lines, _ = group.marked()
    one, other = lines["a-01"], lines["a-02"]
    assert (one.out_of, one.total, one.percent) == (out_of, right, percent)
    assert (other.out_of, other.total) == (out_of, 5.0)
    mark_class(group.folder, group.file)  # above 100 % as well, the report can be drawn


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ('counts = "best"', "counts is 'best'; it must be one of latest, latest in time, best in time"),
        (f'corrections = [{{ learner = "a-11", exercise = "{EXERCISE}", points = 1 }}]',
         "correction 1 is for 'a-11', who is not on the roster; did you mean a-01"),
        ('corrections = [{ learner = "a-01", exercise = "recording/leave-rom", points = 1 }]',
         "correction 1 names 'recording/leave-rom', no exercise of the class; did you mean recording/leave-room"),
        ('corrections = [{ learner = "a-01", points = 1 }]', "correction 1 gives points without an exercise"),
        ('corrections = [{ learner = "a-01" }]', "correction 1 says nothing; give points, a remark, or both"),
        ('corrections = [{ learner = "a-01", remark = "x" }, { learner = "a-01", remark = "y" }]',
         "correction 2 is the second for 'a-01'"),
        (f'corrections = [{{ learner = "a-01", exercise = "{EXERCISE}", points = "4,5" }}]',
         "points of correction 1 is '4,5'; it must be a number: write the decimals behind a point"),
        ('corrections = [{ learner = "a-01", point = 1 }]',
         "there is no entry point in corrections; did you mean points"),
        ('groups = [{ name = "Tuesday", due = 2026-01-16T18:00:00Z }]', "the group 'Tuesday' has no learner"),
        ('corrections = [{ learner = "a-01", exercise = "x", points = 1 ]', r"line \d+: this is not valid TOML"),
    ],
)  # fmt: skip
def test_a_decision_that_cannot_be_followed_is_told(group, entry, said):
    add(group, entry)
    with pytest.raises(GainError, match=said):
        read_class(group.file)


def faults_of(corrections, codes=()):
    learners = [SimpleNamespace(id=name, exempt=[], group="") for name in dict(codes)]
    told = [Correction(learner=learner, exercise="x", points=1) for learner in corrections]
    return list(faults_of_decisions(["x"], learners, dict(codes), [], told))


def test_a_correction_is_for_an_id_or_a_code_and_without_a_roster_for_anybody():
    assert faults_of(["anybody"]) == []
    assert faults_of(["k7"], {"a-01": "k7"}) == []
    assert len(faults_of(["k8"], {"a-01": "k7"})) == 1
    # The id and the code are one learner; an id that looks like another's code is an id.
    assert ["is the second for 'k7'" in each for each in faults_of(["a-01", "k7"], {"a-01": "k7"})] == [True]
    assert faults_of(["a-01", "a-02"], {"a-01": "a-02", "a-02": "k7"}) == []


def test_the_guide_shows_what_can_be_decided(tmp_path):
    guide = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = guide.partition("### What you decide")[2].partition("```toml\n")[2].partition("```")[0]
    file = tmp_path / "group-a.toml"
    file.write_text(f'schema = "gainlib class"\nversion = 2\ntitle = "A"\nkey = "{"k" * 16}"\n{shown}')
    of = read_class(file)
    assert of.is_exempt("a-04", OTHER)
    assert [of.due_for(each.id) for each in of.learners] == [of.groups[0].due, of.learners[1].due, None, None]


def test_a_class_in_which_nothing_counts_is_refused(group):
    change(group, "points = 5", 'points = 5, role = "bonus"')
    with pytest.raises(GainError, match="no exercise counts to the full marks"):
        read_class(group.file)
