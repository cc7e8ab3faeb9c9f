"""The one template environment: every page of the course that needs no server is made by it."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from gainlib.errors import escaped
from gainlib.palette import css_strokes, css_variables
from gainlib.text import row_of_names

__all__ = ["TEMPLATES", "part", "render"]

TEMPLATES = Path(__file__).parent / "templates"
"""Where the templates lie; a page that is kept is made again when one of them changed."""

_DARK = "@media screen and (prefers-color-scheme: dark)"


@functools.cache
def _environment() -> Environment:
    # Every name and text from a hand-in, a file name or a class list is escaped where it is put in.
    made = Environment(
        loader=PackageLoader("gainlib.html", "templates"), autoescape=True, undefined=StrictUndefined,
        finalize=_shown, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    made.globals |= {"palette": _palette, "strokes": _strokes, "row_of_names": row_of_names}
    return made


def _shown(value: object) -> object:
    """What is put into a page: of a text, what could mislead a reader is shown by its code, as a terminal has it."""
    if not isinstance(value, str) or isinstance(value, Markup) or value.isprintable():
        return value
    return "\n".join("\t".join(map(escaped, line.split("\t"))) for line in value.split("\n"))


def render(template: str, **given: Any) -> str:
    """A page from its template, with what is given put in as text."""
    return _environment().get_template(template).render(**given)


def part(template: str, **given: Any) -> Markup:
    """A part of a page from its template, that a page takes as it is."""
    return Markup(render(template, **given))


def _palette(*, dark: bool = False) -> Markup:
    """The palette as CSS; with the dark set as well, where the reader's screen is dark."""
    return Markup(css_variables(_DARK if dark else ""))


def _strokes() -> Markup:
    """The strokes of the course's pictures as classes of CSS."""
    return Markup(css_strokes())
