"""How a proof is printed for an author: what is wrong first, each with its line, then what was shown."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from gainlib.exercises import Proof

__all__ = ["print_proof"]


def print_proof(proof: Proof) -> None:
    """Print one proof as short plain sentences."""
    console = Console(highlight=False)
    count = len(proof.faults)
    said = "proven" if proof.sound else f"not proven, {count} {'thing' if count == 1 else 'things'} to mend"
    console.print(Text(f"{proof.name}: {said}.", style="bold"))
    rows = [("WRONG", each.text) for each in proof.faults]
    rows += [("look at", each.text) for each in proof.remarks]
    rows += [("shown", each) for each in proof.shown]
    table = Table(box=None, show_header=False, pad_edge=False)
    for word, sentence in rows:
        table.add_row(Text(word, style="bold" if word == "WRONG" else ""), Text(sentence))
    console.print(table)
