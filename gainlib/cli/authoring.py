"""What an author is told of a proof: what is wrong first, each with its line, then what was shown, and the picture."""

from __future__ import annotations

import contextlib
import json
import shlex
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

from rich.console import Console
from rich.markup import escape
from rich.progress import Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from rich.text import Text

from gainlib import __version__
from gainlib.authoring.known_proofs import WHOLE_PROOF_VARIANTS, proof_known
from gainlib.authoring.verification import Verification
from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load
from gainlib.text import counted, printable

__all__ = ["Proving", "draw_passing", "print_proof", "wanted_controls"]

MOST_NAMED = 5
"""Of so many exercises that are left, the command to go on names each."""


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


class Proving:
    """One run of `gainlib prove`: the exercises that it is about, the proofs so far, and what is said at its end."""

    def __init__(self, files: list[str] | None, variants: int, *, quick: bool, unproven: bool) -> None:
        self.quick, self.variants, self._named = quick, variants, bool(files)
        self.all = list(files or exercise_names())
        self.names = [each for each in self.all if not (unproven and _is_known(each))]
        self.proofs: list[Verification] = []
        self._line: Progress | None = None

    def add(self, proof: Verification, *, show: bool) -> None:
        """One more proof; also one that was ended early."""
        self.proofs.append(proof)
        if self._line:
            self._line.stop()  # its place is taken
        if show:
            print_proof(proof)
        if self._line:
            self._line.start()

    @property
    def whole(self) -> bool:
        """Whether no proof was ended early, nor one left out for that."""
        return len(self._done) == len(self.names)

    @property
    def _done(self) -> list[Verification]:
        return [each for each in self.proofs if not each.ended]

    def json(self) -> str:
        """All proofs for a script, in the order in which they were asked for."""
        place = {str(file): at for at, file in enumerate(map(_file_of, self.names))}
        proofs = sorted(self.proofs, key=lambda each: place[str(each.file)])
        proven = self.whole and all(each.proven for each in proofs)
        content = {"gainlib": __version__, "proven": proven, "ended": not self.whole}
        return json.dumps(content | {"exercises": [each.as_dict() for each in proofs]}, indent=1, ensure_ascii=False)

    def lines(self) -> list[str]:
        """What the run comes to, and how to go on where it was ended; nothing of one exercise that came to its end."""
        sound = sum(each.sound for each in self._done)
        end = "have nothing wrong at a quick look" if self.quick else "are proven"
        known = len(self.all) - len(self.names)
        said = [f"Proven before, as they stand: {known} of {len(self.all)}."] if known else []
        if self.whole:
            return [*said, f"{sound} of {len(self.names)} exercises {end}."] if len(self.names) > 1 else said
        if len(self.names) > 1:
            done = f"{len(self._done)} of {len(self.names)} exercises were looked at to their end"
            said.append(f"Ended before its end: {done}, {sound} {end}.")
        return [*said, f"To go on: {self._command()}"]

    def _command(self) -> str:
        """The command that goes on: with those that are left, or with all that are not known to be proven."""
        options = f" --variants {self.variants}" if self.variants != WHOLE_PROOF_VARIANTS else ""
        options += " --quick" if self.quick else ""
        done = {str(each.file) for each in self._done}
        left = [each for each in self.names if str(_file_of(each)) not in done]
        if len(left) > MOST_NAMED and not options:
            left = [*(self.all if self._named else []), "--unproven"]
        return f"gainlib prove {shlex.join(left)}{options}"

    @contextlib.contextmanager
    def progress(self, workers: int) -> Iterator[Callable[[str, str, int], None]]:
        """One line on standard error that says what is looked at and since when, while a person watches."""
        if not sys.stderr.isatty():
            yield lambda name, doing, answers: None
            return
        columns = TextColumn("{task.description}"), TimeElapsedColumn()
        self._line = line = Progress(*columns, console=Console(stderr=True), transient=True, redirect_stdout=False)
        task, before = line.add_task(""), ""

        def told(name: str, doing: str, answers: int) -> None:
            nonlocal before
            many = f"{len(self.proofs) + 1} of {len(self.names)}, " if len(self.names) > 1 else ""
            said = f"{many}{name}: {doing}, {counted(answers, 'answer')} measured"
            if workers > 1:
                said = f"{len(self.proofs)} of {counted(len(self.names), 'exercise')} done, {workers} side by side"
            elif name != before:
                line.reset(task)
            before = name
            line.update(task, description=escape(printable(said)))

        with line:
            yield told


def _file_of(name: str) -> Path:
    return Path(name) if name.endswith(".toml") else load(name).file


def _is_known(name: str) -> bool:
    try:
        return proof_known(load(name))
    except GainError:
        return False  # what is wrong with it the proof tells


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
    if proof.ended:
        said = "ended before its end" + (f", {counted(count, 'thing')} to mend until then" if count else "")
    elif proof.sound and not proof.proven:
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
