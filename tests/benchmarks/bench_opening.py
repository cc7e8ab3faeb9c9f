"""How long until a course and its lessons stand there, in Chromium: python tests/benchmarks/bench_opening.py [nn ...].

`gainlib open` as a learner gives it, then a click on each lesson in the contents. Prints seconds, each counted from the
command or the click: until the server answers, the page stands, the list is there; for a lesson until its text stands,
its first bench, that bench's picture, and until the kernel has answered a key press on its slider; and what
the processor worked for it meanwhile, in server and kernels and in the browser. `--rounds` opens the course so often;
`--reads` is how long the learner reads the contents. Linux only; the load of the machine is printed, since all depends
on it.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import runpy
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve()
LESSONS = HERE.parents[2] / "lessons"
LONGEST_MS = 180_000
STANDS = "() => document.querySelector('.jp-Notebook .jp-RenderedHTMLCommon h1')"
LIST = "() => document.querySelector('.jp-Notebook a[href*=\"15-\"]')"
SHOWN = "() => [...document.querySelectorAll('.jp-NotebookPanel')].find(each => each.offsetParent)"
TITLE = f"() => ({SHOWN})()?.querySelector('h1')?.textContent ?? ''"
TEXT = f"() => !['', 'Gain staging'].includes(({TITLE})().replace('¶', '').trim())"
BENCH = f"() => ({SHOWN})()?.querySelector('.gainlib-bench input[type=range]:not(:disabled)')"
PICTURE = "() => [...(window.course?.bokeh.library?.index.roots ?? [])].find(each => each.model.type === 'Figure')"
FOCUS = f"() => ({BENCH})().focus({{ preventScroll: true }})"
ANSWERED = "() => !document.querySelector('[data-gainlib-waiting]')"
AT_REST = f"() => !({SHOWN})()?.querySelector('.gainlib-page-line')"


def worked(browser):
    """Processor seconds of everything that was started here: the browser's, and all others'."""
    seconds = [0.0, 0.0]
    for each in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.Error):
            times, name = each.cpu_times(), each.name()
            seconds["chrom" in name] += times.user + times.system
    return seconds if browser is None else [now - before for now, before in zip(seconds, browser, strict=True)]


class Watch:
    """Seconds from its making to each mark, and the work of the processor."""

    def __init__(self):
        self.at, self.before, self.marks = time.monotonic(), worked(None), []

    def mark(self):
        self.marks.append(time.monotonic() - self.at)

    def row(self):
        return " ".join(f"{each:8.2f}" for each in [*self.marks, *worked(self.before)]) + f" {os.getloadavg()[0]:6.1f}"


def opened(folder, state):
    """The process of `gainlib open`, and its address."""
    process = subprocess.Popen(
        [str(Path(sys.executable).with_name("gainlib")), "open", str(folder), "--no-browser"],
        env=os.environ | {"GAINLIB_STATE": str(state)},
        stdout=subprocess.PIPE,
        text=True,
    )
    for line in process.stdout:
        if found := re.search(r"http://\S+", line):
            return process, found[0]
    raise SystemExit("gainlib open ended by itself")


def contents_shown(page, address, watch):
    page.goto(address)
    page.wait_for_function(STANDS, timeout=LONGEST_MS)
    watch.mark()
    page.wait_for_function(LIST, timeout=LONGEST_MS)
    watch.mark()


def lesson_opened(page, name):
    watch = Watch()
    page.locator(f'.jp-Notebook a[href*="{name}"]').first.click()
    page.wait_for_function(TEXT, timeout=LONGEST_MS)
    watch.mark()
    page.wait_for_function(BENCH, timeout=LONGEST_MS)
    watch.mark()
    page.wait_for_function(PICTURE, timeout=LONGEST_MS)
    watch.mark()
    page.evaluate(FOCUS)
    page.keyboard.press("ArrowRight")
    page.wait_for_function(ANSWERED, timeout=LONGEST_MS)
    watch.mark()
    row = watch.row()
    page.wait_for_function(AT_REST, timeout=LONGEST_MS)
    watch.mark()
    return f"{row} {watch.marks[-1]:8.2f}"


def main() -> int:
    """Contents so many times, each lesson once, in one folder."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("lesson", nargs="*", help="the two digits of lessons; all of them when none is given")
    arguments.add_argument("--rounds", type=int, default=3)
    arguments.add_argument("--reads", type=float, default=8.0, help="seconds")
    given = arguments.parse_args()
    names = [
        each.stem for each in sorted(LESSONS.glob("[0-9]*.ipynb")) if not given.lesson or each.name[:2] in given.lesson
    ]
    tools = runpy.run_path(str(HERE.parents[1] / "browser" / "conftest.py"))
    with tempfile.TemporaryDirectory() as place, sync_playwright() as play:
        folder, state = Path(place, "course"), Path(place, "state")
        print(
            f"{'from the command':28} {'server':>8} {'page':>8} {'list':>8} {'cpu rest':>8} {'cpu page':>8} {'load':>6}"
        )
        for turn in range(given.rounds + 1):
            watch = Watch()
            process, address = opened(folder, state)
            browser = None
            try:
                watch.mark()
                before = time.monotonic()
                browser = play.chromium.launch(executable_path=tools["CHROMIUM"], args=tools["ARGUMENTS"])
                watch.at += time.monotonic() - before  # a learner's browser is open already
                page = browser.new_page(viewport={"width": 1366, "height": 768})
                tools["look_inside"](page)
                contents_shown(page, address, watch)
                print(f"{'contents, first time' if not turn else 'contents':28} {watch.row()}", flush=True)
                if turn == given.rounds:
                    heads = ("text", "bench", "picture", "answers", "cpu rest", "cpu page")
                    print(f"{'from the click':28} {' '.join(f'{each:>8}' for each in heads)} {'load':>6} {'all':>8}")
                    for name in names:
                        page.goto(address)
                        page.wait_for_function(LIST, timeout=LONGEST_MS)
                        page.wait_for_timeout(given.reads * 1000)
                        print(f"{name:28} {lesson_opened(page, name)}", flush=True)
            finally:
                if browser is not None:
                    browser.close()
                process.terminate()
                process.wait(30)
    return 0


if __name__ == "__main__":
    sys.exit(main())
