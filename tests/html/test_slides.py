"""A lesson as slides: one idea each with its picture, whole paragraphs, no exercise, no answer unasked."""

from __future__ import annotations

import re

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from gainlib.html.figures import figure_html
from gainlib.html.slides import IN_THE_ROOM, MOST_LETTERS, lesson_slides, slides_of
from gainlib.storage import bundled_folder, lesson_files

SPEC = '{"doc": {"roots": [{"attributes": {"height": 200, "x": {"height": 12}}}]}}'
PICTURE = str(figure_html(SPEC, {}, "Levels"))
LONG = "One sentence that goes on for a while about levels and what they mean. " * 5


def shown(html, kind="text/html"):
    cell = new_code_cell("gl.bench()")
    cell.outputs = [new_output("display_data", {kind: html})]
    return cell


@pytest.fixture
def slides():
    still = (
        f"<p><strong>Nothing clips.</strong></p>{PICTURE}<p>Source: peak −3 dBFS.</p><p>Gain: 3 dB</p>"
        f'<p class="gainlib-remark">RMS is AES17.</p><p><strong>Waveform</strong></p>{PICTURE}<p>The peaks.</p>'
    )
    lesson = new_notebook(cells=[
        new_markdown_cell("# Set a level\nAbout 30 minutes. After this lesson you can\n\n- set it,\n- say why."),
        new_code_cell("import gainlib as gl"),
        new_markdown_cell("## Predict\nGuess."),
        shown("<p><strong>How far?</strong></p><details><summary>Show me</summary><p>10 dB.</p></details>"),
        shown("The shout wanted **10 dB**.", "text/markdown"),
        new_markdown_cell(f"## Move\n{LONG}\n\n{LONG}\n\nShort."),
        shown(still),
        shown(f'<p><strong>Again.</strong></p>{PICTURE}<p class="gainlib-remark">RMS is AES17.</p>'),
        new_markdown_cell("After the picture.\n\nWithout a mouse: the key **Tab** goes on."),
        new_markdown_cell("## Check\nNow you."),
        shown("<h3>Leave room</h3><p><strong>Secret.</strong></p>"),
        new_markdown_cell("## In one breath\n- Leave room."),
        new_markdown_cell("## Sources\n- A book."),
    ])  # fmt: skip
    return slides_of(lesson)


def test_each_picture_has_a_slide_of_its_own_headed_by_its_sentence(slides):
    drawn = [each for each in slides if each.picture]
    assert [re.sub("<[^>]+>", "", each.html) for each in drawn] == ["Nothing clips.", "Waveform", "Again."]
    assert [each.note for each in drawn] == ["RMS is AES17.", IN_THE_ROOM["Move"], IN_THE_ROOM["Move"]]
    assert all(each.picture.count("data-gainlib") == 1 for each in drawn)
    # 200 is drawn 1.3 times as high, as SVG; what is small inside the figure stays.
    assert '"output_backend": "svg", "height": 260' in drawn[0].picture
    assert '"height": 12' in drawn[0].picture


def test_the_parts_stand_in_order_and_what_is_for_the_learner_s_page_is_left_out(slides):
    assert list(dict.fromkeys(each.part for each in slides)) == ["Set a level", "Predict", "Move", "In one breath"]
    everything = " ".join(each.html + each.picture for each in slides)
    for left_out in ("Secret", "Now you", "A book", "Gain: 3 dB", "Source: peak", "import gainlib", "mouse"):
        assert left_out not in everything


def test_no_paragraph_is_cut_and_no_slide_overflows_with_text(slides):
    texts = [each for each in slides if not each.picture]
    assert all(len(each.blocks) == 1 or each.letters <= MOST_LETTERS for each in texts)
    assert sum(each.html.count(LONG.strip()) for each in texts) == 2


def test_an_answer_is_folded_until_it_is_asked_for(slides):
    (asked,) = [each for each in slides if "How far?" in each.html]
    assert "<details><summary>Show me</summary>" in asked.html


def test_what_a_cell_says_stands_on_the_slide_after_the_folded_answer(slides):
    (said,) = [at for at, each in enumerate(slides) if "The shout wanted <strong>10 dB</strong>." in each.html]
    assert "How far?" in slides[said - 1].html
    assert "<details>" not in slides[said].html


def test_a_lesson_of_the_course_becomes_slides_that_ask_nothing_of_the_net(tmp_path):
    file = lesson_files(bundled_folder("lessons"))["work-with-decibels"]
    page, count = lesson_slides(file, tmp_path / "slides.html")
    text = page.read_text(encoding="utf-8")
    assert count == text.count('<section class="slide')
    assert count > 10
    outside = re.sub(r'<script type="text/plain" id="packed">.*?</script>', "", text, flags=re.S)
    assert not re.search(r'(src|href)="https?://', re.sub(r'<a href="[^"]*"', "", outside))
    assert nbformat.read(file, 4).cells[0].source.splitlines()[0].removeprefix("# ") in text


def slides_after(*html):
    return slides_of(
        new_notebook(cells=[new_markdown_cell("# Set a level"), new_markdown_cell("## Move"), *map(shown, html)])
    )


def test_the_sentence_on_top_of_a_bench_stands_with_its_picture_below_a_heading_too():
    text = f"<p><strong>First.</strong> {LONG}</p>"
    *_, before, drawn = slides_after(
        text, f"<p><strong>Nothing clips.</strong></p><p><strong>Curve</strong></p>{PICTURE}"
    )
    assert (before.blocks, drawn.blocks) == (
        [text], ["<p><strong>Nothing clips.</strong></p>", "<p><strong>Curve</strong></p>"],
    )  # fmt: skip
    assert '"height": 260' in drawn.picture


def test_a_folded_answer_stands_with_its_question():
    question, answer = "<p><strong>How far?</strong></p>", f"<details><summary>Show me</summary><p>{LONG}</p></details>"
    *_, before, asked = slides_after(f"<p><strong>First.</strong> {LONG}</p>", question + answer)
    assert len(before.blocks) == 1
    assert asked.blocks == [question, answer]
