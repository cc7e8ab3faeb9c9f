"""A bench without its widgets: a session, the controls that move it, and what its views say."""

from __future__ import annotations

import math
import weakref
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from gainlib.decibels import signed
from gainlib.errors import GainError, nearest
from gainlib.flow import Rendering, Session
from gainlib.stages import settings_of
from gainlib.views import Headline, View, headline, view

if TYPE_CHECKING:
    from gainlib.bench.panel import Panel

__all__ = ["Bench", "Control", "Range", "bench"]


@dataclass(frozen=True)
class Control:
    """A control for one setting, by its path; what is not given comes from the setting itself.

    `low`, `high` and `step` are in the setting's own unit.

    >>> Control("preamp/gain_db", high=50.0).high
    50.0
    """

    path: str
    low: float | None = None
    high: float | None = None
    step: float | None = None
    label: str | None = None


@dataclass(frozen=True)
class Range:
    """A control as it stands on the bench: whose setting it moves, from where to where, and how it is written."""

    path: str
    tap: str
    label: str
    name: str
    unit: str
    low: float
    high: float
    step: float
    start: float

    @property
    def digits(self) -> int:
        """Decimals that are shown: tenths of a decibel, else what the step needs."""
        return 1 if self.unit == "dB" or self.step % 1 else 0

    def printed(self, value: float) -> str:
        """A value as the bench writes it."""
        return signed(value, self.digits, self.unit, plus=self.unit == "dB")

    def checked(self, value: object) -> float:
        """The value as a number within the range, or a GainError that says what is wrong with it."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise GainError(
                f"{self.path} is {value!r}; give a number from {self.printed(self.low)} to {self.printed(self.high)}."
            )
        if not self.low <= value <= self.high:
            raise GainError(
                f"{self.path} is {self.printed(value)}; this control goes from {self.printed(self.low)} "
                f"to {self.printed(self.high)}: give a value in between."
            )
        return float(value)


class Bench:
    """One signal flow with its controls and views; as the last line of a cell it shows itself.

    `session` and `rendering` are the present state, `values` the controls' settings by path, `headline` and
    `sentences` what the panel says. Made by `gainlib.bench(...)`.
    """

    def __init__(
        self,
        session: Session,
        controls: Iterable[str | Control] = (),
        views: Iterable[str | View] = ("level diagram",),
        *,
        listen: str | None = None,
        title: str | None = None,
        key: str | None = None,
        follow: Bench | None = None,
        advise: bool = True,
    ) -> None:
        if not isinstance(session, Session):
            raise GainError(
                f"session is a {type(session).__name__}; give a Session, for example Session.of(take, stages)."
            )
        if follow is not None:
            session = session.replaced(_shared(follow, session))
        self.start = session
        self.key = key
        self.advise = advise
        self.views = tuple(view(each) for each in _listed(views, "views"))
        self.ranges = {each.path: each for each in (_ranged(session, each) for each in _listed(controls, "controls"))}
        self.before = session.render()
        self.listen = "/".join(session.tap(listen)) if listen else self.before.last_tap
        self.title = title if title is not None else _titled(session)
        self.session = session
        self.rendering: Rendering = self.before
        self._watching: list[Callable[[Bench], object]] = []
        self._panel: Panel | None = None
        if follow is not None:
            follow._watching.append(_Following(self, _shared(follow, session)))

    @property
    def values(self) -> dict[str, float]:
        """The controls' settings by path."""
        return {path: float(self.session.setting(path)) for path in self.ranges}

    @property
    def headline(self) -> Headline:
        """What matters now, and which way to go; the latter is left out on a bench that does not advise."""
        found = headline(self.rendering)
        return found if self.advise else replace(found, advice="")

    @property
    def sentences(self) -> tuple[str, ...]:
        """What each view says, in order."""
        return tuple(each.sentence(self.rendering) for each in self.views)

    def move(self, path: str, value: float) -> Bench:
        """Move one control, and render again what lies behind it.

        Raises GainError for a path that has no control here, and for a value that is no number or out of range.
        """
        return self._set({self._range(path).path: self._range(path).checked(value)})

    def reset(self) -> Bench:
        """Every control back to where it stood when the bench was set up."""
        return self._set({each.path: each.start for each in self.ranges.values()})

    def on_move(self, callback: Callable[[Bench], object]) -> Callable[[], None]:
        """Have a function called with the bench after every move; gives back what stops it."""
        self._watching.append(callback)
        return lambda: self._watching.remove(callback)

    def close(self) -> None:
        """Close the panel, if there is one, and free what it holds in the page and in the kernel."""
        if self._panel is not None:
            self._panel.close()
            self._panel = None

    @property
    def panel(self) -> Panel:
        """The widgets of this bench, made when first asked for."""
        if self._panel is None or self._panel.closed:
            from gainlib.bench.panel import Panel

            self._panel = Panel(self)
        return self._panel

    def _range(self, path: str) -> Range:
        if path in self.ranges:
            return self.ranges[path]
        tap, _, name = str(path).rpartition("/")
        for each in self.ranges.values():
            if f"{each.tap}/{name}" == path or (
                len(self.session.strips) == 1 and each.tap.endswith(f"/{tap}") and each.path.endswith(f"/{name}")
            ):
                return each
        if not self.ranges:
            raise GainError(f"{path!r} has no control on this bench; it has none at all: give controls=[...].")
        raise GainError(f"{path!r} has no control on this bench; {nearest(str(path), self.ranges)}")

    def _set(self, values: dict[str, float]) -> Bench:
        session = self.session.replaced(values)
        if session != self.session:
            rendering = session.render(after=self.rendering)
            self.session, self.rendering = session, rendering
        for callback in tuple(self._watching):
            callback(self)
        return self

    def __repr__(self) -> str:
        settings = ", ".join(f"{path} {self.ranges[path].printed(value)}" for path, value in self.values.items())
        return f"<bench {self.title}: {settings or 'no controls'}. {self.headline}>"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        return self.panel.shown(self.key, **kwargs)


def bench(
    session: Session,
    controls: Iterable[str | Control] = (),
    views: Iterable[str | View] = ("level diagram",),
    *,
    listen: str | None = None,
    title: str | None = None,
    key: str | None = None,
    follow: Bench | None = None,
    advise: bool = True,
) -> Bench:
    """A panel of controls, views and a player on one session.

    `controls` are paths of settings such as `preamp/gain_db`, or `Control` objects with a range of their own; `views`
    are plain names ("level diagram", "waveform") or views with options; `listen` is the tap that is heard, the last
    unless named. With `follow` the settings that another bench moves are taken over from it, now and whenever it moves.
    `advise=False` leaves the headline its facts and takes away its advice, for a learner who is being checked.
    Running a cell again closes the bench that it showed before; with `key`, so does any cell that shows
    a bench of the same key. Raises GainError for a setting, view or tap that is not there, with the nearest that is.

    >>> import numpy as np
    >>> from gainlib import Audio, Session, Trim
    >>> hum = Session.of(Audio(0.1 * np.sin(np.arange(4800) / 8), 48000), [Trim()], name="hum")
    >>> bench(hum, controls=["trim/gain_db"]).move("trim/gain_db", 12.0).values
    {'trim/gain_db': 12.0}
    """
    return Bench(session, controls, views, listen=listen, title=title, key=key, follow=follow, advise=advise)


class _Following:
    """Takes over what another bench moves, for as long as the bench that follows is in use."""

    def __init__(self, bench: Bench, last: dict[str, Any]) -> None:
        self._bench = weakref.ref(bench)
        self._last = last

    def __call__(self, leader: Bench) -> None:
        bench = self._bench()
        if bench is None:
            leader._watching.remove(self)
            return
        shared = _shared(leader, bench.session)
        moved = {path: value for path, value in shared.items() if self._last[path] != value}
        self._last = shared
        bench._set(moved)


def _shared(leader: Bench, session: Session) -> dict[str, Any]:
    """The settings that another bench has controls for and that are in this session too, by full path."""
    found = {}
    for each in leader.ranges.values():
        path = f"{each.tap}/{each.path.rpartition('/')[2]}"
        try:
            session.setting(path)
        except GainError:
            continue
        found[path] = leader.session.setting(path)
    return found


def _listed(given: Any, name: str) -> tuple[Any, ...]:
    if isinstance(given, str):
        raise GainError(f"{name} is {given!r}; give a list: {name}=[{given!r}].")
    return tuple(given)


def _ranged(session: Session, given: str | Control) -> Range:
    control = given if isinstance(given, Control) else Control(given)
    if not isinstance(control.path, str):
        raise GainError(f"{control.path!r} is not a control; give the path of a setting, such as 'preamp/gain_db'.")
    path = control.path
    start = session.setting(path)
    tap, _, name = path.rpartition("/")
    strip, stage = session.tap(tap)
    known = settings_of(session.strip(strip).stage(stage)).get(name)
    low, high, step = (
        getattr(control, each) if getattr(control, each) is not None else getattr(known, each, None)
        for each in ("low", "high", "step")
    )
    if isinstance(start, bool) or not isinstance(start, int | float):
        raise GainError(f"{path} is {start!r}; a control moves numbers, so choose another setting.")
    if low is None or high is None or step is None:
        raise GainError(f"{path} has no usual range; give Control({path!r}, low=..., high=..., step=...).")
    if not (low < high and step > 0):
        raise GainError(
            f"the control of {path} has low {low:g}, high {high:g}, step {step:g}; give low < high, step > 0."
        )
    label = control.label or (known.label if known else name.replace("_", " "))
    unit = known.unit if known else ""
    spoken = stage if label.lower() == stage.lower() else f"{stage} {label.lower()}"
    whose = "" if len(session.strips) == 1 else f"{strip}, "
    named = f"{whose}{spoken}"
    made = Range(
        path, f"{strip}/{stage}", label, named[:1].upper() + named[1:], unit, float(low), float(high), float(step),
        float(start),
    )  # fmt: skip
    made.checked(float(start))
    return made


def _titled(session: Session) -> str:
    first = session.strips[0]
    name = first.name.replace("-", " ").replace("_", " ")
    return f"{name[:1].upper()}{name[1:]}, {first.take.seconds:.0f} s" if len(session.strips) == 1 else "Session"
