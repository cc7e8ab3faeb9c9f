"""The kernel that is held ready for the next lesson: a real one, given once, as its lesson's own would stand."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

from gainlib.jupyter_home import jupyter_environment
from gainlib.learners import course_kernels
from gainlib.learners.course_kernels import CourseKernels

LOOK = """
import json, os, sys
told = [os.getpid(), os.getcwd(), os.environ.get("JPY_SESSION_NAME"), "gainlib.notebook" in sys.modules]
told.append([str(each) for each in _dh])
print(json.dumps(told))
"""


async def _interrupted(kernels, kernel):
    """What ends a cell that would run for long."""
    client, begun = kernel.client(), asyncio.Event()
    client.start_channels()
    try:
        await client.wait_for_ready(timeout=60)
        sleeps = "import time; print('begun', flush=True); time.sleep(300)"
        cell = asyncio.create_task(
            client._async_execute_interactive(
                sleeps, timeout=60, output_hook=lambda message: begun.set() if "text" in message["content"] else None
            )
        )
        await begun.wait()
        await kernels.interrupt_kernel(kernel.kernel_id)
        return (await cell)["content"]["ename"]
    finally:
        client.stop_channels()


async def _told(kernel):
    client, heard = kernel.client(), []
    client.start_channels()
    try:
        await client.wait_for_ready(timeout=60)
        await client._async_execute_interactive(
            LOOK, timeout=60, output_hook=lambda message: heard.append(message["content"].get("text", ""))
        )
    finally:
        client.stop_channels()
    return json.loads("".join(heard))


@pytest.fixture
def kernels(tmp_path, monkeypatch):
    """Makes the course's kernels inside the loop that they shall run in, and runs what is given with them."""
    (tmp_path / "course" / "part").mkdir(parents=True)
    for name, value in jupyter_environment(tmp_path / "place").items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(course_kernels, "QUIET", timedelta(0))
    monkeypatch.setattr(course_kernels, "NOT_RUN", timedelta(0))

    def run(what):
        async def whole():
            made = CourseKernels(
                root_dir=str(tmp_path / "course"), connection_dir=str(tmp_path / "place" / "runtime"), **settings
            )
            try:
                await what(made)
            finally:
                await made.shutdown_all(now=True)
            assert len(made) == 0

        asyncio.run(whole())

    settings = {}
    run.settings = settings
    return run


async def _open(kernels, folder, notebook):
    env = {**os.environ, "JPY_SESSION_NAME": notebook}
    return kernels.get_kernel(await kernels.start_kernel(path=folder, kernel_name="python3", env=env))


async def _held(kernels):
    """The kernel that is held, once it is."""
    async with asyncio.timeout(60):
        while kernels._coming is None:
            await asyncio.sleep(0.01)
        return await kernels._coming


def test_each_notebook_is_given_the_kernel_that_was_held_and_the_next_is_held_then(kernels, monkeypatch, tmp_path):
    # As it is where it was typed so.
    monkeypatch.setattr(course_kernels.sys, "executable", sys.executable.replace("/bin/", "/bin/../bin/"))
    last = []

    async def run(kernels):
        held = await _held(kernels)  # with the server, before any page has asked
        assert held.kernel_id not in kernels
        process = held.provisioner.pid
        given = await _open(kernels, "part", "first.ipynb")
        assert given is held
        folder = str(Path(tmp_path, "course", "part").resolve())
        assert await _told(given) == [process, folder, "first.ipynb", True, [folder]]
        # A restart, in order or by force, stands where its notebook does; an interrupt reaches it.
        for now in (False, True):
            await kernels.restart_kernel(given.kernel_id, now=now)
            again = await _told(given)
            assert (again[0] == process, again[1:3]) == (False, [folder, "first.ipynb"])
        assert await _interrupted(kernels, given) == "KeyboardInterrupt"
        second = await _open(kernels, "", "second.ipynb")
        assert (await _told(second))[2] == "second.ipynb"
        await kernels.shutdown_kernel(given.kernel_id)
        assert kernels.list_kernel_ids() == [second.kernel_id]
        last.append((await _held(kernels)).provisioner.process)

    kernels(run)
    assert last[0].poll() is not None


def test_a_kernel_of_another_python_is_not_given(kernels, monkeypatch, tmp_path):
    monkeypatch.setattr(course_kernels.sys, "executable", "/other/python")

    async def run(kernels):
        assert await _held(kernels) is None
        kernels.hold_next = False
        fresh = await _open(kernels, "part", "second.ipynb")
        assert (await _told(fresh))[1:3] == [str(Path(tmp_path, "course", "part").resolve()), "second.ipynb"]

    kernels(run)


def test_where_a_server_shall_hold_none_there_is_none(kernels):
    kernels.settings["hold_next"] = False

    async def run(kernels):
        await _open(kernels, "", "first.ipynb")
        assert (kernels._coming, kernels._waiting) == (None, None)

    kernels(run)


def test_no_kernel_is_started_beside_a_page_that_opens_or_runs():
    now = datetime(2026, 1, 1, tzinfo=UTC)

    def quiet(state, seconds, begun):
        last = now - timedelta(seconds=seconds)
        kernel = SimpleNamespace(execution_state=state, last_activity=last, given_at=None if begun else last)
        return CourseKernels._is_quiet(SimpleNamespace(_kernels={"one": kernel}), now)

    assert [quiet("busy", 60, True), quiet("starting", 60, False)] == [False, False]
    assert [quiet("idle", 2, True), quiet("idle", 4, True)] == [False, True]
    # A page that has a kernel and has not run anything is opening still, or waits for a button.
    assert [quiet("idle", 4, False), quiet("idle", 31, False)] == [False, True]
