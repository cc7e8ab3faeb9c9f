"""An exercise of the collection, and the variant of it that one learner gets."""

from __future__ import annotations

import contextlib
import dataclasses
import functools
import hashlib
import hmac
import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import gainlib.stages
from gainlib.audio import Audio, bundled_folder, read
from gainlib.decibels import signed
from gainlib.errors import GainError, nearest
from gainlib.exercises.spec import Amount, MoveEntry, Range, Reading, SetSpec, Vary, number_in_quotes, read_spec, shown
from gainlib.flow import Session
from gainlib.meters import measures
from gainlib.stages import Setting, Stage, settings_of

if TYPE_CHECKING:
    from gainlib.exercises.verdict import Verdict

__all__ = ["Exercise", "Hint", "Move", "Variant", "exercise_names", "load"]

LARGEST_TAKE_BYTES = 200 * 1024 * 1024
MOST_DRAWS = 10_000
Place = tuple[str | int, ...]
"""Where an entry stands in a file, such as `("checks", 0, "reads")`."""
Told = tuple[Place, str]
PLACEHOLDER = re.compile(r"\{([^{}]*)\}")


@dataclass(frozen=True)
class Move:
    """A setting that the learner may move: its path, its range, where it stands at the start, what it is called."""

    path: str
    low: float
    high: float
    step: float
    start: float
    label: str
    unit: str = ""


@dataclass(frozen=True)
class Hint:
    """A hint and the points that taking it costs."""

    text: str
    cost: float


@dataclass(frozen=True, eq=False)
class Exercise:
    """One task that a learner answers and the library checks; `variant(learner_id)` draws one learner's numbers.

    >>> load("recording/leave-room").level
    1
    """

    name: str
    spec: SetSpec
    file: Path
    digest: str
    take_file: Path
    stages: tuple[Stage, ...]

    @property
    def title(self) -> str:
        """What it is headed with."""
        return self.spec.title

    @property
    def lesson(self) -> str:
        """The lesson that it belongs to, such as `03-set-recording-level`."""
        return self.spec.lesson

    @property
    def goal(self) -> str:
        """What the learner can do afterwards."""
        return self.spec.goal

    @property
    def level(self) -> int:
        """How hard it is: 1, 2 or 3."""
        return self.spec.level

    @property
    def out_of(self) -> float:
        """The points that a full answer gets."""
        return sum(check.points for check in self.spec.checks)

    @functools.cached_property
    def take(self) -> Audio:
        """The recording that the learner gets."""
        take = read(self.take_file)
        for reading in _readings(self.spec):
            if reading.seconds and reading.seconds[1] > take.seconds + 0.5 / take.rate_hz:
                raise GainError(
                    f"{self.file.name}: seconds ends at {reading.seconds[1]:g} s; "
                    f"{self.take_file.name} ends at {take.seconds:g} s."
                )
        return take

    def variant(self, learner_id: str, class_key: str = "") -> Variant:
        """The exercise with the numbers drawn for one learner: the same learner and key give the same numbers.

        Each number is drawn by HMAC-SHA-256 (*published*, RFC 2104 and FIPS 180-4) over learner, exercise and entry,
        keyed with the class key. Raises GainError when the learner or the key is not text.

        >>> exercise = load("recording/leave-room")
        >>> exercise.variant("ada").values == exercise.variant("ada").values
        True
        """
        for name, text in (("learner_id", learner_id), ("class_key", class_key)):
            if not isinstance(text, str):
                raise GainError(f"{name} is {shown(text)}; give text.")
        if not learner_id:
            raise GainError("learner_id is empty; give the learner's id, a text of any length.")
        values = {
            entry: _drawn(vary, class_key, learner_id, self.name, entry) for entry, vary in self.spec.varies.items()
        }
        return self.with_values(values)

    def with_values(self, values: Mapping[str, float]) -> Variant:
        """The variant of these drawn values, as a hand-in or a proof gives them; refused where they cannot be drawn.

        >>> load("recording/leave-room").with_values({"level": -24.0}).values
        {'level': -24.0}
        """
        _same_names(values, self.spec.varies, "drawn value", self.file.name)
        for entry, vary in self.spec.varies.items():
            if not vary.low <= values[entry] <= vary.high:
                raise GainError(
                    f"{entry} is {shown(values[entry])}; {self.name} draws it from {vary.low:g} to {vary.high:g}."
                )
        drawn = {entry: float(value) for entry, value in values.items()}
        session = Session.of(self.take, self.stages, name=self.spec.given.strip)
        session = session.replaced({vary.path: drawn[entry] for entry, vary in self.spec.varies.items()})
        moves = tuple(_move(entry, session, drawn) for entry in self.spec.moves)
        session = session.replaced({move.path: move.start for move in moves})
        printed = {entry: _printed(session, vary, drawn[entry]) for entry, vary in self.spec.varies.items()}
        return Variant(
            exercise=self,
            values=drawn,
            brief=_paragraphs(filled(self.spec.brief, printed)),
            session=session,
            moves=moves,
            listen=_tap_path(session, self.spec.given.listen or self.stages[-1].name),
            views=tuple(self.spec.given.views),
            parts={name: (start, end) for name, (start, end) in self.spec.given.parts.items()},
            hints=tuple(Hint(filled(hint.text, printed), hint.cost) for hint in self.spec.hints),
            printed=printed,
        )


@dataclass(frozen=True, eq=False)
class Variant:
    """The exercise with the numbers drawn for one learner: what is asked, the session at the start, what may be moved.

    `brief` is text, a blank line between paragraphs; `listen` is the tap to be heard, `views` names
    what is shown, `parts` the stretches of the take, in seconds, whose peaks the waveform tells.

    >>> variant = load("recording/leave-room").variant("ada")
    >>> [move.label for move in variant.moves]
    ['Preamp gain', 'Trim']
    """

    exercise: Exercise
    values: dict[str, float]
    brief: str
    session: Session
    moves: tuple[Move, ...]
    listen: str
    views: tuple[str, ...]
    parts: dict[str, tuple[float, float]]
    hints: tuple[Hint, ...]
    printed: dict[str, str] = dataclasses.field(repr=False)

    @property
    def solution(self) -> dict[str, float]:
        """The author's own answer for these numbers: path -> value."""
        return self.amounts(self.exercise.spec.solution)

    def amounts(self, entries: Mapping[str, Amount]) -> dict[str, float]:
        """An answer that is written as rules, for these numbers: path -> value."""
        return {setting_path(self.session, path): amount.at(self.values) for path, amount in entries.items()}

    def check(self, answer: object, hints_used: int = 0) -> Verdict:
        """Measure an answer (path -> value) and say in words what is met, what is not, and which way to go.

        Whatever the answer holds, nothing is raised: what cannot be read is told in a sentence and gets no points.
        `hints_used` is how many hints the learner took; their cost comes off the points.

        >>> variant = load("recording/leave-room").variant("ada")
        >>> variant.check(variant.solution).passed
        True
        """
        from gainlib.exercises.verdict import judged

        return judged(self, answer, hints_used)


def exercise_names() -> tuple[str, ...]:
    """The names of the collection's exercises, such as `recording/leave-room`, in order.

    >>> "recording/leave-room" in exercise_names()
    True
    """
    folder = bundled_folder("exercises")
    return tuple(sorted(str(file.relative_to(folder).with_suffix("").as_posix()) for file in folder.glob("*/*.toml")))


def load(name: str | Path) -> Exercise:
    """The exercise of that name in the collection, or the one in a TOML file of one's own.

    Nothing in the file is executed. Raises GainError, with file and entry, for a name that is not known, a file that
    cannot be read, an entry that is missing, unknown, or makes no sense.

    >>> load("recording/leave-room").lesson
    '03-set-recording-level'
    """
    if not isinstance(name, str | Path):
        raise GainError(f"the exercise's name is {shown(name)}; give text such as 'recording/leave-room'.")
    if str(name).endswith(".toml"):
        file = Path(name)
        return _made(own_name(file), file)
    known = exercise_names()
    if name not in known:
        raise GainError(f"there is no exercise {str(name)[:80]!r}; {nearest(str(name)[:80], known)}")
    return _made(str(name), bundled_folder("exercises").joinpath(*str(name).split("/")).with_suffix(".toml"))


def filled(text: str, values: Mapping[str, str]) -> str:
    """The text with each {name} replaced by its value; nothing else in braces means anything.

    >>> filled("Turn it down by {off}.", {"off": "about 3 dB"})
    'Turn it down by about 3 dB.'
    """
    return PLACEHOLDER.sub(lambda found: values.get(found[1], found[0]), text)


def _made(name: str, file: Path) -> Exercise:
    spec, content = read_spec(file)
    exercise, found = assembled(name, file, spec, content)
    if exercise is None:
        raise GainError(f"{file.name}: {found[0][1]}")
    return exercise


def own_name(file: Path) -> str:
    """The name of an exercise in a file of one's own: folder and file.

    >>> own_name(Path("/home/teacher/levels/hot-take.toml"))
    'levels/hot-take'
    """
    return f"{file.resolve().parent.name}/{file.stem}"


def assembled(name: str, file: Path, spec: SetSpec, content: bytes) -> tuple[Exercise | None, list[Told]]:
    """The exercise of these entries, or None and everything in them that makes no sense, each with its place."""
    found: list[Told] = []
    take_file: Path | None = None
    stages: list[Stage] = []
    with _noted(found, ("given", "take")):
        take_file = _take_file(spec.given.take, file)
    for index, entry in enumerate(spec.given.stages):
        with _noted(found, ("given", "stages", index)):
            stages.append(_stage(dict(entry), index))
            continue
        with contextlib.suppress(GainError):  # one as it comes, so that what names it is looked at as well
            stages.append(_stage({key: entry[key] for key in ("stage", "name") if key in entry}, index))
    if len(stages) == len(spec.given.stages):
        session: Session | None = None
        with _noted(found, ("given", "stages")):
            silence = Audio(np.zeros(480), 48_000)  # paths need a session, and a session a take; the real one is long
            session = Session.of(silence, stages, name=spec.given.strip)
        if session is not None:
            found += _senseless(spec, session)
    if found or take_file is None:
        return None, found
    digest = hashlib.sha256(content).hexdigest()[:16]
    return Exercise(name, spec, file, digest, take_file, tuple(stages)), []


def _take_file(take: str, file: Path) -> Path:
    """Where the take is: `media/...` in the course's media, anything else beside the exercise file."""
    parts = take.split("/")
    if "\\" in take or ":" in take or take.startswith("/") or any(part in ("", ".", "..") for part in parts):
        raise GainError(f"take is {take!r}; name a file under media/ or beside the exercise, without .. or a drive.")
    home = bundled_folder("media") if parts[0] == "media" else file.parent
    found = home.joinpath(*parts[1:] if parts[0] == "media" else parts)
    if not found.resolve().is_relative_to(home.resolve()):
        raise GainError(f"take is {take!r}, a link that leads out of {home.name}; copy the recording there.")
    if not found.is_file():
        there = sorted(each.name for each in home.glob("*.flac"))
        raise GainError(f"take is {take!r}, which is not there; {nearest(found.name, there)}")
    if found.stat().st_size > LARGEST_TAKE_BYTES:
        raise GainError(f"take is {take!r} of {found.stat().st_size // 1024**2} MB; at most 200 MB are read.")
    return found


def _stage(entry: dict[str, Any], index: int) -> Stage:
    kinds = {
        name: kind
        for name in gainlib.stages.__all__
        if isinstance(kind := getattr(gainlib.stages, name), type) and issubclass(kind, Stage) and kind is not Stage
    }
    kind = entry.pop("stage", None)
    if kind is None:
        raise GainError(f"stage {index + 1} of given lacks the entry stage; give its kind, such as 'Trim'.")
    if not isinstance(kind, str) or kind not in kinds:
        raise GainError(f"stage {index + 1} of given is {shown(kind)}; {nearest(str(kind)[:80], kinds)}")
    known = [field.name for field in dataclasses.fields(kinds[kind])]
    settings_known = [field.name for field in dataclasses.fields(kinds[kind]) if "label" in field.metadata]
    for setting, value in entry.items():
        if setting not in known:
            raise GainError(f"the {kind.lower()} of given has no setting {setting!r}; {nearest(setting, known)}")
        if not isinstance(value, str | int | float):
            raise GainError(f"{setting} of the {kind.lower()} is {shown(value)}; give one number or one text.")
        if isinstance(value, str) and (todo := number_in_quotes(value)) and setting in settings_known:
            raise GainError(f"{setting} of the {kind.lower()} is {shown(value)}; {todo}")
    try:
        return kinds[kind](**entry)
    except TypeError as fault:
        raise GainError(f"the {kind.lower()} of given cannot be made: {fault}.") from fault


def _senseless(spec: SetSpec, session: Session) -> list[Told]:
    """Every path, tap, measure, bound, range and placeholder of the file, held against the stages that it names."""
    found: list[Told] = []
    paths: list[str] = []
    ranges: list[tuple[Place, str, Range]] = [
        (("varies", entry), f"{entry} of varies", vary) for entry, vary in spec.varies.items()
    ]
    ranges += [(("moves", index), f"move {index + 1}", move) for index, move in enumerate(spec.moves)]
    for place, name, entry in ranges:
        with _noted(found, place):
            _require_range(entry, session, name)
            if isinstance(entry, Vary) and (entry.high - entry.low) / entry.step > MOST_DRAWS:
                raise GainError(f"{name} has more than {MOST_DRAWS} values; give a larger step.")
            path = setting_path(session, entry.path)
            if path in paths:
                raise GainError(f"{path} is named twice among moves and varies; name it once.")
            paths.append(path)
    for index, check in enumerate(spec.checks):
        with _noted(found, ("checks", index, "reads")), _at(f"check {index + 1}"):
            _require_reading(check.reads, session)
    for index, slip in enumerate(spec.slips):
        for reading in slip.when:
            with _noted(found, ("slips", index, "when")), _at(f"slip {index + 1}"):
                _require_reading(reading, session)
    if spec.given.listen:
        with _noted(found, ("given", "listen")):
            session.tap(spec.given.listen)
    known = set(spec.varies)
    texts: list[tuple[Place, str, str, set[str]]] = [(("brief",), "brief", spec.brief, known)]
    for index, hint in enumerate(spec.hints):
        texts.append((("hints", index, "text"), f"text of hint {index + 1}", hint.text, known))
    for index, slip in enumerate(spec.slips):
        texts.append((("slips", index, "say"), f"say of slip {index + 1}", slip.say, known))
    for index, check in enumerate(spec.checks):
        for name, told in (("low", check.low), ("high", check.high), ("good", check.good)):
            words = known | {"measured", "wanted", "off"}
            texts.append((("checks", index, name), f"{name} of check {index + 1}", told or "", words))
    for place, name, text, words in texts:
        with _noted(found, place):
            _require_placeholders(name, text, words)
    if len(paths) < len(ranges):
        return found  # answers are told by the moves, and a move is at fault
    with _noted(found, ("solution",)):
        _require_answer("solution", spec.solution, spec, session)
    for index, slip in enumerate(spec.slips):
        with _noted(found, ("slips", index, "answer")):
            _require_answer(f"answer of slip {index + 1}", slip.answer, spec, session)
    for index, move in enumerate(spec.moves):
        if move.start:
            with _noted(found, ("moves", index, "start")):
                _require_amount(f"start of move {index + 1}", move.start, move, spec)
    return found


@contextlib.contextmanager
def _noted(found: list[Told], place: Place) -> Iterator[None]:
    """Note a fault with its place in the file, so that the next one is looked for as well."""
    try:
        yield
    except GainError as fault:
        found.append((place, str(fault)))


@contextlib.contextmanager
def _at(place: str) -> Iterator[None]:
    """Put the place in the file before the sentence of a fault that is found there."""
    try:
        yield
    except GainError as fault:
        raise GainError(f"{place}: {fault}") from fault


def _require_range(entry: Range, session: Session, name: str) -> None:
    with _at(f"path of {name}"):
        value = session.setting(setting_path(session, entry.path))
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise GainError(f"{name} is {entry.path}, which is not a number; name a setting that is one.")
    if entry.low >= entry.high:
        raise GainError(f"{name} goes from {entry.low:g} to {entry.high:g}; from must be below to.")
    if entry.step > entry.high - entry.low:
        raise GainError(f"{name} has a step of {entry.step:g}, wider than its range; give a smaller one.")
    for end in (entry.low, entry.high):
        with _at(name):
            session.replaced({entry.path: end})


def _require_reading(reading: Reading, session: Session) -> None:
    if (reading.measure is None) == (reading.setting is None):
        raise GainError("a reading names a measure and a setting, or neither; give exactly one of the two.")
    if reading.measure is not None:
        measures()[reading.measure]
        if reading.at is None:
            raise GainError(f"{reading.measure} lacks the entry at; name the tap where it is read.")
        session.tap(reading.at)
        if reading.seconds and reading.seconds[0] >= reading.seconds[1]:
            raise GainError(
                f"seconds of {reading.measure} runs from {reading.seconds[0]:g} to {reading.seconds[1]:g}; "
                "the start must come before the end."
            )
    else:
        session.setting(setting_path(session, reading.setting or ""))
        if reading.at or reading.seconds:
            raise GainError(f"{reading.setting} is a setting; leave out at and seconds.")
    if reading.at_least is None and reading.at_most is None:
        raise GainError(f"{reading.measure or reading.setting} has no bound; give at_least or at_most.")
    if reading.at_least is not None and reading.at_most is not None and reading.at_least > reading.at_most:
        raise GainError(
            f"{reading.measure or reading.setting} wants at least {reading.at_least:g} "
            f"and at most {reading.at_most:g}; nothing can meet both."
        )


def _require_placeholders(name: str, text: str, known: Iterable[str]) -> None:
    for word in PLACEHOLDER.findall(text):
        if word not in known:
            raise GainError(f"{name} holds {{{word[:40]}}}; {nearest(word[:40], known)}")


def _require_answer(name: str, answer: Mapping[str, Amount], spec: SetSpec, session: Session) -> None:
    moves = {setting_path(session, move.path): move for move in spec.moves}
    with _at(name):
        given = {setting_path(session, path): amount for path, amount in answer.items()}
    _same_names(given, moves, "move", name)
    for path, amount in given.items():
        _require_amount(f"{name}, {path}", amount, moves[path], spec)


def _require_amount(name: str, amount: Amount, move: MoveEntry, spec: SetSpec) -> None:
    for followed in (amount.plus, amount.minus):
        if followed is not None and followed not in spec.varies:
            raise GainError(f"{name} follows {followed!r}, which does not vary; {nearest(followed, spec.varies)}")
    # An amount follows its values in straight lines, so its ends are where each of them has its ends.
    for ends in ("low", "high"):
        for others in ("low", "high"):
            drawn = {
                entry: float(getattr(vary, ends if entry == amount.plus else others))
                for entry, vary in spec.varies.items()
            }
            value = amount.at(drawn)
            if not move.low <= value <= move.high:
                raise GainError(f"{name} comes to {value:g}; the move goes from {move.low:g} to {move.high:g}.")


def _same_names(given: Iterable[str], wanted: Iterable[str], what: str, name: str) -> None:
    given, wanted = list(given), list(wanted)
    for each in given:
        if each not in wanted:
            raise GainError(f"{name} names {each!r}, which is no {what}; {nearest(each, wanted)}")
    for each in wanted:
        if each not in given:
            raise GainError(f"{name} says nothing of the {what} {each!r}; add it.")


def _readings(spec: SetSpec) -> list[Reading]:
    return [check.reads for check in spec.checks] + [reading for slip in spec.slips for reading in slip.when]


def _drawn(vary: Vary, class_key: str, *about: str) -> float:
    # JSON keeps the parts apart: ("ab", "c") and ("a", "bc") are two messages.
    message = json.dumps(about, ensure_ascii=True).encode()
    number = int.from_bytes(hmac.new(class_key.encode(), message, hashlib.sha256).digest(), "big")
    return drawable(vary, number % draws_of(vary))


def draws_of(vary: Range) -> int:
    """How many values lie on the steps of a range.

    >>> draws_of(load("recording/leave-room").spec.varies["level"])
    15
    """
    return math.floor((vary.high - vary.low) / vary.step + 1e-9) + 1


def drawable(vary: Range, index: int) -> float:
    """The value on one of the steps of a range, counted from its low end.

    >>> drawable(load("recording/leave-room").spec.varies["level"], 2)
    -28.0
    """
    return round(vary.low + index * vary.step, 9)


def _tap_path(session: Session, tap: str) -> str:
    return "/".join(session.tap(tap))


def setting_path(session: Session, path: str) -> str:
    """A setting's path in full, strip first, so that one setting has one name.

    >>> variant = load("recording/leave-room").variant("ada")
    >>> setting_path(variant.session, "trim/gain_db")
    'voice/trim/gain_db'
    """
    tap, _, name = path.rpartition("/")
    session.setting(path)
    return f"{_tap_path(session, tap)}/{name}"


def setting_of(session: Session, path: str) -> Setting | None:
    """How the stage describes a setting; None for one that no control is meant to move."""
    strip, stage, name = setting_path(session, path).split("/")
    return settings_of(session.strip(strip).stage(stage)).get(name)


def _move(entry: MoveEntry, session: Session, drawn: dict[str, float]) -> Move:
    strip, stage, name = setting_path(session, entry.path).split("/")
    kind, known = session.strip(strip).stage(stage).kind, setting_of(session, entry.path)
    own = known.label if known else name
    start = entry.start.at(drawn) if entry.start else float(session.setting(entry.path))
    return Move(
        path=f"{strip}/{stage}/{name}",
        low=entry.low,
        high=entry.high,
        step=entry.step,
        start=start,
        label=entry.label or (kind if own.lower() == kind.lower() else f"{kind} {own.lower()}"),
        unit=known.unit if known else "",
    )


def _printed(session: Session, vary: Vary, value: float) -> str:
    known = setting_of(session, vary.path)
    return printed_setting(value, known.unit if known else "", vary.step)


def printed_setting(value: float, unit: str, step: float = 0.1) -> str:
    """A setting as a sentence prints it, with as many digits as its step has.

    >>> printed_setting(-30.0, "dBu", 1.0), printed_setting(1.5, "dB", 0.5)
    ('−30 dBu', '+1.5 dB')
    """
    whole = float(step).is_integer() and float(value).is_integer()
    digits = 0 if whole else 1 if round(step * 10, 6).is_integer() else 2
    return signed(value, digits, unit, plus=unit in ("dB", "LU"))


def _paragraphs(text: str) -> str:
    """Lines that were broken in the file joined again; a blank line stays."""
    return "\n\n".join(" ".join(part.split()) for part in re.split(r"\n\s*\n", text.strip()))
