"""A lesson as a page: what it shows, what it asks nobody for, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import gainlib as gl
from gainlib.exercises import author_answer, load
from gainlib.html.lesson_page import lesson_page
from gainlib.storage import bundled_folder

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")

CELL = """\
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)
chain = [gl.Source(-30.0), gl.Preamp(52.0), gl.Converter("EBU R 68"), gl.Fader()]
session = gl.Session.of(gl.Audio(sine, 48_000), chain, name="voice")
gl.bench(session, controls=["preamp/gain_db", "converter/alignment", "fader/muted"], views=["level diagram"])"""


ASKED = """\
import gainlib as gl
gl.predict("shout")"""
COMPARED = """\
gl.compare("shout", 4.25)"""


def written(folder, *cells, tools=()):
    made = {
        "cells": [
            {
                "cell_type": "code", "id": f"c{index}", "execution_count": None, "outputs": [], "source": cell,
                "metadata": {"tags": ["tool"]} if cell in tools else {},
            }
            for index, cell in enumerate(cells)
        ],
        "metadata": {}, "nbformat": 4, "nbformat_minor": 5,
    }  # fmt: skip
    path = folder / "lesson.ipynb"
    path.write_text(json.dumps(made))
    return path


@pytest.fixture(scope="module")
def text(tmp_path_factory):
    """One lesson with a bench, two exercises and a survey, executed once and written as a page."""
    folder = tmp_path_factory.mktemp("lesson")
    kinds = Path(__file__).parents[1] / "benches" / "kinds"
    exercises = [f'gl.exercise(r"{kinds / name}.toml", "ada")' for name in ("read-the-verse", "in-order")]
    # What nbconvert, a kernel and Python would take from the folder that the command is called in.
    here = tmp_path_factory.mktemp("planted")
    said = here / "said"
    for place in (here / "basic", here / "base"):
        place.mkdir()
        (place / "conf.json").write_text('{"base_template": "base", "mimetypes": {"text/html": true}}')
        (place / "index.html.j2").write_text("planted")
    for place in (here, folder):
        (place / "bokeh.py").write_text(f"open({str(said)!r}, 'w')")
    monkeypatch = pytest.MonkeyPatch()
    monkeypatch.chdir(here)
    surveyed = f"gl.survey({str(bundled_folder('media') / 'kick.flac')!r}, workers=1)"
    cells = (CELL, *exercises, surveyed, ASKED, COMPARED)
    page = lesson_page(written(folder, *cells, tools=[ASKED]), folder / "page.html").read_text()
    monkeypatch.undo()
    assert not said.exists()
    assert "planted" not in page
    return page


def shown(page):
    """What a reader of a page sees: no script, no style, no mark, nothing that is folded."""
    page = re.sub(r"(?s)<(script|style)\b.*?</\1>|<summary>.*?</details>", "", page)
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_a_learners_page_folds_the_answers_and_leaves_out_the_code_of_tools(text):
    seen = shown(text)
    assert seen.count("How far above the verse will the shout peak?") == 2  # asked, and asked again at its answer
    assert "predict" not in seen.split()
    assert "compare" in seen.split()
    assert "Measured: 4.2 dB." in text
    assert "Measured: 4.2 dB." not in seen


def test_a_teachers_page_has_no_code_and_all_answers(tmp_path):
    named = ("recording/leave-room", "meters/which-is-louder")
    cells = (ASKED, COMPARED, *(f'gl.exercise("{each}", "ada")' for each in named))
    page = shown(lesson_page(written(tmp_path, *cells), tmp_path / "page.html", answers=True).read_text())
    assert not {"import", "predict", "compare"} & set(page.split())
    assert "How far above the verse will the shout peak? Measured: 4.2 dB." in page
    room, order = (author_answer(load(each).variant("ada")) for each in named)
    told = f"An answer that passes, for these numbers Preamp gain: +{room['voice/preamp/gain_db']:.1f} dB"
    assert told in page
    assert f": {', '.join(order['order'])}" in page


def test_the_page_holds_the_sentences_the_settings_and_the_drawn_levels(text):
    # -48 + 52 dB is 4 dB over: each of the 2 x 997 half waves is cut
    assert "<strong>The converter clips 1994 times.</strong>" in text
    for line in ("Preamp gain: 52.0 dB", "Converter alignment: +18 dBu, EBU R 68", "Fader muted: no"):
        assert f"<p>{line}</p>" in text
    content = json.loads(re.search(r"<script type=.application/json.>(.*?)</script>", text).group(1))
    assert content["columns"]["band"]["peak"][2] == pytest.approx(4.0, abs=0.05)
    # Whatever the page itself would load: nothing. (BokehJS names addresses in its text that it does not ask.)
    before_bokeh = text[: text.index("data-gainlib")] + text[text.index("</script></div>") :][:3000]
    assert not re.search(r"<(script|link|img)[^>]+(src|href)=[\"']https?:", before_bokeh)


def test_questions_and_candidates_of_an_exercise_are_written_out(text):
    for line in (
        "Peak of the verse: … dBFS",
        "When the converter clips first: … s",
        "The quietest first: … A or B or C",
    ):
        assert f"<p>{line}</p>" in text
    assert "<strong>Hear A, B and C, then answer below.</strong>" in text


def test_a_survey_stands_on_the_page_with_its_sheet(text):
    assert "as_moved() adds up the whole files again" in text
    assert "data-gainlib" in text


def test_a_widget_that_cannot_stand_on_a_page_is_named(tmp_path):
    lesson = written(tmp_path, "import ipywidgets; ipywidgets.VBox([ipywidgets.FloatSlider()])")
    with pytest.raises(
        gl.GainError, match=r"a widget of the lesson cannot stand on a page: a FloatSlider has no static"
    ):
        lesson_page(lesson, tmp_path / "page.html")


def test_what_cannot_be_is_refused_in_words(tmp_path):
    lesson = written(tmp_path, "1 / 0")
    with pytest.raises(gl.GainError, match="a cell of lesson.ipynb failed: ZeroDivisionError: division by zero"):
        lesson_page(lesson, tmp_path / "page.html")
    (tmp_path / "page.html").write_text("mine")
    with pytest.raises(gl.GainError, match="page.html is there already"):
        lesson_page(lesson, tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text() == "mine"
