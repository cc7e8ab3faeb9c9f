"""What an author is told of a proof: what is wrong first, each with its line, then what was shown, and the picture."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from gainlib.authoring.verification import Verification
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.text import counted, printable

__all__ = ["draw_passing", "print_proof", "proof_progress", "wanted_controls"]


def wanted_controls(files: list[str] | None, picture: Path | None, controls: str) -> tuple[str, str] | None:
    """The two controls that a picture is drawn over, None for the first; refused where no picture can come of it.

    >>> wanted_controls(["a.toml"], Path("a.html"), "preamp/gain_db, trim/gain_db")
    ('preamp/gain_db', 'trim/gain_db')
    """
    if picture is None:
        if controls:
            raise GainError("--controls names what a picture shows; give --picture PAGE.html as well.")
        return None
    if len(files or ()) != 1:
        raise GainError(f"--picture draws one exercise; {len(files or ())} are named, so name one.")
    if not controls:
        return None
    names = [each.strip() for each in controls.split(",")]
    if len(names) != 2 or not all(names):
        raise GainError(f"--controls is {controls!r}; give two with a comma between, as preamp/gain_db,trim/gain_db.")
    return names[0], names[1]


@contextlib.contextmanager
def proof_progress(name: str) -> Iterator[Callable[[str, int], None]]:
    """One line on standard error that says what is looked at and since when, while a person watches."""
    if not sys.stderr.isatty():
        yield lambda doing, answers: None
        return
    columns = TextColumn("{task.description}"), TimeElapsedColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as line:
        task = line.add_task(escape(printable(name)))

        def told(doing: str, answers: int) -> None:
            said = f"{name}: {doing}, {counted(answers, 'answer')} measured"
            line.update(task, description=escape(printable(said)))

        yield told


def draw_passing(exercise: str, picture: Path, controls: tuple[str, str] | None) -> str:
    """Draw which answers pass; says where, or that a file with faults gives no picture."""
    from gainlib.authoring.passing_region import passing_region, write_passing_page

    try:
        made = load(exercise)
        made.variant("Ada")
    except GainError:
        return "No picture is drawn of a file with faults."
    region = passing_region(made, controls=controls)
    return f"The picture is {write_passing_page(region, picture)}. {region.sentence}"


def print_proof(proof: Verification) -> None:
    """Print one proof as short plain sentences."""
    console = Console(highlight=False)
    count = len(proof.faults)
    said = "proven" if proof.proven else f"not proven, {counted(count, 'thing')} to mend"
    if proof.sound and not proof.proven:
        looked = f"{proof.variants} of {counted(proof.all_variants, 'variant')}"
        said = f"nothing wrong at a quick look, {looked}; prove it without --quick before you give it out"
    console.print(Text(f"{printable(proof.name)}: {said}.", style="bold"))
    rows = [("WRONG", each.text) for each in proof.faults]
    rows += [("look at", each.text) for each in proof.remarks]
    if proof.found and not proof.sound:
        rows.append(("look at", "all answers that pass as a picture: give --picture PAGE.html as well."))
    rows += [("shown", each) for each in proof.shown]
    if proof.not_looked_at:
        rows.append(("not yet", f"Not looked at: {'; '.join(proof.not_looked_at)}."))
    table = Table(box=None, show_header=False, pad_edge=False)
    for word, sentence in rows:
        table.add_row(Text(word, style="bold" if word == "WRONG" else ""), Text(sentence))
    console.print(table)
