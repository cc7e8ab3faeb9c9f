"""The first lesson as a learner works through it: keyboard only, from the question to the verdict, right and wrong."""

from __future__ import annotations

import json

import pytest

from gainlib.exercises import author_answer, load
from gainlib.learners.progress import Progress
from gainlib.storage import lesson_files

pytestmark = pytest.mark.browser

LESSON = lesson_files()["set-recording-level"].name


@pytest.fixture
def lesson(lab, page):
    """The lesson, run from top to bottom with nothing answered; each test has cells of its own."""
    if not lab.shows(page, LESSON):
        lab.open(page, LESSON)
        lab.run_all(page)
        page.wait_for_function("() => course.bokeh.library?.documents.length >= 5")
    return page


def cell(page, text):
    """The cell whose source holds a text."""
    return page.locator(".jp-CodeCell", has_text=text)


def headline(part):
    return part.locator(".gainlib-headline-line").text_content().replace("\xa0", " ")


def press(slider, key, times):
    """Press a key on a control, which has the focus at each press."""
    for _ in range(times):
        slider.press(key)


def set_to(slider, value, step=1.0):
    """By whole pages until it is there or past it, then back by single steps."""

    def away():
        return round((value - float(slider.input_value())) / step)

    page, back = ("PageUp", "ArrowLeft") if away() > 0 else ("PageDown", "ArrowRight")
    while away() * (1 if page == "PageUp" else -1) > 0:
        press(slider, page, 1)
    press(slider, back, abs(away()))
    assert float(slider.input_value()) == pytest.approx(value)


def verdict_after(part, attempt):
    """Press the button, once nothing is being checked, and read the verdict once this attempt is saved."""
    part.locator(".gainlib-answer:not([aria-busy])").wait_for()
    part.get_by_role("button", name="Check my answer").press("Enter")
    verdict = part.locator(".gainlib-verdict")
    verdict.locator(".gainlib-saved", has_text=f"attempt {attempt},").wait_for(state="attached")
    return verdict.text_content()


def test_the_lesson_from_the_rehearsal_to_the_turned_down_take(lesson, keep):
    rehearsal, take = cell(lesson, 'key="rehearsal"'), cell(lesson, 'key="take"')
    assert headline(rehearsal).strip() == "Nothing clips. The converter has 3.4 dB left below full scale."
    assert "clips " in headline(take)
    runs = headline(take).split(" times")[0].split()[-1]

    trim = take.get_by_role("slider", name="Trim")
    press(trim, "Home", 1)
    assert trim.get_attribute("aria-valuetext").startswith("−24.0 dB")
    lesson.wait_for_function(
        "([box, runs]) => box.textContent.includes('−24') && box.textContent.includes(runs)",
        arg=[take.element_handle(), runs],
    )
    assert runs in headline(take)  # the level fell and the clipped runs stay
    take.locator(".gainlib-headline").scroll_into_view_if_needed()
    keep(lesson, "lesson-turned-down")
    press(trim, "Delete", 1)

    gain = take.get_by_role("slider", name="Preamp gain")
    set_to(gain, 41.0)
    assert gain.get_attribute("aria-valuetext") == "+41.0 dB"
    lesson.wait_for_function(
        "box => box.textContent.includes('(verse −15.4 dBFS, shout −5.1 dBFS)')", arg=take.element_handle()
    )
    take.locator(".gainlib-headline-line", has_text="−15.4 dBFS, as aimed").wait_for()
    assert headline(take) == (
        "Nothing clips. The converter has 5.1 dB left below full scale. The verse peaks at −15.4 dBFS, as aimed."
    )
    take.locator(".gainlib-headline").scroll_into_view_if_needed()
    assert len(lesson.screenshot()) > 20_000
    keep(lesson, "lesson-sensible")


SHOWN = """id => {
    const { node } = jupyterapp.shell.currentWidget.content.widgets.find(each => each.model.id === id);
    return !node.classList.contains("gainlib-page-waits");
}"""


def test_a_prediction_is_read_beside_what_was_measured(lesson):
    what, how_far = cell(lesson, 'gl.compare("what happens"'), cell(lesson, 'gl.compare("shout"')
    for part, answer in ((what, "nothing after the converter mends it"), (how_far, "10.3")):
        part.get_by_role("button", name="Show me").wait_for()
        assert answer not in part.locator(".jp-OutputArea").text_content()
    # What explains an answer waits for it, and what asks for one, or checks, does not.
    shown = {each: lesson.evaluate(SHOWN, each) for each in ("read-shout", "read-what", "check", "check-leave-room")}
    assert all(shown.values())
    held = ("read-left", "read-words", "read-noise", "listen", "ear", "breath")
    assert not any(lesson.evaluate(SHOWN, each) for each in held)
    how_far.get_by_text("The explanation comes with it.").wait_for()
    guess = cell(lesson, 'gl.predict("shout"').get_by_role("textbox", name="Your guess")
    guess.fill("three")
    cell(lesson, 'gl.predict("shout"').get_by_text("“three” is not a number").wait_for()
    guess.fill("3,0")
    how_far.get_by_text("You said: 3.0 dB. Measured: 10.3 dB. You were 7.3 dB too low.").wait_for()
    what.get_by_role("button", name="Show me").press("Enter")
    what.get_by_text("You made no prediction. The answer: It clips, and nothing after").wait_for()
    lesson.wait_for_function(f"({SHOWN})('breath')")
    assert all(lesson.evaluate(SHOWN, each) for each in held)
    lesson.get_by_role("radio", name="It clips. I turn the trim down").check()
    cell(lesson, 'gl.predict("what happens"').get_by_text("Noted.").wait_for()
    what.get_by_text("You said: “It clips. I turn the trim down afterwards, and it is clean again.”").wait_for()


SEEN = """name => [...document.querySelectorAll(name)].filter(each => each.checkVisibility())
    .map(each => each.textContent)"""


def test_what_holds_for_all_benches_is_said_on_the_first_alone_wherever_one_reads(lesson):
    for place in (0, 1e6):
        lesson.evaluate(
            "top => document.querySelector('.jp-WindowedPanel-outer').scrollTo({ top, behavior: 'instant' })", place
        )
        assert lesson.evaluate(SEEN, ".gainlib-remark") == ["RMS is AES17: a full-scale sine reads 0 dBFS."]
        assert len(lesson.evaluate(SEEN, ".gainlib-caution")) == 1
    assert "AES17" not in lesson.evaluate(
        "() => [...document.querySelectorAll('.gainlib-unseen')].map(each => each.textContent).join()"
    )


HALF_COVERED = """cell => document.querySelector(".jp-WindowedPanel-outer").scrollBy({
    top: cell.querySelector(".gainlib-strip").getBoundingClientRect().top
        - document.querySelector(".jp-WindowedPanel-outer").getBoundingClientRect().top, behavior: "instant" })"""
COVERED = """cell => cell.querySelector(".gainlib-headline").getBoundingClientRect().bottom
    - cell.querySelector(".gainlib-strip .gainlib-picture").getBoundingClientRect().top"""


def test_from_the_last_control_to_the_check_and_back_are_two_stops(lesson):
    part = cell(lesson, 'gl.exercise("recording/leave-room")')
    check = part.get_by_role("button", name="Check my answer")
    # The picture that the control moves lies half under the headline: it is brought along whole.
    lesson.set_viewport_size({"width": 1366, "height": 768})
    lesson.wait_for_function(
        f"cell => {{ ({HALF_COVERED})(cell); return ({COVERED})(cell) > 20; }}", arg=part.element_handle()
    )
    check.evaluate("each => each.focus({ preventScroll: true })")
    for keys, where in (("Shift+Tab", ".gainlib-below input"), ("Tab", ".gainlib-check")):
        for _ in range(2):
            lesson.keyboard.press(keys)
        assert lesson.evaluate("where => document.activeElement.matches(where)", where)
        assert part.evaluate(COVERED) <= 1 or keys == "Tab"


def test_the_exercise_answered_wrong_in_the_usual_ways_then_right(lab, lesson, keep):
    part = cell(lesson, 'gl.exercise("recording/leave-room")')
    part.scroll_into_view_if_needed()
    # Another test may have sat the exercise in this folder before.
    earlier = sum(each["exercise"] == "recording/leave-room" for each in Progress.at(lab.root, make=False).attempts)
    gain = part.get_by_role("slider", name="Preamp gain")
    trim = part.get_by_role("slider", name="Trim")

    # left as it stood: it clips, and the verdict says which way to go
    said = verdict_after(part, earlier + 1)
    assert "not met" in said
    assert "turn the preamp down" in said.lower()

    # turned down after the converter: the slip that this lesson is about
    press(trim, "PageDown", 3)
    said = verdict_after(part, earlier + 2)
    assert "Turning it down afterwards does not mend it" in said

    # far too low, whatever level this learner was given
    press(trim, "Delete", 1)
    press(gain, "Home", 1)
    assert gain.get_attribute("aria-valuetext").endswith("at its lowest")
    said = verdict_after(part, earlier + 3)
    assert "Turn the preamp up by" in said

    part.get_by_role("button", name="Show a hint").press("Enter")
    part.locator(".gainlib-hints li").wait_for()
    keep(lesson, "lesson-hint")

    # right: the author's solution for this learner's own numbers
    progress = json.loads((lab.root / "progress.json").read_text())
    variant = load("recording/leave-room").variant(progress["learner"]["id"])
    for path, value in author_answer(variant).items():
        move = next(each for each in variant.controls if each.path == path)
        set_to(gain if "gain_db" in path and "preamp" in path else trim, value, move.step)
    said = verdict_after(part, earlier + 4)
    assert "not met" not in said
    assert said.count("● met") == 3
    part.get_by_role("button", name="Check my answer").scroll_into_view_if_needed()
    assert len(lesson.screenshot()) > 20_000
    keep(lesson, "lesson-verdict")
    kept = (lab.root / "attempts.jsonl").read_text().splitlines()
    assert json.loads(kept[-1])["passed"] is True
