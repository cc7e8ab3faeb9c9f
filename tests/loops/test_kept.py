"""Where compiled loops are kept for the next process: never where the current folder says, and never in vain."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from gainlib.cli.meanwhile import COMPILE_LOOPS

pytest.importorskip("numba", reason="numba is not installed: the plain loops run")

# (A superuser can write anywhere, so a test that runs as one must forbid it in numba itself.)
FORBID = """
import sys
from numba.core import caching

def forbid(self):
    raise OSError(30, "Read-only file system")

for name in sys.argv[1:]:
    getattr(caching, name).ensure_cache_path = forbid
"""
TELL = "from gainlib.loops import backend, where_kept\nprint(where_kept())\n"
USUAL = ("InTreeCacheLocator", "UserWideCacheLocator")


def told(folder, *unwritable, code=TELL):
    environment = {**os.environ, "GAINLIB_STATE": str(folder / "state")}
    environment.pop("NUMBA_CACHE_DIR", None)
    done = subprocess.run(
        [sys.executable, "-P", "-c", FORBID + code, *unwritable],
        cwd=folder, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.strip()


def test_where_neither_source_nor_cache_can_be_written_loops_are_kept_in_the_folder_of_our_own(tmp_path):
    assert not told(tmp_path).startswith(str(tmp_path))
    assert told(tmp_path, *USUAL).startswith(str(tmp_path / "state" / "loops"))


def test_where_nothing_can_be_kept_no_helper_compiles_in_vain(tmp_path):
    code = f"{TELL}{COMPILE_LOOPS}\nprint(len(backend().vu_ballistics.signatures), 'gainlib.cli.setup' in sys.modules)"
    assert told(tmp_path, *USUAL, "UserProvidedCacheLocator", code=code).split() == ["None", "0", "False"]


def test_a_file_in_the_current_folder_does_not_tell_where_compiled_loops_are_taken_from(tmp_path):
    (tmp_path / ".numba_config.yaml").write_text(f"cache_dir: {tmp_path / 'planted'}\n")
    assert not told(tmp_path).startswith(str(tmp_path))
