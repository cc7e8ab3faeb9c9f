"""A lesson's page opened from the disk: it draws every picture and asks nobody for anything."""

from __future__ import annotations

import shutil

import pytest

from gainlib.html.lesson_page import COMPARES, EXPLAINS, lesson_page
from gainlib.page import EXTENSIONS
from gainlib.storage import lesson_files

pytestmark = pytest.mark.browser

LESSON = lesson_files()["set-recording-level"]


def test_the_headings_that_explain_are_those_of_the_live_page():
    (beside,) = EXTENSIONS.glob("*/static/entry.js")
    script = beside.read_text(encoding="utf-8")
    assert f"const COMPARES = /{COMPARES}/;\nconst EXPLAINS = /{EXPLAINS}/;" in script


def test_it_shows_its_pictures_with_no_connection_and_holds_back_what_explains_a_folded_answer(browser, tmp_path, keep):
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
    # What explains an answer waits until all above it are unfolded; what asks again, or checks, does not.
    answer, why = shown.get_by_text("The answer: It clips"), shown.get_by_text("The converter has no number above")
    check = shown.get_by_role("heading", name="Check")
    assert (answer.is_visible(), why.is_visible(), check.is_visible()) == (False, False, True)
    shown.emulate_media(media="print")
    assert (answer.is_visible(), why.is_visible()) == (True, True)
    shown.emulate_media(media="screen")
    for each in shown.get_by_text("Show me", exact=True).all():
        assert not why.is_visible()
        each.click()
    assert (answer.is_visible(), why.is_visible()) == (True, True)
    context.close()
    assert problems == []
