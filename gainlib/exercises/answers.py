"""What a learner gave, read: the values that can be used, and a sentence for each that cannot. Nothing is raised."""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Mapping
from typing import Any

from gainlib.errors import suggest
from gainlib.exercises.model import ControlSpec, Question
from gainlib.exercises.tables import MOST_POINTS
from gainlib.exercises.variant import Variant
from gainlib.text import describe_value, printable, printed_number

__all__ = ["as_number", "read_answer"]

MOST_ENTRIES = 100
OTHER_UNIT = re.compile(r"[+−–-]?\d[\d.,]*\s*([A-Za-zµ%]{1,12})")
"""A number with some unit behind it."""


def read_answer(variant: Variant, answer: object) -> tuple[dict[str, Any], dict[str, str], list[str]]:
    """The values that can be used, for each other move or ask why not, and sentences about what belongs to neither."""
    moves = {move.path: move for move in variant.controls}
    asks = {ask.name: ask for ask in variant.questions}
    titles = {**{path: move.label for path, move in moves.items()}, **{name: ask.title for name, ask in asks.items()}}
    try:
        # A learner's answer may be any object at all, one that fails while it is read included.
        given = dict(answer) if isinstance(answer, Mapping) else None
    except Exception:
        given = None
    if given is None or len(given) > MOST_ENTRIES:
        why = "it holds too much" if given else f"it is {describe_value(answer)}"
        wanted = "a value for each control" if moves and not asks else "an answer to each question"
        sentence = f"The answer cannot be read: {why}; {wanted} is wanted."
        return {}, dict.fromkeys(titles, "no value came with the answer"), [sentence]
    answers: dict[str, Any] = {}
    unread: dict[str, str] = {}
    notes: list[str] = []
    strips = len(variant.session.strips)
    for key, value in given.items():
        name = key if isinstance(key, str) else ""
        if strips == 1 and name.count("/") == 1:
            name = f"{variant.session.strips[0].name}/{name}"
        if name not in titles:
            close = suggest(name[:80], titles) if name else f"known are {', '.join(titles)}."
            what = "controls" if not asks else "questions" if not moves else "controls or questions"
            notes.append(f"The answer names {describe_value(key)}, which is not one of the {what}; {close}")
            continue
        read, fault = _moved(moves[name], value, variant) if name in moves else _asked(asks[name], value)
        if fault:
            unread[name] = fault
        else:
            answers[name] = read
    for name, title in titles.items():
        if name not in answers and name not in unread:
            unread[name] = f"no value for {title} came with the answer" if name in moves else "there is no answer yet"
    return answers, unread, notes


def _moved(move: ControlSpec, given: object, variant: Variant) -> tuple[Any, str]:
    """The value of a move, and a sentence where it cannot be used; never raises."""
    if move.points:
        return _ridden(move, given, variant)
    number = as_number(given)
    if move.options:
        for option in move.options:
            same = option == number if isinstance(option, float) else type(given) is type(option) and option == given
            if same:
                return option, ""
        known = ", ".join(map(describe_value, move.options))
        return None, f"{move.label} is {describe_value(given)}; it must be one of {known}"
    if number is None:
        return None, f"{move.label} is {describe_value(given)}; it must be a number"
    if not move.low <= number <= move.high:
        came, low, high = map(move.printed, (number, move.low, move.high))
        return None, f"{move.label} is {came}; the control goes from {low} to {high}"
    return number, ""


def _ridden(move: ControlSpec, given: object, variant: Variant) -> tuple[Any, str]:
    wanted = "it must be a row of points, each [seconds, gain in dB], the seconds rising"
    if not isinstance(given, list | tuple) or len(given) > MOST_POINTS:
        return None, f"{move.label} is {describe_value(given)}; {wanted}, at most {MOST_POINTS}"
    points = []
    for row in given:
        pair = [as_number(each) for each in row] if isinstance(row, list | tuple) and len(row) == 2 else [None]
        if any(each is None for each in pair):
            return None, f"{move.label} holds {describe_value(row)}; {wanted}"
        points.append((float(pair[0] or 0.0), float(pair[1] or 0.0)))
    longest = max(strip.take.seconds for strip in variant.session.strips)
    for index, (seconds, gain_db) in enumerate(points):
        if seconds < 0.0 or seconds > longest + 1.0 or (index and seconds <= points[index - 1][0]):
            return None, f"{move.label} has a point at {printed_number(seconds, 's')}; {wanted}"
        if not move.low - 1e-9 <= gain_db <= move.high + 1e-9:
            came, low, high = map(move.printed, (gain_db, move.low, move.high))
            return None, f"{move.label} goes to {came}; the ride goes from {low} to {high}"
    return tuple(points), ""


def _asked(ask: Question, given: object) -> tuple[Any, str]:
    """What a learner gave for an ask, and a sentence where it cannot be read; never raises."""
    if ask.form in ("number", "seconds"):
        number = as_number(given)
        low, high = printed_number(ask.low, ask.unit), printed_number(ask.high, ask.unit)
        if given is None:
            return None, "there is no answer yet"
        if number is None:
            text = f"“{printable(given[:40])}”" if isinstance(given, str) else describe_value(given)
            found = OTHER_UNIT.fullmatch(given.strip()) if isinstance(given, str) and ask.unit else None
            why = "is not a number"
            if found:
                why = f"is in {found[1]}, and {ask.unit} is asked for" if found[1] != ask.unit else "is a text"
            return None, f"not read: {text} {why}; give {low} to {high}"
        if not ask.low <= number <= ask.high:
            return None, f"not read: {printed_number(number, ask.unit)} is out of reach; give {low} to {high}"
        return number, ""
    if ask.form == "choice":
        if isinstance(given, str) and given in ask.choices:
            return given, ""
        near = suggest(given[:80], ask.choices) if isinstance(given, str) else f"known are {', '.join(ask.choices)}."
        return None, f"not read: {describe_value(given)}; {near.rstrip('.')}"
    try:
        order = tuple(given) if isinstance(given, list | tuple) and len(given) < 100 else ()
        whole = all(isinstance(each, str) for each in order) and sorted(order) == sorted(ask.choices)
    except Exception:  # a learner's answer may be any object at all
        whole = False
    if not whole:
        return None, f"not read: {describe_value(given)}; give each of {', '.join(ask.choices)} once"
    return order, ""


def as_number(given: object) -> float | None:
    """A finite number as a float; None for anything else. Never raises.

    >>> as_number(41), as_number("41")
    (41.0, None)
    """
    if isinstance(given, bool) or not isinstance(given, numbers.Real):
        return None
    try:
        number = float(given)
    except Exception:  # a foreign number type may fail in ways of its own
        return None
    return number if math.isfinite(number) else None
