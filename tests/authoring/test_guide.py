"""The guide for authors: its tables hold what the registries hold, its commands and examples hold true."""

from __future__ import annotations

import dataclasses
import inspect
import math
import re
import tomllib

import pytest

from gainlib.errors import GainError
from gainlib.exercises.formulas import formulas
from gainlib.exercises.readings import OF_EVERY_STAGE, stage_readings
from gainlib.exercises.tables import EXERCISE_KINDS, Spec
from gainlib.meters import measures
from gainlib.stages import stage_kinds
from gainlib.stages.base import unit_of
from gainlib.stages.described import described_settings
from gainlib.storage import bundled_folder
from gainlib.storage.entry_faults import known_entries
from gainlib.storage.lessons import lesson_files
from gainlib.views import views


def measure_rows():
    return [
        "| measure | unit | what it is | it needs |",
        "| --- | --- | --- | --- |",
        *(
            f"| `{each.name}` | {each.unit or 'a count'} | {each.meaning} | {each.needs or '–'} |"
            for each in measures().values()
        ),
    ]


def told_rows():
    return [
        "| told | unit | by |",
        "| --- | --- | --- |",
        *(
            f"| `{name}` | {OF_EVERY_STAGE.get(name, unit_of(name)) or 'a count'} | {', '.join(kinds)} |"
            for name, kinds in stage_readings().items()
        ),
    ]


def reckoning_rows():
    return [
        "| reckon | with | gives | what it is |",
        "| --- | --- | --- | --- |",
        *(
            f"| `{each.name}` | {each.needs} | {each.unit or 'a number'} | {each.meaning} |"
            for each in formulas().values()
        ),
    ]


def stage_rows():
    rows = []
    for name, kind in sorted(stage_kinds().items()):
        first = inspect.getdoc(kind).split("\n")[0]
        rows += ["", f"**`{name}`**: {first[:1].lower()}{first[1:]}", ""]
        rows += ["| setting | may be | unless said | what it is |", "| --- | --- | --- | --- |"]
        rows += [
            f"| `{each.name}` | {each.may_be} | {each.unless_said} | {each.does} |" for each in described_settings(kind)
        ]
    return [*rows[1:]]


def view_rows():
    return [", ".join(f"`{name}`" for name in sorted(views())) + "."]


def lesson_rows():
    return [", ".join(f"`{name}`" for name in lesson_files()) + "."]


TABLES = {
    "lessons": lesson_rows,
    "stages": stage_rows,
    "views": view_rows,
    "measures": measure_rows,
    "told": told_rows,
    "reckonings": reckoning_rows,
}


@pytest.fixture(scope="module")
def guide():
    return (bundled_folder("exercises") / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", TABLES)
def test_a_table_holds_what_the_registry_holds(guide, name):
    table = re.search(rf"<!-- {name} -->\n(.*?)\n<!-- end -->", guide, re.DOTALL)
    assert table, f"the guide has no table of {name} between its marks"
    assert table[1].split("\n") == TABLES[name](), "\n".join(["write this into the guide:", *TABLES[name]()])


def test_every_kind_and_every_entry_is_told_of(guide):
    for kind in EXERCISE_KINDS:
        assert f"| `{kind}` |" in guide
    for entry in known_entries(Spec, ()):
        assert f"`{entry}`" in guide or f"`{entry}." in guide, entry


def test_the_examples_are_sound_toml(guide):
    examples = re.findall(r"```toml\n(.*?)```", guide, re.DOTALL)
    assert len(examples) == len(EXERCISE_KINDS)
    for example in examples:
        assert tomllib.loads(example)


@pytest.mark.parametrize("name", sorted(stage_kinds()))
def test_every_setting_of_a_stage_is_told_of(name):
    kind = stage_kinds()[name]
    told = [each.name for each in described_settings(kind)]
    assert told == [each.name for each in dataclasses.fields(kind) if each.name != "name"]
    assert all(each.may_be and each.does for each in described_settings(kind))


BOUNDED = [
    (name, each)
    for name, kind in sorted(stage_kinds().items())
    for each in described_settings(kind)
    if math.isfinite(each.low) or math.isfinite(each.high)
]


@pytest.mark.parametrize(("name", "told"), BOUNDED, ids=[f"{name} {each.name}" for name, each in BOUNDED])
def test_what_the_guide_says_a_setting_may_be_is_what_the_stage_takes(name, told):
    kind = stage_kinds()[name]
    needed = {"alignment": 18.0} if any(each.name == "alignment" for each in dataclasses.fields(kind)) else {}

    def takes(value):
        value = int(value) if type(getattr(kind, told.name, None)) is int or told.name == "rate_hz" else value
        try:
            kind(**needed, **{told.name: value})
        except GainError:
            return False
        return True

    for end, outwards in ((told.low, -1), (told.high, 1)):
        if math.isfinite(end):
            assert takes(end) is not (told.above and outwards < 0), end
            assert takes(end - outwards * 1.0) is True
            assert takes(end + outwards * 1.0) is False, end


def test_most_settings_have_bounds_that_were_tried():
    assert len(BOUNDED) > 30
