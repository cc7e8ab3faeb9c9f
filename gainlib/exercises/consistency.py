"""Whether the entries of a file make sense together: paths, taps, measures, bounds, answers, words in texts."""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from gainlib.errors import GainError, suggest
from gainlib.exercises.each_strip import spread_over_strips
from gainlib.exercises.formulas import require_formula
from gainlib.exercises.given import SIGNAL, Layout, Start, laid_out
from gainlib.exercises.parameters import (
    MOST_DRAWS,
    ORDER,
    Parameter,
    combinations,
    ends_of,
    read_parameter,
    read_parameters,
    require_range,
)
from gainlib.exercises.questions import choice_reading
from gainlib.exercises.readings import reading_of, words_of
from gainlib.exercises.tables import (
    A_NUMBER,
    EXERCISE_KINDS,
    LONGEST_INTERVAL_SECONDS,
    PLACEHOLDER,
    READS,
    Amount,
    AnswerEntry,
    AskEntry,
    Drawn,
    LadderEntry,
    MoveEntry,
    ReadingEntry,
    Spec,
    ValueEntry,
    WhenEntry,
    fill_in,
    readings_in,
)
from gainlib.exercises.variant import begin_session, build_control, plain_part, require_same_names
from gainlib.flow import Session
from gainlib.meters import measures
from gainlib.storage.entry_faults import Fault, Place, collecting, number_in_quotes
from gainlib.storage.foreign import is_number
from gainlib.text import describe_value
from gainlib.views import view

__all__ = ["find_faults"]

LONGEST_RECORDED_SECONDS = 300.0
MOST_COMBINATIONS = 64
DEEPEST = 4
TYPED = {"base", "plus", "minus"}
RIDE = {"even_to_db", "strength", "most_db"}


def find_faults(spec: Spec, file: Path) -> tuple[Layout | None, dict[str, Parameter], list[Fault]]:
    """Everything in these entries that makes no sense, each with its place; and the layout and draws that they give."""
    found = _of_kind(spec)
    layout = laid_out(spec.given, file, found)
    rows = tuple(range(len(spec.checks)))
    if layout is not None:
        spec, rows = spread_over_strips(spec, layout.plan.strips, found)
    parameters: dict[str, Parameter] = {}
    for entry, vary in spec.varies.items():
        with collecting(found, ("varies", entry)):
            if entry == ORDER and spec.candidates:
                raise GainError("order of varies: that name is kept for the order of the candidates; choose another.")
            parameters[entry] = read_parameter(entry, vary)
    if layout is not None:
        with collecting(found, ("given",)):
            # The start and the answer are rendered at once, or all candidates.
            layout.require_room(renderings=max(2, 1 + len(spec.candidates)), copies=_copies(spec))
    if layout is not None and len(parameters) == len(spec.varies):
        parameters = read_parameters(spec)
        for drawn in combinations(parameters, MOST_COMBINATIONS):
            found += _Combination(spec, layout, parameters, drawn, rows).found
    found += _texts(spec, rows)
    for choice in spec.given.views:
        with collecting(found, ("given", "views")):
            view(choice)
    return layout, parameters, list(dict.fromkeys(found))


def _copies(spec: Spec) -> float:
    """What the measures of these entries take of memory while they read."""
    names = {each.measure for each in readings_in(spec)}
    return max((known.copies for name, known in measures().items() if name in names), default=0.0)


def _of_kind(spec: Spec) -> list[Fault]:
    """Entries that the kind needs and that are missing, or that it does not have."""
    found: list[Fault] = []
    needs, lacks = EXERCISE_KINDS[spec.kind]
    for entry in sorted(needs):
        if not getattr(spec, entry):
            found.append((("kind",), f"the entry {entry} is missing; an exercise of kind {spec.kind} needs it."))
    for entry in sorted(lacks):
        if getattr(spec, entry):
            instead = " and ".join(sorted(needs - {"moves"}))
            said = f"an exercise of kind {spec.kind} has no {entry}; give {instead}, or choose another kind."
            found.append(((entry,), said))
    if spec.kind == "ride" and spec.moves and not any(move.points for move in spec.moves):
        found.append((("moves",), "an exercise of kind ride needs a move with points = true, the ride that is drawn."))
    if spec.kind == "hear":
        for entry in ("views", "advise", "parts"):
            if entry in spec.given.model_fields_set:
                found.append((("given", entry), f"a ladder is heard and not seen; leave {entry} of given out."))
    if spec.kind == "record":
        found += _recorded(spec)
    names = [each.name for each in spec.asks]
    candidates = [each.name for each in spec.candidates]
    for place, known in (("asks", names), ("candidates", candidates)):
        twice = {name for name in known if known.count(name) > 1}
        found += [((place,), f"the name {name!r} is taken twice in {place}; names are told apart.") for name in twice]
    if len(candidates) == 1:
        found.append((("candidates",), "there is one candidate; give two to five."))
    return found


def _recorded(spec: Spec) -> list[Fault]:
    """What an exercise needs whose take is the learner's own, and stands in for it until there is one."""
    found: list[Fault] = []
    if spec.given.take is None:
        found.append(
            (("given",), "an exercise of kind record needs given.take, which stands in for the learner's own.")
        )
    knobs = [move for move in spec.moves if move.low is not None and move.high is not None and not move.points]
    if len(spec.moves) != 1 or not knobs or not knobs[0].low <= 0.0 <= knobs[0].high:  # type: ignore[operator]
        said = "an exercise of kind record has one move, in front of all stages, from below 0 dB to above it"
        found.append(
            (("moves",), f"{said}: it stands for the learner's own knob, and at 0 dB for their take as it is.")
        )
    seconds = [each.seconds for each in spec.prompts]
    if seconds and (seconds[0] != 0.0 or len(seconds) < 2 or any(b - a < 1.0 for a, b in itertools.pairwise(seconds))):
        said = "prompts begin at 0 s and rise by a second at least; the last says that it is done, and ends the take."
        found.append((("prompts",), said))
    if seconds and seconds[-1] > LONGEST_RECORDED_SECONDS:
        said = f"the last prompt is at {seconds[-1]:g} s; at most {LONGEST_RECORDED_SECONDS:g} s are recorded."
        found.append((("prompts",), said))
    return found


class _Combination:
    """One combination of drawn values, everything in the file held against the session that it gives."""

    def __init__(
        self, spec: Spec, layout: Layout, parameters: dict[str, Parameter], drawn: Drawn, rows: Sequence[int]
    ) -> None:
        self.spec, self.layout, self.parameters, self.drawn = spec, layout, parameters, drawn
        self.words = words_of(drawn)
        self.asks = {ask.name: ask for ask in spec.asks}
        self.found: list[Fault] = []
        start = self._start()
        if start is None:
            return
        self.session: Session = start.session
        self.moves: dict[str, MoveEntry] = {}
        self._moves(start)
        for row, check in zip(rows, spec.checks, strict=True):
            with self._collecting(("checks", row, "reads"), f"check {row + 1}"):
                self._reading(check.reads)
        for index, ask in enumerate(spec.asks):
            with self._collecting(("asks", index), f"ask {ask.name}"):
                self._ask(ask)
        for index, candidate in enumerate(spec.candidates):
            with self._collecting(("candidates", index, "set"), f"candidate {candidate.name}"):
                own = Start(start.session, dict(start.signals))
                for path, part in candidate.set_.items():
                    own.put(fill_in(path, self.words), self._plain(f"{path} of {candidate.name}", part))
        for index, slip in enumerate(spec.slips):
            for at, when in enumerate(slip.when):
                with self._collecting(("slips", index, "when", at), f"slip {index + 1}"):
                    self._when(when)
        if spec.given.listen:
            with self._collecting(("given", "listen")):
                self.session.tap(fill_in(spec.given.listen, self.words))
        if spec.ladder is not None:
            self._ladder(spec.ladder, start)
        elif len(self.moves) == len(spec.moves):  # answers are told by the moves
            self._answers()

    @contextlib.contextmanager
    def _collecting(self, place: Place, what: str = "") -> Iterator[None]:
        try:
            yield
        except GainError as fault:
            said = str(fault)
            self.found.append((place, f"{what}: {said}" if what and not said.startswith(what) else said))
        except (ValueError, TypeError, OverflowError, KeyError) as fault:
            self.found.append((place, f"{what or place[0]} cannot be used: {str(fault).splitlines()[0][:120]}."))

    def _start(self) -> Start | None:
        start = self.layout.start()
        paths: list[str] = []
        for name, vary in self.spec.varies.items():
            if vary.path is None:
                continue
            with self._collecting(("varies", name)):
                path = _full(start, fill_in(vary.path, self.words), f"path of {name} of varies")
                if path in paths:
                    raise GainError(f"{path} is named twice in varies; name it once.")
                paths.append(path)
                value = start.value(path)
                number = is_number(value)
                if not number and not self.parameters[name].choices:
                    raise GainError(
                        f"{name} of varies is {vary.path}, which is not a number; name a setting that is one."
                    )
                for index in (0, self.parameters[name].count - 1):
                    with _at(f"{name} of varies"):
                        self.layout.start().put(path, self.parameters[name].at(index))
                start.put(path, self.drawn[name])
        for index, plant in enumerate(self.spec.plant):
            with self._collecting(("plant", index), f"plant {index + 1}"):
                if (plant.to is None) == (plant.by is None):
                    raise GainError("give to, the value, or by, the amount; one of the two.")
                path = _full(start, fill_in(plant.at, self.words), "at")
                if plant.by is not None:
                    self._amount("by", plant.by)
                    value = start.value(path)
                    if not is_number(value):
                        raise GainError(f"{plant.at} is not a number; give to.")
                else:
                    assert plant.to is not None
                    self._plain("to", plant.to)
        self.varied = paths
        if self.found:
            return None
        with self._collecting(("plant",), "plant"):
            return begin_session(self.spec, self.layout, self.drawn)
        return None

    def _moves(self, start: Start) -> None:
        for index, entry in enumerate(self.spec.moves):
            name = f"move {index + 1}"
            with self._collecting(("moves", index)):
                path = _full(start, fill_in(entry.path, self.words), f"path of {name}")
                if path in self.moves:
                    raise GainError(f"{path} is named twice among moves; name it once.")
                if path in self.varied and entry.start is not None:
                    raise GainError(f"{path} varies, so that {name} starts where it was drawn; leave its start out.")
                if f"/{SIGNAL}/" in path:
                    raise GainError(f"path of {name} is the signal itself; let a stage be moved.")
                self._shape_of_move(entry, name, start.value(path), start, path)
                self.moves[path] = entry
                faults = len(self.found)
                with self._collecting(("moves", index, "start")):
                    if entry.start is not None:
                        self._part(f"start of {name}", entry.start, entry)
                if len(self.found) == faults:
                    build_control(entry, start, self.drawn)

    def _shape_of_move(self, entry: MoveEntry, name: str, value: Any, start: Start, path: str) -> None:
        forms = [entry.options is not None, entry.points, entry.step is not None]
        if forms.count(True) > 1 and not (entry.points and entry.options is None):
            raise GainError(f"{name} is a choice and a range at once; give options, or from, to and step.")
        if entry.options is not None:
            for option in entry.options:
                Start(start.session, start.signals).put(path, option)
            return
        if entry.low is None or entry.high is None:
            raise GainError(f"{name} lacks its range; give from, to and step, or options.")
        if entry.points:
            if path.rpartition("/")[2] not in ("points", "ride"):
                raise GainError(
                    f"{name} is {entry.path}, which holds no points; name those of a ride, or leave points out."
                )
            require_range(entry.low, entry.high, entry.step or 0.1, name)
            return
        if entry.step is None:
            raise GainError(f"{name} lacks the entry step; give it.")
        if not is_number(value):
            raise GainError(
                f"{name} is {entry.path}, which is not a number; name a setting that is one, or give options."
            )
        require_range(entry.low, entry.high, entry.step, name)
        if (entry.high - entry.low) / entry.step > MOST_DRAWS:
            raise GainError(f"{name} has more than {MOST_DRAWS} values; give a larger step.")
        for end in (entry.low, entry.high):
            with _at(name):
                Start(start.session, start.signals).put(path, end)

    # --- readings and values ---

    def _reading(self, entry: ReadingEntry) -> None:
        if not self._bounds("a bound", entry) and entry.is_ is None:
            what = entry.measure or entry.told or entry.setting
            raise GainError(f"{what} has no bound; give at_least or at_most, or is for a switch.")
        reading_of(entry, self.drawn, self.session)

    def _bounds(self, name: str, entry: ReadingEntry) -> bool:
        """Whether the reading has a bound; each that it has is looked at."""
        bounds = [bound for bound in (entry.at_least, entry.at_most) if bound is not None]
        for bound in bounds:
            self._value(name, bound)
        return bool(bounds)

    def _value(self, name: str, value: ValueEntry, depth: int = 1) -> None:
        forms = bool(READS & value.model_fields_set) + (value.reckon is not None)
        typed = bool(TYPED & value.model_fields_set)
        if forms + typed != 1:
            raise GainError(f"{name} must be one thing: {A_NUMBER}, a reading, or a formula with its numbers.")
        if depth > DEEPEST:
            raise GainError(f"{name} is nested more than {DEEPEST} deep; work it out in fewer steps.")
        if value.reckon is not None:
            require_formula(value.reckon, len(value.with_))
            for each in value.with_:
                self._value(f"with of {value.reckon}", each, depth + 1)
        elif typed:
            self._amount(name, value)
        else:
            reading_of(value, self.drawn, self.session)

    def _amount(self, name: str, amount: Amount) -> tuple[float, float]:
        numbers = [each for each, parameter in self.parameters.items() if parameter.numbers]
        for followed in (*amount.follows, *amount.minus):
            if followed not in numbers:
                what = "which is a word" if followed in self.parameters else "which does not vary"
                near = suggest(followed, numbers) if numbers else "nothing that varies is a number."
                raise GainError(f"{name} follows {followed!r}, {what}; {near}")
        return ends_of(amount, self.parameters)

    def _plain(self, name: str, part: AnswerEntry) -> Any:
        """A part of an answer that is put into a setting: a number, a rule, a text, a switch, points."""
        if part.plain is None:
            if not TYPED & part.model_fields_set or part.reckon or READS & part.model_fields_set:
                raise GainError(f"{name} must be a number, a rule, a text, or true or false.")
            self._amount(name, part)
        elif isinstance(part.plain, list):
            self._rows(name, part.plain)
        return plain_part(part, self.drawn)

    def _rows(self, name: str, rows: list[Any]) -> None:
        """Points and regions, whose numbers may follow what was drawn."""
        for figure in (each for row in rows if isinstance(row, list) for each in row):
            if isinstance(figure, Amount):
                self._amount(name, figure)

    # --- asks ---

    def _ask(self, ask: AskEntry) -> None:
        forms = [ask.expected is not None, ask.among is not None, ask.among is None and ask.by is not None]
        if forms.count(True) != 1:
            raise GainError("it asks for nothing or for two things; give expected, among, or by over the candidates.")
        if ask.expected is not None:
            self._value("expected", ask.expected)
            for name, entry in (("within", ask.within), ("from", ask.lowest), ("to", ask.highest)):
                if entry is None:
                    raise GainError(
                        f"it lacks the entry {name}; give the tolerance within, and from and to of the answer."
                    )
            assert ask.lowest is not None
            assert ask.highest is not None
            if ask.lowest >= ask.highest:
                raise GainError(f"it goes from {ask.lowest:g} to {ask.highest:g}; from must be below to.")
            return
        if ask.among == "seconds":
            if ask.at is None or ask.moment is None or ask.within is None:
                raise GainError("a moment needs at, moment and within.")
            self.session.tap(fill_in(ask.at, self.words))
            return
        if ask.by is None:
            raise GainError("it lacks by, the reading that tells the choices apart.")
        self._pick(ask, ask.by)
        if ask.among is None:
            if self.spec.kind != "judge":
                raise GainError("it needs expected, or among: strips, stages or seconds.")
            reading_of(ask.by, self.drawn, self.session)
            return
        if ask.order:
            raise GainError("an order is asked of candidates only; give pick.")
        if ask.among == "strips":
            labels: tuple[str, ...] = tuple(strip.name for strip in self.session.strips)
            if len(labels) < 2:
                raise GainError("there is one strip; among needs two or more to choose from.")
        else:
            if ask.of is None:
                raise GainError("it lacks of, the strip or bus whose stages are meant.")
            labels = self.session.channel(fill_in(ask.of, self.words)).stage_names
        if not any(choice_reading(ask, label, self.drawn, self.session) for label in labels):
            raise GainError(f"by finds nothing to read in any of the {ask.among}; name a stage that they have.")

    def _pick(self, ask: AskEntry, by: ReadingEntry) -> None:
        bounded = self._bounds("a bound of by", by)
        if not all(each.plain_amount for each in (by.at_least, by.at_most) if each):
            raise GainError(f"a bound of by must be {A_NUMBER}; what is measured for it stands in checks only.")
        ways = [bounded and ask.pick in (None, "first"), ask.pick in ("largest", "smallest"), ask.order is not None]
        if ways.count(True) != 1 or (ask.pick == "first" and not bounded):
            raise GainError("say in one way which is meant: pick largest or smallest, an order, or bounds in by.")
        if ask.pick == "first" and ask.among != "stages":
            raise GainError("pick first goes along the stages of a strip; give largest, smallest or bounds.")

    def _when(self, when: WhenEntry) -> None:
        if when.ask is None:
            if not self.spec.checks:
                raise GainError("this kind has no controls to read a slip from; say which ask it answers.")
            self._reading(when)
            return
        if when.ask not in self.asks:
            raise GainError(f"there is no ask {when.ask!r}; {suggest(when.ask, self.asks)}")
        ask = self.asks[when.ask]
        counted = ask.expected is not None or ask.among == "seconds"
        if counted != (when.near is not None) or counted == (when.is_ is not None):
            raise GainError(f"give {'near and within' if counted else 'is'} for the ask {when.ask!r}.")
        if when.near is not None:
            self._value("near", when.near)
        else:
            self._choice(ask, when.is_)

    # --- a ladder ---

    def _ladder(self, ladder: LadderEntry, start: Start) -> None:
        with self._collecting(("ladder", "path"), "path of ladder"):
            path = _full(start, fill_in(ladder.path, self.words), "path of ladder")
            value = start.value(path)
            if not is_number(value):
                raise GainError(f"path of ladder is {path}, which is not a number; name a setting that is one.")
            ways = {first < second for first, second in itertools.pairwise(ladder.rungs)}
            if len(ways) > 1 or len(set(ladder.rungs)) < len(ladder.rungs):
                raise GainError("rungs of ladder go up and down; give them in order, the clearest first.")
            for rung in ladder.rungs:
                with _at("rungs of ladder"):
                    Start(start.session, dict(start.signals)).put(path, rung)
        for path, part in ladder.odd.items():
            with self._collecting(("ladder", "odd"), "odd of ladder"):
                Start(start.session, dict(start.signals)).put(fill_in(path, self.words), self._plain(path, part))
        if ladder.reads is not None:
            with self._collecting(("ladder", "reads"), "reads of ladder"):
                if self._bounds("a bound of reads", ladder.reads) or ladder.reads.is_ is not None:
                    raise GainError("reads of ladder has a bound; leave at_least, at_most and is out.")
                reading_of(ladder.reads, self.drawn, start.session)
        if ladder.known is not None and ladder.known.low >= ladder.known.high:
            self.found.append((("ladder", "known"), "known of ladder: from must be below to."))
        between, made = self.spec.given.between, self.layout.made_seconds
        if between is None and len(made) < len(self.layout.plan.strips):
            said = f"a trial has three sounds; cut the take with between to {LONGEST_INTERVAL_SECONDS:g} s or less."
            self.found.append((("given",), said))
        longest = max([between[1] - between[0] if between else 0.0, *made])
        if longest > LONGEST_INTERVAL_SECONDS:
            said = f"a trial has three sounds of {longest:g} s each; make them {LONGEST_INTERVAL_SECONDS:g} s or less."
            self.found.append((("given",), said))

    # --- answers ---

    def _answers(self) -> None:
        with self._collecting(("solution",)):
            self._answer("solution", self.spec.solution, whole=True)
        for index, slip in enumerate(self.spec.slips):
            with self._collecting(("slips", index, "answer")):
                self._answer(f"answer of slip {index + 1}", slip.answer, whole=False)

    def _answer(self, name: str, answer: Mapping[str, AnswerEntry], *, whole: bool) -> None:
        asks = self.asks
        given: dict[str, AnswerEntry] = {}
        start = Start(self.session, {})
        for key, part in answer.items():
            if key in asks:
                given[key] = part
            elif not self.spec.checks or "/" not in key:
                known = [*asks, *(self.moves if self.spec.checks else ())]
                raise GainError(
                    f"{name} names {key!r}, which is no {'move' if self.moves else 'ask'}; {suggest(key, known)}"
                )
            else:
                given[_full(start, fill_in(key, self.words), name)] = part
        wanted = [*asks] if whole else [key for key in given if key in asks]
        if self.spec.checks:
            # In a session what is not named stays where it starts.
            wanted += [key for key in self.moves if key in given or self.spec.kind != "session"]
        require_same_names(given, wanted, "move" if self.spec.checks else "ask", name)
        for key, part in given.items():
            what = f"{key} of {name}"
            if key in asks:
                self._ask_part(what, part, asks[key])
            else:
                self._part(what, part, self.moves[key])

    def _ask_part(self, name: str, part: AnswerEntry, ask: AskEntry) -> None:
        if ask.expected is not None or ask.among == "seconds":
            if part.plain is not None:
                raise GainError(f"{name} is {describe_value(part.plain)}; it must be {A_NUMBER}.")
            self._value(name, part)
            return
        self._choice(ask, part.plain)

    def _choice(self, ask: AskEntry, named: object) -> None:
        """A strip's, a stage's or a candidate's name; or all candidates in order."""
        if ask.among == "strips":
            known: Iterable[str] = [strip.name for strip in self.session.strips]
        elif ask.among == "stages":
            known = self.session.channel(fill_in(ask.of or "", self.words)).stage_names
        else:
            known = [candidate.name for candidate in self.spec.candidates]
        rows = named if isinstance(named, list) else [named]
        if isinstance(named, list) != (ask.order is not None):
            wanted = "all candidates in order, in square brackets" if ask.order else "one name"
            raise GainError(f"the ask {ask.name!r} is answered by {describe_value(named)}; give {wanted}.")
        for each in rows:
            name = fill_in(each, self.words) if isinstance(each, str) else ""
            if name not in known:
                raise GainError(f"the ask {ask.name!r} is answered by {describe_value(each)}; {suggest(name, known)}")
        if ask.order and sorted(rows) != sorted(known):
            raise GainError(f"the ask {ask.name!r} wants each of {', '.join(known)} once.")

    def _part(self, name: str, part: AnswerEntry, move: MoveEntry) -> None:
        given = part.plain
        if move.points:
            if part.even_to_db is not None:
                self._amount(name, part.even_to_db)
            elif not isinstance(given, list):
                raise GainError(f"{name} must be the points of a ride, or a ride such as {{ even_to_db = -20 }}.")
            else:
                self._rows(name, given)
            return
        if RIDE & part.model_fields_set or READS & part.model_fields_set or part.reckon:
            raise GainError(f"{name} must be {A_NUMBER}.")
        if move.options is not None:
            value = plain_part(part, self.drawn)
            if not any(value == each and isinstance(value, bool) == isinstance(each, bool) for each in move.options):
                known = ", ".join(map(describe_value, move.options))
                raise GainError(f"{name} is {describe_value(value)}; it must be one of {known}.")
            return
        if given is not None:
            todo = number_in_quotes(given) if isinstance(given, str) else ""
            raise GainError(f"{name} is {describe_value(given)}; {todo or f'it must be {A_NUMBER}'}.")
        low, high = move.low or 0.0, move.high or 0.0
        value = max(self._amount(name, part), key=lambda end: max(low - end, end - high))
        if not low <= value <= high:
            raise GainError(f"{name} comes to {value:g}; the move goes from {low:g} to {high:g}.")


def _full(start: Start, path: str, name: str) -> str:
    with _at(name):
        return start.full_path(path)


@contextlib.contextmanager
def _at(place: str) -> Iterator[None]:
    """Put the place in the file before the sentence of a fault that is found there."""
    try:
        yield
    except GainError as fault:
        raise GainError(f"{place}: {fault}") from fault


def _texts(spec: Spec, rows: Sequence[int]) -> list[Fault]:
    """Words in braces that stand for nothing."""
    known = set(spec.varies)
    checked = known | {"measured", "wanted", "off"}
    texts: list[tuple[Place, str, str | None, set[str]]] = [(("brief",), "brief", spec.brief, known)]
    for index, hint in enumerate(spec.hints):
        texts.append((("hints", index, "text"), f"text of hint {index + 1}", hint.text, known))
    for index, slip in enumerate(spec.slips):
        texts.append((("slips", index, "say"), f"say of slip {index + 1}", slip.say, known))
    for index, candidate in enumerate(spec.candidates):
        texts.append((("candidates", index, "say"), f"say of candidate {candidate.name}", candidate.say, known))
    for row, check in zip(rows, spec.checks, strict=True):
        for name, told in (("low", check.low), ("high", check.high), ("good", check.good)):
            texts.append((("checks", row, name), f"{name} of check {row + 1}", told, checked))
    for index, ask in enumerate(spec.asks):
        for name, told in (("low", ask.low), ("high", ask.high), ("wrong", ask.wrong), ("good", ask.good)):
            texts.append((("asks", index, name), f"{name} of ask {ask.name}", told, checked | {"answered"}))
    if spec.ladder is not None:
        texts.append((("ladder", "question"), "question of ladder", spec.ladder.question, known))
        texts.append((("ladder", "what"), "what of ladder", spec.ladder.what, known | {"size"}))
        if spec.ladder.known is not None:
            texts.append((("ladder", "known", "say"), "say of known", spec.ladder.known.say, known))
    found: list[Fault] = []
    for place, name, text, words in texts:
        for word in PLACEHOLDER.findall(text or ""):
            if word not in words:
                near = (
                    suggest(word[:40], words) if words else "nothing varies here; add varies, or take the braces off."
                )
                found.append((place, f"{name} holds {{{word[:40]}}}; {near}"))
                break
    return found
