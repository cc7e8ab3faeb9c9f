"""A lesson as one web page that needs no kernel and no connection: text, code, and each bench as it stands.

Every cell is run in a new kernel; then each bench is written out with its headline, its pictures (drawn by the BokehJS
of the installed Bokeh, which is put into the page once) and its settings. Nothing can be moved or played in it.
"""

from __future__ import annotations

import base64
import json
import os
from html import escape
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.html.figures import DRAW_ALL, bokeh_script
from gainlib.storage import atomic_write

__all__ = ["lesson_page"]

_WIDGET = "application/vnd.jupyter.widget-view+json"
_STATE = "application/vnd.jupyter.widget-state+json"


def lesson_page(notebook: str | os.PathLike[str], page: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Run a lesson and write it as one HTML file that shows the same with no kernel and no connection to anywhere.

    Gives the page's path back. Raises GainError when the notebook is not there, when a cell fails, and when the page
    is there already unless `overwrite` is set. A run takes as long as the lesson's cells do.

    >>> lesson_page("no-such-lesson.ipynb", "page.html")
    Traceback (most recent call last):
    ...
    gainlib.errors.GainError: there is no notebook 'no-such-lesson.ipynb'; give the path of a lesson.
    """
    import nbformat
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError
    from nbconvert import HTMLExporter

    source, target = Path(notebook), Path(page)
    if not source.is_file():
        raise GainError(f"there is no notebook {str(notebook)!r}; give the path of a lesson.")
    if target.exists() and not overwrite:
        raise GainError(f"{target} is there already; give another name, or ask to overwrite it.")
    lesson: Any = nbformat.reads(source.read_text(encoding="utf-8"), as_version=4)  # type: ignore[no-untyped-call]
    try:
        NotebookClient(
            lesson, timeout=300, kernel_name="python3", resources={"metadata": {"path": str(source.parent.resolve())}}
        ).execute()
    except CellExecutionError as fault:
        raise GainError(f"a cell of {source.name} failed: {fault.ename}: {fault.evalue}") from None
    state = lesson.metadata.get("widgets", {}).get(_STATE, {}).get("state", {})
    drawn = _Drawn(state)
    for cell in lesson.cells:
        for output in cell.get("outputs", []):
            shown = output.get("data", {}).pop(_WIDGET, None)
            if shown and shown.get("model_id") in state:
                output["data"]["text/html"] = drawn.html(shown["model_id"])
    lesson.metadata.pop("widgets", None)
    # Without these the page would ask other machines for scripts.
    exporter = HTMLExporter(  # type: ignore[no-untyped-call]
        require_js_url="", mathjax_url="", jquery_url="", mermaid_js_url=""
    )
    body, _ = exporter.from_notebook_node(lesson)
    if drawn.count:
        script = bokeh_script().decode("utf-8").replace("</script", "<\\/script")
        draw = f'{DRAW_ALL}\ndrawAll("[data-gainlib]");'
        body = body.replace("</body>", f"<script>{script}</script>\n<script>{draw}</script>\n</body>")
    return atomic_write(target, body, then="; give another name")


class _Drawn:
    """Widgets written out by what they hold: pictures, sentences, settings; boxes by what stands in them."""

    def __init__(self, state: dict[str, Any]) -> None:
        self.models = state
        self.count = 0

    def html(self, model_id: str) -> str:
        """One widget and what stands in it."""
        model = self.models[model_id]
        held = model["state"]
        parts = [self.html(each.removeprefix("IPY_MODEL_")) for each in held.get("children", [])]
        if "spec" in held:
            parts.append(self._picture(held, model.get("buffers", [])))
        elif "what" in held and "advice" in held:
            parts.append(f"<p><strong>{escape(held['what'])}</strong> {escape(held['advice'])}</p>")
        elif "brief" in held:
            parts.append(f"<h3>{escape(held['title'])}</h3><p>{escape(held['brief'])}</p>")
        elif "question" in held:
            choices = "".join(f"<li>{escape(each)}</li>" for each in held["choices"])
            parts.append(f"<p><strong>{escape(held['question'])}</strong></p><ul>{choices}</ul>")
        elif "form" in held and "order" in held:
            asked = " or ".join(held["choices"]) or held["unit"]
            parts.append(_setting(held["title"], f"… {asked}"))
        elif "options" in held and "chosen" in held:
            parts.append(_setting(held["name"], held["options"][held["chosen"]]))
        elif "points" in held:
            told = ", ".join(f"{seconds:.2f} s {gain_db:+.1f} dB" for seconds, gain_db in held["points"])
            parts.append(_setting(held["name"], told))
        elif "step" in held and "value" in held and "name" in held:
            parts.append(_setting(held["name"], f"{held['value']:.{held['digits']}f} {held['unit']}"))
        return "\n".join(parts)

    def _picture(self, held: dict[str, Any], buffers: list[dict[str, Any]]) -> str:
        self.count += 1
        columns = json.loads(json.dumps(held["columns"]))
        for each in buffers:
            place, name, column = each["path"][0], each["path"][1:-2], each["path"][-2:]
            if place == "columns":
                columns[name[0]][column[0]] = _floats(each["data"])
        content = json.dumps({"spec": json.loads(held["spec"]), "columns": columns}).replace("</", "<\\/")
        name = f"gainlib-picture-{self.count}"
        heading = f"<p><strong>{escape(held['heading'])}</strong></p>" if held["captioned"] else ""
        return (
            f"{heading}<div id='{name}' data-gainlib role='figure' aria-label={json.dumps(escape(held['heading']))}>"
            f"<script type='application/json'>{content}</script></div><p>{escape(held['sentence'])}</p>"
        )


def _floats(data: str) -> list[float | None]:
    import numpy as np

    values = np.frombuffer(base64.b64decode(data), dtype="<f4")
    return [float(each) if np.isfinite(each) else None for each in values]


def _setting(name: str, value: str) -> str:
    return f"<p>{escape(name)}: {escape(value)}</p>"
