"""A session, whose settings are read and replaced by their path, and the rendering that it gives."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.flow.channels import GROUP, MAIN, Bus, FaderGroup, Send, Strip, driven_by
from gainlib.flow.needs import extents_of, require_room
from gainlib.flow.render import Tap, TapLevels, render_taps
from gainlib.flow.routes import all_in_order, find_faults, find_group_faults, require_kind
from gainlib.meters import ClippedRuns
from gainlib.stages import Stage

__all__ = ["Rendering", "Session"]

Read = TypeVar("Read")

SHORTER = "take a part of the recordings, such as gl.read(path, seconds=(0, 60)), or use fewer stages"


@dataclass(frozen=True)
class Session:
    """Strips into buses into the main, rendered together; every setting has a path such as `voice/preamp/gain_db`.

    With one strip, the strip's name may be left out of a path.

    Parameters
    ----------
    strips : tuple of Strip
        At least one.
    buses : tuple of Bus, optional
        In any order.
    main : Bus, optional
        The last bus, named "main". Without buses and without a main the strips stand side by side, each to its own
        end; with buses there is one, made where none is given.
    groups : tuple of FaderGroup, optional
        Faders that move the faders of others.

    Raises
    ------
    GainError
        One sentence a fault: no strip, two strips or buses of one name, a route that leads nowhere or in a loop, strips
        of several rates that are summed.

    Examples
    --------
    >>> import numpy as np
    >>> from gainlib.stages import Trim
    >>> session = Session.of(Audio(np.ones(480), 48000), [Trim()])
    >>> session.replaced({"trim/gain_db": -6.0}).setting("trim/gain_db")
    -6.0
    """

    strips: tuple[Strip, ...]
    buses: tuple[Bus, ...] = ()
    main: Bus | None = None
    groups: tuple[FaderGroup, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "strips", tuple(self.strips))
        object.__setattr__(self, "buses", tuple(self.buses))
        object.__setattr__(self, "groups", tuple(self.groups))
        if self.buses and self.main is None:
            object.__setattr__(self, "main", Bus(MAIN))
        require_kind("strips", self.strips, Strip)
        require_kind("buses", self.buses, Bus)
        require_kind("main", () if self.main is None else (self.main,), Bus)
        require_kind("groups", self.groups, FaderGroup)
        faults = find_faults(self.strips, self.buses, self.main)
        faults = faults or find_group_faults(self.groups, self.channels)
        if faults:
            raise GainError(*faults)

    @classmethod
    def of(cls, take: Audio, stages: Iterable[Stage], *, name: str = "") -> Session:
        """A session of one strip: one recording through these stages, named as its take is unless said."""
        return cls((Strip(name or take.name or "take", take, tuple(stages)),))

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Session:
        """Read a session file; its takes lie in the file's folder or among the course's own.

        Parameters
        ----------
        path
            The TOML file, as `save` writes it or as somebody typed it.

        Returns
        -------
        Session
            The session, with its takes read and its made signals made.

        Raises
        ------
        GainError
            With a sentence for each fault, a line each: a file that is not there, an entry or a stage that is not
            known, a take that is not found.

        Examples
        --------
        >>> import tempfile, numpy as np
        >>> from gainlib.stages import Trim
        >>> made = Session.of(Audio(np.zeros(480), 48000), [Trim(-3.0)], name="voice")
        >>> Session.load(made.save(f"{tempfile.mkdtemp()}/session.toml")).setting("voice/trim/gain_db")
        -3.0
        """
        # Not above: what reads tables opens pydantic, which a session that was built in Python does not need.
        from gainlib.flow.session_table import read_session

        return cls(*read_session(path))

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """Write the session as a TOML file, every setting written out.

        A take stays where it is if that is below the file's folder or among the course's own, and it is named so that
        it is found from there, since a file reads nothing from anywhere else. Any other is copied beside the file, as a
        64-bit float WAV, bit for bit, and the file's head tells so.

        Parameters
        ----------
        path
            The file to write; its folder must be there.
        overwrite
            Whether a file that is there already, or a take beside it, is replaced.

        Returns
        -------
        Path
            The path of the file.

        Raises
        ------
        GainError
            For a file that is there already, a folder that is not, and a stage that no file can name.

        Examples
        --------
        >>> import tempfile
        >>> from gainlib.sound_file import read
        >>> from gainlib.stages import Trim
        >>> session = Session.of(read("media/lead-voice.flac"), [Trim(-3.0)], name="voice")
        >>> print(session.save(f"{tempfile.mkdtemp()}/session.toml").read_text())
        strips = [
          { name = "voice", take = "media/lead-voice.flac", stages = [
            { stage = "Trim", gain_db = -3.0 },
          ] },
        ]
        <BLANKLINE>
        """
        from gainlib.flow.session_table import write_session

        return write_session(path, self.strips, self.buses, self.main, self.groups, overwrite=overwrite)

    def as_text(self) -> str:
        """The session as a session file has it, to be pasted into one, or into the `given` of an exercise file.

        Raises
        ------
        GainError
            For a stage that no file can name.

        Examples
        --------
        >>> from gainlib.sound_file import read
        >>> from gainlib.stages import Trim
        >>> print(Session.of(read("media/bass.flac"), [Trim()], name="bass").as_text().splitlines()[1])
          { name = "bass", take = "media/bass.flac", stages = [
        """
        from gainlib.flow.session_table import session_text

        return session_text(self.strips, self.buses, self.main, self.groups)

    @property
    def channels(self) -> tuple[Strip | Bus, ...]:
        """The strips, the buses in an order in which each comes after what feeds it, and the main."""
        return all_in_order(self.strips, self.buses, self.main)

    def strip(self, name: str) -> Strip:
        """The strip of that name; GainError with the nearest name where there is none."""
        for each in self.strips:
            if each.name == name:
                return each
        raise GainError(f"the session has no strip {name!r}; {suggest(name, [each.name for each in self.strips])}")

    def channel(self, name: str) -> Strip | Bus:
        """The strip or bus of that name, or the main; GainError with the nearest name where there is none."""
        for each in self.channels:
            if each.name == name:
                return each
        if self.main is None:
            return self.strip(name)
        known = [each.name for each in (*self.strips, *self.buses)]
        raise GainError(f"the session has no strip or bus {name!r}; {suggest(name, [*known, MAIN])}")

    def tap(self, path: str) -> tuple[str, str]:
        """Strip (or bus) and stage of a tap such as `voice/preamp`, or `preamp` where there is one strip."""
        parts = self._parts(path)
        if len(parts) != 2:
            raise GainError(f"{path!r} is not a tap; write strip/stage, for example {self._example()}.")
        channel, stage = parts
        self.channel(channel).stage(stage)
        return channel, stage

    def setting(self, path: str) -> Any:
        """The value of a setting, by its path such as `voice/preamp/gain_db`; GainError with the nearest that is."""
        _, owner, name = self.held(path)
        return getattr(owner, name)

    def full_path(self, path: str) -> str:
        """A setting's path with its strip, so that one setting has one name; GainError for one that is not there."""
        return "/".join(self._found(path))

    def held(self, path: str) -> tuple[str, Stage | Send | FaderGroup, str]:
        """Strip (or bus, or group) of a setting's path, what holds the setting there, and the setting's name."""
        channel, owner, name = self._found(path)
        return channel, self._owner(channel, owner), name

    def replaced(self, values: Mapping[str, Any]) -> Session:
        """The same session with some settings changed, given by their paths; GainError for what cannot be."""
        changed: dict[str, Strip | Bus] = {}
        groups = {each.name: each for each in self.groups}
        for path, value in values.items():
            channel, owner, name = self._found(path)
            if channel in groups:
                groups[channel] = dataclasses.replace(groups[channel], **{name: value})
                continue
            held = changed.get(channel) or self.channel(channel)
            change = {name: value}
            stages = tuple(dataclasses.replace(each, **change) if each.name == owner else each for each in held.stages)
            sends = tuple(dataclasses.replace(each, **change) if each.name == owner else each for each in held.sends)
            changed[channel] = dataclasses.replace(held, stages=stages, sends=sends)
        return dataclasses.replace(self._with(changed), groups=tuple(groups.values()))

    def with_take(self, take: Audio, *, strip: str | None = None) -> Session:
        """The same session with another recording on a strip (the only one, unless named)."""
        name = self.strips[0].name if strip is None and len(self.strips) == 1 else strip or ""
        return self._with({name: dataclasses.replace(self.strip(name), take=take)})

    def render(self, after: Rendering | None = None, *, progress: Callable[[float], object] | None = None) -> Rendering:
        """Put the takes through every stage.

        Parameters
        ----------
        after : Rendering, optional
            An earlier rendering. What has changed since in neither settings nor input is taken over from it; the
            result is the same to the last bit.
        progress : callable, optional
            Called with how much is done, 0 to 1, after each stage.

        Returns
        -------
        Rendering
            The levels at every tap, and the audio behind it.

        Raises
        ------
        GainError
            Where signals of several channels are summed that differ in their number, and for what would need more
            memory than 8 GB or than is free: it says how much.

        Examples
        --------
        >>> import numpy as np
        >>> from gainlib.stages import Trim
        >>> session = Session.of(Audio(np.ones(480), 48000), [Trim()], name="voice")
        >>> moved = session.replaced({"trim/gain_db": -6.0}).render(after=session.render())
        >>> round(moved.level("trim").peak_dbfs, 1)
        -6.0
        """
        require_room(self.channels, extents_of(self.strips), "this session", SHORTER)
        channels = driven_by(self.groups, self.channels)
        return Rendering(self, render_taps(channels, after.taps if after else {}, progress))

    def _with(self, changed: Mapping[str, Any]) -> Session:
        return Session(
            tuple(changed.get(each.name, each) for each in self.strips),
            tuple(changed.get(each.name, each) for each in self.buses),
            changed.get(MAIN, self.main) if self.main else None,
            self.groups,
        )

    def _parts(self, path: str) -> list[str]:
        parts = path.split("/")
        if len(parts) == 1 and len(self.strips) == 1:
            parts = [self.strips[0].name, *parts]
        return parts

    def _found(self, path: str) -> tuple[str, str, str]:
        place, _, name = path.rpartition("/")
        parts = self._parts(place) if place else []
        if len(parts) != 2:
            channel, owner = self.tap(place or path)
        else:
            channel, owner = parts
        fields = [field.name for field in dataclasses.fields(self._owner(channel, owner)) if field.name != "name"]
        if name not in fields:
            raise GainError(f"{channel}/{owner} has no setting {name!r}; {suggest(name, fields)}")
        return channel, owner, name

    def _owner(self, channel: str, name: str) -> Stage | Send | FaderGroup:
        group = next((each for each in self.groups if each.name == channel), None)
        if group is None:
            return _owner(self.channel(channel), name)
        if name != GROUP:
            raise GainError(f"group {channel!r} has no {name!r}; write {channel}/{GROUP}/gain_db.")
        return group

    def _example(self) -> str:
        first = self.strips[0]
        return f"{first.name}/{first.stage_names[0]}"


@dataclass(frozen=True)
class Rendering:
    """A session rendered: `at(tap)` is the audio behind a stage, `levels` the level diagram's table.

    A tap is strip and stage, such as `voice/compressor`, `band/sum` or `main/limiter`; with one strip its name may be
    left out. Every method that takes a tap raises GainError, with the nearest that is, for one that is not there.

    Parameters
    ----------
    session : Session
        What was rendered; `Session.render` makes the rendering.
    taps : dict
        What is known at each tap, by strip (or bus) and stage, in the order of the level diagram.

    Examples
    --------
    >>> from gainlib.stages import Trim
    >>> rendering = Session.of(Audio(np.ones(480), 48000), [Trim(-6.0)], name="voice").render()
    >>> round(rendering.level("trim").peak_dbfs, 1), rendering.at("voice/trim").rate_hz
    (-6.0, 48000)
    """

    session: Session
    taps: dict[tuple[str, str], Tap]

    @property
    def levels(self) -> tuple[TapLevels, ...]:
        """The level diagram's table, strip by strip, stage by stage, then the buses and the main."""
        return tuple(tap.levels for tap in self.taps.values())

    def level(self, tap: str) -> TapLevels:
        """The levels behind one stage, such as `voice/preamp`."""
        return self.taps[self.session.tap(tap)].levels

    def at(self, tap: str) -> Audio:
        """The audio behind one stage, 0 dBFS at ±1.0; before the converter that is what would fill it."""
        channel, stage = self.session.tap(tap)
        signal = self.taps[channel, stage].node.signal()
        owner = self.session.channel(channel)
        full_scale = owner.full_scale_after(owner.stage_names.index(stage))
        samples = signal.samples if full_scale == 1.0 else signal.samples / full_scale
        return Audio(samples, signal.rate_hz, f"{channel}/{stage}")

    def once(self, tap: str, read: Callable[[Rendering, str], Read]) -> Read:
        """What a function reads behind one stage; where nothing before it moved since, it is not read again.

        `read` is given this rendering and the tap, and may look at nothing that lies behind it or in another strip.
        """
        known = self.taps[self.session.tap(tap)].read
        if read not in known:
            known[read] = read(self, tap)
        found: Read = known[read]
        return found

    def clipped(self, tap: str) -> ClippedRuns:
        """Where this stage clipped. Raises GainError for a stage that cannot clip."""
        result = self.taps[self.session.tap(tap)].node.result
        if result is None or result.clipped is None:
            raise GainError(f"{tap} cannot clip; ask a stage with a ceiling, such as the converter.")
        return result.clipped

    def reduction_db(self, tap: str) -> NDArray[np.float32]:
        """The gain-reduction trace of a stage, made again when asked for: `(n, 1)` linked, else `(n, channels)`.

        3.0 means turned down by 3 dB at that sample. Raises GainError for a stage that has none.
        """
        trace = self.taps[self.session.tap(tap)].node.recompute().reduction_db
        if trace is None:
            raise GainError(f"{tap} has no gain reduction to trace; ask a compressor or a limiter.")
        return trace

    def reading(self, tap: str, name: str) -> float:
        """One of a stage's own figures, of several channels the highest.

        Parameters
        ----------
        tap : str
            The stage's tap.
        name : str
            One of those that the stage gives:

            ========================  =======================================  ======================================
            name                      given by                                 what it is
            ========================  =======================================  ======================================
            `gain_reduction_db`       Compressor, Limiter, SoftClip, Delivery  the most that it turned down, dB
            `mean_gain_reduction_db`  Compressor, Limiter                      the same on average over all samples
            `distortion_percent`      Saturation                               what no plain gain made, of all, RMS
            `distortion_db`           Saturation                               the same as a level
            `compensation_db`         Saturation                               its gain back to the peak that came in
            `loop_gain_db`            OutboardInsert                           the gain once round, 0 at unity
            `loudness_lufs`           Delivery                                 integrated loudness of the file
            `true_peak_dbtp`          Delivery                                 its highest true peak
            `gain_db`                 Delivery                                 what brought it to its loudness
            ========================  =======================================  ======================================

            A stage of one's own names its readings in `reading_names`.

        Returns
        -------
        float
            The figure, -inf where the signal is silent and there is a level.

        Raises
        ------
        GainError
            For a name that the stage does not give, with those that it does.

        Examples
        --------
        >>> from gainlib.stages import Compressor
        >>> loud = Session.of(Audio(np.ones(48000), 48000), [Compressor(-20.0, 2.0, knee_db=0.0)], name="hum").render()
        >>> round(loud.reading("compressor", "gain_reduction_db"), 1)
        10.0
        """
        readings = self.taps[self.session.tap(tap)].levels.readings
        if name not in readings:
            raise GainError(f"{tap} has no reading {name!r}; it has {', '.join(sorted(readings)) or 'none'}.")
        return readings[name]

    def latency_samples(self, tap: str) -> int:
        """The delay that a live chain would have up to this tap, of several routes the longest; here all is in time."""
        return self.taps[self.session.tap(tap)].node.latency

    @property
    def held_bytes(self) -> int:
        """How much memory the samples take that are held behind its stages; the recordings do not count."""
        return sum(tap.node.buffer.nbytes for tap in self.taps.values())

    def release(self) -> None:
        """Hold no samples until they are asked for: then they are made again, the same, and held again."""
        for tap in self.taps.values():
            tap.node.buffer.release()

    @property
    def last_tap(self) -> str:
        """The path of the last tap: what is delivered."""
        return "/".join(list(self.taps)[-1])


def _owner(channel: Strip | Bus, name: str) -> Stage | Send:
    for each in channel.sends:
        if each.name == name:
            return each
    return channel.stage(name)
