"""What a bench costs the browser while it plays: python tests/benchmarks/bench_playing.py.

A bench with the level diagram alone, and one with the waveform below it, in JupyterLab in Chromium: how busy the page's
main thread is, and how busy all of the browser's processes are (raster in software among them), in percent of one core,
while it plays and while it stands still; and the same where the system asks for less motion.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import psutil
from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve()
MEDIA = HERE.parents[2] / "media"

ALONE = f"""\
import gainlib as gl
take = gl.read({str(MEDIA / "lead-voice.flac")!r})
chain = [gl.Source(-24.0), gl.Preamp(40.0), gl.Converter("EBU R 68"), gl.Trim(), gl.Compressor(), gl.Fader()]
session = gl.Session.of(take, chain, name="voice")
bench = gl.bench(session, controls=["preamp/gain_db"], views=["level diagram"])
bench"""
BOTH = ALONE.replace('"level diagram"]', '"level diagram", "waveform"]')
STATES = ("still", "playing", "playing, less motion")


def busy(
    page: Any, devtools: Any, browser: list[psutil.Process], seconds: float
) -> tuple[float, float, dict[str, float]]:
    """Percent of a core: the page's main thread, and all of the browser; and how the first was spent."""

    def now() -> tuple[dict[str, float], float]:
        read = {each["name"]: each["value"] for each in devtools.send("Performance.getMetrics")["metrics"]}
        return {**read, "clock": time.perf_counter()}, sum(sum(each.cpu_times()[:2]) for each in browser)

    before, spent = now()
    page.wait_for_timeout(seconds * 1000)
    after, later = now()
    took = after["clock"] - before["clock"]
    parts = {
        name: 100 * (after[name] - before[name]) / took
        for name in ("ScriptDuration", "LayoutDuration", "RecalcStyleDuration")
    }
    parts |= {name: (after[name] - before[name]) / took for name in ("LayoutCount", "RecalcStyleCount")}
    return 100 * (after["TaskDuration"] - before["TaskDuration"]) / took, 100 * (later - spent) / took, parts


def main() -> None:
    """Measure and print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--seconds", type=float, default=8.0)
    arguments.add_argument("--turns", type=int, default=2)
    given = arguments.parse_args()
    spec = importlib.util.spec_from_file_location("laboratory", HERE.parents[1] / "browser" / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    tools = importlib.util.module_from_spec(spec)
    sys.modules["laboratory"] = tools
    spec.loader.exec_module(tools)
    with tempfile.TemporaryDirectory() as folder:
        lab = tools.Lab(Path(folder))
        try:
            with sync_playwright() as play:
                started = play.chromium.launch(executable_path=tools.CHROMIUM, args=tools.ARGUMENTS)
                page = started.new_page(viewport={"width": 1280, "height": 1000})
                devtools = page.context.new_cdp_session(page)
                devtools.send("Performance.enable", {"timeDomain": "threadTicks"})
                for name, cell, pictures in (("level diagram", ALONE, 1), ("with waveform", BOTH, 2)):
                    lab.run(page, f"{pictures}.ipynb", cell, pictures=pictures)
                    page.wait_for_timeout(2500)
                    mine = [
                        each
                        for each in psutil.Process().children(recursive=True)
                        if "chrom" in each.name() and each.is_running()
                    ]
                    found: dict[str, list[tuple[float, float, dict[str, float]]]] = {each: [] for each in STATES}
                    for _ in range(given.turns):
                        for state in STATES:
                            page.emulate_media(reduced_motion="reduce" if "less" in state else "no-preference")
                            if state == "playing":
                                page.get_by_role("button", name="Play").click()
                                page.wait_for_function(
                                    "() => [...course.players.values()].some(each => each.loop?.playing)"
                                )
                                page.wait_for_timeout(1500)
                            found[state].append(busy(page, devtools, mine, given.seconds))
                        page.get_by_role("button", name="Pause").click()
                    for state, read in found.items():
                        parts = {part: round(statistics.mean(each[2][part] for each in read), 1) for part in read[0][2]}
                        main_thread, whole = (statistics.mean(each[index] for each in read) for index in (0, 1))
                        print(
                            f"{name:14} {state:22} page {main_thread:5.1f} %   browser {whole:5.1f} %   "
                            f"{json.dumps(parts)}"
                        )
                started.close()
        finally:
            lab.stop()


if __name__ == "__main__":
    main()
