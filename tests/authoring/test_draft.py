"""An exercise in the making: its file, what is worked out from one right answer, and what a page refuses to lose."""

from __future__ import annotations

import tomllib

import pytest

from gainlib.authoring.completion import complete
from gainlib.authoring.draft import Draft, UnreadableDraft, read_draft
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import verify
from gainlib.errors import GainError
from gainlib.exercises.tables import EXERCISE_KINDS
from gainlib.storage import bundled_folder

# The stages, bounds and answers of the template of kind set, whose rules its author worked out by hand.
BEGUN = Draft(
    {
        "title": "Room for the loudest note",
        "lesson": "set-recording-level",
        "kind": "set",
        "level": 1,
        "goal": "",
        "brief": "",
        "given": {
            "take": "media/bass.flac",
            "strip": "bass",
            "views": ["level diagram"],
            "stages": [
                {"stage": "Source", "full_scale_dbu": -22.0},
                {"stage": "Preamp", "gain_db": 44.0},
                {"stage": "Converter", "alignment": "EBU R 68"},
                {"stage": "Trim", "gain_db": -12.0},
            ],
        },
        "varies": {"loud": {"path": "source/full_scale_dbu", "from": -32.0, "to": -14.0, "step": 1.0}},
        "moves": [
            {"path": "preamp/gain_db", "from": 0.0, "to": 70.0, "step": 1.0},
            {"path": "trim/gain_db", "from": -24.0, "to": 24.0, "step": 0.5},
        ],
        "solution": {"preamp/gain_db": 36.0, "trim/gain_db": 4.0},
        "checks": [
            {"points": 1, "reads": {"measure": "peak_dbfs", "at": "converter", "at_least": -16.0, "at_most": -12.0}},
            {"points": 1, "reads": {"measure": "rms_dbfs", "at": "trim", "at_least": -22.0, "at_most": -20.0}},
        ],
        "slips": [
            {
                "name": "too hot",
                "when": [],
                "answer": {"preamp/gain_db": 44.0, "trim/gain_db": -4.0},
                "say": "The converter has no room left.",
            }
        ],
    }
)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The template's exercise, completed and written; gives the draft and its file."""
    file = tmp_path_factory.mktemp("draft") / "hot-bass.toml"
    draft = complete(BEGUN, file)
    file.write_text(draft.text, encoding="utf-8")
    return draft, file


def template(kind):
    folder = bundled_folder("exercises").parent / "gainlib" / "authoring" / "templates"
    return (folder / f"{kind}.toml").read_text(encoding="utf-8")


def test_the_rules_that_a_teacher_worked_out_are_found_from_one_right_answer(written):
    draft, _ = written
    theirs = tomllib.loads(template("set"))
    assert draft.entries["solution"]["preamp/gain_db"] == theirs["solution"]["preamp/gain_db"]
    assert draft.entries["solution"]["trim/gain_db"] == theirs["solution"]["trim/gain_db"]
    assert draft.entries["moves"][0]["start"] == theirs["moves"][0]["start"]
    assert draft.entries["slips"][0]["answer"] == theirs["slips"][0]["answer"]


def test_what_nobody_wrote_is_said(written):
    draft, _ = written
    peak, rms = draft.entries["checks"]
    assert (peak["title"], peak["low"]) == ("Peak after the converter", "Turn the preamp gain up by {off}.")
    assert (rms["title"], rms["high"]) == ("RMS after the trim", "Turn the trim down by {off}.")
    assert draft.entries["brief"].startswith(
        "Source level is {loud}. Bring the peak after the converter to −16 to −12 dBFS."
    )
    (slip,) = draft.entries["slips"]
    # 44 dB reads 8 dB over the right answer's level, which is -14.2 to -14.4 dBFS: halfway from the bound of -12.
    assert slip["when"][0]["at_least"] == pytest.approx((-12 - 6.3) / 2, abs=0.2)
    assert slip["when"][1] == {"measure": "rms_dbfs", "at": "trim", "at_least": -22.0, "at_most": -20.0}


def test_the_file_is_sound_and_read_back_as_it_was(written):
    draft, file = written
    assert validate(file)[1] == ()
    assert read_draft(file.read_text(encoding="utf-8"), file.name) == draft
    proof = verify(file, variants=3)
    assert (proof.faults, proof.remarks) == ((), ())


def test_what_is_said_already_is_not_worked_out_again(written):
    draft, file = written
    assert complete(draft, file) == draft


def test_an_unfinished_draft_is_read_back_as_well():
    assert read_draft(BEGUN.text, "begun.toml") == BEGUN


@pytest.mark.parametrize("kind", EXERCISE_KINDS)
def test_a_file_of_each_kind_keeps_every_entry(kind):
    theirs = tomllib.loads(template(kind))
    assert tomllib.loads(Draft(theirs).text) == theirs


def test_a_brief_of_paragraphs_stands_in_the_file_as_it_is_read():
    draft = BEGUN.put("brief", value="One.\n\nTwo.")
    assert 'brief = """\nOne.\n\nTwo."""' in draft.text
    quoted = BEGUN.put("brief", value='Say \n"this".\\')
    assert tomllib.loads(quoted.text)["brief"] == 'Say \n"this".\\'


def test_an_entry_is_put_and_taken_away_where_it_stands():
    draft = BEGUN.put("checks", 0, "reads", "at_most", value=-10).put("hints", 0, value={"text": "Look."})
    assert (draft.get("checks", 0, "reads", "at_most"), draft.get("hints")) == (-10, [{"text": "Look."}])
    assert draft.put("hints", 0, value=None).get("hints") is None
    assert BEGUN.get("checks", 0, "reads", "at_most") == -12.0  # the one before is as it was


def test_a_wrong_answer_that_passes_is_refused(tmp_path):
    draft = BEGUN.put("slips", 0, "answer", value=BEGUN.entries["solution"])
    with pytest.raises(GainError, match="the wrong answer 'too hot' meets every check; narrow a bound"):
        complete(draft, tmp_path / "x.toml")


def test_where_no_rule_serves_the_answer_stays_as_it_was_shown(tmp_path):
    # The preamp may not go far enough for the softest: nothing that follows in a straight line passes.
    draft = BEGUN.put("moves", 0, value={"path": "preamp/gain_db", "from": 30.0, "to": 40.0, "step": 1.0})
    draft = draft.put("slips", value=None)
    assert complete(draft, tmp_path / "x.toml").entries["solution"] == BEGUN.entries["solution"]


LOST = [
    # (what stands in the file, what a teacher wrote, what is said)
    ("level = 1", "# for the first evening\nlevel = 1", "holds notes of yours behind #, .* in line 4"),
    ("level = 1", "level = 1  # easy", "holds notes of yours behind #"),
    ('kind = "set"', 'kind = "sit"', "kind is 'sit'; did you mean set"),
    ("level = 1", "level = 1\ngaol = 2", "there is no entry gaol; did you mean goal"),
    ("level = 1", "level = 9", "level is 9; it must be at most 3"),
]


@pytest.mark.parametrize(("before", "after", "says"), LOST, ids=[after[:24] for _, after, _ in LOST])
def test_what_the_page_would_lose_is_named(before, after, says):
    assert before in BEGUN.text
    with pytest.raises(UnreadableDraft, match=says) as told:
        read_draft(BEGUN.text.replace(before, after, 1), "x.toml")
    assert told.value.notes == ("#" in after)


def test_a_number_sign_in_a_text_is_no_note():
    draft = BEGUN.put("title", value="Take #3").put("goal", value="It's #1")
    assert read_draft(draft.text, "x.toml") == draft
