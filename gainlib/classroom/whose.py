"""Whose a file is that cannot be read, and whose numbers an answer bears where they are not its learner's own."""

from __future__ import annotations

import contextlib
import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Exercise
from gainlib.learners.naming import plain_name
from gainlib.storage.foreign import json_value

__all__ = ["NumberOwners", "SeemingLearner"]

_ID_WITHIN = re.compile(rb'"learner"\s*:\s*\{\s*"id"\s*:\s*("(?:[^"\\]|\\.){1,1200}")')
_NAME_OF_HAND_IN = re.compile(r"hand-in (.+?) \d{8}-\d{6}")


class SeemingLearner:
    """Whom a file of a roster's class seems to be from, where it cannot be read: by what is left of it, or its name.

    >>> seeming = SeemingLearner([("a-17", "Ada Quill")])
    >>> seeming.of("hand-in a-17 20270115-120000-000.json", b""), seeming.of("Ada Quill/mine.json", b"{")
    ('a-17', 'a-17')
    """

    def __init__(self, learners: Iterable[tuple[str, str]]) -> None:
        self._ids: dict[str, str] = {}
        self._by_word: dict[str, set[str]] = defaultdict(set)
        for learner_id, name in learners:
            self._ids[learner_id] = learner_id
            for word in (learner_id, plain_name(learner_id), name):
                self._by_word[word.casefold()].add(learner_id)

    def of(self, place: str, content: bytes) -> str:
        """The id of whom it seems to be from; empty where nothing tells."""
        if within := _ID_WITHIN.search(content):
            with contextlib.suppress(GainError):
                return self._ids.get(json_value(within[1].decode("utf-8", "replace")), "")
        *folders, name = PurePosixPath(place.replace(": ", "/")).parts or ("",)
        told = _NAME_OF_HAND_IN.search(name)
        for word in ([told[1]] if told else []) + [re.sub(r"\.json$", "", name), *reversed(folders)]:
            found = self._by_word.get(word.casefold(), set())
            if len(found) == 1:
                return next(iter(found))
        return ""


class NumberOwners:
    """Who in a class has which numbers; reckoned for an exercise when it is first asked for."""

    def __init__(
        self, exercises: Mapping[str, Exercise], learner_ids: Sequence[str], drawn: Callable[[Exercise, str], Any]
    ) -> None:
        self._exercises, self._learner_ids, self._drawn = exercises, learner_ids, drawn
        self._owners: dict[str, dict[str, set[str]]] = {}

    def of(self, numbers: Mapping[str, Mapping[str, Any]]) -> list[str]:
        """The ids of those who have all these numbers, given by exercise."""
        found = [self._of_one(exercise).get(_word(values), set()) for exercise, values in numbers.items()]
        return sorted(set.intersection(*found)) if found else []

    def _of_one(self, name: str) -> dict[str, set[str]]:
        if name not in self._owners:
            owners: dict[str, set[str]] = defaultdict(set)
            for each in self._learner_ids:
                owners[_word(self._drawn(self._exercises[name], each))].add(each)
            self._owners[name] = owners
        return self._owners[name]


def _word(values: Mapping[str, Any]) -> str:
    numbers = {name: float(each) if type(each) is int else each for name, each in values.items()}
    return json.dumps(numbers, sort_keys=True)
