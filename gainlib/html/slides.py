"""A lesson as slides for the projector: one idea a slide with its still picture, in one file that needs no connection.

The text is the lesson's own, cut between its paragraphs. Code, exercises, the learner's own session and what is said of
mouse and keys are left out; where the lesson asks for a hand on its controls, a note says what the room does. The
answer to a prediction opens when one clicks on it.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from markupsafe import Markup

from gainlib.html.figures import script
from gainlib.html.lesson_page import BY_HAND, run_lesson, title_of, wanted_files
from gainlib.html.pages import render
from gainlib.storage import atomic_write

__all__ = ["Slide", "lesson_slides", "slides_of"]

MOST_LETTERS = 430
"""So much text stands on a slide before the next begins; a paragraph is never cut."""
LONGEST_HEADLINE = 160
LEFT_OUT = ("Check", "On your own session", "Sources")
IN_THE_ROOM = {
    "Move": "In the room: one says what to move and which way, another moves it on the lesson's own page.",
    "Listen": "In the room: play it from the lesson's own page, softly first. What does each of you hear?",
}
"""What stands at the foot of a slide, where the lesson asks for a hand on its controls."""
TALLEST_PX = 350
"""The height at which a picture is drawn, at most; it is shown 1.4 times as large, on a slide of 1280 by 720."""
_HEIGHT = re.compile(r'"height": ?(\d+)(?=[,}])')
_TALLER = 1.3
_BY_HAND = re.compile(r"\bmouse\b|<strong>(Ctrl|Shift) \+ (S|Tab)</strong>")
"""A paragraph on mouse and keys, which a room in front of a wall has none of."""
_PART = re.compile(
    r"<(?P<kind>h[1-4]|p|ul|ol|table|blockquote|pre|details|div)\b[^>]*>(?:(?!<(?P=kind)\b).)*?</(?P=kind)>", re.S
)
_PICTURE = re.compile(r'<div[^>]*class="figure".*?</script></div>', re.S)


@dataclass
class Slide:
    """One slide: the part of the lesson that it is from, its text, its picture, a note at its foot."""

    part: str
    blocks: list[str] = field(default_factory=list)
    picture: str = ""
    note: str = ""
    first: bool = False

    @property
    def letters(self) -> int:
        """How much text stands on it."""
        return sum(len(_text(each)) + (40 if each.startswith(("<ul", "<ol", "<table")) else 0) for each in self.blocks)

    @property
    def rows(self) -> int:
        """How many rows its tables have; a long one is set smaller."""
        return sum(each.count("<tr") for each in self.blocks)

    @property
    def html(self) -> Markup:
        """Its text as a page takes it."""
        return Markup("\n".join(self.blocks))

    @property
    def drawn(self) -> Markup:
        """Its picture as a page takes it."""
        return Markup(self.picture)


def lesson_slides(
    notebook: str | os.PathLike[str], page: str | os.PathLike[str], *, overwrite: bool = False
) -> tuple[Path, int]:
    """Run a lesson and write its slides as one HTML file; gives the path and how many slides there are.

    Arrow keys and Page Down turn them, and printed each is a page of 16 to 9. Raises GainError as `lesson_page` does.

    >>> lesson_slides("no-such-lesson.ipynb", "slides.html")
    Traceback (most recent call last):
    ...
    gainlib.errors.GainError: there is no notebook 'no-such-lesson.ipynb'; give the path of a lesson.
    """
    source, target = wanted_files(notebook, page, overwrite)
    lesson = run_lesson(source)
    slides = slides_of(lesson)
    drawn = any(each.picture for each in slides)
    text = render("slides.html", title=title_of(lesson) or source.stem, slides=slides, script=script() if drawn else "")
    return atomic_write(target, text, then="; give another name"), len(slides)


def slides_of(lesson: Any) -> list[Slide]:
    """The slides of a lesson that was run."""
    slides = [Slide("", first=True)]
    part, left_out = "", False
    for cell in lesson.cells:
        if BY_HAND in cell.metadata.get("tags", []):
            continue
        for block in _blocks_of(cell):
            heading = re.match(r"<h([12])\b[^>]*>(.*?)</h\1>", block, re.S)
            if heading:
                part = _text(heading[2])
                left_out = part in LEFT_OUT
                if heading[1] == "1":
                    slides[0].part, part = part, ""
                elif not left_out:
                    slides.append(Slide(part))
            elif left_out or _BY_HAND.search(block):
                continue
            elif 'class="gainlib-remark"' in block:
                if slides[-1].picture and not any(each.note == _text(block) for each in slides):
                    slides[-1].note = _text(block)
            elif _PICTURE.fullmatch(block):
                _put_picture(slides, part, block)
            else:
                _put_text(slides, part, block)
    for each in slides:
        each.note = each.note or IN_THE_ROOM.get(each.part, "")
    return [each for each in slides if each.blocks or each.picture or each.first]


def _put_picture(slides: list[Slide], part: str, block: str) -> None:
    """A picture gets a slide of its own, headed by what stood in bold in front of it: a bench's sentence, a heading."""
    headed: list[str] = []
    while len(headed) < 2 and slides[-1].blocks and _is_headline(slides[-1].blocks[-1]):
        headed.insert(0, slides[-1].blocks.pop())
    tallest = TALLEST_PX - 40 * (len(headed) == 2)
    # As lines and letters, not dots, since a slide shows it larger. Of all heights only a figure's is above 100.
    larger = _HEIGHT.sub(
        lambda found: (
            f'"output_backend": "svg", "height": {min(tallest, round(int(found[1]) * _TALLER))}'
            if int(found[1]) > 100
            else found[0]
        ),
        block,
    )
    slides.append(Slide(part, headed, larger))


def _is_headline(block: str) -> bool:
    return block.startswith("<p><strong>") and len(_text(block)) <= LONGEST_HEADLINE


def _put_text(slides: list[Slide], part: str, block: str) -> None:
    last = slides[-1]
    # What explains an answer stands on no slide on which it is still folded.
    answered = bool(last.blocks) and last.blocks[-1].startswith("<details")
    if last.picture or answered or (last.blocks and last.letters + len(_text(block)) > MOST_LETTERS):
        asked = block.startswith("<details") and not answered and last.blocks and _is_headline(last.blocks[-1])
        last = Slide(part, [last.blocks.pop()] if asked else [])  # an answer stands with its question
        slides.append(last)
    last.blocks.append(block)


def _blocks_of(cell: Any) -> Iterator[str]:
    """What a cell shows, in pieces that are never cut: paragraphs, lists, tables, pictures."""
    from nbconvert.filters import markdown2html

    if cell.cell_type == "markdown":
        yield from _pieces(re.sub(r'<a class="anchor-link".*?</a>', "", markdown2html(cell.source)))
        return
    for output in cell.get("outputs", []):
        if "text/markdown" in output.get("data", {}):  # what a cell says is as much text as what stands between cells
            yield from _pieces(markdown2html(output["data"]["text/markdown"]))
            continue
        held = output.get("data", {}).get("text/html")
        if held:
            for piece in _pieces(held if isinstance(held, str) else "".join(held)):
                # A control's value and the sentence under a picture are for reading alone.
                if not piece.startswith("<p") or piece.startswith(("<p><strong>", "<pre", '<p class="gainlib-remark"')):
                    yield piece


def _pieces(html: str) -> Iterator[str]:
    at = 0
    while at < len(html):
        picture, other = _PICTURE.search(html, at), _PART.search(html, at)
        found = picture if picture and (not other or picture.start() <= other.start()) else other
        if not found:
            return
        at = found.end()
        if _text(found[0]) or found is picture:
            yield found[0]


def _text(html: str) -> str:
    return " ".join(re.sub(r"<script.*?</script>|<[^>]+>", " ", html, flags=re.S).split())
