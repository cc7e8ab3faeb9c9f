"""The kernels of a course: the next page's is held ready, so that no page waits for a kernel and its libraries."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from datetime import UTC, datetime, timedelta
from typing import Any

from jupyter_client.manager import KernelManager
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager, ServerKernelManager
from tornado.ioloop import IOLoop
from traitlets import Bool

__all__ = ["CourseKernels", "HeldKernel"]

QUIET = timedelta(seconds=3)
NOT_RUN = timedelta(seconds=30)
LOOKED_EACH_SECONDS = 0.5
LONGEST_SECONDS = 60.0
LIBRARIES_OPEN = """
import os, sys, gainlib.loops, gainlib.notebook
if {loops!r}: gainlib.loops.backend()
assert os.path.normcase(os.path.abspath(sys.executable)) == os.path.normcase({python!r}), sys.executable
del os, sys, gainlib
"""
AT_ITS_NOTEBOOK = """
import os, pathlib
os.chdir({folder!r})
os.environ.update({named!r})
_dh[:] = [pathlib.Path.cwd()]
__session__ = os.environ.get("JPY_SESSION_NAME", "")
del os, pathlib
"""


class HeldKernel(ServerKernelManager):
    """A kernel that may run already when it is asked to start."""

    client_of_holder: Any = None

    async def start_kernel(self, *args: Any, **kwargs: Any) -> None:  # type: ignore[override]
        """Start, or where it was held ready, be known from now on by what it was asked for: a restart does that."""
        if self.client_of_holder is None:
            await super().start_kernel(*args, **kwargs)
        else:
            self.client_of_holder.stop_channels()
            self.client_of_holder = None
            self._launch_args = kwargs

    async def told(self, code: str) -> bool:
        """Whether it has run this for the one that holds it."""
        client = self.client_of_holder
        answer = await client._async_execute_interactive(
            code, silent=True, store_history=False, timeout=LONGEST_SECONDS, output_hook=lambda _: None
        )
        if answer["content"]["status"] != "ok":
            self.log.warning("The kernel that was held ready is not given: %s", answer["content"].get("evalue"))
        return bool(answer["content"]["status"] == "ok")

    async def end(self) -> None:
        """End it, when nobody shall have it."""
        if self.client_of_holder is not None:
            self.client_of_holder.stop_channels()
            self.client_of_holder = None
        await self.shutdown_kernel(now=True)


class CourseKernels(AsyncMappingKernelManager):
    """Jupyter's kernels, and one more that is given to the next notebook: it runs, and has its libraries open.

    The first is started with the server, while the browser loads the list of lessons, and is for that page; the next,
    with the compiled loops open that most lessons begin with, whenever one was given and then nothing ran in any for a
    while, so that it slows no page that opens. It has run nothing but the imports of a lesson, is in no list, and ends
    with the server. One that does not answer, is not this Python, or is asked for by
    another name is not given; a fresh one is started then, as always.
    """

    hold_next = Bool(True, config=True, help="Hold a kernel ready for the next notebook; takes its memory.")

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)  # type: ignore[no-untyped-call]
        self.kernel_manager_class = f"{__name__}.HeldKernel"
        self._waiting: asyncio.Task[None] | None = None
        self._coming: asyncio.Task[HeldKernel | None] | None = None
        self._ended = False
        if self.hold_next:
            IOLoop.current().add_callback(self.hold)  # as soon as the server runs

    def hold(self, loops: bool = False) -> None:
        """Begin to start one, with the compiled loops open or not."""
        if self._coming is None and not self._ended:
            self._coming = asyncio.create_task(self._started(loops))

    async def _async_start_kernel(self, *, kernel_id: Any = None, path: Any = None, **kwargs: Any) -> str:
        """Called for a notebook that has no kernel yet."""
        if kernel_id is None and kwargs.get("kernel_name") in (None, self.default_kernel_name):
            kwargs["held"] = await self._taken(path, kwargs.get("env") or {})
        started: str = await super()._async_start_kernel(kernel_id=kernel_id, path=path, **kwargs)
        if self.hold_next and self._coming is None and (self._waiting is None or self._waiting.done()):
            self._waiting = asyncio.create_task(self._hold_when_quiet())
        return started

    start_kernel = _async_start_kernel  # type: ignore[assignment]

    def pre_start_kernel(self, kernel_name: str | None, kwargs: Any) -> tuple[KernelManager, str, str]:
        """The kernel that will be started, its name and its number."""
        held: HeldKernel | None = kwargs.pop("held", None)
        if held is None:
            return super().pre_start_kernel(kernel_name, kwargs)
        return held, str(held.kernel_name), str(held.kernel_id)

    async def _taken(self, path: Any, env: dict[str, str]) -> HeldKernel | None:
        """The one that is held, or about to be, put where its notebook lies; None where there is none that answers."""
        coming, self._coming = self._coming, None
        kernel = await coming if coming is not None else None
        if kernel is None:
            return None
        folder = os.getcwd() if path is None else self.cwd_for_path(path)  # type: ignore[no-untyped-call]
        named = {name: value for name, value in env.items() if os.environ.get(name) != value}
        return await self._told(kernel, AT_ITS_NOTEBOOK.format(folder=str(folder), named=named))

    async def _hold_when_quiet(self) -> None:
        while not self._is_quiet(datetime.now(UTC)):
            await asyncio.sleep(LOOKED_EACH_SECONDS)
        self.hold(loops=True)

    def _is_quiet(self, now: datetime) -> bool:
        """Whether nothing has run for a while, and every page that is opening has begun to run and come to its end."""
        for each in self._kernels.values():
            last = getattr(each, "last_activity", None) or now
            begun = last != getattr(each, "given_at", None)
            if getattr(each, "execution_state", "") != "idle" or now - last < (QUIET if begun else NOT_RUN):
                return False
        return True

    def start_watching_activity(self, kernel_id: str) -> None:
        """From now on what runs in it is seen; until then it was opening."""
        super().start_watching_activity(kernel_id)  # type: ignore[no-untyped-call]
        kernel: Any = self._kernels[kernel_id]
        kernel.given_at = kernel.last_activity

    async def _started(self, loops: bool) -> HeldKernel | None:
        made, _, number = super().pre_start_kernel(None, {})
        kernel: Any = made
        try:
            await kernel.start_kernel(kernel_id=number, env=dict(os.environ))
            kernel.client_of_holder = client = kernel.client()
            client.start_channels()
            await client.wait_for_ready(timeout=LONGEST_SECONDS)
        except asyncio.CancelledError:
            await kernel.end()
            raise
        except Exception:  # as the next notebook's own would, and says so there
            self.log.warning("No kernel could be held ready.", exc_info=True)
            await kernel.end()
            return None
        return await self._told(kernel, LIBRARIES_OPEN.format(loops=loops, python=os.path.abspath(sys.executable)))

    async def _told(self, kernel: HeldKernel, code: str) -> HeldKernel | None:
        """The kernel when it has run this, else None, and it is ended."""
        try:
            if await kernel.told(code):
                return kernel
        except asyncio.CancelledError:
            await kernel.end()
            raise
        except Exception:
            self.log.warning("The kernel that was held ready does not answer.", exc_info=True)
        await kernel.end()
        return None

    async def shutdown_all(self, now: bool = False) -> None:  # type: ignore[override]
        """End every kernel, with the one that is held."""
        self._ended = True
        if self._waiting is not None:
            self._waiting.cancel()
        coming, self._coming = self._coming, None
        if coming is not None:
            coming.cancel()  # which ends one that is not ready yet
            with contextlib.suppress(asyncio.CancelledError, Exception):
                kernel = await coming
                if kernel is not None:
                    await kernel.end()
        await self._async_shutdown_all(now=now)
