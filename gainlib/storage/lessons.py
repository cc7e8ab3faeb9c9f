"""Which lessons there are: a lesson is known by its name; its number stands in the file's name, and is read here."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, read_json
from gainlib.storage.resources import bundled_folder

__all__ = ["find_lesson", "lesson_files", "lesson_heading", "lesson_name", "lesson_number", "page_with_a_cell"]

_FILE = re.compile(r"(?P<number>\d\d)-(?P<name>[^ ]+)\.ipynb")


def lesson_files(folder: Path | None = None) -> dict[str, Path]:
    """Each lesson's file by the lesson's name, in the order of the numbers, some of which nobody may have.

    The folder is that of the course's own lessons unless given.

    >>> list(lesson_files())[:2], lesson_files()["start-here"].name
    (['start-here', 'work-with-decibels'], '00-start-here.ipynb')
    """
    found = sorted((bundled_folder("lessons") if folder is None else folder).glob("*.ipynb"))
    return {name: file for file in found if (name := lesson_name(file.name))}


def lesson_name(file: str) -> str:
    """The name of the lesson that a file of this name holds; empty for any other file.

    >>> lesson_name("00-start-here.ipynb"), lesson_name("contents.ipynb")
    ('start-here', '')
    """
    found = _FILE.fullmatch(file)
    return found["name"] if found else ""


def lesson_number(file: str) -> str:
    """The two digits of a lesson's number; empty for any other file.

    >>> lesson_number("00-start-here.ipynb")
    '00'
    """
    found = _FILE.fullmatch(file)
    return found["number"] if found else ""


def find_lesson(given: str, files: Mapping[str, Path]) -> str | None:
    """The name of the lesson that is meant by its number, its name or its file's name; None where there is no such.

    >>> {find_lesson(each, lesson_files()) for each in ("0", "00", "start-here", "00-start-here.ipynb")}
    {'start-here'}
    """
    for name, file in files.items():
        if given in (name, file.name, file.stem) or (given.isdecimal() and given.zfill(2) == lesson_number(file.name)):
            return name
    return None


def lesson_heading(file: Path) -> tuple[str, int]:
    """The title of a lesson, which is its first heading, else its file's name; and its minutes, 0 where it tells none.

    >>> lesson_heading(lesson_files()["start-here"])
    ('Start here', 30)
    """
    with contextlib.suppress(GainError, KeyError, TypeError):  # a learner's copy may hold anything by now
        for cell in read_json(file, LARGEST_NOTEBOOK_BYTES, "a lesson")["cells"]:
            text = "".join(cell["source"])
            if cell["cell_type"] == "markdown" and (title := re.search(r"(?m)^# (.+)$", text)):
                minutes = re.search(r"About (\d{1,3}) minutes", text)
                return title[1].strip(), int(minutes[1]) if minutes else 0
    return file.stem, 0


def page_with_a_cell(texts: Mapping[str, str], code: str, tags: Mapping[str, str] | None = None) -> str:
    """The text of a notebook that runs as a lesson does: cells of text by their id, then one of code, "exercise".

    `tags` has a tag by a cell's id.

    >>> "gl.contents()" in page_with_a_cell({"title": "Look."}, "gl.contents()", {"exercise": "tool"})
    True
    """

    def metadata(cell: str) -> dict[str, Any]:
        return {"tags": [tags[cell]]} if tags and cell in tags else {}

    content = {
        "cells": [
            *(
                {"cell_type": "markdown", "id": name, "metadata": metadata(name), "source": text}
                for name, text in texts.items()
            ),
            {
                "cell_type": "code", "id": "exercise", "metadata": metadata("exercise"), "execution_count": None,
                "outputs": [], "source": code,
            },
        ],
        "metadata": {
            "gainlib": {"lesson": True},
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
        },
        "nbformat": 4,
        "nbformat_minor": 5,
    }  # fmt: skip
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"
