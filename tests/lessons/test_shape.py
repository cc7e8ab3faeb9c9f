"""Every lesson has its parts, short cells, one import and no outputs; each part runs after the import cell alone."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.audio import bundled_folder

LESSONS = sorted(bundled_folder("lessons").glob("[0-9][0-9]-*.ipynb"))
NOTEBOOKS = sorted(bundled_folder("lessons").glob("*.ipynb"))
PARTS = ["Predict", "Move", "Read", "Listen", "Check", "In one breath", "On your own session", "Sources"]


def cells_of(path):
    return json.loads(path.read_text(encoding="utf-8"))["cells"]


def source(cell):
    return "".join(cell["source"])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_stripped_and_its_cells_are_short(path):
    for cell in cells_of(path):
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            assert cell["execution_count"] is None
            assert len(source(cell).splitlines()) <= 10, source(cell)
            assert not re.search(r"\bdef\b|\blambda\b|\bclass\b", source(cell))


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_a_lesson_has_its_parts_in_order_and_one_import(path):
    heads = [re.match(r"## (.+)", source(cell)) for cell in cells_of(path) if cell["cell_type"] == "markdown"]
    assert [head[1].strip() for head in heads if head] == PARTS
    imports = [
        line for cell in cells_of(path) for line in source(cell).splitlines() if re.match(r"\s*(import|from)\s", line)
    ]
    assert imports == ["import gainlib as gl"]
    assert re.search(r"dBA", "".join(source(cell) for cell in cells_of(path))), "the listening caution is missing"


def parts_of(path):
    setup, part, parts = [], None, {}
    for cell in cells_of(path):
        head = re.match(r"## (.+)", source(cell)) if cell["cell_type"] == "markdown" else None
        if head:
            part = head[1].strip()
        elif cell["cell_type"] == "code":
            (setup if part is None else parts.setdefault(part, [])).append(source(cell))
    return setup, parts


@pytest.mark.parametrize(
    ("path", "part"),
    [pytest.param(path, part, id=f"{path.stem}-{part}") for path in LESSONS for part in parts_of(path)[1]],
)
def test_each_part_runs_after_the_import_cell_alone(path, part, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    setup, parts = parts_of(path)
    names: dict[str, object] = {}
    for text in setup + parts[part]:
        exec(compile(text, f"{path.stem}/{part}", "exec"), names)
