"""How long from key press to painted pictures, in JupyterLab in Chromium: python tests/benchmarks/bench_latency.py.

Pages of one run, by turns in blocks: a bench on one strip (19 s, mono, first control moved), with the first lesson's
four stages and with a compressor and a fader behind them; an eight-strip session (19 s each, a strip's preamp moved);
and the same pictures behind a bare slider with no audio work. A press counts from the key event's own time to the
moment when every picture that changes was painted and its canvas was read
back. Then both benches once more while they play: a press counts until the changed sound leaves the page, which is
where the crossfade to it begins by the clock of the output (`getOutputTimestamp`).
Prints median and 95th percentile in ms, and the ratio of each bench to the bare page.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve()
MEDIA = HERE.parents[2] / "media"

ONE = f"""\
import gainlib as gl
take = gl.read({str(MEDIA / "lead-voice.flac")!r})
chain = [gl.Source(-24.0), gl.Preamp(40.0), gl.Converter("EBU R 68"), gl.Trim(), gl.Compressor(), gl.Fader()]
session = gl.Session.of(take, chain, name="voice")
bench = gl.bench(session, controls=["preamp/gain_db"], views=["level diagram", "waveform"])
bench"""

SIX = ONE
ONE = ONE.replace(", gl.Compressor(), gl.Fader()", "")  # the chain of the first lesson

EIGHT = f"""\
import gainlib as gl
from gainlib.flow import Bus, Strip
names = ["lead-voice", "backing-voices", "guitar", "bass", "kick", "snare", "hats", "pad"]
chain = (gl.Source(-24.0), gl.Preamp(30.0), gl.Converter("EBU R 68"), gl.Compressor(), gl.Pan(), gl.Fader())
strips = [Strip(name, gl.read({str(MEDIA)!r} + f"/{{name}}.flac"), chain) for name in names]
session = gl.Session(tuple(strips), main=Bus("main", (gl.Fader(), gl.Limiter())))
bench = gl.bench(session, controls=["lead-voice/preamp/gain_db"], views=["level diagram"])
bench"""

# The same pictures and columns, moved by a slider that computes nothing but two scaled columns.
BARE = """\
import ipywidgets
from gainlib.benches.inputs import input_of
from gainlib.widgets.picture import Picture
pictures = [Picture(view.figure(bench.rendering), view.columns(bench.rendering)) for view in bench.views]
drawn = [view.columns(bench.rendering) for view in bench.views]
slider = input_of(bench.controls["preamp/gain_db"], 40.0, "")
def moved(change):
    scale = 1.0 + (change["new"] - 40.0) / 100.0
    for picture, columns in zip(pictures, drawn):
        first = next(iter(columns))
        scaled = {name: each if isinstance(each, list) else each * scale for name, each in columns[first].items()}
        picture.show({**columns, first: scaled}, "moved")
slider.observe(moved, "value")
box = ipywidgets.VBox([*pictures, slider])
box.add_class("gainlib-bench")
box"""

WATCH = """pictures => {
    window.presses = [];
    let pressed = 0, waiting = 0;
    const roots = [...course.bokeh.library.index.roots].filter(each => each.model.type === "Figure");
    for (const view of roots) {
        const paint = view._actual_paint.bind(view);
        let stale = false;
        for (const source of view.model.document._all_models.values())
            if (source.type === "ColumnDataSource") source.properties.data.change.connect(() => { stale = true; });
        view._actual_paint = (...given) => {
            const painted = paint(...given);
            if (stale) {
                stale = false;
                for (const canvas of view.canvas_view.el.shadowRoot?.querySelectorAll("canvas") ?? [])
                    canvas.getContext("2d")?.getImageData(0, 0, 1, 1);
                if (--waiting === 0) window.presses.push(performance.now() - pressed);
            }
            return painted;
        };
    }
    window.addEventListener("keydown", event => { pressed = event.timeStamp; waiting = pictures; }, true);
    return roots.length;
}"""


LISTEN = """() => {
    window.sounds = [];
    let pressed = 0;
    const { loop } = [...course.players.values()].find(each => each.loop);
    const swap = loop.swap.bind(loop);
    loop.swap = () => {
        const before = loop.startedAt;
        swap();
        if (loop.startedAt === before || !pressed) return;
        const { contextTime, performanceTime } = loop.context.getOutputTimestamp();
        window.sounds.push(performanceTime + (loop.startedAt - contextTime) * 1000 - pressed);
        pressed = 0;
    };
    window.addEventListener("keydown", event => { pressed = event.timeStamp; }, true);
}"""


def laboratory(folder: Path) -> tuple[Any, Any]:
    """The tests' own JupyterLab and how they start Chromium."""
    spec = importlib.util.spec_from_file_location("laboratory", HERE.parents[1] / "browser" / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["laboratory"] = module
    spec.loader.exec_module(module)
    return module.Lab(folder), module


def pressed(page: Any, count: int, pause_ms: int, noted: str = "presses") -> list[float]:
    """Milliseconds of each press as they were `noted`, the slider going to and fro; one press at a time."""
    slider = page.locator(".gainlib-range input[type=range]").first
    slider.focus()
    for number in range(count):
        page.keyboard.press("ArrowRight" if number % 8 < 4 else "ArrowLeft")
        page.wait_for_function(f"() => window.{noted}.length === {number + 1}", timeout=10_000, polling=20)
        page.wait_for_timeout(pause_ms)
    return list(page.evaluate(f"window.{noted}"))


def told(name: str, times: list[float]) -> str:
    """Median and 95th percentile."""
    return f"{name:34} median {statistics.median(times):6.1f}   p95 {percentile(times):6.1f}   n {len(times)}"


def percentile(times: list[float]) -> float:
    """The 95th percentile, the next value above it."""
    return sorted(times)[min(len(times) - 1, int(0.95 * len(times)))]


def main() -> None:
    """Measure and print."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--presses", type=int, default=60)
    arguments.add_argument("--blocks", type=int, default=2, help="how often the three pages take turns")
    arguments.add_argument("--json", action="store_true")
    given = arguments.parse_args()
    found: dict[str, list[float]] = {
        "bare page": [],
        "one strip": [],
        "one strip, six stages": [],
        "eight strips": [],
        "one strip, heard": [],
        "eight strips, heard": [],
    }
    with tempfile.TemporaryDirectory() as folder:
        lab, tools = laboratory(Path(folder))
        try:
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=tools.CHROMIUM, args=tools.ARGUMENTS)
                pages = {
                    "bare page": (lab.write("bare.ipynb", ONE.removesuffix("bench") + "None", BARE), 2),
                    "one strip": (lab.write("one.ipynb", ONE), 2),
                    "one strip, six stages": (lab.write("six.ipynb", SIX), 2),
                    "eight strips": (lab.write("eight.ipynb", EIGHT), 1),
                }
                for _ in range(given.blocks):
                    for name, (notebook, pictures) in pages.items():
                        page = browser.new_page(viewport={"width": 1280, "height": 1000})
                        lab.open(page, notebook)
                        lab.run_all(page)
                        page.wait_for_function(f"() => window.course?.bokeh.library?.documents.length === {pictures}")
                        page.wait_for_timeout(2500)
                        assert page.evaluate(WATCH, pictures) == pictures
                        # The first presses meet cold caches in the kernel and in the page.
                        found[name] += pressed(page, given.presses // given.blocks + 5, 60)[5:]
                        if f"{name}, heard" in found:
                            page.get_by_role("button", name="Play").click()
                            page.wait_for_function(
                                "() => [...course.players.values()].some(each => each.loop?.playing)"
                            )
                            page.wait_for_timeout(1500)
                            page.evaluate(LISTEN)
                            found[f"{name}, heard"] += pressed(page, given.presses // given.blocks + 5, 60, "sounds")[
                                5:
                            ]
                        page.close()
                        for session in json.loads(lab.ask("api/sessions")):
                            lab.ask(f"api/sessions/{session['id']}", "DELETE")
                browser.close()
        finally:
            lab.stop()
    if given.json:
        print(json.dumps(found))
        return
    for name, times in found.items():
        print(told(name, times))
    bare = found["bare page"]
    for name in [each for each in found if not each.endswith(", heard")][1:]:
        ratios = statistics.median(found[name]) / statistics.median(bare), percentile(found[name]) / percentile(bare)
        print(f"{name} / bare page: median {ratios[0]:.2f}, p95 {ratios[1]:.2f}")


if __name__ == "__main__":
    main()
