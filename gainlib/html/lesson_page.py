"""A lesson as one web page that needs no kernel and no connection: text, code to read, and each bench as it stands.

Every cell is run in a new kernel; then each bench is written out with its headline, its pictures (drawn by the BokehJS
of the installed Bokeh, which is put into the page once) and its settings. Nothing can be moved or played in it. Code
that only makes a tool is left out, as a lesson folds it. A learner's page has the answers to the predictions folded,
and what explains them stands there when they are unfolded; on paper both begin a new sheet. A teacher's page has no
code, and all answers.
"""

from __future__ import annotations

import os
import re
import tempfile
from pathlib import Path
from typing import Any

from markupsafe import Markup

from gainlib.errors import GainError
from gainlib.html.figures import script
from gainlib.html.pages import render
from gainlib.jupyter_home import jupyter_environment, lesson_kernel
from gainlib.storage import atomic_write, given_path
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, json_value, read_text

__all__ = ["BY_HAND", "TOOL", "lesson_page", "run_lesson", "title_of", "wanted_files"]

_WIDGET = "application/vnd.jupyter.widget-view+json"
TOOL = "tool"
"""The tag of a cell whose code only makes a tool."""
BY_HAND = "by-hand"
"""The tag of a cell that tells how cells are run by hand."""
COMPARES, EXPLAINS = r"\bgl\.compare\(", r"^## (Read|Listen|In one breath)\b"
"""What a cell holds that shows an answer, and the headings of what explains one; a lesson's live page has the same."""

# Asked of the lesson's own kernel when its cells have run: a box is written out by what stands in it, every other
# widget by itself.
_ASK = """\
def _still(widget):
    if %r and hasattr(widget, "answer_html"):
        return widget.answer_html()
    if hasattr(widget, "static_html"):
        return widget.static_html()
    if hasattr(widget, "children"):
        return "\\n".join(_still(each) for each in widget.children)
    raise TypeError(f"a {type(widget).__name__} has no static_html()")

from IPython.display import display
from ipywidgets.widgets.widget import _instances
display({"application/json": {each: _still(_instances[each]) for each in %r if each in _instances}}, raw=True)
"""


def lesson_page(
    notebook: str | os.PathLike[str], page: str | os.PathLike[str], *, overwrite: bool = False, answers: bool = False
) -> Path:
    """Run a lesson and write it as one HTML file that shows the same with no kernel and no connection to anywhere.

    With `answers` it is a teacher's page: no code, and the answer to each prediction and each exercise. Gives the
    page's path back. Raises GainError when the notebook is not there, when a cell fails, and when the page is there
    already unless `overwrite` is set. A run takes as long as the lesson's cells do.

    >>> lesson_page("no-such-lesson.ipynb", "page.html")
    Traceback (most recent call last):
    ...
    gainlib.errors.GainError: there is no notebook 'no-such-lesson.ipynb'; give the path of a lesson.
    """
    from nbconvert import HTMLExporter

    source, target = wanted_files(notebook, page, overwrite)
    lesson = run_lesson(source, answers)
    lesson.cells = [each for each in lesson.cells if BY_HAND not in each.metadata.get("tags", [])]
    if not answers:
        _tag_explanations(lesson)
    for cell in lesson.cells:
        if answers or TOOL in cell.metadata.get("tags", []):
            cell.metadata["transient"] = {"remove_source": True}  # the exporter's own word for it
    # The cells alone; what stands around them is the course's own. A template is a program, so none of this folder's.
    cells, _ = HTMLExporter(template_name="basic", extra_template_basedirs=[]).from_notebook_node(lesson)  # type: ignore[no-untyped-call]
    body = render(
        "lesson_page.html",
        title=title_of(lesson) or source.stem,
        cells=Markup(cells),
        script=script() if "data-gainlib" in cells else "",
    )
    return atomic_write(target, body, then="; give another name")


def wanted_files(notebook: str | os.PathLike[str], page: str | os.PathLike[str], overwrite: bool) -> tuple[Path, Path]:
    """The lesson that is meant and the page that is to be written; GainError where that cannot be done."""
    source, target = given_path(notebook), given_path(page)
    if not source.is_file():
        raise GainError(f"there is no notebook {str(notebook)!r}; give the path of a lesson.")
    if target.exists() and not overwrite:
        raise GainError(f"{target} is there already; give another name, or ask to overwrite it.")
    return source, target


def run_lesson(source: Path, answers: bool = False) -> Any:
    """A lesson's notebook, run in a new kernel, with each widget as it writes itself out; as `lesson_page`."""
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError

    lesson: Any = _read_notebook(source)
    with tempfile.TemporaryDirectory(prefix="gainlib-", ignore_cleanup_errors=True) as made:
        environment = jupyter_environment(Path(made))
        client = NotebookClient(
            lesson, lesson_kernel(Path(made)), timeout=300, store_widget_state=False,
            resources={"metadata": {"path": str(source.parent.resolve())}},
            extra_arguments=["--log-level=ERROR"],  # what a kernel warns of, its connection, ends with it
        )  # fmt: skip
        try:
            with client.setup_kernel(env=environment, cleanup_kc=True):
                for index, cell in enumerate(lesson.cells):
                    client.execute_cell(cell, index)
                stills = _stills(client, lesson, answers)
        except CellExecutionError as fault:
            raise GainError(f"a cell of {source.name} failed: {fault.ename}: {fault.evalue}") from None
    for output in _outputs(lesson):
        if _WIDGET in output["data"]:
            output["data"]["text/html"] = stills.get(output["data"].pop(_WIDGET)["model_id"], "")
    return lesson


def _read_notebook(source: Path) -> Any:
    """The notebook in a file, in the form that it is run in."""
    import nbformat

    text = read_text(source, LARGEST_NOTEBOOK_BYTES, "a lesson")
    json_value(text, source.name)
    try:
        return nbformat.reads(text, as_version=4)  # type: ignore[no-untyped-call]
    except Exception as fault:  # whatever that library stumbles over
        raise GainError(f"{source.name} is JSON, but no notebook; give the path of a lesson.") from fault


def _tag_explanations(lesson: Any) -> None:
    """Tag what explains an answer, so that the page holds it back as long as one above it is folded."""
    compared = explains = False
    for cell in lesson.cells:
        compares = cell.cell_type == "code" and bool(re.search(COMPARES, cell.source))
        if cell.cell_type == "markdown" and cell.source.startswith("## "):
            explains = bool(re.match(EXPLAINS, cell.source))
        if compared and explains and not compares:
            cell.metadata["tags"] = [*cell.metadata.get("tags", []), "explains"]
        compared = compared or compares


def title_of(lesson: Any) -> str:
    """The lesson's first heading."""
    lines = (line for cell in lesson.cells if cell.cell_type == "markdown" for line in cell.source.splitlines())
    return next((line.removeprefix("# ").strip() for line in lines if line.startswith("# ")), "")


def _outputs(lesson: Any) -> list[Any]:
    """What the cells display, with its data."""
    return [output for cell in lesson.cells for output in cell.get("outputs", []) if "data" in output]


def _stills(client: Any, lesson: Any, answers: bool) -> dict[str, str]:
    """Each widget that the lesson shows, by its model's id, as the widget itself writes it out."""
    from nbclient.exceptions import CellExecutionError
    from nbformat.v4 import new_code_cell

    shown = [output["data"][_WIDGET]["model_id"] for output in _outputs(lesson) if _WIDGET in output["data"]]
    lesson.cells.append(new_code_cell(_ASK % (answers, shown)))  # type: ignore[no-untyped-call]
    try:
        client.execute_cell(lesson.cells[-1], len(lesson.cells) - 1)
    except CellExecutionError as fault:
        raise GainError(f"a widget of the lesson cannot stand on a page: {fault.evalue}; leave it out.") from None
    return dict(lesson.cells.pop()["outputs"][0]["data"]["application/json"])
