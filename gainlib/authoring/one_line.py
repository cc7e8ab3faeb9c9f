"""A value of an exercise file as one line, as a teacher types it on a page: `14 − level`, `peak_dbfs at trim`.

A line says the same as the file's own tables, which are shown wherever a line cannot say it, and may always be typed:

    14 − level                                 { base = 14, minus = "level" }
    0.6 × range                                { base = "range", times = 0.6 }
    peak_dbfs at trim from 0 to 9.3            { measure = "peak_dbfs", at = "trim", seconds = [0, 9.3] }
    told clipped at converter                  { told = "clipped", at = "converter" }
    setting trim/gain_db                       { setting = "trim/gain_db" }
    sum_db(rms_dbfs at trim, level)            { reckon = "sum_db", with = [{ measure = ... }, { plus = "level" }] }
    even to −16, strength 0.7, at most 20      { even_to_db = -16, strength = 0.7, most_db = 20 }
    "bass", true, [[0, 4], [2, −3]]            a text, a switch, the points of a ride

Conditions are readings with their bounds, or answers: `peak_dbfs at trim, at least −8`, `ask sum near 6 + level within
0.5`, `ask strip is "bass"`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from gainlib.errors import GainError, suggest
from gainlib.exercises.formulas import formulas
from gainlib.exercises.readings import stage_readings
from gainlib.exercises.tables import READS
from gainlib.meters import measures
from gainlib.storage import toml_value
from gainlib.storage.foreign import is_number, toml_table

__all__ = ["condition_from", "condition_line", "number_text", "send_from", "send_line", "value_from", "value_line"]

_TOKEN = re.compile(
    r'\s*(?:(?P<number>\d+(?:\.\d+)?)|(?P<word>[A-Za-z_{][\w{}/]*)|(?P<text>"[^"]*")|(?P<sign>[-−–+×*(),]))'
)
_PLAIN_WORD = re.compile(r"[A-Za-z_{][\w{}/]*")
_KEYWORDS = {"at", "from", "to", "less", "near", "within", "is", "least", "most", "told", "setting", "ask", "s"}
_MINUS = ("-", "−", "–")
_AMOUNT = {"base", "plus", "minus", "times"}
_READING = READS | {"at", "seconds", "less", "times"}
RIDE_WORDS = {"strength": "strength", "most_db": "at most"}
RIDE = {"even_to_db", *RIDE_WORDS}
_RIDE = re.compile(r"even to (.+?)(?:,? *strength ([\d.]+))?(?:,? *at most ([\d.]+)(?: dB)?)?")
_SEND = re.compile(
    r"(?P<to>[^{},]*[^{},\s])\s+at\s+(?P<gain>[-−–+]?\s*\d+(?:\.\d+)?)(?:\s*dB)?"
    r"(?:,?\s*(?P<where>before|after) the fader)?"
)


def value_line(value: Any) -> str:
    """A number, a rule, a reading, a reckoning, a text, a switch or a row as one line.

    >>> value_line({"base": 14, "minus": "level"}), value_line({"reckon": "sum_db", "with": [-20, {"plus": "level"}]})
    ('14 − level', 'sum_db(−20, level)')
    """
    if isinstance(value, Mapping):
        line = _said(value)
        return line if line and _same(_read_or_none(line, value_from), value) else toml_value(value)
    if is_number(value):
        return number_text(value)
    return toml_value(value)


def value_from(line: str) -> Any:
    """What a line says, as the file has it; GainError with what is wanted where it cannot be read.

    >>> value_from("0.6 × range"), value_from("peak_dbfs at trim from 0 to 9.3")
    ({'base': 'range', 'times': 0.6}, {'measure': 'peak_dbfs', 'at': 'trim', 'seconds': [0, 9.3]})
    """
    bare = line.strip()
    if bare[:1] in ("{", "[") and not re.match(r"\{\w+\}", bare):
        return _as_toml(bare)
    if bare in ("true", "false"):
        return bare == "true"
    if bare[:1] == '"' and bare[-1:] == '"' and (bare.count('"') == 2 or "\\" in bare):
        return _as_toml(bare)
    if ride := _RIDE.fullmatch(bare):
        more = {name: each for name, each in zip(RIDE_WORDS, ride.groups()[1:], strict=True) if each}
        return {"even_to_db": value_from(ride[1])} | {name: value_from(each) for name, each in more.items()}
    reader = _Reader(bare)
    found = reader.value()
    reader.end()
    return found


def send_line(entry: Mapping[str, Any]) -> str:
    """A send as one line: the bus, its gain, and where it is taken.

    >>> send_line({"to": "hall", "gain_db": -12, "pre_fader": True})
    'hall at −12, before the fader'
    """
    line = str(entry.get("to", ""))
    line += f" at {number_text(entry['gain_db'])}" if "gain_db" in entry else ""
    if "pre_fader" in entry:
        line += ", before the fader" if entry["pre_fader"] else ", after the fader"
    return line if _read_or_none(line, send_from) == dict(entry) else toml_value(entry)


def send_from(line: str) -> dict[str, Any]:
    """What a line says of a send, as the file has it; GainError where it cannot be read.

    >>> send_from("hall at -12 dB")
    {'to': 'hall', 'gain_db': -12}
    """
    bare = line.strip()
    if bare.startswith("{"):
        return dict(_as_toml(bare))
    found = _SEND.fullmatch(bare)
    if not found:
        raise GainError(
            f"“{bare}” is no send; write the bus, its gain, and where it is taken: hall at −12, before the fader."
        )
    made: dict[str, Any] = {"to": found["to"]}
    made |= {"gain_db": value_from(found["gain"])} if found["gain"] else {}
    return made | ({"pre_fader": found["where"] == "before"} if found["where"] else {})


def condition_line(entry: Mapping[str, Any]) -> str:
    """A reading with its bounds, or an answer to a question, as one line.

    >>> condition_line({"measure": "peak_dbfs", "at": "trim", "at_least": -8})
    'peak_dbfs at trim, at least −8'
    >>> condition_line({"ask": "sum", "near": {"base": 6, "plus": "level"}, "within": 0.5})
    'ask sum near 6 + level within 0.5'
    """
    parts = []
    if "ask" in entry:
        parts.append(f"ask {_word(entry['ask'])}")
        parts += [f"is {value_line(entry['is'])}"] if "is" in entry else []
        parts += [f"near {value_line(entry['near'])}"] if "near" in entry else []
        parts += [f"within {value_line(entry['within'])}"] if "within" in entry else []
        line = " ".join(parts)
    else:
        bounds = {"is": "is", "at_least": "at least", "at_most": "at most"}
        parts.append(_reading({name: each for name, each in entry.items() if name not in bounds}))
        parts += [f"{words} {value_line(entry[name])}" for name, words in bounds.items() if name in entry]
        line = ", ".join(parts)
    return line if _same(_read_or_none(line, condition_from), entry) else toml_value(entry)


def condition_from(line: str) -> dict[str, Any]:
    """What a condition says, as the file has it; GainError where it cannot be read.

    >>> condition_from('ask strip is "bass"')
    {'ask': 'strip', 'is': 'bass'}
    """
    bare = line.strip()
    if bare.startswith("{"):
        found = _as_toml(bare)
        return dict(found)
    reader = _Reader(bare)
    made = reader.condition()
    reader.end()
    return made


def number_text(value: float) -> str:
    """A number as it is typed, with a real minus; whole numbers without decimals.

    >>> number_text(-12.0), number_text(0.25)
    ('−12', '0.25')
    """
    text = f"{value:.12g}" if isinstance(value, float) else str(value)
    return text.replace("-", "−") if "e" not in text else text


# --- printing ---


def _said(value: Mapping[str, Any]) -> str:
    """The line of a table, empty where a line has no words for it."""
    names = set(value)
    times = value.get("times", 1)
    if "even_to_db" in names <= RIDE:
        more = [f"{said} {number_text(value[name])}" for name, said in RIDE_WORDS.items() if name in value]
        return ", ".join([f"even to {value_line(value['even_to_db'])}", *more])
    if names <= _AMOUNT:
        inside = _sum(value)
    elif names <= _READING and len(names & READS) == 1:
        inside = _reading({name: each for name, each in value.items() if name != "times"})
    elif names <= {"reckon", "with", "times"} and "reckon" in names:
        inside = f"{value['reckon']}({', '.join(value_line(each) for each in value.get('with', []))})"
    else:
        return ""
    if times == 1:
        return inside
    return f"{number_text(times)} × {inside if _PLAIN_WORD.fullmatch(inside) else f'({inside})'}"


def _sum(value: Mapping[str, Any]) -> str:
    base = value.get("base", 0)
    terms = [("+", base if isinstance(base, str) else number_text(base))] if base else []
    for entry, sign in (("plus", "+"), ("minus", "−")):
        given = value.get(entry, [])
        terms += [(sign, name) for name in ([given] if isinstance(given, str) else given)]
    if not terms:
        return "0"
    first, *rest = terms
    return " ".join([first[1] if first[0] == "+" else f"−{first[1]}", *(f"{sign} {name}" for sign, name in rest)])


def _reading(entry: Mapping[str, Any], whole: bool = True) -> str:
    kind = next((each for each in ("measure", "told", "setting") if each in entry), "")
    parts = [] if kind in ("", "measure") else [kind]
    parts += [_word(entry[kind])] if kind else []
    parts += [f"at {_word(entry['at'])}"] if "at" in entry else []
    if "seconds" in entry:
        parts.append(f"from {number_text(entry['seconds'][0])} to {number_text(entry['seconds'][1])}")
    if whole and "less" in entry:
        parts.append(f"less {_reading(entry['less'], whole=False)}")
    return " ".join(parts)


def _word(name: str) -> str:
    plain = _PLAIN_WORD.fullmatch(name) and name not in _KEYWORDS
    return name if plain else toml_value(name)


# --- reading ---


class _Reader:
    """The words of one line, read from left to right."""

    def __init__(self, line: str) -> None:
        self.line, self.words, at = line, [], 0
        while line[at:].strip():
            found = _TOKEN.match(line, at)
            if not found:
                raise self._fault(f"what stands at “{line[at:].strip()[:12]}” cannot be read")
            self.words.append((found.lastgroup or "", found[found.lastgroup or 0]))
            at = found.end()
        self.at = 0

    def value(self) -> Any:
        """A number, or a table of a rule, a reading or a reckoning."""
        if self._after(self._here(*_MINUS) + 1) in ("×", "*"):
            times = self._number()
            self._take()
            if self._here("("):
                self._take()
                inner = self.value()
                self._want(")")
            else:
                inner = self._name_or_more()
            if isinstance(inner, str):
                return {"base": inner, "times": times}
            return {**(inner if isinstance(inner, dict) else {"base": inner}), "times": times}
        if self._next("word") and not self._sum_word():
            return self._name_or_more()
        return self._sum()

    def condition(self) -> dict[str, Any]:
        """A reading with its bounds, or an answer."""
        if self._here("ask"):
            self._take()
            made: dict[str, Any] = {"ask": self._name()}
            words = {"is": self._plain, "near": self.value, "within": self._number}
        else:
            made, words = self._reading(), {"is": self._plain}
        while self.at < len(self.words):
            if self._here(","):
                self._take()
            word = self.words[self.at][1] if self.at < len(self.words) else ""
            if word == "at" and self._after() in ("least", "most") and "ask" not in made:
                self._take()
                bound = f"at_{self._take()}"
                made[bound] = self.value()
            elif word in words:
                self._take()
                made[word] = words[word]()
            else:
                break
        return made

    def end(self) -> None:
        """That nothing is left."""
        if self.at < len(self.words):
            raise self._fault(f"“{self.words[self.at][1]}” stands where nothing more is expected")

    def _sum_word(self) -> bool:
        """Whether the name here is a drawn value: no reading and no reckoning begins with it."""
        word = self.words[self.at][1]
        begins = word in ("told", "setting") or (self._after() == "at" and self._after(2) not in ("least", "most"))
        return not begins and self._after() != "(" and (word not in measures() or self._after() in ("+", *_MINUS))

    def _sum(self) -> Any:
        base: Any = 0
        names: dict[str, list[str]] = {"plus": [], "minus": []}
        first = True
        while first or self._here("+", *_MINUS):
            minus = False
            if self._here("+", *_MINUS):
                minus = self._take() in _MINUS
            if self._next("number"):
                number = self._number()
                base = base - number if minus else base + number
            else:
                names["minus" if minus else "plus"].append(self._name())
            first = False
        if not any(names.values()):
            return base
        made: dict[str, Any] = {"base": base} if base else {}
        return made | {key: each[0] if len(each) == 1 else each for key, each in names.items() if each}

    def _name_or_more(self) -> Any:
        if self._after() == "(":
            name = self._name()
            if name not in formulas():
                raise self._fault(f"“{name}” is not a formula, {suggest(name, formulas()).rstrip('.?')}")
            self._take()
            inside = []
            while not self._here(")"):
                inside.append(self.value())
                if not self._here(")"):
                    self._want(",")
            self._take()
            return {"reckon": name, "with": inside}
        return self._name() if self._sum_word() else self._reading()

    def _reading(self) -> dict[str, Any]:
        made = self._what()
        if not made:
            raise self._fault("it does not say what is read")
        made |= self._where()
        if self._here("less"):
            self._take()
            made["less"] = self._what() | self._where()
        return made

    def _what(self) -> dict[str, Any]:
        if self._here("told", "setting"):
            return {self._take(): self._name()}
        if not self._next("word", "text") or self._here("at", "from", "is", "less"):
            return {}
        name = self._name()
        if name not in measures() and name not in stage_readings():
            known = [*measures(), *stage_readings()]
            raise self._fault(f"“{name}” is nothing that can be measured, {suggest(name, known).rstrip('.?')}")
        return {"measure" if name in measures() else "told": name}

    def _where(self) -> dict[str, Any]:
        made: dict[str, Any] = {}
        if self._here("at") and self._after() not in ("least", "most"):
            self._take()
            made["at"] = self._name()
        if self._here("from"):
            self._take()
            first = self._number()
            self._want("to")
            made["seconds"] = [first, self._number()]
            if self._here("s"):
                self._take()
        return made

    def _plain(self) -> Any:
        if self._next("text", "word"):
            found = self._name()
            return {"true": True, "false": False}.get(found, found)
        return self._sum()

    def _number(self) -> Any:
        minus = self._here(*_MINUS) and bool(self._take())
        if not self._next("number"):
            raise self._fault("a number is missing")
        text = self._take()
        value = float(text) if "." in text else int(text)
        return -value if minus else value

    def _name(self) -> str:
        if not self._next("word", "text"):
            raise self._fault("a name is missing")
        kind = self.words[self.at][0]
        word = self._take()
        return word[1:-1] if kind == "text" else word

    def _next(self, *kinds: str) -> bool:
        return self.at < len(self.words) and self.words[self.at][0] in kinds

    def _here(self, *words: str) -> bool:
        return self.at < len(self.words) and self.words[self.at][1] in words

    def _after(self, by: int = 1) -> str:
        return self.words[self.at + by][1] if self.at + by < len(self.words) else ""

    def _take(self) -> str:
        if self.at >= len(self.words):
            raise self._fault("it ends too early")
        self.at += 1
        return str(self.words[self.at - 1][1])

    def _want(self, word: str) -> None:
        if not self._here(word):
            raise self._fault(f"“{word}” is missing")
        self._take()

    def _fault(self, what: str) -> GainError:
        return GainError(
            f"“{self.line}” cannot be read: {what}; write a number, a rule such as 14 − level, or a reading such as "
            "peak_dbfs at trim, decimals behind a point and no units."
        )


def _as_toml(text: str) -> Any:
    plain = re.sub(r"[−–](?=\d)", "-", text)
    return toml_table(f"it = {plain}", "the line")["it"]


def _read_or_none(line: str, read: Any) -> Any:
    try:
        return read(line)
    except GainError:
        return None


def _same(one: Any, other: Any) -> bool:
    """Whether two values mean the same to a file: one name or a row of one, a base of 0 or none."""
    return bool(_plainly(one) == _plainly(other))


def _plainly(value: Any) -> Any:
    if isinstance(value, Mapping):
        made = {name: _plainly(each) for name, each in value.items()}
        for name in ("plus", "minus"):
            if isinstance(made.get(name), list):
                made[name] = made[name][0] if len(made[name]) == 1 else made[name] or None
        usual = {"base": 0, "times": 1, "plus": None, "minus": None}
        kept = {name: each for name, each in made.items() if name not in usual or each != usual[name]}
        return kept.get("base", 0) if set(kept) <= {"base"} and not isinstance(kept.get("base"), str) else kept
    if isinstance(value, list):
        return [_plainly(each) for each in value]
    return value
