"""How a command says something: no name in it can move the terminal's cursor or turn the direction of reading."""

from __future__ import annotations

import typer

from gainlib.text import printable

__all__ = ["say"]


def say(*lines: str, err: bool = False) -> None:
    """Print lines; what in one could do more than stand there is shown by its code, a line end too.

    >>> say("Written: kick\\x1b[2J.csv", "12 stems")
    Written: kick\\x1b[2J.csv
    12 stems
    """
    typer.echo("\n".join(map(printable, lines)), err=err)
