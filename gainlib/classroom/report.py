"""The report on a class, in one page that needs no connection and can be printed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from gainlib.classroom.class_file import ClassFile
from gainlib.classroom.item_analysis import ClassFigures, ExerciseFigures, HearingFigures
from gainlib.classroom.similarity import LikePair
from gainlib.exercises import Exercise
from gainlib.html.figures import figure_html, script
from gainlib.html.pages import render
from gainlib.learners.learners_file import ROLES
from gainlib.storage import lesson_files, lesson_heading
from gainlib.text import moment_in_words
from gainlib.views.style import coloured, frame

__all__ = ["class_report"]

MOST_SLIPS = 30
_STEP_PERCENT = 10
_ROW_PX = 26
_LONGEST_TITLE = 34


def class_report(
    class_file: ClassFile,
    figures: ClassFigures,
    alike: Sequence[LikePair],
    names: Mapping[str, str],
    without: Sequence[tuple[str, str]],
    without_count: int,
    superseded: int = 0,
    edition: str = "",
) -> str:
    """The report as a page: what was handed in, how totals spread, each exercise, slips, who needs help with what.

    Of `without_count` files and answers without a mark, `superseded` lack nothing but that another hand-in counts.
    """
    slips = [(each.exercise, slip) for each in figures.exercises for slip in each.slips]
    answered = [each for each in figures.exercises if each.difficulty is not None]
    return render(
        "report.html",
        title=class_file.title,
        due=moment_in_words(class_file.due) if class_file.due else "",
        edition=edition,
        figures=figures,
        roles={each.name: ROLES[each.role] for each in class_file.exercises},
        figure=_figure,
        lesson=_lesson,
        spread=figure_html(_spread(figures.percents), label="How the totals spread"),
        spread_said=_spread_said(figures),
        hardness=figure_html(_hardness(answered), label="The exercises, the hardest on top") if answered else "",
        slips=sorted(slips, key=lambda each: (-each[1].count, each[0].name, each[1].name))[:MOST_SLIPS],
        help=[each for each in figures.exercises if each.need_help or each.without_answer],
        hearing=[(each, figure_html(_hearing(each), label=each.exercise.title)) for each in figures.hearing],
        alike=alike,
        names=names,
        without=without,
        without_count=without_count,
        superseded=superseded,
        script=script(),
    )


# In which part of a lesson the thing is taught that an exercise of a kind asks for.
_PARTS = {"judge": "Listen", "reckon": "Read", "find": "Read"}


def _lesson(exercise: Exercise) -> str:
    """The lesson and its part in which to repeat what an exercise asks for."""
    file = lesson_files().get(exercise.lesson)
    return f"{lesson_heading(file)[0]}, {_PARTS.get(exercise.spec.kind, 'Move')}" if file else exercise.lesson


def _figure(value: float | None) -> str:
    return "–" if value is None else f"{value:.2f}".replace("-", "−")


def _counts(percents: Sequence[float]) -> list[int]:
    # What bonus lifts above 100 % stands in the last column.
    counts, _ = np.histogram(np.minimum(percents, 100), bins=np.arange(0, 101, _STEP_PERCENT))
    return [int(each) for each in counts]


def _spread_said(figures: ClassFigures) -> str:
    if not figures.percents:
        return ""
    low = sum(each < 60 for each in figures.percents)
    return (
        f"Totals run from {min(figures.percents):g} to {max(figures.percents):g} %, the middle one is "
        f"{figures.median:g} %. Below 60 %: {low} of {figures.handed_in}."
        + (" What bonus lifts above 100 % stands in the last column." if max(figures.percents) > 100 else "")
    )


def _spread(percents: Sequence[float]) -> Any:
    from bokeh.models import ColumnDataSource, HoverTool

    counts = _counts(percents)
    filled = np.flatnonzero(counts)
    left = filled * _STEP_PERCENT
    drawing = frame(
        260, (-1.0, 101.0), (0.0, max([*counts, 1]) * 1.15), x_axis_label="total, percent", y_axis_label="learners"
    )
    source = ColumnDataSource(
        data={
            "left": left + 0.6,
            "right": left + _STEP_PERCENT - 0.6,
            "middle": left + _STEP_PERCENT / 2,
            "count": [counts[each] for each in filled],
            "text": [str(counts[each]) for each in filled],
            "range": [f"{each} to {each + _STEP_PERCENT} %" for each in left],
        }
    )
    bars = drawing.quad("left", "right", "count", 0, source=source, fill_alpha=0.35, line_width=1.5,
                        **coloured(fill_color="peak", line_color="peak"))  # fmt: skip
    drawing.text("middle", "count", "text", source=source, text_align="center", text_baseline="bottom", y_offset=-2,
                 text_font_size="12px", **coloured(text_color="text"))  # fmt: skip
    drawing.xaxis.ticker = list(range(0, 101, 20))
    drawing.yaxis.ticker.min_interval = 1
    drawing.add_tools(HoverTool(renderers=[bars], tooltips=[("total", "@range"), ("learners", "@count")]))
    return drawing


def _hearing(figures: HearingFigures) -> Any:
    """How many learners just hear which rung; a run between two of them counts for the nearer one."""
    from bokeh.models import ColumnDataSource, HoverTool

    names = figures.names
    counts = np.bincount(np.rint(figures.rungs).astype(int), minlength=len(names))
    across, up = (-0.7, len(names) - 0.3), (0.0, max([*counts, 1]) * 1.2)
    drawing = frame(200, across, up, x_axis_label="just heard; right is finer", y_axis_label="learners")
    at = np.flatnonzero(counts)
    data = {
        "at": at, "left": at - 0.4, "right": at + 0.4, "count": counts[at],
        "text": [str(counts[each]) for each in at], "name": [names[each] for each in at],
    }  # fmt: skip
    source = ColumnDataSource(data=data)
    bars = drawing.quad("left", "right", "count", 0, source=source, fill_alpha=0.35, line_width=1.5,
                        **coloured(fill_color="peak", line_color="peak"))  # fmt: skip
    drawing.text("at", "count", "text", source=source, text_align="center", text_baseline="bottom", y_offset=-2,
                 text_font_size="12px", **coloured(text_color="text"))  # fmt: skip
    drawing.xaxis.ticker = list(range(len(names)))
    drawing.xaxis.major_label_overrides = dict(enumerate(names))
    drawing.yaxis.ticker.min_interval = 1
    drawing.add_tools(HoverTool(renderers=[bars], tooltips=[("just heard", "@name"), ("learners", "@count")]))
    return drawing


def _hardness(exercises: Sequence[ExerciseFigures]) -> Any:
    from bokeh.models import ColumnDataSource, HoverTool

    hardest_last = sorted(exercises, key=lambda each: (-(each.difficulty or 0.0), each.exercise.name))
    count = len(hardest_last)
    drawing = frame(
        70 + _ROW_PX * count,
        (-0.62, 1.04),
        (-0.7, count - 0.3),
        x_axis_label="share of the points; strokes: checks met",
    )
    drawing.yaxis.visible = drawing.ygrid.visible = False
    drawing.xaxis.ticker = [0, 0.2, 0.4, 0.6, 0.8, 1]
    y = list(range(count))
    title = [each.exercise.title for each in hardest_last]
    short = [each if len(each) <= _LONGEST_TITLE else f"{each[: _LONGEST_TITLE - 1]}…" for each in title]
    drawing.segment([0.0] * count, y, [1.0] * count, y, line_width=1, **coloured(line_color="grid"))
    drawing.text(
        [-0.62] * count, y, short, text_baseline="middle", text_font_size="12px", **coloured(text_color="text")
    )
    checks = [(check.met, row, check.title) for row, each in enumerate(hardest_last) for check in each.checks]
    strokes = ColumnDataSource(
        data={"met": [each[0] for each in checks], "low": [each[1] - 0.3 for each in checks],
              "high": [each[1] + 0.3 for each in checks], "title": [each[2] for each in checks]}
    )  # fmt: skip
    stroke = drawing.segment("met", "low", "met", "high", source=strokes, line_width=2, **coloured(line_color="rms"))
    circles = ColumnDataSource(
        data={"share": [each.difficulty for each in hardest_last], "y": y, "title": title,
              "answered": [each.answered for each in hardest_last]}
    )  # fmt: skip
    dots = drawing.scatter("share", "y", size=11, source=circles, line_width=2,
                           **coloured(fill_color="background", line_color="peak"))  # fmt: skip
    drawing.add_tools(
        HoverTool(
            renderers=[dots], tooltips=[("exercise", "@title"), ("share", "@share{0.00}"), ("answers", "@answered")]
        ),
        HoverTool(renderers=[stroke], tooltips=[("check", "@title"), ("met by", "@met{0.00}")]),
    )
    return drawing
