"""Grades that leave gainlib: by a profile, as OneRoster's gradebook, and as pages named for another program."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.grade_profile import Grade, write_profile
from gainlib.classroom.marks import Marks
from gainlib.classroom.run import mark_class
from gainlib.errors import GainError
from gainlib.exercises import Exercise, author_answer

from .conftest import EXERCISE, GAIN, TRIM

ROSTER = (
    RosterLine(id="a-01", name="Ada Quill", mail="ada@school.example", group="Tuesday", more={"Seat": "7/2"}),
    RosterLine(id="a-02", name="Bo Märsh", group="Tuesday", more={"Seat": "8"}),
    RosterLine(id="a-03", name="Cy Fenn", group="Friday"),
    RosterLine(id="a-04", name="Di Pell", group="Friday", exempt=["all"]),
)
PROFILE = 'schema = "gainlib grades"\nversion = 1\n'


ONE_ROSTER = """
[grade]
scale = 20
round_to = 1
{grade}
[one_roster]
class = "c-1"
school = "s-1"
academic_session = "w-26"
category = "k-1"
assigned = 2026-01-02
due = 2026-01-15
learner = "{learner}"
each_exercise = {each}
"""


@pytest.fixture
def handed(group):
    """Ada has 5 of 5 points, Bo 1 of 5, Cy nothing, Di is exempt."""
    group.made_anew(ROSTER)
    group.put("1.json", group.content("a-01"))
    group.put("2.json", group.content("a-02", answer={GAIN: author_answer(group.variant("a-02"))[GAIN] + 8, TRIM: -8}))
    return group


def sent(group, text):
    (group.home / "office.toml").write_text(PROFILE + text, encoding="utf-8")
    return mark_class(group.folder, group.file, grades=[group.home / "office.toml"])


def table(content, separator=","):
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), delimiter=separator))


def archive(path):
    with zipfile.ZipFile(path) as made:
        return {each: made.read(each) for each in made.namelist()}


# Worked out by hand: the share times the scale, to the nearest step, halves up.
@pytest.mark.parametrize(
    ("share", "grade", "wanted"),
    [
        (Fraction(17, 20), {"scale": 15, "round_to": 0.5}, "13.0"),
        (Fraction(17, 20), {"scale": 15, "round_to": 1}, "13"),
        (Fraction(1, 3), {"scale": 100, "round_to": 0.1}, "33.3"),
        (Fraction(1, 200), {"scale": 100, "round_to": 1}, "1"),
        (Fraction(9, 200), {"scale": 10, "round_to": 0.1}, "0.5"),
        (Fraction(1, 8), {"scale": 10, "round_to": 0.25}, "1.25"),
        (Fraction(6, 5), {"scale": 100, "round_to": 1}, "120"),
        (Fraction(6, 5), {"scale": 100, "round_to": 1, "at_most": 100}, "100"),
        (Fraction(149, 200), {"scale": 100, "round_to": 1, "steps": [("A", 75), ("B", 0)]}, "A"),
        (Fraction(148, 200), {"scale": 100, "round_to": 1, "steps": [("B", 0), ("A", 75)]}, "B"),
        (Fraction(0), {"scale": 6, "round_to": 0.1, "steps": [("4", 1)]}, ""),
    ],
)
def test_a_grade_is_the_share_on_its_scale_halves_up(share, grade, wanted):
    steps = [{"grade": word, "least": float(least)} for word, least in grade.pop("steps", [])]
    made = Grade.model_validate({name: float(each) for name, each in grade.items()} | {"steps": steps})
    assert str(made.of(share)) == wanted


def test_a_mark_line_is_worked_out_once_for_the_sheet_every_profile_and_pages_that_are_there(handed, monkeypatch):
    made, line = [], Marks.line
    monkeypatch.setattr(Marks, "line", lambda self, *of: made.append(of[0]) or line(self, *of))
    profiles = [handed.home / f"{name}.toml" for name in ("office", "other")]
    for each in profiles:
        each.write_text(PROFILE + 'columns = [ { heading = "Id", holds = "id" } ]\n', encoding="utf-8")
    every = [each.id for each in ROSTER]

    def worked_out(**how):
        made.clear()
        done = mark_class(handed.folder, handed.file, **how)
        return done, list(made)

    done, first = worked_out(grades=profiles)
    assert done.sent == ("grades-office.csv", "grades-other.csv")
    assert (done.pages, first) == (2, [*every, "a-01", "a-02"])  # the two pages that were written
    done, again = worked_out(grades=profiles)
    assert (done.pages, again) == (2, every)
    (done.out / "feedback" / "for-a-02.html").unlink()
    done, lost = worked_out()
    assert (done.pages, lost) == (2, [*every, "a-02"])
    by_code = sorted(every, key=handed.class_file.codes.__getitem__)
    pages = [each for each in by_code if each in ("a-01", "a-02")]
    assert worked_out(anonymous=True)[1] == [*by_code, *pages]
    assert worked_out(anonymous=True)[1] == by_code


def test_columns_go_in_the_form_that_is_asked_for(handed):
    done = sent(handed, """
csv = { separator = ";", decimal = ",", marked = false }
columns = [
  { heading = "Nr", holds = "id" }, { heading = "Platz", holds = "Seat" }, { heading = "Kurs", text = "TON-1" },
  { heading = "Note", holds = "grade" }, { heading = "Punkte", holds = "total" },
  { heading = "Aufgabe", holds = "recording/leave-room" }, { heading = "Kommentar", holds = "comment" },
]
[grade]
scale = 15
round_to = 0.5
nothing = "nicht erschienen"
exempt = "befreit"
""")  # fmt: skip
    content = (done.out / "grades-office.csv").read_bytes()
    assert not content.startswith(b"\xef\xbb\xbf")
    rows = table(content, ";")
    assert [row[:6] for row in rows] == [
        ["Nr", "Platz", "Kurs", "Note", "Punkte", "Aufgabe"],
        ["a-01", "7/2", "TON-1", "15,0", "5,0", "5,0"],
        ["a-02", "8", "TON-1", "3,0", "1,0", "1,0"],
        ["a-03", "", "TON-1", "nicht erschienen", "0,0", ""],
        ["a-04", "", "TON-1", "befreit", "0,0", "befreit"],
    ]
    assert rows[1][6] == "5 of 5 points. Leave room for the shout: 5 of 5."
    assert rows[2][6].startswith("1 of 5 points. Leave room for the shout: 1 of 5. Verse after the converter: ")
    assert [rows[3][6], rows[4][6]] == ["Nothing was handed in.", "Exempt."]
    assert "grades-office.csv" in done.text


def test_marks_csv_is_written_as_the_class_file_asks(handed):
    text = handed.file.read_text(encoding="utf-8")
    handed.file.write_text(
        text.replace("exercises = [", 'csv = { separator = "tab", decimal = "," }\nexercises = [', 1), encoding="utf-8"
    )
    done = mark_class(handed.folder, handed.file, feedback="none")
    rows = table((done.out / "marks.csv").read_bytes(), "\t")
    assert rows[1][rows[0].index("percent")] == "100,0"


def test_sentences_have_the_decimal_sign_of_their_file_and_the_teachers_stand_as_written(handed):
    text = handed.file.read_text(encoding="utf-8")
    more = f"""csv = {{ separator = ";", decimal = "," }}
corrections = [
  {{ learner = "a-01", exercise = "{EXERCISE}", points = 3.5, remark = "See sheet 2.5." }},
]
"""
    handed.file.write_text(text.replace("exercises = [", f"{more}exercises = [", 1), encoding="utf-8")
    column = 'columns = [ { heading = "Said", holds = "comment" }, { heading = "Points", holds = "total" } ]\n'
    for sign, other in (",.", ".,"):
        done = sent(handed, f'csv = {{ separator = ";", decimal = "{sign}" }}\n{column}')
        (_, ada, bo, *_) = table((done.out / "grades-office.csv").read_bytes(), ";")
        shout = f"3{sign}5 of 5"
        assert ada == [f"{shout} points. Leave room for the shout: {shout}. See sheet 2.5.", f"3{sign}5"]
        assert re.search(rf"−\d+{re.escape(sign)}\d dBFS", bo[0])
        assert not re.search(rf"\d{re.escape(other)}\d", bo[0])
    rows = table((done.out / "marks.csv").read_bytes(), ";")
    assert rows[1][rows[0].index("remarks")] == (
        f"{EXERCISE}: 3,5 points by the teacher (5 measured). {EXERCISE}: See sheet 2.5."
    )


def test_the_title_of_an_exercise_stands_as_it_was_written(handed, monkeypatch):
    monkeypatch.setattr(Exercise, "title", "Sheet 2.5")
    column = 'columns = [ { heading = "Said", holds = "comment" } ]'
    done = sent(handed, f'csv = {{ separator = ";", decimal = "," }}\n{column}\n')
    (_, (ada,), *_) = table((done.out / "grades-office.csv").read_bytes(), ";")
    assert ada == "5 of 5 points. Sheet 2.5: 5 of 5."


def test_pages_are_named_as_the_profile_says_and_stay_in_their_archive(handed):
    done = sent(handed, 'group = "Tuesday"\npages = "{Seat} {name}/feedback.html"\n')
    pages = archive(done.out / "pages-office.zip")
    assert sorted(pages) == ["7_2 Ada Quill/feedback.html", "8 Bo Märsh/feedback.html"]
    assert pages["8 Bo Märsh/feedback.html"] == (done.out / "feedback" / "for-a-02.html").read_bytes()
    first = (done.out / "pages-office.zip").read_bytes()
    assert (
        sent(handed, 'group = "Tuesday"\npages = "{Seat} {name}/feedback.html"\n').out / "pages-office.zip"
    ).read_bytes() == first


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('pages = "{group}.html"', r"pages gives 'Tuesday.html' for a-01 and for a-02; put \{id\} into it"),
        ('pages = "{seat}.html"', r"pages names \{seat\}; did you mean Seat"),
        ('pages = "../{id}.html"', "it must stay in the archive"),
        ('pages = "/{id}.html"', "it must stay in the archive"),
        ('pages = "{id}"', "must end with .html"),
        ('columns = [{ heading = "x", holds = "grades" }]', r"column 1 \(x\) holds 'grades'; did you mean grade"),
        ('columns = [{ heading = "x" }]', r"column 1 \(x\) must have one of holds and text"),
        ('group = "Teusday"\npages = "{id}.html"', "group is 'Teusday', which nobody of the class is in; did you mean"),
        ("", "it asks for nothing"),
        ('csv = { separator = "|" }', "separator of csv is '|'; it must be one of ',', ';', 'tab'"),
        ('csv = { marked = "no" }', "marked of csv is 'no'; it must be true or false, without quotes"),
        ("[grade]\nscale = 15,0", "office.toml, line 4: a comma stands in a number; write its decimals behind a point"),
        ("[grade]\nnothing = “absent”", "office.toml, line 4: curly quotation marks; type straight ones"),
        ("[one_roster]\nassigned = 2.11.2026", "office.toml, line 4: assigned is 2.11.2026; write 2026-11-02"),
        ("[one_roster]\ndue = 2027-02-30", "line 4: due is 2027-02-30, a day that no calendar has; write year, month"),
        (ONE_ROSTER.format(learner="id", each="1", grade=""), "each_exercise of one_roster is 1; it must be true or"),
        (ONE_ROSTER.format(learner="id", each="true", grade="").replace("2026-01-02", '"2.1.2026"'),
         "assigned of one_roster is '2.1.2026'; it must be a day such as 2027-01-15, without quotes"),
        (ONE_ROSTER.format(learner="id", each="true", grade="").replace("2026-01-02", "2026-02-02"),
         "due of one_roster is 2026-01-15, before assigned; change one of them"),
        ("[grade]\nround_to = 0", "round_to of grade is 0; it must be above 0"),
        ("[grade]\nscale = 100\npages = \"{id}.html\"", "pages stands under grade, but belongs to the whole file"),
    ],
)  # fmt: skip
def test_a_profile_that_cannot_be_followed_is_told_by_name(handed, text, said):
    with pytest.raises(GainError, match=said.replace("|", r"\|")):
        sent(handed, text)


def test_a_class_file_is_not_taken_for_a_profile(handed):
    with pytest.raises(GainError, match="group-a.toml is no profile for grades; write one with `gainlib new-profile"):
        mark_class(handed.folder, handed.file, grades=[handed.file])


def test_the_guide_shows_a_profile_that_can_be_used(handed):
    guide = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
    shown = guide.partition("### Grades go home")[2].partition("```toml\n")[2].partition("```")[0]
    done = sent(handed, shown.removeprefix('schema  = "gainlib grades"\nversion = 1\n'))
    assert set(done.sent) == {"grades-office.csv", "grades-office.zip", "pages-office.zip"}
    assert sorted(archive(done.out / "pages-office.zip"))[0] == "a-01 Ada Quill/feedback.html"


def test_a_new_profile_can_be_used_as_it_is_and_each_of_its_examples_too(handed):
    file = write_profile(handed.home / "new", handed.class_file)
    text = file.read_text(encoding="utf-8")
    assert "Seat" in text
    done = mark_class(handed.folder, handed.file, grades=[file])
    assert table((done.out / "grades-new.csv").read_bytes())[1][:4] == [
        "a-01",
        "Ada Quill",
        "ada@school.example",
        "100.0",
    ]
    with pytest.raises(GainError, match="is there already"):
        write_profile(file, None)
    commented = [each for each in text.splitlines() if each.startswith("# ") and " = " in each and "…" not in each]
    for each in ("# group", "# pages", "# at_most", "# nothing", "# exempt ", "# steps"):
        (example,) = [line for line in commented if line.startswith(each)]
        (handed.home / "one.toml").write_text(text.replace(example, example.removeprefix("# ")))
        mark_class(handed.folder, handed.file, grades=[handed.home / "one.toml"])


def test_the_gradebook_has_the_headings_of_one_roster_in_their_order(handed):
    """*Published*: OneRoster 1.2 CSV as a public library that follows it prints its headings, "in exact order"."""
    done = sent(handed, ONE_ROSTER.format(learner="id", each="false", grade=""))
    files = archive(done.out / "grades-office.zip")
    assert {name: content.decode().splitlines()[0].replace('"', "") for name, content in files.items()} == {
        "manifest.csv": "propertyName,value",
        "categories.csv": "sourcedId,status,dateLastModified,title,weight",
        "lineItems.csv": "sourcedId,status,dateLastModified,title,description,assignDate,dueDate,classSourcedId,"
        "categorySourcedId,academicSessionSourcedId,resultValueMin,resultValueMax,schoolSourcedId",
        "results.csv": "sourcedId,status,dateLastModified,lineItemSourcedId,studentSourcedId,scoreStatus,score,"
        "scoreDate,comment,textScore,classSourcedId,inProgress,incomplete,late,missing",
    }  # fmt: skip
    told = dict(table(files["manifest.csv"])[1:])
    assert {name for name, each in told.items() if each == "bulk"} == {
        "file.categories", "file.lineItems", "file.results",
    }  # fmt: skip
    assert told["oneroster.version"] == "1.2"


def test_the_gradebook_has_each_learner_s_score_and_what_became_of_the_others(handed):
    done = sent(
        handed, ONE_ROSTER.format(learner="id", each="true", grade='steps = [{ least = 10, grade = "passed" }]')
    )
    files = archive(done.out / "grades-office.zip")
    items, results = (
        list(csv.DictReader(io.StringIO(files[name].decode(), newline=""))) for name in ("lineItems.csv", "results.csv")
    )
    assert [(each["title"], each["resultValueMax"], each["dueDate"]) for each in items] == [
        ("group-a", "20", "2026-01-15"), ("Leave room for the shout", "5.0", "2026-01-15"),
    ]  # fmt: skip
    whole, of_exercise = ([row for row in results if row["lineItemSourcedId"] == each["sourcedId"]] for each in items)
    told = [
        (row["studentSourcedId"], row["scoreStatus"], row["score"], row["textScore"], row["missing"]) for row in whole
    ]
    assert told == [
        ("a-01", "fully graded", "20", "passed", "false"),
        ("a-02", "fully graded", "4", "", "false"),
        ("a-03", "not submitted", "", "", "true"),
        ("a-04", "exempt", "", "", "false"),
    ]
    assert [row["score"] for row in of_exercise] == ["5.0", "1.0", "", ""]
    assert {row["classSourcedId"] for row in results} == {"c-1"}
    assert len({row["sourcedId"] for row in results}) == len(results)
    handed.put("hand-in a-03 20260115-120000-000.json", b"{")
    done = sent(handed, ONE_ROSTER.format(learner="id", each="false", grade=""))
    (cy,) = [each for each in table(archive(done.out / "grades-office.zip")["results.csv"]) if each[4] == "a-03"]
    assert (cy[5], cy[-1]) == ("submitted", "false")  # it came, and cannot be read: nothing is missing
    again = archive(sent(handed, ONE_ROSTER.format(learner="id", each="true", grade="")).out / "grades-office.zip")
    assert again["lineItems.csv"] == files["lineItems.csv"]


def test_one_roster_takes_a_learner_s_id_from_the_list(handed):
    done = sent(handed, ONE_ROSTER.format(learner="Seat", each="false", grade=""))
    rows = table(archive(done.out / "grades-office.zip")["results.csv"])
    assert [row[4] for row in rows[1:3]] == ["7/2", "8"]


def test_lti_s_scores_have_the_fields_and_words_that_a_platform_takes(handed):
    """*Published*: LTI Assignment and Grade Services 2.0, fields and words as read with platforms that follow it."""
    handed.put("3.json", handed.content("a-03", answer={GAIN: 60, TRIM: -24}))
    handed.put("5.json", "{")
    scores = json.loads((sent(handed, "[grade]\nscale = 20\n[lti_scores]\n").out / "scores-office.json").read_text())
    told = [
        (each["userId"], each.get("scoreGiven"), each.get("scoreMaximum"), each["gradingProgress"]) for each in scores
    ]
    # A score of 0 is one: it must not be left out. Di is exempt, so nothing is sent of her.
    assert told == [
        ("a-01", 20.0, 20.0, "FullyGraded"), ("a-02", 4.0, 20.0, "FullyGraded"), ("a-03", 0.0, 20.0, "FullyGraded"),
    ]  # fmt: skip
    for each in scores:
        assert each["activityProgress"] in ("Initialized", "Started", "InProgress", "Submitted", "Completed")
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}\+00:00", each["timestamp"])
        assert isinstance(each["comment"], str)


def test_what_got_no_mark_waits_for_the_teacher(handed):
    """Cy hands in Ada's answers under his own id: they are for other numbers, so 0 points are no grade yet."""
    handed.put("3.json", handed.content("a-01") | {"learner": {"id": "a-03", "name": "Cy Fenn"}})
    scores = json.loads((sent(handed, "[lti_scores]\n").out / "scores-office.json").read_text())
    assert [each["gradingProgress"] for each in scores] == ["FullyGraded", "FullyGraded", "PendingManual"]


def test_who_handed_in_nothing_has_no_score_yet(handed):
    scores = json.loads((sent(handed, "[lti_scores]\n").out / "scores-office.json").read_text())
    (cy,) = [each for each in scores if each["userId"] == "a-03"]
    assert ("scoreGiven" in cy, cy["activityProgress"], cy["gradingProgress"]) == (False, "Initialized", "NotReady")


def test_the_file_of_grades_is_for_its_owner_alone(handed):
    done = sent(handed, 'pages = "{id}.html"\ncolumns = [{ heading = "x", holds = "id" }]')
    for name in ("grades-office.csv", "pages-office.zip", "changes.html"):
        assert (done.out / name).stat().st_mode & 0o077 == 0


def test_a_grade_is_a_decimal_and_no_binary_fraction():
    assert Grade(scale=10.0, round_to=0.1).of(Fraction(145, 1000)) == Decimal("1.5")


def test_a_new_profile_has_the_class_s_own_csv_and_the_comment_says_what_counts_how(handed):
    text = handed.file.read_text(encoding="utf-8")
    text = text.replace('"recording/leave-room", points', '"recording/leave-room", role = "bonus", points')
    text = text.replace("exercises = [\n", 'exercises = [\n  { name = "levels/two-tracks" },\n', 1)
    handed.file.write_text(text.replace("# csv = {", "csv = {"), encoding="utf-8")
    profile = write_profile(handed.home / "amt", handed.class_file)
    assert 'csv = { separator = ";", decimal = "," }' in profile.read_text(encoding="utf-8")
    done = mark_class(handed.folder, handed.file, feedback="none", grades=[profile])
    assert "Leave room for the shout: 5 of 5, bonus." in (done.out / "grades-amt.csv").read_text(encoding="utf-8-sig")
