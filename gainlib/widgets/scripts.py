"""The page's half of a widget: its own script, behind what all of them share."""

from __future__ import annotations

from pathlib import Path

__all__ = ["page_script"]

_HERE = Path(__file__).parent / "page"


def page_script(name: str) -> str:
    """A widget's module as text, with what all of them share in front of it.

    >>> "export default" in page_script("range.js")
    True
    """
    return "\n".join((_HERE / each).read_text(encoding="utf-8") for each in ("house.js", name))
