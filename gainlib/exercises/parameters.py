"""What differs from learner to learner, and how it is drawn: the same learner and key always get the same."""

from __future__ import annotations

import hashlib
import hmac
import itertools
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass

from gainlib.errors import GainError
from gainlib.exercises.tables import Amount, Spec, VaryEntry
from gainlib.storage.foreign import is_number
from gainlib.text import describe_value

__all__ = ["Parameter", "read_parameters"]

MOST_DRAWS = 10_000
ORDER = "order"
"""The drawn value that says in which order a judge's candidates are shown; no entry of varies may have that name."""


@dataclass(frozen=True)
class Parameter:
    """One thing that is drawn: a number on the steps of a range, or one of several choices.

    >>> Parameter("level", low=-30.0, step=1.0, count=15).at(2)
    -28.0
    """

    name: str
    path: str | None = None
    unit: str = ""
    low: float = 0.0
    step: float = 0.0
    count: int = 1
    choices: tuple[float | str | bool, ...] = ()

    @property
    def numbers(self) -> tuple[float, float] | None:
        """The least and the largest number that it can be; None where it is no number."""
        if not self.choices:
            return self.low, self.at_number(self.count - 1)
        if all(isinstance(each, float) for each in self.choices):
            return min(map(float, self.choices)), max(map(float, self.choices))
        return None

    def at(self, index: int) -> float | str | bool:
        """The value of that index, counted from the low end or the first choice."""
        return self.choices[index] if self.choices else self.at_number(index)

    def at_number(self, index: int) -> float:
        """The number on one of the steps of the range."""
        return round(self.low + index * self.step, 9)

    def require(self, value: object, exercise: str) -> float | str | bool:
        """The value if it can be drawn; GainError otherwise."""
        if self.choices:
            for each in self.choices:
                if each == value and isinstance(each, bool) == isinstance(value, bool):
                    return each
            known = ", ".join(describe_value(each) for each in self.choices[:8])
            raise GainError(f"{self.name} is {describe_value(value)}; {exercise} draws it from {known}.")
        high = self.at_number(self.count - 1)
        if not is_number(value) or not self.low <= value <= high + self.step:
            raise GainError(
                f"{self.name} is {describe_value(value)}; {exercise} draws it from {self.low:g} to {high:g}."
            )
        return float(value)

    def draw(self, class_key: str, *about: str) -> float | str | bool:
        """One learner's value: HMAC-SHA-256 over what it is about, keyed with the class key."""
        # JSON keeps the parts apart: ("ab", "c") and ("a", "bc") are two messages.
        message = json.dumps([*about, self.name], ensure_ascii=True).encode()
        number = int.from_bytes(hmac.new(class_key.encode(), message, hashlib.sha256).digest(), "big")
        return self.at(number % self.count)


def read_parameters(spec: Spec) -> dict[str, Parameter]:
    """Everything that a file draws; for a judge the order of the candidates as well.

    Raises GainError for an entry that cannot be drawn from.

    >>> from gainlib.exercises import load
    >>> read_parameters(load("recording/leave-room").spec)["level"].count
    15
    """
    parameters = {name: read_parameter(name, vary) for name, vary in spec.varies.items()}
    names = [each.name for each in spec.candidates]
    if len(names) > 1:
        orders = tuple(", ".join(each) for each in itertools.permutations(names))
        parameters[ORDER] = Parameter(ORDER, count=len(orders), choices=orders)
    return parameters


def read_parameter(name: str, vary: VaryEntry) -> Parameter:
    if vary.choose is not None:
        if any(each is not None for each in (vary.low, vary.high, vary.step)):
            raise GainError(f"{name} of varies has choose and a range; give one of them.")
        choices = tuple(vary.choose)
        if len({(type(each), each) for each in choices}) < len(choices):
            raise GainError(f"choose of {name} names a value twice; each is drawn equally often.")
        return Parameter(name, vary.path, vary.unit, count=len(choices), choices=choices)
    if vary.low is None or vary.high is None or vary.step is None:
        raise GainError(f"{name} of varies lacks its values; give from, to and step, or choose.")
    require_range(vary.low, vary.high, vary.step, f"{name} of varies")
    if (vary.high - vary.low) / vary.step > MOST_DRAWS:
        raise GainError(f"{name} of varies has more than {MOST_DRAWS} values; give a larger step.")
    count = math.floor((vary.high - vary.low) / vary.step + 1e-9) + 1
    return Parameter(name, vary.path, vary.unit, vary.low, vary.step, count)


def require_range(low: float, high: float, step: float, name: str) -> None:
    if low >= high:
        raise GainError(f"{name} goes from {low:g} to {high:g}; from must be below to.")
    if step > (high - low) * (1 + 1e-9):
        raise GainError(f"{name} has a step of {step:g}, wider than its range; give a smaller one.")


def ends_of(amount: Amount, parameters: dict[str, Parameter]) -> tuple[float, float]:
    """The least and the largest that an amount can come to, whatever is drawn: it follows each in a straight line."""
    least = most = amount.fixed
    signs: Iterable[tuple[int, str]] = (
        (sign, name) for sign, names in ((1, amount.follows), (-1, amount.minus)) for name in names
    )
    for sign, name in signs:
        low, high = parameters[name].numbers or (math.nan, math.nan)
        least += low if sign > 0 else -high
        most += high if sign > 0 else -low
    ends = sorted(round(amount.times * each, 9) for each in (least, most))
    return ends[0], ends[1]


def combinations(parameters: dict[str, Parameter], most: int) -> list[dict[str, float | str | bool]]:
    """Values of so many variants in which each choice and each end of a range stands at least once, if there is room.

    >>> combinations({"a": Parameter("a", low=0.0, step=1.0, count=5)}, 8)
    [{'a': 0.0}, {'a': 4.0}]
    """
    longest = max((len(each.choices) or 2 for each in parameters.values()), default=1)
    rows = []
    for index in range(min(longest, most)):
        rows.append(
            {
                name: each.at(index % each.count if each.choices else (0 if index % 2 == 0 else each.count - 1))
                for name, each in parameters.items()
            }
        )
    return rows
