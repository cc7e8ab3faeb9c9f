"""A teacher writes an exercise on the page, from nothing to its proof, by mouse and keys alone."""

from __future__ import annotations

import os

import pytest

from gainlib.authoring.verification import verify

pytestmark = pytest.mark.browser

CODE = 'import gainlib as gl\ngl.write_exercise("hot-voice.toml")'


def press(page, name):
    """Press a button of the page, and wait until it was answered."""
    page.get_by_role("button", name=name, exact=True).press("Enter")
    page.locator(".gainlib-form[aria-busy]").first.wait_for(state="detached", timeout=60_000)


def put(page, name, value, index=0):
    """Type a value into a field, and leave it."""
    field = page.get_by_label(name, exact=True).nth(index)
    field.fill(value)
    field.press("Tab")


def stand(page, name, value):
    """Stand a slider of the bench by its figures."""
    slider = page.get_by_role("slider", name=name)
    slider.focus()
    slider.evaluate(
        "(each, value) => { each.value = value; each.dispatchEvent(new Event('input', { bubbles: true })); }", value
    )


def shot(page, name):
    if folder := os.environ.get("GAINLIB_SHOTS"):
        page.set_viewport_size({"width": 1280, "height": 4600})
        page.screenshot(path=f"{folder}/{name}.png")
        page.set_viewport_size({"width": 1280, "height": 900})


def test_an_exercise_is_written_and_proven_on_the_page(lab, page):
    shown = lab.run(page, "write.ipynb", CODE, pictures=1)
    shown.locator(".gainlib-writing").wait_for()
    shot(shown, "writing-1")
    put(shown, "Title", "Hot voice")
    shown.get_by_label("It passes", exact=True).select_option("microphone, preamp, converter, trim")
    stand(shown, "Preamp gain", 20)
    press(shown, "Learners begin here")
    stand(shown, "Preamp gain", 34)
    stand(shown, "Trim", 4)
    press(shown, "This is right")
    shown.get_by_text("That is right").wait_for()
    shown.get_by_label("Each learner has another", exact=True).select_option("source/full_scale_dbu")
    press(shown, "Let it differ")
    shown.get_by_label("in steps of", exact=True).nth(1).wait_for()
    shown.get_by_label("Measure", exact=True).select_option("peak_dbfs")
    shown.get_by_label("after the stage", exact=True).select_option("converter")
    press(shown, "Measure this")
    shown.get_by_label("Check", exact=True).wait_for()
    shown.get_by_label("Measure", exact=True).select_option("rms_dbfs")
    shown.get_by_label("after the stage", exact=True).select_option("trim")
    press(shown, "Measure this")
    shown.get_by_label("Check, of 2", exact=True).wait_for()
    shot(shown, "writing-2")
    stand(shown, "Preamp gain", 42)
    stand(shown, "Trim", -4)
    put(shown, "A name for it, for you alone", "too hot")
    put(shown, "What is said to it", "The level is right, but the converter has no room left.")
    press(shown, "This is wrong")
    shown.get_by_text("Kept.").wait_for()
    press(shown, "Prove it")
    shown.get_by_text("Proven, in").wait_for(timeout=120_000)
    shot(shown, "writing-3")
    proof = verify(lab.root / "hot-voice.toml", quick=True)
    assert (proof.faults, proof.remarks) == ((), ())
