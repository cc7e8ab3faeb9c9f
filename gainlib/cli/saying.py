"""How a command says something: no name in it can move the terminal's cursor or turn the direction of reading."""

from __future__ import annotations

import contextlib
import errno
import sys

import typer

from gainlib.errors import GainError
from gainlib.text import printable

__all__ = ["say", "say_data"]


def say(*lines: str, err: bool = False) -> None:
    """Print lines; what in one could do more than stand there is shown by its code, a line end too.

    >>> say("Written: kick\\x1b[2J.csv", "12 stems")
    Written: kick\\x1b[2J.csv
    12 stems
    """
    _put("\n".join(map(printable, lines)), err=err)


def say_data(text: str) -> None:
    """Print what another program reads, as it is.

    >>> say_data("{}")
    {}
    """
    _put(text)


def _put(text: str, err: bool = False) -> None:
    """Raises GainError where what is printed goes into a file for which there is no room."""
    try:
        typer.echo(text, err=err)
    except OSError as fault:
        if fault.errno != errno.ENOSPC:
            raise
        with contextlib.suppress(OSError):
            (sys.stderr if err else sys.stdout).close()  # or Python tries again at its end
        raise GainError(
            "what is printed could not be written, no room is left there; free some, or name another file."
        ) from fault
