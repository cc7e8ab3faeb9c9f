"""How the house stands: rooms import downward only, the package opens quickly, public functions are documented."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import gainlib

PACKAGE = Path(gainlib.__file__).parent

# From the cellar to the roof; a room may import from rooms on lower floors, and from itself.
FLOORS = [
    {"errors"},
    {"text", "decibels", "loops", "palette"},
    {"storage"},
    {"audio"},
    {"sound_file"},
    {"meters"},
    {"stages"},
    {"flow"},
    {"views"},
    {"html"},
    {"surveys"},
    {"exercises"},
    {"authoring", "learners"},
    {"classroom"},
    {"widgets"},
    {"benches"},
    {"notebook"},
    {"cli"},
]
FLOOR = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
# (library, rooms that may know it)
KNOWN_BY = {
    "bokeh": {"views", "html", "widgets", "benches", "authoring", "classroom"},
    "ipywidgets": {"widgets", "benches"},
    "anywidget": {"widgets", "benches"},
    "IPython": {"widgets", "benches"},
    "soundfile": {"sound_file"},
    "numba": {"loops"},
    "jinja2": {"html"},
    "markupsafe": {"html"},
    "nbconvert": {"html"},
}


def imports_of(source: str) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def faults_of(room: str, source: str) -> list[str]:
    faults = []
    for name in imports_of(source):
        parts = name.split(".")
        if parts[0] == "gainlib" and len(parts) > 1:
            other = parts[1]
            if other in FLOOR and other != room and FLOOR[other] >= FLOOR[room]:
                faults.append(f"{room} imports {name}")
        elif parts[0] in KNOWN_BY and room not in KNOWN_BY[parts[0]]:
            faults.append(f"{room} imports {name}")
    return faults


def rooms():
    for path in sorted(PACKAGE.rglob("*.py")):
        inside = path.relative_to(PACKAGE).parts
        room = inside[0].removesuffix(".py")
        if room not in ("__init__", "_course"):
            yield pytest.param(room, path, id="/".join(inside))


@pytest.mark.parametrize(("room", "path"), list(rooms()))
def test_a_room_imports_only_from_rooms_below(room, path):
    assert room in FLOOR, f"{room} has no floor: add it to FLOORS in this test and to the drawing in DEVELOPERS.md"
    assert faults_of(room, path.read_text(encoding="utf-8")) == []


def test_the_arrow_test_sees_a_wrong_arrow():
    assert faults_of("meters", "from gainlib.flow import Session") == ["meters imports gainlib.flow.Session"]
    assert faults_of("views", "from gainlib.exercises import load") == ["views imports gainlib.exercises.load"]
    assert faults_of("stages", "import bokeh.plotting") == ["stages imports bokeh.plotting"]
    assert faults_of("flow", "from gainlib.meters import measure") == []


def test_importing_gainlib_opens_none_of_the_heavy_libraries():
    heavy = [
        "numba",
        "scipy",
        "bokeh",
        "ipywidgets",
        "anywidget",
        "soundfile",
        "IPython",
        "pydantic",
        "typer",
        "rich",
        "numpy",
    ]
    code = f"import sys, gainlib; print([each for each in {heavy} if each in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_kernel_that_saturates_and_draws_the_curve_between_samples_needs_no_more_of_scipy_than_numba_does():
    code = """
import sys
import numpy as np
import gainlib as gl
from gainlib.views import CloseUp, HarmonicSpectrum
tone = gl.Audio(0.5 * np.sin(np.arange(48_000) / 7), 48_000, "tone")
rendering = gl.Session.of(tone, [gl.Trim(), gl.Saturation(6.0)]).render()
print(CloseUp(curve=True).sentence(rendering), CloseUp(curve=True).columns(rendering).keys())
print(HarmonicSpectrum().sentence(rendering))
print([each for each in ("scipy.signal", "scipy.optimize") if each in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_every_public_name_opens():
    for name in gainlib.__all__:
        assert getattr(gainlib, name) is not None
    with pytest.raises(AttributeError, match="gainlib has no 'mesure'; it has Audio"):
        _ = gainlib.mesure


def public_things():
    for info in pkgutil.walk_packages(gainlib.__path__, "gainlib."):
        if info.name.startswith("gainlib._course"):
            continue
        module = importlib.import_module(info.name)
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name)
            if (inspect.isfunction(thing) or inspect.isclass(thing)) and thing.__module__ == info.name:
                yield pytest.param(thing, id=f"{info.name}.{name}")


@pytest.mark.parametrize("thing", list(public_things()))
def test_every_public_name_has_a_docstring_that_ends_its_first_line(thing):
    doc = inspect.getdoc(thing)
    assert doc, f"{thing.__name__} has no docstring"
    assert doc.splitlines()[0].rstrip().endswith((".", ":")), f"{thing.__name__}: {doc.splitlines()[0]}"
