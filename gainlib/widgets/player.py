"""The player's half in the kernel: which samples go to the page, when, and how before and after are matched."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from html import escape
from typing import Any

import numpy as np
import traitlets
from numpy.typing import NDArray

from gainlib.flow import Rendering
from gainlib.widgets.assets import script
from gainlib.widgets.base import CourseWidget
from gainlib.widgets.listening import (
    CAUTION,
    CEILING_DBFS,
    LONGEST_SECONDS,
    HeardLevel,
    folded,
    folded_words,
    guarded,
    level_heard,
    listening_codes,
    matched_db,
    matched_words,
)

__all__ = ["Player"]

_PART_SECONDS, _BEFORE_SECONDS = 1.5, 0.15
"""What is sent first of a new version, and how much of it lies before the place where the page should be by now."""


class Player(CourseWidget):
    """Loops what is heard, before or after the moves, at one level; samples are sent while it sounds, and on demand.

    The page gets 16-bit codes whose largest is the listening ceiling, at most `LONGEST_SECONDS` at a time. While it
    plays, the newest version is sent when the one before has arrived, so a fast drag never queues: the part around the
    place that is heard at once, and all of it when nothing newer came meanwhile. The loudness of both is measured when
    all is sent, and when the page says that a move has ended; until then the page goes by the part that it was sent.
    `caution` and `remark` stand below; a page shows each on its first player that has one.
    With `afresh` another tap is another recording, which is heard from its beginning; none can then be chosen.
    With `mono`, what is heard is folded down to one channel; the session, its pictures and readings stay as they are.
    """

    _esm = script("player.js")

    uid = traitlets.Unicode().tag(sync=True)
    slots = traitlets.List(traitlets.Unicode(), ["after", "before"]).tag(sync=True)
    taps = traitlets.List(traitlets.Unicode()).tag(sync=True)
    tap = traitlets.Unicode("").tag(sync=True)
    ceiling = traitlets.Float(10.0 ** (CEILING_DBFS / 20.0)).tag(sync=True)
    caution = traitlets.Unicode(CAUTION).tag(sync=True)
    remark = traitlets.Unicode("").tag(sync=True)
    gains = traitlets.Dict({"before": 0.0, "after": 0.0}).tag(sync=True)
    matching = traitlets.Bool(True).tag(sync=True)
    opens_matched = traitlets.Bool(True).tag(sync=True)
    stereo = traitlets.Bool(False).tag(sync=True)
    mono = traitlets.Bool(False).tag(sync=True)
    fold = traitlets.Unicode("").tag(sync=True)
    matched = traitlets.Unicode("").tag(sync=True)
    moves = traitlets.Int(0).tag(sync=True)
    rate_hz = traitlets.Int().tag(sync=True)
    seconds = traitlets.Float(0.0).tag(sync=True)
    start = traitlets.Float(0.0).tag(sync=True)
    longest = traitlets.Float(LONGEST_SECONDS).tag(sync=True)
    afresh = traitlets.Bool(False).tag(sync=True)

    def __init__(self, uid: str, hear: Callable[[str], object], **given: Any) -> None:
        super().__init__(uid=uid, **given)
        self._hear = hear
        self._renderings: dict[str, Rendering] = {}
        self._versions: dict[str, tuple[int, tuple[object, float, bool]]] = {}
        self._sent: dict[str, int] = {}
        self._matched_for: tuple[int, ...] | None = None
        self._gains_db: dict[str, float] = dict.fromkeys(self.slots, 0.0)
        self._levels: dict[str, tuple[int, HeardLevel]] = {}
        self._by = ""
        self._sounding = self._under_way = False
        self._page_holds: tuple[object, ...] = ()
        self._begun = 0
        self._place: tuple[float, float] | None = None
        self.on_msg(self._asked)
        self.observe(lambda _: self._count(), "mono")

    def hold(self, before: Rendering, after: Rendering, tap: str, taps: Sequence[str]) -> None:
        """Take the renderings before and after the moves, the tap that is heard and those that could be."""
        self._hold({"before": before, "after": after}, tap, taps)

    def _hold(self, renderings: dict[str, Rendering], tap: str, taps: Sequence[str]) -> None:
        self._renderings = renderings
        if tap != self.tap:
            heard = next(reversed(renderings.values())).at(tap)
            with self.hold_sync():
                self.tap, self.rate_hz, self.seconds = tap, heard.rate_hz, heard.seconds
                self.stereo = heard.channels >= 2
                self.start = min(self.start, max(0.0, heard.seconds - LONGEST_SECONDS))
        if list(taps) != self.taps:
            self.taps = list(taps)
        self._count()

    def _count(self) -> None:
        """Number the versions anew where what is heard is another one."""
        for slot, rendering in self._renderings.items():
            number, held = self._versions.get(slot, (0, (None, 0.0, False)))
            # A rendering takes over each tap that did not change, so the same object is the same sound.
            now = (rendering.taps[rendering.session.tap(self.tap)], self.start, self.mono)
            if held[0] is not now[0] or held[1:] != now[1:]:
                self._versions[slot] = number + 1, now
        if self._matched_for != self._numbers:
            self.moves += 1
        if not self._under_way:
            self._catch_up()

    def _catch_up(self) -> None:
        """While it sounds, send what has moved since it was sent; only "after" moves."""
        if not self._sounding or "after" not in self._versions:
            return
        number, _ = self._versions["after"]
        if self._sent.get("after") == number:
            return
        if self._begun != number and self._place is not None:
            self._begin(number, *self._place)
        else:
            self._hand_over("after")

    def _begin(self, number: int, place: float, at: float) -> None:
        """Send of a new version what is about to be heard, if the page holds an earlier one that it can be put into."""
        whole = self._whole("after")
        if self._page_holds != self._shape(whole):
            self._hand_over("after")
            return
        first = round((place + time.monotonic() - at - _BEFORE_SECONDS) * self.rate_hz)
        length = min(round(_PART_SECONDS * self.rate_hz), len(whole))
        self._begun, self._under_way = number, True
        part = whole[np.arange(first, first + length) % len(whole)]
        self._send_codes("after", number, guarded(part), whole=len(whole), first=first % len(whole))

    @property
    def _numbers(self) -> tuple[int, ...]:
        return tuple(number for number, _ in self._versions.values())

    def heard(self, slot: str) -> NDArray[np.floating[Any]]:
        """The samples of a version as they are sent: the part that is played, held at full scale, finite."""
        return guarded(self._whole(slot))

    def _whole(self, slot: str) -> NDArray[np.floating[Any]]:
        part = self._stereo(slot)
        return folded(part) if self.mono else part

    def _stereo(self, slot: str) -> NDArray[np.floating[Any]]:
        samples = self._renderings[slot].at(self.tap).samples
        first = round(self.start * self.rate_hz)
        return samples[first : first + round(LONGEST_SECONDS * self.rate_hz)]

    def _shape(self, samples: NDArray[np.floating[Any]]) -> tuple[object, ...]:
        return self.tap, self.start, self.rate_hz, samples.shape

    def static_html(self) -> str:
        """The remark alone: a page without a kernel has no samples to play."""
        return f'<p class="gainlib-remark">{escape(self.remark)}</p>' if self.remark else ""

    def match(self) -> None:
        """Bring before and after to one level, and say by how much; measured where something changed."""
        gains = self._measured()
        with self.hold_sync():
            self.gains = gains
            self.matched = self._words(gains)
            self.fold = folded_words(self._stereo(next(reversed(self._renderings)))) if self.mono else ""

    def _words(self, gains_db: dict[str, float]) -> str:
        return matched_words(*gains_db.values(), by=self._by) if self._by else "before and after are the same sound"

    def _measured(self, given: str = "", heard: NDArray[np.floating[Any]] | None = None) -> dict[str, float]:
        if self.matching and self._matched_for != self._numbers:
            if len({id(tap) for _, (tap, *_) in self._versions.values()}) > 1:
                levels = [self._level(slot, heard if slot == given else None) for slot in self._renderings]
                self._gains_db = dict(zip(self._renderings, matched_db(*(each.level for each in levels)), strict=True))
                self._by = levels[0].by
            else:  # nothing that is heard has moved: there is nothing to measure
                self._gains_db, self._by = dict.fromkeys(self._renderings, 0.0), ""
            self._matched_for = self._numbers
        return dict(self._gains_db)

    def _level(self, slot: str, heard: NDArray[np.floating[Any]] | None) -> HeardLevel:
        """How loud a version is; each is measured once, since of before and after only one moves."""
        number, _ = self._versions[slot]
        if slot not in self._levels or self._levels[slot][0] != number:
            self._levels[slot] = number, level_heard(self.heard(slot) if heard is None else heard, self.rate_hz)
        return self._levels[slot][1]

    def _hand_over(self, slot: str) -> None:
        number, _ = self._versions[slot]
        if self._sent.get(slot) == number:
            self.send({"kind": "have", "slot": slot})
            return
        heard = self.heard(slot)
        self._under_way = True
        self._sent[slot] = number
        if slot == "after":
            self._begun, self._page_holds = number, self._shape(heard)
        self._send_codes(slot, number, heard, whole=len(heard), first=0, gains=self._measured(slot, heard))
        # The gains travel with the samples that they are meant for, so that no moment sounds unmatched; now the words.
        self.match()

    def _send_codes(self, slot: str, number: int, heard: NDArray[np.floating[Any]], **told: Any) -> None:
        codes = listening_codes(heard)
        self.send(
            {
                "kind": "samples", "slot": slot, "version": number, "channels": codes.shape[0],
                "length": codes.shape[1], "rate_hz": self.rate_hz, "start": self.start, "tap": self.tap, **told,
            },
            [codes.tobytes()],
        )  # fmt: skip

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        kind = content.get("kind")
        if kind in ("sounding", "arrived"):
            place = content.get("at")
            self._place = None
            if isinstance(place, int | float) and math.isfinite(place):
                self._place = float(place), time.monotonic()
        if kind == "hello":  # a page opened or was loaded again: it holds nothing
            self._sent, self._sounding, self._under_way, self._page_holds = {}, False, False, ()
        elif kind == "sounding":
            self._sounding = bool(content.get("now"))
            self._under_way = self._under_way and self._sounding
        elif kind == "want" and content.get("slot") in self._versions:
            self._hand_over(content["slot"])
        elif kind == "arrived":
            self._under_way = False
            self._catch_up()
        elif kind == "ended":
            self.match()
        elif kind == "tap" and content.get("tap") in self.taps:
            self._hear(content["tap"])
        elif kind == "from":
            self._part(content.get("seconds"))

    def _part(self, seconds: object) -> None:
        """Send another part of a long recording, beginning a little before the place that was asked for."""
        if isinstance(seconds, int | float) and 0.0 <= seconds <= self.seconds:
            self.start = round(min(max(0.0, seconds - 1.0), max(0.0, self.seconds - LONGEST_SECONDS)), 3)
            self._count()
