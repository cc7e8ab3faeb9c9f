"""Which pages the script runs without knowing their code: those that open one exercise by its name, and no other."""

from __future__ import annotations

import re

import pytest

from gainlib.learners.exercise_pages import FOLDER, page_code
from gainlib.page import EXTENSIONS

SCRIPT = (EXTENSIONS / "gainlib" / "static" / "entry.js").read_text(encoding="utf-8")
# The pattern uses nothing that Python's would read otherwise.
KNOWN = re.compile(re.search(r"OPENS_AN_EXERCISE = /(.+)/;", SCRIPT)[1])


@pytest.mark.parametrize("name", ["levels/hot-take", "school takes/hot hum", "Übung 1/Häng & Würg (neu)", "a/b.c"])
def test_the_script_knows_the_pages_that_are_laid(name):
    assert KNOWN.match(page_code(name))


@pytest.mark.parametrize(
    "code",
    [
        'import gainlib as gl\n\ngl.exercise("levels/x")\nimport os',
        'import os\nimport gainlib as gl\n\ngl.exercise("levels/x")',
        'import gainlib as gl\n\ngl.exercise("levels/x"); print(1)',
        'import gainlib as gl\n\ngl.exercise("" + __import__("os").name + "")',
        'import gainlib as gl\n\ngl.exercise("x\\" + print(1) + \\"y")',
        'import gainlib as gl\n\ngl.exercise("x\ny")',
        'import gainlib as gl\n\ngl.exercise("/home/ada/evil.toml")',
        'import gainlib as gl\n\ngl.exercise(f"{print(1)}")',
        'import gainlib as gl\n\ngl.bench("levels/x")',
    ],
)
def test_and_no_page_that_does_anything_else(code):
    assert not KNOWN.match(code)


def test_the_way_back_leads_out_of_the_folder_of_what_is_set():
    assert f"(?:{FOLDER}\\/" in SCRIPT
