"""Pictures on a page that needs no server and no connection: Bokeh figures with the Bokeh that draws them."""

from __future__ import annotations

import base64
import functools
import gzip
import json
import re
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader
from markupsafe import Markup

from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant
from gainlib.exercises.pictures import view_for
from gainlib.flow import Session
from gainlib.html.figures import DRAW_ALL, bokeh_script, embedded
from gainlib.views import Columns

__all__ = ["answered_picture", "page", "picture", "script", "script_beside"]

SCRIPT = "bokeh.min.js"


@functools.cache
def _templates() -> Environment:
    # Every name and text from a hand-in or a class list is escaped where it is put in.
    return Environment(loader=PackageLoader("gainlib.classroom", "pages"), autoescape=True, trim_blocks=True)


def page(template: str, **given: Any) -> str:
    """A page from its template."""
    return _templates().get_template(template).render(**given)


def picture(name: str, figure: Any, columns: Columns | None = None, spec: str = "") -> Markup:
    """A figure as a part of a page; `spec` may be given where the same figure was written out before."""
    content = f'{{"spec": {spec or spec_of(figure)}, "columns": {_safe(_lists(columns or {}))}}}'
    return Markup(f'<div class="picture" id="{name}"><script type="application/json">{content}</script></div>')


def spec_of(figure: Any) -> str:
    """A figure as JSON; its parts are numbered from 1, so that the same figure gives the same text."""
    text = _safe(embedded(figure))
    numbers: dict[str, str] = {}
    return re.sub(r'"p(\d+)"', lambda found: f'"p{numbers.setdefault(found[1], str(len(numbers) + 1))}"', text)


@functools.cache
def script() -> Markup:
    """What draws the pictures of a page, Bokeh included, which is packed to a third."""
    packed = base64.b64encode(gzip.compress(bokeh_script(), 9, mtime=0)).decode()
    return Markup(f'<script type="text/plain" id="packed">{packed}</script>\n<script>{DRAW_ALL}\n{_UNPACK}</script>')


def script_beside() -> Markup:
    """What draws the pictures of a page with the Bokeh that lies in a file beside it."""
    return Markup(f'<script src="{SCRIPT}"></script>\n<script>{DRAW_ALL}\ndrawAll(".picture");</script>')


_UNPACK = """
(async () => {
  const bytes = Uint8Array.from(atob(document.getElementById("packed").textContent), (each) => each.charCodeAt(0));
  const unpacked = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const script = document.createElement("script");
  script.textContent = await new Response(unpacked).text();
  document.head.append(script);
  drawAll(".picture");
})();"""


def answered_picture(variant: Variant, answer: dict[str, Any]) -> tuple[str, Columns, str, str] | None:
    """The first view of an exercise as a learner set it: figure, columns, heading, sentence; None without."""
    if not variant.views or variant.candidates:
        return None  # where versions were judged, nothing was set
    rendering = _as_set(variant, answer).render()
    drawn = view_for(variant.views[0], variant)
    return (
        _spec(variant.exercise, variant.views[0]),
        drawn.columns(rendering),
        drawn.heading(rendering),
        drawn.sentence(rendering),
    )


def _as_set(variant: Variant, answer: dict[str, Any]) -> Session:
    """The session with what an answer sets; what the controls cannot do, and what a stage refuses, stays as it was."""
    settings: dict[str, Any] = {}
    for move in variant.controls:
        value = answer.get(move.path)
        if move.points and isinstance(value, list):
            settings[move.path] = tuple(map(tuple, value))
        elif move.options:
            if any(isinstance(each, bool) == isinstance(value, bool) and each == value for each in move.options):
                settings[move.path] = value
        elif isinstance(value, int | float) and not isinstance(value, bool) and move.low <= value <= move.high:
            settings[move.path] = value
    try:
        return variant.session.replaced(settings)
    except GainError:
        return variant.session


@functools.lru_cache(maxsize=64)
def _spec(exercise: Exercise, choice: str) -> str:
    """A figure is the same for all answers to an exercise; only its columns change."""
    variant = exercise.variant("anyone")
    return spec_of(view_for(choice, variant).figure(variant.session.render()))


def _lists(columns: Columns) -> dict[str, dict[str, list[Any]]]:
    return {
        source: {
            name: [None if not np.isfinite(each) else float(f"{each:.6g}") for each in values]
            if isinstance(values, np.ndarray) and values.dtype.kind in "fiu"
            else list(values)
            for name, values in of.items()
        }
        for source, of in columns.items()
    }


def _safe(content: Any) -> str:
    """JSON that may stand in a page: no text in it can end the script."""
    text = json.dumps(content, ensure_ascii=False)
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
