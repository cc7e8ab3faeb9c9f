"""Ten learners on one JupyterHub, in a browser: from signing in to handing in, with times and memory.

    python tests/benchmarks/bench_hub.py --learners 10 --lesson set-recording-level --proxy PATH
    python tests/benchmarks/bench_hub.py --elsewhere --proxy PATH

In the first form ten pages run on the same processors as the hub. With `--elsewhere` the learners' pages take nothing
from them, as in a class where everybody has a computer: each learner's cells are sent to the hub one after the other,
and what a page would ask for is fetched, but nothing is drawn.

Wants jupyterhub (pip), configurable-http-proxy (npm; `--proxy` is the path of its command), psutil and Chromium. The
hub runs on this computer only, with one password for all: a test, and no way to run a hub.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import secrets
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

import psutil
from playwright.sync_api import sync_playwright
from tornado.httpclient import AsyncHTTPClient, HTTPRequest
from tornado.websocket import websocket_connect

import gainlib
from gainlib.classroom import RosterLine, new_class
from gainlib.classroom.run import mark_class
from gainlib.exercises import author_answer, load
from gainlib.learners.jupyter_server import free_port
from gainlib.learners.start_file import read_start_file
from gainlib.storage import lesson_files

CONFIG = """
c = get_config()
c.JupyterHub.bind_url = "http://127.0.0.1:{port}/"
c.JupyterHub.hub_bind_url = "http://127.0.0.1:{hub_port}"
c.ConfigurableHTTPProxy.api_url = "http://127.0.0.1:{proxy_port}"
c.ConfigurableHTTPProxy.command = ["{proxy}"]
c.JupyterHub.db_url = "sqlite:///{home}/hub.sqlite"
c.JupyterHub.cookie_secret_file = "{home}/cookie"
c.JupyterHub.spawner_class = "simple"
c.SimpleLocalProcessSpawner.home_dir_template = "{home}/users/{{username}}"
c.JupyterHub.authenticator_class = "shared-password"
c.SharedPasswordAuthenticator.user_password = "{password}"
c.Authenticator.allow_all = True
c.Spawner.cmd = ["{python}", "-P", "-m", "gainlib.learners.hub_server"]
c.Spawner.args = ["--allow-root"]
c.Spawner.environment = {{"GAINLIB_CLASS": "{for_all}", "PYTHONPATH": "{package}"}}
c.Spawner.default_url = "/doc/tree/contents.ipynb"
c.Spawner.http_timeout = c.Spawner.start_timeout = 120
c.JupyterHub.log_level = "WARN"
c.JupyterHub.services = [{{"name": "bench", "api_token": "{token}"}}]
c.JupyterHub.load_roles = [
    {{"name": "bench", "services": ["bench"], "scopes": ["admin:servers", "access:servers", "admin:users"]}}
]
"""
# Ten learners sit at ten screens; in one browser the pages behind would sleep.
AWAKE = [
    "--disable-background-timer-throttling", "--disable-renderer-backgrounding",
    "--disable-backgrounding-occluded-windows",
]  # fmt: skip
READY = "() => document.querySelector('.gainlib-bench') && !document.querySelector('.gainlib-page-line')"


def signed_in(browser, base, name, password):
    """One learner in a browser of their own, in front of the list of lessons; seconds to that."""
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.set_default_timeout(600_000)
    begin = time.perf_counter()
    page.goto(f"{base}/hub/login")
    page.fill("#username_input", name)
    page.fill("#password_input", password)
    page.click("#login_submit")
    page.wait_for_url(f"**/user/{name}/**")
    page.locator(".jp-OutputArea a").first.wait_for()
    return page, time.perf_counter() - begin


def open_all(pages, lesson):
    """Click on the lesson in every page, until it has run; seconds to the first bench and to the end in each."""
    begin = time.perf_counter()
    for page in pages:
        page.locator(f'.jp-OutputArea a[href*="{lesson}"]').first.click(no_wait_after=True)
    clicked, benches, times = time.perf_counter() - begin, [], []
    for page in pages:
        page.locator(".gainlib-bench").first.wait_for(state="attached")
        benches.append(time.perf_counter() - begin)
    for page in pages:
        page.wait_for_function(READY)
        times.append(time.perf_counter() - begin)
        errors = page.locator('.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"]')
        assert errors.count() == 0, errors.first.inner_text()
    return clicked, benches, times


def answers(address):
    try:
        urllib.request.urlopen(address, timeout=10).close()
    except OSError:
        return False
    return True


async def elsewhere(base, token, names, lesson):
    """Start a server and a kernel for each, then send all of them all cells of the lesson at once; seconds for each."""
    client, head = AsyncHTTPClient(max_clients=100), {"Authorization": f"token {token}"}

    async def asked(path, method="GET", **given):
        body = None if method == "GET" else json.dumps(given)
        answer = await client.fetch(f"{base}/{path}", method=method, headers=head, body=body, request_timeout=120)
        return json.loads(answer.body or "null")

    channels = {}
    for name in names:
        await asked(f"hub/api/users/{name}", "POST")
        await asked(f"hub/api/users/{name}/server", "POST")
        while not (await asked(f"hub/api/users/{name}"))["servers"].get("", {}).get("ready"):
            await asyncio.sleep(0.2)
        kernel = await asked(f"user/{name}/api/kernels", "POST", name="python3")
        address = f"{base.replace('http', 'ws', 1)}/user/{name}/api/kernels/{kernel['id']}/channels"
        socket_of = HTTPRequest(address, headers=head)
        channels[name] = await websocket_connect(socket_of, max_message_size=2**28)
        cells = (await asked(f"user/{name}/api/contents/{lesson}"))["content"]["cells"]
        await executed(channels[name], ["pass"])
    code = [cell["source"] for cell in cells if cell["cell_type"] == "code"]
    begin = time.perf_counter()

    async def timed(name):
        await executed(channels[name], code)
        return time.perf_counter() - begin

    return await asyncio.gather(*map(timed, names))


async def executed(channel, cells):
    """Send cells to a kernel as Run All does, ask for BokehJS as the first picture does, and wait for all of it."""
    header = {"username": "", "session": secrets.token_hex(8), "version": "5.3", "date": "2027-01-15T12:00:00Z"}

    def send(kind, content):
        made = header | {"msg_id": secrets.token_hex(8), "msg_type": kind}
        message = {"header": made, "parent_header": {}, "metadata": {}, "content": content, "channel": "shell"}
        channel.write_message(json.dumps(message))
        return made["msg_id"]

    flags = {
        "silent": False,
        "store_history": True,
        "user_expressions": {},
        "allow_stdin": False,
        "stop_on_error": True,
    }
    waited, drawn = {send("execute_request", {"code": cell, **flags}) for cell in cells}, False
    while waited:
        message = await channel.read_message()
        assert message is not None, "the hub closed the connection"
        if isinstance(message, bytes):  # buffers come along: their places, then the message, then the buffers
            count = int.from_bytes(message[:4], "big")
            first, second = (int.from_bytes(message[at : at + 4], "big") for at in (4, 8))
            message = message[first : second if count > 1 else None]
        message = json.loads(message)
        kind, content = message["header"]["msg_type"], message["content"]
        if kind == "comm_open" and not drawn and "bokeh_version" in content["data"].get("state", {}):
            drawn = True
            waited.add("bokeh")
            data = {"method": "custom", "content": {"kind": "bokeh"}}
            send("comm_msg", {"comm_id": content["comm_id"], "data": data})
        if kind == "comm_msg" and content["data"].get("content", {}).get("kind") == "bokeh":
            waited.discard("bokeh")
        if kind == "execute_reply" and message["parent_header"]["msg_id"] in waited:
            assert content["status"] == "ok", content
            waited.remove(message["parent_header"]["msg_id"])


def processor_seconds(process):
    """Processor time so far: of the hub with its servers and kernels, and of all else that this script started."""
    own = {each.pid: sum(each.cpu_times()[:2]) for each in [process, *process.children(recursive=True)]}
    others = [each for each in psutil.Process().children(recursive=True) if each.pid not in own]
    return sum(own.values()), sum(sum(each.cpu_times()[:2]) for each in others)


def memory(process):
    """Resident megabytes of hub, proxy, servers and kernels."""
    found = {"hub": [], "proxy": [], "server": [], "kernel": []}
    for each in [process, *process.children(recursive=True)]:
        line = " ".join(each.cmdline())
        kind = (
            "kernel" if "ipykernel" in line else "server" if "singleuser" in line else
            "proxy" if "http-proxy" in line else "hub" if "jupyterhub" in line else ""
        )  # fmt: skip
        if kind:
            found[kind].append(each.memory_info().rss / 1024**2)
    return found


def print_memory(hub):
    for kind, found in memory(psutil.Process(hub.pid)).items():
        if found:
            print(f"{kind}: {len(found)} of {statistics.mean(found):.0f} MB resident, at most {max(found):.0f} MB")


def main():
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--learners", type=int, default=10)
    given.add_argument("--lesson", default="set-recording-level")
    given.add_argument("--exercise", default="recording/leave-room")
    given.add_argument("--proxy", default=shutil.which("configurable-http-proxy") or "configurable-http-proxy")
    given.add_argument("--chromium", default=os.environ.get("CHROMIUM") or shutil.which("chromium"))
    given.add_argument("--elsewhere", action="store_true", help="the learners' pages run on other computers")
    given.add_argument("--shot", type=Path, help="where a picture of one learner's page is put")
    arguments = given.parse_args()
    arguments.lesson = lesson_files()[arguments.lesson].name
    home = Path(tempfile.mkdtemp(prefix="gainlib-hub-"))
    ids = [f"learner{index}" for index in range(arguments.learners)]
    (home / "collect").mkdir()
    (home / "users").mkdir()
    teacher, for_all = new_class(
        home / "hub", title="On the hub", roster=[RosterLine(id=each, name=each.title()) for each in ids],
        exercises=[arguments.exercise], collect=str(home / "collect"),
    )  # fmt: skip
    package = Path(gainlib.__file__).parent.parent
    port, password, token = free_port(), secrets.token_hex(8), secrets.token_hex(16)
    (home / "config.py").write_text(
        CONFIG.format(
            port=port,
            hub_port=free_port(),
            proxy_port=free_port(),
            home=home,
            password=password,
            token=token,
            proxy=arguments.proxy,
            for_all=for_all,
            package=package,
            python=sys.executable,
        )
    )
    log = (home / "log").open("wb")
    hub = subprocess.Popen(
        [sys.executable, "-m", "jupyterhub", "-f", str(home / "config.py")], cwd=home, stdout=log, stderr=log,
        env=os.environ | {"PYTHONPATH": str(package)},
    )  # fmt: skip
    base = f"http://127.0.0.1:{port}"
    try:
        latest = time.monotonic() + 180
        while not answers(f"{base}/hub/login"):
            if hub.poll() is not None or time.monotonic() > latest:
                sys.exit(f"The hub does not answer. Its log:\n{(home / 'log').read_text(errors='replace')[-3000:]}")
            time.sleep(0.2)
        if arguments.elsewhere:
            before = processor_seconds(psutil.Process(hub.pid))[0]
            own = time.process_time()
            times = asyncio.run(elsewhere(base, token, ids, arguments.lesson))
            print(
                f"{arguments.lesson}, all {len(ids)} at once, no page on these processors: the first is through after "
                f"{min(times):.1f} s, the last after {max(times):.1f} s"
            )
            spent = processor_seconds(psutil.Process(hub.pid))[0] - before
            own = time.process_time() - own
            print(f"processor time with the servers' start: {spent:.1f} s, of this script: {own:.1f} s")
            print_memory(hub)
            return
        with sync_playwright() as tools:
            browser = tools.chromium.launch(
                executable_path=arguments.chromium, args=["--no-sandbox", "--disable-gpu", "--disable-quic", *AWAKE]
            )
            pages, started = [], []
            for each in ids:
                page, one = signed_in(browser, base, each, password)
                pages.append(page)
                started.append(one)
            print(
                f"{len(ids)} learners signed in one after the other: the list of lessons after "
                f"{statistics.median(started):.1f} s (at most {max(started):.1f})", flush=True,
            )  # fmt: skip
            before = processor_seconds(psutil.Process(hub.pid))
            clicked, benches, times = open_all(pages, arguments.lesson)
            after = processor_seconds(psutil.Process(hub.pid))
            print(
                f"{arguments.lesson}, clicked on in all {len(ids)} within {clicked:.1f} s: a bench is there after "
                f"{min(benches):.1f} to {max(benches):.1f} s, the last page is through after {max(times):.1f} s",
                flush=True,
            )
            print(
                f"processor time of that: {after[0] - before[0]:.1f} s in servers and kernels, "
                f"{after[1] - before[1]:.1f} s in the browser, on {os.cpu_count()} processors", flush=True,
            )  # fmt: skip
            print_memory(hub)
            if arguments.shot:
                pages[0].screenshot(path=arguments.shot)
            begin = time.perf_counter()
            for page, each in zip(pages, ids, strict=True):
                handed_in(page, base, each, arguments.exercise, for_all)
            print(f"answered and handed in by the button, one after the other: {time.perf_counter() - begin:.1f} s")
            browser.close()
        done = mark_class(home / "collect", teacher, feedback="none")
        assert (done.handed_in, done.not_marked) == (len(ids), 0), done
        for line in (done.out / "marks.csv").read_text("utf-8-sig").splitlines()[1:]:
            print(f"marked: {line}")
    finally:
        hub.terminate()
        try:
            hub.wait(120)  # it ends every learner's server first
        except subprocess.TimeoutExpired:
            hub.kill()
        log.close()
        shutil.rmtree(home, ignore_errors=True)


def handed_in(page, base, name, exercise, for_all):
    """One learner types an answer into the exercise, checks it, and presses the button on the contents page."""
    own = load(exercise)
    box = page.locator(".gainlib-exercise", has_text=own.title).first
    box.scroll_into_view_if_needed()
    for path, value in author_answer(own.variant(name, read_start_file(for_all).of.key_of(name))).items():
        field = box.get_by_role("textbox", name="Preamp gain" if "preamp" in path else "Trim").first
        field.fill(f"{value:g}")
        field.press("Enter")
    box.get_by_role("button", name="Check my answer").click()
    box.get_by_text("Passed: ").first.wait_for()
    page.goto(f"{base}/user/{name}/doc/tree/contents.ipynb")
    page.get_by_role("button", name="Hand in my answers").click()
    page.get_by_text("Handed in: a copy is in").wait_for()


if __name__ == "__main__":
    main()
