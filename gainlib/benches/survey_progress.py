"""What a cell shows while a survey runs: how far it is, and the stems as they are finished."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from html import escape

from gainlib.surveys.checks import find_faults
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice
from gainlib.text import counted, shortened, signed

__all__ = ["SurveyProgress"]

_SHOWN = 8
_APART_SECONDS = 0.2


class SurveyProgress:
    """Hears a survey and gives what there is to see, a few times a second, to `show`, as HTML.

    `clock` tells the time in seconds. Files are measured side by side, so it may be called by several threads.

    >>> told = []
    >>> SurveyProgress(told.append)(0.25, "kick")
    >>> "25 %" in told[0], "kick" in told[0]
    (True, True)
    """

    def __init__(self, show: Callable[[str], object], *, clock: Callable[[], float] = time.monotonic) -> None:
        self._show, self._clock = show, clock
        self._lock = threading.Lock()
        self._shown_at: float | None = None
        self._share, self._doing, self._count = 0.0, "", 0
        self._stems: list[str] = []
        self._wrong: list[str] = []

    def __call__(self, share: float, doing: str) -> None:
        """So much of the work is done, and this is being done."""
        with self._lock:
            self._share, self._doing = share, doing
            self._look()

    def finished(self, stem: Stem) -> None:
        """A stem was measured."""
        # Whether a cut is one is known when all are there: several that begin alike are an excerpt.
        faults = [each for each in find_faults([stem], Practice()) if not each.remark and each.kind != "cut"]
        peak = "silent" if stem.silent else f"peak {signed(stem.readings['peak_dbfs'], 1, 'dBFS')}"
        said = " ".join(f"{each.sentence[0].upper()}{each.sentence[1:]}" for each in faults)
        with self._lock:
            self._count += 1
            kept = self._wrong if faults else self._stems
            kept.append(f"<b>{escape(shortened(stem.name))}</b>: {escape(f'{peak}. {said}'.strip())}")
            del self._stems[: -max(2, _SHOWN - len(self._wrong))]
            self._look()

    def _look(self) -> None:
        now = self._clock()
        if self._shown_at is None or now - self._shown_at >= _APART_SECONDS:
            self._shown_at = now
            self._show(self._html())

    def _html(self) -> str:
        doing = f", {escape(shortened(self._doing))}" if self._doing else ""
        more = len(self._wrong) - _SHOWN
        told = [f"<li>▼ {each}</li>" for each in self._wrong[:_SHOWN]]
        told += [f"<li>and {counted(more, 'more')} with something wrong</li>"] if more > 0 else []
        told += [f"<li>{each}</li>" for each in self._stems]
        return (
            f'<div><progress max="1" value="{self._share:.3f}" aria-label="Survey"></progress> '
            f"{100 * self._share:.0f} %, {counted(self._count, 'stem')} measured{doing}</div>"
            f'<ul style="margin:4px 0">{"".join(told)}</ul>'
        )
