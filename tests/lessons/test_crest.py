"""Wherever crest is spoken of, the bench shows it as a figure, and no text takes two lines' distance for it."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.exercises import exercise_names, load
from gainlib.storage import bundled_folder

LESSONS, EXERCISES, MEDIA = (bundled_folder(name) for name in ("lessons", "exercises", "media"))
SPEAKS = re.compile(r"(?i)\bcrest(_db| factor| of the| is|,)")
RIGHT = re.compile(r"\+ 3\.0 dB|plain RMS|mathematical RMS")
COMPARES = re.compile(r"(?i)over (the|its|their) |from the RMS|distance|above the")


def texts():
    for path in sorted(LESSONS.glob("*.ipynb")):
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        yield path.name, "\n\n".join("".join(cell["source"]) for cell in cells)
    for path in [
        *sorted(EXERCISES.rglob("*.toml")),
        EXERCISES / "README.md",
        MEDIA / "README.md",
        LESSONS / "for-teachers.md",
    ]:
        yield path.name, path.read_text(encoding="utf-8")


def wrong_sentences(text):
    """Sentences that speak of crest and compare with the RMS, without the 3 dB or the plain RMS."""
    sentences = re.split(r"(?<=[.?:!])\s+|\n\n|\n(?=[|\w])", re.sub(r"[*`]", "", text))
    return [each for each in sentences if re.search(r"(?i)\bcrest", each) and "RMS" in each and COMPARES.search(each)
            and not RIGHT.search(each)]  # fmt: skip


@pytest.mark.parametrize(("name", "text"), [pytest.param(*each, id=each[0]) for each in texts()])
def test_no_text_takes_the_distance_of_two_lines_for_the_crest_factor(name, text):
    assert wrong_sentences(text) == []


def test_the_search_finds_the_sentences_that_stood_there_once():
    for once in (
        "What a limiter takes is the distance from the RMS to the peak, the crest.",
        "(The *crest factor* under it is the way from the RMS up to the peak.)",
        "Bring the crest factor, which is how far the peak stands over the RMS, to 11.5 dB.",
    ):
        assert wrong_sentences(once)


def test_a_bench_shows_the_figure_wherever_an_exercise_speaks_of_crest():
    speaking = [name for name in exercise_names() if SPEAKS.search(load(name).file.read_text(encoding="utf-8"))]
    assert len(speaking) >= 3
    for name in speaking:
        assert "crest factor" in load(name).spec.given.views, name


def test_a_lesson_that_speaks_of_crest_has_a_bench_that_shows_it():
    speaking = [(name, text) for name, text in texts() if re.match(r"\d\d-.*ipynb$", name) and SPEAKS.search(text)]
    assert len(speaking) >= 4
    for name, text in speaking:
        assert re.search(r'views=\[[^\]]*"crest factor"', text), name
