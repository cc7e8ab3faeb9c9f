"""`gl.record`: a take from the learner's own microphone, as it arrived, kept as a file and ready for a bench."""

from __future__ import annotations

import math
from html import escape
from typing import Any

import numpy as np
import traitlets

from gainlib.audio import Audio
from gainlib.errors import GainError
from gainlib.learners.takes import keep_take, kept_takes, takes_folder
from gainlib.meters import measures, rms_dbfs
from gainlib.meters.take_noise import ROOM_SECONDS
from gainlib.sound_file import read
from gainlib.text import counted, dbfs, path_text
from gainlib.widgets.as_left import as_left
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget
from gainlib.widgets.cell_display import replace_in_cell

__all__ = ["LONGEST_SECONDS", "Recorder", "record"]

LONGEST_SECONDS = 600.0
"""The longest take that a page can be asked to hold: ten minutes of stereo at 48 kHz are 230 MB."""

PROMPTS = [
    [0.0, "Quiet, please: the room’s own noise."],
    [ROOM_SECONDS, "Now play or sing. Press Stop when you are done."],
]

CLIPPED = 32767 / 32768
"""From the highest code of a 16-bit converter on a sample counts as clipped: a browser may hand on no other."""

_WISHED_HZ = 48000
_ONE_SIDED_DB = 30.0
_MOST_LISTED = 30
_NOT_A_TAKE = "what the page sent is no take; reload the page, run the cell and record again."
_PROCESSING = {
    "echoCancellation": "echo cancellation",
    "noiseSuppression": "noise suppression",
    "autoGainControl": "automatic gain",
}


class Recorder(CourseWidget):
    """Records from the microphone of the computer whose page this is; made by `gainlib.record()`.

    `take` is what was recorded or chosen last, None before. The page hands a take over in pieces, one at a time, so it
    waits for a busy kernel and loses nothing; it is then a file of `takes`, and none is ever written over. Where it
    cannot be written, `take` is there all the same, and it can be kept again when there is room.
    `prompts` are what the page asks for, each from so many seconds on, `about` what the recorder belongs to. With
    `below` the cells below it are of the take, and are run when one has arrived; `arrived` counts what was taken up.
    `chosen` is its file's name; a learner's folder remembers it. `said` is the last that was said.
    """

    _esm = script("recorder.js")
    _css = STYLES

    longest = traitlets.Float(60.0).tag(sync=True)
    room = traitlets.Float(ROOM_SECONDS).tag(sync=True)
    prompts = traitlets.List(PROMPTS).tag(sync=True)
    below = traitlets.Bool(True).tag(sync=True)
    takes = traitlets.List(traitlets.Unicode()).tag(sync=True)
    chosen = traitlets.Unicode("").tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)
    unkept = traitlets.Bool(False).tag(sync=True)
    sends = traitlets.Bool(False).tag(sync=True)
    arrived = traitlets.Int(0)

    def __init__(self, about: str = "", **given: Any) -> None:
        super().__init__(**given)
        self.take: Audio | None = None
        self._folder = takes_folder()
        self._pieces: list[bytes] = []
        self._place = as_left("recorder", about)
        self._list()
        left = self._place.found.get("take") if self._place else None
        if left in self.takes:
            self.choose(left)
        self.on_msg(self._asked)

    def choose(self, name: str) -> Recorder:
        """Take up an earlier take by its file's name, or with "" none: `take` is then None."""
        try:
            self.take = read(self._folder / name) if name else None
            self.chosen, self.unkept = name, False
            self.said = f"{name}: {_told(self.take)}" if self.take else ""
            self.arrived += 1
        except GainError as fault:
            self.said = str(fault)
        if self._place is not None:
            self._place.keep({"take": self.chosen} if self.chosen else {})
        return self

    def keep(self) -> Recorder:
        """Write the take to `takes`; what is said about it is in `said`."""
        if self.take is None:
            self.said = "there is no take yet; press Record first."
            return self
        try:
            path = keep_take(self.take, self._folder)
            self.take = read(path)  # a long one is not held twice
        except GainError as fault:
            self.unkept = True
            self.said = (
                f"{fault} The take is on the bench until the kernel ends: make room, then press Keep it, "
                "or save it as a file elsewhere."
            )
            return self
        self._list()
        self.chosen, self.unkept = path.name, False
        self.said = f"Kept as {path.name} in {path_text(path.parent.name)}: {_told(self.take)}"
        if self._place is not None:
            self._place.keep({"take": self.chosen})
        return self

    def static_html(self) -> str:
        """What was said last: a page without a kernel records nothing."""
        return f"<p>{escape(self.said)}</p>" if self.said else ""

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        replace_in_cell(self, None)
        return super()._repr_mimebundle_(**kwargs)

    def _list(self) -> None:
        self.takes = [each.name for each in kept_takes(self._folder)[:_MOST_LISTED]]

    def _asked(self, _widget: object, content: dict[str, Any], buffers: list[Any]) -> None:
        kind = content.get("kind")
        if kind == "piece" and buffers:
            if content.get("index") == 0:
                self._pieces.clear()
            if content.get("index") == len(self._pieces):
                self._pieces.append(bytes(buffers[0]))
            if len(self._pieces) == content.get("of"):
                self._whole(content)
            self.send({"kind": "have", "pieces": len(self._pieces)})
            if len(self._pieces) == content.get("of"):
                self._pieces.clear()
        elif kind == "choose" and (content.get("name") == "" or content.get("name") in self.takes):
            self.choose(content["name"])
            self.send({"kind": "chosen"})
        elif kind == "keep":
            self.keep()

    def _whole(self, told: dict[str, Any]) -> None:
        try:
            self.take = _take_of(self._pieces, told)
        except (GainError, ValueError, TypeError, ZeroDivisionError):
            self.said = f"Not taken: {_NOT_A_TAKE}"
            return
        with self.hold_sync():
            self.keep()
            self._take_up(told)
        self.arrived += 1

    def _take_up(self, told: dict[str, Any]) -> None:
        """Say what a learner should know of the take that has arrived."""
        if self.take is not None:
            remarks = _remarks(self.take, told, self.room)
            self.said = " ".join([each for each in (str(told.get("why", "")), self.said, *remarks) if each])

    def __repr__(self) -> str:
        return f"<recorder: {self.said or 'no take yet'}>"


def _take_of(pieces: list[bytes], told: dict[str, Any]) -> Audio:
    """The take that the page sent: its floats, interleaved; channels that are the same are one."""
    array = np.concatenate([np.frombuffer(each, dtype="<f4") for each in pieces]).reshape(-1, told["channels"])
    # One channel is only a wish to a browser: a mono microphone may come as two that are the same.
    if array.shape[1] > 1 and all(
        np.array_equal(array[:, :1], array[:, each : each + 1]) for each in range(1, array.shape[1])
    ):
        array = array[:, :1].copy()
    return Audio(array.astype(np.float32, copy=False), told["rate_hz"], "take")


def _highest(take: Audio) -> float:
    peak = measures()["peak_dbfs"]
    return peak.of_all(peak.read(take))


def _told(take: Audio) -> str:
    """The take in one sentence."""
    peak = _highest(take)
    clipped = sum(int(np.count_nonzero(np.abs(block).max(axis=1) >= CLIPPED)) for block in take.blocks())
    said = f"{take.seconds:.1f} s at {take.rate_hz / 1000:g} kHz, highest peak {dbfs(peak)}, "
    return said + (f"{counted(clipped, 'sample')} clipped." if clipped else "no sample clipped.")


def _remarks(take: Audio, told: dict[str, Any], room_seconds: float) -> list[str]:
    """What a learner should know of how the take came to be."""
    said, settings = [], told.get("settings") or {}
    if _highest(take) == -math.inf:
        said.append("Nothing but silence arrived: another input may be chosen, or the microphone is switched off.")
    elif take.seconds > room_seconds > 0.0:
        floor = float(np.max(rms_dbfs(take.between(0.0, room_seconds).samples)))
        said.append(
            f"The room, in the first {room_seconds:g} s: {dbfs(floor)} RMS (AES17)."
            if math.isfinite(floor)
            else "The room's noise is digital silence: something between microphone and page cuts it off."
        )
    levels = measures()["rms_dbfs"].read(take)
    if len(levels) == 2 and abs(levels[0] - levels[1]) > _ONE_SIDED_DB:
        louder = 1 + int(levels[1] > levels[0])
        said.append(f"Channel {louder} alone carries it: keep that one, or it is heard on one side.")
    on = [words for name, words in _PROCESSING.items() if settings.get(name) is True]
    untold = [words for name, words in _PROCESSING.items() if name not in settings]
    if on:
        said.append(f"The browser works on the sound ({', '.join(on)}): its levels are not your interface's.")
    elif untold:
        said.append(f"This browser does not say whether it works on the sound ({', '.join(untold)}).")
    if int(told.get("lost") or 0):
        said.append(f"{counted(int(told['lost']), 'sample')} went missing, since the computer was busy: record again.")
    if take.rate_hz != _WISHED_HZ:
        said.append(f"The device gives {take.rate_hz / 1000:g} kHz, and the take was left at that.")
    return said


def record(longest_seconds: float = 60.0) -> Recorder:
    """Record your own take from the microphone of your computer or interface; as a cell's last line it shows itself.

    The browser is asked to leave the sound as it is; where it does not say that it does, you are told. A take begins
    with 3 s of the room's noise. It is kept as a float WAV in `takes` of your course folder, each sample as it arrived,
    beside all earlier ones. Nothing is sent anywhere.

    Parameters
    ----------
    longest_seconds : float
        How long a take may become: above 3 s, at most 600 s.

    Returns
    -------
    Recorder
        `take` is what was recorded or chosen last and None before: `recorder.take or gl.read(...)` is one of the two.

    Raises
    ------
    GainError
        For a length beyond those bounds.

    Examples
    --------
    >>> record().take is None
    True
    """
    if not ROOM_SECONDS < longest_seconds <= LONGEST_SECONDS:
        raise GainError(
            f"longest_seconds is {longest_seconds:g}; a take has {ROOM_SECONDS:g} s of the room first "
            f"and lasts at most {LONGEST_SECONDS:g} s."
        )
    return Recorder(longest=float(longest_seconds))
