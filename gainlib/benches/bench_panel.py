"""A bench on its panel: its widgets, how they stand, and what is sent when something moves."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from functools import partial
from typing import Any

import ipywidgets

from gainlib.benches.bench_model import BenchModel
from gainlib.benches.coming_back import come_back
from gainlib.benches.controls import Control
from gainlib.benches.inputs import input_of, moved_trait
from gainlib.benches.level_tracks import LevelTracks
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.errors import GainError
from gainlib.flow import Session
from gainlib.text import memory
from gainlib.views import Aim, View
from gainlib.views.style import FRAME_LEFT
from gainlib.widgets.assets import width_classes
from gainlib.widgets.cell_display import close_tree
from gainlib.widgets.headline import HeadlineLine
from gainlib.widgets.part_row import PartRow
from gainlib.widgets.pick_input import PickInput
from gainlib.widgets.picture import Picture, remark_on
from gainlib.widgets.player import Player
from gainlib.widgets.ride_table import RideTable
from gainlib.widgets.toolbar import Toolbar

__all__ = ["Bench", "BenchPanel", "bench"]

_MUCH_MEMORY = 500_000_000
"""From here on it is said what rendering all takes of memory."""


class BenchPanel(Panel):
    """The widgets of one bench, kept in step with it."""

    def __init__(self, bench: BenchModel) -> None:
        super().__init__(
            [
                bench.on_move(lambda _: self._follow()),
                bench.on_listen(lambda _: self._follow_listening()),
                bench.on_strip(lambda _: self._stand()),
                bench.on_keep(lambda _: self._follow_settings()),
                bench.on_part(lambda _: self._follow_part()),
            ]
        )
        self.bench = bench
        uid = uuid.uuid4().hex
        self.headline = HeadlineLine(title=bench.title)
        rendering = bench.rendering
        self.pictures = [
            Picture(
                view.figure(rendering), view.columns(rendering), channel=uid, heading=view.heading(rendering),
                sentence=view.sentence(rendering), captioned=not view.taps(rendering),
                living=bool(view.taps(rendering)),
            )
            for view in bench.views
        ]  # fmt: skip
        self._tracks = LevelTracks()
        for view, picture in zip(bench.views, self.pictures, strict=True):
            picture.tracks = partial(self._tracks_of, view)
        self.inputs = {path: input_of(each, bench.values[path], uid) for path, each in bench.controls.items()}
        for path, widget in self.inputs.items():
            widget.observe(lambda _, path=path: self._moved(path), moved_trait(widget))
        self.chooser = self._choosing()
        self.toolbar = Toolbar(_commands(bench))
        # Where nothing moves there is no before and after.
        alone: dict[str, Any] = {} if bench.moves else {"slots": ["after"], "matching": False}
        self.player = Player(uid, bench.hear, opens_matched=bench.matched, remark=remark_on(self.pictures), **alone)
        self.below = _box(ipywidgets.GridBox, "gainlib-below")
        self.beside = _box(ipywidgets.HBox, "gainlib-beside")
        self.strip = _box(ipywidgets.VBox, "gainlib-strip")
        self.parts = PartRow(_parts(bench, self._rendered)) if bench.is_long else None
        self.columns: dict[str, Any] = {}
        self._wide: list[str] = []
        # There is nothing to take back where nothing moves.
        self.row = _box(ipywidgets.HBox, "gainlib-row", [self.player, *([self.toolbar] if bench.moves else [])])
        self.box = _box(ipywidgets.VBox, "gainlib-bench")
        self._arrange()
        self._follow()
        self._tell_part()

    def _choosing(self) -> PickInput | None:
        """Which strip's level diagram is shown, where there are several."""
        bench = self.bench
        names = tuple(each.name for each in bench.session.strips)
        if len(names) < 2 or not any(hasattr(each, "strip") for each in bench.views):
            return None
        made = PickInput(options=list(names), label="Strip shown", name="Strip shown")
        made.values = names
        made.follow(bench.strip)
        made.observe(lambda _: bench.show(made.value) if made.value != bench.strip else None, "chosen")
        made.add_class("gainlib-chooser")
        return made

    def _tracks_of(self, view: View, start: float, slot: str) -> list[tuple[bytes, bytes]]:
        """The levels of each moment behind the stages that a picture shows, before or after the moves."""
        now = self.bench.before if slot == "before" else self.bench.rendering
        return self._tracks.of(now, view.taps(now), start)

    def _arrange(self) -> None:
        """Headline, the picture that the controls move, the controls, the row to listen and take back, the other views.

        The picture with stages as columns comes first, with each control in the column of its stage.
        """
        bench = self.bench
        pictures = list(zip(bench.views, self.pictures, strict=True))
        pictures.sort(key=lambda each: not each[0].taps(bench.rendering))
        columns = pictures[0][0].taps(bench.rendering) if pictures else ()
        several = bool(columns) or len(bench.session.channels) > 1
        below: dict[str, list[Any]] = {}
        beside: list[Any] = []
        for path, widget in self.inputs.items():
            control = bench.controls[path]
            away = control.tap not in columns or isinstance(widget, RideTable)
            (beside if away else below.setdefault(control.tap, [])).append(widget)
            # Away from its column, and where there are several strips, a control says whose it is.
            widget.label = control.name if away and several else control.label
        for tap, widgets in below.items():
            column = self.columns.setdefault(tap, _box(ipywidgets.HBox, "gainlib-column"))
            column.layout.grid_area = f"1 / {columns.index(tap) + 1}"
            column.children = widgets
        self.below.layout.grid_template_columns = f"repeat({max(1, len(columns))}, minmax(0, 1fr))"
        right = pictures[0][0].right_px(bench.rendering) if pictures else 0
        self.below.layout.padding = f"0 {right}px 0 {FRAME_LEFT}px"
        self.below.children, self.beside.children = [self.columns[tap] for tap in below], beside
        for each in self._wide:
            self.strip.remove_class(each)
        self._wide = width_classes(len(columns), right)
        for each in self._wide:
            self.strip.add_class(each)
        first, others = pictures[:1], [picture for _, picture in pictures[1:]]
        self.strip.children = [*(picture for _, picture in first), *([self.below] if below else [])]
        self.box.children = [
            self.headline, *([self.chooser] if self.chooser else []), *([self.strip] if first else []),
            *([self.beside] if beside else []), *([self.parts] if self.parts else []), self.row, *others,
        ]  # fmt: skip

    def _stand(self) -> None:
        """Draw the strip that is shown now, with its controls in the columns of its stages."""
        bench = self.bench
        for view, picture in zip(bench.views, self.pictures, strict=True):
            if hasattr(view, "strip"):
                now = bench.rendering
                picture.draw(view.figure(now), view.columns(now), view.heading(now), view.sentence(now))
        if self.chooser is not None:
            self.chooser.follow(bench.strip)
        self._arrange()
        self._follow_listening()

    def _follow_part(self) -> None:
        """Draw another part of the takes, or all of them: the axis of time is another one."""
        bench = self.bench
        for view, picture in zip(bench.views, self.pictures, strict=True):
            now = bench.rendering
            picture.draw(view.figure(now), view.columns(now), view.heading(now), view.sentence(now))
        self._follow_listening()
        self.headline.say(bench.advice)
        self._tell_part()

    def _rendered(self, done: float) -> None:
        if self.parts is not None:
            self.parts.done = min(done, 0.99)

    def _tell_part(self) -> None:
        """Say which part it is, and what all would take."""
        bench, row = self.bench, self.parts
        if row is None:
            return
        part = bench.part
        with row.hold_sync():
            row.whole = part is None
            if part is not None:
                row.start, row.seconds, row.longest = part.start, part.seconds, part.longest
                row.words = f"Part of the take: {part.words}"
            else:
                row.words = "All is rendered; the next move goes back to the part."
            row.offer = f"Render all, {_about(bench.all_seconds)}"
            if bench.all_bytes > _MUCH_MEMORY:
                row.offer += f", {memory(bench.all_bytes)} of memory"

    def _moved(self, path: str) -> None:
        bench, widget = self.bench, self.inputs[path]
        try:
            value = bench.controls[path].checked(widget.value)
            if value != bench.values[path]:
                bench.move(path, value, stroke=getattr(widget, "stroke", None) or None)
        except GainError as fault:
            widget.follow(bench.values[path])
            widget.complaint = str(fault)

    def _follow(self) -> None:
        """Bring every widget to where the bench is."""
        bench = self.bench
        for path, value in bench.values.items():
            self.inputs[path].follow(value)
        # The pictures first, then the sound: while the page paints them and goes over to it, the words are found.
        for view, picture in zip(bench.views, self.pictures, strict=True):
            picture.show(view.columns(bench.rendering), view.sentence(bench.rendering))
        self._follow_listening()
        self.headline.say(bench.advice)
        self._follow_settings()

    def _follow_settings(self) -> None:
        """Bring the row of steps to what can be undone, done again and recalled."""
        bench = self.bench
        with self.toolbar.hold_sync():
            self.toolbar.undo, self.toolbar.redo = bench.undo_words, bench.redo_words
            self.toolbar.kept, self.toolbar.at = sorted(bench.kept), bench.at
            self.toolbar.note = bench.note

    def _follow_listening(self) -> None:
        """Hand the player what is heard now."""
        bench = self.bench
        self.player.hold(bench.before, bench.rendering, bench.listen, bench.taps)

    def _free(self) -> None:
        # What is empty does not stand in the box.
        for each in (self.box, self.strip, self.below, self.beside, self.toolbar, *self.columns.values()):
            close_tree(each)
        if self.parts is not None:
            self.parts.close()


def _box(kind: type[Any], named: str, children: Iterable[Any] = ()) -> Any:
    """A box of ipywidgets, known to the styles by a class."""
    made = kind(list(children))
    made.add_class(named)
    return made


class Bench(BenchModel, ShownByPanel[BenchPanel]):
    """One signal flow with its controls and views; as the last line of a cell it shows itself.

    `session` and `rendering` are the present state, `values` the controls' settings by path, `advice` and
    `sentences` what the `panel` says. Made by `gainlib.bench(...)`.
    """

    def _make_panel(self) -> BenchPanel:
        return BenchPanel(self)


def bench(
    session: Session,
    controls: Iterable[str | Control] = (),
    views: Iterable[str | View] = ("level diagram",),
    *,
    listen: str | None = None,
    title: str | None = None,
    key: str | None = None,
    follow: Bench | None = None,
    aim: Aim | Iterable[Aim] = (),
    matched: bool = True,
) -> Bench:
    """A panel of controls, views and a player on one session.

    Takes of more than a minute open on their loudest half minute, with a row to choose another part or all of them;
    what is saved or copied is of the whole. With a ride on them they are worked on as a whole.

    Running a cell again closes the bench that it showed before; with `key`, so does any cell that shows a bench of the
    same key. In a lesson of a learner's folder it then stands as it was left, also when the kernel was restarted.

    Parameters
    ----------
    session : Session
        What is rendered.
    controls : iterable of str or Control
        Paths of settings such as `preamp/gain_db`, or `Control` objects with a range of their own.
    views : iterable of str or View
        Plain names ("level diagram", "waveform"), or views with options.
    listen : str, optional
        The tap that is heard; the last unless named.
    title : str, optional
        What the panel is headed with.
    key : str, optional
        Of benches with one key only the latest stays open.
    follow : Bench, optional
        A bench whose settings, where this one has them too, are taken over, now and whenever they move.
    aim : Aim or iterable of Aim, optional
        What is aimed at here: the sentence on top then says one step towards it. Without, it tells facts only.
    matched : bool
        False opens the player with before and after each at its own level, where the level is what is to be heard.

    Returns
    -------
    Bench
        As the last line of a cell it shows itself; `move`, `values` and `rendering` work without a browser.

    Raises
    ------
    GainError
        For a setting, view, tap or reading that is not there, with the nearest that is.

    Examples
    --------
    >>> import numpy as np
    >>> from gainlib import Audio, Session, Trim
    >>> hum = Session.of(Audio(0.1 * np.sin(np.arange(4800) / 8), 48000), [Trim()], name="hum")
    >>> bench(hum, controls=["trim/gain_db"]).move("trim/gain_db", 12.0).values
    {'trim/gain_db': 12.0}
    """
    made = Bench(
        session,
        controls,
        views,
        listen=listen,
        title=title,
        key=key,
        follow=follow,
        aim=aim,
        matched=matched,
        parts=True,
    )
    come_back(made, session)
    return made


def _about(seconds: float) -> str:
    """How long something takes, roughly, in words."""
    if seconds < 1.5:
        return "about a second"
    return f"about {seconds:.0f} s" if seconds < 20 else f"about {5 * round(seconds / 5)} s"


def _parts(bench: BenchModel, rendered: Callable[[float], None]) -> dict[str, Callable[[Any], object]]:
    """What the row of parts may be asked for."""
    return {
        "from": lambda start: bench.show_part(start),
        "loudest": lambda _: bench.show_part(),
        "all": lambda _: bench.render_all(rendered),
    }


def _commands(bench: BenchModel) -> dict[str, Callable[[], str]]:
    """What the row of steps may be asked for; each does it and says what it did."""

    def undo() -> str:
        said = bench.undo_words
        bench.undo()
        return f"Undone: {said}."

    def redo() -> str:
        said = bench.redo_words
        bench.redo()
        return f"Done again: {said}."

    def reset() -> str:
        bench.reset()
        return "Every control is back where it started."

    def keep(slot: str) -> str:
        bench.keep(slot)
        return f"Kept as {slot}."

    def other() -> str:
        slot = "B" if bench.at == "A" else "A"
        bench.recall(slot)
        return f"These are the settings kept as {slot}."

    return {
        "undo": undo, "redo": redo, "reset": reset, "other": other, "copy": bench.settings_text,
        "keep A": lambda: keep("A"), "keep B": lambda: keep("B"),
    }  # fmt: skip
