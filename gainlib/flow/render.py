"""Rendering: each stage's output made from what it depends on, and taken over where nothing of that has changed.

Each stage's output is a node that knows what it was made from. The figures of every node are kept: peak, RMS, noise
floor, clipped runs, readings. Which samples are held, and until when, is in `gainlib.flow.buffers`.
"""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_ratio, power_from_rms_dbfs, ratio_from_db, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.flow.buffers import FEW_SIGNALS, Buffer
from gainlib.flow.channels import Bus, Strip, Sum
from gainlib.meters.take_noise import take_noise_dbfs
from gainlib.stages import Fader, Signal, Stage, StageResult

__all__ = ["Node", "Tap", "TapLevels", "plan_nodes", "render_taps"]


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
        self.strip = strip.name

    @functools.cached_property
    def _samples(self) -> Samples:
        """Held as long as this rendering is: a long take would be read from its file again for each move."""
        return self.recording.samples

    def signal(self) -> Signal:
        samples = self._samples.astype(np.float64, copy=False)
        samples.flags.writeable = False
        return Signal(samples, self.recording.rate_hz, self._noise_power, "digital", self.strip)

    @functools.cached_property
    def _noise_power(self) -> float:
        """The mean square of its own noise; 0 where nobody can tell it."""
        floor = take_noise_dbfs(self.recording)
        return 0.0 if floor is None else power_from_rms_dbfs(floor)


Sources = tuple[tuple["_Take | Node", float], ...]


class Node:
    """One stage's output: what it was made from, its figures, and its samples where they are held.

    A sum has any number of sources, each with the gain of its route; any other stage has one.
    """

    def __init__(self, stage: Stage, sources: Sources, name: str) -> None:
        self.stage = stage
        self.name = name
        self.sources = sources
        self.latency = 0
        # A sum of signals that are held themselves is only a few additions.
        few = len(sources) <= FEW_SIGNALS and all(isinstance(each, Node) and each.holds for each, _ in sources)
        self.holds: bool = not few if isinstance(stage, Sum) else stage.cache_output
        self.buffer = Buffer(stage.fits_float32)
        self.result: StageResult | None = None
        self.peak = self.power = 0.0

    def same_as(self, stage: Stage, sources: Sources) -> bool:
        """Whether it was made by the same stage from the very same sources."""
        return (
            self.stage == stage
            and len(self.sources) == len(sources)
            and all(mine[0] is its[0] and mine[1] == its[1] for mine, its in zip(self.sources, sources, strict=True))
        )

    def compute(self, entering: Signal) -> Signal:
        """Through the stage for the first time: note the figures, hold the samples where that is worth it."""
        result = self.stage.process(entering)
        signal = result.signal
        pairs = [loops.peak_and_square_sum(signal.samples[:, each]) for each in range(signal.samples.shape[1])]
        self.peak = max(pair[0] for pair in pairs)
        self.power = max(pair[1] for pair in pairs) / len(signal.samples)
        self.latency = max(source.latency for source, _ in self.sources) + self.stage.latency_samples(signal.rate_hz)
        if self.holds:
            self.buffer.hold(signal)
        # A copy of nothing: a view would hold on to all the samples.
        bare = dataclasses.replace(signal, samples=np.empty((0, signal.samples.shape[1])))
        self.result = dataclasses.replace(result, signal=bare, reduction_db=None)
        return signal

    def recompute(self) -> StageResult:
        """Through the stage once more, for what was not held."""
        if not isinstance(self.stage, Sum):
            return self.stage.process(self.sources[0][0].signal())
        held = self.buffer.signal
        if held is not None:
            return StageResult(held)
        mixer = _Mixer(self.name)
        for source, gain in self.sources:
            mixer.add(source.signal(), gain)
        return StageResult(mixer.signal())

    def signal(self) -> Signal:
        """Its samples, made again and held again where they are not held."""
        held = self.buffer.signal
        if held is not None:
            return held
        signal = self.recompute().signal
        if self.holds:
            self.buffer.hold(signal)
        return signal


class _Mixer:
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
class Tap:
    """Where a signal is measured: the node that makes it, its levels, and what else was read there."""

    node: Node
    levels: TapLevels
    read: dict[object, Any] = field(default_factory=dict, compare=False, repr=False)


Routes = dict[int, list[tuple[Node, float]]]


def render_taps(
    channels: Sequence[Strip | Bus],
    after: Mapping[tuple[str, str], Tap],
    progress: Callable[[float], object] | None = None,
) -> dict[tuple[str, str], Tap]:
    """The channels through all their stages, each tap by channel and stage; what did not change is taken over.

    `channels` come in an order in which each is behind all that feed it.
    """
    nodes, routes = plan_nodes({key: tap.node for key, tap in after.items()}, channels)
    # The sums that are made anew; whoever feeds them is added as soon as it is there, always in the same order.
    sums = ((name, node) for (name, _), node in nodes.items() if isinstance(node.stage, Sum))
    mixers = {id(node): _Mixer(name) for name, node in sums if _fresh(node)}
    taps: dict[tuple[str, str], Tap] = {}
    for channel in channels:
        signal: Signal | None = None
        for index, stage in enumerate(channel.tapped_stages):
            node = nodes[channel.name, stage.name]
            if index == 0 and not isinstance(stage, Sum):
                _add_to_sums(node.sources[0][0], None, routes, mixers)
            if not _fresh(node):
                signal = None
            elif isinstance(stage, Sum):
                signal = node.compute(mixers.pop(id(node)).signal())
            else:
                signal = node.compute(node.sources[0][0].signal() if signal is None else signal)
            _add_to_sums(node, signal, routes, mixers)
            tap = Tap(node, _levels(channel, index, node))
            same = after.get((channel.name, stage.name))
            taps[channel.name, stage.name] = same if same == tap and same is not None else tap
            if progress is not None:
                progress(len(taps) / len(nodes))
    return taps


def _fresh(node: Node) -> bool:
    return node.result is None


def plan_nodes(
    earlier: Mapping[tuple[str, str], Node], channels: Sequence[Strip | Bus]
) -> tuple[dict[tuple[str, str], Node], Routes]:
    """Every stage's node, taken over or new and empty, and for each node the sums that it goes to."""
    nodes: dict[tuple[str, str], Node] = {}
    fed: dict[str, list[tuple[_Take | Node, float]]] = {}
    routes: Routes = {}
    for channel in channels:
        source: _Take | Node | None = _head(channel, earlier) if isinstance(channel, Strip) else None
        before_fader = source
        faded = False
        for stage in channel.tapped_stages:
            sources = tuple(fed.get(channel.name, ())) if source is None else ((source, 1.0),)
            node = earlier.get((channel.name, stage.name))
            if node is None or not node.same_as(stage, sources):
                node = Node(stage, sources, channel.name)
            if isinstance(stage, Sum):
                for each, gain in sources:
                    routes.setdefault(id(each), []).append((node, gain))
            nodes[channel.name, stage.name] = source = node
            faded = faded or isinstance(stage, Fader)
            before_fader = before_fader if faded else node
        assert source is not None
        assert before_fader is not None
        fed.setdefault(channel.to, []).append((source, 1.0))
        for send in channel.sends:
            origin = before_fader if send.pre_fader else source
            fed.setdefault(send.to, []).append((origin, ratio_from_db(send.gain_db)))
    return nodes, routes


def _add_to_sums(node: _Take | Node, signal: Signal | None, routes: Routes, mixers: Mapping[int, _Mixer]) -> None:
    """Add a node's signal to each new sum that it goes to."""
    for target, gain in routes.get(id(node), ()):
        if id(target) in mixers:
            signal = node.signal() if signal is None else signal
            mixers[id(target)].add(signal, gain)


def _head(strip: Strip, earlier: Mapping[tuple[str, str], Node]) -> _Take:
    first = earlier.get((strip.name, strip.stage_names[0]))
    head = first.sources[0][0] if first and first.sources else None
    if isinstance(head, _Take):
        recording, take = head.recording, strip.take
        held = not recording.on_disk and not take.on_disk
        if recording is take or (held and recording.samples is take.samples and recording.rate_hz == take.rate_hz):
            return head
    return _Take(strip)


def _levels(channel: Strip | Bus, index: int, node: Node) -> TapLevels:
    stage, result = channel.tapped_stages[index], node.result
    assert result is not None
    full_scale = channel.full_scale_after(index)
    return TapLevels(
        strip=channel.name,
        stage=stage.name,
        kind=stage.kind,
        peak_dbfs=db_from_ratio(node.peak / full_scale),
        rms_dbfs=rms_dbfs_from_power(node.power / full_scale**2),
        noise_dbfs=rms_dbfs_from_power(result.signal.noise_power / full_scale**2),
        ceiling_dbfs=float(np.inf if np.isinf(stage.ceiling) else db_from_ratio(stage.ceiling / full_scale)),
        clipped=len(result.clipped) if result.clipped else 0,
        readings=result.readings,
    )
