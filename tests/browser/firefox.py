"""Firefox without a window for the tests, over WebDriver BiDi; every command is answered in time or told as not."""

from __future__ import annotations

import base64
import itertools
import json
import os
import re
import subprocess
import time
from pathlib import Path
from typing import Any

import websocket
from browser.processes import end_process

ANSWERS_SECONDS = 90.0
"""So long a command may take on a busy machine; what waits for something on the page may take its own time besides."""
PROBE_SECONDS = 10.0
STATE = "document.readyState + ', ' + (document.querySelector('#jp-main-statusbar')?.innerText ?? 'no status bar')"
PREFERENCES = {
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.homepage_override.mstone": "ignore",
    "datareporting.policy.dataSubmissionEnabled": False,
    "app.update.enabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "media.navigator.permission.disabled": True,  # the microphone, which is the tests' own, is given without a question
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


class Firefox:
    """One page of a Firefox without a window, over WebDriver BiDi; what it can be asked is named as in Playwright."""

    def __init__(self, program: str, folder: Path, environment: dict[str, str]) -> None:
        profile = folder / "profile"
        profile.mkdir()
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in PREFERENCES.items()]
        (profile / "user.js").write_text("\n".join(lines))
        self.log = log = folder / "firefox.log"
        with log.open("wb") as written:
            self.process = subprocess.Popen(
                [program, "--headless", "--no-remote", "--profile", str(profile), "--remote-debugging-port=0"],
                stdout=written,
                stderr=subprocess.STDOUT,
                env={**os.environ, "HOME": str(folder), **environment},
            )
        self._wire: Any = None
        self._page = ""
        try:
            self._wire = websocket.create_connection(f"{self._address(log)}/session", timeout=60, suppress_origin=True)
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

    def ask(self, method: str, *, within: float = ANSWERS_SECONDS, **given: Any) -> Any:
        """One command and what came back; who gets no answer in so many seconds is told what was there."""
        answer = self._answer(method, within, given)
        if answer is None:
            raise RuntimeError(f"Firefox gave no answer to {method} within {within:g} s; {self._what_is_there()}")
        if answer["type"] == "error":
            raise RuntimeError(f"{method}: {answer['error']}: {answer['message']}")
        return answer["result"]

    def _answer(self, method: str, within: float, given: dict[str, Any]) -> Any:
        number, end = next(self._numbers), time.monotonic() + within
        self._wire.send(json.dumps({"id": number, "method": method, "params": given}))
        while (left := end - time.monotonic()) > 0:
            self._wire.settimeout(left)
            try:
                answer = json.loads(self._wire.recv())
            except websocket.WebSocketTimeoutException:
                return None
            if answer.get("id") == number:
                return answer
        return None

    def _what_is_there(self) -> str:
        """Which part of it still answers: its windows and its pages are processes of their own."""
        if self.process.poll() is not None:
            found = f"it has ended with {self.process.returncode}"
        elif self._answer("browsingContext.getTree", PROBE_SECONDS, {}) is None:
            found = "the browser itself does not answer either"
        else:
            page = {"expression": STATE, "target": {"context": self._page}, "awaitPromise": False}
            stands = self._answer("script.evaluate", PROBE_SECONDS, page)
            told = "its page stands still" if stands is None else f"its page answers: {stands.get('result')}"
            found = f"the browser answers, and {told}"
        return f"{found}.\n{self.log.read_text(errors='replace')[-2000:]}"

    def close(self) -> None:
        """End it."""
        end_process(self.process)
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

    def evaluate(self, function: str, given: Any = None, *more: Any, within: float = ANSWERS_SECONDS) -> Any:
        """What a function of the page gives back."""
        texts = ", ".join(json.dumps(each) for each in (given, *more))
        result = self.ask(
            "script.evaluate",
            expression=ANSWER % (function, texts),
            target={"context": self._page},
            awaitPromise=True,
            within=within,
        )
        said = json.loads(result["result"]["value"])
        assert "fault" not in said, said["fault"]
        return said["found"]

    def wait_for_function(self, function: str, *, arg: Any = None, timeout: int = 60_000) -> Any:
        """Wait until a function of the page gives something."""
        latest = int(time.time() * 1000) + timeout
        return self.evaluate(UNTIL % function, arg, latest, within=timeout / 1000 + ANSWERS_SECONDS)

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
