"""What was moved on a learner's page stands there again when the kernel was restarted and all cells were run."""

from __future__ import annotations

import pytest
from waiting import wait_until

from gainlib.learners.course_folder import MANIFEST, MARK

pytestmark = pytest.mark.browser

CELLS = (
    """\
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(48_000) / 48_000)
chain = [gl.Source(-30.0), gl.Preamp(33.0), gl.Converter("EBU R 68"), gl.Trim()]
session = gl.Session.of(gl.Audio(sine, 48_000), chain, name="voice")
gl.predict("far", "How far is it?", unit="dB")""",
    'gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"])',
)
OPEN = """async (path) => {
    for (const each of [...jupyterapp.shell.widgets("main")]) each.dispose();
    await jupyterapp.commands.execute("docmanager:open", { path, factory: "Notebook", kernel: { name: "python3" } });
}"""


def test_after_a_restart_and_run_all_the_bench_stands_as_it_was_left(lab, page, keep):
    course = lab.root / "a-learner"
    (course / MARK).mkdir(parents=True)
    (course / MARK / MANIFEST).write_text("{}")
    lab.end_kernels()
    page.evaluate(OPEN, lab.write("a-learner/03-lesson.ipynb", *CELLS))
    page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
    page.wait_for_function("() => /\\\\| Idle/.test(document.querySelector('#jp-main-statusbar')?.innerText || '')")
    lab.run_all(page)
    lab.drawn(page, 1)
    gain = page.get_by_role("slider", name="Preamp gain")
    assert gain.input_value() == "33"
    gain.focus()
    for _ in range(5):
        page.keyboard.press("ArrowRight")
    page.get_by_label("Your guess, in dB").fill("6.5")
    lab.settled(page)
    page.wait_for_function("() => document.querySelector('.gainlib-prediction-kept').textContent.startsWith('Noted')")
    left = course / MARK / "as-left"
    wait_until(
        lambda: any('": 38.0' in file.read_text() for file in left.glob("*.json")), lambda: page.wait_for_timeout(20)
    )
    page.get_by_role("button", name="Restart the kernel and run all cells").click()
    page.get_by_role("button", name="Confirm Kernel Restart").click()
    page.get_by_text("This stands as you left it; Reset takes it back.").wait_for(timeout=60_000)
    assert page.get_by_role("slider", name="Preamp gain").input_value() == "38"
    assert page.get_by_label("Your guess, in dB").input_value() == "6.5"
    page.locator(".gainlib-bench").scroll_into_view_if_needed()
    keep(page, "as-left")
    page.get_by_role("button", name="Reset", exact=True).click()
    page.get_by_text("Every control is back where it started.").wait_for()
    assert page.get_by_role("slider", name="Preamp gain").input_value() == "33"
    assert page.get_by_text("This stands as you left it").count() == 0
