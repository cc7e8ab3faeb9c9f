"""Two lessons in Firefox, from the first cell to a sounding player and a passed exercise."""

from __future__ import annotations

import base64
import itertools
import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import websocket

from gainlib.exercises import author_answer, load
from gainlib.learners.progress import Progress
from gainlib.storage import lesson_files

pytestmark = pytest.mark.browser

PROGRAM = os.environ.get("FIREFOX") or shutil.which("firefox-esr") or shutil.which("firefox") or ""
SINK = shutil.which("pulseaudio") or ""
PREFERENCES = {
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.homepage_override.mstone": "ignore",
    "datareporting.policy.dataSubmissionEnabled": False,
    "app.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
}
KEYS = {
    "ArrowLeft": "\ue012",
    "ArrowRight": "\ue014",
    "Home": "\ue011",
    "End": "\ue010",
    "Enter": "\ue007",
    "Tab": "\ue004",
}
ANSWER = """(async () => (%s)(%s))().then(
    (found) => JSON.stringify({ found: found ?? null }), (fault) => JSON.stringify({ fault: String(fault) }))"""
UNTIL = """async (given, latest) => {
    for (;;) {
        const found = await (%s)(given);
        if (found) return typeof found === 'object' ? true : found;
        if (Date.now() > latest) throw new Error("not within the time that was given");
        await new Promise((resolve) => setTimeout(resolve, 30));
    }
}"""

PLACE = "() => { const each = [...course.players.values()].find(each => each.loop?.playing); return each?.position(); }"
CONTROL = """([exercise, low, high]) => {
    const range = [...document.querySelectorAll(".gainlib-exercise")]
        .find(each => each.querySelector("h3")?.textContent === exercise)
        .querySelectorAll(`input[type=range][min="${low}"][max="${high}"]`)[0];
    range.focus();
    return Number(range.value);
}"""
ARRIVED = "([value, near]) => Math.abs(Number(document.activeElement.value) - value) <= near"
CHECK = """exercise => [...document.querySelectorAll(".gainlib-exercise")]
    .find(each => each.querySelector("h3")?.textContent === exercise).querySelector(".gainlib-check").focus()"""
VERDICT = """exercise => [...document.querySelectorAll(".gainlib-exercise")]
    .find(each => each.querySelector("h3")?.textContent === exercise)
    .querySelector(".gainlib-verdict").textContent"""


class Firefox:
    """One page of a Firefox without a window, over WebDriver BiDi; what it can be asked is named as in Playwright."""

    def __init__(self, program: str, folder: Path, environment: dict[str, str]) -> None:
        profile = folder / "profile"
        profile.mkdir()
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items()]
        (profile / "user.js").write_text("\n".join(lines))
        log = folder / "firefox.log"
        with log.open("wb") as written:
            self.process = subprocess.Popen(
                [program, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port=0"],
                stdout=written,
                stderr=subprocess.STDOUT,
                env={**os.environ, "HOME": str(folder), **environment},
            )
        self._wire: Any = None
        try:
            self._wire = websocket.create_connection(f"{self._address(log)}/session", timeout=180, suppress_origin=True)
            self._numbers = itertools.count(1)
            self.ask("session.new", capabilities={})
            self._page = self.ask("browsingContext.create", type="tab")["context"]
            self.ask("browsingContext.setViewport", context=self._page, viewport={"width": 1280, "height": 900})
        except BaseException:
            self.close()
            raise

    def _address(self, log: Path) -> str:
        end = time.monotonic() + 60
        while self.process.poll() is None and time.monotonic() < end:
            if found := re.search(r"WebDriver BiDi listening on (\S+)", log.read_text(errors="replace")):
                return found[1]
            time.sleep(0.05)
        raise RuntimeError(f"Firefox did not start: {log.read_text(errors='replace')}")

    def ask(self, method: str, **given: Any) -> Any:
        """One command and what came back."""
        number = next(self._numbers)
        self._wire.send(json.dumps({"id": number, "method": method, "params": given}))
        while True:
            answer = json.loads(self._wire.recv())
            if answer.get("id") == number:
                if answer["type"] == "error":
                    raise RuntimeError(f"{method}: {answer['error']}: {answer['message']}")
                return answer["result"]

    def close(self) -> None:
        """End it."""
        self.process.terminate()
        try:
            self.process.wait(15)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        if self._wire is not None:
            self._wire.shutdown()

    @property
    def url(self) -> str:
        """Where the page is."""
        return str(self.ask("browsingContext.getTree", root=self._page)["contexts"][0]["url"])

    def goto(self, url: str) -> None:
        """Load a page."""
        self.ask("browsingContext.navigate", context=self._page, url=url, wait="complete")

    def add_init_script(self, script: str) -> None:
        """Run this before anything of a page that is loaded from now on."""
        self.ask("script.addPreloadScript", functionDeclaration=f"() => {{ {script} }}")

    def evaluate(self, function: str, given: Any = None, *more: Any) -> Any:
        """What a function of the page gives back."""
        texts = ", ".join(json.dumps(each) for each in (given, *more))
        result = self.ask(
            "script.evaluate",
            expression=ANSWER % (function, texts),
            target={"context": self._page},
            awaitPromise=True,
        )
        said = json.loads(result["result"]["value"])
        assert "fault" not in said, said["fault"]
        return said["found"]

    def wait_for_function(self, function: str, *, arg: Any = None, timeout: int = 60_000) -> Any:
        """Wait until a function of the page gives something."""
        return self.evaluate(UNTIL % function, arg, int(time.time() * 1000) + timeout)

    def wait_for_selector(self, selector: str, timeout: int = 60_000) -> None:
        """Wait until the page has such an element."""
        self.wait_for_function("selector => Boolean(document.querySelector(selector))", arg=selector, timeout=timeout)

    def press(self, key: str, times: int = 1) -> None:
        """A key, so many times, on what has the focus."""
        self._strike([KEYS[key]] * times)

    def type(self, text: str) -> None:
        """A text, key by key, into what has the focus."""
        self._strike(list(text))

    def _strike(self, keys: list[str]) -> None:
        strokes = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        sources = [{"type": "key", "id": "keyboard", "actions": strokes}]
        self.ask("input.performActions", context=self._page, actions=sources)

    def screenshot(self, path: Path) -> None:
        """A picture of the page."""
        data = self.ask("browsingContext.captureScreenshot", context=self._page)["data"]
        path.write_bytes(base64.b64decode(data))


@pytest.fixture(scope="module")
def firefox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    """Firefox, which wakes no player where nothing takes its samples; so they are given to a sink that is silent."""
    if not PROGRAM or not SINK:
        pytest.skip("firefox and pulseaudio are not both installed (apt-get install firefox-esr pulseaudio)")
    folder = tmp_path_factory.mktemp("firefox")
    socket = folder / "sound"
    sink = subprocess.Popen(
        [
            SINK, "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--load=module-null-sink",
            f"--load=module-native-protocol-unix socket={socket} auth-anonymous=1",
        ],
        env={**os.environ, "HOME": str(folder), "XDG_RUNTIME_DIR": str(folder)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        while not socket.exists() and sink.poll() is None:  # Firefox that finds no sink at its start may wait for ever
            time.sleep(0.05)
        shown = Firefox(PROGRAM, folder, {"PULSE_SERVER": f"unix:{socket}"})
        yield shown
        shown.close()
    finally:
        sink.terminate()
        sink.wait(15)


def test_a_ride_typed_in_firefox_is_kept_while_the_kernel_is_slow(ride_is_typed, firefox):
    ride_is_typed(firefox, firefox.type, firefox.press)


@pytest.mark.parametrize(
    ("lesson", "exercise"),
    [
        ("set-recording-level", "recording/leave-room"),
        ("hear-a-compressor", "compressor/even-phrases"),
    ],
)
def test_a_lesson_in_firefox_sounds_and_its_exercise_is_passed(lab, firefox, lesson, exercise):
    lab.open(firefox, lesson_files()[lesson].name)
    lab.run_all(firefox)

    # A page may sound only after a hand asked for it, so the button is pressed by a key.
    firefox.wait_for_selector(".gainlib-player button")
    firefox.evaluate("() => document.querySelector('.gainlib-player button').focus()")
    firefox.press("Enter")
    first = firefox.wait_for_function(PLACE)
    firefox.wait_for_function(f"first => ({PLACE})() > first + 0.3", arg=first)
    assert firefox.evaluate("() => [...course.contexts.values()].map(each => each.state)") == ["running"]
    assert firefox.evaluate("() => document.querySelector('.gainlib-player button').textContent") == "Pause"
    firefox.press("Enter")

    variant = load(exercise).variant(Progress.at(lab.root, make=False).learner_id)
    title = variant.exercise.title
    for path, value in author_answer(variant).items():
        control = next(each for each in variant.controls if each.path == path)
        steps = (value - firefox.evaluate(CONTROL, [title, control.low, control.high])) / control.step
        firefox.press("ArrowRight" if steps > 0 else "ArrowLeft", round(abs(steps)))
        # The keys are on their way; what is focused next would take the rest of them.
        firefox.wait_for_function(ARRIVED, arg=[value, control.step / 2 + 1e-9])
    lab.settled(firefox)
    firefox.evaluate(CHECK, title)
    firefox.press("Enter")
    firefox.wait_for_function(f"title => ({VERDICT})(title)", arg=title)
    said = firefox.evaluate(VERDICT, title)
    assert "Passed" in said
    assert "not met" not in said
