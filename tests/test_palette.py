"""The palette stands in one place, and pages take it as CSS."""

from __future__ import annotations

import re
from pathlib import Path

import gainlib
from gainlib.palette import PALETTE, css_variables

PACKAGE = Path(gainlib.__file__).parent
OF_THE_PALETTE = re.compile("|".join(sorted({colour for pair in PALETTE.values() for colour in pair})), re.IGNORECASE)


def colours_in(text: str) -> list[str]:
    return OF_THE_PALETTE.findall(text)


def test_no_colour_of_the_palette_is_written_down_a_second_time():
    kinds = (".py", ".css", ".js", ".html")
    files = [path for path in PACKAGE.rglob("*") if path.suffix in kinds and "_course" not in path.parts]
    assert len(files) > 100
    found = {
        path.relative_to(PACKAGE).as_posix(): colours
        for path in files
        if (colours := colours_in(path.read_text(encoding="utf-8")))
    }
    assert set(found) == {"palette.py"}


def test_the_search_sees_a_colour_however_it_is_written():
    assert colours_in("a { color: #0072b2 } b { color: #D55E00; }") == ["#0072b2", "#D55E00"]


def test_css_has_every_colour_by_its_name_light_first():
    light, *dark = css_variables().splitlines()
    assert dark == []
    assert light.startswith(":root{")
    assert light.endswith("}")
    entries = dict(entry.split(":") for entry in light.removeprefix(":root{").removesuffix("}").split(";"))
    assert entries == {f"--gainlib-{name}": pair[0] for name, pair in PALETTE.items()}


def test_the_dark_set_holds_when_the_page_says_so():
    query = css_variables("@media (prefers-color-scheme: dark)").splitlines()[1]
    assert query.startswith("@media (prefers-color-scheme: dark){:root{--gainlib-peak:#56B4E9;")
    assert query.count("{") == query.count("}") == 2
    selector = css_variables('body[data-jp-theme-light="false"]').splitlines()[1]
    assert selector.startswith('body[data-jp-theme-light="false"]{--gainlib-peak:#56B4E9;')
    assert selector.count("{") == selector.count("}") == 1
