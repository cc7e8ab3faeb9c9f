"""A bench without its widgets: a session, the controls that move it, and what its views say."""

from __future__ import annotations

import copy
import math
import os
import time
import weakref
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, ClassVar

from gainlib.benches.controls import Breakpoints, Control, Pick, Range, control_of
from gainlib.benches.events import Event
from gainlib.benches.history import History
from gainlib.benches.part_of_takes import PartOfTakes, loudest_part, part_at
from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering, Session
from gainlib.flow.buffers import use
from gainlib.flow.needs import extents_of, needed_bytes, require_room
from gainlib.text import describe_value
from gainlib.views import Advice, Aim, View, advise, view

__all__ = ["SLOTS", "BenchModel"]

SLOTS = ("A", "B")
"""The places in which settings are kept to compare them."""


class BenchModel:
    """One signal flow with its controls and views, and what they say; it can be used with no page and no widgets.

    `session` and `rendering` are the present state, `values` the controls' settings by path, `advice` and
    `sentences` what is said of it, `note` how it came to stand so, until the next move, `moves` whether anything can
    move here, `matched` whether before and after are heard at one level until the listener wants it otherwise. Give
    `on_move` a function, and it is called with the bench after every move; `on_listen`, `on_strip` and `on_keep` tell
    of another tap that is heard, another strip that is shown, and settings that were kept, `on_part` of another part
    of long takes. Each gives back what stops it.

    With `parts`, takes of more than a minute are worked on half a minute at a time, the loudest first: `rendering` and
    `before` are of that `part`, `session` is the whole. `part` is None while the whole is rendered.
    """

    copies_session: ClassVar[bool] = True
    """Whether the session goes with the settings that are copied."""

    def __init__(
        self,
        session: Session,
        controls: Iterable[str | Control] = (),
        views: Iterable[str | View] = ("level diagram",),
        *,
        listen: str | None = None,
        title: str | None = None,
        key: str | None = None,
        follow: BenchModel | None = None,
        aim: Aim | Iterable[Aim] = (),
        matched: bool = True,
        parts: bool = False,
    ) -> None:
        if not isinstance(session, Session):
            raise GainError(
                f"session is a {type(session).__name__}; give a Session, for example Session.of(take, stages)."
            )
        if follow is not None:
            session = session.replaced(_shared(follow, session))
        self.start = session
        self.key = key
        self.matched = matched
        # A copy: which strip a view shows is chosen on this bench, and another may hold the same view.
        self.views = tuple(copy.copy(view(each)) for each in _listed(views, "views"))
        self.controls: dict[str, Range | Pick | Breakpoints] = {
            each.path: each for each in (control_of(session, each) for each in _listed(controls, "controls"))
        }
        self.aims = (aim,) if isinstance(aim, Aim) else tuple(aim)
        for each in self.aims:
            each.check(session, self.controls)
        self.moves = bool(self.controls) or follow is not None
        # What a bench that follows this one takes over: also what this one took over itself.
        self.handed_on: dict[str, None] = {
            f"{each.tap}/{each.path.rpartition('/')[2]}": None for each in self.controls.values()
        } | (follow.handed_on if follow is not None else {})
        drawn = any(isinstance(each, Breakpoints) for each in self.controls.values())
        self.part = loudest_part(session) if parts and not drawn else None
        self._loudest = self._last_part = self.part
        began = time.perf_counter()
        self.before = self._heard(session).render()
        self._render_seconds = time.perf_counter() - began
        self.listen = "/".join(session.tap(listen)) if listen else self.before.last_tap
        self.title = title if title is not None else _titled(session)
        self.session = session
        self.rendering: Rendering = self.before
        self.history = History()
        self.kept: dict[str, dict[str, Any]] = {}
        self.note = ""
        self.on_move, self.on_listen, self.on_strip, self.on_keep = Event(), Event(), Event(), Event()
        self.on_part = Event()
        self.turn: object = follow.turn if follow is not None else object()
        use(self)
        if follow is not None:
            _take_over(self, follow)

    @property
    def values(self) -> dict[str, Any]:
        """The controls' settings by path."""
        return {path: each.held(self.session.setting(path)) for path, each in self.controls.items()}

    @property
    def renderings(self) -> tuple[Rendering, Rendering]:
        """What it has rendered: as it stands, and as it stood at the start."""
        return self.rendering, self.before

    @property
    def is_long(self) -> bool:
        """Whether its takes are so long that it works on a part of them."""
        return self._loudest is not None

    @property
    def all_seconds(self) -> float:
        """How long the whole would take to be rendered, as far as the part tells; before and after the moves."""
        if self._loudest is None:
            return 0.0
        return 2.0 * self._render_seconds * self._loudest.longest / self._loudest.seconds

    @property
    def all_bytes(self) -> float:
        """What the whole would need of memory, before and after the moves."""
        return needed_bytes(self.start.channels, extents_of(self.start.strips), renderings=2)

    def show_part(self, start: float | None = None) -> BenchModel:
        """Work on the half minute that begins at this second, by default the loudest one.

        Raises GainError where the takes are short, or a ride is drawn over them.
        """
        if self._loudest is None:
            raise GainError("there is one part, the whole; takes of more than a minute without a ride have others.")
        if start is not None and not (isinstance(start, int | float) and math.isfinite(start) and start >= 0.0):
            raise GainError(f"start is {describe_value(start)}; give the second at which the part begins.")
        part = self._loudest if start is None else part_at(self.start, float(start), self._loudest.rooms)
        return self._work_on(part, None)

    def render_all(self, progress: Callable[[float], object] | None = None) -> BenchModel:
        """Render the whole takes, before and after the moves, until something is moved; `progress` is told 0 to 1.

        Raises GainError where that would need more memory than there is: it says how much.
        """
        if self.part is None:
            return self
        extents = extents_of(self.start.strips)
        require_room(self.start.channels, extents, "all of it", "stay with a part, or use fewer stages", renderings=2)
        return self._work_on(None, progress)

    def _heard(self, session: Session) -> Session:
        """The session with its takes as they are worked on: cut to the part, or whole."""
        return session if self.part is None else self.part.of(session)

    def _work_on(self, part: PartOfTakes | None, progress: Callable[[float], object] | None) -> BenchModel:
        def halved(begin: float) -> Callable[[float], object] | None:
            return None if progress is None else lambda done: progress(begin + done / 2)

        earlier, self.part = self.part, part
        self._last_part = earlier or self._last_part
        began = time.perf_counter()
        try:
            before = self._heard(self.start).render(progress=halved(0.0))
            if part is not None:  # the first one also opened libraries
                self._render_seconds = min(self._render_seconds, time.perf_counter() - began)
            rendering = self._heard(self.session).render(after=before, progress=halved(0.5))
        except GainError:  # the whole may need more memory than there is
            self.part = earlier
            raise
        self.before, self.rendering = before, rendering
        use(self)
        self.on_part.tell(self)
        return self

    @property
    def advice(self) -> Advice:
        """What clips, is over or is left; and where something is aimed at, one step that the controls here can do."""
        numbers = [each for each in self.controls.values() if isinstance(each, Range)]
        return advise(self.rendering, numbers, self.aims)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What each view says, in order."""
        return tuple(each.sentence(self.rendering) for each in self.views)

    def move(self, path: str, value: Any, *, stroke: object = None) -> BenchModel:
        """Move one control, and render again what lies behind it.

        Moves of one control with the same `stroke` are one step for `undo`, as a drag is; without one each is a step.
        Raises GainError for a path that has no control here, and for a value that cannot be or is out of range.
        """
        control = self._control(path)
        return self._step({control.path: control.checked(value)}, None if stroke is None else (control.path, stroke))

    def move_all(self, values: Mapping[str, Any]) -> BenchModel:
        """Move several controls at once, as one step for `undo`. Raises GainError as `move` does."""
        controls = {path: self._control(path) for path in values}
        return self._step({each.path: each.checked(values[path]) for path, each in controls.items()})

    def reset(self) -> BenchModel:
        """Every control back to where it stood when the bench was set up."""
        return self._step({each.path: each.start for each in self.controls.values()})

    def undo(self) -> BenchModel:
        """Take the last step back. Raises GainError where there is none."""
        values = self.history.undone()
        if values is None:
            raise GainError("there is nothing to undo; no control was moved on this bench.")
        return self._set(values)

    def redo(self) -> BenchModel:
        """Do the step again that was taken back last. Raises GainError where there is none."""
        values = self.history.redone()
        if values is None:
            raise GainError("there is nothing to redo; nothing was undone since the last move.")
        return self._set(values)

    def keep(self, slot: str) -> BenchModel:
        """Keep the settings as "A" or "B", to come back to them."""
        self.kept[_slot(slot)] = self.values
        self.on_keep.tell(self)
        return self

    def recall(self, slot: str) -> BenchModel:
        """Go to the settings that were kept as "A" or "B"; one step for `undo`. Raises GainError for an empty one."""
        if _slot(slot) not in self.kept:
            raise GainError(f"nothing is kept as {slot} yet; keep the settings first.")
        return self._step(self.kept[slot])

    @property
    def at(self) -> str:
        """The slot whose kept settings are the present ones; empty when it is neither."""
        return next((slot for slot in SLOTS if self.kept.get(slot) == self.values), "")

    def settings_text(self) -> str:
        """The session as a session file has it, under the settings of each control and the advice, as remarks."""
        lines = [f"{self.controls[path].name}: {self._printed(path, value)}" for path, value in self.values.items()]
        remarks = [f"# {line}" for line in [self.title or "Settings", *lines, *str(self.advice).splitlines()]]
        return "\n".join([*remarks, self.session.as_text() if self.copies_session else ""])

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the session as it stands here to a file that `Session.load` reads; gives the path back.

        A take that lies neither below that file's folder nor among the course's own is copied beside it, and the head
        of the file tells so. Raises GainError as `Session.save` does: for a file that is there already unless
        `overwrite` is set.
        """
        return self.session.save(path, overwrite=overwrite)

    @property
    def undo_words(self) -> str:
        """What `undo` would do, in words; empty where there is nothing to undo."""
        return self._told(self.history.done[-1].moved, 0) if self.history.done else ""

    @property
    def redo_words(self) -> str:
        """What `redo` would do, in words; empty where there is nothing to redo."""
        return self._told(self.history.taken_back[-1].moved, 1) if self.history.taken_back else ""

    @property
    def taps(self) -> tuple[str, ...]:
        """Where one can listen: every stage of every strip, bus and main, as paths, whatever is drawn."""
        return tuple(f"{part.name}/{stage}" for part in self.session.channels for stage in part.stage_names)

    def hear(self, tap: str) -> BenchModel:
        """Listen behind another stage, before and after the moves. Raises GainError for a tap that is not there."""
        self.listen = "/".join(self.session.tap(tap))
        self.on_listen.tell(self)
        return self

    @property
    def strip(self) -> str:
        """The strip whose level diagram is shown: the first unless a view was given another."""
        chosen = (getattr(each, "strip", None) for each in self.views)
        return next((each for each in chosen if isinstance(each, str)), self.session.strips[0].name)

    def show(self, strip: str) -> BenchModel:
        """Show another strip in the views that draw one. Raises GainError for a strip that is not there."""
        name = self.session.strip(strip).name
        for each in self.views:
            if hasattr(each, "strip"):
                each.strip = name
        self.on_strip.tell(self)
        return self

    def _control(self, path: str) -> Range | Pick | Breakpoints:
        if path in self.controls:
            return self.controls[path]
        tap, _, name = str(path).rpartition("/")
        for each in self.controls.values():
            if f"{each.tap}/{name}" == path or (
                len(self.session.strips) == 1 and each.tap.endswith(f"/{tap}") and each.path.endswith(f"/{name}")
            ):
                return each
        if not self.controls:
            raise GainError(f"{path!r} has no control on this bench; it has none at all: give controls=[...].")
        raise GainError(f"{path!r} has no control on this bench; {suggest(str(path), self.controls)}")

    def _printed(self, path: str, value: Any) -> str:
        return self.controls[path].printed(value)

    def _told(self, moved: dict[str, tuple[Any, Any]], which: int) -> str:
        if len(moved) > 1:
            return f"{len(moved)} controls"
        ((path, pair),) = moved.items()
        return f"{self.controls[path].name} to {self._printed(path, pair[which])}"

    def _step(self, values: dict[str, Any], stroke: object = None) -> BenchModel:
        before = self.values
        self._go(self.session.replaced(values), {path: (before[path], value) for path, value in values.items()}, stroke)
        return self

    def _set(self, values: dict[str, Any]) -> BenchModel:
        return self._go(self.session.replaced(values))

    def _go(
        self, session: Session, moved: dict[str, tuple[Any, Any]] | None = None, stroke: object = None
    ) -> BenchModel:
        if session != self.session:
            if self.is_long and self.part is None:
                self._work_on(self._last_part, None)  # a move of the whole would take as long as its rendering
            # What cannot be rendered is refused before it is noted.
            rendering = self._heard(session).render(after=self.rendering)
            self.session, self.rendering = session, rendering
            use(self)
        self.history.note(moved or {}, stroke)
        self.note = ""
        self.on_move.tell(self)
        return self

    def __repr__(self) -> str:
        settings = ", ".join(f"{path} {self._printed(path, value)}" for path, value in self.values.items())
        return f"<bench {self.title}: {settings or 'no controls'}. {self.advice}>"


def _take_over(bench: BenchModel, leader: BenchModel) -> None:
    """Have a bench take over what another moves, for as long as the one that follows is in use."""
    follower = weakref.ref(bench)
    # What it was made with: the leader may have been moved since, while this one was rendered.
    last = {path: bench.session.setting(path) for path in _shared(leader, bench.session)}

    def take_over(_: BenchModel) -> None:
        nonlocal last
        bench = follower()
        if bench is None:
            stop()
            return
        shared = _shared(leader, bench.session)
        moved = {path: value for path, value in shared.items() if last[path] != value}
        last = shared
        bench._set(moved)

    stop = leader.on_move(take_over)
    if _shared(leader, bench.session) != last:
        take_over(leader)


def _shared(leader: BenchModel, session: Session) -> dict[str, Any]:
    """The settings that another bench, or one that it follows, moves and that are in this session too, by full path."""
    found = {}
    for path in leader.handed_on:
        try:
            session.setting(path)
        except GainError:
            continue
        found[path] = leader.session.setting(path)
    return found


def _slot(slot: str) -> str:
    if slot not in SLOTS:
        raise GainError(f"slot is {slot!r}; give 'A' or 'B'.")
    return slot


def _listed(given: Any, name: str) -> tuple[Any, ...]:
    if isinstance(given, str):
        raise GainError(f"{name} is {given!r}; give a list: {name}=[{given!r}].")
    return tuple(given)


def _titled(session: Session) -> str:
    first = session.strips[0]
    name = first.name.replace("-", " ").replace("_", " ")
    return f"{name[:1].upper()}{name[1:]}, {first.take.seconds:.0f} s" if len(session.strips) == 1 else "Session"
