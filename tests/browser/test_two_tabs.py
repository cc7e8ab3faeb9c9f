"""One lesson in two tabs: the one whose benches were taken away says so, and takes them back."""

from __future__ import annotations

import pytest

from tests.browser.conftest import CLEAR

pytestmark = pytest.mark.browser

CELLS = (
    """\
import numpy as np
import gainlib as gl
chain = [gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68")]
session = gl.Session.of(gl.Audio(np.sin(np.arange(48_000) / 8), 48_000), chain, name="voice")""",
    'gl.bench(session, controls=["preamp/gain_db"])',
    'gl.predict("loud", "Which is louder?", choices=["this", "that"])',
    'gl.exercise("recording/leave-room")',
)
PICTURES = 3
SAID = "This page is open in another tab or window; it goes on there."
LINE = ".gainlib-page-line"


@pytest.fixture(scope="module")
def tabs():
    """The second tab, which both tests use, by the browser's context that it is in."""
    made = {}
    yield made
    for each in made.values():
        each.close()


@pytest.fixture
def another_tab(lab, page, tabs):
    """Opens the same notebook in a second tab of the same browser, on the same kernel, with nothing run."""
    if page.context not in tabs:
        tabs[page.context] = page.context.new_page()
        tabs[page.context].set_default_timeout(60_000)
        lab.enter(tabs[page.context], "lab/workspaces/second")
    shown = tabs[page.context]

    def opened(name):
        shown.bring_to_front()
        shown.evaluate("path => jupyterapp.commands.execute('docmanager:open', { path })", name)
        shown.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
        shown.wait_for_function("() => jupyterapp.shell.currentWidget?.context?.sessionContext.session?.kernel")
        return shown

    yield opened
    shown.evaluate(CLEAR)


def moves(page):
    gain = page.get_by_role("slider", name="Preamp gain").first
    gain.focus()
    page.keyboard.press("End")
    page.locator(".gainlib-headline-line", has_text=" times").first.wait_for()


def told(page):
    """Both say it, once and in sight."""
    page.locator(LINE, has_text=SAID).wait_for()
    assert page.locator(LINE).count() == 1
    assert page.locator(".gainlib-message:visible").count() == 0


def at_rest(page):
    page.wait_for_function("() => !document.querySelector('.gainlib-page-line')")


def test_the_tab_that_was_opened_last_goes_on_and_the_other_says_so_with_a_button(lab, page, another_tab, keep):
    lab.open(page, lab.write("tabs.ipynb", *CELLS, lesson=True))
    page.get_by_role("button", name="Run this page").click()
    lab.drawn(page, PICTURES)
    at_rest(page)
    page.evaluate("() => jupyterapp.commands.execute('docmanager:save').then(() => {})")
    other = another_tab("tabs.ipynb")
    # It was accepted and is saved, so the second takes up what the kernel holds, without a run.
    lab.drawn(other, PICTURES)
    told(page)
    assert page.locator(".gainlib-bench").count() == 0
    moves(other)
    page.bring_to_front()
    keep(page, "two-tabs")
    page.get_by_role("button", name="Go on here").click()
    told(other)
    lab.drawn(page, PICTURES)
    at_rest(page)
    assert other.locator(".gainlib-bench").count() == 0
    moves(page)
    # A cell that is run anew or taken away in the tab where it goes on is no other tab.
    bench = page.locator(".jp-CodeCell", has_text="gl.bench")
    bench.locator(".jp-InputArea-editor").click()
    page.evaluate("() => jupyterapp.commands.execute('notebook:run-cell')")
    bench.locator(".gainlib-headline-line", has_text="Nothing clips").wait_for()
    page.evaluate("() => jupyterapp.commands.execute('notebook:delete-cell')")
    bench.wait_for(state="detached")
    assert page.locator(LINE).count() == 0
    told(other)


def test_in_a_notebook_of_ones_own_the_last_run_goes_on(lab, page, another_tab):
    lab.run(page, "own-tabs.ipynb", *CELLS[:2], pictures=1)
    other = another_tab("own-tabs.ipynb")
    lab.run_all(other)
    told(page)
    page.get_by_role("button", name="Go on here").click()
    told(other)
    lab.drawn(page, 1)
    moves(page)
