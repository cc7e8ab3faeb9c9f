"""The commands of a class: a new class, a hand-in, the marking of a folder."""

from __future__ import annotations

import contextlib
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Annotated

import typer

from gainlib import __version__
from gainlib.cli.saying import say, say_data
from gainlib.errors import GainError
from gainlib.text import path_text

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("new-class", epilog='Example: gainlib new-class group-a --title "Group A" --roster list.csv')(
        _new_class
    )
    app.command("hand-in", epilog="Example: gainlib hand-in my-course")(_hand_in)
    app.command("new-profile", epilog="Example: gainlib new-profile office --class group-a.toml")(_new_profile)
    app.command("handout", epilog="Example: gainlib handout --class group-a.toml --paper letter")(_handout)
    app.command(
        "term-plan",
        epilog="Example: gainlib term-plan plan.html --lesson read-meters --lesson find-clipping --start 2027-01-11",
    )(_term_plan)
    app.command("mark", epilog="Example: gainlib mark hand-ins --class group-a.toml --workers 2")(_mark)


def _new_class(
    file: Annotated[Path, typer.Argument(help="The class file, with or without .toml.")],
    title: Annotated[str, typer.Option(help="What the class is called.")] = "",
    roster: Annotated[Path | None, typer.Option(help="The class list as CSV: id and name, with a heading.")] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(help="Which heading of the list is which of id, name, first, last, mail, group: id=Matrikel."),
    ] = None,
    exercise: Annotated[
        list[str] | None, typer.Option(help="An exercise, by name or file; may be given again. All, if left out.")
    ] = None,
    due: Annotated[str, typer.Option(help="When hand-ins are due, such as 2027-01-15T18:00.")] = "",
    collect: Annotated[str, typer.Option(help="A folder that everybody reaches; hand-ins are copied there.")] = "",
    media: Annotated[
        str, typer.Option(help="The folder of the takes that your class opens the lessons with.", metavar="FOLDER")
    ] = "",
    without_names: Annotated[
        bool, typer.Option("--without-names", help="No names in the start file for all: each types their id.")
    ] = False,
    again: Annotated[bool, typer.Option("--again", help="Write the start files again from the class file.")] = False,
) -> None:
    """Write a class file for the teacher, a start file for each learner of the roster, and a start file for all.

    A start file holds the exercises of your own, with their recordings. The teacher's file is yours to change: points,
    due date, exercises, what a late hand-in costs, the roster. After that, --again writes the start files again; the
    key, and so everybody's numbers, stay.
    """
    from gainlib.classroom import new_class, read_class, read_class_list
    from gainlib.classroom.due_dates import typed_date
    from gainlib.classroom.start_files import (
        left_over,
        own_files_of,
        packing_of,
        start_file_of,
        told_size,
        told_takes,
        told_unproven,
        write_start_files,
    )

    if again:
        teacher = file if file.suffix == ".toml" else file.with_suffix(".toml")
        packing, own = write_start_files(teacher), own_files_of(teacher)
        say(f"Written again: {start_file_of(teacher)}{f' and {own}' if own.is_dir() else ''}", *told_size(packing))
        say(*told_takes(packing), *told_unproven(packing))
        say(
            f"This is edition {packing.edition}. Who opens theirs again has it, and everybody where it lies on a share."
        )
        if rest := left_over(teacher):
            names = ", ".join(path_text(each.name) for each in rest[:10]) + (", …" if len(rest) > 10 else "")
            say(f"Of learners who are no longer on the roster ({len(rest)}), yours to delete there: {names}")
        return
    columns = dict(_column(each) for each in column or ())
    if columns and not roster:
        raise GainError("--column is for a class list; give it as well: --roster FILE.")
    found = read_class_list(roster, columns, _ask_for_column if sys.stdin.isatty() else None) if roster else None
    learners = found.learners if found else ()
    when = typed_date(due, "--due") if due else None
    teacher, for_all = new_class(
        file,
        title=title,
        roster=learners,
        exercises=exercise or (),
        due=when,
        collect=collect,
        takes=media,
        lists_names=not without_names,
    )
    if roster and found:
        say(f"From {path_text(roster)}:", *found.table, *found.to_look_at)
    say(f"{teacher} is yours: it holds the key{f' and {len(learners)} names' if learners else ''}.")
    if learners:
        names = "each types their id" if without_names else "it has everybody's id and name to choose from"
        say(
            f"{own_files_of(teacher)} holds a start file for each learner, with a key of their own: gainlib open FILE",
            f"{for_all} is one for all, where you trust the class: {names}, and who has it can hand in under any name.",
        )
    else:
        say(f"{for_all} is for the learners: gainlib open {for_all.name}")
    packing = packing_of(read_class(teacher), teacher.parent)
    say(*told_size(packing), *told_takes(packing), *told_unproven(packing))


def _column(given: str) -> tuple[str, str]:
    kind, equals, heading = given.partition("=")
    if not equals:
        raise GainError(f"--column is {given!r}; write what it is, an equals sign and the heading: id=Matrikel.")
    return kind.strip().lower(), heading.strip()


def _ask_for_column(kind: str, headings: Sequence[str]) -> str:
    say(f"No heading of the list is known for the {kind}. There are:", *(f"  {each}" for each in headings))
    return str(typer.prompt(f"Which is the {kind}? (Enter: none, number the learners)", default="", show_default=False))


def _hand_in(
    folder: Annotated[Path | None, typer.Argument(help="Your course folder; the current one, if left out.")] = None,
    to: Annotated[Path | None, typer.Option(help="A folder that a copy is put into.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Write what was done as JSON.")] = False,
) -> None:
    """Write your answers as one small file for your teacher, beside every earlier one.

    It holds your id, your name, your answers and when you gave them; you can read it. It claims no points: the answers
    are measured again.
    """
    from gainlib.learners.submission import hand_in

    done = hand_in(folder, to)
    if as_json:
        say_data(json.dumps({"file": str(done.file), "said": list(done.sentences)}, indent=1, ensure_ascii=False))
    else:
        say(*done.sentences)


def _mark(
    folder: Annotated[Path, typer.Argument(help="The folder with the hand-ins; archives in it are read as well.")],
    class_file: Annotated[Path, typer.Option("--class", help="The teacher's class file.")],
    out: Annotated[
        Path | None, typer.Option(help="Where the marks are written; beside the class file, if left out.")
    ] = None,
    workers: Annotated[int, typer.Option(help="How many processes mark at once.", min=1, max=256)] = 1,
    cluster: Annotated[str, typer.Option(help="The address of a Dask scheduler, to mark on its workers.")] = "",
    feedback: Annotated[
        str, typer.Option(help="Feedback pages: whole (each by itself), light (one script beside them), none.")
    ] = "whole",
    any_version: Annotated[
        bool, typer.Option("--any-version", help="Mark answers to another version of an exercise by the present one.")
    ] = False,
    grades: Annotated[
        list[Path] | None,
        typer.Option(help="A profile by which grades or pages are written for another program; may be given again."),
    ] = None,
    anonymous: Annotated[
        bool, typer.Option("--anonymous", help="Sheet, pages and report with a code for each learner, without names.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write what was done as JSON.")] = False,
) -> None:
    """Mark every hand-in of a folder: mark sheet, feedback pages and a report on the class.

    Each answer is rendered again and measured; what is marked already is not marked again, so a run that was stopped
    goes on. Ends with 0 when everything was marked and with 1 when something got no mark; it is listed with the reason.
    """
    from gainlib.classroom.run import mark_class

    with _progress() as on_progress:
        done = mark_class(
            folder, class_file, out, workers=workers, cluster=cluster, feedback=feedback, any_version=any_version,
            grades=grades or (), anonymous=anonymous, on_progress=on_progress,
        )  # fmt: skip
    if as_json:
        say_data(json.dumps({"gainlib": __version__} | done.as_dict(), indent=1, ensure_ascii=False))
    else:
        say(*done.text.split("\n"))
    raise typer.Exit(1 if done.not_marked else 0)


def _new_profile(
    file: Annotated[Path, typer.Argument(help="The profile's file, with or without .toml.")],
    class_file: Annotated[Path, typer.Option("--class", help="The teacher's class file.")],
) -> None:
    """Write a profile for grades that go to another program: columns, scale, rounding, names of pages; yours to change.

    `gainlib mark … --grades PROFILE.toml` then writes them.
    """
    from gainlib.classroom import read_class
    from gainlib.classroom.grade_profile import write_profile

    made = write_profile(file, read_class(class_file))
    say(f"{made} is yours to change. Then: gainlib mark HAND-INS --class {class_file} --grades {made}")


def _handout(
    class_file: Annotated[Path, typer.Option("--class", help="The teacher's class file.")],
    exercise: Annotated[
        list[str] | None, typer.Option(help="An exercise of the class; may be given again. All, if left out.")
    ] = None,
    learner: Annotated[
        list[str] | None, typer.Option(help="A learner's id; may be given again. All, if left out.")
    ] = None,
    paper: Annotated[str, typer.Option(help="A4 or letter.")] = "A4",
    out: Annotated[
        Path | None, typer.Option(help="Where the pages are written; beside the class file, if left out.")
    ] = None,
) -> None:
    """Write exercise sheets to print, each learner's with their own numbers and room to write, and a key for you.

    Both are pages that a browser prints. The key holds everybody's numbers, an answer that passes, and what it gives.
    """
    from gainlib.classroom.handout import write_handout

    with _progress() as on_progress:
        sheets, key = write_handout(
            class_file, out, exercises=exercise or (), learners=learner or (), paper=paper, on_progress=on_progress
        )
    say(f"Open and print: {sheets}", f"Yours alone: {key}")


def _term_plan(
    page: Annotated[Path, typer.Argument(help="The page that is written.")],
    lesson: Annotated[
        list[str] | None,
        typer.Option(help="A lesson by its number or name; may be given again, in order. All, if left out."),
    ] = None,
    start: Annotated[str, typer.Option(help="The day of the first lesson, such as 2027-01-11.")] = "",
    every: Annotated[int, typer.Option(help="Days from one lesson to the next.", min=1, max=366)] = 7,
    title: Annotated[str, typer.Option(help="What stands on top.")] = "Gain staging",
    class_file: Annotated[
        Path | None,
        typer.Option("--class", help="The teacher's class file: its points and due date stand in the plan."),
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over a page that is there already.")] = False,
) -> None:
    """Write a plan of the term from chosen lessons: when, what one can do afterwards, in class, at home."""
    from gainlib.classroom import read_class
    from gainlib.classroom.due_dates import typed_date
    from gainlib.classroom.term_plan import write_term_plan

    written = write_term_plan(
        page, lesson or (), start=typed_date(start, "--start").date() if start else None, every_days=every, title=title,
        of_class=read_class(class_file) if class_file else None,
        class_folder=class_file.parent if class_file else Path(), overwrite=overwrite,
    )  # fmt: skip
    say(f"Written: {written}")


@contextlib.contextmanager
def _progress() -> Iterator[Callable[[str, int, int], None]]:
    """A bar for each part of the work, on a terminal only."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeRemainingColumn

    bars = Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(),
        console=Console(file=sys.stderr), disable=not sys.stderr.isatty(),
    )  # fmt: skip
    known: dict[str, TaskID] = {}
    with bars:

        def on_progress(what: str, done: int, of: int) -> None:
            if what not in known:
                known[what] = bars.add_task(what, total=None)
            bars.update(known[what], completed=done, total=of or None)

        yield on_progress
