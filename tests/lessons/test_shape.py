"""Every lesson has its parts, short cells, one import and no outputs; each part runs after the import cell alone."""

from __future__ import annotations

import ast
import builtins
import json
import re
from collections.abc import Iterator

import pytest

from gainlib.storage import bundled_folder, lesson_files
from gainlib.widgets.course_questions import course_questions

LESSONS = list(lesson_files().values())
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


def hard_to_read(code):
    """What keeps a person who is no programmer from reading a cell aloud."""
    hard = {
        ast.JoinedStr: "a formatted text", ast.comprehension: "a comprehension", ast.For: "a loop", ast.If: "a branch",
        ast.Dict: "a table in braces", ast.Starred: "a star",
    }  # fmt: skip
    found = {name for node in ast.walk(ast.parse(code)) for kind, name in hard.items() if isinstance(node, kind)}
    found |= {each for each in (".replaced(", ".printed(") if each in code}
    return found | ({"more than 4 lines"} if len(code.splitlines()) > 4 else set())


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_cell_only_makes_a_tool_and_is_folded_or_can_be_read_aloud(path):
    for cell in cells_of(path):
        if cell["cell_type"] == "code" and "tool" not in cell["metadata"].get("tags", []):
            assert hard_to_read(source(cell)) == set(), source(cell)


def test_a_cell_that_is_hard_to_read_is_seen():
    assert hard_to_read('print(f"{1:.1f}", [a for a in b], {})') == {
        "a formatted text",
        "a comprehension",
        "a table in braces",
    }
    assert hard_to_read("session.replaced(x)") == {".replaced("}
    assert hard_to_read("a\n" * 5) == {"more than 4 lines"}
    assert hard_to_read('mine = gl.read(r"take.wav")\nprint(gl.tell(mine, "peak_dbfs"))') == set()


def calls_of(path, name):
    """The arguments of each call of `gl.NAME` in a lesson's code."""
    trees = [ast.parse(source(cell)) for cell in cells_of(path) if cell["cell_type"] == "code"]
    calls = [node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.Call)]
    return [call.args for call in calls if ast.unparse(call.func) == f"gl.{name}"]


def test_each_question_is_asked_once_and_compared_once_in_one_lesson():
    for name in ("predict", "compare"):
        named = [args[0].value for path in LESSONS for args in calls_of(path, name)]
        assert sorted(named) == sorted(course_questions())


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_no_cell_holds_the_answer_to_a_prediction(path):
    for args in calls_of(path, "compare"):
        question = course_questions()[args[0].value]
        # What is measured is measured, and not written down.
        assert all(not isinstance(each, ast.Constant) for each in args[1:])
        assert len(args) == (1 if question.answer is not None else 2)
    code = "\n".join(source(cell) for cell in cells_of(path) if cell["cell_type"] == "code")
    for each in course_questions().values():
        for choice in each.choices:
            assert choice not in code


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_no_figure_stands_above_the_answer_that_it_gives_away(path):
    """A page holds back what stands below an answer that is not shown yet, so no figure is in its cell or above it."""
    part = ""
    for cell in cells_of(path):
        if head := re.match(r"## (.+)", source(cell)):
            part = head[1].strip()
        compares = "gl.compare(" in source(cell)
        if cell["cell_type"] == "code" and (compares or part == "Read"):
            assert not re.search(r"print\(|gl\.(say|tell)\(", source(cell)), source(cell)
        if compares:
            part = ""


def parts_of(path):
    setup, part, parts = [], None, {}
    for cell in cells_of(path):
        head = re.match(r"## (.+)", source(cell)) if cell["cell_type"] == "markdown" else None
        if head:
            part = head[1].strip()
        elif cell["cell_type"] == "code":
            (setup if part is None else parts.setdefault(part, [])).append(source(cell))
    return setup, parts


def in_order(body: list[ast.stmt]) -> Iterator[ast.AST]:
    """What is read and given, one after the other: of a loop, what it runs over, its variable, then its body."""
    for statement in body:
        if isinstance(statement, ast.For):
            yield from (statement.iter, statement.target)
            yield from in_order(statement.body)
        else:
            yield statement


def names_missing(cells: list[str], known: set[str]) -> set[str]:
    """The names that code cells use before one of them gives them, beside those that are known."""
    known, missing = known | set(dir(builtins)), set()
    for statement in (each for text in cells for each in in_order(ast.parse(text).body)):
        names = [node for node in ast.walk(statement) if isinstance(node, ast.Name)]
        # The loop variable of a comprehension is given where it stands; elsewhere the right side is read first.
        inside = {
            target.id
            for node in ast.walk(statement)
            if isinstance(node, ast.comprehension)
            for target in ast.walk(node.target)
            if isinstance(target, ast.Name)
        }
        missing |= {name.id for name in names if isinstance(name.ctx, ast.Load)} - known - inside
        known |= {name.id for name in names if isinstance(name.ctx, ast.Store)}
        known |= {
            alias.asname or alias.name
            for node in ast.walk(statement)
            if isinstance(node, ast.Import)
            for alias in node.names
        }
    return missing


@pytest.mark.parametrize(
    ("path", "part"),
    [pytest.param(path, part, id=f"{path.stem}-{part}") for path in LESSONS for part in parts_of(path)[1]],
)
def test_each_part_runs_after_the_import_cell_alone(path, part):
    setup, parts = parts_of(path)
    assert names_missing([*setup, *parts[part]], set()) == set()


def test_a_name_of_another_part_is_seen():
    assert names_missing(["import gainlib as gl", "a = [b for b in gl.measures()]", "a"], set()) == set()
    assert names_missing(["x = y", "y = 1"], set()) == {"y"}
    assert names_missing(["total = total + 1"], set()) == {"total"}
