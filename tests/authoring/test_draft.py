"""An exercise in the making: its file, what is worked out from one right answer, and what a page refuses to lose."""

from __future__ import annotations

import dataclasses
import tomllib

import pytest

from gainlib.authoring.completion import complete
from gainlib.authoring.draft import Draft, DraftCheck, DraftMove, DraftSlip, DraftVary, read_draft
from gainlib.authoring.validation import validate
from gainlib.authoring.verification import verify
from gainlib.errors import GainError
from gainlib.storage import bundled_folder

# The stages, bounds and answers of the template of kind set, whose rules its author worked out by hand.
TEMPLATE = Draft(
    title="Room for the loudest note",
    take="media/bass.flac",
    strip="bass",
    stages=(
        {"stage": "Source", "full_scale_dbu": -22.0},
        {"stage": "Preamp", "gain_db": 44.0},
        {"stage": "Converter", "alignment": "EBU R 68"},
        {"stage": "Trim", "gain_db": -12.0},
    ),
    varies=(DraftVary("loud", "source/full_scale_dbu", -32.0, -14.0, 1.0),),
    moves=(DraftMove("preamp/gain_db", 0.0, 70.0, 1.0), DraftMove("trim/gain_db", -24.0, 24.0, 0.5)),
    right={"preamp/gain_db": 36.0, "trim/gain_db": 4.0},
    checks=(
        DraftCheck("measure", "peak_dbfs", "converter", -16.0, -12.0),
        DraftCheck("measure", "rms_dbfs", "trim", -22.0, -20.0),
    ),
    slips=(DraftSlip("too hot", {"preamp/gain_db": 44.0, "trim/gain_db": -4.0}, "The converter has no room left."),),
)


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The template's exercise, completed and written; gives the draft and its file."""
    file = tmp_path_factory.mktemp("draft") / "hot-bass.toml"
    draft = complete(TEMPLATE, file)
    file.write_text(draft.text, encoding="utf-8")
    return draft, file


def test_the_rules_that_a_teacher_worked_out_are_found_from_one_right_answer(written):
    draft, _ = written
    folder = bundled_folder("exercises").parent / "gainlib" / "authoring" / "templates"
    template = tomllib.loads((folder / "set.toml").read_text(encoding="utf-8"))
    assert draft.entries["solution"] == template["solution"]
    assert draft.entries["moves"][0]["start"] == template["moves"][0]["start"]
    assert draft.entries["slips"][0]["answer"] == template["slips"][0]["answer"]


def test_what_nobody_wrote_is_said(written):
    draft, _ = written
    peak, rms = draft.checks
    assert (peak.title, peak.low) == ("Peak after the converter", "Turn the preamp gain up by {off}.")
    assert (rms.title, rms.high) == ("RMS after the trim", "Turn the trim down by {off}.")
    assert draft.brief.startswith("Source level is {loud}. Bring the peak after the converter to −16 to −12 dBFS.")
    (slip,) = draft.slips
    # 44 dB reads 8 dB over the right answer's level, which is -14.2 to -14.4 dBFS: halfway from the bound of -12.
    assert slip.when[0]["at_least"] == pytest.approx((-12 - 6.3) / 2, abs=0.2)
    assert slip.when[1] == {"measure": "rms_dbfs", "at": "trim", "at_least": -22.0, "at_most": -20.0}


def test_the_file_is_sound_and_read_back_as_it_was(written):
    draft, file = written
    assert validate(file)[1] == ()
    assert read_draft(file.read_text(encoding="utf-8"), file.name) == draft
    proof = verify(file, variants=3)
    assert (proof.faults, proof.remarks) == ((), ())


def test_an_unfinished_draft_is_read_back_as_well():
    begun = Draft(title="Begun", varies=TEMPLATE.varies, stages=TEMPLATE.stages)
    assert read_draft(begun.text, "begun.toml") == begun


def test_a_wrong_answer_that_passes_is_refused(tmp_path):
    slips = (DraftSlip("none", TEMPLATE.right, "It is right."),)
    with pytest.raises(GainError, match="the wrong answer 'none' meets every check; narrow a bound"):
        complete(dataclasses.replace(TEMPLATE, slips=slips), tmp_path / "x.toml")


def test_where_no_rule_serves_the_answer_stays_as_it_was_shown(tmp_path):
    # The preamp may not go far enough for the softest: nothing that follows in a straight line passes.
    moves = (DraftMove("preamp/gain_db", 30.0, 40.0, 1.0), TEMPLATE.moves[1])
    assert complete(dataclasses.replace(TEMPLATE, moves=moves, slips=()), tmp_path / "x.toml").follows == {}


LOST = [
    # (what a teacher wrote, what is said)
    ("level = 1", "level = 1 # for the first evening", "holds notes of yours behind #"),
    ('kind = "set"', 'kind = "ride"', "is of kind 'ride'; the page writes exercises of kind 'set'"),
    ("at_most = -12.0 }", "at_most = -12.0, seconds = [0, 5] }", "says more in checks than the page can show"),
    ("given.strip", 'given.listen = "trim"\ngiven.strip', "says more in given than the page can show"),
    ('"trim/gain_db" = 4.0 }', '"trim/gain_db" = { base = 4, plus = "none" } }', "cannot be shown as a page"),
]


@pytest.mark.parametrize(("before", "after", "says"), LOST, ids=[after[:24] for _, after, _ in LOST])
def test_what_the_page_would_lose_is_refused(written, before, after, says):
    text = written[0].text
    assert before in text
    changed = text.replace(before, after, 1)
    if "#" in after:
        changed = changed.replace(after, f"{before}\n# for the first evening")
    with pytest.raises(GainError, match=says):
        read_draft(changed, "x.toml")
