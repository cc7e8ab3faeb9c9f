"""How much memory a kernel takes in an open lesson: python tests/benchmarks/bench_memory.py [lesson ...].

Each lesson is opened in JupyterLab in Chromium and run to its end, then up to six of its sliders are moved by key
presses. Prints resident megabytes (of 1,000,000 bytes) of the kernel: when the last cell has run, at most while the
sliders move, and when nothing was moved for 20 s. Linux only: the peak is the kernel's own `VmHWM`, reset before the
first move. A first run also compiles loops, which leaves 60 MB in the kernel that did it.
"""

from __future__ import annotations

import argparse
import json
import runpy
import sys
import tempfile
from pathlib import Path

import psutil
from playwright.sync_api import sync_playwright

from gainlib.storage import lesson_files

HERE = Path(__file__).resolve()
SLIDERS, PRESSES, PAUSE_SECONDS = 6, 10, 23


def kernel_of(lab):
    """The process of the kernel that the open notebook has; another one warms up beside it."""
    (session,) = json.loads(lab.ask("api/sessions"))
    return next(
        each
        for each in psutil.Process().children(recursive=True)
        if "ipykernel_launcher" in each.cmdline() and session["kernel"]["id"] in each.cmdline()[-1]
    )


def resident(kernel, line="VmRSS"):
    """Megabytes that the kernel holds in memory now, or with `VmHWM` held at most."""
    status = Path(f"/proc/{kernel.pid}/status").read_text()
    return int(status.split(f"{line}:")[1].split()[0]) * 1024 / 1e6


def measured(lab, page, name):
    """Megabytes after Run All, at most while sliders move, and after a pause; and how many sliders were moved."""
    lab.open(page, name)
    kernel = kernel_of(lab)
    lab.run_all(page)
    page.wait_for_function("() => window.course?.bokeh.library?.documents.length >= 1")
    page.wait_for_timeout(1000)
    ran = resident(kernel)
    Path(f"/proc/{kernel.pid}/clear_refs").write_text("5")
    # A long notebook keeps only what is near the window in the page, so sliders are looked for from top to bottom.
    moved = 0
    for cell in page.locator(".jp-Notebook .jp-CodeCell").all():
        cell.scroll_into_view_if_needed()
        for slider in cell.locator(".gainlib-bench input[type=range], .gainlib-bench [role=slider]").all():
            if moved < SLIDERS and slider.is_visible() and slider.is_enabled():
                slider.focus()
                for _ in range(PRESSES):
                    page.keyboard.press("ArrowRight")
                    page.wait_for_timeout(50)
                page.wait_for_timeout(500)
                moved += 1
    page.wait_for_timeout(1000)
    most = resident(kernel, "VmHWM")
    page.wait_for_timeout(PAUSE_SECONDS * 1000)
    return ran, most, resident(kernel), moved


def main() -> int:
    """Each lesson in a kernel and a page of its own, one after the other."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("lesson", nargs="*", help="names such as find-clipping; all when none is given")
    files = lesson_files()
    names = [files[each].name for each in arguments.parse_args().lesson or files]
    tools = runpy.run_path(str(HERE.parents[1] / "browser" / "conftest.py"))
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        lab = tools["Lab"](Path(folder))
        try:
            browser = play.chromium.launch(executable_path=tools["CHROMIUM"], args=tools["ARGUMENTS"])
            print(f"{'resident MB':32} {'Run All':>8} {'moving':>8} {'at rest':>8}  sliders moved")
            for name in names:
                page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
                ran, most, rests, moved = measured(lab, page, name)
                print(f"{name:32} {ran:8.0f} {most:8.0f} {rests:8.0f}  {moved}", flush=True)
                page.context.close()
            browser.close()
        finally:
            lab.stop()
    return 0


if __name__ == "__main__":
    sys.exit(main())
