"""One lesson in two tabs: the one whose benches were taken away says so, and takes them back."""

from __future__ import annotations

from contextlib import contextmanager

import pytest

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


@contextmanager
def another_tab(lab, page, name):
    """The same notebook in a second tab of the same browser, on the same kernel, with nothing run."""
    shown = page.context.new_page()
    shown.set_default_timeout(60_000)
    lab.enter(shown, "lab/workspaces/second")
    shown.evaluate("path => jupyterapp.commands.execute('docmanager:open', { path })", name)
    shown.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
    shown.wait_for_function("() => jupyterapp.shell.currentWidget?.context?.sessionContext.session?.kernel")
    try:
        yield shown
    finally:
        shown.close()


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


def test_the_tab_that_was_opened_last_goes_on_and_the_other_says_so_with_a_button(lab, page, keep):
    lab.open(page, lab.write("tabs.ipynb", *CELLS, lesson=True))
    page.get_by_role("button", name="Run this page").click()
    lab.drawn(page, PICTURES)
    at_rest(page)
    page.evaluate("() => jupyterapp.commands.execute('docmanager:save').then(() => {})")
    with another_tab(lab, page, "tabs.ipynb") as other:
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


def test_in_a_notebook_of_ones_own_the_last_run_goes_on(lab, page):
    lab.run(page, "own-tabs.ipynb", *CELLS[:2], pictures=1)
    with another_tab(lab, page, "own-tabs.ipynb") as other:
        lab.run_all(other)
        told(page)
        page.get_by_role("button", name="Go on here").click()
        told(other)
        lab.drawn(page, 1)
        moves(page)
