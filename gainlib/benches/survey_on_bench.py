"""A survey in a notebook: it shows a bench on which its trims are moved; in a script it opens no widgets."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, Self

from gainlib.benches.survey_progress import SurveyProgress
from gainlib.surveys.survey import Survey
from gainlib.surveys.survey import survey as make_survey

if TYPE_CHECKING:
    from gainlib.benches.bench_panel import Bench

__all__ = ["SurveyOnBench", "survey"]

Asked = ParamSpec("Asked")


class SurveyOnBench(Survey):
    """A survey whose trims are moved on a bench; as a cell's last line it shows the bench and the sheet that follows.

    `as_moved`, `sheet` and `write` take the trims as they stand there.
    """

    @functools.cached_property
    def bench(self) -> Bench | None:
        """The bench on which the trims are moved, made when first asked for; None where there is nothing to move."""
        from gainlib.benches.survey_panel import bench_of

        return bench_of(self) if self.sum is not None else None

    def as_moved(self) -> Self:
        """The survey with the trims as they stand on its bench, the whole files added up anew."""
        bench = self.__dict__.get("bench")
        if bench is None:
            return self
        from gainlib.benches.survey_panel import moved

        return moved(self, bench, add_up=True)

    def sheet(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the gain sheet, with the trims as they stand on the bench; gives the path back."""
        return Survey.sheet(self.as_moved(), path, overwrite=overwrite)

    def write(self, folder: str | os.PathLike[str], *, word: str = "24", overwrite: bool = False) -> tuple[Path, ...]:
        """Write trimmed copies, with the trims as they stand on the bench; gives their paths back."""
        return Survey.write(self.as_moved(), folder, word=word, overwrite=overwrite)

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        from gainlib.benches.survey_panel import SurveyPanel

        return SurveyPanel(self, self.bench).display(repr(self), **kwargs)


def _shown_in_cell() -> Callable[[dict[str, str]], None] | None:
    """What shows something in the cell that runs, and then something else in its place; None where no page looks on."""
    if "IPython" not in sys.modules:
        return None
    from IPython import get_ipython
    from IPython.display import display

    if not hasattr(get_ipython(), "kernel"):
        return None
    handle: Any = display({"text/plain": "Measuring ..."}, raw=True, display_id=True)  # type: ignore[no-untyped-call]
    return lambda content: handle.update(content, raw=True)


def _on_bench(make: Callable[Asked, Survey]) -> Callable[Asked, SurveyOnBench]:
    @functools.wraps(make)
    def survey(*stems: Asked.args, **given: Asked.kwargs) -> SurveyOnBench:
        shown = None if "progress" in given else _shown_in_cell()
        if shown is not None:
            progress = SurveyProgress(lambda html: shown({"text/html": html, "text/plain": "Measuring ..."}))
            progress(0.0, "")
            given.setdefault("progress", progress)
            given.setdefault("finished", progress.finished)
        try:
            found = make(*stems, **given)
        finally:
            if shown is not None:
                shown({"text/plain": ""})
        return SurveyOnBench(**{part.name: getattr(found, part.name) for part in fields(found)})

    return survey


survey = _on_bench(make_survey)
