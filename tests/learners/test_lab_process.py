"""JupyterLab as `gainlib open` starts it opens what it serves a course with, and not what takes half of the start."""

from __future__ import annotations

import subprocess
import sys

START = """
import sys
from gainlib.learners.lab_process import run_lab
try:
    run_lab()
except SystemExit:
    print([name for name in ("lark", "rich", "jupyterlab.labapp") if name in sys.modules])
"""


def test_jupyterlab_starts_without_what_it_does_without():
    # Its standard input stays open, since it ends with whoever started it.
    with subprocess.Popen(
        [sys.executable, "-P", "-c", START, "--version"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as started:
        assert started.stdout.read().splitlines()[-1] == "['jupyterlab.labapp']"
