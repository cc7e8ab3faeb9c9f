"""The page's half of a widget: its own script, which imports the module that all of them share, and how they look."""

from __future__ import annotations

import base64
from pathlib import Path

from gainlib.palette import css_variables
from gainlib.views.style import FRAME_LEFT, FRAME_RIGHT, FRAME_SCALE

__all__ = ["PREDICTION_STYLES", "SHARED_URL", "STYLES", "script", "width_classes"]

_HERE = Path(__file__).parent

SHARED_URL = "data:text/javascript;base64," + base64.b64encode((_HERE / "shared.js").read_bytes()).decode("ascii")
"""The shared module as an address: the page loads one address once, so all widgets meet in the same module.

A widget's own script reaches the page as text, in which an import of a file beside it would lead nowhere.
"""

_PALETTE = css_variables('body[data-jp-theme-light="false"]')

_STAGE_PX, _MOST_STAGES = 92, 40
_STRIPS = "".join(
    f".gainlib-stages-{count}{scales} {{ --gainlib-least: {FRAME_LEFT + right + _STAGE_PX * count}px; }}\n"
    for scales, right in (("", FRAME_RIGHT), (".gainlib-two-scales", FRAME_SCALE))
    for count in range(1, _MOST_STAGES)
)
"""How wide a level diagram must be for the names of its stages, and what is told below each, to stand apart."""


def width_classes(stages: int, right_px: int) -> list[str]:
    """The classes that make a strip wide enough for so many stages and what stands right of them.

    >>> width_classes(4, FRAME_RIGHT)
    ['gainlib-stages-4']
    """
    return [f"gainlib-stages-{stages}", *(["gainlib-two-scales"] if right_px == FRAME_SCALE else [])]


STYLES = _PALETTE + _STRIPS + (_HERE / "widgets.css").read_text(encoding="utf-8")
"""How everything of a bench and of an exercise looks, in the palette of the views."""

PREDICTION_STYLES = _PALETTE + (_HERE / "predict.css").read_text(encoding="utf-8")
"""How a prediction looks."""


def script(name: str) -> str:
    """A widget's module as text, its import of `shared.js` resolved.

    >>> "./shared.js" in script("range_input.js")
    False
    """
    return (_HERE / name).read_text(encoding="utf-8").replace('"./shared.js"', f'"{SHARED_URL}"')
