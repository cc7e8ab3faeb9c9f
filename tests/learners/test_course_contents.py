"""A stranger's notebook brings no script into the page; one's own keeps its saved widgets."""

from __future__ import annotations

import asyncio
import json

import nbformat
import pytest
from nbformat.sign import NotebookNotary

from gainlib.learners.course_contents import CourseContents

SCRIPT = {"application/vnd.jupyter.widget-state+json": {"state": {"a": {"state": {"_esm": "alert(1)"}}}}}
CODE = nbformat.v4.new_code_cell("1")
SHOWN = nbformat.v4.new_code_cell(
    "1",
    outputs=[
        nbformat.v4.new_output("display_data", {"application/vnd.jupyter.widget-view+json": {"model_id": "a"}}),
    ],
)


# A notebook without outputs holds nothing that is not trusted, in Jupyter's eyes.
@pytest.mark.parametrize("cells", [[], [CODE], [SHOWN]], ids=["no cell", "no output", "an output"])
def test_only_a_notebook_that_this_user_signed_keeps_its_saved_widgets(tmp_path, cells):
    notary = NotebookNotary(data_dir=str(tmp_path / "data"), db_file=":memory:", secret=b"of this user")
    manager = CourseContents(root_dir=str(tmp_path), notary=notary)
    notebook = nbformat.v4.new_notebook(cells=cells, metadata={"widgets": SCRIPT, "title": "kept"})
    (tmp_path / "one.ipynb").write_text(json.dumps(notebook))

    def opened():
        return asyncio.run(manager.get("one.ipynb"))["content"]["metadata"]

    assert opened() == {"title": "kept"}
    notary.sign(nbformat.read(tmp_path / "one.ipynb", as_version=4))
    assert opened() == {"title": "kept", "widgets": SCRIPT}
    notary.store.close()
