"""What a test of a lesson's claims quotes stands in the lesson: a rewritten sentence must meet its test again."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from gainlib.storage import lesson_files, lesson_name

LEFT_OUT = re.compile(r"\[\.\.\.\]|\.\.\.|…")
LESSONS = list(lesson_files().values())


def plain(text: str) -> str:
    """The words alone: no markup, no line breaks, no capitals."""
    return " ".join(re.sub(r"[*_`]", "", text).split()).lower()


def quotes_of(source: str) -> list[str]:
    """What the docstrings of tests have between double quotes; what was left out (...) parts a quotation in two."""
    tests = [each for each in ast.walk(ast.parse(source)) if isinstance(each, ast.FunctionDef)]
    told = [ast.get_docstring(each) or "" for each in tests if each.name.startswith("test_")]
    quoted = [part for each in told for found in re.findall(r'"([^"]+)"', each) for part in LEFT_OUT.split(found)]
    return [plain(each).strip(" .,") for each in quoted if plain(each).strip(" .,")]


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_what_is_quoted_stands_in_the_lesson(path, lesson_text):
    claims = Path(__file__).with_name(f"test_claims_{lesson_name(path.name).replace('-', '_')}.py")
    quotes = quotes_of(claims.read_text(encoding="utf-8"))
    text = plain(lesson_text(lesson_name(path.name)))
    assert len(quotes) >= 5
    assert [each for each in quotes if each not in text] == []


def test_quotations_are_read_from_docstrings_only():
    source = '''
def test_one():
    """Read: "The *pad* is\\n    louder", and "far [...] below."."""
    assert "not this"


def helper():
    """ "nor this" """
'''
    assert quotes_of(source) == ["the pad is louder", "far", "below"]
