"""What a lesson's page does by itself, and what it leaves to the learner."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

import gainlib

pytestmark = pytest.mark.browser

PACKAGE = Path(gainlib.__file__).parent

CELLS = (
    """\
import pathlib
import numpy as np
import gainlib as gl
with pathlib.Path("ran.txt").open("a") as file:
    file.write("x")
chain = [gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68")]
session = gl.Session.of(gl.Audio(np.sin(np.arange(48_000) / 8), 48_000), chain, name="voice")""",
    'gl.predict("far", "How far is it?", unit="dB")',
    'gl.bench(session, controls=["preamp/gain_db"])',
)
NAME = "own-lesson.ipynb"
READY = "() => { const panel = jupyterapp.shell.currentWidget; return panel?.gainlibReady && !panel.gainlibRuns; }"
STATE = """() => {
    const { content } = jupyterapp.shell.currentWidget;
    return [content.activeCellIndex, content.widgets.length, content.mode];
}"""
# How far below the window's upper edge the top of a cell's output is.
TOP = """(index) => {
    const { content } = jupyterapp.shell.currentWidget;
    const box = content.widgets[index].node.querySelector(".jp-Cell-outputWrapper");
    return box.getBoundingClientRect().top - content.outerNode.getBoundingClientRect().top;
}"""
# What is painted of a saved widget that has no kernel.
WATCH = """() => {
    window.seen = [];
    const look = () => {
        const found = document.body.innerText.match(/Error displaying widget|Loading widget/);
        if (found) window.seen.push(found[0]);
        requestAnimationFrame(look);
    };
    look();
}"""


def times_run(lab):
    file = lab.root / "ran.txt"
    return len(file.read_text()) if file.exists() else 0


@pytest.fixture
def own_lesson(lab, page, request):
    """A page that says it is a lesson, of code that is not the course's own; accepted by its button and run."""
    (lab.root / "ran.txt").unlink(missing_ok=True)
    # Another code in each test, since what was accepted once is not asked for again.
    lab.open(page, lab.write(NAME, *CELLS, f"'the end of {request.node.name}'", lesson=True))
    page.get_by_text("The code of this page is not the course's own").wait_for()
    page.wait_for_function(READY)
    assert times_run(lab) == 0
    assert page.locator(".gainlib-bench").count() == 0
    page.get_by_role("button", name="Run this page").click()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    assert times_run(lab) == 1
    lab.drawn(page, 1)
    return page


def test_strange_code_asks_first_and_a_page_saved_alive_shows_its_last_picture_until_it_lives(lab, own_lesson, keep):
    page = own_lesson
    page.wait_for_function("() => document.querySelector('.gainlib-picture').gainlibStill")
    page.evaluate("() => jupyterapp.commands.execute('docmanager:save').then(() => {})")
    saved = json.loads((lab.root / NAME).read_text())
    still = saved["cells"][2]["metadata"]["gainlib"]["still"]
    assert "dB" in still["said"][0]
    assert still["pictures"][0]["picture"].startswith("data:image/png;base64,")

    # Another code than the one that was accepted, and whoever made it wrote into the picture's words as well.
    accepted, saved["cells"][3]["source"] = saved["cells"][3]["source"], "'another end'"
    saved["cells"][2]["metadata"]["gainlib"]["still"]["said"].append("<img src=x onerror=\"document.title='got'\">")
    (lab.root / NAME).write_text(json.dumps(saved))
    page.evaluate(WATCH)
    lab.open(page, NAME)
    page.get_by_text("The code of this page is not the course's own").wait_for()
    page.get_by_text("This is how it stood when the page was saved.").wait_for()
    page.get_by_text("This comes back when the page runs.").wait_for()
    assert page.locator(".gainlib-page-still img").count() == 1
    assert page.get_by_text("<img src=x onerror").count() == 1
    assert page.title() != "got"
    keep(page, "page-still")
    assert page.evaluate("() => window.seen") == []
    assert (page.locator(".gainlib-bench").count(), times_run(lab)) == (0, 1)

    # The code that was accepted runs by itself.
    saved["cells"][3]["source"] = accepted
    (lab.root / NAME).write_text(json.dumps(saved))
    lab.open(page, NAME)
    page.locator(".gainlib-bench").wait_for(timeout=60_000)
    page.wait_for_function(READY)
    assert times_run(lab) == 2
    assert page.locator(".gainlib-page-still").count() == 0
    assert "Error displaying widget" not in page.evaluate("() => window.seen")


def test_shift_enter_shows_what_a_cell_brought_goes_on_from_a_field_and_ends_at_the_last_cell(lab, own_lesson):
    page = own_lesson
    page.set_viewport_size({"width": 1366, "height": 500})
    page.locator(".jp-CodeCell").nth(1).locator(".jp-InputPrompt").click()
    page.keyboard.press("Shift+Enter")
    # The output has the focus: the next Tab goes to its first control.
    page.wait_for_function("() => document.activeElement.matches('.jp-Cell-outputWrapper')")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.matches('.gainlib-prediction input')")
    page.keyboard.type("3,5")
    page.keyboard.press("Shift+Enter")
    page.wait_for_function(f"() => ({STATE})()[0] === 2 && document.activeElement.matches('.jp-Cell-outputWrapper')")
    page.get_by_text("Noted").wait_for()
    assert 0 <= page.evaluate(TOP, 2) <= 200
    page.keyboard.press("Shift+Enter")
    page.wait_for_function(f"() => ({STATE})()[0] === 3")
    assert page.evaluate(STATE) == [3, 4, "command"]
    page.keyboard.press("Shift+Enter")
    page.wait_for_function(f"() => ({STATE})().join() === '3,4,command'")
    page.wait_for_function("() => document.activeElement.matches('.jp-Cell')")
    page.keyboard.press("b")  # whoever wants a cell has one
    page.wait_for_function(f"() => ({STATE})()[1] === 5")


def test_a_kernel_that_was_started_anew_is_told_and_a_press_runs_the_page(lab, own_lesson):
    page = own_lesson
    page.evaluate("() => jupyterapp.shell.currentWidget.sessionContext.session.kernel.restart().then(() => {})")
    page.get_by_text("The kernel of this page was restarted").wait_for()
    page.get_by_role("button", name="Run this page").click()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    assert times_run(lab) == 2
    assert page.locator(".gainlib-bench:not(.gainlib-gone)").count() == 1


def test_run_all_leaves_the_page_where_its_reader_was(lab, own_lesson):
    page = own_lesson
    page.set_viewport_size({"width": 1366, "height": 500})
    page.locator(".jp-CodeCell").nth(1).locator(".jp-InputPrompt").click()
    page.mouse.wheel(0, 250)
    page.wait_for_function(
        f"() => Math.abs(({TOP})(2)) < 400 && jupyterapp.shell.currentWidget.content.outerNode.scrollTop > 100"
    )
    before = page.evaluate(TOP, 2)
    assert page.evaluate(STATE)[0] == 1
    page.evaluate("() => jupyterapp.commands.execute('notebook:run-all-cells').then(() => {})")
    page.locator(".gainlib-picture canvas").first.wait_for()
    page.wait_for_function(f"before => Math.abs(({TOP})(2) - before) < 4", arg=before)
    assert page.evaluate(STATE) == [1, 4, "command"]
    assert times_run(lab) == 2


def test_a_control_is_answered_between_the_cells_below_it(lab, page, busy_cell):
    make = CELLS[0] + f"\nbench = {CELLS[2]}\nmoves = []\nstop = bench.on_move(moves.append)\nbench"
    last = 'pathlib.Path("moves.txt").write_text(str(len(moves)))'
    lab.hold()
    lab.open(page, lab.write("answers.ipynb", make, busy_cell, last, lesson=True))
    page.get_by_role("button", name="Run this page").click()
    slider = page.get_by_role("slider", name="Preamp gain")
    slider.wait_for(timeout=60_000)
    lab.drawn(page, 1)  # though a cell below keeps the kernel busy
    slider.focus()
    page.keyboard.press("ArrowRight")
    lab.free()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    assert (lab.root / "moves.txt").read_text() == "1"


LIST = """\
import pathlib
with pathlib.Path("ran.txt").open("a") as file:
    file.write("x")"""
HAPPENED = 'window.dispatchEvent(new CustomEvent("gainlib-class"))'


@pytest.fixture
def list_page(lab, page, busy_cell, request):
    """A strange page with a list that is made again when something happened, and below it what may keep it starting."""
    (lab.root / "ran.txt").unlink(missing_ok=True)
    name = lab.write("list.ipynb", LIST, busy_cell, f"'the end of {request.node.name}'", lesson=True)
    made = json.loads((lab.root / name).read_text())
    made["cells"][0]["metadata"]["tags"] = ["again"]
    (lab.root / name).write_text(json.dumps(made))
    lab.open(page, name)
    page.get_by_text("The code of this page is not the course's own").wait_for()
    page.wait_for_function(READY)
    return page


def test_a_strange_page_makes_no_list_again_when_one_comes_back_to_it(lab, list_page):
    list_page.evaluate(f"""async () => {{
        document.dispatchEvent(new Event("visibilitychange"));
        {HAPPENED};
        await new Promise((resolve) => setTimeout(resolve));
        await jupyterapp.shell.currentWidget.gainlibRuns;
    }}""")
    assert times_run(lab) == 0
    list_page.get_by_role("button", name="Run this page").click()
    list_page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    list_page.wait_for_function(READY)
    assert times_run(lab) == 1
    list_page.evaluate(f"() => {{ {HAPPENED}; }}")
    list_page.wait_for_function(
        "() => /^\\[4\\]:$/.test(document.querySelector('.jp-CodeCell .jp-InputPrompt').textContent.trim())"
    )
    assert times_run(lab) == 2


def test_what_happened_while_a_page_started_is_in_its_list_as_well(lab, list_page):
    page = list_page
    page.get_by_role("button", name="Run this page").click()
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')", timeout=60_000)
    page.wait_for_function(READY)
    lab.hold()
    page.evaluate("() => jupyterapp.shell.currentWidget.dispose()")
    page.evaluate("() => { jupyterapp.commands.execute('docmanager:open', { path: 'list.ipynb' }); }")
    # Its list is there, and the page is still starting.
    page.get_by_text("The page is starting: 2 of 3.").wait_for(timeout=60_000)
    assert (times_run(lab), page.evaluate("() => jupyterapp.shell.currentWidget.gainlibReady")) == (2, False)
    page.evaluate(f"() => {{ {HAPPENED}; }}")
    lab.free()
    page.wait_for_function(
        "() => /^\\[7\\]:$/.test(document.querySelector('.jp-CodeCell .jp-InputPrompt')?.textContent.trim())"
    )
    assert times_run(lab) == 3


def test_only_the_error_of_a_toolbar_that_is_closed_as_it_is_shown_is_let_pass(lab, shared_page, page):
    ours = [*PACKAGE.rglob("*.js"), *PACKAGE.rglob("*.html")]
    assert not [each.name for each in ours if re.search(r"\.promise\b|ubshell", each.read_text(encoding="utf-8"))]
    with page.expect_event("pageerror"):
        page.evaluate("() => { setTimeout(() => null.width); }")
    (problem,) = shared_page.problems
    assert "reading 'width'" in problem
    shared_page.problems.clear()
    lab.open(page, "contents.ipynb")
    with page.expect_event("pageerror") as seen:
        page.evaluate(
            """() => {
                const { toolbar } = jupyterapp.shell.currentWidget;
                toolbar.onAfterShow();
                toolbar.dispose();
            }"""
        )
    assert "/static/lab/jlab_core" in seen.value.stack
    assert shared_page.problems == []
