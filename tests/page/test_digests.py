"""A page knows the course's own code: every lesson is marked."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from jupyterlab_server.config import get_federated_extensions

from gainlib import page
from gainlib.storage import lesson_files, lesson_name

ROOT = Path(__file__).parents[2]
NOTEBOOKS = [*lesson_files().values(), ROOT / "lessons" / "contents.ipynb"]
BOOK = ROOT / "exercises" / "exercise-book.ipynb"


def test_the_digest_is_that_of_the_cells_as_the_page_writes_them():
    # What JSON.stringify gives for these two texts, written out; the digest is sha256sum's.
    written = '["x = \\"ä\\"\\n","−3\u2028\\\\"]'
    assert page.code_digest(['x = "ä"\n', "−3\u2028\\"]) == hashlib.sha256(written.encode()).hexdigest()


@pytest.mark.parametrize("notebook", [*NOTEBOOKS, BOOK], ids=lambda each: each.stem)
def test_every_page_of_the_course_with_code_is_marked_and_known(notebook):
    made = json.loads(notebook.read_text(encoding="utf-8"))
    assert made["metadata"]["gainlib"] == {"lesson": True}
    code = ["".join(cell["source"]) for cell in made["cells"] if cell["cell_type"] == "code"]
    assert page.course_digests()[lesson_name(notebook.name) or notebook.name] == page.code_digest(code)


def test_what_is_said_to_those_whose_page_does_not_run_by_itself_stands_apart_and_says_the_same_everywhere():
    said = {}
    for notebook in [*NOTEBOOKS, BOOK]:
        for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
            if "by-hand" in cell["metadata"].get("tags", []):
                said.setdefault("".join(cell["source"]), []).append(notebook.stem)
    assert all("Shift + Enter" in text for text in said)
    lessons = [each.stem for each in NOTEBOOKS if each.stem != "contents"]
    assert sorted(said.values()) == sorted([lessons, ["contents"], ["exercise-book"]])


def test_one_changed_letter_is_another_code():
    made = json.loads(NOTEBOOKS[0].read_text(encoding="utf-8"))
    code = ["".join(cell["source"]) for cell in made["cells"] if cell["cell_type"] == "code"]
    assert page.code_digest([*code[:-1], code[-1] + " "]) not in page.course_digests().values()


def test_jupyterlab_finds_the_extension_and_every_file_that_it_names():
    found = get_federated_extensions([str(page.EXTENSIONS)])["gainlib"]
    folder = page.EXTENSIONS / "gainlib"
    assert (folder / found["jupyterlab"]["_build"]["load"]).is_file()
    schema = json.loads((folder / "schemas" / "gainlib" / "page.json").read_text(encoding="utf-8"))
    assert set(schema["properties"]) == {"showCode", "accepted"}
    assert (folder / "static" / "page.css").is_file()
