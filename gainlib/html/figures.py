"""What draws figures on a page that needs no server: the Bokeh of this installation, and the script that calls it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from html import escape
from pathlib import Path
from typing import Any

__all__ = ["DRAW_ALL", "bokeh_script", "embedded", "figure_html"]

DRAW_ALL = """
function drawAll(selector) {
  for (const [index, each] of document.querySelectorAll(selector).entries()) {
    each.id ||= `figure-${index}`;
    const { spec, columns } = JSON.parse(each.querySelector("script").textContent);
    Bokeh.embed.embed_item(spec, each.id).then((views) => {
      const doc = [...(views.roots ?? views)][0].model.document;
      for (const [name, data] of Object.entries(columns)) {
        const source = doc.get_model_by_name(name);
        if (source) source.data = data;
      }
    });
  }
}"""
"""Draws each element of a selector, which holds its figure and columns as JSON in a script of its own."""


def bokeh_script() -> bytes:
    """BokehJS as it lies in the installed Bokeh.

    >>> b"Bokeh" in bokeh_script()
    True
    """
    import bokeh

    return (Path(bokeh.__file__).parent / "server" / "static" / "js" / "bokeh.min.js").read_bytes()


def embedded(figure: Any) -> dict[str, Any]:
    """What BokehJS embeds: as `bokeh.embed.json_item` gives it, in half the time, since it goes through it once.

    >>> from bokeh.plotting import figure
    >>> sorted(embedded(figure()))
    ['doc', 'root_id', 'target_id', 'version']
    """
    import bokeh
    from bokeh.document import Document

    if figure.document is None:
        Document(title="").add_root(figure)
    drawn = figure.document.to_json(deferred=False)
    return {"target_id": None, "root_id": figure.id, "doc": drawn, "version": bokeh.__version__}


def figure_html(spec: Mapping[str, Any], columns: Mapping[str, Mapping[str, Any]], label: str) -> str:
    """An embedded figure with its columns (lists, null for what is no number) as an element that `DRAW_ALL` draws.

    `label` is what a screen reader is told; the elements fit the selector `[data-gainlib]`.

    >>> figure_html({}, {"band": {"peak": [None]}}, "Levels")[:52]
    "<div data-gainlib role='figure' aria-label='Levels'>"
    """
    content = json.dumps({"spec": spec, "columns": columns}).replace("</", "<\\/")
    return (
        f"<div data-gainlib role='figure' aria-label='{escape(label)}'>"
        f"<script type='application/json'>{content}</script></div>"
    )
