"""How gainlib was installed here, and so the line that installs it, or a package that it needs, again."""

from __future__ import annotations

import importlib.metadata
import importlib.util
import os
import sys
import urllib.parse
import urllib.request
from pathlib import Path
from typing import Any

from gainlib.storage.foreign import json_value

__all__ = ["install_again", "install_line"]


def install_line(*packages: str, newer: bool = False) -> str:
    """The line that installs packages into this Python again, by the installer that gainlib came by.

    >>> install_line("soundfile").endswith("soundfile")
    True
    """
    python = f'"{sys.executable}"' if " " in sys.executable else sys.executable
    if _installer() == "uv":
        words = ["uv pip install --python", python, "--upgrade" if newer else "--reinstall"]
    else:
        words = [python, "-m pip install", "--upgrade" if newer else "--force-reinstall"]
    return " ".join([*words, *packages])


def install_again() -> str:
    """The line that installs gainlib again from where it came from: a checkout, a wheel, or an index.

    >>> install_again().startswith("Install gainlib again: ")
    True
    """
    origin = _origin()
    path = urllib.request.url2pathname(urllib.parse.urlsplit(origin.get("url", "")).path)
    quoted = f'"{path}"' if " " in path else path
    if origin.get("dir_info", {}).get("editable") and Path(path).is_dir():
        line = install_line("-e .").replace(" --force-reinstall", "").replace(" --reinstall", "")
        return f"Install gainlib again: in the folder {quoted}, {line}"
    return f"Install gainlib again: {install_line(quoted if path and os.path.exists(path) else 'gainlib')}"


def _installer() -> str:
    """The program that installed gainlib; uv also where this Python has no pip."""
    told = (importlib.metadata.distribution("gainlib").read_text("INSTALLER") or "").strip()
    return "uv" if told == "uv" or importlib.util.find_spec("pip") is None else told


def _origin() -> dict[str, Any]:
    """What the installer wrote down of where gainlib came from; nothing where that was an index."""
    return dict(json_value(importlib.metadata.distribution("gainlib").read_text("direct_url.json") or "{}"))
