"""What a stage's settings are, read off its own docstring: what each may be, what it is unless said, what it does."""

from __future__ import annotations

import dataclasses
import inspect
import math
import re
from dataclasses import dataclass

from gainlib.decibels import ALIGNMENTS
from gainlib.stages.base import Stage

__all__ = ["DescribedSetting", "described_settings"]

_HEAD = re.compile(r"(?P<names>\w+(?:, \w+)*) : (?P<form>.+)")
_RANGE = re.compile(
    r"(?:float|int), (?P<above>above )?(?P<low>-?[\d .]*\d|-inf)(?: to (?P<high>-?[\d .]*\d))?(?P<more> .*? ?and more)?"
)
_CODE = re.compile(r" \(`\w+`\)")  # where Python has it
_FORMS = (
    (re.compile(r"^float, |^int, (?=\d)"), ""),
    (re.compile(r",? or None$"), ", or nothing"),
    (re.compile(r"^bool$"), "true or false"),
    (re.compile(r"^int$"), "a whole number"),
    (re.compile(r"^str, float or Alignment$"), f"one of {', '.join(ALIGNMENTS)}, or a number of dBu"),
    (re.compile(r"\((\w[^)]*)\)"), r"[\1]"),
)


@dataclass(frozen=True)
class DescribedSetting:
    """One setting of a stage in words: what it may be, what it is unless said, what it does.

    `low` and `high` are the ends of what it may be where it is a number; `above` says that the low end itself is out.

    >>> from gainlib.stages import Saturation
    >>> described_settings(Saturation)[0].may_be
    '0 to 18 dB'
    """

    name: str
    may_be: str
    unless_said: str
    does: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False


def described_settings(kind: type[Stage]) -> tuple[DescribedSetting, ...]:
    """The settings of a kind of stage in the order of its fields, but its name.

    >>> from gainlib.stages import Trim
    >>> [(each.name, each.unless_said, each.does) for each in described_settings(Trim)]
    [('gain_db', '0', 'At 0 dB the samples pass bit for bit.')]
    """
    told = _parameters(kind)
    made = []
    for field in dataclasses.fields(kind):
        if field.name in told:
            form, does = told[field.name]
            found = _RANGE.match(form)
            ends = (
                [float(text.replace(" ", "")) if text else math.inf for text in found.group("low", "high")]
                if found
                else []
            )
            for pattern, words in _FORMS:
                form = pattern.sub(words, form)
            low, high = ends or (-math.inf, math.inf)
            above = bool(found and found["above"])
            made.append(DescribedSetting(field.name, form, _unless_said(field), does, low, high, above))
    return tuple(made)


def _unless_said(field: dataclasses.Field[object]) -> str:
    usual = field.default
    if usual is dataclasses.MISSING:
        return "must be given"
    if usual is None or usual == ():
        return "nothing"
    return str(usual).lower() if isinstance(usual, bool) else f"{usual:g}" if isinstance(usual, float) else str(usual)


def _parameters(kind: type[Stage]) -> dict[str, tuple[str, str]]:
    """Form and meaning of each parameter of the docstring, which is in numpydoc form; the name's is left out."""
    text = (inspect.getdoc(kind) or "").partition("Parameters\n----------\n")[2].partition("\n\n")[0]
    found: dict[str, tuple[str, str]] = {}
    names: list[str] = []
    for line in text.split("\n"):
        if head := _HEAD.fullmatch(line):
            names = head["names"].split(", ")
            found |= dict.fromkeys(names, (head["form"], ""))
        else:
            for name in names:
                form, does = found[name]
                found[name] = form, _CODE.sub("", f"{does} {line.strip()}".strip())
    found.pop("name", None)
    return found
