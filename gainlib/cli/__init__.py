"""The commands: each prints plain sentences and ends with 0 (done), 1 (something was found wrong) or 2 (not done).

A command opens the rooms that it needs inside its own function, so that `gainlib --help` is quick: only typer is opened
before a command is known.

authoring   what an author is told of a proof
classroom   new-class, hand-in, mark
joining     who enters a class by its start file, and what is other in it
installation how gainlib was installed, and the line that does it again
meanwhile   what this Python does while the first page is read
one_cell    a notebook of one cell, opened in a folder of its own
saying      how a command says something
setup       check-setup: what of the course works on this computer
start       what a command does before it opens anything
survey      survey
trying      try: one exercise as a learner sees it
writing     write-exercise: the page on which one is written
"""

# ruff: noqa: E402
from __future__ import annotations

from gainlib.cli.start import hear_the_end, leave_out_the_current_folder

leave_out_the_current_folder()  # before anything else is imported, since that would be taken there
hear_the_end()

import contextlib
import gc
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainlib import __version__
from gainlib.cli import classroom
from gainlib.cli.meanwhile import COMPILE_LOOPS
from gainlib.cli.saying import say, say_data, told_if_ended
from gainlib.cli.survey import EXAMPLE, survey_command
from gainlib.errors import GainError
from gainlib.text import counted

if TYPE_CHECKING:
    from gainlib.cli.setup import Finding

__all__ = ["main"]

COURSE = Path("gainlib-course")

app = typer.Typer(
    help="A course on gain staging. Start with: gainlib open",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"gainlib {__version__}")
        raise typer.Exit


@app.callback()
def _gainlib(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    pass


@app.command(
    "open",
    epilog="Example: gainlib open my-course --name Ada, or with a class's start file: gainlib open group-a.gainclass",
)
def _open(
    place: Annotated[
        Path,
        typer.Argument(help="Where your own copy of the lessons is, or where to put it; or your class's start file."),
    ] = COURSE,
    name: Annotated[str, typer.Option(help="Your name, kept with your progress.")] = "",
    class_file: Annotated[
        Path | None, typer.Option("--class", help="Your class's start file, beside a folder; once is enough.")
    ] = None,
    learner: Annotated[str, typer.Option(help="Your id in that class, where its start file is one for all.")] = "",
    lessons: Annotated[
        str,
        typer.Option(help="Lay and list these lessons only from now on, by number or name, with commas; all for all."),
    ] = "",
    media: Annotated[
        str,
        typer.Option(
            help="Teach on the takes of this folder from now on, in every lesson that can be; its takes.toml says what "
            "each is. bundled for the course's own.",
            metavar="FOLDER",
        ),
    ] = "",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser as well.")] = True,
    port: Annotated[int, typer.Option(help="The port on this computer; 0 takes a free one.", min=0, max=65535)] = 0,
) -> None:
    """Open the course in the browser, in your own copy of the lessons; with a start file, in your class.

    The copy is made or brought up to date; a lesson that you changed is never touched. JupyterLab then runs on this
    computer only, until you press Ctrl-C.
    """
    from gainlib.cli.joining import join
    from gainlib.learners.course_folder import install_lessons
    from gainlib.learners.jupyter_server import serve
    from gainlib.learners.media_choice import keep_media, media_meant, told_of_class_takes, told_of_media
    from gainlib.learners.naming import require_text
    from gainlib.learners.progress import Progress

    takes = media_meant(media) if media else None  # before anything is laid
    name = require_text("--name", name) if name else ""
    if place.suffix == ".gainclass" and not place.is_dir():
        if class_file:
            raise GainError(f"{place} and {class_file} are both given as the start file; give one of them.")
        place, class_file = COURSE, place
    if learner and not class_file:
        raise GainError("--learner is an id in a class; give your class's start file as well: gainlib open FILE.")
    here = join(place, class_file, learner)
    name = name or (here.name if here and class_file else "")
    laid = install_lessons(place, __version__, only=lessons or None)
    say(*laid.text.split("\n"))
    if media:
        say(*keep_media(laid.folder, takes), *told_of_class_takes(laid.folder))
    else:
        say(*told_of_media(laid.folder))
    progress = Progress.at(laid.folder, name=name)
    if progress.note:
        say(progress.note)
    serve(laid.folder, typer.echo, port=port, browser=browser, meanwhile=COMPILE_LOOPS)


@app.command("check-setup", epilog="Example: gainlib check-setup --json")
def _check_setup(
    folder: Annotated[Path, typer.Argument(help="The folder to open the course in.")] = Path(),
    as_json: Annotated[bool, typer.Option("--json", help="Write the findings as JSON.")] = False,
) -> None:
    """Say what of the course works on this computer, what does not, and what to do about it.

    Ends with 0 when all works and with 1 when something was found wrong.
    """
    from gainlib.cli.setup import findings

    found = []
    gc.disable()  # it ends when all is told; looking for memory to take back meanwhile is a tenth of its work
    try:
        for each in findings(folder):
            found.append(each)
            if not as_json:
                _print_finding(each)
    finally:
        gc.enable()
    faults = sum(not each.works for each in found)
    if as_json:
        content = {"gainlib": __version__, "works": not faults}
        say_data(json.dumps(content | {"findings": [each.as_dict() for each in found]}, indent=1, ensure_ascii=False))
    else:
        typer.echo("Everything works." if not faults else f"{counted(faults, 'thing')} to see to.")
    raise typer.Exit(0 if not faults else 1)


@app.command("lesson-page", epilog="Example: gainlib lesson-page set-recording-level lesson.html")
def _lesson_page(
    lesson: Annotated[str, typer.Argument(help="A notebook, or a lesson of the course by its number or name.")],
    page: Annotated[Path, typer.Argument(help="The page that is written.")],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over a page that is there already.")] = False,
    answers: Annotated[bool, typer.Option("--answers", help="A teacher's page: no code, and all answers.")] = False,
) -> None:
    """Run a lesson and write it as one web page that shows the same with no kernel and no connection."""
    from gainlib.html.lesson_page import lesson_page
    from gainlib.learners.course_folder import lesson_file

    say(f"Written: {lesson_page(lesson_file(lesson), page, overwrite=overwrite, answers=answers)}")


@app.command("slides", epilog="Example: gainlib slides set-recording-level slides.html")
def _slides(
    lesson: Annotated[str, typer.Argument(help="A notebook, or a lesson of the course by its number or name.")],
    page: Annotated[Path, typer.Argument(help="The page that is written.")],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over a page that is there already.")] = False,
) -> None:
    """Run a lesson and write it as slides for the projector: one idea a slide with its picture, in one file.

    Open it in a browser; arrow keys turn the slides, and printed each is a page.
    """
    from gainlib.html.slides import lesson_slides
    from gainlib.learners.course_folder import lesson_file

    written, count = lesson_slides(lesson_file(lesson), page, overwrite=overwrite)
    say(f"Written: {written}, {counted(count, 'slide')}")


def _print_finding(found: Finding) -> None:
    """One line of the list, as soon as it is known; what does not fit stands below its own column."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    said = Text(found.said)
    if found.todo:
        said.append(f"\nWhat to do: {found.todo}")
    table = Table(box=None, show_header=False, pad_edge=False)
    for width in (5, 15):
        table.add_column(min_width=width, max_width=width)
    word = Text("works") if found.works else Text("slow" if found.slow else "FAULT", style="bold")
    table.add_row(word, Text(found.what), said)
    Console(highlight=False, soft_wrap=False).print(table)


@app.command("prove", epilog="Example: gainlib prove my-exercise.toml --variants 30")
def _prove(
    files: Annotated[
        list[str] | None,
        typer.Argument(help="Exercise files, or names from the collection; left out, the whole collection."),
    ] = None,
    variants: Annotated[int, typer.Option(help="How many variants to look at, where there are more.", min=1)] = 200,
    quick: Annotated[
        bool, typer.Option("--quick", help="A first look of a few seconds; what it leaves for the proof is told.")
    ] = False,
    unproven: Annotated[
        bool, typer.Option("--unproven", help="Only those not proven yet on this computer as they stand.")
    ] = False,
    workers: Annotated[int, typer.Option(help="How many exercises are proven side by side.", min=1, max=256)] = 1,
    as_json: Annotated[bool, typer.Option("--json", help="Write the proofs as JSON.")] = False,
    picture: Annotated[
        Path | None, typer.Option(help="Also draw which answers pass, as a web page; for one exercise.")
    ] = None,
    controls: Annotated[
        str, typer.Option(help="The two controls of the picture, such as preamp/gain_db,trim/gain_db; else the first.")
    ] = "",
) -> None:
    """Show that exercises are sound: each fault with its line, or what was measured in how many variants.

    Ends with 0 when all are proven, with 1 when something was found wrong, with 2 when a file cannot be read or Ctrl-C
    ended it: what was proven until then is told and known.
    """
    from gainlib.authoring.known_proofs import keep_proof
    from gainlib.authoring.verification import verify_all
    from gainlib.cli.authoring import Proving, draw_passing, wanted_controls

    pair = wanted_controls(files, picture, controls)
    work = Proving(files, variants, quick=quick, unproven=unproven)
    with work.progress(workers) as progress, contextlib.suppress(KeyboardInterrupt):
        for proof in verify_all(work.names, variants=variants, quick=quick, workers=workers, progress=progress):
            keep_proof(proof, variants)
            work.add(proof, show=not as_json)
    if as_json:
        say_data(work.json())
    elif lines := work.lines():
        say(*lines)
    if work.whole and picture is not None and files:
        said = draw_passing(files[0], picture, pair)
        say(said, err=as_json)
    raise typer.Exit(2 if not work.whole else 0 if all(each.sound for each in work.proofs) else 1)


@app.command("new-exercise", epilog="Example: gainlib new-exercise levels/hot-guitar --kind set")
def _new_exercise(
    name: Annotated[str, typer.Argument(help="What it is called, such as hot-guitar or levels/hot-guitar.")],
    kind: Annotated[
        str, typer.Option(help="What the learner does: set, ride, session, reckon, find, judge, hear or record.")
    ] = "set",
) -> None:
    """Write an exercise file that is sound already, with a comment at each entry, to be changed into your own.

    It is written into this folder (or a folder in it, as the name says), never over a file that is there.
    """
    from gainlib.authoring.new_exercise import new_exercise
    from gainlib.sound_file import sounds_in

    file = new_exercise(name, kind=kind)
    say(f"{file} is written. Change it, then: gainlib prove {file}")
    if here := sounds_in(file.parent):
        say(f'To use a recording that lies beside it: given.take = "{here[0].name}"')


@app.command("write-exercise", epilog="Example: gainlib write-exercise levels/hot-guitar")
def _write_exercise(
    name: Annotated[str, typer.Argument(help="What it is called, such as hot-guitar or levels/hot-guitar.")],
    kind: Annotated[
        str,
        typer.Option(help="Of a new one: set, ride, session, reckon, find, judge, hear or record."),
    ] = "",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser as well.")] = True,
    port: Annotated[int, typer.Option(help="The port on this computer; 0 takes a free one.", min=0, max=65535)] = 0,
) -> None:
    """Write an exercise on a page: choose a recording, stand a bench, say what is right; the page writes and proves it.

    It writes the same text file as you would, into this folder. One that is there is gone on with; one with notes of
    yours behind #, or with faults, is shown and not written. JupyterLab runs on this computer only, until you press
    Ctrl-C.
    """
    from gainlib.cli.writing import open_writing

    open_writing(name, kind=kind, port=port, browser=browser)


@app.command("try", epilog="Example: gainlib try my-exercise.toml --learner Ada")
def _try(
    file: Annotated[str, typer.Argument(help="An exercise file, or a name from the collection.")],
    learner: Annotated[
        str, typer.Option(help="Whose variant is shown: any name, in a class an id; each has its own numbers.")
    ] = "Ada",
    class_file: Annotated[
        Path | None, typer.Option("--class", help="Your class file: shows the numbers that this learner has in it.")
    ] = None,
    folder: Annotated[
        Path | None, typer.Option(help="Where the small notebook is written; left out, a folder that is removed again.")
    ] = None,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser as well.")] = True,
    port: Annotated[int, typer.Option(help="The port on this computer; 0 takes a free one.", min=0, max=65535)] = 0,
) -> None:
    """Open an exercise on a bench as a learner would see it; nothing is kept in anybody's progress.

    A file with faults is not opened: each fault is told with its line, as by gainlib prove, and the status is 1.
    JupyterLab runs on this computer only, until you press Ctrl-C.
    """
    from gainlib.cli.trying import try_exercise

    done = try_exercise(file, learner, folder, class_file=class_file, port=port, browser=browser)
    raise typer.Exit(0 if done else 1)


app.command("survey", epilog=EXAMPLE)(survey_command)
classroom.add_to(app)


def main() -> None:
    """Run the command line; a GainError is one sentence on standard error, and the status is 2."""
    # Whatever a command starts beside it (workers, helpers) takes no module from the folder that it is called in.
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        with told_if_ended():
            app()
    except GainError as fault:
        with contextlib.suppress(OSError, ValueError):  # it may be standard error itself that is full
            print(f"gainlib: {fault}", file=sys.stderr)
        sys.exit(2)
