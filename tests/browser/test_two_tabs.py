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
SAID = "This lesson is open in another tab or window; it goes on there."


@contextmanager
def another_tab(lab, page, name):
    """The same notebook in a second tab of the same browser, on the same kernel, with nothing run."""
    shown = page.context.new_page()
    shown.set_default_timeout(15_000)
    lab.enter(shown, "lab/workspaces/second")
    shown.evaluate("path => jupyterapp.commands.execute('docmanager:open', { path })", name)
    shown.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
    shown.wait_for_function("() => jupyterapp.shell.currentWidget?.context?.sessionContext.session?.kernel")
    try:
        yield shown
    finally:
        shown.close()


def told(page):
    return page.locator(".gainlib-elsewhere")


def moves(page):
    gain = page.get_by_role("slider", name="Preamp gain").first
    gain.focus()
    page.keyboard.press("End")
    page.locator(".gainlib-headline-line", has_text=" times").first.wait_for()


def test_the_tab_that_lost_its_benches_says_so_and_takes_them_back(lab, own_page, keep):
    page = own_page
    lab.run(page, "tabs.ipynb", *CELLS, pictures=PICTURES)
    with another_tab(lab, page, "tabs.ipynb") as other:
        lab.run_all(other)
        lab.drawn(other, PICTURES)
        told(page).nth(2).wait_for()
        assert told(page).count() == 3  # the bench, the question and the exercise
        assert all(SAID in each for each in told(page).all_inner_texts())
        assert told(other).count() == page.locator(".gainlib-bench").count() == 0
        moves(other)
        page.bring_to_front()
        keep(page, "two-tabs")
        told(page).first.get_by_role("button", name="Go on here").click()
        told(other).nth(2).wait_for(state="attached")
        lab.drawn(page, PICTURES)
        assert told(page).count() == other.locator(".gainlib-bench").count() == 0
        moves(page)
        # A cell that is run anew or taken away in the tab where it goes on is no other tab.
        bench = page.locator(".jp-CodeCell", has_text="gl.bench")
        bench.locator(".jp-InputArea-editor").click()
        page.evaluate("() => jupyterapp.commands.execute('notebook:run-cell')")
        bench.locator(".gainlib-headline-line", has_text="Nothing clips").wait_for()
        page.evaluate("() => jupyterapp.commands.execute('notebook:delete-cell')")
        bench.wait_for(state="detached")
        assert told(page).count() == 0
        assert told(other).count() == 3
