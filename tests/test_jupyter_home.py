"""Jupyter's own folders for the course, and what a lesson's kernel takes from the folder that it runs in: nothing."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys

import pytest

from gainlib.jupyter_home import course_place, jupyter_environment, lesson_kernel
from gainlib.state import state_folder

KEPT = (
    *("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_SETTINGS_DIR"),
    *("JUPYTERLAB_WORKSPACES_DIR", "IPYTHONDIR"),
)


@pytest.fixture
def course(tmp_path):
    folder = tmp_path / "course"
    folder.mkdir()
    return folder


def test_whatever_jupyter_obeys_stands_outside_the_course_folder(course):
    place = course_place(course)
    environment = jupyter_environment(place)
    assert list(course.iterdir()) == []
    for name in KEPT:
        assert environment[name].startswith(str(state_folder())), name
    if os.name != "nt":
        for folder in (state_folder(), place, place / "runtime", state_folder() / "jupyter"):
            assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_what_differs_by_course_is_kept_for_each_and_the_rest_for_all(course, tmp_path):
    one, two = (jupyter_environment(course_place(each)) for each in (course, tmp_path / "other"))
    assert {name for name in KEPT if one[name] != two[name]} == {
        "JUPYTER_CONFIG_DIR", "JUPYTER_RUNTIME_DIR", "JUPYTERLAB_WORKSPACES_DIR",
    }  # fmt: skip
    assert course_place(course) == course_place(tmp_path / "other" / ".." / "course")


def test_the_kernel_is_this_python_whatever_the_user_has_installed(course, tmp_path, monkeypatch):
    user = tmp_path / "user"
    (user / "kernels" / "python3").mkdir(parents=True)
    (user / "kernels" / "python3" / "kernel.json").write_text('{"argv": ["/other"], "display_name": "other"}')
    monkeypatch.setenv("JUPYTER_PATH", str(user))
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(user))
    for name, value in jupyter_environment(course_place(course)).items():
        monkeypatch.setenv(name, value)
    from jupyter_client.kernelspec import KernelSpecManager

    assert KernelSpecManager().get_kernel_spec("python3").argv[0] == sys.executable


def test_settings_of_the_learner_are_kept_and_notices_are_off(course, monkeypatch, tmp_path):
    monkeypatch.setenv("GAINLIB_STATE", str(tmp_path / "state"))
    place = course_place(course)
    environment = jupyter_environment(place)
    (notice,) = (state_folder() / "jupyter").rglob("notification.jupyterlab-settings")
    assert str(notice).startswith(environment["JUPYTERLAB_SETTINGS_DIR"])
    assert json.loads(notice.read_text()) == {"fetchNews": "false", "checkForUpdates": False, "doNotDisturbMode": True}
    hidden = json.loads((place / "config" / "labconfig" / "page_config.json").read_text())
    assert hidden["disabledExtensions"]["@jupyterlab/cell-toolbar-extension"]
    notice.write_text('{"fetchNews": "true"}')
    jupyter_environment(place)
    assert notice.read_text() == '{"fetchNews": "true"}'


def test_a_path_entry_that_means_the_current_folder_is_left_out(monkeypatch, tmp_path):
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(["", str(tmp_path), "lib", "."]))
    environment = jupyter_environment(tmp_path / "place")
    assert (environment["PYTHONPATH"], environment["PYTHONSAFEPATH"]) == (str(tmp_path), "1")


PLANTED = "open({said!r}, 'a').write({name!r} + '\\n')\n"


def test_a_kernel_takes_its_libraries_from_where_they_are_and_a_cell_its_own_modules_from_beside_it(course, tmp_path):
    said = tmp_path / "said"
    # A library that there is, one that others look for and that is not there, and what Python runs where it finds it.
    for name in ("numpy", "pandas", "sitecustomize", "usercustomize", "gainlib", "ipykernel"):
        (course / f"{name}.py").write_text(PLANTED.format(said=str(said), name=name))
    (course / "planted.pth").write_text(f"import os; {PLANTED.format(said=str(said), name='pth')}")
    (course / "ipython_config.py").write_text(PLANTED.format(said=str(said), name="ipython_config"))
    (course / "mine.py").write_text("import also_mine\nlevel = also_mine.level\n")
    (course / "also_mine.py").write_text("level = -18\n")
    place = course_place(course)
    environment, manager = jupyter_environment(place), lesson_kernel(place)
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    manager.start_kernel(env=environment, cwd=str(course), **quiet)
    client = manager.client()
    client.start_channels()

    def cell(code):
        printed: list[str] = []
        client.execute_interactive(
            code, timeout=60, output_hook=lambda message: printed.append(message["content"].get("text", ""))
        )
        return "".join(printed)

    try:
        client.wait_for_ready(timeout=60)
        # What the first cell needs is open already, and no name is left of it.
        asked = "import sys; print('gainlib.benches.book_panel' in sys.modules, 'gainlib' in globals(), '' in sys.path)"
        assert cell(asked) == "True False False\n"
        assert not said.exists()
        asked = "import numpy, gainlib; print(hasattr(numpy, 'sin'), gainlib.__version__ > '')"
        assert cell(asked) == "True True\n"
        # Bokeh, as any library, asks for pandas where it is to be had.
        asked = "from bokeh.util.dependencies import import_optional; print(import_optional('pandas'))"
        assert cell(asked) == "None\n"
        assert not said.exists()
        assert cell("import mine; print(mine.level)") == "-18\n"
        assert cell("from importlib import import_module; print(import_module('also_mine').level)") == "-18\n"
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)
    assert not said.exists()
