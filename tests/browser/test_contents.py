"""The course without a key: its list is there, a click opens a lesson and what a teacher set, and one joins a class."""

from __future__ import annotations

import pytest

import gainlib as gl
from gainlib.classroom import RosterLine, new_class
from gainlib.classroom.start_files import write_start_files
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.enrolment import enrol

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


OPEN_IN_ITS_FOLDER = """async (path) => {
    for (const each of [...jupyterapp.shell.widgets("main")]) each.dispose();
    await jupyterapp.commands.execute("docmanager:open", { path, factory: "Notebook", kernel: { name: "python3" } });
}"""
OWN = """title = "A hot hum"
lesson = "trim-before-threshold"
level = 1
kind = "set"
goal = "Bring a take to a level."
brief = "Bring the peak to −{wanted} dBFS."
given.take = "hum.wav"
given.stages = [ { stage = "Trim", gain_db = 0.0 } ]
varies.wanted = { from = 8, to = 18, step = 1 }
moves = [ { path = "trim/gain_db", from = -30, to = 10, step = 0.1 } ]
solution = { "trim/gain_db" = { base = 3, minus = "wanted" } }
[[checks]]
title = "Peak"
points = 4
low = "Up by {off}."
high = "Down by {off}."
good = "It peaks at {measured}."
source = "what the teacher asked for"
standing = "common practice"
reads = { measure = "peak_dbfs", at = "trim", at_most = { base = 0.5, minus = "wanted" } }
"""


def test_one_joins_a_class_by_its_start_file_and_what_is_set_is_a_click_away(page, lab, keep, tmp_path):
    (tmp_path / "hums").mkdir()
    gl.write(tmp_path / "hums" / "hum.wav", gl.tone(-3, 100, seconds=1.0, rate_hz=48_000))
    (tmp_path / "hums" / "hot hum.toml").write_text(OWN, encoding="utf-8")
    people = [RosterLine(id="a-01", name="Ada Quill"), RosterLine(id="a-02", name="Bo Marsh")]
    exercises = ["recording/leave-room", str(tmp_path / "hums" / "hot hum.toml")]
    class_file, start_file = new_class(tmp_path / "group-a", title="Group A", roster=people, exercises=exercises)
    install_lessons(lab.root / "in a class", "1", only="start-here")

    lab.end_kernels()
    if not page.url.startswith(f"{lab.base}/lab"):
        lab.enter(page)
    page.evaluate(OPEN_IN_ITS_FOLDER, "in a class/contents.ipynb")
    box = page.locator(".gainlib-join")
    box.wait_for(timeout=60_000)
    page.wait_for_function("() => jupyterapp.shell.currentWidget.gainlibReady")
    page.set_input_files(".gainlib-join input[type=file]", start_file)
    box.get_by_label("Who are you?").select_option("Bo Marsh (a-02)")
    keep(page, "join")
    box.get_by_role("button", name="Join this class").click()
    page.locator(".jp-OutputArea h2:has-text('Set by your teacher')").wait_for(timeout=60_000)
    assert page.locator(".jp-OutputArea h2").first.inner_text() == "Set by your teacher"
    page.get_by_text("You are Bo Marsh (a-02) in Group A").wait_for()  # the hand-in heard of it too
    keep(page, "contents-in-class")

    page.click(".gainlib-page-list a:has-text('A hot hum')")
    trim = page.locator(".gainlib-exercise input[type=text]").first
    trim.wait_for(timeout=60_000)  # by itself, though its code is of nobody's list
    trim.fill("-20")
    trim.press("Enter")
    page.locator("button:visible", has_text="Check my answer").click()
    page.get_by_text("It peaks at −23.0 dBFS").wait_for()
    # Meanwhile the teacher gives a due date, and the learner opens what came by mail at a terminal.
    class_file.write_text(class_file.read_text().replace("# due   = 20", "due = 20"))
    write_start_files(class_file)
    enrol(lab.root / "in a class", start_file, "a-02")
    page.locator("jp-button:visible", has_text="Contents").click()
    page.locator(".gainlib-page-list td:has-text('passed, 4 of 4 points')").wait_for(timeout=60_000)
    assert page.locator(".jp-OutputArea li:has-text('Changed on')").count() == 1
    keep(page, "contents-changed")
