"""A survey: a folder of stems measured, what is wrong with them, and what to do."""

from __future__ import annotations

import dataclasses
import glob
import math
import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from itertools import takewhile
from pathlib import Path
from typing import Any, Self, TypeVar

from gainlib.decoding import is_decoded
from gainlib.errors import GainError
from gainlib.storage.foreign import is_number
from gainlib.surveys.checks import Fault, find_faults
from gainlib.surveys.comparison import Changes, compare
from gainlib.surveys.exports import export
from gainlib.surveys.folder import find_files
from gainlib.surveys.groups import Groups, group_stems, share_trims
from gainlib.surveys.measuring import Measuring, Progress
from gainlib.surveys.report import as_csv, as_json, lines
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice, Tempo
from gainlib.surveys.trims import Sum, Trim, add_up, apply_trim, find_noise, lower_alike, propose_trim
from gainlib.text import printable

__all__ = ["Progress", "Survey", "survey"]

_MOST_FILES = 100_000
_ROWS = 40
"""Of a survey that is printed; the sheet and the table have all of it."""

AnySurvey = TypeVar("AnySurvey", bound=SurveyResult)


class Survey(SurveyResult):
    """What a survey found, with what can be made of it: a gain sheet, trimmed copies, JSON, a table, a comparison.

    `with_trims` is the same survey with trims of one's own; printed, it says what was found. Made by `survey(...)`.
    """

    def with_trims(self, gains_db: Mapping[str, float], *, add_up: bool = True) -> Self:
        """The same survey with other trims, by stem; the stems are added up anew, which reads their files again.

        Without `add_up` there is no sum. Raises GainError for a stem that is not there and a gain that is no number.
        """
        for name, gain in gains_db.items():
            self.stem(name)
            if not is_number(gain) or not math.isfinite(gain):
                raise GainError(f"the trim of {name} is {gain!r}; give decibels, such as -3.5.")
        trims = [
            apply_trim(self.stem(each.stem), float(gains_db[each.stem]), self.practice, group=each.group)
            if each.stem in gains_db
            else each
            for each in self.trims
        ]
        kept = [each for each in self.faults if each.kind != "noise"]
        total = None
        if add_up:
            with ThreadPoolExecutor(self.workers) as pool:
                total = _sum_of(self.stems, trims, self.practice, pool, self.workers)
        return _in_order(dataclasses.replace(self, trims=tuple(trims), sum=total), [*kept])

    def sheet(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the gain sheet as one HTML file; gives the path back."""
        from gainlib.surveys.sheet import write_sheet

        return write_sheet(self, path, overwrite=overwrite)

    def write(self, folder: str | os.PathLike[str], *, word: str = "24", overwrite: bool = False) -> tuple[Path, ...]:
        """Write trimmed copies; gives their paths back."""
        return export(self, folder, word=word, overwrite=overwrite)

    def against(self, earlier: SurveyResult | Mapping[str, Any]) -> Changes:
        """What is different from an earlier survey."""
        return compare(earlier, self)

    def as_json(self, *, changes: Changes | None = None) -> str:
        """The survey as JSON, with an entry `changes` where there is something to compare with."""
        return as_json(self, changes=changes)

    def as_csv(self) -> str:
        """A row for each stem, as a table program reads it."""
        return as_csv(self)

    def __repr__(self) -> str:
        return "\n".join(lines(self, rows=_ROWS))


def survey(
    *stems: str | os.PathLike[str] | Iterable[str | os.PathLike[str]],
    practice: Practice | None = None,
    tempo: Tempo | float | None = None,
    groups: Groups | None = None,
    progress: Progress | None = None,
    finished: Callable[[Stem], object] | None = None,
    workers: int | None = None,
    cluster: str = "",
    in_processes: bool = False,
    title: str = "",
) -> Survey:
    """Measure stems, find what is wrong with them, and propose trims that bring them into one range.

    Parameters
    ----------
    *stems : str or path, or several in a list
        Files, folders and patterns such as `"stems/**/*.wav"`; a folder stands for the sound files in it.
    practice : Practice, optional
        The level that stems are brought to, the ceilings and what counts as trouble; those of the course unless given.
    tempo : Tempo or float, optional
        Beats a minute: places are then told as bar:beat too.
    groups : mapping of str to file names or patterns, or "folders", optional
        Groups whose stems share one trim, such as `{"drums": ["kick*", "snare*"]}`; "folders" makes one of each folder.
    progress : callable, optional
        Hears the share of the work that is done, from 0 to 1, and what is being done.
    finished : callable, optional
        Hears each stem as soon as it is measured, from several threads.
    workers : int, optional
        How many files are measured side by side, from 1 to 64; as many as there are processors unless given.
    cluster : str, optional
        The address of a Dask scheduler, such as `tcp://10.0.0.5:8786`, on whose workers the files are measured: they
        must have the same gainlib and see the files under the same paths.
    in_processes : bool
        Whether many short files may be measured in processes beside this one, which is faster; a script that allows it
        must be guarded by `if __name__ == "__main__":`.
    title : str, optional
        What the gain sheet is headed; the name of the first folder unless given.

    Returns
    -------
    Survey
        `stems`, worst first, `faults`, `trims` and `sum`; what cannot be read is listed in `unreadable` and the others
        are done. Ctrl-C ends the work and leaves what was finished: `whole` is then False and there is no sum. What
        a survey measured that was ended, or killed after ten seconds and more, is kept, and the next one of the same
        files goes on from there; `notes` say so.

    Raises
    ------
    GainError
        When nothing was named, for more than 100 000 files, for a setting that cannot be, and for a cluster that does
        not answer, has another gainlib or sees other files.

    References
    ----------
    *Published*: EBU R 68 (alignment), ITU-R BS.1770-5 (loudness; true peak, Annex 2), EBU Tech 3342 (loudness range),
    AES17 (RMS). *Common practice*: the level and the ceilings that trims go by, each said on the gain sheet.

    Examples
    --------
    >>> from gainlib.storage import bundled_folder
    >>> found = survey(bundled_folder("media") / "bass.flac", bundled_folder("media") / "lead-voice.flac")
    >>> len(found.stems), found.sound
    (2, True)
    """
    given = [each for one in stems for each in ([one] if isinstance(one, str | os.PathLike) else one)]
    if not given:
        raise GainError("no stems were named; give files, folders or patterns such as 'stems/*.wav'.")
    practice = practice or Practice()
    beat = tempo if isinstance(tempo, Tempo) or tempo is None else Tempo(tempo)
    meant = find_files(given)
    if len(meant.files) > _MOST_FILES:
        raise GainError(f"{len(meant.files)} files were named; survey at most {_MOST_FILES} at a time.")
    count = workers if workers is not None else max(1, os.cpu_count() or 1)
    if isinstance(count, bool) or not isinstance(count, int) or not 1 <= count <= 64:
        raise GainError(f"workers is {workers!r}; give a whole number from 1 to 64.")
    of, told = group_stems(meant.files, groups) if groups else ({}, [])
    work = Measuring(
        meant.files, progress or (lambda share, doing: None), finished or (lambda stem: None),
        workers=count, cluster=cluster, in_processes=in_processes,
    )  # fmt: skip
    read: list[Stem] = []
    total: Sum | None = None
    faults: list[Fault] = []
    whole = False
    try:
        with ThreadPoolExecutor(count) as pool:
            measured = work.measure(pool)
            read = work.done
            trims = [propose_trim(each, practice) for each in read]
            trims = share_trims(read, trims, of, practice)
            try:
                if measured:
                    total = _sum_of(read, trims, practice, pool, count, work)
                    faults = find_faults(read, practice, beat, tick=work.tick_pairs)
                    whole = True
            except KeyboardInterrupt:
                work.ended.set()
                total = None
    finally:
        work.close(whole)
    if total is not None and practice.main_at_zero:
        trims, total = lower_alike(read, trims, total, practice)
    if whole:
        work.finish()
    else:
        faults = find_faults(read, practice, beat, in_pairs=False)
    unreadable = [*meant.missing, *work.unreadable]
    name = title or _title_of(given)
    notes = [*meant.notes, *_decoded(read), *told, *work.notes]
    made = Survey(
        tuple(read), (), tuple(trims), total, tuple(unreadable), practice, beat, tuple(notes), name, whole, count
    )
    return _in_order(made, faults)


def _in_order(made: AnySurvey, faults: list[Fault]) -> AnySurvey:
    """With its faults, noise among them, and its stems in order: the worst first, of equals by name as given."""
    faults = [*faults, *find_noise(made.trims, made.practice)]
    faults.sort(key=lambda fault: -fault.weight)
    heaviest: dict[str, tuple[float, float]] = {}
    for each in faults:
        top, all_ = heaviest.get(each.stem, (0.0, 0.0))
        heaviest[each.stem] = (max(top, each.weight), all_ + each.weight)
    stems = sorted(made.stems, key=lambda stem: tuple(-each for each in heaviest.get(stem.name, (0.0, 0.0))))
    place = {stem.name: index for index, stem in enumerate(stems)}
    trims = sorted(made.trims, key=lambda trim: place[trim.stem])
    return dataclasses.replace(made, stems=tuple(stems), trims=tuple(trims), faults=tuple(faults))


def _sum_of(
    stems: Iterable[Stem],
    trims: Iterable[Trim],
    practice: Practice,
    pool: ThreadPoolExecutor,
    workers: int,
    work: Measuring | None = None,
) -> Sum | None:
    heard: dict[str, object] = {"tick": work.tick_sum, "stop": work.ended.is_set} if work else {}
    try:
        return add_up(list(stems), {each.stem: each for each in trims}, practice, pool, workers=workers, **heard)  # type: ignore[arg-type]
    except (GainError, OSError) as fault:
        if work:
            work.unreadable.append(("the sum", f"the stems could not be added up: {printable(str(fault))}"))
            return None
        raise


def _title_of(given: list[str | os.PathLike[str]]) -> str:
    first = Path(given[0])
    folder = first if first.is_dir() else first.parent
    if not first.exists():
        # Of a pattern, the folder that it begins in.
        folder = Path(*takewhile(lambda part: not glob.has_magic(part), folder.parts))
    return printable(folder.resolve().name or os.fspath(first))


def _decoded(stems: Iterable[Stem]) -> list[str]:
    """A sentence on the stems that were not read as they are."""
    names = [each.name for each in stems if is_decoded(each.path)]
    more = f" and {len(names) - 5} more" if len(names) > 5 else ""
    return [f"Decoded by ffmpeg before they were measured: {', '.join(names[:5])}{more}."] if names else []
