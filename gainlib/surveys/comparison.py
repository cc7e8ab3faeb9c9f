"""Two surveys compared: before and after, one take and the next, this week's mix and last week's."""

from __future__ import annotations

import os
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from gainlib.errors import GainError
from gainlib.meters import measures
from gainlib.sound_file import SoundFile
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.likeness import Likeness, find_likeness
from gainlib.surveys.record import as_dict
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.sound_changes import SoundChange, find_form_changes
from gainlib.surveys.stem import Stopped, sound_checksum
from gainlib.surveys.targets import Tempo
from gainlib.text import counted, path_text, printable, signed

__all__ = ["Change", "Changes", "compare"]

_LOW_DBFS = -90.0  # what lies below this on both sides is noise of no consequence
_MOST_RENAMED = 64  # pairs of stems that came and went are laid over each other
_SAME_LENGTH = 0.1
_TOLD = 6
_SUM = "the sum before trims"
_OF_THE_SUM = ("true_peak_dbtp", "loudness_lufs")  # where the stems were heard, no more of it is told


@dataclass(frozen=True)
class Change:
    """One measure of one stem, or of the sum, before and after; None for silence and for what was not read."""

    stem: str
    measure: str
    before: float | None
    after: float | None


@dataclass(frozen=True)
class Changes:
    """What is different between two surveys: stems that came and went, what became of each other's sound, faults.

    `sounds` has every stem that both have, `levels` the readings that moved. `lines` says it in words, `summary` in one
    line. Where Ctrl-C ended it, `whole` is False.
    """

    came: tuple[str, ...]
    went: tuple[str, ...]
    new_faults: tuple[tuple[str, str], ...]
    gone_faults: tuple[tuple[str, str], ...]
    levels: tuple[Change, ...]
    sounds: tuple[SoundChange, ...] = ()
    title: str = field(default="", repr=False)
    whole: bool = True

    @property
    def lines(self) -> list[str]:
        """The differences, a sentence each, then the summary."""
        told = []
        if self.came:
            told.append(f"New: {', '.join(self.came)}.")
        if self.went:
            told.append(f"No longer there: {', '.join(self.went)}.")
        told += [each.sentence for each in self.sounds if each.sentence]
        for stem, kind in self.new_faults:
            # Clipping that was only turned down is not mended.
            lowered = kind == "flat tops" and (stem, "clipped") in self.gone_faults
            told.append(f"{stem}: {'still clipped, it was only turned down' if lowered else f'new fault, {kind}'}.")
        for stem, kind in self.gone_faults:
            if not (kind == "clipped" and (stem, "flat tops") in self.new_faults):
                told.append(f"{stem}: mended, {kind}.")
        # Of what was heard the readings tell nothing more; they stand in JSON.
        laid = {each.stem for each in self.sounds if each.likeness is not None and not each.likeness.other}
        moved: dict[str, list[Change]] = {}
        for change in self.levels:
            if change.stem not in laid and (change.stem != _SUM or not laid or change.measure in _OF_THE_SUM):
                moved.setdefault(change.stem, []).append(change)
        told += [f"{stem}: {'; '.join(_told(changes))}." for stem, changes in moved.items()]
        if not self.whole:
            heard = {each.stem for each in self.sounds if each.likeness is not None}
            of = counted(len(self.sounds), "stem")
            told.append(f"The comparison was ended before its end: of {of} {len(heard)} were laid over what they were.")
        return [*told, self.summary]

    @property
    def summary(self) -> str:
        """What changed in one line, such as "revision 3: only voice changed, bars 17 to 24."."""
        unheard = {each.stem for each in self.sounds if each.likeness is None}
        moved = {each.stem for each in self.levels}
        # Of what could not be compared, those whose readings moved or whose checksum is another.
        changed = [
            each
            for each in self.sounds
            if each.changed and (each.stem not in unheard or each.stem in moved or each.forms)
        ]
        unknown = [each for each in self.sounds if each.stem in unheard and each not in changed]
        parts = []
        if len(changed) == 1 and len(self.sounds) > 1 and not unknown:
            parts.append(f"only {changed[0].stem} changed, {changed[0].short}")
        elif changed:
            named = [f"{each.stem} ({each.short})" for each in changed[:_TOLD]]
            more = f" and {len(changed) - _TOLD} more" if len(changed) > _TOLD else ""
            parts.append(f"{len(changed)} of {counted(len(self.sounds), 'stem')} changed: {', '.join(named)}{more}")
        elif self.sounds and not unknown:
            parts.append("nothing has changed, each stem is what it was, sample for sample")
        if unknown:
            parts.append(f"of {counted(len(unknown), 'stem')} only readings could be compared, and none moved")
        renamed = [each for each in self.sounds if each.former != each.stem]
        for count, word in ((len(renamed), "renamed"), (len(self.came), "new"), (len(self.went), "gone")):
            if count:
                parts.append(f"{count} {'is' if count == 1 else 'are'} {word}")
        said = "; ".join(parts) or "there is nothing to compare"
        return f"{self.title}: {said}." if self.title else f"{said[0].upper()}{said[1:]}."

    def as_dict(self) -> dict[str, Any]:
        """As JSON holds it."""
        return {
            "summary": self.summary,
            "whole": self.whole,
            "came": list(self.came),
            "went": list(self.went),
            "sounds": [each.as_dict() for each in self.sounds],
            "new_faults": [{"stem": stem, "kind": kind} for stem, kind in self.new_faults],
            "gone_faults": [{"stem": stem, "kind": kind} for stem, kind in self.gone_faults],
            "levels": [asdict(each) for each in self.levels],
        }


def compare(
    before: SurveyResult | Mapping[str, Any],
    after: SurveyResult | Mapping[str, Any],
    *,
    beside: str | os.PathLike[str] | None = None,
    progress: Callable[[float, str], None] = lambda share, doing: None,
) -> Changes:
    """What changed from one survey to another; each is a SurveyResult or what `as_dict` gave.

    Stems are matched by their sound where that is the same, then by name; where each has only one, those two. Their
    sound is laid over each other where both files are still what was surveyed: under the path of the survey, or by
    their names in the folder `beside`. Where one is not, readings are compared, and it is said: those that moved by a
    tenth of a decibel and more. `progress` hears what share of the work is done. Ctrl-C ends it; what was not compared
    says so. Raises GainError for something that is no survey.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "bass.flac")
    >>> compare(found, found).lines
    ['media: nothing has changed, each stem is what it was, sample for sample.']
    """
    old, new = (as_dict(each) if isinstance(each, SurveyResult) else each for each in (before, after))
    tempo = after.tempo if isinstance(after, SurveyResult) else None
    workers = after.workers if isinstance(after, SurveyResult) else 2
    try:
        return _Comparison(old, new, tempo, None if beside is None else Path(beside), progress, workers).made()
    except (KeyError, TypeError, AttributeError, ValueError) as fault:
        if isinstance(fault, GainError):
            raise
        raise GainError("one of the two is no survey; give Surveys, or what as_dict gave of them.") from fault


_Entry = Mapping[str, Any]


class _Comparison:
    """Two surveys while they are compared."""

    def __init__(
        self, old: _Entry, new: _Entry, tempo: Tempo | None, beside: Path | None,
        progress: Callable[[float, str], None], workers: int,
    ) -> None:  # fmt: skip
        self.old, self.new, self.tempo, self.beside, self.workers = old, new, tempo, beside, workers
        self.olds = {str(each["name"]): each for each in old["stems"]}
        self.news = {str(each["name"]): each for each in new["stems"]}
        self.ended = threading.Event()
        self._progress, self._lock, self._done, self._all = progress, threading.Lock(), 0.0, 1.0

    def made(self) -> Changes:
        """All that is different."""
        pairs = self._pairs()
        sounds = self._sounds(pairs)
        came, went = set(self.news) - set(pairs), set(self.olds) - set(pairs.values())
        if 0 < len(came) * len(went) <= _MOST_RENAMED and not self.ended.is_set():
            try:
                for each in self._renamed(sorted(came), sorted(went)):
                    sounds.append(each)
                    pairs[each.stem] = each.former
            except KeyboardInterrupt:
                self.ended.set()
            came, went = came - set(pairs), went - set(pairs.values())
        order = {name: index for index, name in enumerate(self.news)}
        back = {former: name for name, former in pairs.items()}
        was = {(back.get(str(each["stem"]), str(each["stem"])), str(each["kind"])) for each in self.old["faults"]}
        now = {(str(each["stem"]), str(each["kind"])) for each in self.new["faults"]}
        levels = [
            change
            for name, former in pairs.items()
            for change in _moved(name, self.olds[former]["measures"], self.news[name]["measures"])
        ]
        if self.old.get("sum") and self.new.get("sum"):
            levels += _moved(_SUM, self.old["sum"]["before"], self.new["sum"]["before"])
        return Changes(
            tuple(sorted(came)), tuple(sorted(went)), tuple(sorted(each for each in now - was if each[0] in pairs)),
            tuple(sorted(each for each in was - now if each[0] in pairs)), tuple(levels),
            tuple(sorted(sounds, key=lambda each: order[each.stem])), printable(str(self.new.get("title", ""))),
            whole=not self.ended.is_set(),
        )  # fmt: skip

    def _pairs(self) -> dict[str, str]:
        """Which stem was which: by name where the sound is the same too, by sound, by name."""
        pairs = {name: name for name, each in self.news.items() if _same(self.olds.get(name), each)}
        # A sound that several have, or that is none, tells no name.
        olds = {_checksum(each): name for name, each in self.olds.items() if name not in pairs and not each["silent"]}
        many = Counter(
            _checksum(each)
            for side, known in ((self.olds, set(pairs.values())), (self.news, set(pairs)))
            for name, each in side.items()
            if name not in known
        )
        for name, each in self.news.items():
            if name not in pairs and many[_checksum(each)] == 2 and olds.get(_checksum(each)):
                pairs[name] = olds[_checksum(each)]
        taken = set(pairs.values())
        pairs |= {name: name for name in self.news if name in self.olds and name not in pairs and name not in taken}
        if len(self.olds) == len(self.news) == 1:
            pairs = {next(iter(self.news)): next(iter(self.olds))}
        return pairs

    def _sounds(self, pairs: Mapping[str, str]) -> list[SoundChange]:
        work = [(self.olds[former], self.news[name]) for name, former in pairs.items()]
        # What is the same needs no reading, so it is no work.
        self._all = 1.0 + sum(float(each["seconds"]) for old, each in work if not _same(old, each))
        with ThreadPoolExecutor(self.workers) as pool:
            waiting = [pool.submit(self._sound, old, new) for old, new in work]
            try:
                # Without an end to the waiting, Ctrl-C is not heard on every system.
                while wait(waiting, timeout=0.5).not_done:
                    pass
            except KeyboardInterrupt:
                self.ended.set()
            return [each.result() for each in waiting]

    def _sound(self, old: _Entry, new: _Entry) -> SoundChange:
        likeness, why = self._likeness(old, new)
        same = _same(old, new)
        forms = find_form_changes(old, new, same)
        return SoundChange(str(new["name"]), str(old["name"]), int(new["rate_hz"]), likeness, forms, why, self.tempo)

    def _likeness(self, old: _Entry, new: _Entry) -> tuple[Likeness | None, str]:
        """How the sounds differ, or why they cannot be compared."""
        if _same(old, new):
            return Likeness(same=True), ""
        if old["channels"] != new["channels"] and 1 not in (old["channels"], new["channels"]):
            return None, "since it has another number of channels"
        try:
            before, after = self._file(old), self._file(new)
            if before is None or after is None:
                which, entry = ("earlier", old) if before is None else ("later", new)
                other = "its sound is another, but " if _checksum(old) and _checksum(new) else ""
                return None, f"since {other}the {which} sound is no longer at {path_text(str(entry['path']))}"
            starts = [each["starts_at"] for each in (old, new)]
            guesses = [starts[0] - starts[1]] if None not in starts and old["rate_hz"] == new["rate_hz"] else []
            share = float(new["seconds"])
            return find_likeness(
                before, after, int(new["rate_hz"]), int(new["channels"]), guesses=guesses,
                apart_seconds=1.0 if self.tempo is None else self.tempo.bar_seconds, stop=self.ended.is_set,
                tick=lambda part: self._tick(part * share, str(new["name"])),
            ), ""  # fmt: skip
        except Stopped:
            return None, "since the comparison was ended before its end"
        except (GainError, OSError) as fault:
            return None, f"since {str(fault).rstrip('.')}"

    def _tick(self, seconds: float, name: str) -> None:
        with self._lock:
            self._done += seconds
            self._progress(min(1.0, self._done / self._all), f"comparing {name}")

    def _renamed(self, came: list[str], went: list[str]) -> list[SoundChange]:
        """Which of the new stems are ones that went, under another name and changed somewhere."""
        found: list[SoundChange] = []
        for name in came:
            new = self.news[name]
            for former in went:
                old = self.olds[former]
                alike = abs(old["seconds"] / new["seconds"] - 1.0) <= _SAME_LENGTH
                if not alike or old["silent"] or new["silent"] or former in {each.former for each in found}:
                    continue
                each = self._sound(old, new)
                if each.likeness is not None and not each.likeness.other:
                    found.append(each)
                    break
        return found

    def _file(self, entry: _Entry) -> Path | None:
        """The file that was surveyed, where it still is what it was."""
        given = Path(str(entry["path"]))
        size, checksum = entry.get("file_bytes"), _checksum(entry)
        for path in (given, *([] if self.beside is None else [self.beside / given, self.beside / given.name])):
            if not path.is_file():
                continue
            if size is None:  # surveyed before these were kept: what has another form is not it
                with SoundFile(path) as sound:
                    if (sound.rate_hz, sound.channels, sound.frames) == tuple(
                        entry[each] for each in ("rate_hz", "channels", "frames")
                    ) and entry not in self.new["stems"]:
                        return path
            elif path.stat().st_size == size and sound_checksum(path, self.ended.is_set) == checksum:
                return path
        return None


def _checksum(entry: _Entry) -> str:
    return str(entry.get("sound_sha256", ""))


def _same(old: _Entry | None, new: _Entry) -> bool:
    """Whether the samples are the same ones."""
    return old is not None and bool(_checksum(new)) and _checksum(old) == _checksum(new) and (
        old["channels"] == new["channels"]
    )  # fmt: skip


def _moved(stem: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> list[Change]:
    found = []
    for name, column in COLUMNS.items():
        if column.kind == "room":  # the peak says the same
            continue
        before, after = old.get(name), new.get(name)
        unit = measures()[name].unit
        if unit.startswith(("dB", "LU")) and all(each is None or each < _LOW_DBFS for each in (before, after)):
            continue
        # A thousandth of grace, so that a move of a tenth that was rounded is still a tenth.
        if (before is None) != (after is None) or (
            before is not None and abs(after - before) >= column.least_change - 1e-3
        ):
            found.append(Change(stem, name, before, after))
    return found


def _told(changes: list[Change]) -> list[str]:
    """The changes of one stem in words; levels that all moved alike are told once."""
    levels = [
        each
        for each in changes
        if COLUMNS[each.measure].kind == "level" and each.before is not None and each.after is not None
    ]
    steps = [each.after - each.before for each in levels if each.after is not None and each.before is not None]
    if len(levels) < 3 or max(steps) - min(steps) > 0.06:
        return [_said(each) for each in changes]
    way = "up" if steps[0] > 0 else "down"
    alike = [each for each in changes if each in levels or COLUMNS[each.measure].kind == "floor"]
    rest = [_said(each) for each in changes if each not in alike]
    return [f"turned {way} by {abs(steps[0]):.1f} dB, {_said(levels[0])}", *rest]


def _said(change: Change) -> str:
    measure = measures()[change.measure]
    before, after = (
        "nothing" if each is None else signed(each, measure.digits, measure.unit, plus=False)
        for each in (change.before, change.after)
    )
    moved = ""
    if change.before is not None and change.after is not None:
        unit = "LU" if measure.unit == "LUFS" else "dB" if measure.unit.startswith("dB") else measure.unit
        moved = f" ({signed(change.after - change.before, measure.digits, unit)})"
    return f"{change.measure} {before} → {after}{moved}"
