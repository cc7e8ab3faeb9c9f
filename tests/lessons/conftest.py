"""The lessons' own text, and what its numbers rest on: a reckoning on paper, or a reading of our own.

A test of a lesson's claims uses the fixture `reckoned` (the lesson's number and the library's reading are both compared
with a calculation that calls nothing of the library), or it uses the fixture `own_reading` or bears the marker
`reading_of_our_own` (the number is what the library read). The terminal summary counts both.
"""

from __future__ import annotations

import functools
import json
import os
import re
import sys
import tomllib
from pathlib import Path

import pytest

import gainlib as gl
from gainlib.learners import media_choice
from gainlib.media_sets import read_media_set
from gainlib.storage import bundled_folder, lesson_files

# Where `reckoning` lies, the calculations that the tests of claims share.
sys.path.insert(0, str(Path(__file__).parent))

# Another set than the bundled one: then a claim must hold that stands in the lesson's text itself. What a cell says of
# its takes is measured there anew.
OTHER_TAKES = os.environ.get("GAINLIB_CLAIMS_TAKES")
if OTHER_TAKES:
    media_choice.chosen_takes = lambda _start=None: read_media_set(OTHER_TAKES)

_RECKONED, _READ = "reckoned", "readings of our own"
_CLAIMS = pytest.StashKey[dict]()


def pytest_configure(config):
    config.stash[_CLAIMS] = {}
    for marker in (
        "reading_of_our_own(count=1): claims of a lesson that rest on the library's own reading",
        "holds_the_text: keeps the chain of the test the one of the lesson; no claim in numbers",
    ):
        config.addinivalue_line("markers", marker)


def pytest_collection_modifyitems(items):
    """Every test of a lesson's claims says what its numbers rest on."""
    for item in items:
        if not item.path.name.startswith("test_claims_") or item.path.parent != Path(__file__).parent:
            continue
        marked = item.get_closest_marker("reading_of_our_own") or item.get_closest_marker("holds_the_text")
        if not marked and not {"reckoned", "own_reading"} & set(item.fixturenames):
            raise pytest.UsageError(f"{item.nodeid} neither reckons nor says that it is a reading of our own.")


def _count(request, kind, claims=1):
    lesson = request.path.stem.removeprefix("test_claims_").replace("_", "-")
    counts = request.config.stash[_CLAIMS].setdefault(lesson, {_RECKONED: 0, _READ: 0})
    counts[kind] += claims


@pytest.fixture(autouse=True)
def _marked_readings(request):
    marker = request.node.get_closest_marker("reading_of_our_own")
    if marker:
        _count(request, _READ, marker.kwargs.get("count", 1))


def _plain(text):
    return " ".join(re.sub(r"[*_`]", "", text).split()).lower()


def _stands_written(request, quote):
    """Whether a claim is looked at: on another set only what the lesson says whatever the takes are."""
    return not OTHER_TAKES or _plain(quote) in _plain(_text_of(request.module.LESSON, said=False))


def _require_said(quote, said, text):
    """The quotation stands in the lesson, and the number in the quotation, where it is written in digits."""
    if OTHER_TAKES:
        return
    assert _plain(quote) in _plain(text), f"the lesson does not say {quote!r}"
    if isinstance(said, bool) or not re.search(r"\d", quote):
        return
    numbers = [float(each.replace("−", "-").replace(" ", "")) for each in re.findall(r"[-−]?\d+(?:\.\d+)?", quote)]
    assert min((abs(abs(each) - abs(said)) for each in numbers), default=1) < 1e-9, f"{quote!r} does not say {said}"


@pytest.fixture
def reckoned(request, lesson_text):
    """Compare a lesson's number, and the library's reading, with paper: `reckoned(quote, said, paper, reading, ...)`.

    `within` is how near the number in the text must be, `near` the reading (as near as the number, unless given).
    `source` names what the paper rests on. A claim without a number has True for it.
    """

    def compare(quote, said, paper, reading=None, *, within=0.05, near=None, source):
        assert source
        if not _stands_written(request, quote):
            return
        _require_said(quote, said, lesson_text(request.module.LESSON))
        if isinstance(said, bool):
            assert bool(paper) is said, f"{quote!r} is not so on paper"
            assert reading is None or bool(reading) is said, f"{quote!r} is so on paper and not in the reading"
        else:
            assert said == pytest.approx(paper, abs=within), f"{quote!r}: paper has {paper}"
            assert reading is None or reading == pytest.approx(paper, abs=within if near is None else near)
        _count(request, _RECKONED)

    return compare


@pytest.fixture
def own_reading(request, lesson_text):
    """Compare a lesson's number with the library's reading, where no calculation stands beside it."""

    def compare(quote, said, reading, *, within=0.05):
        if not _stands_written(request, quote):
            return
        _require_said(quote, said, lesson_text(request.module.LESSON))
        assert reading == pytest.approx(said, abs=within)
        _count(request, _READ)

    return compare


def pytest_terminal_summary(terminalreporter, config):
    counts = config.stash.get(_CLAIMS, {})
    if counts:
        terminalreporter.section("what the lessons' numbers rest on")
        for lesson in [each for each in lesson_files() if each in counts]:
            numbers = counts[lesson]
            terminalreporter.write_line(f"{lesson:24} {numbers[_RECKONED]:3} reckoned, {numbers[_READ]:3} {_READ}")
        reckoned_, read = (sum(each[kind] for each in counts.values()) for kind in (_RECKONED, _READ))
        terminalreporter.write_line(f"{reckoned_} of {reckoned_ + read} claims are reckoned, the others are {_READ}")


def _cells(name: str) -> list[dict]:
    return json.loads(lesson_files()[name].read_text(encoding="utf-8"))["cells"]


def said_by_cells(name: str) -> list[str]:
    """What the cells of a lesson say with `gl.say`, on the takes that it is taught on; each part by itself."""
    said: list[str] = []
    setup, part = [], []

    def run(code):
        if any("gl.say(" in each for each in code):
            given: dict = {}
            for each in code:
                exec(each, given)

    def kept(text, **figures):
        said.append(say(text, **figures).text)

    say, gl.say = gl.say, kept
    try:
        for cell in [*_cells(name), {"cell_type": "markdown", "source": "## "}]:
            source = "".join(cell["source"])
            if cell["cell_type"] == "markdown" and source.startswith("## "):
                run([*setup, *part] if part else [])
                setup, part = setup or part, []
            elif cell["cell_type"] == "code" and "gl.exercise(" not in source:
                part.append(source)
    finally:
        gl.say = say
    return said


def _asked(cells: str) -> list[str]:
    questions = tomllib.loads((bundled_folder("lessons") / "predictions.toml").read_text(encoding="utf-8"))
    asked = [questions[each] for each in re.findall(r'gl\.predict\("([^"]+)"\)', cells)]
    return [text for each in asked for text in [each["question"], *each.get("choices", [])]]


@functools.cache
def _text_of(name: str, *, said: bool) -> str:
    cells = "\n".join("".join(cell["source"]) for cell in _cells(name))
    return "\n".join([cells, *_asked(cells), *(said_by_cells(name) if said else [])])


@pytest.fixture(scope="session")
def lesson_text():
    """The whole text of a lesson, its cells, what they say of its takes, and the questions, by its name."""
    return lambda name: _text_of(name, said=True)


@pytest.fixture(scope="session")
def lesson_start():
    """The names that the first code cell of a lesson gives: its recording and its chain, by the lesson's name."""

    def names(name: str) -> dict:
        notebook = json.loads(lesson_files()[name].read_text(encoding="utf-8"))
        first = next(cell for cell in notebook["cells"] if cell["cell_type"] == "code")
        given: dict = {}
        exec("".join(first["source"]), given)
        return given

    return names
