"""A wheel and an sdist hold the library, the course and the licences, and nothing of who learns in the checkout."""

from __future__ import annotations

import json
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path

import pytest

from gainlib.page import course_digests
from gainlib.storage import lesson_files

ROOT = Path(__file__).parents[1]
LICENCES = {"LICENSE", "LICENSE-MEDIA"}
COURSE = ("lessons/", "exercises/", "media/")
EXTENSION = "gainlib/page/labextensions/gainlib/"
DIGESTS = "static/digests.json"
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
LESSON = lesson_files()["set-recording-level"].stem
NOTEBOOK = f"lessons/{LESSON}.ipynb"

# What learning, teaching and testing leave behind in a checkout.
LEFT_BEHIND = [
    "progress.json",
    "lessons/progress.json",
    "lessons/attempts.jsonl",
    "lessons/attempts-0a1b2c3d.jsonl",
    "lessons/progress (damaged, kept 2026-01-01 10.00.00).json",
    f"lessons/.ipynb_checkpoints/{LESSON}-checkpoint.ipynb",
    "exercises/levels/.ipynb_checkpoints/unity-checkpoint.toml",
    "gainlib/.ipynb_checkpoints/audio-checkpoint.py",
    "lessons/.gainlib/course.json",
    "lessons/.gainlib/class.toml",
    ".gainlib/jupyter/settings/page.json",
    f"lessons/{LESSON}-Copy1.ipynb",
    f"lessons/{LESSON} (new in 0.2).ipynb",
    "lessons/Untitled.ipynb",
    "lessons/try-exercise.ipynb",
    "lessons/.half-0a1b2c3d.ipynb",
    f"gainlib-course/lessons/{LESSON}.ipynb",
    "exercises/gainlib-course/take.toml",
    "lessons/hand-ins/hand-in a-01 20260101-100000-000.json",
    "hand-ins/hand-in.json",
    "group-a.toml",
    "group-a.gainclass",
    "group-a-own-files/group-a-for-a-17.gainclass",
    "marks-of-group-a/marks.csv",
    "exercises/marks-of-group-a/marks.toml",
    "media/my-take.flac",
    "media/my-take.wav",
    "media/takes/one.flac",
    "lessons/takes/one.wav",
    "stems/one.wav",
    "gainlib/take.wav",
    "gainlib/__pycache__/audio.cpython-311.pyc",
    "tests/.hypothesis/examples/one",
    "tests/progress.json",
    "session.toml",
    "gain-sheet.html",
]


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("this is no checkout, so nobody can say which files belong to it")
    return [name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Names in the wheel and in the sdist of a used checkout, and what is the project's own in it."""
    pytest.importorskip("hatchling", reason="the tests' extra brings it")
    copy = tmp_path_factory.mktemp("checkout")
    own = tracked()
    for name in own:
        target = copy / name
        target.parent.mkdir(parents=True, exist_ok=True)
        # A stem weighs much and only its name counts here.
        target.write_bytes(b"" if name.endswith(".flac") else (ROOT / name).read_bytes())
    for name in LEFT_BEHIND:
        assert name not in own
        target = copy / name
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text("a learner's")
    command = [sys.executable, "-m", "hatchling", "build", "-d", "out", "-t", "wheel", "-t", "sdist"]
    done = subprocess.run(command, cwd=copy, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    (wheel,) = (copy / "out").glob("*.whl")
    (sdist,) = (copy / "out").glob("*.tar.gz")
    with zipfile.ZipFile(wheel) as packed, tarfile.open(sdist) as source:
        texts = {name: packed.read(name) for name in packed.namelist() if "dist-info" in name or "digests" in name}
        inside = {name.partition("/")[2] for name in source.getnames()}
        return set(packed.namelist()), inside, texts, own


def test_the_wheel_holds_the_library_and_the_course_and_nothing_else(built):
    wheel, _, _, own = built
    wanted = {name for name in own if name.startswith("gainlib/")}
    wanted |= {f"gainlib/_course/{name}" for name in own if name.startswith(COURSE)}
    # The extension lies where JupyterLab looks for one as well.
    shared = [name.removeprefix(EXTENSION) for name in own if name.startswith(EXTENSION)]
    assert {"package.json", "static/entry.js", "schemas/gainlib/page.json"} <= set(shared)
    shared.append(DIGESTS)  # made by the build
    wanted.add(EXTENSION + DIGESTS)
    wanted |= {f"gainlib-{VERSION}.data/data/share/jupyter/labextensions/gainlib/{name}" for name in shared}
    assert {name for name in wheel if ".dist-info/" not in name} == wanted


def test_the_page_of_the_wheel_knows_the_code_of_the_lessons_as_they_are(built):
    _, _, texts, _ = built
    made = [json.loads(text) for name, text in texts.items() if name.endswith(DIGESTS)]
    assert len(made) == 2
    assert all(sorted(each) == sorted(course_digests().values()) for each in made)


def test_the_sdist_holds_what_builds_and_tests_the_wheel_and_nothing_else(built):
    _, sdist, _, own = built
    wanted = {name for name in own if name.startswith(("gainlib/", "tests/", *COURSE))}
    assert sdist == wanted | LICENCES | {"README.md", "DEVELOPERS.md", "pyproject.toml", ".gitignore", "PKG-INFO"}


def test_both_hold_the_licences_whole(built):
    _, sdist, texts, _ = built
    held = {name.rpartition("/")[2]: text for name, text in texts.items() if "/licenses/" in name}
    assert held == {name: (ROOT / name).read_bytes() for name in LICENCES}
    assert sdist >= LICENCES
    metadata = next(text.decode() for name, text in texts.items() if name.endswith("METADATA"))
    assert "License-Expression: MIT AND CC0-1.0\n" in metadata
    assert "Project-URL" not in metadata


def test_the_licences_are_the_ones_that_are_named():
    mit = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert mit.startswith("MIT License\n\nCopyright (c) 2026 The gainlib maintainers\n")
    assert "Permission is hereby granted, free of charge" in mit
    media = (ROOT / "LICENSE-MEDIA").read_text(encoding="utf-8")
    assert media.startswith("Creative Commons Legal Code\n\nCC0 1.0 Universal\n")
    for part in ("1. Copyright and Related Rights.", "2. Waiver.", "3. Public License Fallback.", "4. Limitations"):
        assert part in media


def test_the_newest_python_named_is_one_that_the_classifiers_name():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = [each.rpartition(" ")[2] for each in project["classifiers"] if each.startswith("Programming Language")]
    assert named == ["3", "3.11", "3.12", "3.13"]
    assert project["requires-python"] == f">={named[1]}"
