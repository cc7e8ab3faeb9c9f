"""The templates: each can be read, what is put in is text, and a page's colours are the palette's."""

from __future__ import annotations

import re

import jinja2
import pytest

from gainlib.html.pages import TEMPLATES, part, render
from gainlib.palette import PALETTE, STROKES

NASTY = "</title></script><img src=x onerror=alert(1)>&'\""
REGION = {"title": NASTY, "drawn": NASTY, "sentence": NASTY, "figure": NASTY, "script": ""}


def test_what_is_put_in_is_text():
    page = render("passing_region.html", **REGION)
    assert "<img" not in page
    assert page.count("&lt;img src=x onerror=alert(1)&gt;&amp;&#39;&#34;") == 5  # the title stands twice
    assert page.count("</title>") == 1


def test_what_could_mislead_a_reader_is_shown_by_its_code():
    page = render("passing_region.html", **{**REGION, "sentence": "stem\u202egnp.wav\x1b[2J, ドラム\u00a0–\n\tnext"})
    assert "stem\\u202egnp.wav\\x1b[2J, ドラム\u00a0–\n\tnext" in page


def test_a_part_is_taken_as_it_is():
    drawn = part("figure.html", content="{}", label=NASTY)
    page = render("passing_region.html", **{**REGION, "figure": drawn})
    assert str(drawn) in page


def test_what_a_template_asks_for_and_is_not_given_is_a_fault():
    with pytest.raises(jinja2.UndefinedError, match="sentence"):
        render("passing_region.html", **{name: value for name, value in REGION.items() if name != "sentence"})


@pytest.mark.parametrize("name", sorted(path.name for path in TEMPLATES.iterdir()))
def test_no_template_is_marked_safe_by_hand_or_asks_for_anything_outside(name):
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    assert not re.search(r"\|\s*safe|autoescape|https?:", text)


def test_a_page_has_the_palette_and_a_drawn_page_the_strokes():
    page = render("passing_region.html", **REGION)
    assert page.startswith("<!doctype html>")
    for name, (light, _) in PALETTE.items():
        assert f"--gainlib-{name}:{light}" in page
    assert "prefers-color-scheme" not in page
    used = {
        name for path in TEMPLATES.iterdir() for name in re.findall(r"var\(--gainlib-([a-z-]+)\)", path.read_text())
    }
    assert used <= set(PALETTE)
    assert set(STROKES) >= {"peak", "rms", "noise", "ceiling", "target"}
