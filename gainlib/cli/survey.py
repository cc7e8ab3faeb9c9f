"""`gainlib survey`: stems measured from the command line, in words, as JSON, CSV, a gain sheet, trimmed copies."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gainlib.cli.saying import say, say_data
from gainlib.errors import GainError, suggest
from gainlib.text import printable

if TYPE_CHECKING:
    from gainlib.surveys.comparison import Changes
    from gainlib.surveys.survey import Progress, Survey

__all__ = ["EXAMPLE", "survey_command"]

EXAMPLE = "Example: gainlib survey stems/ --sheet gain-sheet.html --write trimmed/"


def survey_command(
    stems: Annotated[
        list[str] | None, typer.Argument(help="Sound files, folders, or patterns in quotes such as 'stems/**/*.wav'.")
    ] = None,
    faults: Annotated[
        bool, typer.Option("--faults", help="Tell only of the stems with which something is wrong.")
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Write the survey as JSON instead of words.")] = False,
    csv: Annotated[Path | None, typer.Option(help="Write the table into this CSV file.")] = None,
    sheet: Annotated[Path | None, typer.Option(help="Write the gain sheet into this HTML file.")] = None,
    write: Annotated[Path | None, typer.Option(help="Write trimmed copies into this folder.")] = None,
    word: Annotated[str, typer.Option(help="What the copies hold: 24 (bit, dithered) or float.")] = "24",
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Write over files that are there already.")] = False,
    measure: Annotated[str, typer.Option(help="The measure that trims bring to one value.")] = "active_rms_dbfs",
    target: Annotated[
        float | None, typer.Option(help="That value; -18 dBFS of active_rms_dbfs unless given.", show_default=False)
    ] = None,
    stem_ceiling: Annotated[float, typer.Option(help="True peak that no trim lifts a stem above, dBTP.")] = -6.0,
    main_ceiling: Annotated[float, typer.Option(help="True peak that the main is turned down to, dBTP.")] = -6.0,
    main_at_zero: Annotated[
        bool, typer.Option("--main-at-zero", help="Lower all trims alike, so that the sum fits with the main at 0 dB.")
    ] = False,
    folders_as_groups: Annotated[
        bool,
        typer.Option(
            "--folders-as-groups", help="The stems of a folder share one trim; an --order names other groups."
        ),
    ] = False,
    noise_limit: Annotated[float, typer.Option(help="Noise that is trouble above this, dBFS AES17.")] = -60.0,
    threshold: Annotated[float, typer.Option(help="The compressor threshold that is looked at, dBFS.")] = -20.0,
    tempo: Annotated[
        float | None, typer.Option(help="Beats a minute: places are then told as bar:beat too.", show_default=False)
    ] = None,
    beats: Annotated[int, typer.Option(help="Beats a bar.")] = 4,
    against: Annotated[
        Path | None,
        typer.Option(help="An earlier survey (a file from --json) or its stems (a folder or file): say what changed."),
    ] = None,
    order: Annotated[
        Path | None,
        typer.Option(help="An order (TOML): say line by line whether the delivery meets it; ends with 1 where not."),
    ] = None,
    write_order: Annotated[
        Path | None, typer.Option(help="Write an order that these files meet into this TOML file, to go on from.")
    ] = None,
    fail_on: Annotated[
        str,
        typer.Option(help="Kinds of faults, such as clipped,flat-tops,silent: end with 1 for these and for no others."),
    ] = "",
    inventory: Annotated[
        Path | None,
        typer.Option(help="Write checksums and an inventory into this folder; with --write of the copies."),
    ] = None,
    title: Annotated[str, typer.Option(help="What the gain sheet is headed; the folder's name unless given.")] = "",
    workers: Annotated[
        int | None, typer.Option(help="Files measured side by side; as many as processors.", show_default=False)
    ] = None,
    cluster: Annotated[
        str, typer.Option(help="The address of a Dask scheduler, to measure on its workers.", show_default=False)
    ] = "",
    schema: Annotated[bool, typer.Option("--schema", help="Print the schema of the JSON and end.")] = False,
) -> None:
    """Measure stems, say what is wrong with each, the worst last, and which trims bring them into one range.

    Any sound file will do, of any rate and length, of any number of channels. Originals are never touched.

    Ends with 0 when all is well, with 1 when something is wrong with a stem or a file cannot be read, with 2 when
    nothing could be done, or survey or comparison were ended before their end; the next survey of the same files goes
    on from there.
    With --order or --fail-on it ends with 1 when the order is not met, a fault of these kinds was found, or a file
    cannot be read; other faults are told all the same.
    """
    from gainlib.storage import atomic_write
    from gainlib.surveys import Practice, Tempo, as_csv, lines
    from gainlib.surveys import as_json as json_of
    from gainlib.surveys.comparison import compare
    from gainlib.surveys.exports import WORDS, export, require_free
    from gainlib.surveys.inventory import require_room, write_inventory
    from gainlib.surveys.order import check_order, order_text, practice_of, read_order
    from gainlib.surveys.record import read_survey, schema_text
    from gainlib.surveys.result import SurveyResult
    from gainlib.surveys.sheet import require_writable, write_sheet
    from gainlib.surveys.survey import survey

    if schema:
        say_data(schema_text())
        return
    _print_any_script()
    practice = Practice(
        measure, target, stem_ceiling_dbtp=stem_ceiling, main_ceiling_dbtp=main_ceiling, noise_limit_dbfs=noise_limit,
        threshold_dbfs=threshold, main_at_zero=main_at_zero,
    )  # fmt: skip
    beat = Tempo(tempo, beats) if tempo is not None else None
    if word not in WORDS:
        raise GainError(f"--word is {word!r}; give {' or '.join(WORDS)}.")
    kinds = _kinds(fail_on)
    ordered = None if order is None else read_order(order)
    if ordered is not None:
        practice = practice_of(ordered, practice)
        beat = beat or (Tempo(ordered.session.tempo, beats) if ordered.session.tempo else None)
    named = None if ordered is None else ordered.groups
    if folders_as_groups and named:
        raise GainError("--folders-as-groups was given and the order names groups; choose one of the two.")
    # What could not be written in the end is refused before hours of work, not after.
    for each in (csv, sheet, write_order):
        if each is not None:
            require_writable(each, overwrite=overwrite)
    if write is not None:
        require_free(stems or [], write, word=word, overwrite=overwrite)
    if inventory is not None:
        require_room(inventory, overwrite=overwrite, made_later=write)
    with _progress() as progress:
        before: Survey | dict[str, object] | None = None
        if against is not None:
            is_sound = against.is_dir() or against.suffix.lower() != ".json"
            before = (
                survey(against, practice=practice, tempo=beat, workers=workers, cluster=cluster, in_processes=True)
                if is_sound
                else read_survey(against)
            )
            if isinstance(before, SurveyResult) and not before.whole:
                raise GainError(f"the survey of {printable(against)} was ended before its end; nothing was compared.")
        found = survey(
            *(stems or []), practice=practice, tempo=beat, groups="folders" if folders_as_groups else named,
            progress=progress, workers=workers, cluster=cluster, in_processes=True, title=title,
        )  # fmt: skip
        changes: Changes | None = None
        if before is not None and against is not None and found.whole:
            changes = compare(before, found, beside=against.resolve().parent, progress=progress)
    checked = None if ordered is None else check_order(found, ordered)
    if as_json:
        say_data(json_of(found, changes=changes, order=checked))
    else:
        # A screen holds so much; into a file or another program goes all of it.
        columns, rows = shutil.get_terminal_size()
        for line in lines(found, faults_only=faults, rows=rows if sys.stdout.isatty() else None, width=columns):
            say(line)
        for line in [] if changes is None else ["What has changed:", *changes.lines]:
            say(line)
        for checked_line in checked or []:
            say(checked_line.line)
    copies: tuple[Path, ...] = ()
    with _said_if_ended():
        if write_order is not None and found.stems:
            atomic_write(require_writable(write_order, overwrite=overwrite), order_text(found))
            say(f"Written: {write_order}", err=as_json)
        if csv is not None:
            atomic_write(require_writable(csv, overwrite=overwrite), as_csv(found))
            say(f"Written: {csv}", err=as_json)
        if sheet is not None:
            top = None if ordered is None else ordered.session
            made = write_sheet(found, sheet, changes=changes, order=checked or (), session=top, overwrite=overwrite)
            say(f"Written: {made}", err=as_json)
        if write is not None and found.whole:
            copies = export(found, write, word=word, overwrite=overwrite)
            say(f"Written: {len(copies)} trimmed copies in {write}", err=as_json)
            if any(each.starts_at is not None for each in found.stems):
                say("They carry the start times that the originals' headers hold.", err=as_json)
        if inventory is not None and found.whole:
            listed = write_inventory(found, inventory, copies=copies, overwrite=overwrite)
            say(f"Written: {', '.join(each.name for each in listed)} in {inventory}", err=as_json)
    sound = found.sound
    if kinds or checked is not None:
        wrong = any(each.kind in kinds for each in found.faults) or not all(each.met for each in checked or [])
        sound = not wrong and not found.unreadable
    whole = found.whole and (changes is None or changes.whole)
    raise typer.Exit(2 if not whole or not found.stems else 0 if sound else 1)


def _kinds(text: str) -> set[str]:
    """The kinds of faults that are named in a row; a hyphen stands for a space."""
    from gainlib.surveys import KINDS

    known = {kind.replace(" ", "-"): kind for kind in KINDS}
    found = set()
    for each in filter(None, (word.strip().replace(" ", "-").lower() for word in text.split(","))):
        if each not in known:
            raise GainError(f"--fail-on names {each!r}; {suggest(each, known)}")
        found.add(known[each])
    return found


@contextmanager
def _said_if_ended() -> Iterator[None]:
    """Raises GainError where Ctrl-C ends what is written after a survey."""
    try:
        yield
    except KeyboardInterrupt:
        raise GainError("ended before all was written; only what is told as written is there.") from None


def _print_any_script() -> None:
    """Let names in any script through, also where the terminal's own encoding does not know them."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


@contextmanager
def _progress() -> Iterator[Progress]:
    """A bar on standard error while a person watches, nothing in a script."""
    if not sys.stderr.isatty():
        yield lambda share, doing: None
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (
        BarColumn(),
        TextColumn("{task.percentage:3.0f} %"),
        TimeRemainingColumn(),
        TextColumn("{task.description}"),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=1.0)
        yield lambda share, doing: bar.update(task, completed=share, description=escape(doing[:40]))
