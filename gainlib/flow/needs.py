"""What rendering a session takes of memory, told before anything is read: the bound of all that is rendered."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass

from gainlib.audio import require_memory
from gainlib.flow.channels import Bus, Strip, Sum
from gainlib.flow.render import Node, plan_nodes

__all__ = ["Extent", "extents_of", "needed_bytes", "require_room"]

RUN_BYTES = 6
"""For each sample of a stage that can clip: the places where it clips, at worst one in four, three numbers each."""


@dataclass(frozen=True)
class Extent:
    """How much of a take there is, as its header tells; takes of one `source` are held once.

    `frames` are samples a channel, `nbytes` what all of them take when read, `on_disk` the size of its file.
    """

    frames: int
    channels: int
    nbytes: int
    source: Hashable
    on_disk: float = 0.0


def extents_of(strips: Sequence[Strip]) -> dict[str, Extent]:
    """The extents of takes by strip; those that are held may be large, since somebody has read them."""
    takes = {strip.name: strip.take for strip in strips}
    return {
        name: Extent(
            take.frames,
            take.channels,
            take.nbytes,
            take.path if take.on_disk else id(take.samples),
            take.bytes_on_disk,
        )
        for name, take in takes.items()
    }


def needed_bytes(
    channels: Sequence[Strip | Bus], extents: Mapping[str, Extent], *, renderings: int = 1, copies: float = 0.0
) -> float:
    """What takes of these extents, so many renderings of the channels, and the work on them need at the most.

    The takes of the strips themselves are not looked at. `copies` is what the measures need that read it, as they say.
    As `gainlib.flow.buffers` has it: what stages hold counts for each rendering, sums and what passes count once.
    """
    sizes: dict[int, tuple[int, int]] = {}
    held = summed = passing = 0.0
    for node in plan_nodes({}, channels)[0].values():
        sources = [
            sizes[id(source)]
            if isinstance(source, Node)
            else (extents[source.strip].frames, extents[source.strip].channels)
            for source, _ in node.sources
        ]
        frames, count = max(each[0] for each in sources), node.stage.channels_behind(max(each[1] for each in sources))
        sizes[id(node)] = frames, count
        samples = frames * count
        if node.holds:
            held += samples * (4 if node.stage.fits_float32 else 8)
        elif isinstance(node.stage, Sum):
            summed += samples * 8
        if math.isfinite(node.stage.ceiling):
            held += samples * RUN_BYTES
        passing = max(passing, 8 * samples * (1 + node.stage.copies), 8 * frames * (2 * count + copies))
    takes = {each.source: each.nbytes for each in extents.values()}
    return sum(takes.values()) + renderings * held + summed + passing


def require_room(
    channels: Sequence[Strip | Bus],
    extents: Mapping[str, Extent],
    what: str,
    then: str,
    *,
    renderings: int = 1,
    copies: float = 0.0,
) -> None:
    """Refuse what would need too much memory to render; GainError says how much, and `then` what to do."""
    files = {each.source: each.on_disk for each in extents.values()}
    needed = needed_bytes(channels, extents, renderings=renderings, copies=copies)
    require_memory(needed, what, then, on_disk=sum(files.values()))
