"""An order: what a delivery must meet, read from a TOML file, held against a survey, and written from a good one."""

from __future__ import annotations

import fnmatch
import glob
import math
import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, ValidationError

from gainlib.errors import GainError
from gainlib.meters import measures
from gainlib.storage import toml_value
from gainlib.storage.entry_faults import Entry, describe_fault
from gainlib.storage.foreign import read_toml
from gainlib.surveys.columns import COLUMNS
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Stem
from gainlib.surveys.targets import Practice
from gainlib.text import counted, describe_value, path_text, printable, signed, spaced

__all__ = [
    "Order",
    "OrderLine",
    "Part",
    "Session",
    "as_dict",
    "check_order",
    "order_text",
    "practice_of",
    "read_order",
    "word_said",
]

LARGEST_ORDER_BYTES = 1024 * 1024
_SHORT_WORDS = {"float": "32 float", "double": "64 float"}
_NAMED = 5  # so many files are named in a line
_WORDS = {
    "PCM_S8": "8", "PCM_U8": "8", "PCM_16": "16", "PCM_24": "24", "PCM_32": "32", "FLOAT": "float", "DOUBLE": "double",
}  # fmt: skip

Span = Annotated[list[float], Field(min_length=2, max_length=2)]


class Part(Entry):
    """What the files of one part of a delivery must meet; what is left out is not looked at.

    `names` are file names or patterns (`*` stands for anything, `?` for one character): each file must fit one of them,
    and each of them must fit a file. `word` is what samples are held in; `starts_at` the sample at which the header of
    a broadcast WAV has the file start. `headroom_db` is the least that lies between the highest sample and full scale,
    `true_peak_dbtp` the most; of the others with two numbers the least and the most.
    """

    entry_form: ClassVar[str] = "a table"
    names: list[str] = Field(default_factory=list)
    count: int | None = Field(default=None, ge=0)
    formats: list[str] = Field(default_factory=list)
    rate_hz: int | None = Field(default=None, gt=0)
    word: Literal["8", "16", "24", "32", "float", "double"] | None = None
    channels: list[int] = Field(default_factory=list)
    seconds: float | None = Field(default=None, gt=0)
    starts_at: int | None = Field(default=None, ge=0)
    headroom_db: float | None = None
    true_peak_dbtp: float | None = None
    loudness_lufs: Span | None = None
    silence_before_seconds: Span | None = None
    silence_after_seconds: Span | None = None


class Session(Entry):
    """What stands on top of the gain sheet; what is left out is a line to write on."""

    entry_form: ClassVar[str] = "a table"
    song: str = Field(default="", max_length=200)
    engineer: str = Field(default="", max_length=200)
    date: str = Field(default="", max_length=40)
    key: str = Field(default="", max_length=40)
    tempo: float | None = Field(default=None, ge=1, le=1000)
    notes: str = Field(default="", max_length=2000)


class Order(Entry):
    """An order: what the stems must meet, and the mix, which is the file that its names fit, else the sum of all stems.

    `session` stands on the gain sheet; the stems of one of the `groups`, names or patterns of files by the group's
    name, share one trim.

    >>> Order(stems=Part(count=12)).stems.count
    12
    """

    file_kind: ClassVar[str] = "order"
    session: Session = Session()
    groups: dict[str, list[str]] = Field(default_factory=dict)
    stems: Part = Part()
    mix: Part = Part()


@dataclass(frozen=True)
class OrderLine:
    """One thing that was ordered, of the stems or of the mix, whether it is met, and a sentence."""

    part: str
    entry: str
    met: bool
    sentence: str

    @property
    def line(self) -> str:
        """As a person reads it."""
        return f"{'meets the order' if self.met else 'DOES NOT MEET THE ORDER'}: {self.sentence}"


def read_order(path: str | os.PathLike[str]) -> Order:
    """An order from its TOML file. Raises GainError, one sentence a fault, for what cannot be used.

    >>> read_order("order-of-nobody.toml")
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: order-of-nobody.toml is not there; check the name and the folder.
    """
    entries = read_toml(path, LARGEST_ORDER_BYTES, "an order")
    try:
        order = Order.model_validate(entries)
    except ValidationError as fault:
        faults: list[Any] = fault.errors(include_url=False)
        raise GainError(*(f"{path_text(path)}: {describe_fault(each, Order)}" for each in faults)) from fault
    for name, part in (("stems", order.stems), ("mix", order.mix)):
        for entry in part.model_fields_set:
            value = getattr(part, entry)
            numbers = value if isinstance(value, list) else [value]
            if any(isinstance(each, float) and not math.isfinite(each) for each in numbers):
                raise GainError(
                    f"{path_text(path)}: {entry} of {name} is {describe_value(value)}; give finite numbers."
                )
            if entry.endswith(("_lufs", "_seconds")) and value[0] > value[1]:
                raise GainError(
                    f"{path_text(path)}: {entry} of {name} is from {value[0]:g} to {value[1]:g}; "
                    "give the least first, then the most."
                )
    if not order.mix.names and (
        known := sorted(order.mix.model_fields_set - {"headroom_db", "true_peak_dbtp", "loudness_lufs"})
    ):
        raise GainError(
            f"{path_text(path)}: {known[0]} of mix is asked of a file; add names, such as names = ['mix.wav']."
        )
    if not order.groups and not any(part.model_fields_set for part in (order.session, order.stems, order.mix)):
        raise GainError(f"{path_text(path)} asks for nothing; write an order with --write-order and go on from there.")
    return order


def check_order(survey: SurveyResult, order: Order) -> list[OrderLine]:
    """Each thing that was ordered, and whether the surveyed files meet it; files that could not be read meet nothing.

    >>> from gainlib.storage import bundled_folder
    >>> from gainlib.surveys.survey import survey
    >>> found = survey(bundled_folder("media") / "bass.flac")
    >>> [each.line for each in check_order(found, Order(stems=Part(rate_hz=44100)))]
    ['DOES NOT MEET THE ORDER: stems: rate 44 100 Hz, but bass has 48 000 Hz.']
    """
    found = []
    if survey.unreadable:
        names = _named([f"{name}" for name, _ in survey.unreadable])
        found.append(OrderLine("stems", "files", False, f"stems: {names} could not be read."))
    mixes = [each for each in survey.stems if _fits(each, order.mix.names)]
    stems = [each for each in survey.stems if each not in mixes]
    found += _lines("stems", order.stems, stems, survey)
    if order.mix.names:
        found += _lines("mix", order.mix, mixes, survey)
    elif order.mix.model_fields_set:
        found += _of_the_sum(survey, order.mix)
    return found


def practice_of(order: Order, practice: Practice) -> Practice:
    """The practice with ceilings no higher than the order leaves room for, so that trimmed copies meet it.

    >>> practice_of(Order(stems=Part(headroom_db=10.0)), Practice()).stem_ceiling_dbtp
    -10.0
    """

    def lowest(part: Part, usual: float) -> float:
        room = usual if part.headroom_db is None else -part.headroom_db
        return min(usual, room, usual if part.true_peak_dbtp is None else part.true_peak_dbtp)

    # The true peak is never below the highest sample, so the headroom holds too.
    return replace(
        practice,
        stem_ceiling_dbtp=lowest(order.stems, practice.stem_ceiling_dbtp),
        main_ceiling_dbtp=lowest(order.mix, practice.main_ceiling_dbtp),
    )


def _fits(stem: Stem, patterns: Sequence[str]) -> bool:
    return any(fnmatch.fnmatchcase(stem.path.name, each) for each in patterns)


def _lines(name: str, part: Part, stems: Sequence[Stem], survey: SurveyResult) -> list[OrderLine]:
    found: list[OrderLine] = []

    def told(entry: str, wanted: str, wrong: Sequence[str]) -> None:
        if not wrong and not stems and entry != "count":
            wrong = ["no such file is there"]
        found.append(OrderLine(name, entry, not wrong, f"{name}: {wanted}{f', but {_named(wrong)}' if wrong else ''}."))

    def of_each(entry: str, wanted: str, right: Callable[[Stem], bool], said: Callable[[Stem], str]) -> None:
        if getattr(part, entry) not in (None, []):
            told(entry, wanted, [f"{survey.short_names[each.name]} {said(each)}" for each in stems if not right(each)])

    if part.names:
        wrong = [f"{printable(each.path.name)} fits none" for each in stems if not _fits(each, part.names)]
        files = [each.path.name for each in stems]
        wrong += [f"nothing fits {printable(each)}" for each in part.names if not fnmatch.filter(files, each)]
        told("names", "names as ordered", wrong)
    if part.count is not None:
        wrong = [] if len(stems) == part.count else [f"there {'is' if len(stems) == 1 else 'are'} {len(stems)}"]
        told("count", counted(part.count, "file"), wrong)
    formats = [each.upper() for each in part.formats]
    of_each("formats", f"format {' or '.join(formats)}", lambda stem: _form(stem) in formats,
            lambda stem: f"is {_form(stem)}")  # fmt: skip
    of_each("rate_hz", f"rate {spaced(part.rate_hz or 0)} Hz", lambda stem: stem.rate_hz == part.rate_hz,
            lambda stem: f"has {spaced(stem.rate_hz)} Hz")  # fmt: skip
    of_each("word", f"word length {_in_words(part.word)}", lambda stem: _word(stem) == part.word,
            lambda stem: f"has {word_said(stem)}")  # fmt: skip
    wanted = " or ".join(map(str, part.channels))
    of_each("channels", f"{wanted} {'channel' if wanted == '1' else 'channels'}",
            lambda stem: stem.channels in part.channels, lambda stem: f"has {stem.channels}")  # fmt: skip
    of_each("seconds", f"length {part.seconds or 0.0:.3f} s",
            lambda stem: abs(stem.seconds - (part.seconds or 0.0)) < 0.75 / stem.rate_hz,
            lambda stem: f"has {stem.seconds:.3f} s")  # fmt: skip
    of_each("starts_at", f"start at sample {part.starts_at}", lambda stem: stem.starts_at == part.starts_at,
            lambda stem: "tells no start" if stem.starts_at is None else f"starts at {stem.starts_at}")  # fmt: skip
    for entry, wanted, right in _levels(part):
        of_each(entry, wanted, lambda stem, entry=entry, right=right: right(stem.readings.get(entry)),  # type: ignore[misc]
                lambda stem, entry=entry: f"has {_before_and_after(survey, stem, entry)}")  # type: ignore[misc]  # fmt: skip
    for entry, where in (("silence_before_seconds", "start"), ("silence_after_seconds", "end")):
        least, most = getattr(part, entry) or (0.0, 0.0)
        # Looked at in windows of 50 ms, so to half a window.
        of_each(entry, f"silence at the {where} from {least:g} to {most:g} s",
                lambda stem, where=where, least=least, most=most: least - 0.05 <= _silence(stem, where) <= most + 0.05,  # type: ignore[misc]
                lambda stem, where=where: f"has {_silence(stem, where):.2f} s")  # type: ignore[misc]  # fmt: skip
    return found


def _levels(part: Part) -> list[tuple[str, str, Callable[[float | None], bool]]]:
    """What is ordered of levels: the entry, in words, and whether a reading meets it, with a hundredth of grace."""
    least, most = part.loudness_lufs or (0.0, 0.0)
    headroom, ceiling = part.headroom_db or 0.0, part.true_peak_dbtp or 0.0
    return [
        ("headroom_db", f"headroom {headroom:g} dB at least",
         lambda value: value is not None and value >= headroom - 0.01),
        ("true_peak_dbtp", f"true peak {signed(ceiling, 1, 'dBTP')} at most",
         lambda value: value is not None and value <= ceiling + 0.01),
        ("loudness_lufs", f"loudness from {signed(least, 1, '')} to {signed(most, 1, 'LUFS')}",
         lambda value: value is not None and least - 0.01 <= value <= most + 0.01),
    ]  # fmt: skip


def _of_the_sum(survey: SurveyResult, part: Part) -> list[OrderLine]:
    """The same of all stems added up, every fader at 0 dB and without trims."""
    found = []
    for entry, wanted, right in _levels(part):
        if getattr(part, entry) is None:
            continue
        value = None if survey.sum is None else survey.sum.before.get(entry)
        met = right(value)
        said = "" if met else f", but the sum of the stems has {_printed(entry, value)}"
        found.append(OrderLine("mix", entry, met, f"mix: {wanted}{said}."))
    return found


def _named(parts: Sequence[str]) -> str:
    more = f" and {len(parts) - _NAMED} more" if len(parts) > _NAMED else ""
    return ", ".join(parts[:_NAMED]) + more


def _form(stem: Stem) -> str:
    return {"WAVEX": "WAV"}.get(stem.form, stem.form)


def _word(stem: Stem) -> str:
    return _WORDS.get(stem.coding, stem.coding)


def word_said(stem: Stem, *, short: bool = False) -> str:
    """What a stem's samples are held in, in words; `short` leaves out the unit of bits.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> bass = measure_stem(bundled("media/bass.flac"), "bass")
    >>> word_said(bass), word_said(bass, short=True)
    ('24 bits', '24')
    """
    word = _word(stem)
    return (_SHORT_WORDS.get(word, word) if short else _in_words(word)).replace("_", " ")


def _in_words(word: str | None) -> str:
    return f"{word} bits" if word and word.isdigit() else {"float": "32-bit floats", "double": "64-bit floats"}.get(
        word or "", f"{word}"
    )  # fmt: skip


def _printed(measure: str, value: float | None) -> str:
    return "none" if value is None else signed(value, 2, measures()[measure].unit, plus=False)


def _before_and_after(survey: SurveyResult, stem: Stem, measure: str) -> str:
    """A reading as it is, and with the trim where there is one."""
    reading, gain_db = stem.readings.get(measure), survey.trim(stem.name).gain_db
    if reading is None or not gain_db:
        return _printed(measure, reading)
    return f"{_printed(measure, reading)}, {_printed(measure, COLUMNS[measure].moved(reading, gain_db))} trimmed"


def _silence(stem: Stem, where: str) -> float:
    if stem.sounds is None:
        return stem.seconds
    return stem.sounds[0] if where == "start" else stem.seconds - stem.sounds[1]


def order_text(survey: SurveyResult) -> str:
    """An order that these files meet, as a TOML file to go on from: what all of them have in common.

    The file whose name holds the word mix is the mix; where there is none, the sum of all is. Raises GainError where no
    stem was read.
    """
    mixes = [
        each for each in survey.stems if "mix" in each.path.stem.lower().replace("-", " ").replace("_", " ").split()
    ]
    mixes = mixes if len(mixes) == 1 else []
    stems = [each for each in survey.stems if each not in mixes]
    if not stems:
        raise GainError("no stem was read, so there is no order to write; survey a folder that is as it should be.")
    lines = [
        "# What stands on top of the gain sheet, and stems that share one trim; take the # away from what you fill in.",
        "# [session]",
        '# song = ""',
        "# tempo = 120",
        '# key = ""',
        '# date = ""',
        '# engineer = ""',
        '# notes = ""',
        "# [groups]",
        '# drums = ["kick*", "snare*"]',
        "",
        "# What a delivery must meet; a line that is left out is not looked at.",
        "# names: file names or patterns, * stands for anything. Two numbers are the least and the most.",
        "[stems]",
        *_part_lines(stems),
        "",
        "# The mix is the file of that name; without names it is the sum of all stems, every fader at 0 dB.",
        "[mix]",
        *(_part_lines(mixes) if mixes else []),
    ]
    levels = mixes[0].readings if mixes else survey.sum.before if survey.sum else {}
    if "loudness_lufs" in levels and math.isfinite(levels["loudness_lufs"]):
        loudness = round(levels["loudness_lufs"])
        lines.append(f"loudness_lufs = {toml_value([float(loudness - 1), float(loudness + 1)])}")
    if math.isfinite(levels.get("true_peak_dbtp", -math.inf)):
        lines.append(f"true_peak_dbtp = {toml_value(_up(levels['true_peak_dbtp']))}")
    return "\n".join(lines) + "\n"


def _part_lines(stems: Sequence[Stem]) -> list[str]:
    entries: dict[str, Any] = {"names": sorted(glob.escape(each.path.name) for each in stems), "count": len(stems)}
    entries["formats"] = sorted({_form(each) for each in stems})
    for entry, value in (
        ("rate_hz", lambda stem: stem.rate_hz),
        ("word", lambda stem: _word(stem) if _word(stem) in _WORDS.values() else None),
        ("seconds", lambda stem: round(stem.seconds, 6)),
        ("starts_at", lambda stem: stem.starts_at),
    ):
        values = {value(each) for each in stems}
        if len(values) == 1 and None not in values:
            entries[entry] = values.pop()
    entries["channels"] = sorted({each.channels for each in stems})
    headroom = min(each.readings["headroom_db"] for each in stems)
    if math.isfinite(headroom):
        entries["headroom_db"] = -_up(-headroom)
    for entry, where in (("silence_before_seconds", "start"), ("silence_after_seconds", "end")):
        lengths = [_silence(each, where) for each in stems]
        entries[entry] = [math.floor(10 * min(lengths)) / 10, math.ceil(10 * max(lengths)) / 10]
    return [f"{name} = {toml_value(value)}" for name, value in entries.items()]


def _up(level_db: float) -> float:
    """A level with one digit, rounded up."""
    return math.ceil(round(10.0 * level_db, 6)) / 10.0 + 0.0


def as_dict(lines: Sequence[OrderLine]) -> dict[str, Any]:
    """As JSON holds it."""
    return {"met": all(each.met for each in lines), "lines": [asdict(each) for each in lines]}
