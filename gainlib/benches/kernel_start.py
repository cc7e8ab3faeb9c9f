"""What a lesson's kernel does as it starts, as an extension of IPython.

It opens what the first cell would wait for, while its learner reads. And since the kernel takes no module from the
lesson's folder, it lets cells do so: a module of one's own beside one's notebook can be imported by a cell, and by
such a module, but takes no library's place and is opened by none.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from types import FrameType, ModuleType

import bokeh.plotting  # noqa: F401  which the first picture would open

import gainlib.benches.book_panel  # noqa: F401  with it everything else that a bench needs

__all__ = ["FromTheFolder", "load_ipython_extension"]


class FromTheFolder(MetaPathFinder):
    """Finds a module in the current folder when a cell asks for it, or a module that was found so.

    >>> FromTheFolder().find_spec("no_such_module") is None
    True
    """

    def __init__(self) -> None:
        self._found: set[str] = set()

    def find_spec(
        self, fullname: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Asked last, when it is no library's name."""
        if path is not None or _who_imports(sys._getframe(1)).partition(".")[0] not in {"__main__", *self._found}:
            return None
        spec = PathFinder.find_spec(fullname, [os.getcwd()], target)
        if spec is not None:
            self._found.add(fullname)
        return spec


def _who_imports(frame: FrameType | None) -> str:
    """The module whose code says `import`, behind Python's own machinery for it."""
    while frame is not None:
        name = str(frame.f_globals.get("__name__", ""))
        if name.partition(".")[0] not in ("importlib", "_frozen_importlib", "_frozen_importlib_external"):
            return name
        frame = frame.f_back
    return ""


def load_ipython_extension(shell: object) -> None:
    """Called by IPython when the kernel starts."""
    sys.meta_path.append(FromTheFolder())
