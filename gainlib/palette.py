"""The colours and strokes of every picture, page and bench, as data and as CSS; no drawing library is opened."""

from __future__ import annotations

from typing import Final

__all__ = ["PALETTE", "STROKES", "css_strokes", "css_variables"]

PALETTE: Final[dict[str, tuple[str, str]]] = {
    "peak": ("#0072B2", "#56B4E9"),
    "rms": ("#CC79A7", "#CC79A7"),
    "rms-text": ("#B0568A", "#CC79A7"),
    "noise": ("#5F6670", "#A9B1BC"),
    "third": ("#009E73", "#009E73"),
    "ceiling": ("#D55E00", "#E69F00"),
    "trouble": ("#B34E00", "#E69F00"),
    "text": ("#1A1D21", "#E8EAED"),
    "muted": ("#5F6670", "#A9B1BC"),
    "background": ("#FFFFFF", "#111111"),
    "band": ("#F3F5F7", "#1B1D20"),
    "grid": ("#DFE2E6", "#33373D"),
}
"""Each colour on a light and on a dark background: the Okabe-Ito set (*published*, Okabe and Ito 2002) and greys.

"trouble" and "rms-text" are the ceiling's and the RMS's colours, darkened on a light background until small text in
them has a contrast above 4.5:1. "band" sets a part of a page off from the rest.
"""

STROKES: Final[dict[str, tuple[str, float, tuple[int, ...]]]] = {
    "peak": ("peak", 2.5, ()),
    "rms": ("rms", 2.0, (6, 4)),
    "noise": ("noise", 1.5, (2, 4)),
    "ceiling": ("ceiling", 2.5, ()),
    "target": ("text", 1.5, (2, 4, 6, 4)),
}
"""How each kind of level is drawn in every picture: its colour of the palette, its width and its dashes, in pixels.

A threshold and what an order asks for are both a "target".
"""


def css_variables(dark: str = "") -> str:
    """The palette as CSS: `--gainlib-peak` and its fellows, for any page that draws or writes in these colours.

    Parameters
    ----------
    dark : str
        When the dark set holds, as CSS says it: a media query (`@media (prefers-color-scheme: dark)`) or a selector
        (`body[data-jp-theme-light="false"]`). Empty leaves the light set alone.

    Returns
    -------
    str
        One rule for `:root`, and one more for the dark.

    Examples
    --------
    >>> css_variables()[:30]
    ':root{--gainlib-peak:#0072B2;-'
    """
    light_set, dark_set = (
        ";".join(f"--gainlib-{name}:{pair[theme]}" for name, pair in PALETTE.items()) for theme in (0, 1)
    )
    rule = f"{dark}{{:root{{{dark_set}}}}}" if dark.startswith("@") else f"{dark}{{{dark_set}}}"
    return f":root{{{light_set}}}\n" + (f"{rule}\n" if dark else "")


def css_strokes() -> str:
    """The strokes as CSS, a class each, in the colours of `css_variables`.

    >>> css_strokes().splitlines()[1]
    '.rms{stroke:var(--gainlib-rms);stroke-width:2.0;stroke-dasharray:6 4}'
    """
    return "\n".join(
        f".{name}{{stroke:var(--gainlib-{colour});stroke-width:{width}"
        + (f";stroke-dasharray:{' '.join(map(str, dashes))}}}" if dashes else "}")
        for name, (colour, width, dashes) in STROKES.items()
    )
