"""Stems of one's own on a bench: a survey's trims to be moved, and the sheet that follows them."""

from __future__ import annotations

from html import escape
from typing import TypeVar

import ipywidgets
import numpy as np

from gainlib.audio import Audio
from gainlib.benches.bench_panel import Bench, bench
from gainlib.benches.controls import Control
from gainlib.benches.panel import Panel
from gainlib.errors import GainError
from gainlib.flow import MAIN, Bus, Session, Strip
from gainlib.meters.loudest import LOUDEST_SECONDS, loudest_step
from gainlib.sound_file import SoundFile
from gainlib.stages import Trim
from gainlib.surveys.sheet import fragment
from gainlib.surveys.survey import Survey
from gainlib.text import plain, signed
from gainlib.widgets.base import Text

__all__ = ["SurveyPanel", "bench_of", "moved"]

AnySurvey = TypeVar("AnySurvey", bound=Survey)

_MOST_STRIPS = 16
_MOST_SAMPLES = 24_000_000
"""What a bench holds of all stems together: samples of 8 bytes, a few times over."""


def bench_of(found: Survey) -> Bench:
    """The stems of a survey as strips into a main, each with its trim, on the loudest half minute of the session.

    Of more than 16 stems the first 16 of the survey. Raises GainError where no two seconds can be added up.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> made = bench_of(survey(bundled_folder("media") / "bass.flac", bundled_folder("media") / "kick.flac"))
    >>> made.move("bass/trim/gain_db", -1.0).values["bass/trim/gain_db"]
    -1.0
    """
    total = found.sum
    if total is None:
        raise GainError("there is nothing to put on a bench; survey stems that can be read and are not silent.")
    stems = [each for each in found.stems if each.name in total.stems][:_MOST_STRIPS]
    rate_hz = total.rate_hz
    count = min(round(LOUDEST_SECONDS * rate_hz), _MOST_SAMPLES // sum(each.channels for each in stems))
    longest = max(each.frames for each in stems)
    start = _loudest(found, [each.name for each in stems], count, longest)
    strips, controls = [], []
    for stem in stems:
        gain_db = found.trim(stem.name).gain_db
        name = _strip_name(stem.name)
        with SoundFile(stem.path) as recording:
            first = min(start, max(0, stem.frames - 1))
            part = next(recording.blocks(min(count, stem.frames - first), start=first))
        # A stem that ends before is silent there.
        take = part if first == start else np.zeros((1, stem.channels), dtype=np.float32)
        strips.append(Strip(name, Audio(take, rate_hz, stem.name), (Trim(gain_db),)))
        low, high = min(-24.0, gain_db - 12.0), max(24.0, gain_db + 12.0)
        controls.append(_trim_control(name, low, high))
    low = min(-24.0, total.main_trim_db - 12.0)
    session = Session(tuple(strips), (), Bus(MAIN, (Trim(total.main_trim_db),)))
    controls.append(_trim_control(MAIN, low, 24.0))
    seconds = min(count, longest) / rate_hz
    return bench(session, controls, ["strips", "level diagram"], title=f"{found.title}, the loudest {seconds:.0f} s")


def _trim_control(strip: str, low: float, high: float) -> Control:
    """The control of a strip's trim, headed with whose it is, since the picture shows a strip and the main."""
    named = plain(strip)
    return Control(f"{strip}/trim/gain_db", low, high, 0.1, label=f"{named[:1].upper()}{named[1:]}, trim")


def moved(found: AnySurvey, bench: Bench, *, add_up: bool) -> AnySurvey:
    """The survey with the trims as they stand on its bench."""
    now = {
        each.name: float(bench.values[f"{_strip_name(each.name)}/trim/gain_db"])
        for each in found.stems
        if f"{_strip_name(each.name)}/trim/gain_db" in bench.values
    }
    changed = {name: gain for name, gain in now.items() if gain != found.trim(name).gain_db}
    return found.with_trims(changed, add_up=add_up) if changed else found


class SurveyPanel(Panel):
    """A survey's bench with its sheet below; every move is on the sheet at once."""

    def __init__(self, found: Survey, bench: Bench | None) -> None:
        super().__init__([bench.on_move(lambda _: self._follow())] if bench else [])
        self.found = found
        self.bench = bench
        self.sheet = Text()
        self.box = ipywidgets.VBox([*([bench.panel.box] if bench else []), self.sheet])
        self._follow()

    def _follow(self) -> None:
        said = ""
        now = self.found
        if self.bench is not None:
            now = moved(self.found, self.bench, add_up=False)
            peak = signed(self.bench.rendering.level(f"{MAIN}/trim").peak_dbfs, 1, "dBFS")
            said = f"<p>The main peaks at {escape(peak)} in this part. as_moved() adds up the whole files again.</p>"
        self.sheet.value = fragment(now) + said

    def _free(self) -> None:
        if self.bench is not None:
            self.bench.close()
        super()._free()


def _strip_name(name: str) -> str:
    """A stem's name as a path can hold it: no slash, and not the main's own."""
    plain = name.replace("/", "∕")
    return f"{plain} stem" if plain == MAIN else plain


def _loudest(found: Survey, names: list[str], count: int, longest: int) -> int:
    """Where the stems together are loudest for so many samples, by their outlines; to a hundredth of the session."""
    if count >= longest:
        return 0
    steps = 400
    power = np.zeros(steps)
    for name in names:
        stem = found.stem(name)
        outline = np.maximum(-stem.lowest, stem.highest).astype(np.float64) * 10 ** (found.trim(name).gain_db / 20)
        at = (np.arange(steps) + 0.5) / steps * longest / stem.frames * len(outline)
        inside = at < len(outline)
        power[inside] += outline[at[inside].astype(np.int64)] ** 2
    width = max(1, round(count / longest * steps))
    return min(int(loudest_step(power, width) * longest / steps), longest - count)
