"""What an exercise file may hold: its tables and their entries."""

from __future__ import annotations

import contextlib
import math
import re
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, BeforeValidator, Field, StringConstraints, ValidationError
from pydantic_core import PydanticCustomError

from gainlib.flow.session_table import BusEntry, GroupEntry, SignalEntry, StageRows, StripEntry
from gainlib.storage.entry_faults import PLAIN, Entry
from gainlib.storage.foreign import is_number

__all__ = [
    "EXERCISE_KINDS",
    "Amount",
    "AnswerEntry",
    "AskEntry",
    "CheckEntry",
    "LadderEntry",
    "ReadingEntry",
    "SlipEntry",
    "Spec",
    "ValueEntry",
    "fill_in",
    "readings_in",
]

MOST_POINTS = 200
LONGEST_INTERVAL_SECONDS = 6.0

Number = Annotated[float, Field(allow_inf_nan=False)]
Above0 = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Seconds = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Stretch = Annotated[list[Seconds], Field(min_length=2, max_length=2)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Prose = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=4000)]
NAME = r"^[a-z][a-z0-9_]{0,39}$"
EntryName = Annotated[str, StringConstraints(pattern=NAME)]
CheckPoints = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
Standing = Literal["published", "derived", "common practice", "from memory"]
Drawn = Mapping[str, "float | str | bool"]
"""The values that were drawn for one learner, by name."""


def _as_base(given: Any) -> Any:
    return {"base": given} if is_number(given) else given


def _as_plain(given: Any) -> Any:
    return {PLAIN: given} if isinstance(given, str | bool | list) else _as_base(given)


def _scalar(given: Any) -> Any:
    """A number, a text, true or false; whole numbers become floats, as everywhere else."""
    if isinstance(given, bool) or (isinstance(given, str) and 0 < len(given) <= 200):
        return given
    if isinstance(given, int | float) and abs(given) < 1e12:
        return float(given)
    raise PydanticCustomError("scalar", "a number, a short text, true or false")


def _plain(given: Any) -> Any:
    """A text, true or false, a row of texts, the points of a ride, or regions: rows of two or three numbers."""
    if not isinstance(given, list):
        return _scalar(given)
    if given and all(isinstance(each, str) and len(each) <= 200 for each in given):
        return given
    if len(given) > MOST_POINTS:
        raise PydanticCustomError("row", "at most 200 points")
    if not all(isinstance(each, list) and len(each) in (2, 3) for each in given):
        raise PydanticCustomError("row", "names in quotes, or points, each [seconds, gain in dB]")
    return [[_figure(each) for each in row] for row in given]


def _figure(given: Any) -> Any:
    """A number of a point: as it is, or a rule that follows drawn values."""
    if is_number(given) and abs(given) < 1e9:
        return float(given)
    if isinstance(given, dict):
        with contextlib.suppress(ValidationError):
            return Amount.model_validate(given)
    raise PydanticCustomError("row", 'points whose seconds and gain are numbers, or rules such as { base = "soft" }')


Scalar = Annotated[Any, BeforeValidator(_scalar)]
Names = Annotated[
    list[EntryName],
    BeforeValidator(lambda given: [given] if isinstance(given, str) else given),
    Field(max_length=8),
]


A_NUMBER = 'a number, or a rule such as { base = 14, minus = "level" }'


def _base(given: Any) -> Any:
    """A finite number, or the name of a drawn value."""
    if isinstance(given, str) and re.fullmatch(NAME, given):
        return given
    if not is_number(given):
        raise PydanticCustomError("float_type", "a number, or the name of a drawn value")
    if not abs(given) < math.inf:
        raise PydanticCustomError("finite_number", "a finite number")
    return float(given)


Base = Annotated[Any, BeforeValidator(_base)]


class Amount(Entry):
    """A number, or a number that follows drawn values: `{ base = 14, minus = "level" }` is 14 less the level.

    `base` may be a drawn value itself, and `times` takes a multiple or a share of the whole.
    """

    entry_form: ClassVar[str] = A_NUMBER

    base: Base = 0.0
    plus: Names = Field(default_factory=list)
    minus: Names = Field(default_factory=list)
    times: Number = 1.0

    @property
    def follows(self) -> tuple[str, ...]:
        """The drawn values that are added, `base` among them where it is one."""
        return (*([self.base] if isinstance(self.base, str) else []), *self.plus)

    @property
    def fixed(self) -> float:
        """The part that is the same for every learner."""
        return 0.0 if isinstance(self.base, str) else float(self.base)

    def amount(self, drawn: Drawn) -> float:
        """The amount for one learner's drawn values."""
        value = self.fixed + sum(float(drawn[name]) for name in self.follows)
        return round(self.times * (value - sum(float(drawn[name]) for name in self.minus)), 9)


Rule = Annotated[Amount, BeforeValidator(_as_base)]


READS = {"measure", "told", "setting"}
"""The entries one of which says what a reading reads."""


class LessEntry(Entry):
    """What a reading takes off: the same thing at another tap, or another thing at the same one."""

    measure: Line | None = None
    told: Line | None = None
    setting: Line | None = None
    at: Line | None = None
    seconds: Stretch | None = None


class ValueEntry(Amount, LessEntry):
    """A number that is typed, follows drawn values, is read from the session as given, or is reckoned from others."""

    less: LessEntry | None = None
    reckon: Line | None = None
    with_: list[Figure] = Field(default_factory=list, alias="with", max_length=16)

    @property
    def plain_amount(self) -> bool:
        """Whether it is typed or follows drawn values, so that nothing has to be measured for it."""
        return self.reckon is None and not READS & self.model_fields_set


Figure = Annotated[ValueEntry, BeforeValidator(_as_base)]


class ReadingEntry(LessEntry):
    """One thing read from a rendering (a measure, what a stage tells, a setting) and the bounds it is held against.

    A switch, and a choice of a few words, has no bounds: `is` says how it must stand.
    """

    less: LessEntry | None = None
    at_least: Figure | None = None
    at_most: Figure | None = None
    is_: Annotated[Any, BeforeValidator(_plain)] = Field(default=None, alias="is")


class AnswerEntry(ValueEntry):
    """One part of an answer: an amount, a text, a switch, a row of texts, the points of a ride, or a ride proposed."""

    plain: Annotated[Any, BeforeValidator(_plain)] = Field(default=None, alias="(plain)")
    even_to_db: Rule | None = None
    strength: Annotated[float, Field(ge=0, le=2, allow_inf_nan=False)] = 1.0
    most_db: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 12.0


Part = Annotated[AnswerEntry, BeforeValidator(_as_plain)]
Answers = Annotated[dict[str, Part], Field(max_length=64)]


class Given(Entry):
    """What the learner gets: one strip, or strips and buses; and what is heard and shown."""

    take: Line | None = None
    signal: SignalEntry | None = None
    strip: Line | None = None
    stages: StageRows = Field(default_factory=list)
    strips: Annotated[list[StripEntry], Field(max_length=16)] = Field(default_factory=list)
    buses: Annotated[list[BusEntry], Field(max_length=16)] = Field(default_factory=list)
    groups: Annotated[list[GroupEntry], Field(max_length=16)] = Field(default_factory=list)
    between: Stretch | None = None
    listen: Line | None = None
    advise: bool = False
    views: list[Line] = Field(default_factory=lambda: ["level diagram"], max_length=6)
    parts: Annotated[dict[Line, Stretch], Field(max_length=8)] = Field(default_factory=dict)


Choices = Annotated[list[Scalar], Field(min_length=2, max_length=64)]


class VaryEntry(Entry):
    """What is drawn for each learner: a setting, or without a path a number or a word for texts, rules and paths."""

    path: Line | None = None
    low: Number | None = Field(default=None, alias="from")
    high: Number | None = Field(default=None, alias="to")
    step: Above0 | None = None
    choose: Choices | None = None
    unit: Annotated[str, StringConstraints(max_length=20)] = ""


class PlantEntry(Entry):
    """A setting that the exercise puts wrong for this learner: `to` a value, or moved `by` an amount."""

    at: Line
    to: Part | None = None
    by: Rule | None = None


class MoveEntry(Entry):
    """What the learner may move: a number, a choice, or the points of a ride; by default it starts as it is given."""

    path: Line
    low: Number | None = Field(default=None, alias="from")
    high: Number | None = Field(default=None, alias="to")
    step: Above0 | None = None
    options: Choices | None = None
    points: bool = False
    start: Part | None = None
    label: Line | None = None


def _each(given: Any) -> Any:
    """All strips, or some by their names."""
    if given == "strips" or (isinstance(given, list) and given and all(isinstance(each, str) for each in given)):
        return given
    raise PydanticCustomError("row", '"strips", or a row of their names')


class CheckEntry(Entry):
    """One thing that is measured on the answer, its points, and what to say when it is low or high.

    With `each` it is one check for each strip that has what is read, with its points; {strip} prints the strip's name.
    """

    title: Line
    points: CheckPoints
    reads: ReadingEntry
    each: Annotated[Any, BeforeValidator(_each)] = None
    low: Prose | None = None
    high: Prose | None = None
    good: Prose | None = None
    source: Prose
    standing: Standing


class AskEntry(Entry):
    """One question about the session as given: a number, a strip, a stage, a moment, or one of the candidates."""

    name: EntryName
    title: Line
    points: CheckPoints
    source: Prose
    standing: Standing
    low: Prose | None = None
    high: Prose | None = None
    wrong: Prose | None = None
    good: Prose | None = None
    unit: Annotated[str, StringConstraints(max_length=20)] = ""
    within: Above0 | None = None
    lowest: Number | None = Field(default=None, alias="from")
    highest: Number | None = Field(default=None, alias="to")
    expected: Figure | None = None
    among: Literal["strips", "stages", "seconds"] | None = None
    of: Line | None = None
    at: Line | None = None
    moment: Literal["first clipped run", "highest peak", "loudest moment"] | None = None
    by: ReadingEntry | None = None
    pick: Literal["largest", "smallest", "first"] | None = None
    order: Literal["rising", "falling"] | None = None


class CandidateEntry(Entry):
    """One of several versions of the session to judge: what is set in it, and what it was, told afterwards."""

    name: EntryName
    set_: Annotated[dict[str, Part], Field(alias="set", max_length=32)]
    say: Prose | None = None


class WhenEntry(ReadingEntry):
    """What a slip looks like: a reading within its bounds, or an answer to a question."""

    ask: EntryName | None = None
    near: Figure | None = None
    within: Above0 | None = None


class SlipEntry(Entry):
    """A known wrong answer: what it looks like, an answer that commits it, and the sentence that meets it."""

    name: Line
    when: list[WhenEntry] = Field(min_length=1, max_length=8)
    answer: Answers
    say: Prose


class KnownEntry(Entry):
    """What others have found that people can hear, in the unit of the rungs: a range, its source and its standing."""

    low: Number = Field(alias="from")
    high: Number = Field(alias="to")
    say: Prose | None = None
    source: Prose
    standing: Standing


class LadderEntry(Entry):
    """A ladder that is heard: of three sounds one is different, by less from rung to rung.

    Each value of `rungs`, the clearest first, is put into `path`: of the odd one alone, or of all three where `odd`
    says what is set in the odd one. The size of a rung is what it `reads`, else that value; `what` names it in words.
    """

    question: Line
    path: Line
    rungs: Annotated[list[Number], Field(min_length=5, max_length=24)]
    odd: Annotated[dict[str, Part], Field(max_length=8)] = Field(default_factory=dict)
    reads: ReadingEntry | None = None
    what: Line
    known: KnownEntry | None = None


class PromptEntry(Entry):
    """What the page asks for from a moment of the recording on; the last one ends it."""

    seconds: Seconds
    say: Line


class HintEntry(Entry):
    """A hint and the points that it costs."""

    text: Prose
    cost: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 0.0


class Spec(Entry):
    """What an exercise file holds; which of it a kind needs and which it does not have is in `EXERCISE_KINDS`."""

    file_kind: ClassVar[str] = "exercise"

    title: Line
    lesson: Line
    kind: str
    level: Annotated[int, Field(ge=1, le=3)]
    goal: Line
    brief: Prose
    given: Given
    varies: Annotated[dict[EntryName, VaryEntry], Field(max_length=16)] = Field(default_factory=dict)
    plant: Annotated[list[PlantEntry], Field(max_length=16)] = Field(default_factory=list)
    moves: Annotated[list[MoveEntry], Field(max_length=64)] = Field(default_factory=list)
    checks: Annotated[list[CheckEntry], Field(max_length=24)] = Field(default_factory=list)
    asks: Annotated[list[AskEntry], Field(max_length=12)] = Field(default_factory=list)
    candidates: Annotated[list[CandidateEntry], Field(max_length=5)] = Field(default_factory=list)
    matched: bool = True
    ladder: LadderEntry | None = None
    prompts: Annotated[list[PromptEntry], Field(max_length=8)] = Field(default_factory=list)
    solution: Answers = Field(default_factory=dict)
    slips: Annotated[list[SlipEntry], Field(max_length=12)] = Field(default_factory=list)
    hints: Annotated[list[HintEntry], Field(max_length=6)] = Field(default_factory=list)


EXERCISE_KINDS: dict[str, tuple[frozenset[str], frozenset[str]]] = {
    kind: (frozenset(needs.split()), frozenset(lacks.split()))
    for kind, needs, lacks in (
        ("set", "moves checks solution", "asks candidates ladder prompts"),
        ("ride", "moves checks solution", "asks candidates ladder prompts"),
        ("session", "moves checks solution", "candidates ladder prompts"),
        ("reckon", "asks solution", "checks candidates ladder prompts"),
        ("find", "asks solution", "checks candidates ladder prompts"),
        ("judge", "asks candidates solution", "checks ladder prompts"),
        ("hear", "ladder", "moves checks asks candidates solution slips hints prompts"),
        ("record", "moves checks prompts solution", "asks candidates ladder varies plant"),
    )
}
"""Every kind of exercise, with the entries that it needs and those that it does not have."""


def readings_in(entry: Any) -> Iterator[LessEntry]:
    """Everything that some entries read of a rendering, whatever tables it stands in."""
    if isinstance(entry, BaseModel):
        if isinstance(entry, LessEntry):
            yield entry
        for name in type(entry).model_fields:
            yield from readings_in(getattr(entry, name))
    elif isinstance(entry, list | dict):
        for each in entry.values() if isinstance(entry, dict) else entry:
            yield from readings_in(each)


PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


def fill_in(text: str, values: Mapping[str, str]) -> str:
    """The text with each {name} replaced by its value; nothing else in braces means anything.

    >>> fill_in("Turn it down by {off}.", {"off": "about 3 dB"})
    'Turn it down by about 3 dB.'
    """
    return PLACEHOLDER.sub(lambda found: values.get(found[1], found[0]), text)
