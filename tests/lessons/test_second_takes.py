"""Lessons that can be taught on a school's own takes, taught on other ones: they run, and what they say is so.

Of a claim whose words and figures stand in the text itself the test of the claims is run on the other takes too; what a
cell says of its takes is measured there anew. So a figure of the bundled takes that is left in a text is seen here.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from gainlib.learners import media_choice
from gainlib.media_sets import lesson_needs, read_media_set, taught_on
from gainlib.storage import lesson_files


@pytest.mark.parametrize("lesson", list(lesson_needs()))
def test_the_other_takes_do_for_each_lesson_and_it_runs_on_them(lesson, second_takes_folder, monkeypatch):
    media = read_media_set(second_takes_folder)
    assert taught_on(lesson, media).why == ""
    monkeypatch.setattr(media_choice, "chosen_takes", lambda _start=None: media)
    given: dict = {}
    for cell in json.loads(lesson_files()[lesson].read_text(encoding="utf-8"))["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "code" and "gl.exercise(" not in source:  # those keep the bundled takes
            exec(source, given)
    assert given["takes"].own


def test_what_stands_in_the_text_is_so_of_the_other_takes(second_takes_folder):
    claims = [Path(__file__).with_name(f"test_claims_{name.replace('-', '_')}.py") for name in lesson_needs()]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *map(str, claims)],
        env={**os.environ, "GAINLIB_CLAIMS_TAKES": str(second_takes_folder)},
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-6000:]
