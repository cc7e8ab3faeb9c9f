"""The one guard of a marking: what goes wrong with one thing is noted with its place, and the next thing is done."""

from __future__ import annotations

import contextlib
import sqlite3
import traceback
from collections.abc import Iterator
from pathlib import Path

from gainlib.errors import GainError
from gainlib.text import printable

__all__ = ["describe_own_fault", "noting"]

_PACKAGE = Path(__file__).parent.parent


@contextlib.contextmanager
def noting(found: list[tuple[str, str]], place: str) -> Iterator[None]:
    """Note what goes wrong within, with its place: a GainError's sentence, or that gainlib itself failed, and where.

    A marks store that cannot be read or written is no fault of one file, and is raised.

    >>> found = []
    >>> with noting(found, "a.json"):
    ...     raise GainError("it is empty.")
    >>> found
    [('a.json', 'it is empty.')]
    """
    try:
        yield
    except GainError as fault:
        found.append((place, str(fault)))
    except sqlite3.Error:
        raise
    except Exception as fault:  # one file must not stop the others, whatever we did wrong with it
        found.append((place, describe_own_fault(fault)))


def describe_own_fault(fault: BaseException) -> str:
    """A fault of gainlib's own in one sentence: what it was and where, so that it can be reported."""
    frames = traceback.extract_tb(fault.__traceback__)
    own = [each for each in frames if Path(each.filename).is_relative_to(_PACKAGE)]
    where = ""
    if own:
        where = f" at {Path(own[-1].filename).relative_to(_PACKAGE).as_posix()}:{own[-1].lineno}"
    said = printable(" ".join(str(fault).split()))[:120].rstrip(".")
    return (
        f"gainlib itself failed on it ({type(fault).__name__}{where}{f': {said}' if said else ''}); "
        "that is gainlib's fault and not the learner's, please report it with the file."
    )
