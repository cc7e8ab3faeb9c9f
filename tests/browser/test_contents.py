"""The course without a key: its list is there, a click opens a lesson, and the lesson's bench can be moved."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


# What of the list stands right of what one sees of the page.
CELLS_BEYOND = """() => {
    const right = (each) => each.getBoundingClientRect().right;
    return [...document.querySelectorAll(".gainlib-page-list td")]
        .filter(each => each.checkVisibility() && right(each) > right(each.closest(".jp-OutputArea")) + 1);
}"""
PATH = "() => jupyterapp.shell.currentWidget.context.path"


def test_the_list_comes_by_itself_and_a_click_brings_a_lesson_that_is_alive(page, lab, keep):
    lab.open(page, "contents.ipynb")
    rows = page.locator(".jp-OutputArea table tbody tr")
    rows.first.wait_for(timeout=60_000)
    assert rows.count() >= 16
    assert "30\u00a0min" in rows.first.inner_text()
    assert not page.get_by_text("Shift + Enter").first.is_visible()  # which is said where nothing runs by itself
    # A page that opens hears of a change from no kernel to none; that is no kernel that has ended.
    page.evaluate("""() => jupyterapp.shell.currentWidget.sessionContext.kernelChanged.emit(
        { name: "kernel", oldValue: null, newValue: null })""")
    assert page.get_by_text("has ended").count() == 0
    keep(page, "contents")
    page.click(".jp-OutputArea a:has-text('Set a recording level') >> nth=0")
    page.locator(".jp-Notebook h1:has-text('Set a recording level')").wait_for(timeout=60_000)
    gain = page.get_by_role("slider", name="Preamp gain").first
    gain.wait_for(timeout=60_000)
    assert page.evaluate("() => jupyterapp.shell.currentWidget.content.activeCellIndex") == 0
    assert page.locator(".gainlib-page-line:visible").count() <= 1  # the list's own may still stand behind it
    page.wait_for_function("() => jupyterapp.shell.currentWidget.gainlibReady", timeout=60_000)
    assert page.locator(".jp-Notebook:visible .jp-Cell-inputWrapper .cm-content:visible").count() < 5
    assert page.evaluate("() => jupyterapp.shell.currentWidget.context.model.dirty") is False
    keep(page, "lesson-alive")

    # The way back: a button, and a key that works on a control as well.
    back = page.locator("jp-button:visible", has_text="Contents")
    assert page.locator(".jp-NotebookPanel-toolbar:visible").inner_text().split("\n")[:2] == [
        "Contents",
        "Show the code",
    ]
    back.click()
    page.wait_for_function(f"() => ({PATH})() === 'contents.ipynb'")
    assert page.locator("jp-button:visible", has_text="Contents").count() == 0
    page.click(".jp-OutputArea a:has-text('Set a recording level') >> nth=0")
    page.wait_for_function(f"() => ({PATH})().includes('set-recording-level')")
    gain.focus()
    page.keyboard.press("Alt+c")
    page.wait_for_function(f"() => ({PATH})() === 'contents.ipynb'")
    page.wait_for_function("() => !jupyterapp.shell.currentWidget.gainlibRuns")  # the list is made again
    page.evaluate("() => jupyterapp.shell.collapseLeft()")
    page.set_viewport_size({"width": 390, "height": 800})
    page.wait_for_function(f"() => ({CELLS_BEYOND})().length === 0")
    keep(page, "contents-390")
    page.evaluate("() => jupyterapp.shell.expandLeft()")
