"""Kernels that are there at once: each is a fork of one process that has opened what a lesson opens.

A kernel of Jupyter's own opens ipykernel, scipy, Bokeh and the course anew, two seconds of processor time each, and
the lessons and the browser tests want some eighty of them. Here a nest opens them once and forks; what Jupyter starts,
watches, interrupts and ends in the kernel's place is a step, which hands on what it is told and ends as the kernel
does. Where there is no such fork the tests use Jupyter's own kernels.
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

OPENED = ("gainlib.benches.book_panel", "gainlib.notebook", "bokeh.plotting", "scipy.signal", "ipykernel.ipkernel")
FORKS = sys.platform == "linux"


class Nest:
    """A nest that runs beside the tests, and ends with them."""

    def __init__(self, folder: Path) -> None:
        place = str(folder / "nest")
        self.kernel_spec = kernel_spec(place)
        command = [sys.executable, __file__, place]
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def ready(self) -> Nest:
        """Wait until it gives kernels."""
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == b"ready\n"
        return self

    def end(self) -> None:
        """It ends as its input is closed."""
        self._process.communicate()


def kernel_spec(place: str) -> dict[str, object]:
    """The kernel specification by which Jupyter gets its kernels from the nest that listens at this place."""
    step = [sys.executable, "-S", "-E", __file__, place, "{connection_file}"]
    return {"argv": step, "display_name": "Python 3", "language": "python", "interrupt_mode": "signal"}


def nest(place: str) -> None:
    """Open everything, then give a kernel to whoever asks, until standard input is closed."""
    import gc
    import importlib
    import select

    for name in OPENED:
        importlib.import_module(name)
    gc.collect()
    gc.freeze()  # what all kernels share is not looked through in each
    with socket.socket(socket.AF_UNIX) as asked:
        asked.bind(place)
        asked.listen()
        print("ready", flush=True)
        waiting = select.poll()
        waiting.register(asked, select.POLLIN)
        waiting.register(0, select.POLLIN)
        while True:
            ready = [number for number, _ in waiting.poll(1000)]
            while _reaped():
                pass
            if 0 in ready:
                return
            if not ready:
                continue
            step, _ = asked.accept()
            told, handles, _, _ = socket.recv_fds(step, 1_000_000, 3)
            if os.fork() == 0:
                asked.close()
                _become_kernel(step, handles, json.loads(told))
            step.close()
            for each in handles:
                os.close(each)


def _reaped() -> bool:
    try:
        return os.waitpid(-1, os.WNOHANG)[0] != 0
    except ChildProcessError:
        return False


def _become_kernel(step: socket.socket, handles: list[int], told: dict[str, object]) -> None:
    import threading

    import ipywidgets
    from ipykernel.kernelapp import IPKernelApp

    os.setsid()
    for place, each in enumerate(handles):
        os.dup2(each, place)
        os.close(each)
    os.environ.clear()
    os.environ.update(told["environment"])
    os.chdir(told["folder"])
    sys.path[0] = ""  # as `python -m` has it
    step.sendall(f"{os.getpid()}\n".encode())

    def end_with_step() -> None:
        step.recv(1)
        os._exit(1)

    threading.Thread(target=end_with_step, daemon=True).start()
    kernel = IPKernelApp.instance()
    kernel.initialize(["-f", told["connection_file"]])
    # As opening it in a kernel does; a page that comes back asks for the widgets by what is named there.
    ipywidgets.load_ipython_extension(kernel.shell)
    kernel.start()
    kernel.close()  # as at the end of Python: what it said last goes out
    os._exit(0)


def step_for(place: str, connection_file: str) -> None:
    """Ask the nest for a kernel and stand in for it: signals go on to it, and the one ends with the other."""
    with socket.socket(socket.AF_UNIX) as asked:
        asked.connect(place)
        told = {"environment": dict(os.environ), "folder": os.getcwd(), "connection_file": connection_file}
        socket.send_fds(asked, [json.dumps(told).encode()], [0, 1, 2])
        kernel = int(asked.makefile().readline())
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda given, _: os.kill(kernel, given))
        while asked.recv(1):
            pass


if __name__ == "__main__":
    if len(sys.argv) == 2:
        nest(sys.argv[1])
    else:
        step_for(*sys.argv[1:])
