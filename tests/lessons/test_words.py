"""Plain trade words in what a learner reads: lessons, glossary, questions, notes for teachers, exercises."""

from __future__ import annotations

import ast
import json
import re
from pathlib import Path

import pytest

import gainlib
from gainlib.storage import bundled_folder

# What nobody in the trade says -> what is said instead.
STILTED = {
    # Also a word of the exercise files, in quotes or before an equals sign.
    r"(?<![\"'])\breckon\w*\b(?! *=)": "work out",
    r"\bbanks?\b": "ceiling",
    r"\btorn\b(?![-\"])": "distorted, clipped",
    r"(?<!flat )(?<!flat_)(?<!flat-)\btops\b": "peaks",
    r"\bfor (it|she|he|they) (looks?|was|is|were)\b": "because",
    r"\bas chance will have it\b": "by chance",
    r"\bworking point\b": "say what it marks",
    r"\bwhat hits\b": "drums",
    r"\bshall\b": "should, must",
    r"\bturn(s|ed)? (one side over|over|upside down)\b": "invert the polarity",
    r"\bstrangers?\b": "unrelated tracks",
    r"\bcounts? in floating point\b": "works in floating point",
    r"\bin place of\b": "instead of",
    r"\banew\b": "again",
    r"\bat last\b": "last, in the end",
    r"\b(at|to) one (loudness|level|height)\b(?! of)": "the same",
    r"\bwho (moves|adds|has) the\b": "if you",
    r"\b(picture|faders?|limiter|compressor|meter|line)s? tells?\b(?! (you|the rest))": "shows",
    r"\bthree samples and more\b": "or more",
}
LESSONS, EXERCISES = bundled_folder("lessons"), bundled_folder("exercises")
FILES = [*LESSONS.glob("*.ipynb"), *LESSONS.glob("*.md"), *LESSONS.glob("*.toml"), *EXERCISES.glob("*/*.toml")]
FILES += Path(gainlib.__file__).parent.glob("authoring/templates/*.toml")


def read_by_a_person(path):
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".ipynb":
        return text
    return "\n".join("".join(each["source"]) for each in json.loads(text)["cells"] if each["cell_type"] == "markdown")


def stilted(text):
    words = " ".join(text.split())
    return {found[0]: said for word, said in STILTED.items() for found in re.finditer(word, words, re.IGNORECASE)}


@pytest.mark.parametrize("path", sorted(FILES), ids=lambda path: path.stem)
def test_words_are_those_of_the_trade(path):
    assert stilted(read_by_a_person(path)) == {}


def test_a_stilted_word_is_seen_and_a_flat_top_is_none():
    assert stilted("The hatched bank holds 5 flat tops, torn\nas chance will have it.").keys() == {
        "bank",
        "torn",
        "as chance will have it",
    }


@pytest.mark.parametrize("path", sorted(LESSONS.glob("[0-9]*.ipynb")), ids=lambda path: path.stem)
def test_the_sentence_on_ears_stands_once_in_a_lesson_and_no_cell_asks_to_change_a_text_that_is_no_path(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    said = read_by_a_person(path).partition("## Sources")[0]
    assert said.count("*Your ears:*") <= 1
    assert "NIOSH" in read_by_a_person(path)
    asked = ["".join(each["source"]) for each in cells if "tool" not in each["metadata"].get("tags", [])]
    assert not [each for each in asked if re.search(r"""gl\.learner\(|(?<!r)""\)""", each)]


def said_by(path):
    """What a file of the library may say to a person: its texts of four words and more, but no docstring."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    alone = {id(each.value) for each in ast.walk(tree) if isinstance(each, ast.Expr)}
    texts = [each.value for each in ast.walk(tree) if isinstance(each, ast.Constant) and id(each) not in alone]
    said = "\n".join(each for each in texts if isinstance(each, str) and each.count(" ") >= 3)
    return said.replace(", reckon,", ",")  # a kind of exercise, among its like


@pytest.mark.parametrize(
    "room", ["views", "benches", "widgets", "exercises", "learners", "surveys", "classroom", "cli"]
)
def test_words_of_sentences_and_commands_are_those_of_the_trade(room):
    files = sorted((Path(gainlib.__file__).parent / room).rglob("*.py"))
    found = {file.name: stilted(said_by(file)) for file in files}
    assert {name: words for name, words in found.items() if words} == {}
