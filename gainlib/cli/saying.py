"""How a command says something: no name in it can move the terminal's cursor or turn the direction of reading."""

from __future__ import annotations

import contextlib
import errno
import sys
from collections.abc import Iterator
from typing import TextIO

import typer

from gainlib.cli.start import ENDED
from gainlib.errors import GainError
from gainlib.text import printable

__all__ = ["say", "say_data", "told_if_ended"]

_STATUS_ENDED = 130
"""The status that typer gives a command that Ctrl-C ended."""


def say(*lines: str, err: bool = False) -> None:
    """Print lines; what in one could do more than stand there is shown by its code, a line end too.

    >>> say("Written: kick\\x1b[2J.csv", "12 stems")
    Written: kick\\x1b[2J.csv
    12 stems
    """
    typer.echo("\n".join(map(printable, lines)), err=err)


def say_data(text: str) -> None:
    """Print what another program reads, as it is.

    >>> say_data("{}")
    {}
    """
    typer.echo(text)


@contextlib.contextmanager
def told_if_ended() -> Iterator[None]:
    """Raises GainError where a command is ended by Ctrl-C, or prints into a file for which there is no room.

    Whatever prints is meant, help and tables too. What is written under a name of its own tells its own faults.
    """
    try:
        yield
    except SystemExit as end:
        if end.code == _STATUS_ENDED:
            raise GainError(ENDED) from None
        raise
    except OSError as fault:
        if fault.errno != errno.ENOSPC or not any(map(_is_full, (sys.stdout, sys.stderr))):
            raise
        raise GainError(
            "what is printed could not be written, no room is left there; free some, or name another file."
        ) from fault


def _is_full(stream: TextIO) -> bool:
    """Whether an empty line cannot go out; it is closed then, or Python tries again at its end."""
    try:
        print(file=stream, flush=True)
    except OSError:
        with contextlib.suppress(OSError):
            stream.close()
        return True
    return False
