"""Run JupyterLab for the learner's folder, from the free port to the clean end."""

from __future__ import annotations

import contextlib
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
import webbrowser
from pathlib import Path
from typing import Any

import typer

from gainlib.errors import GainError
from gainlib.learners.course_folder import FIRST_PAGE, address, server_command, server_environment

__all__ = ["free_port", "serve"]

LONGEST_START_SECONDS = 90.0
LONGEST_END_SECONDS = 15.0
COMPILE_LOOPS = (
    "import os; getattr(os, 'nice', int)(10); from gainlib.cli.setup import compiled_loops; compiled_loops()"
)
"""While the first page is read, so that no lesson waits for it; where all are compiled it takes three seconds."""


def free_port() -> int:
    """A port on this computer that nobody uses now.

    >>> 1024 <= free_port() <= 65535
    True
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def serve(
    folder: Path, *, port: int = 0, browser: bool = True, page: str = FIRST_PAGE, what: str = "The course"
) -> None:
    """Start JupyterLab on 127.0.0.1, say where it is, and stay until it is ended; then its kernels end as well.

    `page` is the notebook that is shown, `what` the word for it in the sentences. Raises GainError when it does not
    start, with what it said last.
    """
    if port and not _is_free(port):
        raise GainError(f"port {port} is in use or not allowed; give another, or leave --port out to take a free one.")
    ended = threading.Event()
    ends = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    before = {each: signal.signal(each, lambda number, frame: ended.set()) for each in ends}
    # Tokens and connection files go to a folder that only this user can read, not into the course's folder.
    with tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True) as runtime:
        log, token, port = Path(runtime) / "server.log", secrets.token_urlsafe(24), port or free_port()
        environment = server_environment(folder, Path(runtime), token)
        process = _started(server_command(folder, port), environment, log)
        compiling = None
        try:
            if _ready(process, port, token, log, ended):
                where = address(port, token, page)
                typer.echo(f"{what} is open at {where}")
                typer.echo("Stop it with Ctrl-C.")
                compiling = _started(
                    [sys.executable, "-c", COMPILE_LOOPS], dict(os.environ), Path(runtime) / "loops.log"
                )
                if browser and not webbrowser.open(where):
                    typer.echo("No browser could be opened; put the address above into one.")
            while process.poll() is None and not ended.wait(0.5):
                pass
            if process.poll():
                raise GainError(f"JupyterLab ended by itself ({_last_line(log)}); start it again.")
        finally:
            if compiling is not None:
                compiling.kill()
                compiling.wait()
            _stop(process, port, token)
            for each, handler in before.items():
                signal.signal(each, handler)
    typer.echo(f"{what} is closed.")


def _is_free(port: int) -> bool:
    try:
        with socket.socket() as probe:
            # As the server does it: a port that was just let go may be taken again at once.
            if os.name != "nt":
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(("127.0.0.1", port))
    except OSError:
        return False
    return True


def _started(command: list[str], environment: dict[str, str], log: Path) -> subprocess.Popen[bytes]:
    # A group of its own, so that Ctrl-C in a terminal reaches only this process, which then ends the server in order.
    own_group: dict[str, Any] = (
        {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}  # type: ignore[attr-defined,unused-ignore]
        if os.name == "nt"
        else {"start_new_session": True}
    )
    with log.open("wb") as out:
        return subprocess.Popen(
            command, env=environment, stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.STDOUT, **own_group
        )


def _ready(process: subprocess.Popen[bytes], port: int, token: str, log: Path, ended: threading.Event) -> bool:
    """Wait until the server answers: True then, False when the end was asked for meanwhile."""
    latest = time.monotonic() + LONGEST_START_SECONDS
    while time.monotonic() < latest:
        if ended.wait(0.1):
            return False
        if process.poll() is not None:
            raise GainError(f"JupyterLab did not start ({_last_line(log)}); `gainlib check-setup` may say why.")
        with contextlib.suppress(OSError):
            _asked("GET", port, token, "status")
            return True
    raise GainError(f"JupyterLab did not answer within {LONGEST_START_SECONDS:g} s ({_last_line(log)}); try again.")


def _asked(method: str, port: int, token: str, what: str) -> None:
    url = f"http://127.0.0.1:{port}/api/{what}"
    asked = urllib.request.Request(url, method=method, headers={"Authorization": f"token {token}"})
    # A proxy that is set in the environment is for the net, not for this computer.
    urllib.request.build_opener(urllib.request.ProxyHandler({})).open(asked, timeout=2).close()


def _stop(process: subprocess.Popen[bytes], port: int, token: str) -> None:
    """End the server so that it ends its kernels; by force only when it does not."""
    if process.poll() is not None:
        return
    if os.name == "nt":
        # Windows has no gentle signal for another group, so the server is asked through its own door.
        try:
            _asked("POST", port, token, "shutdown")
        except OSError:
            process.terminate()
    else:
        process.terminate()
    try:
        process.wait(LONGEST_END_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def _last_line(log: Path) -> str:
    """The last thing that the server wrote, on one line."""
    try:
        lines = [
            line.strip() for line in log.read_text(encoding="utf-8", errors="replace").splitlines() if line.strip()
        ]
    except OSError:
        return "it said nothing"
    return lines[-1][-300:].rstrip(".") if lines else "it said nothing"
