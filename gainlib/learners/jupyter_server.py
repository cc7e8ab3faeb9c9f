"""JupyterLab for the learner's folder: its command, its settings, and its run from the free port to the clean end."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
import webbrowser
from collections.abc import Callable
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.learners.course_folder import FIRST_PAGE, MARK
from gainlib.storage import atomic_write

__all__ = ["address", "free_port", "serve", "server_command", "server_environment"]

LONGEST_START_SECONDS = 90.0
LONGEST_END_SECONDS = 15.0
OPEN_AHEAD = "--IPKernelApp.exec_lines=import gainlib.benches.book_panel; del gainlib"
"""What a lesson's first cell would wait for, opened while its learner reads."""


def server_command(folder: Path, port: int) -> list[str]:
    """The command that starts JupyterLab on this computer only, in the learner's folder; no token is on it.

    >>> "--ServerApp.ip=127.0.0.1" in server_command(Path("course"), 8888)
    True
    """
    command = [
        sys.executable,
        "-m",
        "jupyterlab",
        "--no-browser",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={folder.resolve()}",
        "--ServerApp.allow_remote_access=False",
        "--PasswordIdentityProvider.hashed_password=",
        "--ServerApp.log_level=WARN",
        # A kernel that died is told to the page within a second; a busy one is not taken for dead.
        "--KernelRestarter.time_to_dead=1",
        # The button of a bench that goes on in another tab has the lesson's cells run.
        "--LabApp.expose_app_in_browser=True",
        # Language servers are of no use here, and looking for them takes time and writes into the user's home.
        "--LanguageServerManager.autodetect=False",
    ]
    # Jupyter refuses to run for root without this; lab containers do run so, and only this computer is served.
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command


_SETTINGS: dict[str, object] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True},
    "statusbar-extension/plugin": {"visible": False},
    "notebook-extension/panel": {
        "toolbar": [{"name": name, "disabled": True} for name in ("insert", "cut", "copy", "paste", "cellType")]
    },
}
_HIDDEN = (
    "@jupyterlab/application-extension:property-inspector",
    "@jupyterlab/cell-toolbar-extension",
    "@jupyterlab/debugger-extension",
    "@jupyterlab/extensionmanager-extension",
)


def server_environment(folder: Path, runtime: Path, token: str) -> dict[str, str]:
    """The environment of the server: settings, kernel and state of its own, so that nobody's own Jupyter is touched.

    Lays the few files that it points to in the learner's hidden folder: a kernel that is this very Python, whatever
    kernels the user has installed, and settings that make a page of a course: no news, no update checks, none of the
    buttons that take cells away or are for programmers. A setting that was changed is kept. The token goes by the
    environment, since other users of a computer can read a command line. Raises GainError where the files cannot be
    written.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> server_environment(folder, folder, "secret")["JUPYTER_TOKEN"]
    'secret'
    """
    own = folder.resolve() / MARK / "jupyter"
    kernel = {
        "argv": [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}", OPEN_AHEAD],
        "display_name": "Python (gainlib)",
        "language": "python",
        "metadata": {"debugger": True},
    }
    settings = own / "settings"
    files: dict[Path, object] = {own / "kernels" / "python3" / "kernel.json": kernel}
    files[own / "config" / "labconfig" / "page_config.json"] = {"disabledExtensions": dict.fromkeys(_HIDDEN, True)}
    for name, values in _SETTINGS.items():
        file = settings / "@jupyterlab" / f"{name}.jupyterlab-settings"
        if not file.exists():
            files[file] = values
    for file, content in files.items():
        atomic_write(file, json.dumps(content, indent=1) + "\n", make_folder=True, then="; name a folder of your own")
    path = os.pathsep.join([str(own), *filter(None, [os.environ.get("JUPYTER_PATH")])])
    kept = {
        key: value for key, value in os.environ.items() if key not in ("JUPYTER_CONFIG_PATH", "JUPYTER_PREFER_ENV_PATH")
    }
    return kept | {
        "JUPYTER_TOKEN": token,
        "JUPYTER_PATH": path,
        "JUPYTER_CONFIG_DIR": str(own / "config"),
        "JUPYTER_DATA_DIR": str(own / "data"),
        "JUPYTER_RUNTIME_DIR": str(runtime),
        "JUPYTERLAB_SETTINGS_DIR": str(settings),
        "JUPYTERLAB_WORKSPACES_DIR": str(own / "workspaces"),
        "IPYTHONDIR": str(own / "ipython"),
    }


def address(port: int, token: str, page: str = FIRST_PAGE) -> str:
    """Where the browser finds the contents page (or another), in the interface that shows one document at a time.

    >>> address(8888, "secret")
    'http://127.0.0.1:8888/doc/tree/contents.ipynb?token=secret'
    """
    return f"http://127.0.0.1:{port}/doc/tree/{urllib.parse.quote(page)}?{urllib.parse.urlencode({'token': token})}"


def free_port() -> int:
    """A port on this computer that nobody uses now.

    >>> 1024 <= free_port() <= 65535
    True
    """
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def serve(
    folder: Path,
    say: Callable[[str], object],
    *,
    port: int = 0,
    browser: bool = True,
    page: str = FIRST_PAGE,
    what: str = "The course",
    meanwhile: str = "",
) -> None:
    """Start JupyterLab on 127.0.0.1, say where it is, and stay until it is ended; then its kernels end as well.

    `page` is the notebook that is shown, `what` the word for it in the sentences that `say` is called with, `meanwhile`
    a program that this Python runs while the first page is read. Raises GainError when it does not
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
        beside = None
        try:
            if _ready(process, port, token, log, ended):
                where = address(port, token, page)
                say(f"{what} is open at {where}")
                say("Stop it with Ctrl-C.")
                if meanwhile:
                    beside = _started([sys.executable, "-c", meanwhile], dict(os.environ), Path(runtime) / "beside.log")
                if browser and not webbrowser.open(where):
                    say("No browser could be opened; put the address above into one.")
            while process.poll() is None and not ended.wait(0.5):
                pass
            if process.poll():
                raise GainError(f"JupyterLab ended by itself ({_last_line(log)}); start it again.")
        finally:
            if beside is not None:
                beside.kill()
                beside.wait()
            _stop(process, port, token)
            for each, handler in before.items():
                signal.signal(each, handler)
    say(f"{what} is closed.")


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
