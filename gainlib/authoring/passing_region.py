"""Which answers to an exercise pass: a grid over two of its controls, as a picture that says the same in a sentence."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from gainlib.errors import GainError, suggest
from gainlib.exercises import ControlSpec, Exercise, Variant, author_answer, load
from gainlib.exercises.readings import Renderings
from gainlib.html.figures import figure_html, script
from gainlib.html.pages import render
from gainlib.storage import atomic_write
from gainlib.text import reason_of
from gainlib.views.style import coloured, frame

__all__ = ["PassingRegion", "TriedAnswer", "passing_region", "write_passing_page"]

MOST_VALUES = 41
"""Along each control at most so many values: up to 1681 answers are rendered and measured."""
_MARK = "<!-- gainlib: which answers pass -->"


@dataclass(frozen=True)
class TriedAnswer:
    """One answer of the grid: the two settings, and which bounds it fails, in words; none where it passes."""

    across: float
    up: float
    fails: tuple[str, ...]

    @property
    def passes(self) -> bool:
        """Whether every check is met."""
        return not self.fails


@dataclass(frozen=True)
class PassingRegion:
    """The answers over two controls of one variant, the other controls as the author sets them.

    `steps` are the distances of the grid along both; `start` and `solution` are settings of the two controls.
    """

    variant: Variant
    across: ControlSpec
    up: ControlSpec
    steps: tuple[float, float]
    cells: tuple[TriedAnswer, ...]
    solution: TriedAnswer
    start: TriedAnswer

    @property
    def sentence(self) -> str:
        """The picture in words."""
        passing = [each for each in self.cells if each.passes]
        count = f"{len(passing)} of {len(self.cells)} answers pass"
        if passing:
            reach = " and ".join(
                f"{_named(move)} {_reach(move, values)}"
                for move, values in (
                    (self.across, [each.across for each in passing]),
                    (self.up, [each.up for each in passing]),
                )
            )
            count += f", with {reach} (not every pair of these)"
        told = [f"{count}.", self._told("The author's answer", self.solution), self._told("The start", self.start)]
        others = [each for each in self.variant.controls if each not in (self.across, self.up)]
        if others:
            told.append("The other controls stand where the author's answer has them.")
        if self.variant.questions:
            told.append("Its questions are left out.")
        return " ".join(told)

    def _told(self, what: str, cell: TriedAnswer) -> str:
        across = f"{_named(self.across)} {self.across.printed(cell.across)}"
        where = f"{what}, {across} and {_named(self.up)} {self.up.printed(cell.up)},"
        return f"{where} passes." if cell.passes else f"{where} fails: {'; '.join(cell.fails)}."

    def figure(self) -> Any:
        """The grid as a Bokeh figure: passing answers hatched and dotted, the author's answer and the start marked."""
        from bokeh.models import ColumnDataSource, HoverTool

        (wide, high), across, up = self.steps, self.across, self.up
        drawing = frame(
            520,
            (across.low - wide, across.high + wide),
            (up.low - high, up.high + high),
            x_axis_label=_headed(across),
            y_axis_label=_headed(up),
        )
        drawing.name = "passing"
        for name, passes in (("fails", False), ("passes", True)):
            cells = [each for each in self.cells if each.passes is passes]
            source = ColumnDataSource(
                name=name,
                data={
                    "across": [each.across for each in cells],
                    "up": [each.up for each in cells],
                    "across_said": [across.printed(each.across) for each in cells],
                    "up_said": [up.printed(each.up) for each in cells],
                    "says": ["passes" if each.passes else "fails: " + "; ".join(each.fails) for each in cells],
                },
            )
            if passes:
                look = coloured(line_color="grid", fill_color="peak", hatch_color="peak")
                look |= {"fill_alpha": 0.2, "hatch_pattern": "/", "hatch_alpha": 0.8, "hatch_scale": 8}
            else:
                look = coloured(line_color="grid", fill_color="background") | {"fill_alpha": 0.01}
            drawn = drawing.rect("across", "up", width=wide, height=high, source=source, **look)
            if passes:
                drawing.scatter("across", "up", source=source, size=6, **coloured(line_color="peak", fill_color="peak"))
            drawing.add_tools(
                HoverTool(
                    renderers=[drawn],
                    attachment="vertical",
                    tooltips="<div style='max-width: 26em; white-space: normal; font-size: 13px'>"
                    f"{escape(across.label)} @across_said, {escape(_named(up))} @up_said:<br>@says</div>",
                )
            )
        for what, cell, marker, ink in (
            ("start", self.start, "triangle", "trouble"),
            ("author's answer", self.solution, "star", "text"),
        ):
            right = cell.across < (across.low + across.high) / 2
            place = {"x": [cell.across], "y": [cell.up], "text": [what]}
            at = ColumnDataSource(name=what, data=place)
            drawing.scatter("x", "y", source=at, marker=marker, size=16,
                            **coloured(fill_color=ink, line_color="background"))  # fmt: skip
            drawing.text(
                "x", "y", "text", source=at, x_offset=12 if right else -12, y_offset=-6, text_font_size="13px",
                text_font_style="bold", text_align="left" if right else "right", background_fill_alpha=0.85, padding=2,
                **coloured(text_color=ink, background_fill_color="background"),
            )  # fmt: skip
        return drawing


def passing_region(
    exercise: str | Path | Exercise,
    *,
    learner: str = "Ada",
    controls: tuple[str, str] | None = None,
    most_values: int = MOST_VALUES,
) -> PassingRegion:
    """Which settings of two controls pass, for one learner's numbers; the first two controls unless others are named.

    The other controls stand as in the author's answer; at most `most_values` (2 or more) are looked at along each
    control, the author's own among them. Raises GainError where there are not two controls that are numbers, and for
    one that is not there.

    >>> region = passing_region("recording/leave-room", most_values=3)
    >>> region.solution.passes, region.start.passes
    (True, False)
    """
    made = exercise if isinstance(exercise, Exercise) else load(exercise)
    variant = made.variant(learner)
    across, up = _pair(made, variant, controls)
    solution = {**variant.start, **author_answer(variant)}
    values = {move.path: _values(move, solution[move.path], _stride(move, most_values)) for move in (across, up)}
    checks = list(zip(variant.exercise.spec.checks, variant.checks, strict=True))
    renderings = Renderings()

    def cell(here: float, there: float) -> TriedAnswer:
        answer = {**solution, across.path: here, up.path: there}
        settings = {move.path: answer[move.path] for move in variant.controls}
        try:
            read = renderings.read(variant.session.replaced(settings))
            found = [(each, reading, read.value(reading)) for each, reading in checks]
        except GainError as fault:
            return TriedAnswer(here, there, (str(fault).rstrip("."),))
        session = read.rendering.session
        fails = tuple(
            f"{each.title} {reading.printed(value, session)}, too {side} (wanted: {reading.wanted(session)})"
            for each, reading, value in found
            if (side := reading.side(value))
        )
        return TriedAnswer(here, there, fails)

    # The control that stands later in the flow moves fastest: what stands in front of it is rendered once.
    first, second = sorted((across, up), key=lambda move: _depth(variant, move))
    pairs = [
        (here, there) if first is across else (there, here)
        for here in values[first.path]
        for there in values[second.path]
    ]
    return PassingRegion(
        variant=variant,
        across=across,
        up=up,
        steps=(_stride(across, most_values), _stride(up, most_values)),
        cells=tuple(cell(*pair) for pair in pairs),
        solution=cell(solution[across.path], solution[up.path]),
        start=cell(variant.start[across.path], variant.start[up.path]),
    )


def write_passing_page(region: PassingRegion, page: str | os.PathLike[str]) -> Path:
    """Write the picture with its sentence as one HTML file that needs no connection; gives its path back.

    An earlier picture is replaced, and nothing else: raises GainError where another file stands, and where the file
    cannot be written.
    """
    target = Path(page)
    try:
        held = target.read_text(encoding="utf-8", errors="replace") if target.exists() else _MARK
    except OSError as fault:
        raise GainError(f"{target} cannot be written ({reason_of(fault)}); give another name.") from fault
    if _MARK not in held[:500]:
        raise GainError(f"{target} is there already and no picture of this kind; give another name.")
    exercise, numbers = region.variant.exercise, region.variant.printed
    drawn = ", ".join(f"{name} {value}" for name, value in numbers.items())
    title = f"{exercise.title}: which answers pass"
    body = render(
        "passing_region.html",
        title=title,
        drawn=f"{exercise.name}, one learner's numbers: {drawn}" if drawn else exercise.name,
        sentence=region.sentence,
        figure=figure_html(region.figure(), label=title),
        script=script(),
    )
    return atomic_write(target, body, then="; give another name")


def _pair(exercise: Exercise, variant: Variant, controls: tuple[str, str] | None) -> tuple[ControlSpec, ControlSpec]:
    numbers = [each for each in variant.controls if not each.options and not each.points]
    if len(numbers) < 2 or not exercise.spec.checks:
        raise GainError(
            f"{exercise.name} has {len(numbers)} controls that are numbers and {len(exercise.spec.checks)} checks; "
            "a picture of what passes needs two controls and a check."
        )
    if controls is None:
        return numbers[0], numbers[1]
    found = []
    for name in controls:
        named = [each for each in numbers if each.path == name or each.path.endswith(f"/{name}")]
        if len(named) != 1:
            paths = [each.path for each in numbers]
            raise GainError(f"{name!r} is not one of the controls that are numbers; {suggest(name, paths)}")
        found.append(named[0])
    if found[0] == found[1]:
        raise GainError(f"both controls are {found[0].path}; name two.")
    return found[0], found[1]


def _stride(move: ControlSpec, most_values: int) -> float:
    """The distance of the grid along a control: its step, or as many steps as leave so many values at most."""
    steps = max(1, -(-round((move.high - move.low) / move.step) // (most_values - 1)))
    return steps * move.step


def _values(move: ControlSpec, middle: float, stride: float) -> list[float]:
    """The values along a control, the author's own among them."""
    first = middle - stride * int((middle - move.low) / stride + 1e-9)
    count = int((move.high - first) / stride + 1e-9) + 1
    return [round(first + index * stride, 9) for index in range(count)]


def _depth(variant: Variant, move: ControlSpec) -> tuple[int, int]:
    part, stage, _ = move.path.split("/")
    names = [each.name for each in variant.session.channels]
    return names.index(part), variant.session.channel(part).stage_names.index(stage)


def _named(move: ControlSpec) -> str:
    return move.label[:1].lower() + move.label[1:]


def _reach(move: ControlSpec, values: Sequence[float]) -> str:
    low, high = move.printed(min(values)), move.printed(max(values))
    return f"at {low}" if low == high else f"from {low} to {high}"


def _headed(move: ControlSpec) -> str:
    return f"{move.label}, {move.unit}" if move.unit else move.label
