"""A listening ladder in the page, sat to its end by a listener who hears a known step."""

from __future__ import annotations

import json

import numpy as np
import pytest

pytestmark = pytest.mark.browser

RATE_HZ = 48_000
CEILING = 10 ** (-12 / 20)
LADDER = 'import gainlib as gl; gl.exercise("hearing/step-in-level")'
SOUND = "[...course.players.values()].find((each) => each.loop)"
NEXT = f"""before => document.querySelector(".gainlib-ladder-result button")
    || ({SOUND}?.loop.slots.after && {SOUND}.tap !== before)"""


def trial(lab, page):
    """The three sounds that the page holds, told by the pauses between them."""
    samples = lab.samples(page, f"() => {SOUND}.loop.slots.after.getChannelData(0)")
    assert np.abs(samples).max() <= CEILING + 1e-6
    tenths = np.abs(samples[: len(samples) // 4800 * 4800]).reshape(-1, 4800).max(axis=1) > 1e-9
    edges = np.flatnonzero(np.diff(np.concatenate(([0], tenths.astype(int), [0]))))
    long = [(begin, end) for begin, end in zip(edges[::2], edges[1::2], strict=True)]
    sounds = [samples[4800 * begin : 4800 * end] for begin, end in long]
    assert len(sounds) == 3
    return [20 * np.log10(np.sqrt(np.mean(np.square(each)))) for each in sounds]


def test_a_listener_who_hears_a_step_of_1_db_and_no_less_is_told_so(lab, page, keep):
    lab.open(page, lab.write("hearing.ipynb", LADDER))
    lab.run_all(page)
    page.get_by_role("button", name="Train your ear").click()
    page.get_by_role("button", name="Play").click()
    page.wait_for_function(f"() => {SOUND}?.loop.playing")
    before, shot = "", False
    for number in range(60):
        page.wait_for_function(NEXT, arg=before)
        if page.get_by_role("button", name="Run it again").count():
            break
        before = page.evaluate(f"() => {SOUND}.tap")
        assert page.evaluate(f"() => {SOUND}.loop.startedFrom") < 0.2  # each trial from its beginning
        levels = trial(lab, page)
        odd = int(np.argmax(levels))
        heard = levels[odd] - np.median(levels) > 0.9
        page.keyboard.press(str(odd + 1 if heard else (odd + 1) % 3 + 1))
        said = "Right: a step of" if heard else f"It was {odd + 1}: a step of"
        page.locator(".gainlib-ladder-said", has_text=said).wait_for()
        if number == 3 and not shot:
            page.wait_for_selector(".gainlib-sounds")
            keep(page, "hearing-trial")
            shot = True
    page.get_by_text("You just hear a step of").wait_for()
    keep(page, "hearing-result")
    page.wait_for_function(f"() => !{SOUND}.loop.playing")
    kept = json.loads((lab.root / "attempts.jsonl").read_text().splitlines()[-1])
    # The rungs are 1.05 and 0.75 dB there: it turns between them.
    assert 0.75 <= kept["answer"]["threshold"] <= 1.06
    page.get_by_role("button", name="Run it again").click()
    page.get_by_text("0 so far").wait_for()
