"""How hard each lesson is to read: the Flesch-Kincaid grade of its prose, at most 8."""

from __future__ import annotations

import json
import re

import pytest
from textstat import textstat

from gainlib.storage import lesson_files

LONGEST_PARAGRAPH = 85  # words; tables and lists are no paragraphs
HARDEST_GRADE = 8.0
LESSONS = list(lesson_files().values())


def prose(markdown: str) -> str:
    """The running text: headings, tables, code, addresses and the Sources left out, each list entry a sentence."""
    markdown = re.split(r"(?m)^## Sources$", markdown)[0]
    markdown = re.sub(r"(?ms)^```.*?^```$", "", markdown)
    kept = []
    for line in markdown.splitlines():
        if re.match(r"\s*(#|\|)", line):
            kept.append("")
            continue
        entry = re.match(r"\s*(?:[-*]|\d+\.)\s+(.*)", line)
        if entry and kept and kept[-1] and kept[-1][-1] not in ".?!:":
            kept[-1] = kept[-1].rstrip(",;") + "."
        kept.append(entry[1] if entry else line.strip())
    text = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", "\n".join(kept))
    text = re.sub(r"`[^`]*`", "it", text)  # a path or a call is looked at, not read aloud
    text = re.sub(r"<[^>]*>|[*_]", "", text)
    text = re.sub(r"(?<=\d)\.(?=\d)", "", text)  # the point of a decimal ends no sentence
    # A paragraph that ends in a list's comma or a colon ends a sentence all the same.
    return " ".join(each.rstrip(",;:") + "." if each[-1] not in ".?!" else each for each in paragraphs(text))


def paragraphs(text: str) -> list[str]:
    return [joined for each in re.split(r"\n\s*\n", text) if (joined := " ".join(each.split()))]


def markdown_of(path) -> str:
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    return "\n\n".join("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")


def grade_of(path) -> float:
    return float(textstat.flesch_kincaid_grade(prose(markdown_of(path))))


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_a_lesson_is_easy_to_read(path):
    grade = grade_of(path)
    print(f"{path.stem}: grade {grade:.1f}")
    assert 0 < grade <= HARDEST_GRADE


@pytest.mark.parametrize("path", LESSONS, ids=lambda path: path.stem)
def test_no_paragraph_is_a_wall_of_words(path):
    assert [
        each
        for each in markdown_of(path).split("\n\n")
        if len(each.split()) > LONGEST_PARAGRAPH and each[0] not in "|-1"
    ] == []


def test_only_the_running_text_counts():
    assert (
        prose(
            "# Title\n\nOne [link](http://x.y/z), *so* at 9.3 s.\n\n| a |\n| - |\n\n- **set** it,\n- tell it\n\n"
            "```\ncode here\n```\n\nUse `gl.read(x)` now:\n\n## Sources\n\n- Not this."
        )
        == "One link, so at 93 s. set it. tell it. Use it now."
    )


def test_hard_prose_is_refused():
    hard = "Notwithstanding considerable instrumentation heterogeneity, practitioners characteristically overestimate."
    assert textstat.flesch_kincaid_grade(prose(hard)) > HARDEST_GRADE
    assert textstat.flesch_kincaid_grade(prose("The snare is loud. The pad is soft. You hear both.")) < 4
