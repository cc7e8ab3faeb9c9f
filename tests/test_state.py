"""The folder for what is not the learner's work: private, and somewhere else where it cannot be had."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from gainlib import state
from gainlib.state import made_private, state_folder

pytestmark = pytest.mark.skipif(os.name == "nt", reason="the rights of a file are POSIX's")


def test_it_is_for_this_user_only_whatever_the_umask_and_whatever_stood_there(tmp_path, monkeypatch):
    monkeypatch.setenv("GAINLIB_STATE", str(tmp_path / "deep" / "state"))
    before = os.umask(0)
    try:
        assert state_folder() == tmp_path / "deep" / "state"
    finally:
        os.umask(before)
    assert stat.S_IMODE(state_folder().stat().st_mode) == 0o700
    state_folder().chmod(0o777)
    assert stat.S_IMODE(state_folder().stat().st_mode) == 0o700


def test_without_a_home_it_is_a_private_folder_among_the_temporary_ones(tmp_path, monkeypatch):
    monkeypatch.setattr(state.tempfile, "tempdir", str(tmp_path))
    (tmp_path / "file").write_text("x")
    monkeypatch.setenv("GAINLIB_STATE", str(tmp_path / "file"))
    found = state_folder()
    assert (found, stat.S_IMODE(found.stat().st_mode)) == (tmp_path / f"gainlib-{os.geteuid()}", 0o700)
    # Somebody else made it first, or laid a link there to a folder of this user's.
    found.rmdir()
    (tmp_path / "mine").mkdir()
    found.symlink_to(tmp_path / "mine")
    assert state_folder() not in (found, tmp_path / "mine")
    assert state_folder() == state_folder()
    assert list((tmp_path / "mine").iterdir()) == []


def test_a_folder_of_another_user_is_not_taken(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: tmp_path.stat().st_uid + 1)
    assert not made_private(tmp_path / "new")


def test_a_name_that_depends_on_the_current_folder_is_not_taken(tmp_path, monkeypatch):
    monkeypatch.setenv("GAINLIB_STATE", "here")
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in ("XDG_STATE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.chdir(tmp_path)
    assert Path("here").resolve() != state_folder()
    assert state_folder().is_relative_to(tmp_path / "home")
