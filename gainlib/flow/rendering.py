"""What rendering a session gives: the signal behind every stage, and the level diagram's table.

Each stage's output is a node that knows what it was made from. The figures of every node are kept: peak, RMS, noise
floor, clipped runs, readings. The samples are kept behind the stages that cost something (converter, compressor,
saturation, limiter, delivery) and behind each sum that is more than a few additions; a trim, a fader or a pan is a
multiplication and is made again from there when its samples are asked for, and so are gain-reduction traces. That
holds the memory of an eight-strip session below four times its recordings, and still a moved control costs only what
lies behind it.
"""

from __future__ import annotations

import dataclasses
import functools
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio, power_from_rms_dbfs, ratio_from_db, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.flow.session import Bus, Session, Strip, Sum
from gainlib.meters import ClippedRuns, noise_in_pauses_dbfs
from gainlib.stages import Fader, Signal, Stage, StageResult

__all__ = ["Rendering", "TapLevels", "let_rest", "rendered"]


@dataclass(frozen=True)
class TapLevels:
    """One column of the level diagram: the levels behind one stage, all against 0 dBFS of the converter after it.

    `peak_dbfs`, `rms_dbfs` (AES17) and `noise_dbfs` are -inf for silence; `ceiling_dbfs` is +inf for a stage that
    cannot clip; `clipped` counts the runs that this stage clipped. Of several channels the highest counts. `strip` is
    the name of the strip, the bus or the main. `readings` are the stage's own figures, such as `gain_reduction_db`.
    """

    strip: str
    stage: str
    kind: str
    peak_dbfs: float
    rms_dbfs: float
    noise_dbfs: float
    ceiling_dbfs: float
    clipped: int
    readings: Mapping[str, float] = field(default_factory=dict, hash=False)

    @property
    def headroom_db(self) -> float:
        """From the peak up to this stage's ceiling; +inf where there is none."""
        return self.ceiling_dbfs - self.peak_dbfs


class _Take:
    """A recording at the head of a strip; its samples are made double, a moment's work, whenever they are asked for."""

    latency = 0

    def __init__(self, strip: Strip) -> None:
        self.recording = strip.take
        self._name = strip.name

    def signal(self) -> Signal:
        samples = self.recording.samples.astype(np.float64, copy=False)
        samples.flags.writeable = False
        return Signal(samples, self.recording.rate_hz, self._noise_power, "digital", self._name)

    @functools.cached_property
    def _noise_power(self) -> float:
        """The mean square of its own noise, read in its pauses; 0 where it never pauses, since nobody can tell."""
        floor = noise_in_pauses_dbfs(self.recording.samples, self.recording.rate_hz)
        return 0.0 if floor is None else power_from_rms_dbfs(floor)


_FEW = 4

Sources = tuple[tuple["_Take | _Node", float], ...]


class _Node:
    """One stage's output: what it was made from, its figures, and its samples where they are kept.

    A sum has any number of sources, each with the gain of its route; any other stage has one.
    """

    def __init__(self, stage: Stage, sources: Sources, name: str) -> None:
        self.stage = stage
        self.name = name
        self.sources = sources
        self.latency = 0
        self.keeps = False
        self.kept: Signal | None = None
        self.passed: StageResult | None = None
        self.peak = self.power = 0.0

    def is_as(self, stage: Stage, sources: Sources) -> bool:
        """Whether it was made by the same stage from the very same sources."""
        return (
            self.stage == stage
            and len(self.sources) == len(sources)
            and all(mine[0] is its[0] and mine[1] == its[1] for mine, its in zip(self.sources, sources, strict=True))
        )

    def make(self, entering: Signal) -> Signal:
        """Through the stage for the first time: note the figures, keep the samples where that is worth it."""
        passed = self.stage.process(entering)
        signal = passed.signal
        pairs = [loops.peak_and_square_sum(signal.samples[:, each]) for each in range(signal.samples.shape[1])]
        self.peak = max(pair[0] for pair in pairs)
        self.power = max(pair[1] for pair in pairs) / len(signal.samples)
        self.latency = max(source.latency for source, _ in self.sources) + self.stage.latency_samples(signal.rate_hz)
        # A sum of signals that are kept themselves is only a few additions.
        dear = not all(isinstance(each, _Node) and each.keeps for each, _ in self.sources) or len(self.sources) > _FEW
        self.keeps = dear if isinstance(self.stage, Sum) else self.stage.cache_output
        self._keep(signal)
        # A copy of nothing: a view would hold on to all the samples.
        bare = dataclasses.replace(signal, samples=np.empty((0, signal.samples.shape[1])))
        self.passed = dataclasses.replace(passed, signal=bare, reduction_db=None)
        return signal

    def _keep(self, signal: Signal) -> None:
        if self.keeps:
            samples: NDArray[Any] = signal.samples.astype(np.float32) if self.stage.fits_float32 else signal.samples
            self.kept = dataclasses.replace(signal, samples=samples)
            _holding.add(self)

    def again(self) -> StageResult:
        """Through the stage once more, for what was not kept."""
        if not isinstance(self.stage, Sum):
            return self.stage.process(self.sources[0][0].signal())
        kept = self.kept
        if kept is not None:
            return StageResult(kept)
        meeting = _Meeting(self.name)
        for source, gain in self.sources:
            meeting.add(source.signal(), gain)
        return StageResult(meeting.signal())

    def signal(self) -> Signal:
        kept = self.kept
        if kept is None:
            signal = self.again().signal
            self._keep(signal)
            return signal
        if not self.stage.fits_float32:
            return kept
        samples = kept.samples.astype(np.float64)
        samples.flags.writeable = False
        return dataclasses.replace(kept, samples=samples)


_holding: weakref.WeakSet[_Node] = weakref.WeakSet()
"""What keeps samples in this process, or did before it came to rest."""


def let_rest(most_seconds: float) -> None:
    """Let every rendering of this process rest as far as it keeps samples of up to so many seconds.

    What is asked for later is made again, the same.

    >>> let_rest(30.0)
    """
    for node in list(_holding):
        kept = node.kept
        if kept is not None and len(kept.samples) <= most_seconds * kept.rate_hz:
            node.kept = None


class _Meeting:
    """The signals of a sum, added up one by one."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._total: NDArray[np.float64] = np.zeros((0, 1))
        self._noise_power = 0.0
        self._rate_hz = 0

    def add(self, signal: Signal, gain: float) -> None:
        count, channels = signal.samples.shape
        if channels > 1 < self._total.shape[1] != channels:
            raise GainError(f"{self._name!r} sums {self._total.shape[1]} and {channels} channels; give both the same.")
        if count > len(self._total) or channels > self._total.shape[1]:
            total = np.zeros((max(count, len(self._total)), max(channels, self._total.shape[1])))
            total[: len(self._total)] += self._total
            self._total = total
        self._total[:count] += signal.samples if gain == 1.0 else signal.samples * gain
        self._noise_power += signal.noise_power * gain * gain
        self._rate_hz = signal.rate_hz

    def signal(self) -> Signal:
        self._total.flags.writeable = False
        return Signal(self._total, self._rate_hz, self._noise_power, "digital", self._name)


@dataclass(frozen=True)
class _Tap:
    node: _Node
    levels: TapLevels


@dataclass(frozen=True)
class Rendering:
    """A session rendered: `at(tap)` is the audio behind a stage, `levels` the level diagram's table.

    A tap is strip and stage, such as `voice/compressor`, `band/sum` or `main/limiter`.

    >>> from gainlib.flow import Session
    >>> from gainlib.stages import Trim
    >>> rendering = Session.of(Audio(np.ones(480), 48000), [Trim(-6.0)], name="voice").render()
    >>> round(rendering.level("trim").peak_dbfs, 1), rendering.at("voice/trim").rate_hz
    (-6.0, 48000)
    """

    session: Session
    taps: dict[tuple[str, str], _Tap]

    @property
    def levels(self) -> tuple[TapLevels, ...]:
        """The level diagram's table, strip by strip, stage by stage, then the buses and the main."""
        return tuple(tap.levels for tap in self.taps.values())

    def level(self, tap: str) -> TapLevels:
        """The levels behind one stage, such as `voice/preamp`."""
        return self.taps[self.session.tap(tap)].levels

    def at(self, tap: str) -> Audio:
        """The audio behind one stage, 0 dBFS at ±1.0; before the converter that is what would fill it."""
        part, stage = self.session.tap(tap)
        signal = self.taps[part, stage].node.signal()
        chain = self.session.part(part)
        full_scale = chain.full_scale_after(chain.stage_names.index(stage))
        samples = signal.samples if full_scale == 1.0 else signal.samples / full_scale
        return Audio(samples, signal.rate_hz, f"{part}/{stage}")

    def clipped(self, tap: str) -> ClippedRuns:
        """Where this stage clipped. Raises GainError for a stage that cannot clip."""
        passed = self.taps[self.session.tap(tap)].node.passed
        if passed is None or passed.clipped is None:
            raise GainError(f"{tap} cannot clip; ask a stage with a ceiling, such as the converter.")
        return passed.clipped

    def reduction_db(self, tap: str) -> NDArray[np.float32]:
        """The gain-reduction trace of a stage, made again when asked for: `(n, 1)` linked, else `(n, channels)`.

        3.0 means turned down by 3 dB at that sample. Raises GainError for a stage that has none.
        """
        trace = self.taps[self.session.tap(tap)].node.again().reduction_db
        if trace is None:
            raise GainError(f"{tap} has no gain reduction to trace; ask a compressor or a limiter.")
        return trace

    def reading(self, tap: str, name: str) -> float:
        """One of a stage's own figures, such as `gain_reduction_db` of a compressor (the largest)."""
        readings = self.taps[self.session.tap(tap)].levels.readings
        if name not in readings:
            raise GainError(f"{tap} has no reading {name!r}; it has {', '.join(sorted(readings)) or 'none'}.")
        return readings[name]

    def latency_samples(self, tap: str) -> int:
        """The delay that a live chain would have up to this tap, of several routes the longest; here all is in time."""
        return self.taps[self.session.tap(tap)].node.latency

    @property
    def kept_bytes(self) -> int:
        """How much memory the samples take that are kept behind its stages; the recordings do not count."""
        return sum(tap.node.kept.samples.nbytes for tap in self.taps.values() if tap.node.kept is not None)

    def rest(self) -> None:
        """Let go of the samples that are kept: what is asked for later is made again, the same, and kept again."""
        for tap in self.taps.values():
            tap.node.kept = None

    @property
    def last_tap(self) -> str:
        """The path of the last tap: what is delivered."""
        return "/".join(list(self.taps)[-1])


Routes = dict[int, list[tuple["_Node", float]]]


def rendered(session: Session, after: Rendering | None) -> Rendering:
    """The session through all its stages, taking over from `after` each stage that did not change."""
    earlier = {key: tap.node for key, tap in after.taps.items()} if after else {}
    nodes, routes = _planned(session, earlier)
    # The sums that are made anew; whoever feeds them is added as soon as it is there, always in the same order.
    sums = ((name, node) for (name, _), node in nodes.items() if isinstance(node.stage, Sum))
    meetings = {id(node): _Meeting(name) for name, node in sums if _fresh(node)}
    taps: dict[tuple[str, str], _Tap] = {}
    for part in session.chains:
        signal: Signal | None = None
        for index, stage in enumerate(part.chain):
            node = nodes[part.name, stage.name]
            if index == 0 and not isinstance(stage, Sum):
                _meet(node.sources[0][0], None, routes, meetings)
            if not _fresh(node):
                signal = None
            elif isinstance(stage, Sum):
                signal = node.make(meetings.pop(id(node)).signal())
            else:
                signal = node.make(node.sources[0][0].signal() if signal is None else signal)
            _meet(node, signal, routes, meetings)
            tap = _Tap(node, _levels(part, index, node))
            same = after.taps.get((part.name, stage.name)) if after else None
            taps[part.name, stage.name] = same if same == tap and same is not None else tap
    return Rendering(session, taps)


def _fresh(node: _Node) -> bool:
    return node.passed is None


def _planned(session: Session, earlier: Mapping[tuple[str, str], _Node]) -> tuple[dict[tuple[str, str], _Node], Routes]:
    """Every stage's node, taken over or new and empty, and for each node the sums that it goes to."""
    nodes: dict[tuple[str, str], _Node] = {}
    fed: dict[str, list[tuple[_Take | _Node, float]]] = {}
    routes: Routes = {}
    for part in session.chains:
        source: _Take | _Node | None = _head(part, earlier) if isinstance(part, Strip) else None
        before_fader = source
        faded = False
        for stage in part.chain:
            sources = tuple(fed.get(part.name, ())) if source is None else ((source, 1.0),)
            node = earlier.get((part.name, stage.name))
            if node is None or not node.is_as(stage, sources):
                node = _Node(stage, sources, part.name)
            if isinstance(stage, Sum):
                for each, gain in sources:
                    routes.setdefault(id(each), []).append((node, gain))
            nodes[part.name, stage.name] = source = node
            faded = faded or isinstance(stage, Fader)
            before_fader = before_fader if faded else node
        if part is not session.main and session.main is not None and source is not None and before_fader is not None:
            fed.setdefault(part.to, []).append((source, 1.0))
            for send in part.sends:
                origin = before_fader if send.pre_fader else source
                fed.setdefault(send.to, []).append((origin, ratio_from_db(send.gain_db)))
    return nodes, routes


def _meet(node: _Take | _Node, signal: Signal | None, routes: Routes, meetings: Mapping[int, _Meeting]) -> None:
    """Add a node's signal to each new sum that it goes to."""
    for target, gain in routes.get(id(node), ()):
        if id(target) in meetings:
            signal = node.signal() if signal is None else signal
            meetings[id(target)].add(signal, gain)


def _head(strip: Strip, earlier: Mapping[tuple[str, str], _Node]) -> _Take:
    first = earlier.get((strip.name, strip.stage_names[0]))
    head = first.sources[0][0] if first and first.sources else None
    if isinstance(head, _Take):
        recording = head.recording
        if recording.samples is strip.take.samples and recording.rate_hz == strip.take.rate_hz:
            return head
    return _Take(strip)


def _levels(part: Strip | Bus, index: int, node: _Node) -> TapLevels:
    stage, passed = part.chain[index], node.passed
    assert passed is not None
    full_scale = part.full_scale_after(index)
    return TapLevels(
        strip=part.name,
        stage=stage.name,
        kind=stage.kind,
        peak_dbfs=db_from_ratio(node.peak / full_scale),
        rms_dbfs=rms_dbfs_from_power(node.power / full_scale**2),
        noise_dbfs=rms_dbfs_from_power(passed.signal.noise_power / full_scale**2),
        ceiling_dbfs=float(np.inf if np.isinf(stage.ceiling) else db_from_ratio(stage.ceiling / full_scale)),
        clipped=len(passed.clipped) if passed.clipped else 0,
        readings=passed.readings,
    )
