"""A process that ends when the one that started it is gone, however that ended: JupyterLab, or a helper beside it."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable

__all__ = ["end_with_parent", "run_lab"]

LONGEST_END_SECONDS = 15.0


def end_with_parent(end: Callable[[], object]) -> None:
    """Have `end` called when the other end of standard input is closed, as the system does for whatever has ended."""

    def watch() -> None:
        try:
            while os.read(0, 1024):
                pass
        except OSError:
            pass
        end()

    threading.Thread(target=watch, daemon=True).start()


def run_lab() -> None:
    """JupyterLab by the options on the command line; with its parent it ends in order, and its kernels with it."""
    end_with_parent(_end_in_order)
    importlib.import_module("gainlib.learners.spared")  # first: it is half of the time that JupyterLab takes to start
    from jupyterlab.labapp import main

    sys.exit(main())


def _end_in_order() -> None:
    if os.name == "nt":
        signal.raise_signal(signal.SIGTERM)  # to another process Windows has no gentle signal, to this one it has
    else:
        os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(LONGEST_END_SECONDS)
    os._exit(1)


if __name__ == "__main__":
    run_lab()
