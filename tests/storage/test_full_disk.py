"""A full disk is named as such, with the file that was meant: on a real one where it can be mounted, and by a limit."""

from __future__ import annotations

import contextlib
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import gainlib as gl
from gainlib.errors import GainError
from gainlib.sound_file import write, write_blocks
from gainlib.storage import atomic_files, atomic_write, write_csv, write_workbook
from gainlib.storage.tables import Cell

NOISE = gl.Audio(np.random.default_rng(1).uniform(-0.5, 0.5, (400_000, 1)), 48_000, "kick")
TABLE: list[list[Cell]] = [[float(each) for each in row] for row in NOISE.samples.reshape(-1, 10)[:4_000]]


def write_copies(folder):
    with atomic_files(folder) as half:
        write(half / "kick.flac", NOISE)


# what is written: how, and the file that is meant
WRITINGS = {
    "a text": (lambda folder: atomic_write(folder / "note.txt", "x" * 300_000), "note.txt"),
    "a table": (lambda folder: write_csv(folder / "marks.csv", TABLE), "marks.csv"),
    "a workbook": (lambda folder: write_workbook(folder / "marks.xlsx", [("Marks", TABLE)]), "marks.xlsx"),
    "trimmed copies": (lambda folder: write_copies(folder / "copies"), "copies/kick.flac"),
    "a session": (lambda folder: gl.Session.of(NOISE, [gl.Trim()]).save(folder / "song.toml"), "kick.wav"),
    "blocks": (
        lambda folder: write_blocks(folder / "a.wav", iter([NOISE.samples]), 48_000, 1, frames=400_000),
        "a.wav",
    ),
    **{
        f"a .{ending} file": (lambda folder, ending=ending: write(folder / f"a.{ending}", NOISE), f"a.{ending}")
        for ending in ("wav", "flac", "aiff", "w64", "caf")
    },
}


def test_a_full_disk_is_named_with_the_file_that_was_meant(tmp_path):
    """On a disk of 200 kB, which only the process below sees, so that it is gone with it."""
    mounted = ["unshare", "--mount", "sh", "-c", 'mount -t tmpfs -o size=200k tmpfs "$0" && exec "$@"', str(tmp_path)]
    if not shutil.which("unshare") or subprocess.run([*mounted, "true"], capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here; the limit on a file's size stands in")
    done = subprocess.run(
        [*mounted, sys.executable, __file__, str(tmp_path)], capture_output=True, text=True, check=True
    )
    told = done.stdout.splitlines()
    for said, (_, meant) in zip(told, WRITINGS.values(), strict=True):
        assert said.startswith(f"{tmp_path / meant} cannot be written (no space left on device)")
        assert said.endswith(" []")
    assert done.stderr == ""


@contextlib.contextmanager
def no_file_beyond(most_bytes):
    resource = pytest.importorskip("resource", reason="this system has no such limit")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("kind", WRITINGS)
def test_the_reason_is_the_system_s_and_the_file_the_one_that_was_meant(tmp_path, kind):
    write_it, meant = WRITINGS[kind]
    with no_file_beyond(150_000), pytest.raises(GainError) as told:
        write_it(tmp_path)
    assert str(told.value).startswith(f"{tmp_path / meant} cannot be written (file too large)")
    assert list(tmp_path.iterdir()) == []


if __name__ == "__main__":  # on the small disk
    disk = Path(sys.argv[1])
    for each, _ in WRITINGS.values():
        try:
            each(disk)
        except GainError as fault:
            print(fault, list(disk.iterdir()))
