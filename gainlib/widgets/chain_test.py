"""`gl.measure_chain`: a signal goes out of the computer, through cable and device, and is recorded as it comes back."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.meters import RoundTrip, SentSignal, read_round_trip
from gainlib.meters.round_trip import LOST_SAMPLES
from gainlib.widgets.listening import CEILING_DBFS
from gainlib.widgets.recorder import Recorder

__all__ = ["ChainTest", "measure_chain"]

_FIRST_DBFS, _USUAL_DBFS = -40.0, -20.0
_LEVELS = {
    "−40 dBFS, to begin with": (_FIRST_DBFS, _FIRST_DBFS),
    "−20 dBFS": (_USUAL_DBFS, _USUAL_DBFS),
    f"−30 dBFS and up to −{-CEILING_DBFS:.0f} dBFS, where it clips": (-30.0, CEILING_DBFS),
}
"""What may be sent: nothing above the listening ceiling, since nobody can tell a line output from headphones."""

_CAUTION = (
    "Take headphones off and unplug them, and turn loudspeakers down. Lead a cable from a line output to a line input; "
    "phantom power (48 V) and mains stay off it. Direct monitoring off, or it feeds back."
)


class ChainTest(Recorder):
    """Sends a known signal and records what comes back; `reading` says what the chain did, None before.

    Made by `gainlib.measure_chain()`. `level` is which of `levels` is sent; the page sends nothing before the learner
    has said that nobody listens.
    """

    sends = traitlets.Bool(True).tag(sync=True)
    levels = traitlets.List(traitlets.Unicode(), list(_LEVELS)).tag(sync=True)
    caution = traitlets.Unicode(_CAUTION).tag(sync=True)
    ceiling = traitlets.Float(10.0 ** (CEILING_DBFS / 20.0)).tag(sync=True)

    def __init__(self) -> None:
        super().__init__(
            "chain", below=False, longest=60.0, room=0.0, prompts=[[0.0, "The signal goes out and comes back."]]
        )
        self.reading: RoundTrip | None = None
        self._sent: SentSignal | None = None

    def static_html(self) -> str:
        """What was measured last: a page without a kernel sends nothing."""
        return "".join(f"<p>{escape(each)}</p>" for each in self.reading.sentences) if self.reading else ""

    def keep(self) -> ChainTest:
        """Nothing: what came back is no take, and its figures are what counts."""
        return self

    def _list(self) -> None:
        """No take is offered here."""

    def _take_up(self, told: dict[str, Any]) -> None:
        """Read the chain from what came back."""
        self.reading = None
        if self.take is None or self._sent is None:
            return
        try:
            if told.get("began") is None:
                raise GainError("it was stopped before anything was sent; measure again.")
            if told.get("lost"):
                raise GainError(LOST_SAMPLES)
            self.reading = read_round_trip(self._sent, self.take, began=int(told["began"]))
            self.said = "\n".join(self.reading.sentences)
        except (GainError, ValueError, TypeError) as fault:
            self.said = f"Not measured: {fault}"

    def _asked(self, widget: object, content: dict[str, Any], buffers: list[Any]) -> None:
        if content.get("kind") == "signal":
            self._send_signal(content)
        else:
            super()._asked(widget, content, buffers)

    def _send_signal(self, asked: dict[str, Any]) -> None:
        level = _LEVELS.get(str(asked.get("level")))
        try:
            if level is None:
                raise GainError("that level is none of those which are offered; reload the page.")
            self._sent = SentSignal(int(asked["rate_hz"]), *level)
        except (GainError, KeyError, TypeError, ValueError) as fault:
            self._sent = None
            self.send({"kind": "no signal", "why": str(fault)})
            return
        samples = self._sent.audio.samples[:, 0].astype("<f4")
        self.send({"kind": "signal", "frames": len(samples)}, [samples.tobytes()])

    def __repr__(self) -> str:
        return f"<chain: {self.said or 'not measured yet'}>"


def measure_chain() -> ChainTest:
    """Send a tone through your own chain and read what it does; as the last line of a cell it shows itself.

    A signal goes out of the computer, through your cable and device, and back into an input: gain, delay, polarity,
    noise, distortion, frequency response, and where the input clips. It begins at −40 dBFS, and never goes above
    −12 dBFS, the ceiling of everything that this course lets out of a computer.

    Returns
    -------
    ChainTest
        `reading` is what was found; None before.

    Examples
    --------
    >>> measure_chain().reading is None
    True
    """
    return ChainTest()
