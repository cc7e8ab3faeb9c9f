"""Numbers typed by hand while the kernel is slow: what was typed stays, and is what the bench ends with."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

FIELDS = "() => [...document.querySelectorAll('.gainlib-ride input')].map(each => each.value)"


def test_a_gain_typed_just_after_a_time_is_kept_while_the_kernel_is_slow(ride_is_typed, page):
    ride_is_typed(page, page.keyboard.type, page.keyboard.press)
    # An empty table takes a click.
    for _ in range(2):
        page.get_by_role("button", name="Remove point 1 of Ride points").click()
    page.get_by_text("No points yet: click here or in the picture to add one.").click()
    assert page.evaluate(FIELDS) == ["0.00", "0.0"]
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "Ride points, point 1, seconds"


def test_what_was_typed_last_stands_though_the_kernel_told_of_another_value_meanwhile(lab, page, slow_bench):
    slow_bench(page)
    lab.hold()
    (lab.root / "another").touch()
    page.get_by_role("textbox", name="Trim in figures").focus()
    for text in ("-3", "-9"):
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    slider = page.get_by_role("slider", name="Trim")
    slider.evaluate("""slider => {
        window.shown = [];
        const look = () => window.shown.push(slider.getAttribute("aria-valuetext"));
        new MutationObserver(look).observe(slider, { attributes: true });
    }""")
    lab.free()
    lab.settled(page)
    assert set(page.evaluate("shown")) <= {"−9.0 dB"}  # not for a moment
    assert page.evaluate("document.activeElement.value") == "−9.0"
    assert slider.get_attribute("aria-valuetext") == "−9.0 dB"
    page.locator("button[title='Undo: Trim to −11.0 dB (key u)']").wait_for()  # the bench stood there before
    # A value that was typed is not rounded by a key; a step goes on from it, with Shift a fine one.
    page.keyboard.press("Control+A")
    page.keyboard.type("-8.74")
    page.keyboard.press("Enter")
    slider.focus()
    for key, value in (("ArrowUp", "−8.2 dB"), ("Shift+ArrowDown", "−8.3 dB"), ("PageDown", "−13.3 dB")):
        slider.press(key)
        assert slider.get_attribute("aria-valuetext") == value


def test_a_name_is_kept_by_its_button_and_by_enter_and_no_letter_is_a_command_of_the_notebook(lab, page):
    lab.open(page, lab.write("name.ipynb", "import gainlib as gl\ngl.learner()"))
    lab.run_all(page)
    field = page.get_by_role("textbox", name="Your name")
    field.focus()
    page.keyboard.type("abxdd")
    page.keyboard.press("Enter")
    page.get_by_text("You are abxdd.").wait_for()
    field.fill("Ada Novak")
    page.get_by_role("button", name="Keep this name").click()
    page.get_by_text("You are Ada Novak.").wait_for()
    assert page.locator(".jp-Notebook .jp-Cell").count() == 1
