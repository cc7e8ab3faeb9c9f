"""`gainlib open` for real: its own token, this computer only, nothing of the folder obeyed, nothing left."""

from __future__ import annotations

import contextlib
import json
import os
import re
import signal
import stat
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
import pytest
from jupyter_client.blocking.client import BlockingKernelClient

from gainlib.storage import lesson_files

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are POSIX's")

DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))
GAINLIB = Path(sys.executable).with_name("gainlib")
LONGEST_SECONDS = 60


@dataclass
class Opened:
    """A `gainlib open` that runs: its process, its address, and what it started."""

    process: subprocess.Popen[str]
    address: str
    said: str

    @property
    def base(self) -> str:
        return f"http://127.0.0.1:{urllib.parse.urlsplit(self.address).port}"

    @property
    def token(self) -> str:
        return urllib.parse.parse_qs(urllib.parse.urlsplit(self.address).query)["token"][0]

    def asked(self, what: str, method: str = "GET", body: Any = None, token: str | None = None) -> Any:
        headers = {
            "Authorization": f"token {self.token if token is None else token}",
            "Content-Type": "application/json",
        }
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.base}/api/{what}", data=data, headers=headers, method=method)
        with DIRECT.open(request, timeout=20) as answer:
            return json.loads(answer.read() or b"null")

    def started(self) -> list[psutil.Process]:
        """A kernel is started; then every process below this one."""
        kernel = self.asked("kernels", "POST", {"name": "python3"})
        found = psutil.Process(self.process.pid).children(recursive=True)
        assert [each for each in found if kernel["id"] in command_of(each)]
        assert len(found) >= 2
        return found


def start(folder, *options, stdout=subprocess.PIPE, **changes):
    environment = {**os.environ, **{name: str(value) for name, value in changes.items()}}
    return subprocess.Popen(
        [GAINLIB, "open", ".", "--no-browser", *options],
        cwd=folder, env=environment, stdout=stdout, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def opened(process) -> Opened:
    said = ""
    while True:
        line = process.stdout.readline()
        assert line, process.stderr.read()
        said += line
        if found := re.search(r"http://\S+", line):
            return Opened(process, found[0], said)


@contextlib.contextmanager
def ended_at_last(*processes):
    try:
        yield
    finally:
        for process in processes:
            if process.poll() is None:
                process.terminate()  # not kill, so that the server ends as well whatever is broken
                process.communicate(timeout=LONGEST_SECONDS)


def command_of(process):
    """Its command line; nothing where it has ended since, as what compiles beside the first page does."""
    try:
        return " ".join(process.cmdline())
    except psutil.NoSuchProcess:
        return ""


def all_gone(processes):
    _, alive = psutil.wait_procs(processes, timeout=LONGEST_SECONDS)
    return not alive


def plant(folder, said):
    """Everything in a folder that Jupyter, IPython or Python would obey if they looked for it there."""

    def tells(name):
        return f"open({str(said)!r}, 'a').write({name!r} + '\\n')\n"

    old = folder / ".gainlib" / "jupyter"  # where an earlier gainlib had them kept
    server = "jupyter_server_config.py"
    texts = {
        old / "config" / server: tells("config") + "c.IdentityProvider.token = ''\nc.ServerApp.ip = '0.0.0.0'\n",
        old / "ipython" / "profile_default" / "startup" / "00.py": tells("start-up"),
        old / "kernels" / "python3" / "kernel.json": json.dumps(
            {"argv": ["sh", "-c", f"echo kernel >> {said}"], "display_name": "x", "language": "python"}
        ),
        folder / server: tells("config in the folder") + "c.IdentityProvider.token = ''\n",
        folder / ".jupyter" / server: tells("config in .jupyter") + "c.IdentityProvider.token = ''\n",
        folder / "jupyter_config.py": tells("jupyter_config"),
        folder / "ipython_kernel_config.py": tells("kernel config"),
        folder / ".ipython" / "profile_default" / "startup" / "00.py": tells("start-up in .ipython"),
        folder / "planted.pth": f"import os; {tells('pth')}",
        # Where compiled loops are kept is read by those who run them, and what is kept is run.
        folder / ".numba_config.yaml": f"cache_dir: {folder / 'kept'}\n",
    }
    for module in ("numpy", "numba", "jupyterlab", "jupyter_server", "ipykernel", "json", "sitecustomize", "pandas"):
        texts[folder / f"{module}.py"] = tells(module)
    notebook = {"cells": [], "metadata": {"widgets": {"planted": 1}}, "nbformat": 4, "nbformat_minor": 5}
    texts[folder / "planted.ipynb"] = json.dumps(notebook)
    spec = {"argv": ["sh", "-c", f"echo another kernel >> {said}"], "display_name": "x", "language": "python"}
    for place in (old / "data", folder, folder / "share" / "jupyter"):
        texts[place / "kernels" / "another" / "kernel.json"] = json.dumps(spec)
    script = {"jupyterlab": {"extension": True, "_build": {"load": "static/x.js", "extension": "./extension"}}}
    for place in (old / "data", old, folder):
        texts[place / "labextensions" / "planted" / "package.json"] = json.dumps(
            {"name": "planted", "version": "1.0.0"} | script
        )
    texts[old / "config" / "labconfig" / "page_config.json"] = '{"disabledExtensions": {"planted-here": true}}'
    texts[old / "workspaces" / "lab.jupyterlab-workspace"] = '{"data": {"planted": 1}, "metadata": {"id": "default"}}'
    for path, text in texts.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return sorted(texts)


def test_open_serves_the_course_and_runs_nothing_that_lies_in_the_folder(tmp_path):
    # A user's own Jupyter that would open the door to the net, with a known token and another kernel.
    home, own, said = tmp_path / "home", tmp_path / "own", tmp_path / "said"
    (home / ".jupyter").mkdir(parents=True)
    own.mkdir()
    (home / ".jupyter" / "jupyter_server_config.py").write_text(
        'c.ServerApp.ip = "0.0.0.0"\nc.IdentityProvider.token = "known"\n'
    )
    spec = home / ".local" / "share" / "jupyter" / "kernels" / "python3" / "kernel.json"
    spec.parent.mkdir(parents=True)
    spec.write_text(json.dumps({"argv": ["/nowhere", "{connection_file}"], "display_name": "x", "language": "python"}))
    before = sorted(each.relative_to(home) for each in home.rglob("*"))
    planted = {path: path.read_bytes() for path in plant(own, said)}
    # An empty entry of PYTHONPATH is the current folder; sitecustomize alone is imported before a program begins.
    (own / "sitecustomize.py").unlink()
    planted.pop(own / "sitecustomize.py")
    process = start(
        own, "--name", "Ada", PYTHONPATH=os.pathsep, HOME=home, JUPYTER_PREFER_ENV_PATH=0, TMPDIR=tmp_path,
        GAINLIB_STATE=tmp_path / "state",
    )  # fmt: skip
    with ended_at_last(process):
        run = opened(process)
        url = urllib.parse.urlsplit(run.address)
        assert (url.hostname, url.path) == ("127.0.0.1", "/doc/tree/contents.ipynb")
        assert ".gainlib/jupyter in it is not used any more" in run.said
        assert run.asked("status")["kernels"] == 0
        for wrong in ("known", "", "x"):
            with pytest.raises(urllib.error.HTTPError, match="403"):
                run.asked("status", token=wrong)
        # Every user of a computer can read command lines.
        assert not [each for each in psutil.Process(process.pid).children() if run.token in command_of(each)]
        with DIRECT.open(run.address, timeout=20) as page:
            text = page.read()
        assert b"JupyterLab" in text
        assert b"planted" not in text  # neither an extension nor a setting of the page
        names = {each["name"] for each in run.asked("contents")["content"]}
        assert {"contents.ipynb", lesson_files()["set-recording-level"].name, "progress.json"} <= names
        assert run.asked("contents/planted.ipynb")["content"]["metadata"] == {}  # a saved widget holds a script
        specs = run.asked("kernelspecs")["kernelspecs"]
        assert "another" not in specs
        # A link beside this Python's name (python, python3) is this environment's as well.
        kernel = Path(specs["python3"]["spec"]["argv"][0])
        assert (kernel.parent, kernel.samefile(sys.executable)) == (Path(os.path.abspath(sys.executable)).parent, True)
        started = run.started()
        record = next((tmp_path / "state" / "courses").glob("*/server.json"))
        # A kernel that answers has opened all that it opens by itself.
        client = BlockingKernelClient(connection_file=str(next((record.parent / "runtime").glob("kernel-*.json"))))
        client.load_connection_file()
        client.start_channels()
        client.kernel_info(reply=True, timeout=LONGEST_SECONDS)
        client.stop_channels()
        assert stat.S_IMODE(record.stat().st_mode) == 0o600
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=LONGEST_SECONDS)
    assert (process.returncode, err) == (0, "")
    assert out.endswith("The course is closed.\n")
    assert all_gone(started)
    assert not said.exists(), said.read_text()
    assert not (own / "kept").exists()
    assert {path: path.read_bytes() for path in planted} == planted
    assert json.loads((own / "progress.json").read_text())["learner"]["name"] == "Ada"
    assert sorted(each.relative_to(home) for each in home.rglob("*")) == before  # nobody's own Jupyter was touched
    assert not list(tmp_path.glob("gainlib-*"))
    assert not record.exists()
    assert not (record.parent / "runtime").exists()


def test_two_at_one_instant_are_one_and_what_ends_by_force_leaves_nothing(tmp_path):
    own = tmp_path / "own"
    own.mkdir()
    both = [start(own), start(own)]
    with ended_at_last(*both):
        runs = [opened(each) for each in both]
        assert runs[0].address == runs[1].address
        (first,) = [each for each in runs if "open at" in each.said]
        (second,) = [each for each in runs if "is open already" in each.said]
        out, err = second.process.communicate(timeout=LONGEST_SECONDS)
        assert (second.process.returncode, out, err) == (0, "", "")
        started = first.started()
        first.process.kill()
        first.process.communicate(timeout=LONGEST_SECONDS)
        assert all_gone(started)
    # What it wrote down is still there, and is not believed.
    third = start(own)
    with ended_at_last(third):
        run = opened(third)
        assert run.address != first.address
        assert "is open at" in run.said
        run.asked("status")
        third.send_signal(signal.SIGINT)
        out, err = third.communicate(timeout=LONGEST_SECONDS)
    assert (third.returncode, err, out.endswith("closed.\n")) == (0, "", True)


def test_closing_the_terminal_window_ends_server_and_kernels(tmp_path):
    import pty

    own = tmp_path / "own"
    own.mkdir()
    master, slave = pty.openpty()
    # A session of its own whose terminal this is; closing the other side is what closing the window does.
    process = subprocess.Popen(
        [sys.executable, "-c", TERMINAL, str(GAINLIB), "open", ".", "--no-browser"],
        cwd=own, stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
    )  # fmt: skip
    os.close(slave)
    said = b""
    while not re.search(rb"http://\S+\s", said):
        said += os.read(master, 4096)
    run = Opened(process, re.search(rb"http://\S+", said)[0].decode(), said.decode())  # type: ignore[arg-type]
    started = run.started()
    os.close(master)
    assert process.wait(LONGEST_SECONDS) == 0
    assert all_gone(started)


TERMINAL = """
import fcntl, os, signal, sys, termios
signal.signal(signal.SIGHUP, signal.SIG_DFL)  # which these tests ignore where they are run by nohup
fcntl.ioctl(0, termios.TIOCSCTTY, 0)
os.execv(sys.argv[1], sys.argv[1:])
"""
