"""The digest by which a page knows a lesson's code; nothing but Python's own is used, since a build asks it as well."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

__all__ = ["code_digest", "lesson_digest"]


def code_digest(cells: Iterable[str]) -> str:
    """The code of a notebook's cells as one number; the page's script makes the same of what it shows.

    >>> code_digest(["x = 1"]) == code_digest(["x", " = 1"])
    False
    """
    text = json.dumps(list(cells), ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", errors="surrogatepass")).hexdigest()


def lesson_digest(notebook: Any) -> str:
    """The digest of a notebook as its file holds it; empty where it is not marked as a lesson.

    >>> lesson_digest({"metadata": {}, "cells": []})
    ''
    """
    if notebook["metadata"].get("gainlib", {}).get("lesson") is not True:
        return ""
    return code_digest("".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code")
