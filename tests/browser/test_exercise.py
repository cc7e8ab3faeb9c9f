"""An exercise in the page: what is judged is what was set last, however fast the hand and slow the kernel."""

from __future__ import annotations

import json
import shutil
from importlib import resources
from pathlib import Path

import pytest

from gainlib.exercises import author_answer, load

pytestmark = pytest.mark.browser

KINDS = Path(__file__).parents[1] / "benches" / "kinds"
EXERCISES = Path(__file__).parents[2] / "exercises"
SLOW = """\
import pathlib, time
import gainlib as gl
opened = gl.exercise("recording/leave-room")
def wait(_):
    while pathlib.Path("busy").exists(): time.sleep(0.02)
stop = opened.bench.on_move(wait)
opened"""


def attempts(lab):
    file = lab.root / "attempts.jsonl"
    return [json.loads(line) for line in file.read_text().splitlines()] if file.exists() else []


def test_a_check_in_the_same_breath_as_25_key_presses_judges_the_last_of_them(lab, page):
    slow = lab.run(page, "slow-exercise.ipynb", SLOW, pictures=2)
    before = len(attempts(lab))
    lab.hold()  # from the first move on the kernel is busy
    gain = slow.get_by_role("slider", name="Preamp gain")
    start = float(gain.input_value())
    gain.focus()
    for _ in range(25):
        slow.keyboard.press("ArrowLeft")
    slow.get_by_role("button", name="Check my answer").press("Enter")
    slow.locator(".gainlib-answer[aria-busy]").wait_for()
    lab.free()
    slow.locator(".gainlib-saved", has_text=f"attempt {before + 1},").wait_for(state="attached")
    assert attempts(lab)[-1]["answer"]["voice/preamp/gain_db"] == start - 25
    assert not slow.locator(".gainlib-moved").is_visible()


def test_a_check_waits_for_the_last_move_however_long_the_kernel_is_busy(lab, clocked_page):
    slow = lab.run(clocked_page, "slow-exercise.ipynb", SLOW, pictures=2)
    before = len(attempts(lab))
    lab.hold()
    gain = slow.get_by_role("slider", name="Preamp gain")
    start = float(gain.input_value())
    gain.focus()
    for _ in range(3):  # the page keeps the later ones back until the first has been heard
        slow.keyboard.press("ArrowLeft")
    slow.get_by_role("button", name="Check my answer").press("Enter")
    slow.clock.run_for(11_000)
    slow.get_by_text("it is busy with another cell").wait_for()
    lab.free()
    slow.locator(".gainlib-saved", has_text=f"attempt {before + 1},").wait_for(state="attached")
    assert attempts(lab)[-1]["answer"]["voice/preamp/gain_db"] == start - 3
    assert not slow.locator(".gainlib-moved").is_visible()


@pytest.fixture
def sat(lab, busy_cell):
    """Opens a notebook with these exercises, and a cell that can keep the kernel busy."""
    return lambda page, *names: _sat(lab, busy_cell, page, *names)


def _sat(lab, busy_cell, page, *names):
    cells = []
    for name in names:
        shutil.copy(KINDS / f"{name}.toml", lab.root)
        cells.append(f'import gainlib as gl; gl.exercise("{name}.toml")')
    lab.open(page, lab.write("kinds.ipynb", *cells, busy_cell))
    lab.run_all(page)
    page.get_by_role("button", name="Check my answer").last.wait_for()
    return [page.locator(".jp-CodeCell", has_text=f"{name}.toml") for name in names]


def busy(lab, page):
    """Keep the kernel busy until the answer is checked."""
    lab.hold()
    cell = page.locator(".jp-CodeCell", has_text="while pathlib")
    cell.locator(".jp-InputArea-editor").click()
    page.keyboard.press("Control+Enter")
    cell.locator(".jp-InputPrompt", has_text="[*]").wait_for()


def checked(lab, page, part, before):
    part.get_by_role("button", name="Check my answer").press("Enter")
    lab.free()
    part.locator(".gainlib-answer:not([aria-busy])").wait_for()
    lab.settled(page)
    made = attempts(lab)
    assert len(made) == before + 1
    return made[-1]


def learner(lab):
    return json.loads((lab.root / "progress.json").read_text())["learner"]["id"]


def no_serious_fault(page):
    page.evaluate(resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("""async () => {
        const { violations } = await axe.run(document.querySelectorAll(".gainlib-exercise, .gainlib-book"));
        return violations.filter(each => ["serious", "critical"].includes(each.impact))
            .map(each => `${each.id}: ${each.nodes.map(node => node.html.slice(0, 160)).join(" | ")}`);
    }""")
    assert found == []


def test_numbers_choices_and_orders_are_answered_by_keyboard_alone(lab, page, sat, keep):
    reckon, judge, order = sat(page, "read-the-verse", "which-was-clipped", "in-order")
    made = len(attempts(lab))

    # nothing answered: nothing is judged
    reckon.get_by_role("button", name="Check my answer").press("Enter")
    reckon.get_by_role("alert").get_by_text("Nothing is checked yet").wait_for()
    level = reckon.get_by_role("textbox", name="Peak of the verse")
    for typed, complaint in [
        ("loud", "“loud” is not a number in dBFS; give −60 dBFS to 0 dBFS."),
        ("11", "11 dBFS is out of reach; give −60 dBFS to 0 dBFS."),
    ]:
        level.fill(typed)
        level.press("Enter")
        reckon.get_by_text(complaint).wait_for()
        assert level.get_attribute("aria-invalid") == "true"
    assert len(attempts(lab)) == made
    # asked for all the same, it is said again, and is no attempt
    level.fill("")
    level.fill("11.")
    reckon.get_by_role("button", name="Check my answer").click()  # which leaves the field: the button must not move
    why = "Not checked, since “Peak of the verse” is not read: 11 dBFS is out of reach; give −60 dBFS to 0 dBFS."
    reckon.get_by_role("alert").get_by_text(why).wait_for()
    assert len(attempts(lab)) == made
    level.fill("")
    busy(lab, page)
    level.focus()
    page.keyboard.type("−9,5")  # a key at a time, while the kernel is busy
    first = checked(lab, page, reckon, made)
    assert first["answer"] == {"level": -9.5}
    assert reckon.get_by_text("Taken as −9.5 dBFS.").is_visible()
    solution = author_answer(load(lab.root / "read-the-verse.toml").variant(learner(lab)))
    level.fill(f"{solution['level']} dBFS")
    reckon.get_by_text("You have changed your answer since; check again.").wait_for()
    # a moment: clicked in the waveform, moved on by a key, and taken over
    moment = reckon.get_by_role("textbox", name="When the converter clips first")
    take = reckon.get_by_role("button", name="Take the player")
    place = reckon.locator(".gainlib-timed").first
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    # the frame of the picture lies 72 and 14 pixels from its edges, the take lasts 19 s
    place.click(position={"x": 72 + (box["width"] - 86) * 17 / 19, "y": box["height"] / 2})
    reckon.get_by_role("button", name="Take the player’s place, 17.0 s").wait_for()
    seek = reckon.get_by_role("slider", name="Place in the recording")
    for _ in range(9):
        seek.press("ArrowRight")
    take.press("Enter")
    reckon.get_by_text("Taken: 17.9 s.").wait_for()
    assert moment.input_value() == "17.9"
    reckon.get_by_role("button", name="Check my answer").press("Enter")
    reckon.get_by_text("Passed: 3 of 3 points").wait_for()
    reckon.locator(".gainlib-question").first.scroll_into_view_if_needed()
    keep(page, "sitting-reckon")

    # candidates: chosen, heard and judged, first wrong, then right
    variant = load(lab.root / "which-was-clipped.toml").variant(learner(lab))
    labels = {each.name: each.label for each in variant.candidates}
    for label in "CB":
        judge.get_by_role("button", name=f"Hear {label}").press("Enter")
        judge.locator(".gainlib-heading", has_text=f"{label}: ").wait_for()
    assert judge.get_by_role("button", name="Hear B").get_attribute("aria-pressed") == "true"
    judge.get_by_role("button", name="Play").press("Enter")
    page.wait_for_function("() => [...course.players.values()].some(each => each.loop?.playing && each.slot === 'B')")
    judge.get_by_role("button", name="Hear A").press("Enter")
    page.wait_for_function("() => [...course.players.values()].some(each => each.loop?.playing && each.loop.slots.A)")
    judge.get_by_role("button", name="Pause").press("Enter")
    radio = judge.get_by_role("radio", name=labels["low"])
    radio.press("Space")
    last = checked(lab, page, judge, made + 2)
    assert (last["answer"], last["passed"]) == ({"which": labels["low"]}, False)
    judge.get_by_text(f"You chose {labels['low']}: clean and low.").wait_for()
    for _ in range((ord(labels["squashed"]) - ord(labels["low"])) % 3):
        judge.locator("input[type=radio]:checked").press("ArrowDown")
    judge.get_by_role("button", name="Check my answer").press("Enter")
    judge.get_by_text("Passed: 2 of 2 points").wait_for()
    judge.locator(".gainlib-player").scroll_into_view_if_needed()
    keep(page, "sitting-judge")

    # an order: what is put in the place of another takes that other's place
    variant = load(lab.root / "in-order.toml").variant(learner(lab))
    assert order.get_by_text("each at its own level", exact=True).is_visible()
    places = [order.get_by_role("combobox", name=f"The quietest first: place {place} of 3") for place in (1, 2, 3)]
    for field, label in zip(places, "ABC", strict=True):
        field.select_option(label=label)
    places[0].select_option(label="C")
    assert [field.evaluate("each => each.selectedOptions[0].text") for field in places] == ["C", "B", "A"]
    order.get_by_text("Now: C, B, A.").wait_for()
    right = author_answer(variant)["order"]
    for field, label in zip(places, right, strict=True):
        field.select_option(label=label)
    order.get_by_role("button", name="Check my answer").press("Enter")
    order.get_by_text("Passed: 1 of 1 point").wait_for()
    assert attempts(lab)[-1]["answer"] == {"order": list(right)}
    no_serious_fault(page)


def test_a_ride_and_a_switch_moved_while_the_kernel_is_busy_are_judged_as_they_stand_last(lab, page, sat):
    (part,) = sat(page, "even-out")
    made = len(attempts(lab))
    busy(lab, page)
    muted = part.get_by_role("checkbox", name="Fader muted")
    for _ in range(2):
        muted.press("Space")
    assert checked(lab, page, part, made)["answer"]["voice/fader/muted"] is True  # back where it began
    busy(lab, page)
    part.get_by_role("button", name="Add a point").press("Enter")
    gain = part.get_by_role("textbox", name="point 1, gain in dB")
    for _ in range(6):
        gain.press("ArrowUp")
    part.get_by_role("button", name="Check my answer").press("Enter")
    lab.free()
    part.locator(".gainlib-saved", has_text="attempt 2,").wait_for()
    answer = attempts(lab)[-1]["answer"]
    assert answer == {"voice/ride/points": [[0.0, 3.0]], "voice/fader/muted": True}


def test_a_check_pressed_twice_while_the_kernel_is_busy_is_one_attempt_and_a_hint_comes_after_it(
    lab, clocked_page, sat
):
    page = clocked_page
    (part,) = sat(page, "read-the-verse")
    made = len(attempts(lab))
    part.get_by_role("textbox", name="Peak of the verse").fill("-30")
    busy(lab, page)
    check = part.get_by_role("button", name="Check my answer")
    check.press("Enter")
    check.press("Enter")
    part.get_by_role("button", name="Show a hint").press("Enter")
    lab.free()
    part.locator(".gainlib-hints li").wait_for()
    assert len(attempts(lab)) == made + 1
    assert attempts(lab)[-1]["hints_used"] == 0
    # Where the kernel does not hear, it is said to be busy, and a press says the same again: in vain, then heard.
    page.evaluate("() => { window.send = WebSocket.prototype.send; WebSocket.prototype.send = () => {}; }")
    for _ in range(2):
        check.press("Enter")
        page.clock.run_for(11_000)
        part.get_by_text("The kernel has not answered for some seconds").wait_for()
    page.evaluate("() => { WebSocket.prototype.send = window.send; }")
    assert part.locator(".gainlib-answer[aria-busy]").count() == 1
    assert len(attempts(lab)) == made + 1
    check.press("Enter")
    part.locator(".gainlib-answer:not([aria-busy])").wait_for()
    lab.settled(page)
    assert len(attempts(lab)) == made + 2


def test_the_exercise_book_opens_fresh_numbers_by_keyboard(lab, page, keep):
    shutil.copy(EXERCISES / "exercise-book.ipynb", lab.root)
    lab.open(page, "exercise-book.ipynb")
    lab.run_all(page)
    made = len(attempts(lab))
    level = page.get_by_role("combobox", name="Level")
    level.select_option(label="1, easy")
    topic = page.get_by_role("combobox", name="Topic")
    topic.select_option(label="Recording")
    shown = page.get_by_role("listbox", name="Exercises")
    page.wait_for_function("""() => [...document.querySelectorAll(".gainlib-book select[size] option")]
        .every(each => each.value.startsWith("recording/") && /level 1/.test(each.text))""")
    shown.select_option("recording/leave-room")
    shown.press("Enter")
    page.get_by_text("Open: Leave room for the shout").wait_for()
    first = page.locator(".gainlib-brief").inner_text()
    page.get_by_role("button", name="Check my answer").press("Enter")
    page.locator(".gainlib-saved", has_text="Saved: attempt").wait_for()
    kept = attempts(lab)
    assert (len(kept), kept[-1]["draw"] >= 1) == (made + 1, True)
    page.locator("option", has_text="Leave room for the shout (level 1, missed").wait_for(state="attached")
    keep(page, "exercise-book")
    page.get_by_role("button", name="Open with new numbers").press("Enter")
    page.wait_for_function(
        "first => ![undefined, first].includes(document.querySelector('.gainlib-brief')?.innerText)", arg=first
    )
    assert page.locator(".gainlib-exercise").count() == 1
    no_serious_fault(page)
