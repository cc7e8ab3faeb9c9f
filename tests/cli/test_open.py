"""`gainlib open` for real: the server answers its own token, on this computer only, and ends cleanly when told to."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request

import psutil
import pytest

DIRECT = urllib.request.build_opener(urllib.request.ProxyHandler({}))


def asked(base, what, token, method="GET", body=None):
    headers = {"Authorization": f"token {token}", "Content-Type": "application/json"}
    data = None if body is None else json.dumps(body).encode()
    request = urllib.request.Request(f"{base}/api/{what}", data=data, headers=headers, method=method)
    with DIRECT.open(request, timeout=10) as answer:
        return json.loads(answer.read() or b"null")


@pytest.mark.skipif(os.name == "nt", reason="signals are POSIX's")
def test_open_serves_the_course_and_ends_cleanly(tmp_path):
    # A user's own Jupyter that would open the door to the net, with a known token and another kernel.
    home = tmp_path / "home"
    (home / ".jupyter").mkdir(parents=True)
    (home / ".jupyter" / "jupyter_server_config.py").write_text(
        'c.ServerApp.ip = "0.0.0.0"\nc.IdentityProvider.token = "known"\n'
    )
    spec = home / ".local" / "share" / "jupyter" / "kernels" / "python3" / "kernel.json"
    spec.parent.mkdir(parents=True)
    spec.write_text(json.dumps({"argv": ["/nowhere", "{connection_file}"], "display_name": "x", "language": "python"}))
    before = sorted(each.relative_to(home) for each in home.rglob("*"))
    command = [sys.executable, "-c", "from gainlib.cli import main; main()", "open", "own", "--no-browser"]
    process = subprocess.Popen(
        [*command, "--name", "Ada"],
        cwd=tmp_path,
        env=os.environ | {"HOME": str(home), "JUPYTER_PREFER_ENV_PATH": "0", "TMPDIR": str(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        address = None
        while address is None:
            line = process.stdout.readline()
            assert line, process.stderr.read()
            address = re.search(r"http://\S+", line)
        url = urllib.parse.urlsplit(address[0])
        assert (url.hostname, url.path) == ("127.0.0.1", "/doc/tree/contents.ipynb")
        base, token = f"http://127.0.0.1:{url.port}", urllib.parse.parse_qs(url.query)["token"][0]
        assert asked(base, "status", token)["kernels"] == 0
        for wrong in ("known", "", "x"):
            with pytest.raises(urllib.error.HTTPError, match="403"):
                asked(base, "status", wrong)
        # Every user of a computer can read command lines.
        assert not [each for each in psutil.Process(process.pid).children() if token in " ".join(each.cmdline())]
        with DIRECT.open(address[0], timeout=10) as page:
            assert b"JupyterLab" in page.read()
        names = {each["name"] for each in asked(base, "contents", token)["content"]}
        assert {"contents.ipynb", "03-set-recording-level.ipynb", "progress.json"} <= names
        specs = asked(base, "kernelspecs", token)["kernelspecs"]
        assert specs["python3"]["spec"]["argv"][0] == sys.executable
        kernel = asked(base, "kernels", token, "POST", {"name": "python3"})
        assert asked(base, "status", token)["kernels"] == 1
        started = psutil.Process(process.pid).children(recursive=True)
        assert [each for each in started if kernel["id"] in " ".join(each.cmdline())]
        assert len(started) >= 2
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    finally:
        if process.poll() is None:
            process.terminate()  # not kill, which would leave the server running
            process.communicate(timeout=20)
    assert (process.returncode, err) == (0, "")
    assert out.endswith("The course is closed.\n")
    assert not [each for each in started if each.is_running()]
    assert json.loads((tmp_path / "own" / "progress.json").read_text())["learner"]["name"] == "Ada"
    assert sorted(each.relative_to(home) for each in home.rglob("*")) == before  # nobody's own Jupyter was touched
    assert not list(tmp_path.glob("gainlib-*"))
