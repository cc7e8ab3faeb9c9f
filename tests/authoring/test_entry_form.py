"""Tables of an exercise file as fields of a form: everything that the course's own exercises say has a field."""

from __future__ import annotations

import tomllib

import pytest

from gainlib.authoring.draft import Draft
from gainlib.authoring.entry_form import entry_fields, entry_values, entry_with, setting_values, setting_with
from gainlib.errors import GainError
from gainlib.exercises import exercise_names
from gainlib.exercises.tables import (
    AskEntry,
    CandidateEntry,
    CheckEntry,
    Given,
    HintEntry,
    LadderEntry,
    MoveEntry,
    PlantEntry,
    PromptEntry,
    SlipEntry,
    Spec,
    VaryEntry,
)  # fmt: skip
from gainlib.flow.session_table import BusEntry, GroupEntry, StripEntry
from gainlib.stages import Compressor, Fader, stage_kinds
from gainlib.storage import bundled_folder

ROWS = {
    "checks": CheckEntry, "asks": AskEntry, "varies": VaryEntry, "moves": MoveEntry, "plant": PlantEntry,
    "slips": SlipEntry, "hints": HintEntry, "candidates": CandidateEntry, "prompts": PromptEntry,
}  # fmt: skip
OF_GIVEN = {"strips": StripEntry, "buses": BusEntry, "groups": GroupEntry}


def typed_anew(entries):
    """The exercise as it comes of what its fields show, and of nothing else."""

    def row(table, given):
        return entry_with(table, {}, entry_values(table, given))

    def stages(rows):
        kinds = ((stage_kinds()[each["stage"]], each) for each in rows)
        return [setting_with(kind, {"stage": each["stage"]}, setting_values(kind, each)) for kind, each in kinds]

    made = dict(entries)
    for name, table in ROWS.items():
        if name in entries:
            given = entries[name]
            one = {key: row(table, each) for key, each in (given.items() if name == "varies" else enumerate(given))}
            made[name] = one if name == "varies" else list(one.values())
    if "ladder" in entries:
        made["ladder"] = row(LadderEntry, entries["ladder"])
    made["given"] = row(Given, {name: each for name, each in entries["given"].items() if name not in OF_GIVEN})
    if "stages" in entries["given"]:
        made["given"]["stages"] = stages(entries["given"]["stages"])
    for name, table in OF_GIVEN.items():
        if name in entries["given"]:
            made["given"][name] = [
                {**row(table, each), **({"stages": stages(each["stages"])} if "stages" in each else {})}
                for each in entries["given"][name]
            ]
    return made


@pytest.mark.parametrize("name", exercise_names())
def test_an_exercise_of_the_course_typed_anew_from_its_fields_is_the_same(name):
    text = bundled_folder("exercises").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    entries = tomllib.loads(text)
    assert Spec.model_validate(typed_anew(entries)) == Spec.model_validate(entries)
    assert tomllib.loads(Draft(entries).text) == entries


def test_every_entry_of_a_table_has_a_field():
    # Written down by hand from exercises/README.md; a reading is asked for as what, at, seconds, less and its bounds.
    assert {each["name"] for each in entry_fields(CheckEntry)} == {
        "title", "points", "each", "low", "high", "good", "source", "standing",
        "reads.what", "reads.at", "reads.seconds", "reads.less", "reads.at_least", "reads.at_most", "reads.is",
    }  # fmt: skip
    assert {each["name"] for each in entry_fields(MoveEntry)} == {
        "path", "from", "to", "step", "options", "points", "start", "label",
    }  # fmt: skip


def test_only_what_was_changed_is_changed():
    row = {"title": "Peak", "points": 1, "reads": {"measure": "peak_dbfs", "at": "trim", "at_most": {"plus": ["a"]}}}
    values = entry_values(CheckEntry, row) | {"points": 2, "reads.at_least": "-9"}
    made = entry_with(CheckEntry, row, values)
    assert made == {**row, "points": 2, "reads": {**row["reads"], "at_least": -9}}
    assert made["reads"]["at_most"] == {"plus": ["a"]}  # a row of one name stays a row
    assert "at_least" not in row["reads"]


def test_what_is_read_is_a_measure_or_told_or_a_setting_with_its_path():
    row = {"title": "Muted", "reads": {"setting": "fader/muted", "is": True}}
    values = entry_values(CheckEntry, row)
    assert (values["reads.what"], values["reads.at"], values["reads.is"]) == ("setting", "fader/muted", "true")
    made = entry_with(CheckEntry, row, values | {"reads.what": "told clipped", "reads.at": "fader", "reads.is": ""})
    assert made["reads"] == {"told": "clipped", "at": "fader"}


def test_a_zero_is_a_number_and_nothing_typed_takes_the_entry_away():
    row = {"path": "trim/gain_db", "from": -6, "to": 6, "step": 1}
    assert entry_with(MoveEntry, row, {"from": 0})["from"] == 0
    assert "from" not in entry_with(MoveEntry, row, {"from": None})


UNREAD = [
    (CheckEntry, {"reads.seconds": "to 9"}, "“to 9” is no stretch of time; write two numbers of seconds, as 0 to 9.3"),
    (CheckEntry, {"reads.at_least": "loud!"}, "what stands at “!” cannot be read"),
    (SlipEntry, {"answer": "sum 4"}, "“sum 4” cannot be read; write a path or the name of a question, = and the value"),
    (LadderEntry, {"rungs": "6, 4, 2,8"}, "2,8 may be one number or two; .* behind a comma, as 2.8 or 2, 8"),
]


@pytest.mark.parametrize(("table", "values", "says"), UNREAD, ids=[says[:20] for _, _, says in UNREAD])
def test_what_cannot_be_read_is_said(table, values, says):
    with pytest.raises(GainError, match=says):
        entry_with(table, {}, values)


def test_a_comma_behind_decimals_parts_two_numbers():
    assert entry_with(LadderEntry, {}, {"rungs": "6.5,4.25,−3"})["rungs"] == [6.5, 4.25, -3]


def test_settings_are_typed_as_they_are_said():
    typed = {"threshold_db": "−30", "detector": "rms", "linked": "false", "ratio": "4.5"}
    assert setting_with(Compressor, {"stage": "Compressor"}, typed) == {
        "stage": "Compressor", "threshold_db": -30, "detector": "rms", "linked": False, "ratio": 4.5,
    }  # fmt: skip
    made = setting_with(Fader, {"stage": "Fader"}, {"ride": "[[0, −6], [2, 0]]", "gain_db": "−inf", "name": "ride 2"})
    assert made == {"stage": "Fader", "ride": [[0, -6], [2, 0]], "gain_db": float("-inf"), "name": "ride 2"}
    assert setting_with(Fader, made, setting_values(Fader, made) | {"gain_db": ""}) == {
        "stage": "Fader", "ride": [[0, -6], [2, 0]], "name": "ride 2",
    }  # fmt: skip
