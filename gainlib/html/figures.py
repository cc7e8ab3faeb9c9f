"""Bokeh figures in a page that needs no server, and the Bokeh of this installation, which draws them there."""

from __future__ import annotations

import base64
import functools
import gzip
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup

from gainlib.html.pages import part

__all__ = ["SCRIPT", "bokeh_script", "embedded", "figure_html", "figure_json", "script", "script_beside"]

SCRIPT = "bokeh.min.js"
"""What the Bokeh is called that lies beside pages which share it."""


def bokeh_script() -> bytes:
    """BokehJS as it lies in the installed Bokeh.

    >>> b"Bokeh" in bokeh_script()
    True
    """
    import bokeh

    return (Path(bokeh.__file__).parent / "server" / "static" / "js" / SCRIPT).read_bytes()


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


def figure_json(figure: Any) -> str:
    """A figure as JSON; its parts are numbered from 1, so that the same figure gives the same text.

    >>> from bokeh.plotting import figure
    >>> figure_json(figure()) == figure_json(figure())
    True
    """
    numbers: dict[str, str] = {}
    return re.sub(
        r'"p(\d+)"', lambda found: f'"p{numbers.setdefault(found[1], str(len(numbers) + 1))}"', _safe(embedded(figure))
    )


def figure_html(
    figure: Any, columns: Mapping[str, Mapping[str, Any]] | None = None, label: str = ""
) -> Markup:  # fmt: skip
    """A figure as a part of a page, which the page's `script` draws; `columns` fill its sources by their names.

    `figure` is a Bokeh figure, what `embedded` gives of one, or JSON of that as a text, such as `figure_json` makes.
    Columns are arrays or lists; what is no finite number is null. `label` is what a screen reader is told.

    >>> print(figure_html("{}", {"band": {"peak": np.array([-3.0, np.nan])}}, "Levels")[67:])
    <script type="application/json">{"spec": {}, "columns": {"band": {"peak": [-3.0, null]}}}</script></div>
    """
    spec = figure if isinstance(figure, str) else _safe(figure) if isinstance(figure, dict) else figure_json(figure)
    content = Markup(f'{{"spec": {_closed(spec)}, "columns": {_safe(_listed(columns or {}))}}}')
    return part("figure.html", content=content, label=label)


@functools.cache
def script() -> Markup:
    """What draws the figures of a page, Bokeh included, which is packed to a third."""
    return part("drawing.html", packed=base64.b64encode(gzip.compress(bokeh_script(), 9, mtime=0)).decode(), beside="")


def script_beside() -> Markup:
    """What draws the figures of a page with the Bokeh that lies in a file beside it."""
    return part("drawing.html", packed="", beside=SCRIPT)


def _listed(columns: Mapping[str, Mapping[str, Any]]) -> dict[str, dict[str, list[Any]]]:
    return {
        source: {
            name: [None if not np.isfinite(value) else float(f"{value:.6g}") for value in values]
            if isinstance(values, np.ndarray) and values.dtype.kind in "fiu"
            else list(values)
            for name, values in held.items()
        }
        for source, held in columns.items()
    }


def _safe(content: Any) -> str:
    """JSON that may stand in a page: no text in it can end the script."""
    return _closed(json.dumps(content, ensure_ascii=False))


def _closed(text: str) -> str:
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
