"""The first page of the course: one key shows the lessons, and a click opens one."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def test_one_key_shows_the_lessons_and_a_click_opens_one(page, lab, keep):
    lab.open(page, "contents.ipynb")
    page.click(".jp-CodeCell .cm-content")
    page.keyboard.press("Shift+Enter")
    rows = page.locator(".jp-OutputArea table tbody tr")
    rows.first.wait_for(timeout=60_000)
    assert rows.count() >= 16
    assert "30\u00a0min" in rows.first.inner_text()
    keep(page, "contents")
    page.click(".jp-OutputArea a:has-text('Start here') >> nth=0")
    page.locator(".jp-Notebook h1:has-text('Start here')").wait_for(timeout=60_000)
    page.locator(".jp-Notebook:visible .jp-CodeCell").first.wait_for()
