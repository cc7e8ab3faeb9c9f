"""The course without a key: its list is there, a click opens a lesson, and the lesson's bench can be moved."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


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
    assert page.locator(".gainlib-page-line").count() <= 1
    page.wait_for_function("() => jupyterapp.shell.currentWidget.gainlibReady")
    assert page.locator(".jp-Notebook:visible .jp-Cell-inputWrapper .cm-content:visible").count() < 5
    assert page.evaluate("() => jupyterapp.shell.currentWidget.context.model.dirty") is False
    keep(page, "lesson-alive")
