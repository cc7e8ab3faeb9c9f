"""JupyterLab for the learner's folder: its command, its settings, and its run from the free port to the clean end."""

from __future__ import annotations

import contextlib
import json
import os
import random
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.parse
import urllib.request
import webbrowser
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from gainlib.errors import GainError
from gainlib.jupyter_home import course_place, jupyter_environment, safe_environment
from gainlib.learners.course_folder import FIRST_PAGE, MARK
from gainlib.learners.lab_process import LONGEST_END_SECONDS
from gainlib.page import EXTENSIONS, course_digests
from gainlib.state import made_private
from gainlib.storage import atomic_write
from gainlib.storage.foreign import read_json

__all__ = ["COURSE_OPTIONS", "address", "free_port", "serve", "server_command"]

COURSE_OPTIONS = (
    "--ServerApp.contents_manager_class=gainlib.learners.course_contents.CourseContents",
    "--ServerApp.kernel_manager_class=gainlib.learners.course_kernels.CourseKernels",
    # A kernel that died is told to the page within a second; a busy one is not taken for dead.
    "--KernelRestarter.time_to_dead=1",
    f"--LabApp.extra_labextensions_path={EXTENSIONS}",
    # Language servers are of no use here, and looking for them takes time and writes into the user's home.
    "--LanguageServerManager.autodetect=False",
)
"""What a server of the course is told wherever it runs."""
LONGEST_START_SECONDS = 90.0
MOST_RECORD_BYTES = 10_000
ENDS_WITH_PARENT = """\
import os
from gainlib.learners.lab_process import end_with_parent
end_with_parent(lambda: os._exit(1))
"""


def server_command(folder: Path, port: int) -> list[str]:
    """The command that starts JupyterLab on this computer only, in the learner's folder; no token is on it.

    >>> "--ServerApp.ip=127.0.0.1" in server_command(Path("course"), 8888)
    True
    """
    command = [
        *(sys.executable, "-P", "-m", "gainlib.learners.lab_process"),
        "--no-browser",
        "--ServerApp.ip=127.0.0.1",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        f"--ServerApp.root_dir={folder.resolve()}",
        "--ServerApp.allow_remote_access=False",
        "--PasswordIdentityProvider.hashed_password=",
        "--ServerApp.log_level=WARN",
        *COURSE_OPTIONS,
    ]
    # Jupyter refuses to run for root without this; lab containers do run so, and only this computer is served.
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.append("--allow-root")
    return command


def address(port: int, token: str, page: str = FIRST_PAGE) -> str:
    """Where the browser finds the contents page (or another), in the interface that shows one document at a time.

    >>> address(8888, "secret")
    'http://127.0.0.1:8888/doc/tree/contents.ipynb?token=secret'
    """
    return f"http://127.0.0.1:{port}/doc/tree/{urllib.parse.quote(page)}?{urllib.parse.urlencode({'token': token})}"


def free_port() -> int:
    """A port on this computer that nobody uses now, below those that a system gives to whoever asks for any.

    A server takes seconds to listen at it, in which each kernel and each page that opens is given some of the latter.

    >>> 20_000 <= free_port() < 32_000
    True
    """
    # Linux gives those from 32768 on, macOS and Windows those from 49152 on (*published*: ip(7); RFC 6335, 6).
    return next(filter(_is_free, random.sample(range(20_000, 32_000), 1_000)))


def serve(
    folder: Path,
    say: Callable[[str], object],
    *,
    place: Path | None = None,
    port: int = 0,
    browser: bool = True,
    page: str = FIRST_PAGE,
    what: str = "The course",
    meanwhile: str = "",
    runs: Sequence[str] = (),
) -> None:
    """Start JupyterLab on 127.0.0.1, say where it is, and stay until it is ended; then its kernels end as well.

    Where another process has this folder open already, its address is said and this one is done. `place` is where its
    state is kept, in the user's own folder unless given. `page` is the notebook that is shown, `what` the word for it
    in the sentences that `say` is called with, `meanwhile` a program that this Python runs while the first page is
    read. A notebook whose code has one of the digests `runs`, or is the course's own, runs as it opens. Raises
    GainError when it does not start, with what it said last.
    """
    place = place or course_place(folder)
    first, record = not place.exists(), place / "server.json"
    made_private(place)
    with _end_asked_for() as ended, contextlib.ExitStack() as held:
        running = _hold(place, record, ended, held)
        if running is not None:
            say(f"{what} is open already, and run from another window, at {address(*running, page)}")
            _show(address(*running, page), browser, say)
            return
        if ended.is_set():
            return
        if port and not _is_free(port):
            raise GainError(f"port {port} is in use or not allowed; give another, or leave --port out for a free one.")
        if first and (folder / MARK / "jupyter").is_dir():
            say(f"What JupyterLab keeps is outside this folder now; {MARK}/jupyter in it is not used any more.")
        environment = jupyter_environment(place, [*course_digests().values(), *runs])
        log, token, port = place / "server.log", secrets.token_urlsafe(24), port or free_port()
        # By the environment, since other users of a computer can read a command line.
        process = _started(server_command(folder, port), environment | {"JUPYTER_TOKEN": token}, place, log)
        beside = None
        try:
            if _ready(process, port, token, log, ended):
                content = {"port": port, "token": token, "process": os.getpid()}
                atomic_write(record, json.dumps(content) + "\n", private=True)
                say(f"{what} is open at {address(port, token, page)}")
                say("Stop it with Ctrl-C.")
                if meanwhile:
                    command = [sys.executable, "-P", "-c", ENDS_WITH_PARENT + meanwhile]
                    beside = _started(command, safe_environment(), place, place / "beside.log")
                _show(address(port, token, page), browser, say)
            while process.poll() is None and not ended.wait(0.5):
                pass
            if process.poll():
                raise GainError(f"JupyterLab ended by itself ({_last_line(log)}); start it again.")
        finally:
            record.unlink(missing_ok=True)
            if beside is not None:
                beside.kill()  # which it takes no harm from, and has no kernels to end
                beside.communicate()
            _stop(process)
            shutil.rmtree(place / "runtime", ignore_errors=True)
    try:
        say(f"{what} is closed.")
    except OSError:  # the window that would show it may be what was closed
        with contextlib.suppress(OSError):
            sys.stdout.close()  # or Python tries again at its end, and ends with a failure


@contextlib.contextmanager
def _end_asked_for() -> Iterator[threading.Event]:
    """Set when the system or the user asks this process to end."""
    ended = threading.Event()
    ends = [signal.SIGINT, signal.SIGTERM, *([signal.SIGHUP] if hasattr(signal, "SIGHUP") else [])]
    # Who starts it under nohup wants it to stay when the window is closed.
    ends = [each for each in ends if each == signal.SIGINT or signal.getsignal(each) is not signal.SIG_IGN]
    before = {each: signal.signal(each, lambda number, frame: ended.set()) for each in ends}
    try:
        yield ended
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)


def _hold(place: Path, record: Path, ended: threading.Event, held: contextlib.ExitStack) -> tuple[int, str] | None:
    """Hold the folder until `held` is left; the port and token of the server of whoever holds it already."""
    lock = FileLock(place / "server.lock")
    latest = time.monotonic() + LONGEST_START_SECONDS
    while True:
        try:
            held.enter_context(lock.acquire(timeout=0))
        except Timeout:
            running = _answering(record)
            if running is not None or ended.wait(0.1):
                return running
            if time.monotonic() > latest:
                raise GainError(
                    "another `gainlib open` holds this folder and does not answer; end it, or restart the computer."
                ) from None
            continue
        except (OSError, NotImplementedError):  # no locks here, so what is written down must do
            return _answering(record)
        record.unlink(missing_ok=True)  # of one that was ended by force
        return None


def _answering(record: Path) -> tuple[int, str] | None:
    """Port and token of the server that was written down, if it answers."""
    try:
        content = read_json(record, MOST_RECORD_BYTES, "record of a server")
        running = int(content["port"]), str(content["token"])
        _ask_status(*running)
    except (GainError, OSError, ValueError, KeyError, TypeError):
        return None
    return running


def _show(where: str, browser: bool, say: Callable[[str], object]) -> None:
    if browser and not webbrowser.open(where):
        say("No browser could be opened; put the address above into one.")


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


def _started(command: list[str], environment: dict[str, str], place: Path, log: Path) -> subprocess.Popen[bytes]:
    # A group of its own, so that Ctrl-C in a terminal reaches only this process, which then ends the server in order.
    # Its standard input ends with this process, which is how it learns of an end by force.
    apart: dict[str, Any] = (
        {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}  # type: ignore[attr-defined,unused-ignore]
        if os.name == "nt"
        else {"start_new_session": True}
    )
    apart |= {"cwd": place, "stdin": subprocess.PIPE, "stderr": subprocess.STDOUT}
    with log.open("wb") as out:
        return subprocess.Popen(command, env=environment, stdout=out, **apart)


def _ready(process: subprocess.Popen[bytes], port: int, token: str, log: Path, ended: threading.Event) -> bool:
    """Wait until the server answers: True then, False when the end was asked for meanwhile."""
    latest = time.monotonic() + LONGEST_START_SECONDS
    while time.monotonic() < latest:
        if ended.wait(0.1):
            return False
        if process.poll() is not None:
            raise GainError(f"JupyterLab did not start ({_last_line(log)}); `gainlib check-setup` may say why.")
        with contextlib.suppress(OSError):
            _ask_status(port, token)
            return True
    raise GainError(f"JupyterLab did not answer within {LONGEST_START_SECONDS:g} s ({_last_line(log)}); try again.")


def _ask_status(port: int, token: str) -> None:
    url = f"http://127.0.0.1:{port}/api/status"
    asked = urllib.request.Request(url, headers={"Authorization": f"token {token}"})
    # A proxy that is set in the environment is for the net, not for this computer.
    urllib.request.build_opener(urllib.request.ProxyHandler({})).open(asked, timeout=2).close()


def _stop(process: subprocess.Popen[bytes]) -> None:
    """End the server so that it ends its kernels; by force only when it does not."""
    if process.stdin is not None:
        process.stdin.close()  # to which it listens, on every system
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
