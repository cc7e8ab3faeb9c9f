"""What grows over many moves of a bench in JupyterLab: python tests/benchmarks/bench_soak.py [--moves 500].

The preamp goes to and fro by key presses in the page while the player sounds. Before and after: memory of the kernel
process, widgets and comms in the kernel, Bokeh documents and models in the page, and the page's heap after a
collection. Ends with 1 when something grew: more documents, widgets or comms, or over 15 % more memory.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve()
MEDIA = HERE.parents[2] / "media"

BENCH = f"""\
import gainlib as gl
take = gl.read({str(MEDIA / "lead-voice.flac")!r})
chain = [gl.Source(-24.0), gl.Preamp(40.0), gl.Converter("EBU R 68"), gl.Trim(), gl.Compressor(), gl.Fader()]
session = gl.Session.of(take, chain, name="voice")
bench = gl.bench(session, controls=["preamp/gain_db", "trim/gain_db"], views=["level diagram", "waveform"])
bench"""

COUNT = """\
import gc, json, os
from ipywidgets.widgets.widget import _instances
import comm
gc.collect()
pages = int(open("/proc/self/statm").read().split()[1])
print(json.dumps({"kernel MB": pages * os.sysconf("SC_PAGE_SIZE") / 1e6, "widgets": len(_instances),
                  "comms": len(comm.get_comm_manager().comms)}))"""


def tools_of_the_tests() -> Any:
    """The tests' own JupyterLab and how they start Chromium."""
    spec = importlib.util.spec_from_file_location("laboratory", HERE.parents[1] / "browser" / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["laboratory"] = module
    spec.loader.exec_module(module)
    return module


def counted(page: Any) -> dict[str, float]:
    """What is there now, in the kernel and in the page."""
    cell = page.locator(".jp-CodeCell").last
    cell.locator(".jp-InputArea-editor").click()
    page.keyboard.press("Control+Enter")
    page.wait_for_function(
        "() => /\\| Idle/.test(document.querySelector('#jp-main-statusbar').innerText) && "
        "[...document.querySelectorAll('.jp-CodeCell')].at(-1).querySelector('.jp-InputPrompt').textContent.match(/\\d/)",
        timeout=60_000,
    )
    page.wait_for_timeout(500)
    found = json.loads(cell.locator(".jp-OutputArea-output").inner_text())
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    heap = session.send("Runtime.getHeapUsage")["usedSize"] / 1e6
    session.detach()
    documents, models = page.evaluate("""() => [course.bokeh.library.documents.length,
        course.bokeh.library.documents.reduce((sum, each) => sum + each._all_models.size, 0)]""")
    return {**found, "documents": documents, "models": models, "page heap MB": heap}


def main() -> int:
    """Move, count, compare."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--moves", type=int, default=500)
    given = arguments.parse_args()
    tools = tools_of_the_tests()
    with tempfile.TemporaryDirectory() as folder:
        lab = tools.Lab(Path(folder))
        try:
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=tools.CHROMIUM, args=tools.ARGUMENTS)
                page = browser.new_page(viewport={"width": 1280, "height": 1000})
                lab.open(page, lab.write("soak.ipynb", BENCH, COUNT))
                lab.run_all(page)
                page.wait_for_function("() => window.course?.bokeh.library?.documents.length === 2")
                page.get_by_role("button", name="Play").click()
                slider = page.get_by_role("slider", name="Preamp gain")
                text = """() => course.bokeh.library.documents
                    .map(each => each.get_model_by_name('numbers')).find(each => each)"""

                def moves(count: int) -> None:
                    slider.focus()
                    for number in range(count):
                        page.keyboard.press("ArrowRight" if number % 20 < 10 else "ArrowLeft")
                        page.wait_for_timeout(20)
                    page.wait_for_timeout(1500)
                    page.wait_for_function(f"({text})().data.text.length > 0")

                moves(60)  # what is made once and kept is made by now
                before = counted(page)
                moves(given.moves)
                after = counted(page)
                browser.close()
        finally:
            lab.stop()
    grew = []
    for name, was in before.items():
        now = after[name]
        limit = was * 1.15 if "MB" in name else was
        grew += [name] if now > limit else []
        print(f"{name:14} {was:10.1f} -> {now:10.1f}   {'GREW' if now > limit else 'holds'}")
    print(f"{given.moves} moves: {'nothing grew' if not grew else ', '.join(grew) + ' grew'}")
    return 1 if grew else 0


if __name__ == "__main__":
    sys.exit(main())
