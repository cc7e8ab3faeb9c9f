"""The panel of a bench: its widgets, how they stand, and what is sent when something moves."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any

import ipywidgets

from gainlib.bench.shown import close_tree, take_place
from gainlib.bench.widgets import HeadlineLine, Picture, Player, RangeInput
from gainlib.errors import GainError
from gainlib.views.strokes import FRAME_LEFT, FRAME_RIGHT

if TYPE_CHECKING:
    from gainlib.bench.state import Bench

__all__ = ["Panel"]


class Panel:
    """The widgets of one bench, kept in step with it."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.closed = False
        uid = uuid.uuid4().hex
        self.headline = HeadlineLine(title=bench.title)
        self.pictures = [
            Picture(
                view.figure(bench.rendering), view.columns(bench.rendering), channel=uid,
                heading=view.heading(bench.rendering),
                sentence=view.sentence(bench.rendering), captioned=not view.taps(bench.rendering),
            )
            for view in bench.views
        ]  # fmt: skip
        self.ranges = {path: RangeInput.of(each, bench.values[path]) for path, each in bench.ranges.items()}
        for path, widget in self.ranges.items():
            widget.observe(lambda change, path=path: self._moved(path, change["new"]), "value")
        self.player = Player(uid, bench.listen.split("/")[-1], bench.before.at(bench.listen).rate_hz, bench.reset)
        self.box = ipywidgets.VBox(self._standing())
        self.box.add_class("gainlib-bench")
        self._stop = bench.on_move(lambda _: self._follow())
        self._follow()

    def _standing(self) -> list[Any]:
        """Headline, river, the controls in the columns of their stages, the other views, the player."""
        columns = next((taps for view in self.bench.views if (taps := view.taps(self.bench.rendering))), ())
        rows: list[Any] = [self.headline]
        placed = False
        for view, picture in zip(self.bench.views, self.pictures, strict=True):
            rows.append(picture)
            if not placed and columns and view.taps(self.bench.rendering) == columns:
                rows.append(self._below(columns))
                placed = True
        beside = [
            widget for path, widget in self.ranges.items() if not placed or self.bench.ranges[path].tap not in columns
        ]
        if beside:
            row = ipywidgets.HBox(beside)
            row.add_class("gainlib-beside")
            rows.append(row)
        return [*rows, self.player]

    def _below(self, columns: tuple[str, ...]) -> Any:
        under: dict[str, int] = {}
        children = []
        for path, widget in self.ranges.items():
            tap = self.bench.ranges[path].tap
            if tap in columns:
                under[tap] = under.get(tap, 0) + 1
                widget.layout.grid_area = f"{under[tap]} / {columns.index(tap) + 1}"
                children.append(widget)
        grid = ipywidgets.GridBox(
            children,
            layout=ipywidgets.Layout(
                grid_template_columns=f"repeat({len(columns)}, minmax(0, 1fr))",
                padding=f"0 {FRAME_RIGHT}px 0 {FRAME_LEFT}px",
            ),
        )
        grid.add_class("gainlib-below")
        return grid

    def _moved(self, path: str, value: float) -> None:
        if value == self.bench.values[path]:
            return
        try:
            self.bench.move(path, value)
        except GainError as fault:
            self.ranges[path].complaint = str(fault)
            self.ranges[path].value = self.bench.values[path]

    def _follow(self) -> None:
        """Bring every widget to where the bench is."""
        bench = self.bench
        for path, value in bench.values.items():
            with self.ranges[path].hold_sync():
                self.ranges[path].value = value
                self.ranges[path].complaint = ""
        self.headline.say(bench.headline)
        for view, picture in zip(bench.views, self.pictures, strict=True):
            picture.show(view.columns(bench.rendering), view.sentence(bench.rendering))
        self.player.hold(
            bench.before.at(bench.listen),
            bench.rendering.at(bench.listen),
            (bench.before.level(bench.listen).rms_dbfs, bench.rendering.level(bench.listen).rms_dbfs),
        )

    def close(self) -> None:
        """Free every widget of this panel."""
        if not self.closed:
            self.closed = True
            self._stop()
            close_tree(self.box)

    def shown(self, key: str | None, **kwargs: Any) -> Any:
        """What a notebook displays; panels that the same cell showed in an earlier run are closed."""
        take_place(self, key)
        # Where no widget can be shown, the sentence is.
        return {**self.box._repr_mimebundle_(**kwargs), "text/plain": repr(self.bench)}
