"""JupyterLab, started once in a configuration of its own, and a page that may ask nothing of the outside world."""

from __future__ import annotations

import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome") or ""
REQUIRED = os.environ.get("GAINLIB_REQUIRE_BROWSER") == "1"
LESSONS = Path(__file__).parents[2] / "lessons"
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip


def _idle(condition: str = "true") -> str:
    # The notebook's own indicator reads "idle" before a kernel is connected; the status bar does not.
    return f"() => {condition} && /\\| Idle/.test(document.querySelector('#jp-main-statusbar')?.innerText || '')"


class Lab:
    """A running JupyterLab: `root` is its folder, `open` shows a notebook, `run_all` runs it to the end."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        self.root.mkdir()
        for lesson in LESSONS.glob("*"):
            if lesson.is_file():
                shutil.copy(lesson, self.root)
        with socket.socket() as found:
            found.bind(("127.0.0.1", 0))
            port = found.getsockname()[1]
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
        }  # fmt: skip
        self.log = folder / "server.log"
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                [
                    sys.executable, "-m", "jupyter", "lab", "--no-browser", "--allow-root",
                    "--ServerApp.ip=127.0.0.1", f"--ServerApp.port={port}", "--ServerApp.port_retries=0",
                    f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={self.root}",
                ],
                env={**os.environ, **{name: str(folder / place) for name, place in own.items()}},
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
                return
            except OSError:
                time.sleep(0.05)

    def ask(self, path: str, method: str = "GET") -> bytes:
        """One request to the server's own interface."""
        request = urllib.request.Request(f"{self.base}/{path}?token={self.token}", method=method)
        with urllib.request.urlopen(request, timeout=10) as answer:
            return bytes(answer.read())

    def stop(self) -> None:
        """End the server, which ends its kernels."""
        if self.process.poll() is None:
            self.process.terminate()
            try:
                self.process.wait(15)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def write(self, name: str, *cells: str) -> str:
        """A notebook of these cells in the server's folder; gives its name back."""
        made = {
            "cells": [
                {
                    "cell_type": "code", "id": f"cell-{index}", "metadata": {}, "execution_count": None,
                    "outputs": [], "source": cell,
                }
                for index, cell in enumerate(cells)
            ],
            "metadata": {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}},
            "nbformat": 4,
            "nbformat_minor": 5,
        }  # fmt: skip
        (self.root / name).write_text(json.dumps(made))
        return name

    def open(self, page: Any, name: str) -> None:
        """Show a notebook and wait until its kernel is connected."""
        page.goto(f"{self.base}/lab/tree/{name}?token={self.token}&reset")
        page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
        page.wait_for_function(_idle(), timeout=60_000)

    def run_all(self, page: Any, timeout: int = 120_000) -> None:
        """Run every cell and wait for the last; no cell may show an error."""
        page.click('.lm-MenuBar-item:has-text("Run")')
        page.click('.lm-Menu-item[data-command="runmenu:run-all"]')
        done = r"""[...document.querySelectorAll('.jp-Notebook .jp-CodeCell .jp-InputPrompt')]
            .every(each => /^\[\d+\]:$/.test(each.textContent.trim()))"""
        page.wait_for_function(_idle(done), timeout=timeout)
        errors = page.locator('.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"]')
        assert errors.count() == 0, errors.first.inner_text()


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


@pytest.fixture
def page(browser: Any, lab: Lab) -> Iterator[Any]:
    """A page of a 1280 laptop; at the end it must have had no error and asked nothing outside."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    shown = context.new_page()
    shown.set_default_timeout(15_000)
    problems: list[str] = []
    allowed = (lab.base, lab.base.replace("http", "ws"), "data:", "blob:")
    shown.on("pageerror", lambda error: problems.append(f"page error: {error}"))
    shown.on("request", lambda asked: None if asked.url.startswith(allowed) else problems.append(f"asked {asked.url}"))
    yield shown
    context.close()
    for session in json.loads(lab.ask("api/sessions")):
        lab.ask(f"api/sessions/{session['id']}", "DELETE")
    assert problems == []


@pytest.fixture
def keep(tmp_path: Path) -> Callable[[Any, str], Path]:
    """Take a picture of the page into the folder that GAINLIB_SHOTS names, or a temporary one."""
    folder = Path(os.environ.get("GAINLIB_SHOTS") or tmp_path)
    folder.mkdir(parents=True, exist_ok=True)

    def taken(page: Any, name: str) -> Path:
        where = folder / f"{name}.png"
        page.screenshot(path=where)
        return where

    return taken
