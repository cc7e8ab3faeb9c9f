"""What a hub starts for a learner: their lessons laid, the hub's own word kept, nothing of their folder obeyed."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path

import pytest

from gainlib.learners import hub_server
from gainlib.page import course_digests
from gainlib.storage import lesson_files


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("GAINLIB_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("JUPYTERHUB_USER", "anna")
    monkeypatch.setenv("GAINLIB_CLASS", "/srv/group-a.gainclass")
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    return tmp_path / "home"


def test_the_lessons_lie_in_the_learners_home_and_the_server_is_the_hubs_with_the_courses_options(home):
    command, environment, start = hub_server.prepared(home, ["--port=1234"])
    folder = home / "gainlib-course"
    assert (folder / lesson_files()["set-recording-level"].name).is_file()
    assert command[:4] == [sys.executable, "-P", "-m", "jupyterhub.singleuser"]
    assert f"--ServerApp.root_dir={folder}" in command
    assert "--ServerApp.contents_manager_class=gainlib.learners.course_contents.CourseContents" in command
    assert command[-1] == "--port=1234"  # so that the hub's own word is the last
    assert (environment["JUPYTERHUB_USER"], environment["GAINLIB_CLASS"]) == ("anna", os.environ["GAINLIB_CLASS"])
    # Neither Jupyter's configuration nor the folder in which Python starts is one that a learner mails about.
    for place in (Path(environment["JUPYTER_CONFIG_DIR"]), Path(environment["IPYTHONDIR"]), start):
        assert folder not in (place, *place.parents)
    page = json.loads((Path(environment["JUPYTER_CONFIG_DIR"]) / "labconfig" / "page_config.json").read_text())
    assert set(course_digests().values()) <= set(json.loads(page["gainlibDigests"]))


def test_loops_compiled_once_for_all_are_copied_for_a_learner_who_cannot_write_to_them(home, tmp_path, monkeypatch):
    (tmp_path / "loops").mkdir()
    (tmp_path / "loops" / "loop.nbi").write_bytes(b"made")
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "loops"))
    assert hub_server.prepared(home, [])[1]["NUMBA_CACHE_DIR"] == str(tmp_path / "loops")
    can = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: str(path) != str(tmp_path / "loops") and can(path, mode))
    for _ in range(2):  # signed in again
        own = Path(hub_server.prepared(home, [])[1]["NUMBA_CACHE_DIR"])
        assert (own / "loop.nbi").read_bytes() == b"made"
        assert own.parent == tmp_path / "state"


def test_what_hinders_a_server_is_one_line_for_the_hubs_log(home, monkeypatch):
    home.mkdir()
    (home / "gainlib-course").write_text("in the way")
    monkeypatch.setattr(Path, "home", lambda: home)
    monkeypatch.setattr(sys, "argv", ["hub_server"])
    with pytest.raises(
        SystemExit, match=r"^gainlib: .*gainlib-course is a file; name another|gainlib-course is a file"
    ):
        hub_server.main()
