"""One JupyterLab and one page for all tests of a process: notebooks are opened in it, each on a kernel that is warm.

The page may have no error and ask nothing of the outside world. What the course's scripts share is there for the tests
as `course`: the same module that the widgets import.
"""

from __future__ import annotations

import base64
import functools
import json
import os
import secrets
import shutil
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import forked_kernels
import numpy as np
import pytest
from browser.processes import end_process

from gainlib.learners.jupyter_server import free_port
from gainlib.page import EXTENSIONS, course_digests
from gainlib.widgets.assets import SHARED_URL

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome") or ""
REQUIRED = os.environ.get("GAINLIB_REQUIRE_BROWSER") == "1"
LESSONS = Path(__file__).parents[2] / "lessons"
WARM = 'c.IPKernelApp.exec_lines = ["import gainlib.benches.book_panel; del gainlib"]'
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


def _idle(condition: str = "true") -> str:
    # The notebook's own indicator reads "idle" before a kernel is connected; the status bar does not.
    return f"() => {condition} && /\\| Idle/.test(document.querySelector('#jp-main-statusbar')?.innerText || '')"


CLEAR = """() => {
    for (const each of [...jupyterapp.shell.widgets("main")]) each.dispose();
    for (const each of window.course?.players.values() ?? []) each.stop();
    window.course?.players.clear();
}"""
BUSY = "import pathlib, time\nwhile pathlib.Path('busy').exists(): time.sleep(0.02)"
ERRORS = """() => [...document.querySelectorAll('[data-mime-type="application/vnd.jupyter.error"]')]
    .map(each => each.innerText)"""
# A long list of numbers would take seconds on its way out of the page.
SAMPLES = """async (samples, given) => {
    const blob = new Blob([new Float32Array(await samples(given))]);
    return new Promise((resolve) => {
        const reader = new FileReader();
        reader.onload = () => resolve(reader.result.split(",")[1]);
        reader.readAsDataURL(blob);
    });
}"""
AT_REST = "() => { const panel = jupyterapp.shell.currentWidget; return panel?.gainlibReady && !panel.gainlibRuns; }"
RUN = f"""() => {{
    const ran = () => {{ window.ran = true; }};
    const look = () => (({AT_REST})() ? ran() : setTimeout(look, 50));
    if (jupyterapp.shell.currentWidget.gainlibPage) look();
    else jupyterapp.commands.execute("runmenu:run-all").then(ran);
}}"""
SHOW = f"""async ([path, kernel]) => {{
    ({CLEAR})();
    await jupyterapp.commands.execute("docmanager:open", {{ path, factory: "Notebook", kernel: {{ id: kernel }} }});
}}"""


class Lab:
    """A running JupyterLab: `root` is its folder, `open` shows a notebook, `run_all` runs it to the end."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        self.root.mkdir()
        for lesson in LESSONS.glob("*"):
            if lesson.is_file():
                shutil.copy(lesson, self.root)
        port = free_port()
        self.token = secrets.token_hex(16)
        self.base = f"http://127.0.0.1:{port}"
        settings = folder / "settings" / "@jupyterlab" / "apputils-extension"
        settings.mkdir(parents=True)
        (settings / "notification.jupyterlab-settings").write_text(
            json.dumps({"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True})
        )
        own = {
            "JUPYTER_CONFIG_DIR": "config", "JUPYTER_DATA_DIR": "data", "JUPYTER_RUNTIME_DIR": "runtime",
            "JUPYTERLAB_SETTINGS_DIR": "settings", "JUPYTERLAB_WORKSPACES_DIR": "workspaces", "IPYTHONDIR": "ipython",
            "JUPYTER_PATH": "forked",
        }  # fmt: skip
        self.nest: Any = None
        if forked_kernels.FORKS:
            kernels = folder / "forked" / "kernels" / "python3"
            kernels.mkdir(parents=True)
            self.nest = forked_kernels.Nest(folder)
            (kernels / "kernel.json").write_text(json.dumps(self.nest.kernel_spec))
        else:
            profile = folder / "ipython" / "profile_default"
            profile.mkdir(parents=True)
            (profile / "ipython_kernel_config.py").write_text(f"c = get_config()\n{WARM}\n")
        self.spare = ""
        # As a build lays them; `gainlib open` names the same digests in the page's settings.
        extensions = Path(shutil.copytree(EXTENSIONS, folder / "extensions"))
        beside = extensions / "gainlib" / "static" / "digests.json"
        beside.write_text(json.dumps(list(course_digests().values())))
        self.log = folder / "server.log"
        with self.log.open("wb") as log:
            self.process: Any = subprocess.Popen(
                [
                    sys.executable, "-m", "gainlib.learners.lab_process", "--no-browser", "--allow-root",
                    "--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}", "--ServerApp.port_retries=0",
                    "--LabApp.expose_app_in_browser=True", "--LanguageServerManager.autodetect=False",
                    f"--LabApp.extra_labextensions_path={extensions}",
                    f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={self.root}",
                ],
                env={**os.environ, **{name: str(folder / place) for name, place in own.items()}},
                stdin=subprocess.PIPE,
                stdout=log,
                stderr=subprocess.STDOUT,
            )  # fmt: skip
        end = time.monotonic() + 60
        while True:
            if self.process.poll() is not None or time.monotonic() > end:
                self.stop()
                raise RuntimeError(self.log.read_text())
            try:
                self.ask("api/status")
                break
            except OSError:
                time.sleep(0.05)
        if self.nest:
            self.nest.ready()

    def ask(self, path: str, method: str = "GET", body: bytes | None = None) -> bytes:
        """One request to the server's own interface."""
        request = urllib.request.Request(f"{self.base}/{path}?token={self.token}", body, method=method)
        with urllib.request.urlopen(request, timeout=30) as answer:
            return bytes(answer.read())

    def kernel(self) -> str:
        """A fresh kernel; the next one warms up while this one is used."""

        def started() -> str:
            return str(json.loads(self.ask("api/kernels", "POST", b'{"name": "python3", "path": ""}'))["id"])

        kernel, self.spare = self.spare or started(), started()
        return kernel

    def end_kernels(self) -> None:
        """End every kernel that a notebook had."""
        for session in json.loads(self.ask("api/sessions")):
            self.ask(f"api/sessions/{session['id']}", "DELETE")

    def stop(self) -> None:
        """End the server, which ends its kernels."""
        if self.process.poll() is None:
            end_process(self.process)
        self.process.stdin.close()
        if self.nest:
            self.nest.end()

    def write(self, name: str, *cells: str, lesson: bool = False) -> str:
        """A notebook of these cells in the server's folder, on request marked as a lesson; gives its name back."""
        made = {
            "cells": [
                {
                    "cell_type": "code", "id": f"cell-{index}", "metadata": {}, "execution_count": None,
                    "outputs": [], "source": cell,
                }
                for index, cell in enumerate(cells)
            ],
            "metadata": {
                "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
                **({"gainlib": {"lesson": True}} if lesson else {}),
            },
            "nbformat": 4,
            "nbformat_minor": 5,
        }  # fmt: skip
        (self.root / name).write_text(json.dumps(made))
        return name

    def enter(self, page: Any, place: str = "lab") -> None:
        """Load JupyterLab itself, with nothing open; a second tab has a place of its own."""
        look_inside(page)
        page.goto(f"{self.base}/{place}?token={self.token}&reset")
        page.wait_for_function("() => window.jupyterapp", timeout=60_000)
        page.evaluate("() => jupyterapp.restored.then(() => {})")
        # The launcher is the last that JupyterLab lays out; a notebook that is opened before may be closed by it.
        page.wait_for_function("() => jupyterapp.shell.currentWidget")

    def open(self, page: Any, name: str) -> None:
        """Show a notebook, alone, and wait until its kernel is connected."""
        if not page.url.startswith(f"{self.base}/lab"):
            self.enter(page)
        self.end_kernels()
        page.evaluate(SHOW, [name, self.kernel()])
        page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
        page.wait_for_function(_idle(), timeout=60_000)

    def start(self, page: Any) -> None:
        """Begin to run every cell."""
        page.evaluate("() => { jupyterapp.commands.execute('runmenu:run-all'); }")

    def run_all(self, page: Any, timeout: int = 120_000) -> None:
        """Run every cell and wait for the last; no cell may show an error. A lesson of the course runs by itself."""
        page.evaluate("() => { window.ran = false; }")
        page.evaluate(RUN)
        done = r"""window.ran && [...document.querySelectorAll('.jp-Notebook .jp-CodeCell .jp-InputPrompt')]
            .every(each => /^\[\d+\]:$/.test(each.textContent.trim()))"""
        page.wait_for_function(_idle(done), timeout=timeout)
        assert page.evaluate(ERRORS) == []

    def shows(self, page: Any, name: str) -> bool:
        """Whether this notebook is open already, with its kernel."""
        there = any(session["path"] == name for session in json.loads(self.ask("api/sessions")))
        return there and bool(
            page.evaluate("name => window.jupyterapp?.shell.currentWidget?.context?.path === name", name)
        )

    def run(self, page: Any, name: str, *cells: str, pictures: int) -> Any:
        """These cells as a notebook, run from top to bottom (again, where it is open already), until all is drawn."""
        if not self.shows(page, name):
            self.open(page, self.write(name, *cells))
        self.run_all(page)
        self.drawn(page, pictures)
        return page

    def drawn(self, page: Any, pictures: int) -> None:
        """Wait until so many pictures stand on the page."""
        page.wait_for_function("count => window.course?.bokeh.library?.documents.length === count", arg=pictures)

    def samples(self, page: Any, script: str, given: Any = None) -> Any:
        """The samples that a function of the page gives, as an array of doubles."""
        codes = page.evaluate(f"given => ({SAMPLES})({script}, given)", given)
        return np.frombuffer(base64.b64decode(codes), dtype="<f4").astype(np.float64)

    def settled(self, page: Any) -> None:
        """Wait until everything that was moved on the page has reached the kernel."""
        page.wait_for_function("() => !document.querySelector('[data-gainlib-waiting]')")

    def theme(self, page: Any, name: str) -> None:
        """Put the page in the theme "Light" or "Dark"."""
        page.evaluate("theme => jupyterapp.commands.execute('apputils:change-theme', { theme })", f"JupyterLab {name}")
        page.wait_for_function(f"() => document.body.dataset.jpThemeLight === '{str(name == 'Light').lower()}'")

    def hold(self) -> None:
        """From now on a cell or a callback of `BUSY` keeps the kernel busy, until `free`."""
        (self.root / "busy").touch()

    def free(self) -> None:
        """The kernel has nothing to do any more."""
        (self.root / "busy").unlink(missing_ok=True)


def look_inside(page: Any) -> None:
    """Give the tests, as `course`, the module in which the widgets of a page meet."""
    page.add_init_script(f"import({json.dumps(SHARED_URL)}).then((module) => {{ window.course = module; }});")
    # Whatever waits for some seconds has waited already: no bench may hang on how quick its page is.
    page.add_init_script("""AbortSignal.timeout = () => {
        const ends = new AbortController();
        setTimeout(() => ends.abort());
        return ends.signal;
    };""")
    # As for somebody who has used "More" before; `course.unfold(false)` is how a bench opens for the first time.
    page.add_init_script("try { localStorage.setItem('gainlib-unfolded', '1'); } catch { /* a page with no place */ }")


@pytest.fixture(scope="session")
def lab(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    """JupyterLab with the course's lessons in its folder; not started where no browser could look at it."""
    running = Lab(tmp_path_factory.mktemp("lab"))
    yield running
    running.stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium without a window; tests are skipped where there is none, unless GAINLIB_REQUIRE_BROWSER=1."""
    missing = (
        ""
        if CHROMIUM and Path(CHROMIUM).exists()
        else "chromium is not installed (apt-get install chromium, or set CHROMIUM)"
    )
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing = missing or "playwright is not installed (pip install 'gainlib[test]')"
    if missing:
        (pytest.fail if REQUIRED else pytest.skip)(missing)
    with sync_playwright() as tools:
        started = tools.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield started
        started.close()


CLOSED_TOO_SOON = {
    "Cannot read properties of null (reading 'promise')",
    "Canceled future for create_subshell_request message before replies were done",
}
"""What JupyterLab 4.6 says of a page that is closed in one breath with its opening; nothing hangs on either.

Its toolbar measures itself a moment after it is shown (ui-components, `ReactiveToolbar.onAfterShow`) and does not ask
whether it was disposed meanwhile. And for the first widget of a page it asks the kernel for a subshell (services,
`CommHandler`), and heeds nowhere that this is cancelled when the page goes before the answer is there. No script of the
course asks for a `promise` or a subshell (`test_page.py`).
"""


@contextmanager
def watched(browser: Any, lab: Lab, clock: bool = False) -> Iterator[tuple[Any, list[str]]]:
    """A page of a 1280 laptop, and what went wrong in it; its clock can be put forward where it is one of ours."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    shown = context.new_page()
    shown.set_default_timeout(60_000)
    problems: list[str] = []
    allowed = (lab.base, lab.base.replace("http", "ws"), "data:", "blob:")

    def failed(error: Any) -> None:
        if error.message.removeprefix("Error: ") not in CLOSED_TOO_SOON:
            problems.append(f"page error: {error}, {error.stack}")

    shown.on("pageerror", failed)
    shown.on("request", lambda asked: None if asked.url.startswith(allowed) else problems.append(f"asked {asked.url}"))
    if clock:
        shown.clock.install()
    else:
        # To look at every frame would have every frame drawn, which is most of what a page with many pictures costs.
        # What looks by the page's own clock must not, where a test puts that forward.
        shown.wait_for_function = functools.partial(shown.wait_for_function, polling=50)
    lab.enter(shown)
    try:
        yield shown, problems
    finally:
        context.close()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Iterator[None]:
    """Tell the page's fixture whether a test failed in it."""
    report = yield
    item.stash[FAILED] = item.stash.get(FAILED, False) or report.failed
    return report


FAILED = pytest.StashKey[bool]()


class Shared:
    """A page that many tests use one after the other: loaded when the first asks, and anew after one that failed."""

    def __init__(self, browser: Any, lab: Lab, clock: bool = False) -> None:
        self._made = lambda: watched(browser, lab, clock)
        self._held: Any = None
        self.problems: list[str] = []

    def unload(self) -> None:
        """Close it; whoever asks next has another."""
        if self._held is not None:
            context, self._held = self._held[0], None
            context.__exit__(None, None, None)

    def lent(self, request: pytest.FixtureRequest) -> Iterator[Any]:
        """The page for one test; at the end it must have had no error and asked nothing outside."""
        if self._held is None:
            context = self._made()
            self._held = (context, *context.__enter__())
        _, page, self.problems = self._held
        yield page
        found = list(self.problems)
        self.problems.clear()
        if found or request.node.stash.get(FAILED, False):
            self.unload()
        else:
            page.set_viewport_size({"width": 1280, "height": 900})
        assert found == []


@pytest.fixture(scope="session")
def shared_page(browser: Any, lab: Lab) -> Iterator[Shared]:
    """The page of all tests that need no other."""
    shared = Shared(browser, lab)
    yield shared
    shared.unload()


@pytest.fixture(scope="session")
def shared_clocked_page(browser: Any, lab: Lab) -> Iterator[Shared]:
    """The page of all tests that put its clock forward."""
    shared = Shared(browser, lab, clock=True)
    yield shared
    shared.unload()


@pytest.fixture
def page(shared_page: Shared, request: pytest.FixtureRequest) -> Iterator[Any]:
    """The page that the tests share; who leaves it in disorder enters JupyterLab anew at its end."""
    yield from shared_page.lent(request)


@pytest.fixture
def clocked_page(shared_clocked_page: Shared, request: pytest.FixtureRequest) -> Iterator[Any]:
    """A second shared page, whose clock the tests put forward, so that nobody waits for what takes seconds."""
    yield from shared_clocked_page.lent(request)


@pytest.fixture
def pressed_at(page: Any) -> Iterator[Callable[[float], None]]:
    """Sets when the page is told that keys and buttons are pressed, in milliseconds, however long that takes."""
    page.evaluate("""() => Object.defineProperty(UIEvent.prototype, "timeStamp", {
        get: () => window.pressedAt, configurable: true })""")
    yield lambda moment: page.evaluate("moment => { window.pressedAt = moment; }", moment)
    page.evaluate("() => { delete UIEvent.prototype.timeStamp; delete window.pressedAt; }")


@pytest.fixture
def keep() -> Callable[[Any, str], None]:
    """Take a picture of the page into the folder that GAINLIB_SHOTS names; none where nobody wants to look at it."""
    folder = os.environ.get("GAINLIB_SHOTS")

    def taken(page: Any, name: str) -> None:
        if folder:
            page.screenshot(path=Path(folder) / f"{name}.png")

    return taken


@pytest.fixture
def busy_cell() -> str:
    """A cell that keeps the kernel busy from the lab's `hold` to its `free`."""
    return BUSY


SLOW_BENCH = """\
import pathlib, time
import numpy as np
import gainlib as gl
sine = np.sin(2 * np.pi * 997 * np.arange(4 * 48_000) / 48_000)
ride = gl.Ride(points=((1.0, 0.0), (2.0, -6.0)))
session = gl.Session.of(gl.Audio(0.1 * sine, 48_000), [gl.Trim(), ride], name="voice")
bench = gl.bench(session, controls=["trim/gain_db", "ride/points"], views=["waveform"])
def wait(_):
    while pathlib.Path("busy").exists(): time.sleep(0.02)
    if pathlib.Path("another").exists():
        pathlib.Path("another").unlink()
        bench.move("trim/gain_db", -11.0)
stop = bench.on_move(wait)
bench"""
FIELDS = "() => [...document.querySelectorAll('.gainlib-ride input')].map(each => each.value)"
FOCUS = "name => document.querySelector(`.gainlib-bench input[aria-label='${name}']`).focus()"
COMPLAINT = "() => document.querySelector('.gainlib-ride .gainlib-complaint').textContent"


@pytest.fixture
def slow_bench(lab: Lab) -> Callable[[Any], Any]:
    """Shows a bench with a trim and a ride whose moves last from the lab's `hold` to its `free`.

    With a file "another" in the lab's folder the first of them ends with another move, as of a button that was pressed.
    """
    return lambda page: lab.run(page, "typing.ipynb", SLOW_BENCH, pictures=1)


@pytest.fixture
def ride_is_typed(lab: Lab, slow_bench: Callable[[Any], Any]) -> Callable[..., None]:
    """Types the points of a ride while the kernel is slow, in any browser: `write` types a text, `press` one key."""

    def typed(page: Any, write: Callable[[str], None], press: Callable[[str], None]) -> None:
        slow_bench(page)
        lab.hold()
        page.evaluate(FOCUS, "Ride points, point 2, seconds")
        write("2,5")
        press("Tab")  # the kernel begins to work on the time
        write("-1,")
        assert page.evaluate(FIELDS) == ["1.00", "0.0", "2.50", "-1,"]
        lab.free()
        lab.settled(page)
        write("5")
        press("Enter")
        lab.settled(page)
        assert page.evaluate(FIELDS) == ["1.00", "0.0", "2.50", "−1.5"]
        write("1.5x")
        press("Enter")
        lab.settled(page)
        assert page.evaluate(COMPLAINT) == "Point 2: “1.5x” is in x; give a number in dB, −24 dB to 24 dB."
        assert page.evaluate(FIELDS)[-1] == "−1.5"

    return typed
