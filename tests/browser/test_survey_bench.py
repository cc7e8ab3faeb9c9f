"""A folder of one's own stems on a bench in JupyterLab: a trim is moved by keyboard, the sheet below follows."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

pytestmark = pytest.mark.browser

CELL = 'import gainlib as gl\nfound = gl.survey("stems")\nfound'


def test_a_moved_trim_is_on_the_sheet_and_is_what_is_written(lab, page, keep):
    stems = lab.root / "stems"
    stems.mkdir()
    for name, amplitude in (("bass", 0.125), ("<b>keys</b>", 0.25)):
        tone = amplitude * np.sin(2 * np.pi * 220 * np.arange(96_000) / 48_000)
        soundfile.write(stems / f"{name.replace('/', '∕')}.wav", tone, 48_000)
    lab.open(page, lab.write("own.ipynb", CELL, "import gainlib as gl"))
    lab.run_all(page)
    row = page.locator(".gainlib-sheet tbody tr", has_text="bass").locator("td.trim")
    row.wait_for()
    assert row.inner_text() == "+0.1"  # 20 log10 of 1/8 is -18.06 dBFS, the target -18
    assert page.locator("progress").count() == 0  # it stood there while the stems were measured
    slider = page.get_by_role("slider", name="Bass, trim")
    slider.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    page.wait_for_function("""() => [...document.querySelectorAll(".gainlib-sheet tbody tr")].some(
        each => each.innerText.startsWith("bass") && each.querySelector("td.trim").innerText === "−0.9")""")
    assert "<b>keys" in page.locator(".gainlib-sheet tbody").inner_text()
    keep(page, "own-stems")
    page.locator(".gainlib-sheet").scroll_into_view_if_needed()
    keep(page, "own-stems-sheet")
