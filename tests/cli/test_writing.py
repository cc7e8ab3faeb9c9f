"""`gainlib write-exercise`: the page opens on the file of that name, of the kind that was asked for."""

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


def test_an_exercise_of_another_kind_is_begun_with_that_kind(run, served, tmp_path):
    status, _, err = run("write-exercise", "levels/sum", "--kind", "reckon", "--no-browser")
    file = tmp_path / "levels" / "sum.toml"
    assert (status, err) == (0, "")
    assert served == [f"import gainlib as gl\ngl.write_exercise({str(file)!r}, kind='reckon')"]


def test_a_kind_is_known_and_that_of_a_file_that_is_there_is_its_own(run, served):
    assert run("write-exercise", "sum", "--kind", "recon")[0::2] == (
        2, "gainlib: --kind is 'recon'; did you mean reckon?\n",
    )  # fmt: skip
    run("new-exercise", "sum", "--kind", "find")
    status, _, err = run("write-exercise", "sum", "--kind", "find")
    assert (status, served) == (2, [])
    assert err == "gainlib: sum.toml is there already, and says itself of which kind it is; leave --kind out.\n"


def test_a_name_that_cannot_be_one_is_refused(run, served):
    assert run("write-exercise", "../hot")[0::2] == (
        2, "gainlib: the name is '../hot'; give small letters, digits and hyphens, such as levels/hot-bass.\n",
    )  # fmt: skip
