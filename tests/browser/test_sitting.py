"""An exercise in the page: what is judged is what was set last, however fast the hand and slow the kernel."""

from __future__ import annotations

import json

import pytest

pytestmark = pytest.mark.browser

SLOW = """\
import time
import gainlib as gl
sitting = gl.exercise("recording/leave-room")
stop = sitting.bench.on_move(lambda _: time.sleep(0.3))
sitting"""


def attempts(lab):
    file = lab.root / "progress.json"
    return json.loads(file.read_text())["attempts"] if file.exists() else []


@pytest.fixture
def slow(lab, page):
    """An exercise whose kernel is busy for a while after each move."""
    lab.open(page, lab.write("slow-sitting.ipynb", SLOW))
    lab.run_all(page)
    page.get_by_role("button", name="Check my answer").wait_for()
    return page


def test_a_check_in_the_same_breath_as_25_key_presses_judges_the_last_of_them(lab, slow):
    before = len(attempts(lab))
    gain = slow.get_by_role("slider", name="Preamp gain")
    start = float(gain.input_value())
    gain.focus()
    for _ in range(25):
        slow.keyboard.press("ArrowLeft")
    slow.get_by_role("button", name="Check my answer").press("Enter")
    slow.locator(".gainlib-saved", has_text=f"attempt {before + 1} at").wait_for(state="attached", timeout=30_000)
    assert attempts(lab)[-1]["answer"]["voice/preamp/gain_db"] == start - 25
    assert not slow.locator(".gainlib-moved").is_visible()
