"""A lesson's page opened from the disk: it draws every picture and asks nobody for anything."""

from __future__ import annotations

import shutil

import pytest

from gainlib.html.lesson_page import lesson_page
from gainlib.storage import lesson_files

pytestmark = pytest.mark.browser

LESSON = lesson_files()["set-recording-level"]


def test_it_shows_its_pictures_with_no_connection(browser, tmp_path, keep):
    shutil.copy(LESSON, tmp_path)
    page = lesson_page(tmp_path / LESSON.name, tmp_path / "page.html")
    context = browser.new_context(viewport={"width": 1280, "height": 900}, offline=True)
    shown = context.new_page()
    problems = []
    shown.on("pageerror", lambda error: problems.append(str(error)))
    shown.on("request", lambda asked: None if asked.url.startswith(("file:", "data:")) else problems.append(asked.url))
    shown.goto(page.as_uri())
    count = shown.locator("[data-gainlib]").count()
    assert count >= 5
    shown.wait_for_function(f"() => window.Bokeh?.documents.length === {count}")
    shown.locator("[data-gainlib]").first.scroll_into_view_if_needed()
    shown.wait_for_function("() => document.querySelector('[data-gainlib]').getBoundingClientRect().height > 250")
    keep(shown, "lesson-page")
    context.close()
    assert problems == []
