"""`gainlib write-exercise`: the page opens on the file of that name, and what it would lose is refused before."""

from __future__ import annotations

import json

import pytest

from gainlib.cli import one_cell


@pytest.fixture
def served(monkeypatch, tmp_path):
    """The code of each page that JupyterLab would have been started with."""
    codes = []

    def serve(folder, say, **given):
        cells = json.loads((folder / given["page"]).read_text(encoding="utf-8"))["cells"]
        codes.append(cells[-1]["source"])

    monkeypatch.setattr(one_cell, "serve", serve)
    monkeypatch.chdir(tmp_path)
    return codes


def test_the_page_opens_on_the_file_and_writes_nothing_yet(run, served, tmp_path):
    status, out, err = run("write-exercise", "levels/hot-bass", "--no-browser")
    file = tmp_path / "levels" / "hot-bass.toml"
    assert (status, err, out.startswith(f"{file} on a page, in ")) == (0, "", True)
    assert served == [f"import gainlib as gl\ngl.write_exercise({str(file)!r})"]
    assert not file.exists()


def test_a_file_that_says_more_than_the_page_is_refused_before_anything_opens(run, served):
    run("new-exercise", "hot-bass")  # with starts and notes of its own
    status, _, err = run("write-exercise", "hot-bass")
    assert (status, served) == (2, [])
    assert "hot-bass.toml" in err
    assert "says more in moves than the page can show; change it as text" in err


def test_a_name_that_cannot_be_one_is_refused(run, served):
    assert run("write-exercise", "../hot")[0::2] == (
        2, "gainlib: the name is '../hot'; give small letters, digits and hyphens, such as levels/hot-bass.\n",
    )  # fmt: skip
