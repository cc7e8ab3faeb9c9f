"""Programs that the browser tests start, and their end."""

from __future__ import annotations

import subprocess


def end_process(process: subprocess.Popen) -> None:
    """Ask a program to end, and see to it."""
    process.terminate()
    try:
        process.wait(15)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
